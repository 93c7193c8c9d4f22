"""The entries of a sheet, of which only the last ones are held: earlier ones are read where they
are asked for, so that what is held does not grow with the sheet.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Protocol, overload

from codec.sheet.entry import Entry, PlainNote, Said

HELD = 256  # entries, and as many of the notes of each car
TOGETHER = 256  # entries that are read together


@dataclass(frozen=True, slots=True)
class Sought:
    """Which entries may be wanted: those of which the number and what their rows have in some
    ``columns`` ``says`` so. Others are not read as a whole.
    """

    columns: tuple[str, ...]
    says: Callable[..., bool]


class Older(Protocol):
    """What reads entries."""

    def __call__(self, first: int, last: int, sought: Sought | None = None, /) -> Sequence[Entry]:
        """Return the entries of these numbers, both counted, in their order; where some are
        ``sought``, those alone.
        """


def read_through(older: Older, count: int) -> Iterator[Entry]:
    """Yield the first entries, so many of them, few in memory at once."""
    for before in range(0, count, TOGETHER):
        yield from older(before + 1, min(count, before + TOGETHER))


class EntryWindow(Sequence[Entry]):
    """Every entry of a sheet in the order of their numbers, which count from 1 without a gap.

    With ``older`` to read them by, only the last ones are held, ``held`` of them at least; without
    it, all.
    """

    def __init__(self, older: Older | None = None, held: int = HELD) -> None:
        """Begin with no entry."""
        self.older = older
        self._most = held
        self._last: list[Said] = []
        self._before = 0  # how many there are that are not held

    def append(self, entry: Said) -> None:
        """Take the next entry."""
        self._last.append(entry)
        if self.older is not None and len(self._last) > 2 * self._most:
            del self._last[: -self._most]
            self._before += self._most + 1

    def __len__(self) -> int:
        """Return how many entries there are."""
        return self._before + len(self._last)

    @overload
    def __getitem__(self, place: int) -> Entry: ...
    @overload
    def __getitem__(self, place: slice) -> list[Entry]: ...

    def __getitem__(self, place: int | slice) -> Entry | list[Entry]:
        """Return the entry at a place, counted from 0, or those of a slice."""
        if isinstance(place, slice):
            begin, end, step = place.indices(len(self))
            if step == 1:
                return [entry for block in self._blocks(begin, end) for entry in block]
            return [self[one] for one in range(begin, end, step)]
        at = place + len(self) if place < 0 else place
        if not 0 <= at < len(self):
            raise IndexError(place)
        return self._part(at, at + 1)[0]

    def __iter__(self) -> Iterator[Entry]:
        """Yield the entries there are now, few of the earlier ones in memory at once."""
        return itertools.chain.from_iterable(self._blocks(0, len(self)))

    def __reversed__(self) -> Iterator[Entry]:
        """Yield them from the last one on."""
        return self.before(len(self))

    def before(self, place: int, sought: Sought | None = None) -> Iterator[Entry]:
        """Yield those before a place, counted from 0, from the last one on; of those that are not
        held only the ``sought`` ones.
        """
        while place > 0:
            found, place = self.piece(place, sought)
            yield from found

    def piece(self, place: int, sought: Sought | None = None) -> tuple[Sequence[Entry], int]:
        """Return some of those before a place, the last one first, and the place that all of the
        others are before.
        """
        end = min(place, len(self))
        begin = max(self._before if end > self._before else 0, end - TOGETHER)
        return self._part(begin, end, sought)[::-1], begin

    def __eq__(self, other: object) -> bool:
        """Tell whether others are the same entries."""
        if not isinstance(other, Sequence) or len(other) != len(self):
            return NotImplemented if not isinstance(other, Sequence) else False
        return all(mine == one for mine, one in zip(self, other, strict=True))

    __hash__ = None  # type: ignore[assignment]  # as that of a list

    def _blocks(self, begin: int, end: int) -> Iterator[Sequence[Entry]]:
        while begin < end:
            to = min(end, begin + TOGETHER)
            to = min(to, self._before) if begin < self._before else to
            yield self._part(begin, to)
            begin = to

    def _part(self, begin: int, end: int, sought: Sought | None = None) -> Sequence[Entry]:
        """Return a part that is held as a whole, or not at all."""
        if begin >= self._before:
            part = self._last[begin - self._before : end - self._before]
            return [one.entry if isinstance(one, PlainNote) else one for one in part]
        return [] if self.older is None else self.older(begin + 1, end, sought)
