"""The sheets of the desk."""

from __future__ import annotations

import asyncio

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from codec.desk.parts import Desk, DeskPage


def part(desk: Desk) -> DeskPage:
    """Return what lists the sheets."""

    async def index(request: Request) -> Response:
        lan = desk.links is not None
        sheets, trouble = await asyncio.to_thread(desk.sheets.listed)
        return desk.page(request, "index.html", sheets=sheets, trouble=trouble, lan=lan)

    return DeskPage([Route("/", index)])
