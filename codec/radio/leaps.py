"""How far the laps of a car's reports may leap from one to the next: what was said may be no report
of that race at all, and then the laps after it must find back.

And how far its values may: where nothing checks a report, a value further from those before than
the book's own drift and wander let it go is asked about, too.

A forward sum over the laps that the last report may have been of, by the same weights that put a
whole recording on its laps: so many laps since, by the time between and by what is missed. A code
that belongs to nothing says any lap.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal

from codec.lap_report import lap_field, lap_message
from codec.radio.outlook import SAID, USUAL, lap_counts, lap_weights, level_of_lap
from codec.reading import Reading
from grammar.book import Book
from grammar.fields import FieldBase, Value

_LATE = 0.1  # how often a time is not that of what was said, as where it was typed later
_AT_ONCE = 1000  # milliseconds: reports closer than this have no times of their own
_SHORTEST = 10_000.0  # milliseconds of a lap: less, and times are of typing. Common practice
_BEHIND = 0.001  # how often a lap before the last one is reported once more
_FAR = 1e-6  # how often a report is of any lap further off
_GONE = 0.02  # and of one that the time since is long enough for
_MOST = 12  # laps that the last report may have been of
_LEAST = 1e-9
_SURE_ENOUGH = 0.5  # a lap less likely than this is asked about

_STRAY = 6.0  # standard deviations that a value may be from where it is expected
_UNMOVED = 2.0  # and beyond the last one, where it did not drift as it should, or not as far
_MAY_BE = 1e-3  # so many laps may have gone by that are at least so likely
# how sure a report is whose values are too far from those before
STRAY_SURE = 0.5

State = tuple[int, int | None]  # the last lap reported, and when


@dataclass(frozen=True, slots=True)
class Leap:
    """The lap that a report is most likely of, how likely, and the lap it seems to follow."""

    lap: int
    likely: float
    after: int

    @property
    def doubted(self) -> bool:
        """Tell whether it must be asked about; a lap reported once more is no leap."""
        return abs(self.lap - self.after) > 1 and self.likely < _SURE_ENOUGH

    @property
    def told(self) -> str:
        """What is odd about it, in words."""
        apart = self.lap - self.after
        way = "after" if apart > 0 else "before"
        return f"lap {self.lap} would be {abs(apart)} laps {way} lap {self.after}"


@dataclass(frozen=True, slots=True)
class Valued:
    """A report with its values: when, and the lap that it says (None where it says none)."""

    at: int | None
    said: int | None
    values: Mapping[str, Value]


def stray(
    book: Book, report: Valued, earlier: Iterable[Valued | None], length: float | None
) -> str:
    """Return what is odd about the values of a lap report behind each of some ``earlier`` ones, in
    words; "" where they go on from one of them, or there is none.
    """
    odd = [
        _strayed(book, before, report, _laps_between(before, report, length))
        for before in earlier
        if before is not None
    ]
    return odd[0] if all(odd) and odd else ""


def unchecked_report(book: Book, reading: Reading) -> bool:
    """Tell whether a reading is a lap report that no check speaks for."""
    name = reading.message
    return name == lap_message(book) and not book.messages[name].check_leaves


def _laps_between(before: Valued, report: Valued, length: float | None) -> list[int]:
    """Return how many laps may have gone by between two reports."""
    if before.said is not None and report.said is not None:
        return [max(1, report.said - before.said)]
    timed = before.at is not None and report.at is not None
    timed = timed and (report.at or 0) - (before.at or 0) >= _AT_ONCE
    if timed and (length is None or length >= _SHORTEST):
        counts = lap_counts(before.at, report.at, length)
    else:
        counts = lap_counts(None, None, None)
    return sorted({max(1, count) for count, share in counts.items() if share >= _MAY_BE})


def _strayed(book: Book, before: Valued, report: Valued, laps: Iterable[int]) -> str:
    """Return which value is too far from the one before, whichever of ``laps`` lie between; ""
    where none is.
    """
    for name, value in report.values.items():
        field, last = book.fields[name], before.values.get(name)
        if name == lap_field(book) or not isinstance(value, Decimal):
            continue
        if isinstance(last, Decimal) and all(_far(field, last, value, n) for n in laps):
            new, old = (field.text(field.level(one).level) for one in (value, last))
            return f"{field.title} {new} would be far from {old}"
    return ""


def _far(field: FieldBase, last: Decimal, value: Decimal, laps: int) -> bool:
    """Tell whether a value is further than it wanders from where it is expected so many laps later,
    and does not stand between there and the last one, as in a neutralised lap.
    """
    steps, wander = field.progression, getattr(field, "wander", None)
    expected = field.centre_after(last, laps)
    if field.wraps or wander is None or steps is None or expected is None:
        return False
    ends = steps.first, steps.first + steps.step * (steps.size - 1)
    if getattr(field, "open", "") and last in ends:
        return False  # or anything beyond
    low, high = sorted((last, expected))
    width = max(float(wander) * math.sqrt(laps), float(steps.step) / 2)
    if float(abs(value - expected)) <= _STRAY * width + float(steps.step):
        return False
    beyond = float(max(low - value, value - high))
    return beyond > _UNMOVED * width + float(steps.step) / 2


class Leaps:
    """The laps that a car's last report may have been of, each with how likely it is."""

    def __init__(self, book: Book) -> None:
        """Begin with nothing known: the first report may be of any lap."""
        self._book = book
        name = lap_field(book)
        self._field = book.fields[name] if name else None
        self._states: dict[State, float] = {}
        self._unlike: Valued | None = None  # the last report that was doubted for its values

    def stray(self, report: Valued, before: Valued | None, length: float | None) -> str:
        """Return what is odd about the values of a report behind the last one that counts; "" where
        they are not, or go on from one that was only doubted for the same.
        """
        odd = "" if before is None else stray(self._book, report, [before, self._unlike], length)
        self._unlike = report if odd else None
        return odd

    def doubt(self, report: Valued) -> None:
        """Take a report that is doubted: the next one may go on from it."""
        self._unlike = report

    def known(self, lap: int, at: int | None) -> None:
        """Take a report whose lap somebody who looked at it gave."""
        self._states = {(lap, at): 1.0}

    def take(self, said: int, at: int | None, length: float | None) -> Leap:
        """Take a report that says a lap, at a moment, where a lap takes ``length`` milliseconds;
        None for what nobody knows.
        """
        leap, self._states = self._after(said, at, length)
        return leap

    def look(self, said: int, at: int | None, length: float | None) -> Leap:
        """Return the same, and take nothing."""
        return self._after(said, at, length)[0]

    def _after(
        self, said: int, at: int | None, length: float | None
    ) -> tuple[Leap, dict[State, float]]:
        if not self._states or self._field is None:
            return Leap(said, 1.0, said), {(said, at): 1.0}
        astray = (1 - SAID) / self._field.size
        last = max(self._states, key=self._states.__getitem__)
        states: dict[State, float] = {}
        likely: dict[int, float] = {}
        for (lap, then), share in self._states.items():
            states[lap, then] = states.get((lap, then), 0.0) + share * astray
            shares = _Shares(then, at, length)
            for other, count in self._said(said, lap):
                weight = share * SAID * shares.of(count)
                if count < -1 and self._field.wraps and not _earlier(at, then):
                    weight *= _FAR  # its last figure is that of a lap to come, too
                new = (max(lap, other), at if other >= lap else then)
                states[new] = states.get(new, 0.0) + weight
                likely[other] = likely.get(other, 0.0) + weight
        whole = sum(states.values())
        found = max(likely, key=likely.__getitem__, default=said)
        kept = sorted(states, key=states.__getitem__, reverse=True)[:_MOST]
        kept = [state for state in kept if states[state] > _LEAST * whole]
        total = sum(states[state] for state in kept)
        leap = Leap(found, likely.get(found, 0.0) / whole, last[0])
        if leap.doubted and abs(said - last[0]) > 1:  # told as it was read
            leap = Leap(said, leap.likely, last[0])
        return leap, {state: states[state] / total for state in kept}

    def _said(self, said: int, lap: int) -> Iterator[tuple[int, int]]:
        """Yield the laps that may have been said behind a lap, each with how many laps on it is."""
        yield said, said - lap
        if self._field is None or not self._field.wraps:
            return
        level = level_of_lap(self._book, said)
        for count in range(-1, self._field.size - 1):
            other = lap + count
            if 0 <= other != said and level_of_lap(self._book, other) == level:
                yield other, count


def _earlier(at: int | None, then: int | None) -> bool:
    return at is not None and then is not None and at < then


class _Shares:
    """How likely a report is so many laps behind another: where times tell, mostly by them."""

    def __init__(self, before: int | None, at: int | None, length: float | None) -> None:
        self._untimed = lap_counts(None, None, None)
        self._timed: Mapping[int, float] | None = None
        self._gone = 0.0  # laps that the time is long enough for
        apart = 0 if before is None or at is None else at - before
        if apart >= _AT_ONCE and (length is None or length >= _SHORTEST):
            weights = lap_weights(before, at, length)
            whole = sum(weights.values())
            self._timed = {count: one / whole for count, one in weights.items() if whole > 0}
            self._gone = apart / (length or USUAL[0]) + 0.5

    def of(self, count: int) -> float:
        """Return the share of so many laps."""
        if count < 0:
            return _BEHIND
        far = _FAR if count > self._gone else _GONE
        untimed = self._untimed.get(count, _FAR)
        if self._timed is None:
            return untimed
        return _LATE * untimed + (1 - _LATE) * self._timed.get(count, 0.0 if far == _FAR else far)
