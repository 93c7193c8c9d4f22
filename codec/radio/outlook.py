"""What the next report of a car is expected to say, by its other reports: of which lap it is, and
with which values; so whose a report is that nobody's name stands before.
"""

from __future__ import annotations

import bisect
import functools
import itertools
import math
import statistics
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from codec.lap_report import lap_field
from codec.radio.laps import LapTimes
from codec.reading import Reading
from grammar.book import Book
from grammar.errors import EncodeError
from grammar.fields import ENUMERABLE, Value

_MOST_KEPT = 24  # reports of a car
_MOST_LAPS = 12  # between two reports
USUAL = (60_000.0, 150_000.0)  # milliseconds of a lap, where nothing is known: common practice
_SURPRISE = 0.02  # how often a field is anywhere in its range
_WIDTH = 0.03  # of a field's range: how far it goes in a lap where the book does not say
_SPREAD = 0.12  # of a lap: how far from its moment a report is said
_ODD = 0.12  # how often a lap takes longer than others: neutralised, or with a stop
_UNTIMELY = 1e-4  # how likely a report is at a moment when none is due
_REPEATED = 0.005  # how often a lap is reported once more, and otherwise
_LATE = 0.005  # how often a lap's report comes behind the next one's
_FEW = 3  # reports among which the one of the last lap is
_LATEST = 4  # laps that it may be late
_LOST = 0.12  # how often a lap's report is not heard
_ANY = 1e-6  # how likely any number of laps is, whatever times tell
# pairs of moments whose laps are kept: each report is weighed against a few others
_MOST_MOMENTS = 512
SAID = 0.995  # how often the lap said is the report's


@dataclass(frozen=True, slots=True)
class Known:
    """A report that is known: when, which lap, its levels and values."""

    at: int | None
    number: int
    lap: int
    levels: Mapping[str, int]
    values: Mapping[str, Value]

    @property
    def order(self) -> tuple[int, int]:
        """Its place among others."""
        return (self.number if self.at is None else self.at), self.number


