"""A clock that tests of the live log set."""

from __future__ import annotations

import datetime

NOON = datetime.datetime(2026, 5, 2, 12, tzinfo=datetime.UTC)


class SetClock:
    """A clock that a test sets."""

    def __init__(self) -> None:
        self.now = NOON

    def __call__(self) -> datetime.datetime:
        return self.now

    def on(self, seconds: float) -> None:
        self.now += datetime.timedelta(seconds=seconds)
