"""The wall, where engineers write and read, and the watch, which is the same to be read only."""

from __future__ import annotations

import json
from collections.abc import AsyncIterator, Sequence
from typing import Any, NamedTuple

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.routing import Route

from codec.desk.access import Role
from codec.desk.parts import Desk, DeskPage, facts, number
from codec.desk.sheets import Line, OpenSheet
from codec.log.session import Session
from codec.views.board import board
from codec.views.charts import use_chart
from codec.voice.gate import settings
from grammar.errors import CodeError

_MOST_AGO = 24 * 3600 * 1000  # milliseconds that a page may have kept a line
_RETRY = 1000  # milliseconds after which a page whose line was cut asks again


def part(desk: Desk) -> DeskPage:
    """Return the wall and the watch, what is live on them, and where lines are sent."""
    wall = Wall(desk)
    routes = [
        Route("/wall/{sheet}", wall.wall),
        Route("/watch/{sheet}", wall.watch),
        Route("/live/{sheet}", wall.live),
        Route("/look/{sheet}", wall.look),
        Route("/enter/{sheet}", wall.enter, methods=["POST"]),
    ]
    return DeskPage(
        routes,
        needed={"/wall/": Role.WRITE, "/enter/": Role.WRITE},
        menu={"wall": "/wall/", "watch": "/watch/"},
    )


class News(NamedTuple):
    """The board of each car asked for as it is now, by car: as HTML, and as JSON text."""

    boards: dict[str, str]
    encoded: dict[str, str]


class Wall:
    """What the addresses of the wall answer."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    async def wall(self, request: Request) -> Response:
        """Where engineers write and read."""
        return await self._page(request, writes=True)

    async def watch(self, request: Request) -> Response:
        """The same to be read only, and large."""
        return await self._page(request, writes=False)

    async def _page(self, request: Request, *, writes: bool) -> Response:
        sheet = self.desk.sheet(request)
        version = sheet.version
        news = await self._news(sheet, request.query_params.getlist("car"), writes=writes)
        return self.desk.page(
            request,
            "wall.html",
            title=sheet.session.book.title,
            boards={car: Markup(html) for car, html in news.boards.items()},  # noqa: S704 - drawn by our own template
            writes=writes,
            version=version,
            now=sheet.session.now(),
            hears=writes,
            gate=settings(),
        )

    async def _news(self, sheet: OpenSheet, asked: Sequence[str], *, writes: bool) -> News:
        """Return the boards of the cars asked for, of all where none is; drawn once for all."""
        template = self.desk.template("board.html")
        wanted = tuple(car for car in asked if car in sheet.cars) or tuple(sheet.cars) or ("",)

        def one(session: Session, car: str) -> str:
            session.car = car
            shown = board(session)
            unit = "" if shown.race is None else shown.race.event.spec.energy.unit
            chart = use_chart(shown.uses, unit) if len(shown.uses) > 1 else None
            return template.render(board=shown, chart=chart, writes=writes, trouble=sheet.trouble)

        def draw(session: Session) -> News:
            boards = {car: one(session, car) for car in wanted}
            return News(boards, {car: json.dumps(html) for car, html in boards.items()})

        return await sheet.drawn((wanted, writes), draw)

    async def live(self, request: Request) -> Response:
        """What is new, as server-sent events (HTML Living Standard, 9.2): the board of each car
        asked for, whenever something was written; with ``quiet`` only that there is something new.
        """
        sheet, query = self.desk.sheet(request), request.query_params
        writes, quiet = query.get("writes") == "yes", "quiet" in query
        seen, asked = number(request, "seen", -1), query.getlist("car")

        async def events() -> AsyncIterator[str]:
            yield f"retry: {_RETRY}\n\n"
            last: dict[str, str] = {}
            async for version in sheet.news(seen):
                boards = ""
                if not quiet:
                    news = await self._news(sheet, asked, writes=writes)
                    new = [car for car, html in news.boards.items() if last.get(car) != html]
                    boards = ", ".join(f"{json.dumps(car)}: {news.encoded[car]}" for car in new)
                    last = news.boards
                known = {"version": version, "now": sheet.session.now(), "cars": [*sheet.cars]}
                told = f'{json.dumps(known)[:-1]}, "boards": {{{boards}}}}}'
                yield f"event: news\ndata: {told}\n\n"

        return StreamingResponse(events(), media_type="text/event-stream")

    async def look(self, request: Request) -> Response:
        """What the line being typed would be taken for."""
        query = request.query_params
        shown = await self.desk.sheet(request).look(
            query.get("car", ""), query.get("text", ""), hear="hear" in query
        )
        return JSONResponse(facts(shown))

    async def enter(self, request: Request) -> Response:
        """Write a line; the answer means that it is on the disk."""
        body = await request.body()
        try:
            sent = json.loads(body)
            ago = sent.get("ago")
            key, writer, car, text = (str(sent[one]) for one in ("key", "writer", "car", "text"))
            kept = min(max(round(ago), 0), _MOST_AGO) if isinstance(ago, int | float) else 0
            line = Line(key, writer, car, text, kept)
        except (ValueError, KeyError, TypeError, AttributeError, OverflowError, RecursionError):
            raise CodeError(
                "a line is a JSON object of key, writer, car and text", kind="usage"
            ) from None
        shown, new = await self.desk.sheet(request).enter(line)
        told: dict[str, Any] = {"new": new, "entries": [entry.seq for entry in shown.written]}
        return JSONResponse({**facts(shown), **told})