class CarOutlook:
    """What is known of one car."""

    def __init__(self, book: Book, car: str, times: LapTimes | None = None) -> None:
        """Begin with nothing known."""
        self.book, self.car, self._times = book, car, times
        self._lap = lap_field(book)
        self.reports: list[Known] = []
        self._supposed: tuple[Known, float] | None = None
        self._length: tuple[float | None] | None = None  # once it is worked out

    def learn(self, reading: Reading, lap: int, at: int | None, number: int) -> None:
        """Add a report of a lap."""
        self._length = None
        known = Known(at, number, lap, reading.levels, reading.values)
        bisect.insort(self.reports, known, key=lambda one: one.order)
        del self.reports[:-_MOST_KEPT]

    def suppose(self, reading: Reading, lap: int, at: int | None, number: int, sure: float) -> None:
        """Take what a report of a lap most likely was that does not count, and how likely."""
        self._supposed = Known(at, number, lap, reading.levels, reading.values), sure

    def supposed(self, at: int | None, number: int) -> tuple[Known, float] | None:
        """Return what the last report before a moment most likely was, and how likely, where none
        is known.
        """
        if self._supposed is None or self.before(at, number) is not None:
            return None
        order = (number if at is None else at), number
        return self._supposed if self._supposed[0].order < order else None

    def laps_behind(self, last: Known, at: int | None) -> dict[int, float]:
        """Return how likely a report said at a moment is of each lap behind another one."""
        counts = lap_counts(last.at, at, self.lap_length())
        return {last.lap + count: share for count, share in counts.items()}

    def forget(self, number: int) -> None:
        """Take back what was learnt of an utterance."""
        self._length = None
        self.reports = [one for one in self.reports if one.number != number]

    def lap_length(self) -> float | None:
        """Return the milliseconds of a usual lap; None where nobody knows."""
        if self._length is None:
            self._length = (usual_lap((one.lap, one.at) for one in self.reports),)
        return self._length[0]

    def before(self, at: int | None, number: int) -> Known | None:
        """Return the report of the last lap before a moment: one said late behind it is of a lap
        before.
        """
        place = self._place(at, number)
        if not place:
            return None
        last, lately = self.reports[place - 1], self.reports[max(0, place - _FEW) : place]
        later = (one for one in lately if last.lap < one.lap <= last.lap + _LATEST)
        return max(later, key=lambda one: one.lap, default=last)

    def behind(self, at: int | None, number: int) -> Known | None:
        """Return the first report behind a moment."""
        place = self._place(at, number)
        return self.reports[place] if place < len(self.reports) else None

    def _place(self, at: int | None, number: int) -> int:
        order = (number if at is None else at), number
        return bisect.bisect_left(self.reports, order, key=lambda one: one.order)

    def laps(self, at: int | None, number: int) -> dict[int, float]:
        """Return how likely a report said at a moment is of each lap; empty where nobody knows."""
        timed = self._times.at(self.car, at) if self._times is not None else None
        if timed is not None:
            return {timed: 0.94, timed - 1: 0.05, timed + 1: 0.01}
        last = self.before(at, number)
        if last is None:
            behind = self.behind(at, number)
            counts = {} if behind is None else lap_counts(at, behind.at, self.lap_length())
            laps = {behind.lap - count: n for count, n in counts.items()} if behind else {}
            return {lap: share for lap, share in laps.items() if lap >= 0}
        return self.laps_behind(last, at)

    def fit(self, reading: Reading, at: int | None, number: int) -> float:
        """Return log P(report | it is this car's), among all reports that can be said."""
        return max(self._fit_when_due(reading, at, number), self._fit_late(reading, at, number))

    def _fit_late(self, reading: Reading, at: int | None, number: int) -> float:
        """Return the same of the report of a lap before the last one, if that has none so far."""
        last, level = self.before(at, number), reading.levels.get(self._lap)
        if last is None or level is None:
            return -math.inf
        known = {one.lap: one for one in self.reports}
        for lap in range(last.lap - 1, max(0, last.lap - _LATEST), -1):
            if level_of_lap(self.book, lap) == level and lap not in known:
                before = known.get(max((one for one in known if one < lap), default=0))
                behind = known[min(one for one in known if one > lap)]
                said = Known(at, number, lap, reading.levels, reading.values)
                fits = self._values_fit(before, reading.levels, lap)
                fits += self._values_fit(said, behind.levels, behind.lap)
                return math.log(_LATE) + fits - self._values_fit(before, behind.levels, behind.lap)
        return -math.inf

    def _fit_when_due(self, reading: Reading, at: int | None, number: int) -> float:
        before, behind = self.before(at, number), self.behind(at, number)
        lap = self._lap_of(reading, at, number)
        fits = self._lap_fit(reading, at, number)
        fits += self._values_fit(before, reading.levels, lap)
        if before is not None:
            fits += self._when(before, at)
        if behind is not None:
            said = Known(at, number, lap or 0, reading.levels, reading.values)
            fits += self._values_fit(said, behind.levels, behind.lap) - self._values_fit(
                before, behind.levels, behind.lap
            )
            fits += self._when(behind, at)
        return fits

    def _when(self, other: Known, at: int | None) -> float:
        """Return log P(there are reports at these two moments), against any later one."""
        if other.at is None or at is None:
            return 0.0
        weights = lap_weights(min(other.at, at), max(other.at, at), self.lap_length())
        return math.log(max(_UNTIMELY, min(1.0, sum(weights.values()))))

    def _lap_of(self, reading: Reading, at: int | None, number: int) -> int | None:
        """Return the likeliest lap that a report says."""
        level = reading.levels.get(self._lap)
        laps = self.laps(at, number)
        said = {
            lap: share
            for lap, share in laps.items()
            if level is None or level_of_lap(self.book, lap) == level
        }
        return max(said, key=said.__getitem__, default=None)

    def _lap_fit(self, reading: Reading, at: int | None, number: int) -> float:
        return math.log(max(self.lap_share(reading, at, number), 1e-4))

    def lap_share(self, reading: Reading, at: int | None, number: int) -> float:
        """Return how likely the lap said is, of those it could have said."""
        if self._lap not in reading.levels:
            return 1.0
        level, field = reading.levels[self._lap], self.book.fields[self._lap]
        laps = self.laps(at, number)
        if not laps:
            return 1 / max(2, min(field.size, 60))
        said = sum(share for lap, share in laps.items() if level_of_lap(self.book, lap) == level)
        return 0.98 * said + 0.02 / field.size

    def share(self, name: str, level: int, at: int | None, number: int) -> float:
        """Return how likely a level of a field is in a report said at a moment."""
        last = self.before(at, number)
        before = None if last is None else last.levels.get(name)
        return _shares(self.book, name, before, 1)[level]

    def _values_fit(
        self, before: Known | None, levels: Mapping[str, int], lap: int | None
    ) -> float:
        laps = 1 if before is None or lap is None else lap - before.lap
        known = None if before is None else before.levels
        return values_fit(self.book, known, levels, max(1, min(_MOST_LAPS, laps)))

    def usual(self, reading: Reading) -> float:
        """Return log P(values of a report | nothing is known but what is usual)."""
        return self._values_fit(None, reading.levels, None)

    def flat(self, reading: Reading) -> float:
        """Return log P(report | it is some other's, of whom nothing is known)."""
        return flat_fit(self.book, reading.levels)


