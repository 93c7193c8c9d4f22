"""Reports by voice: what the wall takes up by a microphone or a line-in is heard at the desk, and
offered there; nothing is written but by a line, as if it were typed.
"""

from __future__ import annotations

from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from codec.desk.access import Role
from codec.desk.hearing import MOST_SOUND
from codec.desk.parts import Desk, DeskPage, facts, number
from codec.log.offered import offer, what_was_said
from codec.log.session import Session
from grammar.errors import visible


def part(desk: Desk) -> DeskPage:
    """Return where sound is sent to be heard."""

    async def ready(request: Request) -> Response:
        """Make ready to hear; the answer means that the next sound is heard at once."""
        await desk.ear.ready(desk.sheet(request).session.book)
        return JSONResponse({"ready": True})

    async def hear(request: Request) -> Response:
        """Return what was said in the sound that is sent, and what is offered of it."""
        sheet, car = desk.sheet(request), request.query_params.get("car", "")
        rate, sound = number(request, "rate", 0), await request.body()
        said = await desk.ear.hear(sheet.session.book, sound, rate)
        expected = await sheet.ask(lambda session: session.expected, car, typing=True)
        found = await desk.ear.weigh(lambda: what_was_said(expected, said))
        told: dict[str, Any] = {"words": visible(said.text), "tone": "plain", "lines": []}
        if found is None:
            return JSONResponse(told)

        def offered(session: Session) -> dict[str, Any]:
            made = offer(session, found, said.text)
            if made is None:
                return {"lines": ["in the sheet already"]}
            take = made.line(by_itself=False)
            lines = {"surely": made.line(by_itself=True) if made.surely else "", "take": take}
            return {**facts(made.shown), **lines, "string": made.string, "sure": made.probability}

        return JSONResponse(told | await sheet.ask(offered, car, typing=True))

    routes = [Route("/hear/{sheet}", ready), Route("/hear/{sheet}", hear, methods=["POST"])]
    return DeskPage(routes, needed={"/hear/": Role.WRITE}, large={"/hear/": MOST_SOUND})
