"""The desk as an application: its pages, what they ask for, and what they send."""

from __future__ import annotations

import asyncio
import contextlib
import json
from collections.abc import AsyncIterator, Collection, Mapping, Sequence
from dataclasses import asdict
from typing import Any, cast, get_args
from urllib.parse import parse_qs

import segno
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import (
    HTMLResponse,
    JSONResponse,
    PlainTextResponse,
    RedirectResponse,
    Response,
    StreamingResponse,
)
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from codec.debrief.page import page
from codec.debrief.summary import CAUTION, summarise
from codec.desk import books
from codec.desk.access import MOST_FILE, Guard, Links, Role, cookie
from codec.desk.bringing import bring
from codec.desk.history import history
from codec.desk.sheets import Line, OpenSheet, checked_name
from codec.log.shown import Shown
from codec.views.board import board
from grammar.document import MOST_BYTES
from grammar.errors import CodeError, visible, visible_lines
from grammar.exact import whole
from grammar.export import card
from grammar.export.card import Reader

NEEDED: Mapping[str, Role] = {
    "/": Role.WATCH,
    "/static/": Role.NOBODY,
    "/join/": Role.NOBODY,
    "/enter": Role.WRITE,
    "/wall": Role.WRITE,
    "/import": Role.WRITE,
    "/links": Role.WRITE,
}
LARGE: Mapping[str, int] = {"/import/": MOST_FILE, "/book/": MOST_BYTES}
# why a sheet can't be written just now: a page keeps its line and sends it again
_LATER = {f"sheet-{why}" for why in ("full", "busy", "read-only", "replaced", "file", "damaged")}
_MOST = 10**9
_RETRY = 1000  # milliseconds after which a page whose line was cut asks again


def application(
    sheets: Mapping[str, OpenSheet],
    *,
    names: Sequence[str],
    scheme: str = "http",
    links: Links | None = None,
    address: str = "",
) -> Guard:
    """Return the application that serves these sheets, by name, behind its guard.

    ``names`` are the names, with the port, by which it may be called, ``address`` what links begin
    with.
    """
    pages = Pages(sheets, links, scheme, address)
    routes = [
        Route("/", pages.index),
        Route("/wall/{sheet}", pages.wall),
        Route("/watch/{sheet}", pages.watch),
        Route("/history/{sheet}", pages.history),
        Route("/live/{sheet}", pages.live),
        Route("/look/{sheet}", pages.look),
        Route("/enter/{sheet}", pages.enter, methods=["POST"]),
        Route("/book/{sheet}", pages.book),
        Route("/book/{sheet}/read", pages.read),
        Route("/book/{sheet}/say", pages.say),
        Route("/book/{sheet}/noise", pages.noise),
        Route("/book/{sheet}/problems", pages.problems, methods=["POST"]),
        Route("/book/{sheet}/card/{reader}", pages.card),
        Route("/debrief/{sheet}", pages.debrief),
        Route("/import/{sheet}", pages.bringing),
        Route("/import/{sheet}", pages.bring, methods=["POST"]),
        Route("/links", pages.give_links),
        Route("/links", pages.revoke, methods=["POST"]),
        Route("/join/{token}", pages.join),
        Mount("/static", StaticFiles(packages=[("codec.desk", "static")])),
    ]
    inner = Starlette(
        routes=routes,
        lifespan=pages.lifespan,
        exception_handlers={CodeError: _told, HTTPException: _missing, ClientDisconnect: _gone},
    )
    return Guard(inner, names=names, scheme=scheme, links=links, needed=NEEDED, large=LARGE)


def _shown(value: object) -> object:
    """Return a text so that all of it can be seen, whatever characters it has."""
    return (
        visible_lines(value) if isinstance(value, str) and not isinstance(value, Markup) else value
    )


