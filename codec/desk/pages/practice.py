"""Practising the wheel at the desk: a change stands there, or is called over a noisy radio, and the
driver's hands make it, on a tablet, a keyboard, or a real wheel as the browser's gamepad.

Each touch is sent with the device's own time since the change appeared or its call ended, so that
the way there and back takes no part in it.
"""

from __future__ import annotations

import asyncio
import math
from collections.abc import Callable
from functools import partial
from typing import Any, TypeVar

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from codec.desk.access import Role
from codec.desk.drills import Journalled, drilled
from codec.desk.listening import SpokenHere
from codec.desk.parts import Desk, DeskPage, book_of, number, sent_object
from codec.desk.sheets import OpenSheet
from codec.drill.journal import JOURNAL
from codec.drill.noise import named
from codec.drill.session import CAUTION
from codec.drill.turn import IN_TIME
from codec.drill.wheel_drill import WheelDrill, WheelTurn, keys_of, result, scores
from codec.store.place import Place
from codec.wheel import Wheel
from grammar.book import Book
from grammar.errors import CodeError

_MOST_SECONDS = 600.0
Result = TypeVar("Result")


def part(desk: Desk) -> DeskPage:
    """Return the page, and where a device sends what was done."""
    practice = Practice(desk)
    routes = [
        Route("/practice/{sheet}", practice.page),
        Route("/practice-act/{sheet}", practice.act, methods=["POST"]),
        Route("/practice-sound/{sheet}", practice.sound),
    ]
    return DeskPage(routes, needed={"/practice": Role.DRILL}, menu={"wheel": "/practice/"})


class Seat(Journalled):
    """One sheet's wheel, and who practises on it: one person at a time, on one device."""

    def __init__(
        self, path: Place, wheel: Callable[[], Wheel | None], book: Callable[[], Book]
    ) -> None:
        """Name the journal; it is opened when somebody begins."""
        super().__init__(path, "wheel")
        self._wheel_of, self._book = wheel, book
        self._sounds, self._spoken, self._heard, self._asked = SpokenHere(), b"", False, 0
        self._drill: WheelDrill | None = None
        self._turn: WheelTurn | None = None
        self._key = ""

    @property
    def wheel(self) -> Wheel:
        """The wheel of the sheet's event; raises CodeError where there is none."""
        wheel = self._wheel_of()
        if wheel is None:
            raise CodeError(
                "this sheet has no wheel to practise on",
                kind="usage",
                hint='niner desk SHEET --event EVENT.toml, with wheel = "wheel.toml" in the event',
            )
        return wheel

    def _close(self) -> None:
        super()._close()
        self._sounds.close()

    def begin(self, key: str, person: str, *, second_task: bool, heard: bool) -> dict[str, Any]:
        """Begin a session for one device, in which calls are ``heard``, or shown; the one before it
        is over. Raises DrillError where nothing can speak.
        """
        wheel, self._heard = self.wheel, heard
        if heard:
            self._sounds.speaker()
        self.journal.new_session()
        self._drill = WheelDrill(self.journal, wheel, person, second_task=second_task)
        self._key, self._turn = key, None
        return self.ask(key)

    def _mine(self, key: str) -> WheelDrill:
        if self._drill is None or key != self._key:
            raise CodeError(
                "somebody else has begun on this wheel, or the desk has begun again",
                kind="usage",
                hint="begin again; what was written is kept",
            )
        return self._drill

    def ask(self, key: str) -> dict[str, Any]:
        """Return the next change."""
        drill = self._mine(key)
        task, signals = drill.ask()
        self._turn = WheelTurn.begin(drill.wheel, task, 0.0)
        self._turn.signals = signals
        self._asked += 1
        told = {"words": task.words, "marks": signals.times, "dash": self._turn.dash}
        if not self._heard:
            return told
        book = self._book()
        self._turn.noise = named(str(book.hearing.noise))
        spoken = self._sounds.speaker().speak(
            book, task.words.split(", "), self._turn.noise, self._asked, "call"
        )
        self._spoken = spoken.path.read_bytes()
        return {**told, "turn": self._asked}

    def again(self, key: str) -> dict[str, Any]:
        """Note that the call was asked for again."""
        self._mine(key)
        if self._turn is not None:
            self._turn.repeats += 1
        return {}

    def sound(self, key: str, turn: int) -> bytes:
        """Return the sound of the call; raises CodeError where it is another's turn."""
        self._mine(key)
        if turn != self._asked or not self._heard:
            raise CodeError("that was called before", kind="usage")
        return self._spoken

    def touched(self, key: str, touches: list[Any]) -> dict[str, Any]:
        """Return what the dash shows after all touches so far."""
        return {"dash": self._made(key, touches).dash}

    def _made(self, key: str, touches: list[Any]) -> WheelTurn:
        drill = self._mine(key)
        if self._turn is None:
            raise CodeError("no change is asked for", kind="usage")
        turn = WheelTurn.begin(drill.wheel, self._turn.task, 0.0)
        turn.signals = self._turn.signals
        turn.noise, turn.repeats = self._turn.noise, self._turn.repeats
        for touch in touches:
            name, at = touch
            turn.touch(str(name), _seconds(at))
        self._turn = turn
        return turn

    def done(self, key: str, touches: list[Any], reactions: Any, at: Any) -> dict[str, Any]:
        """Mark the change and write it; the answer means that it is on the disk."""
        drill = self._mine(key)
        turn = self._made(key, touches)
        turn.signals.reactions = {
            int(number): _seconds(second)
            for number, second in dict(reactions).items()
            if 0 <= _seconds(second) <= IN_TIME and int(number) in range(len(turn.signals.times))
        }
        answer = drill.write(turn, drill.marked(turn, _seconds(at)))
        self._turn = None
        return {
            "outcome": answer.outcome,
            "words": turn.task.words,
            "told": result(turn, answer),
            "scores": [[one.name, one.asked, one.right] for one in scores(drill.answers)],
        }


