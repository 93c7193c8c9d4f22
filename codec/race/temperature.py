"""Temperatures: the filter over the laps, and the lap at which the limit is reached."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from codec.race.binding import TemperatureField
from codec.race.interval import interval
from codec.race.kalman import Component, GaussianMixture, Observation, Transition
from codec.race.truncated_normal import normal_cdf, truncated
from grammar.fields import Value

_SURE = 1 - 1e-9
_LEAST = 1e-6
_BETWEEN, _APART, _NODES = (
    0.9,
    0.5,
    6,
)  # of a trend cut: the share of variance between the parts, how far apart, how many either side


@dataclass(frozen=True, slots=True)
class Reaching:
    """When a limit is reached: ``by[k]`` is the probability that it was by ``k`` laps from now (k =
    0: it is already).
    """

    lap: int
    by: tuple[float, ...]

    def quantile(self, share: float) -> int | None:
        """Return the lap by which the limit is reached with at least this probability; None if not
        before the flag.
        """
        return next(
            (self.lap + laps for laps, reached in enumerate(self.by) if reached >= share), None
        )

    @property
    def chance(self) -> float:
        """The probability that it is reached before the flag."""
        return self.by[-1]


def begin(bound: TemperatureField) -> GaussianMixture:
    """Return what is known at the start."""
    spec = bound.spec
    return GaussianMixture.start(
        float(bound.start), float(spec.rise), float(spec.start_spread), float(spec.rise_spread)
    )


def transition(bound: TemperatureField) -> Transition:
    """Return what one lap does to a temperature."""
    spec = bound.spec
    return Transition(
        settles=float(spec.settles),
        level_variance=float(spec.spread) ** 2,
        slope_variance=float(spec.drift) ** 2,
        jump=float(spec.jump),
        jump_level=float(spec.start_spread) ** 2,
        jump_slope=float(spec.rise_spread) ** 2,
    )


def observations(bound: TemperatureField, values: Mapping[str, Value]) -> Iterator[Observation]:
    """Yield what the values of a report say of this temperature."""
    field = bound.field
    if field.name in values:
        low, high = interval(field, field.level(values[field.name]).level)
        yield Observation(low, high, 1 / field.size)


def reaching(bound: TemperatureField, state: GaussianMixture, lap: int, laps: int) -> Reaching:
    """Return when the limit is reached within ``laps`` laps from ``lap``.

    Nothing is foreseen that no trend tells. The trend is cut into narrow ones, each of which is
    carried on lap by lap: what has not reached the limit is kept, cut at the limit, by its moments.
    """
    limit, move = float(bound.limit), replace(transition(bound), jump=0.0)
    left = [
        _kept(normal.weight, replace(normal, weight=1.0), limit)
        for wide in state.components
        for normal in _narrow(wide)
    ]
    by = [1 - state.level().below(limit)]
    for _ in range(laps):
        left = [
            _kept(weight, normal.moved(move), limit) for weight, normal in left if weight > _LEAST
        ]
        reached = min(1.0, 1 - math.fsum(weight for weight, _ in left))
        by.append(max(by[-1], reached))
        if reached > _SURE:
            by += [by[-1]] * (laps + 1 - len(by))
            break
    return Reaching(lap, tuple(by))


def _narrow(normal: Component) -> list[Component]:
    """Return a normal as a mixture of normals whose slopes are known better: at even
    distances, together as good as it.
    """
    if normal.weight < 1e-3 or normal.slope_variance <= 0:
        return [normal]
    carried = normal.covariance / normal.slope_variance
    inner = normal.slope_variance * (1 - _BETWEEN)
    rest = max(normal.level_variance - carried * normal.covariance, 0.0)
    nodes = [node * _APART for node in range(-_NODES, _NODES + 1)]
    weights = [math.exp(-node * node / (2 * _BETWEEN)) for node in nodes]
    total, deviation = math.fsum(weights), math.sqrt(normal.slope_variance)
    return [
        replace(
            normal,
            weight=normal.weight * weight / total,
            level=normal.level + carried * node * deviation,
            slope=normal.slope + node * deviation,
            level_variance=rest + carried * carried * inner,
            covariance=carried * inner,
            slope_variance=inner,
        )
        for node, weight in zip(nodes, weights, strict=True)
    ]


def _kept(weight: float, normal: Component, limit: float) -> tuple[float, Component]:
    """Return the weight of what lies below the limit, and that part."""
    mass = normal_cdf((limit - normal.level) / math.sqrt(normal.level_variance))
    if mass < 1e-12:
        return 0.0, normal
    part = truncated(normal.level, normal.level_variance, -math.inf, limit)
    carried = normal.covariance / normal.level_variance
    shrunk = normal.level_variance - part.variance
    return weight * mass, Component(
        1.0,
        part.mean,
        normal.slope + carried * (part.mean - normal.level),
        part.variance,
        carried * part.variance,
        normal.slope_variance - carried * carried * shrunk,
    )
