"""What is to be seen from a lap: the margin at the flag, the chance of running short, the energy
per lap, the temperatures to come.

Everything is said of driving on as now: to the target called last, else to the dash's plan, with
the habit seen so far, and, if the race is neutralised, as if it were resumed with the next lap.
Figures are worked out when they are asked for.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from statistics import NormalDist
from typing import Literal

from codec.race import energy, temperature
from codec.race.binding import TemperatureField
from codec.race.kalman import Distribution, GaussianMixture
from codec.race.race import Race
from codec.race.schedule import LapTimeCurve, Schedule, fastest
from codec.race.temperature import Reaching

_LEAST_RACED = 1e-6  # laps, so that what is left can be shared out
_LEAST_USE = 1e-3  # of a lap, so that what is left lasts for some number of laps
_standard = NormalDist()
_NEVER, _ALIKE, _MOST_TRIES = 1e-9, 0.01, 20  # of a chance; of its quantile; of a search for a use


class Distance:
    """How the race ends with these numbers of laps left (number → probability)."""

    def __init__(
        self, race: Race, laps_left: Mapping[int, float], *, aside: float = 0.0, slow: float = 0.0
    ) -> None:
        """Look from where the race stands; so much energy is set ``aside``, for ``slow`` of the
        laps left that are not raced, or taken off.
        """
        self._race, self.laps_left, self._slow = race, dict(laps_left), slow
        self._budget = float(race.usable - Fraction(race.event.spec.energy.reserve)) - aside

    def _raced(self, laps: int) -> float:
        """Return how many of so many laps left are raced."""
        return max(laps - self._slow, 0.0)

    @functools.cached_property
    def likeliest(self) -> int:
        """The likeliest number of laps left."""
        return max(self.laps_left, key=lambda laps: self.laps_left[laps])

    @property
    def even(self) -> float | None:
        """The energy per lap that uses up all but the reserve by the flag; None behind the flag."""
        raced = self._raced(self.likeliest)
        return (self._budget - self._race.energy.level().mean) / raced if raced else None

    @functools.cached_property
    def margin(self) -> Distribution:
        """What is left at the flag over the reserve, driving on as now."""
        event, state = self._race.event, self._race.energy
        parts = []
        for laps, share in self.laps_left.items():
            raced = self._raced(laps)
            expected = float(_expected(self._race, laps)) * (raced / laps if laps else 0.0)
            parts.append((share, energy.used_after(event, state, expected, raced)))
        return Distribution.mixed(parts).mirrored(self._budget)

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
        return self._highest(lambda _: energy.used_held(event, state))

    @functools.cached_property
    def safe_once(self) -> float | None:
        """The highest target that does so if it is called now, kept, and never corrected; None
        behind the flag.
        """
        event, state = self._race.event, self._race.energy
        return self._highest(lambda laps: energy.used_once(event, state, laps))

    def _highest(self, used: Callable[[float], Distribution]) -> float | None:
        """Return the highest target with which the chance of running short is accepted; ``used``
        tells the energy used after so many laps, but for the targets of these.
        """
        if not self._raced(self.likeliest):
            return None
        a_lap = [
            (share, used(raced).mirrored(self._budget).shared(max(raced, _LEAST_RACED)))
            for laps, share in self.laps_left.items()
            for raced in (self._raced(laps),)
        ]
        highest = Distribution.mixed(a_lap).quantile(float(self._race.event.spec.advice.chance))
        return min(max(highest, 0.0), max(self._budget, 0.0))


@dataclass(frozen=True, slots=True)
class TargetRow:
    """What is to be driven with ``more`` laps than there are now: as it is, and with a further
    neutralisation.
    """

    more: int
    plain: Distance
    neutralised: Distance


@dataclass(frozen=True, slots=True)
class Saving:
    """What one lap of saving buys: it takes so much ``energy`` less, which is a share of a lap, and
    the chance of running short is ``short`` then.
    """

    energy: float
    laps: float
    short: float


@dataclass(frozen=True, slots=True)
class ChargingStop:
    """A charging stop: the lap on which it was made, None before; whether it may still be; the use
    a lap with which what there is lasts to the end of its window, and the last lap of the window to
    whose end it lasts at the use of now, None where it does not reach the window.
    """

    name: str
    made: int | None
    open: bool
    even: float | None
    lasts: int | None


@dataclass(frozen=True, slots=True)
class UseLimit:
    """The highest use a lap, called each lap anew, with which the chance that something does not
    hold is what the event accepts: the reserve at the flag, a temperature (by name) below its limit
    until then, or a charging stop that is reached.
    """

    use: float
    holds: Literal["reserve", "temperature", "stop"]
    name: str = ""


@dataclass(frozen=True, slots=True)
class ExtraPower:
    """The uses of extra power that are left, their minutes together, the energy of as many of these
    as there are still before the flag with what uses that have begun still take, and the latest lap
    on which the first of them must begin, None where the lap time is not known.
    """

    left: int
    minutes: float
    energy: float
    latest: int | None


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

    def _distance(
        self, left: Mapping[int, float], aside: float = 0.0, slow: float = 0.0
    ) -> Distance:
        """Return how the race ends with so many laps left; energy that is still to come or to be
        spent beside the laps is counted.
        """
        kept = 0.0 if self.extra is None else self.extra.energy
        to_come = self._to_come(self.charging)
        return Distance(self._race, left, aside=aside + kept - to_come, slow=slow)

    def _to_come(self, stops: Iterable[ChargingStop]) -> float:
        """Return what these stops will still bring."""
        charging = self._race.event.spec.charging
        return math.fsum(float(charging[stop.name].energy) for stop in stops if stop.open)

    @functools.cached_property
    def charging(self) -> list[ChargingStop]:
        """The charging stops."""
        found, left = [], self.left.mean
        use = max(self.use.mean, _LEAST_USE)
        for name, spec in self._race.event.spec.charging.items():
            made, laps = self._race.charged.get(name), spec.last - self.lap
            in_time = spec.first <= self.lap + max(laps_left(self._race))
            may_be = made is None and laps > 0 and in_time
            even = left / laps if may_be else None
            last = min(spec.last, self.lap + max(0, math.floor(left / use)))
            lasts = last if may_be and last >= max(spec.first, self.lap + 1) else None
            found.append(ChargingStop(name, made, may_be, even, lasts))
        return found

    @functools.cached_property
    def extra(self) -> ExtraPower | None:
        """The extra power that must still be used, None where the event has none."""
        spec = self._race.event.spec.extra_power
        if spec is None:
            return None
        left = max(0, spec.uses - len(self._race.extra_used))
        minutes = can_be = left * float(spec.minutes)
        lap_seconds = self._race.clock.lap_seconds(self._race.raced)
        counts, latest = laps_left(self._race), None
        laps = max(counts, key=lambda laps: counts[laps])
        if lap_seconds is not None and left:
            latest = self.lap + laps + 1 - math.ceil(minutes * 60 / lap_seconds)
            can_be = min(minutes, laps * lap_seconds / 60)
        kept = can_be * float(spec.energy_per_minute)
        kept += self._race.extra_energy(self.lap, self.lap + laps)
        return ExtraPower(left, minutes, kept, latest)

    @functools.cached_property
    def distance(self) -> Distance:
        """How the race ends, with the distance as it is."""
        return self._distance(laps_left(self._race))

    @functools.cached_property
    def more(self) -> Distance:
        """How it would end with one lap more."""
        return self._distance({laps + 1: share for laps, share in self.distance.laps_left.items()})

    @functools.cached_property
    def fewer(self) -> Distance | None:
        """How it would end with one lap fewer; None where no lap is left."""
        left = self.distance.laps_left
        return (
            self._distance({laps - 1: share for laps, share in left.items()}) if min(left) else None
        )

    def targets(self, minutes: float | None = None, most: int = 5) -> list[TargetRow]:
        """Return the targets for no lap more, and for up to ``most``, each also with a further
        neutralisation of so many minutes (by default those of the event file): it takes its energy
        off, and its laps take less where the event file says how long they are.
        """
        spec, expected = self._race.event.spec.neutralisation, self._race.expected(self.lap + 1)
        lasts = float(spec.further_minutes) if minutes is None else minutes
        slow = 0.0 if spec.lap_seconds is None else lasts * 60 / float(spec.lap_seconds)
        slow = min(slow, float(self.distance.likeliest))
        aside = lasts * float(spec.energy_per_minute) + slow * float(spec.use) * float(expected)

        def longer(laps: int, aside: float, slow: float) -> Distance:
            left = {left + laps: share for left, share in self.distance.laps_left.items()}
            return self._distance(left, aside, slow)

        return [
            TargetRow(laps, longer(laps, 0.0, 0.0), longer(laps, aside, slow))
            for laps in range(most + 1)
        ]

    @functools.cached_property
    def saving(self) -> Saving:
        """What one lap of saving buys."""
        told, use = self._race.event.spec.advice.saving, self.use.mean
        saved = use / 10 if told is None else float(told)
        return Saving(saved, saved / use, self.distance.margin.below(-saved))

    @functools.cached_property
    def cool(self) -> dict[str, float | None]:
        """The use a lap that keeps the chance of reaching each limit within what is accepted, up to
        the flag, where the event file tells how a lap's energy warms; None where no use does.
        """
        bound = self._race.event.temperatures
        return {
            name: self._coolest(bound[name], state, float(bound[name].spec.per_energy or 0))
            for name, state in self._race.temperatures.items()
            if bound[name].spec.per_energy is not None and self.distance.likeliest
        }

    def _coolest(
        self, bound: TemperatureField, state: GaussianMixture, warms: float
    ) -> float | None:
        chance, use = float(self._race.event.spec.advice.chance), self.use.mean

        def over(a_lap: float) -> float:
            """Return how far the chance is above what is accepted, in standard deviations."""
            hotter, laps = warms * (a_lap - use), self.distance.likeliest
            reached = temperature.reaching(bound, state, self.lap, laps, hotter=hotter).chance
            return _standard.inv_cdf(min(max(reached, _NEVER), 1 - _NEVER)) - accepted

        accepted = _standard.inv_cdf(chance) - _ALIKE
        low, high = 0.0, 2 * use
        below, above = over(low), over(high)
        if below > 0:
            return None
        if above <= 0:
            return high
        last = 0.0
        for _ in range(_MOST_TRIES):  # false position, as in Illinois: M. Dowell, P. Jarratt 1971
            middle = high - above * (high - low) / (above - below)
            found = over(middle)
            if found <= 0:
                low, below = middle, found
                above = above / 2 if last < 0 else above
            else:
                high, above = middle, found
                below = below / 2 if last > 0 else below
            last = found
            if abs(found) < _ALIKE:
                return middle
        return low

    @functools.cached_property
    def limits(self) -> list[UseLimit]:
        """What limits the use of a lap, the lowest first; none behind the flag, and none of a
        temperature that no use keeps below its limit.
        """
        found = []
        if self.distance.safe is not None:
            found.append(UseLimit(self.distance.safe, "reserve"))
        found += [
            UseLimit(use, "temperature", name) for name, use in self.cool.items() if use is not None
        ]
        stops = self._race.event.spec.charging
        for stop in self.charging:
            if stop.open:
                laps, first = max(stops[stop.name].first - self.lap, 1), stops[stop.name].first
                before = [one for one in self.charging if stops[one.name].last < first]
                aside = -float(self._race.event.spec.energy.reserve) - self._to_come(before)
                safe = Distance(self._race, {laps: 1.0}, aside=aside).safe
                found += [] if safe is None else [UseLimit(safe, "stop", stop.name)]
        return sorted(found, key=lambda limit: limit.use)

    @functools.cached_property
    def schedule(self) -> Schedule | None:
        """The fastest laps to the flag that together take no more than the lowest of the ``limits``
        allows; None where the event file has no lap times, or nothing is fast enough.
        """
        spec, laps = self._race.event.spec.lap_times, self.distance.likeliest
        if spec is None or not self.limits:
            return None
        return fastest(LapTimeCurve.of(spec), laps, self.limits[0].use * laps)

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
    """Return what is to be seen from where a race stands; a race that was seen changes no more."""
    if not isinstance(race.seen, Outlook):
        race.seen = Outlook(race)
    return race.seen


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
