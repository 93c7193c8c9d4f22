"""The race as it stands: everything reported, called and noted of one car, put together."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from fractions import Fraction

from codec.race.binding import Event
from codec.race.clock import Clock
from codec.race.dials import Ledger
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


@dataclass
class Race:
    """The race behind lap ``lap`` (0: before the first report).

    ``energy`` is what is known of the energy used and of the driver's habit, ``temperatures`` of
    each temperature. ``plan`` is the plan the dash has, ``laps_added`` what is announced,
    ``laps_entered`` what the dash knows of it, ``removed`` the energy taken off, ``target`` the
    energy per lap called last, ``ledger`` the wheel. ``history``, of a race followed with it, has
    the race as it stood behind each lap from the start.
    """

    event: Event
    plan: EnergyPlan
    energy: GaussianMixture
    temperatures: dict[str, GaussianMixture]
    ledger: Ledger
    clock: Clock
    lap: int = 0
    neutralised: bool = False
    laps_added: int = 0
    laps_entered: int = 0
    minutes_added: Fraction = Fraction(0)
    removed: Fraction = Fraction(0)
    target: Fraction | None = None
    notices: list[RaceNotice] = field(default_factory=list)
    history: list[Race] = field(default_factory=list)
    raced: list[int] = field(default_factory=list)
    reported: list[int] = field(default_factory=list)

    @property
    def usable(self) -> Fraction:
        """What may be used from start to flag, the reserve included."""
        return Fraction(self.event.spec.energy.usable) - self.removed

    def as_it_stands(self) -> Race:
        """Return the race as it stands now: what becomes of it later changes nothing there."""
        return replace(
            self,
            temperatures=dict(self.temperatures),
            ledger=self.ledger.as_it_stands(),
            notices=list(self.notices),
            history=[],
            raced=list(self.raced),
            reported=list(self.reported),
        )

    def doubts(self) -> dict[int, float]:
        """Return, for each lap reported, how likely its report is wrong, by all that is known
        now.
        """
        states = [self.energy, *self.temperatures.values()]
        return {lap: max(state.doubt(lap) for state in states) for lap in self.reported}

    def expected(self, lap: int) -> Fraction:
        """Return what a lap is expected to take: the target called, else its plan."""
        return self.plan.planned(lap) if self.target is None else self.target
