"""Energy used and left: the filter over the laps, and the forecast to the flag.

The level of the state is the energy used, net, in the event's unit; its slope is the driver's
habit: how much more a lap takes than its plan. All reports are put as intervals of the energy used:
a delta by the plan the dash has, the remaining energy by what was usable.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from codec.race.binding import EnergyField, Event
from codec.race.interval import Interval, interval, mirrored, shifted
from codec.race.kalman import Distribution, GaussianMixture, Observation, Transition
from grammar.fields import Value


@dataclass(frozen=True, slots=True)
class NeutralisedShare:
    """How much of a lap was neutralised: the mean and the variance of what is known of it."""

    mean: float = 0.0
    variance: float = 0.0


RACING = NeutralisedShare()


def begin(event: Event) -> GaussianMixture:
    """Return what is known at the start: nothing is used, and the driver's habit is about the
    plan.
    """
    return GaussianMixture.start(0.0, 0.0, 0.0, float(event.spec.energy.first))


def transition(event: Event, expected: float, share: NeutralisedShare = RACING) -> Transition:
    """Return what one lap does to the energy used; ``expected`` is what the lap takes at the plan
    or the target called.
    """
    spec = event.spec
    saved = expected * (1 - float(spec.neutralisation.use))
    unsure = expected * float(spec.neutralisation.use_spread) * share.mean
    racing = 1 - share.mean
    return Transition(
        offset=expected - saved * share.mean,
        gain=racing,
        level_variance=float(spec.energy.spread) ** 2
        + saved * saved * share.variance
        + unsure * unsure,
        slope_variance=float(spec.energy.drift) ** 2,
        jump=float(spec.energy.jump),
        jump_level=expected * expected / 4,
        jump_slope=float(spec.energy.first) ** 2,
    )


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


def used_after(
    event: Event, state: GaussianMixture, expected: float, laps: int, *, held: bool = False
) -> Distribution:
    """Return the distribution of the energy used ``laps`` laps on, in which ``expected`` is taken
    at plan or target.

    ``held`` is for a target that is still to be called: every lap takes what is expected, but for
    the spread of single laps, because later calls correct a habit that is off it. The sums are
    those of ``transition``, lap by lap, in closed form.
    """
    energy = event.spec.energy
    noise, drift = (
        laps * float(energy.spread) ** 2,
        float(energy.drift) ** 2 * (laps - 1) * laps * (2 * laps - 1) / 6,
    )
    if held:
        return Distribution(
            tuple(
                (normal.weight, normal.level + expected, normal.level_variance + noise)
                for normal in state.components
            )
        )
    return Distribution(
        tuple(
            (
                normal.weight,
                normal.level + expected + laps * normal.slope,
                normal.level_variance
                + 2 * laps * normal.covariance
                + laps * laps * normal.slope_variance
                + noise
                + drift,
            )
            for normal in state.components
        )
    )
