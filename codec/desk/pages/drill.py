"""Drills at the desk: the driver's page, which flashes, and the coach's, on another device."""

from __future__ import annotations

import asyncio
import json
import math
import tomllib
from collections.abc import AsyncIterator, Callable
from functools import partial
from importlib import resources
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.routing import Route

from codec.desk.access import Role
from codec.desk.drills import Room, SessionPlan, clock, drilled, number_told
from codec.desk.hearing import MOST_SOUND
from codec.desk.parts import Desk, DeskPage, book_of, known_at, number, sent_object
from codec.drill.answer import KINDS, PLURALS
from codec.drill.journal import JOURNAL
from codec.drill.session import CAUTION
from codec.voice.features import RATE
from codec.voice.gate import settings
from codec.voice.live import samples
from codec.voice.recordings import flac
from grammar.errors import CodeError

_BEAT = 3.0  # seconds after which a device hears something, whatever is new
_CIRCUIT = tomllib.loads((resources.files("codec.desk") / "circuit.toml").read_text("utf-8"))


def part(desk: Desk) -> DeskPage:
    """Return the pages of a drill, what is live on them, and where they send what is done."""
    drills = Drills(desk)
    routes = [
        Route("/coach/{sheet}", drills.coach),
        Route("/coach-live/{sheet}", drills.coach_live),
        Route("/coach-act/{sheet}", drills.coach_act, methods=["POST"]),
        Route("/driver/{sheet}", drills.driver),
        Route("/driver-live/{sheet}", drills.driver_live),
        Route("/driver-act/{sheet}", drills.driver_act, methods=["POST"]),
        Route("/driver-hear/{sheet}", drills.ear_ready),
        Route("/driver-hear/{sheet}", drills.driver_said, methods=["POST"]),
        Route("/drill-time/{sheet}", drills.time),
    ]
    needed = {"/coach": Role.WRITE, "/driver": Role.DRILL, "/drill-time/": Role.DRILL}
    large = {"/driver-hear/": MOST_SOUND}
    return DeskPage(
        routes, needed=needed, large=large, menu={"coach": "/coach/", "driver": "/driver/"}
    )


class Drills:
    """What the addresses of a drill answer; one room a sheet."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.room = desk.rooms(
            lambda sheet: Room(
                sheet.path.with_name(JOURNAL),
                partial(book_of, sheet),
                _CIRCUIT,
                partial(known_at, sheet),
            )
        )

    async def coach(self, request: Request) -> Response:
        """What is asked and why, one key to mark it."""
        kinds = {kind: PLURALS[kind] for kind in KINDS}
        people = await asyncio.to_thread(drilled, self.room(request).path)
        return self.desk.page(
            request, "coach.html", drill_caution=CAUTION, kinds=kinds, people=people
        )

    async def driver(self, request: Request) -> Response:
        """The dash: what flashes, and what must be answered meanwhile."""
        return self.desk.page(
            request,
            "driver.html",
            hears=True,
            caution=CAUTION,
            circuit=_CIRCUIT,
            gate=settings(),
        )

    async def ear_ready(self, request: Request) -> Response:
        """Make ready to hear; the answer means that the next sound is heard at once."""
        await self.desk.ear.ready(self.desk.sheet(request).session.book)
        return JSONResponse({"ready": True})

    async def driver_said(self, request: Request) -> Response:
        """Mark what the driver said in the sound that is sent."""
        room, query = self.room(request), request.query_params
        asked, rate = number(request, "number", 0), number(request, "rate", 0)
        first, last = (number_told(name, query.get(name, ""), 0, 1e9) for name in ("first", "last"))
        sound = await request.body()
        said = await self.desk.ear.hear(self.desk.sheet(request).session.book, sound, rate)
        kept = b""
        if room.plan is not None and room.plan.keep_sound:
            kept = await self.desk.ear.weigh(lambda: flac(samples(sound, rate), RATE))
        key, end = query.get("key", "")[:64], min(last, clock())
        return JSONResponse(await room.do(lambda: room.aloud(key, asked, said, first, end, kept)))

    async def time(self, request: Request) -> Response:
        """The desk's clock, in milliseconds."""
        del request
        return JSONResponse({"now": clock() * 1000})

    async def coach_live(self, request: Request) -> Response:
        """What the coach has to know, as server-sent events."""
        room = self.room(request)
        return _events(room, room.for_coach)

    async def driver_live(self, request: Request) -> Response:
        """What the driver's device has to know, as server-sent events."""
        room, key = self.room(request), request.query_params.get("key", "")[:64]
        return _events(room, lambda: room.for_driver(key), lambda: room.gone(key))

    async def coach_act(self, request: Request) -> Response:
        """Do what the coach asks for; the answer means that it is on the disk."""
        room, sent = self.room(request), await sent_object(request)
        room.coach.error = room.error_of(sent)

        def act() -> None:
            name, number = sent.get("act"), _whole(sent, "number")
            if name == "begin":
                room.begin(SessionPlan.of(sent))
            elif name == "first":
                room.first_word(number, _at(sent))
            elif name == "mark":
                text = None if sent.get("text") is None else str(sent["text"])
                kept, corrected = sent.get("kept"), bool(sent.get("corrected"))
                if isinstance(kept, dict) and kept.get("session") != room.held_as:
                    room.mark_kept(kept, text, corrected=corrected)
                else:
                    room.mark(number, text, _at(sent), corrected=corrected)
            elif name == "again":
                room.again()
            elif name == "undo":
                room.undo(number)
            elif name == "correct":
                told = (str(sent.get(one, "")) for one in ("outcome", "text", "note"))
                room.correct(number, *told)
            elif name == "end":
                room.end()
            else:
                raise CodeError("nobody knows what that is", kind="usage")

        await room.do(act)
        return JSONResponse({"done": True})

    async def driver_act(self, request: Request) -> Response:
        """Take what the driver's device tells."""
        room, sent = self.room(request), await sent_object(request)
        key, name = str(sent.get("key", ""))[:64], sent.get("act")

        def act() -> bool:
            if name == "here":
                return room.take_seat(key, sent, over=bool(sent.get("over")))
            if name == "seen":
                room.seen(key, sent)
            elif name == "answer":
                room.alone(key, _whole(sent, "number"), str(sent.get("text", "")), _at(sent))
            else:
                raise CodeError("nobody knows what that is", kind="usage")
            return True

        return JSONResponse({"seat": await room.do(act, tell=name != "here" or room.stirred(key))})


def _events(
    room: Room, state: Callable[[], dict[str, Any]], gone: Callable[[], None] = lambda: None
) -> Response:
    """Return the state as server-sent events, each time it has changed; ``gone`` is called when
    nobody listens any more.
    """

    async def events() -> AsyncIterator[str]:
        try:
            yield "retry: 1000\n\n"
            last = ""
            async for _ in room.news(beat=_BEAT):
                told = json.dumps(await room.do(state, tell=False))
                yield ": here\n\n" if told == last else f"event: news\ndata: {told}\n\n"
                last = told
        finally:
            gone()

    return StreamingResponse(events(), media_type="text/event-stream")


def _whole(sent: dict[str, Any], name: str) -> int:
    found = sent.get(name, 0)
    if not isinstance(found, int):
        raise CodeError(f"{name} is no whole number", kind="usage")
    return found


def _at(sent: dict[str, Any]) -> float:
    """Return a moment of the desk's clock, in seconds, as a device reckons it."""
    found = sent.get("at")
    now = clock()
    return (
        min(now, float(found)) if isinstance(found, int | float) and math.isfinite(found) else now
    )
