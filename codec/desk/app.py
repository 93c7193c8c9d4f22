"""The desk as an application: its pages behind their guard, and how it answers what goes wrong."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import cast

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, PlainTextResponse, Response

from codec.desk import shipped
from codec.desk.access import Guard, Links, Role
from codec.desk.pages import (
    book,
    bring,
    debrief,
    drill,
    history,
    index,
    links,
    listen,
    practice,
    season,
    sound,
    voice,
    wall,
)
from codec.desk.parts import Desk, DeskPage, MenuItem, facts
from codec.desk.shelf import Shelf
from codec.log.shown import Shown
from grammar.errors import CodeError

PAGES: Sequence[Callable[[Desk], DeskPage]] = (
    index.part,
    wall.part,
    history.part,
    sound.part,
    voice.part,
    bring.part,
    book.part,
    debrief.part,
    practice.part,
    drill.part,
    listen.part,
    season.part,
    links.part,
)
# why a sheet can't be written just now: a page keeps its line and sends it again
_LATER = {
    f"sheet-{why}"
    for why in (
        "full",
        "busy",
        "read-only",
        "replaced",
        "file",
        "damaged",
        "server",
        "unsure",
        "later",
    )
}


def application(
    sheets: Shelf,
    *,
    names: Sequence[str],
    scheme: str = "http",
    links: Links | None = None,
    address: str = "",
    recordings: Path | None = None,
) -> Guard:
    """Return the application that serves these sheets behind its guard.

    ``names`` are the names, with the port, by which it may be called, ``address`` what links begin
    with, ``recordings`` the folder where these lie, None for beside the sheets.
    """
    desk = Desk(sheets, links, scheme, address, recordings)
    parts = [page(desk) for page in PAGES]
    needed = {"/": Role.WATCH, "/static/": Role.NOBODY}
    large: dict[str, int] = {}
    for part in parts:
        needed |= part.needed
        large |= part.large
        desk.menu += [
            MenuItem(title, start, part.needed.get(start, Role.WATCH))
            for title, start in part.menu.items()
        ]
    inner = Starlette(
        routes=[
            *(desk.of_sheet(route) for part in parts for route in part.routes),
            shipped.route(),
        ],
        lifespan=desk.lifespan,
        exception_handlers={
            CodeError: partial(_told, desk),
            HTTPException: _missing,
            ClientDisconnect: _gone,
        },
    )
    return Guard(inner, names=names, scheme=scheme, links=links, needed=needed, large=large)


async def _told(desk: Desk, request: Request, error: Exception) -> Response:
    """Tell an error of ours, to who opens a page on a page; a line that was refused is a page's to
    keep.
    """
    told = cast("CodeError", error)
    status = 503 if told.kind in _LATER else 400
    shown = Shown.of_error(told)
    if "text/html" in request.headers.get("accept", ""):
        return desk.page(request, "error.html", status=status, lines=shown.lines)
    return JSONResponse({**facts(shown), "kind": told.kind}, status_code=status)


async def _missing(_: Request, error: Exception) -> Response:
    told = cast("HTTPException", error)
    return PlainTextResponse(f"{told.detail}\n", status_code=told.status_code)


async def _gone(_: Request, error: Exception) -> Response:  # noqa: ARG001 - the library's signature
    """Nobody is there any more to be answered."""
    return Response(status_code=400)
