"""How far the laps of a car's reports may leap from one to the next: what was said may be no report
of that race at all, and then the laps after it must find back.

A forward sum over the laps that the last report may have been of, by the same weights that put a
whole recording on its laps: so many laps since, by the time between and by what is missed. A code
that belongs to nothing says any lap.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from codec.radio.laps import lap_field
from codec.radio.outlook import SAID, USUAL, lap_counts, lap_weights, level_of_lap
from grammar.book import Book

_LATE = 0.1  # how often a time is not that of what was said, as where it was typed later
_AT_ONCE = 1000  # milliseconds: reports closer than this have no times of their own
_SHORTEST = 10_000.0  # milliseconds of a lap: less, and times are of typing. Common practice
_BEHIND = 0.001  # how often a lap before the last one is reported once more
_FAR = 1e-6  # how often a report is of any lap further off
_GONE = 0.02  # and of one that the time since is long enough for
_MOST = 12  # laps that the last report may have been of
_LEAST = 1e-9
_SURE_ENOUGH = 0.5  # a lap less likely than this is asked about

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


class Leaps:
    """The laps that a car's last report may have been of, each with how likely it is."""

    def __init__(self, book: Book) -> None:
        """Begin with nothing known: the first report may be of any lap."""
        self._book = book
        name = lap_field(book)
        self._field = book.fields[name] if name else None
        self._states: dict[State, float] = {}

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
