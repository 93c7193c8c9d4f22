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

import bisect
from collections.abc import Iterable
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
    """The order of the entries of one sheet; ``epoch`` grows when one comes in before others."""

    def __init__(self) -> None:
        """Begin with no entry."""
        self.epoch = 0
        self.rows: list[int] = []  # in order
        self._places: list[MergedPlace] = []
        self._numbers: dict[int, int] = {}

    def take(self, places: Iterable[MergedPlace]) -> None:
        """Take up what has come."""
        before = False
        for place in places:
            if not self._places or place > self._places[-1]:
                self._places.append(place)
                self.rows.append(place.row)
                self._numbers[place.row] = len(self.rows)
            else:
                bisect.insort(self._places, place)
                before = True
        if before:
            self.epoch += 1
            self.rows = [place.row for place in self._places]
            self._numbers = {row: number for number, row in enumerate(self.rows, 1)}

    @property
    def taken(self) -> int:
        """The last row that was taken up."""
        return len(self.rows)

    def number(self, row: int) -> int:
        """Return the number of a row."""
        return self._numbers[row]
