"""What a page takes up by a microphone or a line, heard at the desk: in one thread beside those of
the sheets, so that nobody who writes waits for it. The sound is forgotten when it was heard.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

from codec.voice.features import RATE
from codec.voice.gate import LONGEST_STRETCH
from codec.voice.listening import Recogniser, Transmission
from codec.voice.live import HIGHEST, samples
from grammar.book import Book
from grammar.errors import CodeError

# bytes of what is sent at once: a stretch as long as the gate lets one be, and what is around it
MOST_SOUND = round(2 * HIGHEST * (LONGEST_STRETCH + 2))
_MOST_WAITING = 6
Result = TypeVar("Result")


class DeskEar:
    """Hears for all pages of a desk, one stretch of sound after the other."""

    def __init__(self) -> None:
        """Begin with nothing heard; what hears a book is made when it is first needed."""
        self._worker: ThreadPoolExecutor | None = None
        self._recognisers: dict[int, Recogniser] = {}
        self._waiting = 0

    async def ready(self, book: Book) -> None:
        """Make ready to hear a book; raises CodeError where it can't be heard."""
        await self._done(lambda: self._of(book))

    async def hear(self, book: Book, sound: bytes, rate: int) -> Transmission:
        """Return what was said in a stretch of sound, as ``samples`` takes it; raises CodeError,
        (kind "busy") where too much waits to be heard.
        """

        def heard() -> Transmission:
            return self._of(book).hear(samples(sound, rate))

        return await self._done(heard)

    async def weigh(self, act: Callable[[], Result]) -> Result:
        """Return what ``act`` makes of something that was heard."""
        return await self._done(act)

    async def close(self) -> None:
        """Hear nothing more."""
        if self._worker is not None:
            self._worker.shutdown(wait=False, cancel_futures=True)

    async def _done(self, act: Callable[[], Result]) -> Result:
        if self._waiting >= _MOST_WAITING:
            raise CodeError("too much waits to be heard: say it again", kind="busy")
        self._worker = self._worker or ThreadPoolExecutor(1, "ear")
        self._waiting += 1
        try:
            return await asyncio.get_running_loop().run_in_executor(self._worker, act)
        finally:
            self._waiting -= 1

    def _of(self, book: Book) -> Recogniser:
        """Return what hears a book: one for each that is open."""
        found = self._recognisers.get(id(book))
        if found is None:
            found = self._recognisers[id(book)] = Recogniser(book)
            found.hear(samples(bytes(2 * RATE), RATE))  # what is slow the first time is done now
        return found