class Pages:
    """What each address answers."""

    def __init__(
        self, sheets: Mapping[str, OpenSheet], links: Links | None, scheme: str, address: str
    ) -> None:
        self.sheets, self.links, self.scheme, self.address = sheets, links, scheme, address
        self.templates = Environment(
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
            finalize=_shown,
            loader=PackageLoader("codec.desk"),
        )

    @contextlib.asynccontextmanager
    async def lifespan(self, _: Starlette) -> AsyncIterator[None]:
        """Open the sheets, watch them, and close them in the end."""
        for sheet in self.sheets.values():
            sheet.open()
        watching = [asyncio.create_task(sheet.watch()) for sheet in self.sheets.values()]
        try:
            yield
        finally:
            for task in watching:
                task.cancel()
            await asyncio.gather(*watching, return_exceptions=True)
            for sheet in self.sheets.values():
                await sheet.close()

    def _sheet(self, request: Request) -> OpenSheet:
        try:
            return self.sheets[request.path_params["sheet"]]
        except KeyError:
            raise HTTPException(404, "this desk has no sheet of that name") from None

    def _page(self, name: str, **context: Any) -> HTMLResponse:
        return HTMLResponse(self.templates.get_template(name).render(caution=CAUTION, **context))

    async def index(self, request: Request) -> Response:
        """The sheets of the desk."""
        return self._page("index.html", sheets=sorted(self.sheets), role=request.scope["role"])

    async def wall(self, request: Request) -> Response:
        """Where engineers write and read."""
        return await self._wall(request, writes=True)

    async def watch(self, request: Request) -> Response:
        """The same to be read only, and large."""
        return await self._wall(request, writes=False)

    async def _wall(self, request: Request, *, writes: bool) -> Response:
        sheet = self._sheet(request)
        cars = await sheet.ask(lambda session: dict(session.cars))
        wanted = _cars(request, cars) or list(cars) or [""]
        boards = {car: await self._board(sheet, car, writes=writes) for car in wanted}
        return self._page(
            "wall.html",
            sheet=request.path_params["sheet"],
            title=sheet.session.book.title,
            boards={car: Markup(html) for car, html in boards.items()},  # noqa: S704 - drawn by our own template
            drivers=cars,
            writes=writes,
            version=sheet.version,
            now=sheet.session.now(),
        )

    async def _board(self, sheet: OpenSheet, car: str, *, writes: bool) -> str:
        template = self.templates.get_template("board.html")

        def draw() -> str:
            session = sheet.session
            session.car = car
            return template.render(board=board(session), writes=writes, trouble=sheet.trouble)

        return await sheet.drawn((car, writes), draw)

    async def live(self, request: Request) -> Response:
        """What is new, as server-sent events (HTML Living Standard, 9.2): the board of each car
        asked for, whenever something was written.
        """
        sheet, writes = self._sheet(request), request.query_params.get("writes") == "yes"
        seen = _number(request, "seen", -1)

        async def events() -> AsyncIterator[str]:
            yield f"retry: {_RETRY}\n\n"
            last: dict[str, str] = {}
            async for version in sheet.news(seen):
                known = await sheet.ask(lambda session: list(session.cars))
                cars = _cars(request, known) or known
                boards = {car: await self._board(sheet, car, writes=writes) for car in cars}
                new = {car: html for car, html in boards.items() if last.get(car) != html}
                last = boards
                now = sheet.session.now()
                told = json.dumps({"version": version, "now": now, "boards": new, "cars": known})
                yield f"event: news\ndata: {told}\n\n"

        return StreamingResponse(events(), media_type="text/event-stream")

    async def history(self, request: Request) -> Response:
        """Everything written, a page at a time, with what is searched for."""
        sheet, search = self._sheet(request), request.query_params.get("search", "")[:200]
        before = _number(request, "before", 0)
        found = await sheet.ask(lambda session: history(session, search, before))
        return self._page("history.html", found=found, sheet=request.path_params["sheet"])

    async def look(self, request: Request) -> Response:
        """What the line being typed would be taken for."""
        query = request.query_params
        shown = await self._sheet(request).look(query.get("car", ""), query.get("text", ""))
        return JSONResponse(_facts(shown))

    async def enter(self, request: Request) -> Response:
        """Write a line; the answer means that it is on the disk."""
        try:
            sent = json.loads(await request.body())
            line = Line(*(str(sent[name]) for name in ("key", "writer", "car", "text")))
        except (ValueError, KeyError, TypeError, RecursionError):
            raise CodeError(
                "a line is a JSON object of key, writer, car and text", kind="usage"
            ) from None
        shown, new = await self._sheet(request).enter(line)
        return JSONResponse(
            {**_facts(shown), "new": new, "entries": [e.seq for e in shown.written]}
        )

    async def book(self, request: Request) -> Response:
        """The sheet's book: tried both ways, through noise, and edited."""
        book = self._sheet(request).session.book
        return self._page(
            "book.html", book=book, source=book.source, sheet=request.path_params["sheet"]
        )

    async def read(self, request: Request) -> Response:
        """What a text says."""
        book, query = self._sheet(request).session.book, request.query_params
        return JSONResponse(await asyncio.to_thread(books.read, book, query.get("text", "")))

    async def say(self, request: Request) -> Response:
        """How values are said."""
        book, query = self._sheet(request).session.book, dict(request.query_params)
        return JSONResponse(
            await asyncio.to_thread(books.say, book, query.pop("message", ""), query)
        )

    async def noise(self, request: Request) -> Response:
        """What noise makes of a report."""
        book, query = self._sheet(request).session.book, request.query_params
        decibels, seed = _number(request, "decibels", 0), _number(request, "seed", 1)
        found = await asyncio.to_thread(
            books.through_noise, book, query.get("text", ""), decibels, seed
        )
        return JSONResponse([asdict(one) for one in found])

    async def problems(self, request: Request) -> Response:
        """What is wrong with a book as it is written."""
        text = (await request.body()).decode("utf-8", "replace")
        return JSONResponse(await asyncio.to_thread(books.problems, text))

    async def card(self, request: Request) -> Response:
        """The card of one who reads or hears the code."""
        reader = request.path_params["reader"]
        if reader not in get_args(Reader):
            raise HTTPException(404, "there is no such card")
        return _printed(card.html(self._sheet(request).session.book, reader))

    async def debrief(self, request: Request) -> Response:
        """The debrief of one car."""
        sheet, car = self._sheet(request), request.query_params.get("car", "")
        entries = await sheet.ask(lambda session: list(session.entries))
        cars = await sheet.ask(lambda session: dict(session.cars))
        if car not in cars:
            return self._page("debriefs.html", cars=cars, sheet=request.path_params["sheet"])
        session = sheet.session

        def drawn() -> str:
            return page(summarise(session.book, entries, car=car, event=session.event))

        return _printed(await asyncio.to_thread(drawn))

    async def bringing(self, request: Request) -> Response:
        """Where a transcript or an exported sheet is dropped."""
        sheet = self._sheet(request)
        cars = await sheet.ask(lambda session: dict(session.cars))
        return self._page("import.html", sheet=request.path_params["sheet"], cars=cars)

    async def bring(self, request: Request) -> Response:
        """Write what a file holds into the sheet, and tell what it brought."""
        sheet, query = self._sheet(request), request.query_params
        writer = checked_name(query.get("writer", ""))
        found = await asyncio.to_thread(
            bring, sheet.path, writer, query.get("name", "a file")[:200], await request.body(),
            [line for line in query.getlist("crew") if line.strip()],
        )  # fmt: skip
        return JSONResponse(found)

    async def give_links(self, _: Request) -> Response:
        """The link of each role, to be read off the screen by a tablet's camera."""
        if self.links is None:
            raise HTTPException(404, "this desk serves its own machine alone: it has no links")
        given = {role: self.address_of(role) for role in self.links.tokens}
        drawn = {role: segno.make(link, micro=False).svg_data_uri() for role, link in given.items()}
        return self._page("links.html", given=given, drawn=drawn)

    def address_of(self, role: Role) -> str:
        """Return the link of a role."""
        tokens = {} if self.links is None else self.links.tokens
        return f"{self.address}join/{tokens[role]}"

    async def revoke(self, request: Request) -> Response:
        """Give a role a new link: the old one opens nothing any more."""
        sent = parse_qs((await request.body()).decode("utf-8", "replace"))
        named = sent.get("role", [""])[0]
        if self.links is None or named not in Role.__members__ or not Role[named]:
            raise CodeError(
                "a role is expected", kind="usage", expected=[r.name for r in Role if r]
            )
        self.links.revoke(Role[named])
        answer = RedirectResponse("/links", status_code=303)
        if Role[named] is request.scope["role"]:  # who does it stays in
            token = self.links.tokens[Role[named]]
            answer.headers.append("set-cookie", cookie(token, secure=self.scheme == "https"))
        return answer

    async def join(self, request: Request) -> Response:
        """Take a link: its token goes into a cookie, and the page leads on."""
        token = request.path_params["token"]
        if self.links is None or not (role := self.links.role(token)):
            raise HTTPException(403, "this link is not, or no longer, one of this desk")
        answer = self._page("join.html", role=role)
        answer.headers.append("set-cookie", cookie(token, secure=self.scheme == "https"))
        return answer


