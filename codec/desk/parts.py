"""What the pages of a desk share: its sheets, its templates, and how each page is declared.

A page is a module of ``codec.desk.pages`` whose ``part`` returns its addresses, who may use them,
and what leads to it; a template of its name, which extends ``sheet.html``; and, where it does
something in a browser, a module script of its name in ``static``. ``application`` names it once.
"""

from __future__ import annotations

import contextlib
import functools
import json
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Protocol, TypeVar

from jinja2 import Environment, PackageLoader, StrictUndefined, Template
from markupsafe import Markup
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from codec.debrief.summary import CAUTION
from codec.desk.access import Links, Role, permissions
from codec.desk.hearing import DeskEar
from codec.desk.sheets import OpenSheet
from codec.desk.shelf import Shelf
from codec.log.shown import Shown
from grammar.book import Book
from grammar.errors import CodeError, visible, visible_lines
from grammar.exact import whole
from grammar.profile import Profile

_MOST = 10**9


@dataclass(frozen=True, slots=True)
class DeskPage:
    """A page of the desk: its routes; the role that paths need, and the bytes that may be sent to
    them, by how they begin; ``menu``: what leads to it from every sheet, by title, without the
    sheet's name.
    """

    routes: Sequence[Route]
    needed: Mapping[str, Role] = field(default_factory=dict)
    large: Mapping[str, int] = field(default_factory=dict)
    menu: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class MenuItem:
    """What leads to a page of a sheet, for those who have a role."""

    title: str
    start: str
    role: Role


class SheetRoom(Protocol):
    """What a page has of each sheet, open until the desk ends."""

    async def close(self) -> None:
        """Close what is open."""


RoomOf = TypeVar("RoomOf", bound=SheetRoom)


def _shown(value: object) -> object:
    """Return a text so that all of it can be seen, whatever characters it has."""
    return (
        visible_lines(value) if isinstance(value, str) and not isinstance(value, Markup) else value
    )


@functools.cache
def _templates() -> Environment:
    """Return what draws pages: each template is compiled once in a process."""
    return Environment(
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_shown,
        auto_reload=False,
        loader=PackageLoader("codec.desk"),
    )


class Desk:
    """The sheets that are served, the links that let people in, and what draws the pages."""

    def __init__(
        self,
        sheets: Shelf,
        links: Links | None = None,
        scheme: str = "http",
        address: str = "",
        recordings: Path | None = None,
    ) -> None:
        """Take the sheets; links begin with ``address``, ``recordings`` is where these lie,
        beside each sheet if None.
        """
        self.recordings = recordings
        self.sheets, self.links, self.scheme, self.address = sheets, links, scheme, address
        self.menu: list[MenuItem] = []
        self.ear = DeskEar()
        self._rooms: list[dict[OpenSheet, Any]] = []  # what pages have open

    @contextlib.asynccontextmanager
    async def lifespan(self, _: Starlette) -> AsyncIterator[None]:
        """Open the sheets, watch them, and close them in the end."""
        await self.sheets.begin()
        try:
            yield
        finally:
            for rooms in self._rooms:
                for room in rooms.values():
                    await room.close()
            await self.ear.close()
            await self.sheets.close()

    def of_sheet(self, route: Route) -> Route:
        """Return a route that opens the sheet that an address names before it is answered."""

        async def answer(request: Request) -> Response:
            try:
                await self.sheets.opened(request.path_params["sheet"])
            except KeyError:
                raise HTTPException(404, "this desk has no sheet of that name") from None
            found: Response = await route.endpoint(request)
            return found

        if "sheet" not in route.param_convertors:
            return route
        return Route(route.path, answer, methods=[*(route.methods or ())])

    def sheet(self, request: Request) -> OpenSheet:
        """Return the sheet that an address names; it is open."""
        return self.sheets[request.path_params["sheet"]]

    def rooms(self, make: Callable[[OpenSheet], RoomOf]) -> Callable[[Request], RoomOf]:
        """Return what finds the room of the sheet that an address names: it is made when it is
        first asked for.
        """
        rooms: dict[OpenSheet, RoomOf] = {}
        self._rooms.append(rooms)

        def room(request: Request) -> RoomOf:
            sheet = self.sheet(request)
            if sheet not in rooms:
                rooms[sheet] = make(sheet)
            return rooms[sheet]

        return room

    def template(self, name: str) -> Template:
        """Return a template, which shows every character of what is put in."""
        return _templates().get_template(name)

    def page(
        self,
        request: Request,
        name: str,
        *,
        hears: bool = False,
        status: int = 200,
        **context: Any,
    ) -> HTMLResponse:
        """Return a page drawn by a template for who asks; one that ``hears`` may use the
        microphone.
        """
        role = request.scope["role"]
        shared = {
            "sheet": request.path_params.get("sheet", ""),
            "path": request.url.path,
            "menu": [one for one in self.menu if role >= one.role],
            "role": role,
            "caution": CAUTION,
        }
        headers = {"permissions-policy": permissions(hears=True)} if hears else {}
        drawn = self.template(name).render({**shared, **context})
        return HTMLResponse(drawn, status_code=status, headers=headers)


def printed(html: str) -> Response:
    """Return a page that stands alone, with its own style and no script."""
    alone = "default-src 'none'; img-src data:; style-src 'unsafe-inline'; frame-ancestors 'none'"
    return HTMLResponse(html, headers={"content-security-policy": alone})


def number(request: Request, name: str, usual: int) -> int:
    """Return a number of an address; raises CodeError where it is none."""
    try:
        return whole(request.query_params.get(name, str(usual)), -_MOST, _MOST)
    except ValueError as error:
        raise CodeError(f"{name}: {error}", kind="usage") from None


async def sent_object(request: Request) -> dict[str, Any]:
    """Return the JSON object that a page sends; raises CodeError where it is none."""
    try:
        sent = json.loads(await request.body())
    except (ValueError, RecursionError):
        sent = None
    if not isinstance(sent, dict):
        raise CodeError("a JSON object is expected", kind="usage")
    return sent


def book_of(sheet: OpenSheet) -> Book:
    """Return the book of a sheet as it is now."""
    return sheet.session.book


def known_at(sheet: OpenSheet, person: str) -> Profile | None:
    """Return what the profiles that a sheet is shown with tell of somebody."""
    event = sheet.session.event
    return None if event is None else event.people.get(person.casefold())


def facts(shown: Shown) -> dict[str, Any]:
    """Return what is shown after a line, for a script."""
    return {"tone": shown.tone, "lines": [visible(line) for line in shown.lines]}
