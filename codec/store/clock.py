"""The clock that desks share: that of the server, whatever their own computers' clocks say."""

from __future__ import annotations

import datetime
import time

from codec.store.store import now

# the steady clock; where it can, it goes on while the computer sleeps
_STEADY = getattr(time, "CLOCK_BOOTTIME", None)
_SURE = 1.0  # seconds: what is told without knowing how long it was under way is no better


class ServerClock:
    """The clock of a server: what it told, and how long ago that is by this computer's steady
    clock. Until it has told anything it is this computer's.
    """

    def __init__(self) -> None:
        """Know nothing yet."""
        self._told: tuple[datetime.datetime, float] | None = None

    def heard(self, told: datetime.datetime, asked: float | None = None) -> None:
        """Take what the server told just now: to who asked at a moment of ``steady``, it was half
        of the way there and back ago.
        """
        heard = steady()
        told = told.astimezone(datetime.UTC)
        if asked is not None:
            self._told = told, (asked + heard) / 2
        elif abs((told - self()).total_seconds()) > _SURE:
            self._told = told, heard

    def __call__(self) -> datetime.datetime:
        """Return the server's time, in UTC."""
        if self._told is None:
            return now()
        told, at = self._told
        return told + datetime.timedelta(seconds=steady() - at)

    @property
    def ahead(self) -> float:
        """By how many seconds this computer's clock is ahead of it."""
        return (now() - self()).total_seconds()


def steady() -> float:
    """Return the time of the steady clock, in seconds."""
    return time.monotonic() if _STEADY is None else time.clock_gettime(_STEADY)