def _printed(html: str) -> Response:
    """Return a page that stands alone, with its own style and no script."""
    alone = "default-src 'none'; img-src data:; style-src 'unsafe-inline'; frame-ancestors 'none'"
    return HTMLResponse(html, headers={"content-security-policy": alone})


def _number(request: Request, name: str, usual: int) -> int:
    """Return a number of an address; raises CodeError where it is none."""
    try:
        return whole(request.query_params.get(name, str(usual)), -_MOST, _MOST)
    except ValueError as error:
        raise CodeError(f"{name}: {error}", kind="usage") from None


def _cars(request: Request, known: Collection[str]) -> list[str]:
    """Return the cars that an address names, those that the sheet knows."""
    return [car for car in request.query_params.getlist("car") if car in known]


def _facts(shown: Shown) -> dict[str, Any]:
    return {"tone": shown.tone, "lines": [visible(line) for line in shown.lines]}


async def _told(_: Request, error: Exception) -> Response:
    """Tell an error of ours: a line that was refused is a page's to keep."""
    told = cast("CodeError", error)
    status = 503 if told.kind in _LATER else 400
    facts = _facts(Shown.of_error(told))
    return JSONResponse({**facts, "kind": told.kind}, status_code=status)


async def _missing(_: Request, error: Exception) -> Response:
    told = cast("HTTPException", error)
    return PlainTextResponse(f"{told.detail}\n", status_code=told.status_code)


async def _gone(_: Request, error: Exception) -> Response:  # noqa: ARG001 - the library's signature
    """Nobody is there any more to be answered."""
    return Response(status_code=400)
