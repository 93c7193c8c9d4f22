"""The wall, where engineers write and read, and the watch, which is the same to be read only."""

from __future__ import annotations

import json
from collections.abc import AsyncIterator, Callable, Sequence
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.routing import Route

from codec.desk.access import Role
from codec.desk.boards import Boards, DrawnBoard
from codec.desk.parts import Desk, DeskPage, facts, number
from codec.desk.sheets import Line, OpenSheet
from codec.log.session import Session
from codec.voice.gate import settings
from grammar.errors import CodeError, visible_lines

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


class Wall:
    """What the addresses of the wall answer."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        desk.template("wall.html")  # compiled now, and not when the first page waits for it
        self._whole, self._line = desk.template("board.html"), desk.template("lap.html")
        self._boards: dict[OpenSheet, Boards] = {}

    async def wall(self, request: Request) -> Response:
        """Where engineers write and read; where the desk may only read, they do."""
        return await self._page(request, writes=self.desk.sheet(request).writable, wall=True)

    async def watch(self, request: Request) -> Response:
        """The same to be read only, and large."""
        return await self._page(request, writes=False)

    async def _page(self, request: Request, *, writes: bool, wall: bool = False) -> Response:
        sheet = self.desk.sheet(request)
        version = sheet.version
        news = await self._news(sheet, request.query_params.getlist("car"), writes=writes)
        return self.desk.page(
            request,
            "wall.html",
            title=sheet.session.book.title,
            boards={car: drawn.html for car, drawn in news.items()},
            trouble=sheet.trouble,
            writes=writes,
            only_reads=wall and not writes,
            version=version,
            now=sheet.session.now(),
            hears=writes,
            gate=settings(),
        )

    async def _news(
        self, sheet: OpenSheet, asked: Sequence[str], *, writes: bool
    ) -> dict[str, DrawnBoard]:
        """Return the boards of the cars asked for, of all where none is; drawn once for all, one
        after the other, so that who writes waits for one of them at most.
        """
        if sheet not in self._boards:
            self._boards[sheet] = Boards(self._whole, self._line)
        boards = self._boards[sheet]

        def drawn(car: str) -> Callable[[Session], DrawnBoard]:
            return lambda session: boards.drawn(session, car, writes=writes)

        wanted = [car for car in asked if car in sheet.cars] or [*sheet.cars] or [""]
        return {car: await sheet.drawn((car, writes), drawn(car)) for car in wanted}

    async def live(self, request: Request) -> Response:
        """What is new, as server-sent events (HTML Living Standard, 9.2): the board of each car
        asked for, whenever something was written; with ``quiet`` only that there is something new.
        """
        sheet, query = self.desk.sheet(request), request.query_params
        writes, quiet = query.get("writes") == "yes", "quiet" in query
        seen, asked = number(request, "seen", -1), query.getlist("car")

        async def events() -> AsyncIterator[str]:
            yield f"retry: {_RETRY}\n\n"
            last: dict[str, DrawnBoard] = {}
            async for version in sheet.news(seen):
                boards = ""
                if not quiet:
                    news = await self._news(sheet, asked, writes=writes)
                    new = [car for car, drawn in news.items() if last.get(car) != drawn]
                    boards = ", ".join(f"{json.dumps(car)}: {news[car].encoded}" for car in new)
                    last = news
                known = {
                    "version": version,
                    "now": sheet.session.now(),
                    "cars": [*sheet.cars],
                    "trouble": visible_lines(sheet.trouble),
                }
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
