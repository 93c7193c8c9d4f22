"""A desk that keeps its sheet in step with the one that all desks share, in a thread of its own:
the desk itself waits for no line.
"""

from __future__ import annotations

import asyncio
import contextlib
import datetime
from collections.abc import Awaitable, Callable
from pathlib import Path

from codec.desk.turns import Turns, Urgency
from codec.drill.answer import DrillError
from codec.drill.handing_over import HandingOver
from codec.drill.journal import JOURNAL
from codec.sheet.mirror import Mirror
from codec.sheet.words import clock_text
from codec.store.clock import steady
from codec.store.place import ServerPlace
from codec.store.store import now
from grammar.book import Book
from grammar.errors import CodeError

_BEAT = 1.0  # seconds after which it is tried again at the latest
_REFUSED = 10.0  # seconds after which drills are, where they were refused
_WHEN = {"sheet-server": "the line is back", "sheet-later": "niner is updated here"}


class Mirroring:
    """The sheet of a desk and the shared one; ``trouble`` tells why they are not in step now."""

    def __init__(self, own: Path, shared: ServerPlace, desk: str, book: Book | None) -> None:
        """Name both, and the desk."""
        self.trouble = ""
        self._own, self._shared, self._desk, self._book = own, shared, desk, book
        self._turns = Turns(f"mirror {own.name}")
        self._drills = HandingOver(own.with_name(JOURNAL), shared.with_name(JOURNAL))
        self._again, self._kept = 0.0, ""  # when drills are tried again, and why they were not
        self._mirror: Mirror | None = None
        self._stirred = asyncio.Event()

    def open(self) -> None:
        """Open the own sheet, made from the shared one where it is not there; raises CodeError."""
        self._turns.submit(self._open, Urgency.WRITE).result()

    def _open(self) -> None:
        self._mirror = Mirror(self._own, self._shared, self._desk, self._book)

    def clock(self) -> datetime.datetime:
        """Return the time of the clock that desks share, as far as known."""
        return now() if self._mirror is None else self._mirror.clock()

    def stir(self) -> None:
        """Tell that there is something to bring."""
        self._stirred.set()

    async def run(self, tell: Callable[[], Awaitable[None]]) -> None:
        """Keep both in step until cancelled; ``tell`` hears when something was brought, and when
        the line broke or came back.
        """
        mirror = self._mirror
        if mirror is None:
            return
        listening = asyncio.create_task(self._listen(mirror))
        try:
            while True:
                self._stirred.clear()
                count, trouble = await self._turns.do(lambda: self._step(mirror))
                if count or trouble != self.trouble:
                    self.trouble = trouble
                    await tell()
                with contextlib.suppress(TimeoutError):
                    async with asyncio.timeout(_BEAT):
                        await self._stirred.wait()
        finally:
            listening.cancel()
            await asyncio.gather(listening, return_exceptions=True)

    async def _listen(self, mirror: Mirror) -> None:
        async for _ in mirror.news():
            self.stir()

    def _step(self, mirror: Mirror) -> tuple[int, str]:
        """Return how many entries were brought, and what is wrong."""
        try:
            count, ahead = mirror.step(), mirror.ahead
        except CodeError as error:
            when = _WHEN.get(error.kind, "that is settled")
            return 0, (
                "not in step with the shared sheet: this desk goes on, and hands over when"
                f" {when}; {error.message}"
            )
        kept, off = self._hand_over(), clock_text(ahead)
        told = off and (
            f"{off}: this desk writes by the server's, other programs here by this computer's; set"
            " it right"
        )
        return count, told or kept

    def _hand_over(self) -> str:
        """Hand drills over, unless that went wrong just now; return what is wrong."""
        if steady() >= self._again:
            self._kept = ""
            try:
                self._drills.step()
            except DrillError as error:
                self._again = steady() + _REFUSED
                self._kept = f"drills stay in this desk's own journal for now: {error.message}"
        return self._kept

    async def close(self) -> None:
        """Close both sheets."""
        await self._turns.do(self._close, Urgency.END)

    def _close(self) -> None:
        self._drills.close()
        if self._mirror is not None:
            self._mirror.close()
