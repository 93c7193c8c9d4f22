"""Energy used and left: the filter over the laps, and the forecast to the flag.

The level of the state is the energy used, net, in the event's unit; its slope is the driver's
habit: how much more a lap takes than its plan. All reports are put as intervals of the energy used:
a delta by the plan the dash has, the remaining energy by what was usable.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from codec.race.binding import EnergyField, Event
from codec.race.interval import Interval, interval, mirrored, shifted
from codec.race.kalman import (
    Case,
    Cases,
    Distribution,
    GaussianMixture,
    Observation,
    Transition,
    TrendOutcome,
)
from grammar.fields import Value

if TYPE_CHECKING:
    from codec.race.truncated_normal import Array

# how many times as much as stated laps may scatter, in steps of a factor, and how many times as
# much as they the habit may drift, each with how likely it is: who states too little of one most
# often does so of both
_SCATTERS = (0.4, 0.7, 1.25, 2.2, 4.0)
_DRIFTS = {0.75: 0.55, 4.0: 0.45}
# how likely laps go together: of what one takes by chance the next takes this share, too; and how
# many times as much as they scatter the habit drifts then
_TOGETHER, _RHYTHM, _DRIFTS_TOGETHER = 0.1, 0.75, 0.75
USUAL = 0.55  # the middle of the first, as files come: they state too much
# how likely a lap takes steadily more, or less, than the one before from the start on, against that
# the habit only drifts; and how far the first lap may then lie off the one from which the whole
# race takes what is planned: the deviation, as a share of the way from that to the plan
_CREEPS, _EASES, _UNPLANNED = 0.64, 0.02, 0.9
_BEGINS = 0.015  # the chance, on any lap, that it begins to take more
_CREEPS_APART = 0.35  # the deviation of such a change, as a share of what it is expected to be
_AS_STATED = 1.5  # a factor up to this is as stated
_MORE, _LESS, _CREEPING, _DRIFTING = 0.5, 0.99, 0.97, 0.986  # of what laps are like, to tell it
_ODD = 4.0  # times as much as others an odd lap scatters
_LIKELIER = 2.0  # times as likely as kept a target must be ignored at least, to tell it
# a plan that has changed is gone by, half gone by, or not: each counts like so many targets before
_REPLANNED = 1.0, 0.2, 1.0
_PARTLY = 0.15  # how far a target half kept may lie off the half, as a share of the whole way


@dataclass(frozen=True, slots=True)
class NeutralisedShare:
    """How much of the way of a lap was neutralised: the mean and the variance of what is known of
    it; and whether it was ``raced`` from line to line.
    """

    mean: float = 0.0
    variance: float = 0.0
    raced: bool = True


RACING = NeutralisedShare()


def begin(event: Event) -> GaussianMixture:
    """Return what is known at the start: nothing is used, and the driver's habit is about the
    plan.
    """
    first, spread = float(event.spec.energy.first), float(event.spec.energy.spread)
    cases = _cases(*_doubts(event), event.laps)
    return GaussianMixture.start(0.0, 0.0, 0.0, first, cases, spread)


def _doubts(event: Event) -> tuple[float, float]:
    """Return how much the stated noise is doubted, and the steady change of the habit that is
    expected from lap to lap, where there is one.
    """
    spec = event.spec.energy
    plan = float(sum(event.plan)) / event.laps
    creep = 0.12 * plan / event.laps if spec.creep is None else float(spec.creep)
    return float(spec.doubt), creep


@functools.lru_cache(maxsize=64)
def _cases(doubt: float, creep: float, laps: int) -> Cases:
    """Return what the laps may be like: a normal distribution of the logarithm of how much they
    scatter, on a grid; a habit that drifts, more or less against that, or that creeps.

    What makes laps take more the longer they are driven (heat, tyres) is far more common than what
    makes them take less. That it is so is common practice, without a source; how likely was set so
    that the bands hold with and without it, see ``tests/bench/bench_race.py``. The plan is right on
    the whole all the same: who made it may have known that the habit creeps, so that its first
    laps take less than planned, or more where it eases; how much of it he knew nobody knows.
    """
    if not doubt:
        return Cases.one()

    steady = [(_EASES, -creep), (_CREEPS, creep)] if creep else []
    half = (laps - 1) / 2
    apart = _UNPLANNED * creep * half
    drifting = 1 - sum(chance for chance, _ in steady)
    cases = []
    for scatter in _SCATTERS:
        share = math.exp(-0.5 * (math.log(scatter / USUAL) / doubt) ** 2)
        alone = share * (1 - _TOGETHER)
        cases += [
            Case(alone * drifting * likely, scatter, scatter * drift)
            for drift, likely in _DRIFTS.items()
        ]
        drift = scatter * _DRIFTS_TOGETHER
        cases.append(Case(share * _TOGETHER, scatter, drift, rhythm=_RHYTHM))
        cases += [
            Case(alone * chance, scatter, 1.0, bend, _CREEPS_APART * creep, -bend * half, apart)
            for chance, bend in steady
        ]
    return Cases.of(cases)


def transition(
    event: Event, expected: float, share: NeutralisedShare = RACING, extra: float = 0.0
) -> Transition:
    """Return what one lap does to the energy used; ``expected`` is what the lap takes at the plan
    or the target called, ``extra`` what extra power takes on it beside that.
    """
    spec, energy = event.spec, event.spec.energy
    saved = expected * (1 - float(spec.neutralisation.use))
    unsure = expected * float(spec.neutralisation.use_spread) * share.mean
    racing = 1 - share.mean
    return Transition(
        offset=expected - saved * share.mean + extra,
        gain=racing,
        level_variance=float(energy.spread) ** 2,
        slope_variance=float(energy.drift) ** 2,
        known_variance=saved * saved * share.variance + unsure * unsure,
        jump=float(energy.jump),
        jump_level=expected * expected / 4,
        jump_slope=float(energy.first) ** 2,
        odd=float(energy.odd),
        odd_factor=_ODD**2,
        bends=_BEGINS if energy.doubt else 0.0,
    )


def called(event: Event, state: GaussianMixture, before: float, target: float) -> GaussianMixture:
    """Return what is known when a ``target`` is called, where ``before`` was expected.

    A target may be kept (then the habit begins anew, about it), half kept, or ignored.
    """
    spec = event.spec.targets
    weights = float(spec.kept), float(spec.half), float(spec.ignored)
    return _asked(event, state, before, target, weights)


def replanned(
    event: Event, state: GaussianMixture, before: float, planned: float
) -> GaussianMixture:
    """Return what is known when the dash has another plan, as laps were entered or energy was taken
    off, and no target is in force: nobody knows whether the driver goes by it or on as before.
    """
    return _asked(event, state, before, planned, _REPLANNED)


def _asked(
    event: Event,
    state: GaussianMixture,
    before: float,
    use: float,
    weights: tuple[float, float, float],
) -> GaussianMixture:
    first, (kept, half, ignored) = float(event.spec.energy.first), weights
    return state.changed(
        before - use,
        (
            TrendOutcome(kept, 0.0, first**2),
            TrendOutcome(half, 0.5, first**2 / 4, _PARTLY),
            TrendOutcome(ignored, 1.0),
        ),
    )


def ignored_against_kept(event: Event, state: GaussianMixture, laps: int, falsely: float) -> float:
    """Return how many times as likely as kept, by the reports of the first laps after its call, a
    target must be ignored so that one that is kept is taken for ignored no more often than so,
    whatever the laps are like, by what is known of that.

    It is how much likelier it is to have used just so much that a kept target uses more, or less
    where one that is ignored does, no more often than so: the most powerful test (J. Neyman,
    E. S. Pearson 1933). Never less than a little likelier.
    """
    used = [
        part.after(laps, laps_noise(event, part, laps))
        for part in (state.on_course(0), state.on_course(2))
        if part is not None
    ]
    if len(used) < 2:
        return math.inf
    kept, ignored = used
    reached = kept.quantile(1 - falsely if ignored.mean > kept.mean else falsely)
    return max(_LIKELIER, ignored.density(reached) / kept.density(reached))


def used_interval(
    bound: EnergyField, level: int, *, planned_used: float, usable: float
) -> Interval:
    """Return what a reported level says of the energy used; ``planned_used`` by the dash's plan,
    ``usable`` what there was at first.
    """
    said = interval(bound.field, level, bound.scale)
    if bound.spec.says == "used":
        return said
    if bound.spec.says == "remaining":
        return mirrored(said, usable)
    return (
        mirrored(said, planned_used)
        if bound.spec.positive == "left"
        else shifted(said, planned_used)
    )


def observations(
    event: Event, values: Mapping[str, Value], *, planned_used: float, usable: float
) -> Iterator[Observation]:
    """Yield what the values of a report say of the energy used."""
    for name, bound in event.energies.items():
        if name in values:
            level = bound.field.level(values[name]).level
            low, high = used_interval(bound, level, planned_used=planned_used, usable=usable)
            yield Observation(low, high, 1 / bound.field.size)


def least_used(event: Event, values: Mapping[str, Value], *, usable: float) -> float | None:
    """Return the least that was used by what a report says is left, None if it says nothing of
    that.
    """
    return max(
        (
            used_interval(
                bound, bound.field.level(values[name]).level, planned_used=0, usable=usable
            )[0]
            for name, bound in event.energies.items()
            if name in values and bound.spec.says == "remaining"
        ),
        default=None,
    )


def used_after(event: Event, state: GaussianMixture, expected: float, laps: float) -> Distribution:
    """Return the distribution of the energy used ``laps`` laps on, in which ``expected`` is taken
    at plan or target.

    The sums are those of ``transition``, lap by lap, in closed form, but for what no habit tells.
    """
    noise = laps_noise(event, state, laps) + _drifted(event, state, laps)
    return state.after(laps, noise).shifted(expected)


def used_held(event: Event, state: GaussianMixture) -> Distribution:
    """Return the distribution of the energy used when targets are called lap by lap, and kept, but
    for what they are: calls correct whatever comes, but for the last lap, whose use nobody
    corrects.
    """
    return used_once(event, state, 1)


def used_once(event: Event, state: GaussianMixture, laps: float) -> Distribution:
    """Return the distribution of the energy used ``laps`` laps on, but for the target, when it is
    called once, and kept: the habit begins anew about it, and no call corrects what becomes of it.

    Who keeps a target steers by it: what he is off it drifts as stated, however much more a habit
    may that nobody steers.
    """
    spec = event.spec.energy
    steered = (laps * float(spec.first)) ** 2 + float(spec.drift) ** 2 * _drifts(laps)
    return state.held(laps, laps_noise(event, state, laps) + steered)


def _drifted(event: Event, state: GaussianMixture, laps: float) -> Array:
    """Return the variance that the drift of the habit brings to each way within so many laps."""
    drift: Array = (float(event.spec.energy.drift) * state.cases.drift[state.case]) ** 2
    return drift * _drifts(laps)


def _drifts(laps: float) -> float:
    """Return the variance that a drift of deviation 1 brings within so many laps."""
    return max((laps - 1) * laps * (2 * laps - 1) / 6, 0.0)


@dataclass(frozen=True, slots=True)
class Manner:
    """What the laps are like, by all that was reported: how many times as much as stated they
    scatter and the habit drifts, how much more a lap takes than the one before it, and how likely
    it is that it is so.
    """

    kind: Literal["scatter", "drift", "creep"]
    factor: float
    chance: float


def manners(state: GaussianMixture) -> list[Manner]:
    """Return in what the laps are not as the event file says, where that is nearly certain."""
    cases, weight = state.cases, state.case_weights()
    found = []
    for apart, sure in (
        (cases.scatter > _AS_STATED, _MORE),
        (cases.scatter < 1, _LESS),
    ):
        chance = float(weight[apart].sum())
        if chance > sure:
            found.append(Manner("scatter", float(weight @ cases.scatter), chance))
    creeping = cases.bend_variance > 0
    chance = float(weight[creeping].sum())
    if chance > _CREEPING:
        found.append(Manner("creep", state.bend().mean / chance, chance))
        return found
    chance = float(weight[creeping | (cases.drift > _AS_STATED)].sum())
    if chance > _DRIFTING:
        found.append(Manner("drift", float(weight @ cases.drift), chance))
    return found


def scatter_seen(state: GaussianMixture) -> tuple[float, float]:
    """Return the mean and the variance of the logarithm of how many times as much as stated the
    laps scatter, by what was reported alone, whatever was held likely beforehand.
    """
    before, now = dict[float, float](), dict[float, float]()
    cases = state.cases
    for found, weights in ((before, cases.weight), (now, state.case_weights())):
        for scatter, share in zip(cases.scatter.tolist(), weights.tolist(), strict=True):
            found[scatter] = found.get(scatter, 0.0) + share
    seen = {math.log(scatter): share / before[scatter] for scatter, share in now.items()}
    total = math.fsum(seen.values())
    mean = math.fsum(log * share for log, share in seen.items()) / total
    return mean, math.fsum((log - mean) ** 2 * share for log, share in seen.items()) / total


def laps_noise(event: Event, state: GaussianMixture, laps: float) -> Array:
    """Return the variance that so many laps bring to each way beside its slope, odd ones among
    them.
    """
    spec, cases = event.spec.energy, state.cases
    odd = laps * state.odd_chance(float(spec.odd)) * (_ODD**2 - 1)
    scatter: Array = (float(spec.spread) * cases.scatter[state.case]) ** 2
    noise: Array = scatter * (cases.noise(laps)[state.case] + odd)
    return noise
