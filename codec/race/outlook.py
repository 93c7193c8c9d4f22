"""What is to be seen from a lap: the margin at the flag, the chance of running short, the energy
per lap, the temperatures to come.

Everything is said of driving on as now: to the target called last, else to the dash's plan, with
the habit seen so far, and, if the race is neutralised, as if it were resumed with the next lap.
Figures are worked out when they are asked for.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Mapping
from fractions import Fraction

from codec.race import energy, temperature
from codec.race.kalman import Distribution
from codec.race.race import Race
from codec.race.temperature import Reaching


class Distance:
    """How the race ends with these numbers of laps left (number → probability)."""

    def __init__(self, race: Race, laps_left: Mapping[int, float]) -> None:
        """Look from where the race stands."""
        self._race, self.laps_left = race, dict(laps_left)
        self._budget = float(race.usable - Fraction(race.event.spec.energy.reserve))

    @functools.cached_property
    def likeliest(self) -> int:
        """The likeliest number of laps left."""
        return max(self.laps_left, key=lambda laps: self.laps_left[laps])

    @property
    def even(self) -> float | None:
        """The energy per lap that uses up all but the reserve by the flag; None behind the flag."""
        return (
            (self._budget - self._race.energy.level().mean) / self.likeliest
            if self.likeliest
            else None
        )

    @functools.cached_property
    def margin(self) -> Distribution:
        """What is left at the flag over the reserve, driving on as now."""
        return self._over({laps: float(_expected(self._race, laps)) for laps in self.laps_left})

    @property
    def short(self) -> float:
        """The chance of running short: of going below the reserve before the flag."""
        return self.margin.below(0.0)

    @functools.cached_property
    def safe(self) -> float | None:
        """The highest target that keeps the chance of running short within what the event accepts,
        if it is corrected each lap: what is left is then spread over the laps left but for what the
        last lap may take too much. None behind the flag.
        """
        event, state = self._race.event, self._race.energy
        return self._highest(lambda _, used: energy.used_held(event, state, used))

    @functools.cached_property
    def safe_once(self) -> float | None:
        """The highest target that does so if it is called now, kept, and never corrected; None
        behind the flag.
        """
        event, state = self._race.event, self._race.energy
        return self._highest(lambda laps, used: energy.used_once(event, state, used, laps))

    def _highest(self, used: Callable[[int, float], Distribution]) -> float | None:
        """Return the highest target with which the chance of running short is accepted; ``used``
        tells the energy used after so many laps that together are to take so much.
        """
        if not self.likeliest:
            return None
        chance, low, high = float(self._race.event.spec.advice.chance), 0.0, max(self._budget, 0.0)
        spread = {laps: used(laps, 0.0) for laps in self.laps_left}
        for _ in range(40):
            target = (low + high) / 2
            left = math.fsum(
                share * (1 - spread[laps].below(self._budget - laps * target))
                for laps, share in self.laps_left.items()
            )
            low, high = (low, target) if left > chance else (target, high)
        return low

    def _over(self, expected: Mapping[int, float]) -> Distribution:
        """Return what is left over at the flag, where so many laps are expected to take so much."""
        event, state = self._race.event, self._race.energy
        return Distribution.mixed(
            [
                (self.laps_left[laps], energy.used_after(event, state, energies, laps))
                for laps, energies in expected.items()
            ]
        ).mirrored(self._budget)


class Outlook:
    """What is to be seen from behind ``lap``."""

    def __init__(self, race: Race) -> None:
        """Look from where the race stands."""
        self._race = race
        self.lap = race.lap

    @functools.cached_property
    def left(self) -> Distribution:
        """The energy left."""
        return self._race.energy.level().mirrored(float(self._race.usable))

    @functools.cached_property
    def against_plan(self) -> Distribution:
        """The energy left against the dash's plan: above zero, more is left than planned."""
        return self._race.energy.level().mirrored(float(self._race.plan.used(self.lap)))

    @functools.cached_property
    def use(self) -> Distribution:
        """The energy a lap takes now, net."""
        return self._race.energy.slope().shifted(float(self._race.expected(self.lap + 1)))

    @functools.cached_property
    def distance(self) -> Distance:
        """How the race ends, with the distance as it is."""
        return Distance(self._race, laps_left(self._race))

    @functools.cached_property
    def more(self) -> Distance:
        """How it would end with one lap more."""
        return Distance(
            self._race, {laps + 1: share for laps, share in self.distance.laps_left.items()}
        )

    @functools.cached_property
    def fewer(self) -> Distance | None:
        """How it would end with one lap fewer; None where no lap is left."""
        left = self.distance.laps_left
        return (
            Distance(self._race, {laps - 1: share for laps, share in left.items()})
            if min(left)
            else None
        )

    @functools.cached_property
    def temperatures(self) -> dict[str, Distribution]:
        """Each temperature now."""
        return {name: state.level() for name, state in self._race.temperatures.items()}

    @functools.cached_property
    def reaching(self) -> dict[str, Reaching]:
        """When each temperature reaches its limit."""
        bound, laps = self._race.event.temperatures, self.distance.likeliest
        return {
            name: temperature.reaching(bound[name], state, self.lap, laps)
            for name, state in self._race.temperatures.items()
        }


def outlook(race: Race) -> Outlook:
    """Return what is to be seen from where a race stands."""
    return Outlook(race.as_it_stands())


def laps_left(race: Race) -> dict[int, float]:
    """Return the probability of each number of laps left."""
    spec = race.event.spec.distance
    if spec.laps is not None:
        return {max(0, spec.laps + race.laps_added - race.lap): 1.0}
    lap_seconds = race.clock.lap_seconds(race.raced)
    timed = race.clock.laps_left(
        race.lap, lap_seconds or float(spec.lap_seconds or 1), race.minutes_added
    )
    return {max(0, laps + race.laps_added): share for laps, share in timed.items()}


def _expected(race: Race, laps: int) -> Fraction:
    """Return what the next laps take at the target called, else at the dash's plan."""
    if race.target is not None:
        return laps * race.target
    return race.plan.used(race.lap + laps) - race.plan.used(race.lap)
