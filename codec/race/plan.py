"""The plan: how much energy each lap may use, and what becomes of it when the distance or the
energy changes. All of it exact.

What was planned for the laps already driven stays. What was planned for the laps left is either
spread over the new number of them in the shape of the first plan, or each lap keeps its own.
Nothing is rounded, so adding a lap and taking it away again restores the plan.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from grammar.errors import CodeError


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
        self.base, self.changed, self.changes = tuple(base), changed, tuple(changes)
        per_lap = list(self.base)
        for change in self.changes:
            per_lap = self._after(per_lap, change)
        self.per_lap = tuple(per_lap)
        sums = [Fraction(0)]
        for planned in self.per_lap:
            sums.append(sums[-1] + planned)
        self._sums = sums

    @property
    def laps(self) -> int:
        """The laps planned."""
        return len(self.per_lap)

    def planned(self, lap: int) -> Fraction:
        """Return what lap ``lap`` (from 1) may use; laps beyond the plan are like its last."""
        return self.per_lap[min(lap, self.laps) - 1]

    def used(self, lap: int) -> Fraction:
        """Return what may have been used by the end of lap ``lap``; 0 at the start."""
        return (
            self._sums[lap]
            if lap <= self.laps
            else self._sums[-1] + (lap - self.laps) * self.per_lap[-1]
        )

    def change(self, after: int, *, laps: int = 0, removed: Fraction = Fraction(0)) -> EnergyPlan:
        """Return the plan changed behind lap ``after``; raises CodeError where that leaves no
        plan.
        """
        return EnergyPlan(self.base, self.changed, (*self.changes, Change(after, laps, removed)))

    def _after(self, per_lap: list[Fraction], change: Change) -> list[Fraction]:
        after, count = change.after, len(per_lap) + change.laps
        if not 0 <= after <= len(per_lap) or count < after:
            raise CodeError(
                f"the race has {len(per_lap)} laps: {change.laps:+d} behind lap {after} leaves no"
                " plan",
                kind="plan",
                hint="is the lap right, and the number of laps?",
            )
        done, left = per_lap[:after], per_lap[after:]
        shape = [self.base[min(lap, len(self.base)) - 1] for lap in range(after + 1, count + 1)]
        if self.changed == "keep":
            left = (left + shape[len(left) :])[: len(shape)]
            share = change.removed / len(left) if left else Fraction(0)
            return done + [planned - share for planned in left]
        total, weight = sum(left, Fraction(0)) - change.removed, sum(shape, Fraction(0))
        if shape and not left:
            raise CodeError(
                f"lap {after} was the last: nothing is planned that could be spread", kind="plan"
            )
        return done + [total * part / weight for part in shape]
