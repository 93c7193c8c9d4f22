"""The order of a sheet that several desks keep in step, each with a sheet of its own: the same at
all of them, whatever came when.

An entry has the number that it had where it was made, and its desk. The order is that of these
numbers, then of the desks; the entries are counted anew in it. As a desk passes entries on in the
order in which it has them, nobody makes one with a lower number than one that they know: so
whatever an entry is about stands before it (this is the order by logical clocks of L. Lamport,
"Time, Clocks, and the Ordering of Events in a Distributed System", 1978), and where the line holds
a new entry is the last one. No clock takes part in it; when things were said is told by their times
(codec.sheet.order).
"""

from __future__ import annotations

import array
import bisect
from collections.abc import Callable, Iterable, Sequence
from typing import NamedTuple


class MergedPlace(NamedTuple):
    """Where an entry stands among all: ``made`` is its number at its desk, ``row`` where it is in
    this sheet.
    """

    made: int
    desk: str
    uid: str
    row: int


class MergedOrder:
    """The order of the entries of one sheet; ``epoch`` grows when one comes in before others.

    ``rows`` are in order. ``uid_of`` tells the name of a row: it is asked for only where two have
    the same number of the same desk, and what is held of an entry are a few numbers.
    """

    def __init__(self, uid_of: Callable[[int], str]) -> None:
        """Begin with no entry."""
        self.epoch = 0
        self._uid_of = uid_of
        self._rows, self._made, self._desks = _numbers("q"), _numbers("q"), _numbers("H")
        self._named: dict[str, int] = {}  # the desks, each with what stands for it
        self._names: list[str] = []
        self._numbers = _numbers("q")  # of each row

    @property
    def rows(self) -> Sequence[int]:
        """The rows in their order."""
        return self._rows

    def take(self, places: Iterable[MergedPlace]) -> None:
        """Take up what has come: rows one after the other."""
        before = False
        try:
            for place in places:
                before |= self._take(place)
        finally:  # whatever was taken is numbered
            if before:
                self.epoch += 1
                for number, row in enumerate(self._rows, 1):
                    self._numbers[row - 1] = number

    def _take(self, place: MergedPlace) -> bool:
        """Take the next row; return whether it comes before others."""
        at = count = len(self._rows)
        if count and place < self._place(count - 1, place):
            at = bisect.bisect(range(count), place, key=lambda one: self._place(one, place))
        self._rows.insert(at, place.row)
        self._made.insert(at, place.made)
        self._desks.insert(at, self._desk(place.desk))
        self._numbers.append(at + 1)
        return at < count

    def _desk(self, name: str) -> int:
        if name not in self._named:
            self._named[name] = len(self._names)
            self._names.append(name)
        return self._named[name]

    def _place(self, at: int, beside: MergedPlace) -> MergedPlace:
        """Return what stands somewhere, to be told from another place."""
        made, desk, row = self._made[at], self._names[self._desks[at]], self._rows[at]
        alike = (made, desk) == (beside.made, beside.desk)
        return MergedPlace(made, desk, self._uid_of(row) if alike else "", row)

    @property
    def taken(self) -> int:
        """The last row that was taken up."""
        return len(self._rows)

    def number(self, row: int) -> int:
        """Return the number of a row."""
        return self._numbers[row - 1]


def _numbers(kind: str) -> array.array[int]:
    return array.array(kind)
