"""A thread that does what it is given, in the order of how urgent it is."""

from __future__ import annotations

import asyncio
import itertools
import queue
import threading
from collections.abc import Callable
from concurrent.futures import Future
from enum import IntEnum
from typing import TypeVar

Result = TypeVar("Result")


class Urgency(IntEnum):
    """What goes first in a sheet's thread: who writes, then who types, then who looks."""

    WRITE, TYPE, LOOK, END = range(4)


class Turns:
    """A thread that does what it is given, one after the other, the most urgent first."""

    def __init__(self, name: str) -> None:
        """Begin, with nothing to do."""
        self._waiting: queue.PriorityQueue[tuple[int, int, Callable[[], bool]]]
        self._waiting, self._count = queue.PriorityQueue(), itertools.count()
        threading.Thread(target=self._run, name=name, daemon=True).start()

    def _run(self) -> None:
        while self._waiting.get()[-1]():
            pass

    def submit(self, act: Callable[[], Result], urgency: Urgency) -> Future[Result]:
        """Return what ``act`` will return, when its turn has come."""
        future: Future[Result] = Future()

        def turn() -> bool:
            if future.set_running_or_notify_cancel():
                try:
                    future.set_result(act())
                except BaseException as error:  # noqa: BLE001 - raised again for who waits
                    future.set_exception(error)
            return urgency is not Urgency.END

        self._waiting.put((urgency, next(self._count), turn))
        return future

    async def do(self, act: Callable[[], Result], urgency: Urgency = Urgency.WRITE) -> Result:
        """Return what ``act`` returns, when its turn has come."""
        return await asyncio.wrap_future(self.submit(act, urgency))
