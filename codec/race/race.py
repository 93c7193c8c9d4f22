"""The race as it stands: everything reported, called and noted of one car, put together."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from fractions import Fraction

from codec.race.binding import Event
from codec.race.clock import Clock, Neutralised
from codec.race.dials import Ledger
from codec.race.energy import Manner
from codec.race.kalman import GaussianMixture
from codec.race.plan import EnergyPlan


@dataclass(frozen=True, slots=True)
class RaceNotice:
    """Something to look at: a stable ``kind``, the lap, what it is in words, and the entry it is
    about.
    """

    kind: str
    lap: int
    text: str
    seq: int = 0


@dataclass(frozen=True, slots=True)
class DrivenLap:
    """A lap driven: the energy ``used`` by its end (the mean of what was known then), what the lap
    was expected to take, at the target in force or else the plan, how much of it was neutralised,
    and the energy that extra power took on top of that.
    """

    lap: int
    used: float
    target: Fraction
    neutralised: float = 0.0
    extra: float = 0.0


@dataclass(frozen=True, slots=True)
class ReportedLap:
    """What the report of a lap said of the energy used by its end, an interval, and what was set
    then, by name.
    """

    lap: int
    low: float
    high: float
    settings: dict[str, float]


@dataclass(frozen=True, slots=True)
class LapUse:
    """What a lap took, its target, and how far above the target that is; no gap for a lap that was
    neutralised.
    """

    used: float
    target: float
    gap: float | None


@dataclass
class Race:
    """The race behind lap ``lap`` (0: before the first report).

    ``energy`` is what is known of the energy used and of the driver's habit, ``temperatures`` of
    each temperature. ``heard`` is the time of the last fact that has one. ``plan`` is the plan the
    dash has, ``laps_added`` what is announced or, until it is, expected (``laps_expected`` of
    them), ``laps_entered`` what the dash knows of it, ``spans`` the neutralisations, ``driven``
    every lap driven, from the first, ``removed`` the energy taken off, ``target`` the energy per
    lap called last, ``ledger`` the wheel, ``energies_reported`` what reports said of the energy,
    ``charged`` the charging stops made and ``extra_used`` where each use of extra power began, in
    laps from the start, ``manners`` in what the laps are not as the event file says, ``courses``
    how surely each target but the last was kept, half kept and ignored. ``history``, of a race
    followed with it, has the race as it stood behind each lap from the start.
    """

    event: Event
    plan: EnergyPlan
    energy: GaussianMixture
    temperatures: dict[str, GaussianMixture]
    ledger: Ledger
    clock: Clock
    lap: int = 0
    heard: int | None = None
    laps_added: int = 0
    laps_entered: int = 0
    laps_expected: int = 0
    spans: list[Neutralised] = field(default_factory=list)
    minutes_added: Fraction = Fraction(0)
    removed: Fraction = Fraction(0)
    target: Fraction | None = None
    notices: list[RaceNotice] = field(default_factory=list)
    history: list[Race] = field(default_factory=list)
    driven: list[DrivenLap] = field(default_factory=list)
    raced: list[int] = field(default_factory=list)
    reported: list[int] = field(default_factory=list)
    energies_reported: list[ReportedLap] = field(default_factory=list)
    charged: dict[str, int] = field(default_factory=dict)
    extra_used: list[float] = field(default_factory=list)
    manners: list[Manner] = field(default_factory=list)
    courses: list[tuple[float, float, float]] = field(default_factory=list)
    seen: object = field(default=None, init=False, repr=False, compare=False)  # its outlook

    @property
    def neutralised(self) -> bool:
        """Tell whether the race is neutralised."""
        return bool(self.spans) and self.spans[-1].last is None

    def laps_due(self, now: int | None = None) -> int | None:
        """Return the laps that the event's rule adds for the last neutralisation, by its minutes up
        to ``now``, or to the last fact, if it still lasts; None where nobody knows how long it
        lasted.
        """
        minutes, rule = self.minutes_neutralised(now), self.event.spec.neutralisation
        if minutes is None:
            return None
        due = minutes * Fraction(rule.laps_per_minute)
        return math.ceil(due) if rule.count == "begun" else math.floor(due)

    def minutes_neutralised(self, now: int | None = None) -> Fraction | None:
        """Return how long the last neutralisation lasted, up to ``now``, or to the last fact, if it
        still does; None where nobody knows.
        """
        if not self.spans:
            return Fraction(0)
        return self.clock.minutes(self.spans[-1], self.heard if now is None else now)

    def laps_still_due(self, now: int | None = None) -> int | None:
        """Return, while the race is neutralised, the laps due by the event's rule that nobody has
        announced; None where there is no such rule, or nobody knows how long it lasts.
        """
        due = self.laps_due(now) if self.neutralised else None
        if due is None or not self.event.spec.neutralisation.laps_per_minute:
            return None
        return max(0, due - (self.laps_added - self.spans[-1].added_before))

    def due_in_words(self, now: int | None = None) -> str:
        """Return that in words, empty where it is None."""
        due, minutes = self.laps_still_due(now), self.minutes_neutralised(now)
        if due is None or minutes is None:
            return ""
        return f"laps due so far by the event file: {due}, for {math.floor(minutes)} min"

    @property
    def usable(self) -> Fraction:
        """What may be used from start to flag, the reserve included."""
        charging = self.event.spec.charging
        charged = sum((Fraction(charging[name].energy) for name in self.charged), Fraction(0))
        return Fraction(self.event.spec.energy.usable) - self.removed + charged

    def as_it_stands(self) -> Race:
        """Return the race as it stands now: what becomes of it later changes nothing there."""
        return replace(
            self,
            temperatures=dict(self.temperatures),
            ledger=self.ledger.as_it_stands(),
            notices=list(self.notices),
            spans=list(self.spans),
            history=[],
            driven=list(self.driven),
            raced=list(self.raced),
            reported=list(self.reported),
            energies_reported=list(self.energies_reported),
            charged=dict(self.charged),
            extra_used=list(self.extra_used),
            courses=list(self.courses),
        )

    def use_of(self, lap: int) -> float | None:
        """Return the energy that a lap driven took, by what was known at its end and at that of the
        lap before; None for one that is not driven.
        """
        if not 1 <= lap <= len(self.driven):
            return None
        return self.driven[lap - 1].used - (self.driven[lap - 2].used if lap > 1 else 0.0)

    def uses(self) -> dict[int, LapUse]:
        """Return what each lap reported took, its target, and the gap between them."""
        found: dict[int, LapUse] = {}
        for driven in self.driven:
            used = self.use_of(driven.lap)
            if used is not None and driven.lap in self.reported:
                target = float(driven.target)
                gap = None if driven.neutralised else used - driven.extra - target
                found[driven.lap] = LapUse(used, target, gap)
        return found

    def extra_energy(self, begin: float, end: float = math.inf) -> float:
        """Return what the uses of extra power that have begun take between two places of the race,
        in laps from the start; where no lap time is known one lasts a lap.
        """
        spec = self.event.spec.extra_power
        if spec is None or not self.extra_used:
            return 0.0
        minutes, lap_seconds = float(spec.minutes), self.clock.lap_seconds(self.raced)
        laps = 1.0 if lap_seconds is None else minutes * 60 / lap_seconds
        there = (min(end, place + laps) - max(begin, place) for place in self.extra_used)
        return math.fsum(max(0.0, one) for one in there) / laps * spec.energy_of_one

    def doubts(self) -> dict[int, float]:
        """Return, for each lap reported, how likely its report is wrong, by all that is known
        now.
        """
        states = [self.energy, *self.temperatures.values()]
        return {lap: max(state.doubt(lap) for state in states) for lap in self.reported}

    def expected(self, lap: int) -> Fraction:
        """Return what a lap is expected to take: the target called, else its plan."""
        return self.plan.planned(lap) if self.target is None else self.target
