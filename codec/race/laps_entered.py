"""Laps added that the driver enters on the wheel, held against the lap reports that follow: a dash
that was told none of them, twice as many, or only later, tells its energy against another plan.

Each thing the dash may know is followed by itself, with what is known of the energy if it is so,
and weighed by how well the reports fit. Where drivers have no target they hold the plan that the
dash shows, or drive on as before: both are followed. A target that is half kept looks like laps
entered twice: then neither is sure, and the driver is to be asked.
"""

from __future__ import annotations

import contextlib
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from codec.race import energy
from codec.race.binding import Event
from codec.race.energy import NeutralisedShare
from codec.race.kalman import GaussianMixture
from codec.race.plan import EnergyPlan
from grammar.errors import CodeError
from grammar.fields import Value

LAPS_HELD = 3  # so many reports are held against an entry
# how likely it is that none, all or twice the laps to be entered were, where that was read back and
# where it was only called; and that they were a lap later
_READ_BACK, _CALLED, _LATER = (0.05, 0.9, 0.05), (0.5, 0.45, 0.05), 0.2


@dataclass(frozen=True, slots=True)
class DashPlan:
    """What a dash may have: so many ``laps`` entered, its ``plan``, and if it is so, the energy
    used; how likely that is, and whether the driver goes on ``as_before``.
    """

    laps: int
    plan: EnergyPlan
    used: GaussianMixture
    share: float
    as_before: bool


@dataclass(frozen=True)
class LapsEntry:
    """Laps to be entered in a ``lap``: how many, whether they are taken to be ``entered``, and what
    the dash may have now.
    """

    event: Event
    before: EnergyPlan
    lap: int
    laps: int
    entered: bool
    ways: Sequence[DashPlan]
    asked: bool = False  # whether somebody was told to ask

    @classmethod
    def begin(
        cls, event: Event, before: EnergyPlan, lap: int, laps: int, used: GaussianMixture, *,
        entered: bool,
    ) -> LapsEntry:  # fmt: skip
        """Return it before any report; ``before`` is the plan without them."""
        entry = cls(event, before, lap, laps, entered, ())
        odds = _READ_BACK if entered else _CALLED
        ways = [
            way
            for count, share in zip((0, laps, 2 * laps), odds, strict=True)
            for as_before in (False, True)
            for way in entry._way(count, lap, used, share / 2, as_before=as_before)
        ]
        return replace(entry, ways=ways)

    def _way(
        self, laps: int, after: int, used: GaussianMixture, share: float, *, as_before: bool
    ) -> Iterator[DashPlan]:
        with contextlib.suppress(CodeError):  # more than can be planned
            plan = self.before.change(after, laps=laps)
            yield DashPlan(laps, plan, used, share, as_before)

    def driven(
        self, lap: int, target: Fraction | None, neutralised: NeutralisedShare, extra: float = 0.0
    ) -> LapsEntry:
        """Return it a lap on, on which extra power took so much."""
        known, ways = list(self.ways), []
        for way in self.ways:
            if way.laps == 0 and lap > self.lap + 1:  # none until now: they may be by now
                share = way.share * _LATER
                known += self._way(self.laps, lap - 1, way.used, share, as_before=way.as_before)
        for way in known:
            expected = self._expected(way, lap, target)
            move = energy.transition(self.event, expected, neutralised, extra)
            ways.append(replace(way, used=way.used.advance(move=move)))
        return replace(self, ways=ways)

    def _expected(self, way: DashPlan, lap: int, target: Fraction | None) -> float:
        plan = self.before if way.as_before else way.plan
        return float(plan.planned(lap) if target is None else target)

    def called(self, lap: int, before: Fraction | None, target: Fraction) -> LapsEntry:
        """Return it after the call of a target in a lap; ``before`` is the one before, if any."""
        ways = [
            replace(
                way,
                used=energy.called(
                    self.event, way.used, self._expected(way, lap, before), float(target)
                ),
            )
            for way in self.ways
        ]
        return replace(self, ways=ways)

    def reported(
        self, lap: int, values: Mapping[str, Value], *, wrong: float, usable: float
    ) -> LapsEntry:
        """Return it after the report of a lap, which is wrong so likely."""
        ways = list[DashPlan]()
        for way in self.ways:
            planned = float(way.plan.used(lap))
            told = list(
                energy.observations(self.event, values, planned_used=planned, usable=usable)
            )
            fits = math.prod(
                wrong * chance + (1 - wrong) * way.used.chance(low, high)
                for low, high, chance in told
            )
            used = way.used.report(told, wrong=wrong, mark=lap)
            ways.append(replace(way, used=used, share=way.share * fits))
        total = sum(way.share for way in ways) or 1.0
        return replace(self, ways=[replace(way, share=way.share / total) for way in ways])

    @property
    def likeliest(self) -> DashPlan:
        """What the dash most likely has; its share is that of so many laps, whenever entered."""
        shares: dict[int, float] = {}
        for way in self.ways:
            shares[way.laps] = shares.get(way.laps, 0.0) + way.share
        laps = max(shares, key=shares.__getitem__)
        best = max((way for way in self.ways if way.laps == laps), key=lambda way: way.share)
        return replace(best, share=shares[laps])
