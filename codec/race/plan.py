"""The plan: how much energy each lap may use, and what becomes of it when the distance or the
energy changes. All of it exact.

What was planned for the laps already driven stays. What was planned for the laps left is either
spread over the new number of them in the shape of the first plan, or each lap keeps its own.
Nothing is rounded, so adding a lap and taking it away again restores the plan.
"""

from __future__ import annotations

import copy
import itertools
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from codec.sheet.state import MOST_LAPS
from grammar.errors import CodeError

MOST_PLANNED = 2 * MOST_LAPS  # a race as long as may be, made longer by as much as may be


@dataclass(frozen=True, slots=True)
class Change:
    """What changes behind lap ``after``: so many ``laps`` more (or fewer), and so much energy
    ``removed``.
    """

    after: int
    laps: int = 0
    removed: Fraction = Fraction(0)


class EnergyPlan:
    """A plan of ``base`` (one figure a lap) and the changes since; ``per_lap[n - 1]`` is what lap n
    may use now.
    """

    __slots__ = ("_sums", "base", "changed", "changes", "per_lap")

    def __init__(
        self,
        base: Sequence[Fraction],
        changed: Literal["spread", "keep"] = "spread",
        changes: Iterable[Change] = (),
    ) -> None:
        """Work the plan out; raises CodeError where a change leaves no plan."""
        self.base, self.changed = tuple(base), changed
        self.changes: tuple[Change, ...] = ()
        self.per_lap = self.base
        self._sums = [Fraction(0)]  # of the first laps, as far as they were asked for
        for change in changes:
            self._take(change)

    @property
    def laps(self) -> int:
        """The laps planned."""
        return len(self.per_lap)

    def planned(self, lap: int) -> Fraction:
        """Return what lap ``lap`` (from 1) may use; laps beyond the plan are like its last."""
        return self.per_lap[min(lap, self.laps) - 1]

    def used(self, lap: int) -> Fraction:
        """Return what may have been used by the end of lap ``lap``; 0 at the start."""
        planned = min(lap, self.laps)
        for number in range(len(self._sums), planned + 1):
            self._sums.append(self._sums[-1] + self.per_lap[number - 1])
        if lap <= planned:
            return self._sums[planned]
        return self._sums[planned] + (lap - planned) * self.per_lap[-1]

    def change(self, after: int, *, laps: int = 0, removed: Fraction = Fraction(0)) -> EnergyPlan:
        """Return the plan changed behind lap ``after``; raises CodeError where that leaves no
        plan.
        """
        made = copy.copy(self)
        made._take(Change(after, laps, removed))
        return made

    def _take(self, change: Change) -> None:
        self.per_lap = tuple(self._after(list(self.per_lap), change))
        self.changes = (*self.changes, change)
        self._sums = self._sums[: change.after + 1]

    def _after(self, per_lap: list[Fraction], change: Change) -> list[Fraction]:
        after, count = change.after, len(per_lap) + change.laps
        if count > MOST_PLANNED:
            raise CodeError(
                f"{count} laps are more than the {MOST_PLANNED} that can be planned",
                kind="plan",
                hint="is the number of laps added right?",
            )
        if not 0 <= after <= len(per_lap) or count < after:
            raise CodeError(
                f"the race has {len(per_lap)} laps: {change.laps:+d} behind lap {after} leaves no"
                " plan",
                kind="plan",
                hint="is the lap right, and the number of laps?",
            )
        done, left = per_lap[:after], per_lap[after:]
        beyond = count - max(after, len(self.base))  # laps that are like the last
        shape = [*self.base[after:count], *[self.base[-1]] * beyond]
        if self.changed == "keep":
            left = (left + shape[len(left) :])[: len(shape)]
            share = change.removed / len(left) if left else Fraction(0)
            return done + [planned - share for planned in left]
        total, weight = _sum(left) - change.removed, _sum(shape)
        if shape and not left:
            raise CodeError(
                f"lap {after} was the last: nothing is planned that could be spread", kind="plan"
            )
        for part, count in _runs(shape):
            done += [total * part / weight] * count
        return done


def _runs(values: Sequence[Fraction]) -> Iterator[tuple[Fraction, int]]:
    """Yield the values that stand in a row, and how often: a plan has few that differ, and sums of
    fractions take long. To compare them does, too: one value is one object.
    """
    place = 0
    for _, run in itertools.groupby(values, id):
        count = len(list(run))
        yield values[place], count
        place += count


def _sum(values: Sequence[Fraction]) -> Fraction:
    return sum((value * count for value, count in _runs(values)), Fraction(0))