def flat_fit(book: Book, levels: Mapping[str, int]) -> float:
    """Return log P(levels of a report | nothing is known of it at all)."""
    sizes = [book.fields[name].size for name in levels]
    return -sum(math.log(size) for size in sizes if size <= ENUMERABLE)


def values_fit(
    book: Book, before: Mapping[str, int] | None, levels: Mapping[str, int], laps: int
) -> float:
    """Return log P(levels of a report, but for its lap | those of the report so many laps before);
    None for one of which nothing is known.
    """
    total, of_lap = 0.0, lap_field(book)
    for name, level in levels.items():
        if name != of_lap and book.fields[name].size <= ENUMERABLE:
            last = None if before is None else before.get(name)
            total += math.log(_shares(book, name, last, laps)[level])
    return total


def usual_lap(reports: Iterable[tuple[int, int | None]]) -> float | None:
    """Return the milliseconds of a usual lap, by reports in order, each its lap and when it was
    said; None where nobody knows.
    """
    lengths = [
        (at - before) / (lap - earlier)
        for (earlier, before), (lap, at) in itertools.pairwise(reports)
        if before is not None and at is not None
        if lap > earlier and at > before  # times may be of a cut file
    ]
    return statistics.median_low(lengths) if lengths else None


@functools.lru_cache(4096)
def lap_counts(before: int | None, at: int | None, length: float | None) -> Mapping[int, float]:
    """Return how likely so many laps lie between two reports, at two moments, where a lap takes
    ``length`` milliseconds; None for what nobody knows.
    """
    weights = lap_odds(before, at, length)
    whole = sum(weights.values())
    return {count: weight / whole for count, weight in weights.items()}


@functools.lru_cache(_MOST_MOMENTS)
def lap_odds(before: int | None, at: int | None, length: float | None) -> Mapping[int, float]:
    """Return the weights of so many laps between two reports, none of them nought: against a report
    at the moment when it is due, which weighs 1. The rest is as for ``lap_counts``.
    """
    timed = before is not None and at is not None
    most = abs((at or 0) - (before or 0)) / (length or USUAL[0]) + 1 if timed else math.inf
    return {
        count: one + _ANY * 10 ** -max(0.0, count - most)  # fewer laps than driven, never more
        for count, one in lap_weights(before, at, length).items()
    }


@functools.lru_cache(_MOST_MOMENTS)
def lap_weights(before: int | None, at: int | None, length: float | None) -> Mapping[int, float]:
    """Return weights of so many laps between two reports, in which a lap that time does not allow
    weighs nothing; the rest is as for ``lap_counts``.
    """
    missed = {count: _LOST ** (count - 1) for count in range(1, _MOST_LAPS)}
    if before is None or at is None:
        return {0: _REPEATED, **missed}
    low, high = USUAL if length is None else (length, length)
    weights = {0: _REPEATED * _bell((at - before) / high, 0.0)}
    for count, share in missed.items():
        least, most = (at - before) / high, (at - before) / low
        apart = max(least - count, count - most, 0.0)
        longer = _ODD if count < most else 0.0
        usual = (1 - _ODD) * _bell(apart, 0.0)
        weights[count] = share * (usual + longer * _bell(most, count, 0.6))
    return weights


@functools.lru_cache(4096)
def level_of_lap(book: Book, lap: int) -> int | None:
    """Return the level that says a lap; None where the book can't say it."""
    try:
        return book.fields[lap_field(book)].level(lap).level
    except EncodeError:
        return None


def _bell(place: float, centre: float, spread: float = _SPREAD) -> float:
    return math.exp(-(((place - centre) / spread) ** 2) / 2)


@functools.lru_cache(4096)
def _shares(book: Book, name: str, last: int | None, laps: int) -> Sequence[float]:
    """Return how likely each level of a field is, some laps after its level was ``last``."""
    field = book.fields[name]
    size = field.size
    if last is None:
        shares = field.shares()
    else:
        shares = field.shares_after(field.value(last), laps)
        if field.numeric and _silent(field):
            width = max(1.0, _WIDTH * size) * math.sqrt(laps)
            near = [math.exp(-abs(level - last) / width) for level in range(size)]
            whole = sum(near)
            shares = [0.5 * a + 0.5 * b / whole for a, b in zip(shares, near, strict=True)]
    return [(1 - _SURPRISE) * share + _SURPRISE / size for share in shares]


def _silent(field: Any) -> bool:
    """Tell whether the book says nothing of how a field moves."""
    return getattr(field, "wander", None) is None and field.hold is None
