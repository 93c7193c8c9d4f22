"""The fastest laps that a given energy allows: how much each should take.

A lap time is given by the energy that the lap takes. Energies are whole steps; over them the least
sum of lap times is found lap by lap (R. Bellman, Dynamic Programming, 1957), so it is exact: where
the curve is convex all laps take the same but for a step, where it is not, some take more and some
less.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from codec.race.event import LapTimesSpec

if TYPE_CHECKING:
    from codec.race.truncated_normal import Array

_ROUNDING = 1e-9


@dataclass(frozen=True, eq=False)
class LapTimeCurve:
    """The lap time at ``least`` and at each ``step`` of energy more."""

    least: float
    step: float
    seconds: Array

    @classmethod
    def of(cls, spec: LapTimesSpec) -> LapTimeCurve:
        """Return what an event file says, with straight lines between its points."""
        import numpy as np

        energies, step = [float(one) for one in spec.energy], float(spec.step)
        count = math.floor((energies[-1] - energies[0]) / step + _ROUNDING) + 1
        grid = energies[0] + step * np.arange(count)
        return cls(energies[0], step, np.interp(grid, energies, [float(s) for s in spec.seconds]))


@dataclass(frozen=True, slots=True)
class Schedule:
    """What each lap should take, the most first, and the seconds that all of them take."""

    energies: tuple[float, ...]
    seconds: float

    @property
    def runs(self) -> list[tuple[int, float]]:
        """How many laps take how much, the most first."""
        return [(len(list(same)), use) for use, same in itertools.groupby(self.energies)]


def fastest(times: LapTimeCurve, laps: int, energy: float) -> Schedule | None:
    """Return the fastest ``laps`` laps that take no more than ``energy`` together; None where even
    the least is too much.
    """
    import numpy as np

    room = math.floor((energy - laps * times.least) / times.step + _ROUNDING)
    if laps < 1 or room < 0:
        return None
    choices = len(times.seconds)
    room = min(room, laps * (choices - 1))
    best = np.zeros(room + 1)  # the least time of the laps so far, by the steps they may take
    chosen = []
    for _ in range(laps):
        found, taken = np.full(room + 1, np.inf), np.zeros(room + 1, dtype=int)
        for steps in range(min(choices, room + 1)):
            total = best[: room + 1 - steps] + times.seconds[steps]
            better = total < found[steps:] - _ROUNDING
            found[steps:][better], taken[steps:][better] = total[better], steps
        best = found
        chosen.append(taken)
    uses, left = [], room
    for taken in reversed(chosen):
        uses.append(int(taken[left]))
        left -= uses[-1]
    even = [room // laps + (lap < room % laps) for lap in range(laps)]
    if times.seconds[even].sum() < times.seconds[uses].sum() + _ROUNDING:
        uses = even  # of laps that are as fast, those that are alike
    uses.sort(reverse=True)
    energies = tuple(times.least + times.step * steps for steps in uses)
    return Schedule(energies, float(sum(times.seconds[steps] for steps in uses)))
