"""The events of a season, and what is asked of some of them."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from codec.sheet.order import SINCE_1970
from grammar.errors import CodeError


class SeasonError(CodeError):
    """What a season is asked for is not there, or can't be told; ``kind`` tells which."""


@dataclass(frozen=True, slots=True)
class SeasonEvent:
    """The sheet of one event: ``number`` is its number in what is asked, ``sheet`` the sheet's own
    name, ``date`` the day (UTC) of the first entry whose time of day is known, else that on which
    its first entry was written, "" for an empty sheet.
    """

    number: int
    event: str
    date: str
    book: str
    digest: str
    sheet: str
    entries: int


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which entries of a season count: of which drivers, engineers, books (their names, or how
    their digests begin), and dates from one to another; empty for all.
    """

    drivers: tuple[str, ...] = ()
    engineers: tuple[str, ...] = ()
    books: tuple[str, ...] = ()
    first: str = ""
    last: str = ""

    def events(self, events: Iterable[SeasonEvent]) -> list[SeasonEvent]:
        """Return the events that count."""
        return [
            one
            for one in events
            if (not self.books or any(_is_of(one, book) for book in self.books))
            and (not self.first or self.first <= one.date)
            and (not self.last or one.date <= self.last)
        ]


_LEAST_DIGEST = 6


def _is_of(event: SeasonEvent, book: str) -> bool:
    begins = len(book) >= _LEAST_DIGEST and event.digest.startswith(book.lower())
    return event.book.casefold() == book.casefold() or begins


def day_of(at: int | None, logged: str | None) -> str:
    """Return the day of a sheet, by when its first timed entry was said and its first was
    written.
    """
    if at is not None and SINCE_1970 <= at < 10**14:
        return datetime.datetime.fromtimestamp(at / 1000, datetime.UTC).date().isoformat()
    return (logged or "")[:10]


def known(names: Sequence[str], asked: Sequence[str], what: str) -> tuple[str, ...]:
    """Return the names asked for as they are written in the season; raises SeasonError where there
    is none such.
    """
    by_fold: dict[str, list[str]] = {}
    for name in names:
        by_fold.setdefault(name.casefold(), []).append(name)
    found: list[str] = []
    for one in asked:
        if one.casefold() not in by_fold:
            raise SeasonError(
                f"there is no {what} {one[:60]!r} in these events",
                kind="season-nobody",
                expected=sorted(name for name in names if name)[:20],
            )
        found += by_fold[one.casefold()]
    return tuple(found)