def _wheel(sheet: OpenSheet) -> Wheel | None:
    event = sheet.session.event
    return None if event is None else event.wheel


def _seconds(told: Any) -> float:
    if not isinstance(told, int | float) or not 0 <= told <= _MOST_SECONDS or math.isnan(told):
        raise CodeError(f"{str(told)[:20]!r} is no time of a touch", kind="usage")
    return float(told)


class Practice:
    """What the addresses of the practice answer."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.seat = desk.rooms(
            lambda sheet: Seat(
                sheet.path.with_name(JOURNAL), partial(_wheel, sheet), partial(book_of, sheet)
            )
        )

    async def page(self, request: Request) -> Response:
        """The change to make, the touches, and what a dash would show."""
        seat, wheel, told = self.seat(request), None, ""
        try:
            wheel = seat.wheel
        except CodeError as error:
            told = f"{error.message}: {error.hint}"
        return self.desk.page(
            request,
            "practice.html",
            caution=CAUTION,
            people=await asyncio.to_thread(drilled, seat.path),
            trouble=told,
            title=wheel.title if wheel else "",
            digest=wheel.digest if wheel else "",
            keys=[] if wheel is None else list(keys_of(wheel)),
        )

    async def sound(self, request: Request) -> Response:
        """Answer with the sound of the call."""
        seat, key = self.seat(request), request.query_params.get("key", "")[:64]
        turn = number(request, "turn", 0)
        return Response(await seat.do(lambda: seat.sound(key, turn)), media_type="audio/wav")

    async def act(self, request: Request) -> Response:
        """Take what a device tells."""
        seat, sent = self.seat(request), await sent_object(request)
        key, touches = str(sent.get("key", ""))[:64], sent.get("touches", [])

        def act() -> dict[str, Any]:
            name = sent.get("act")
            try:
                if name == "begin":
                    person = str(sent.get("person", "")).strip()
                    second, heard = bool(sent.get("second_task")), bool(sent.get("heard"))
                    return seat.begin(key, person, second_task=second, heard=heard)
                if name == "again":
                    return seat.again(key)
                if name == "ask":
                    return seat.ask(key)
                if name == "touched":
                    return seat.touched(key, list(touches))
                if name == "done":
                    return seat.done(key, list(touches), sent.get("reactions", {}), sent.get("at"))
            except CodeError:
                raise
            except (TypeError, ValueError):
                raise CodeError("touches are pairs of a name and seconds", kind="usage") from None
            raise CodeError("nobody knows what that is", kind="usage")

        return JSONResponse(await seat.do(act))
