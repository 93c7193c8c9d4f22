"""Hearing at the desk: what is spoken through noise is written down."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from functools import partial
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from codec.desk.access import Role
from codec.desk.drills import drilled
from codec.desk.listening import MOST_AT_ONCE, ListeningRoom
from codec.desk.parts import Desk, DeskPage, book_of, known_at, number, sent_object
from codec.drill.journal import JOURNAL
from codec.drill.noise import known
from codec.drill.session import CAUTION
from grammar.errors import CodeError


def part(desk: Desk) -> DeskPage:
    """Return the page on which is listened, its sounds, and where answers are sent."""
    room_of = desk.rooms(
        lambda sheet: ListeningRoom(
            sheet.path.with_name(JOURNAL), partial(book_of, sheet), partial(known_at, sheet)
        )
    )

    async def listen(request: Request) -> Response:
        return desk.page(
            request,
            "listen.html",
            drill_caution=CAUTION,
            people=await asyncio.to_thread(drilled, room_of(request).path),
            grades=known(),
            most=MOST_AT_ONCE,
        )

    async def act(request: Request) -> Response:
        room, sent = room_of(request), await sent_object(request)
        key, name = str(sent.get("key", ""))[:64], str(sent.get("act", ""))
        acts: dict[str, Callable[[], dict[str, Any]]] = {
            "begin": lambda: room.begin(key, sent),
            "again": lambda: room.again(key),
            "answer": lambda: room.answer(key, sent),
        }
        if name not in acts:
            raise CodeError("nobody knows what that is", kind="usage", expected=list(acts))
        return JSONResponse(await room.do(acts[name]))

    async def sound(request: Request) -> Response:
        room, key = room_of(request), request.query_params.get("key", "")[:64]
        turn = number(request, "turn", 0)
        return Response(await room.do(lambda: room.sound(key, turn)), media_type="audio/wav")

    routes = [
        Route("/listen/{sheet}", listen),
        Route("/listen-act/{sheet}", act, methods=["POST"]),
        Route("/listen-sound/{sheet}", sound),
    ]
    return DeskPage(routes, needed={"/listen": Role.DRILL}, menu={"listen": "/listen/"})
