"""Temperatures: the filter over the laps, and the lap at which the limit is reached."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from codec.race.binding import Event, TemperatureField
from codec.race.interval import interval
from codec.race.kalman import Belief, Step, Way
from codec.race.truncated_normal import below, cut
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


def begin(bound: TemperatureField) -> Belief:
    """Return what is known at the start."""
    spec = bound.spec
    return Belief.start(
        float(bound.start), float(spec.rise), float(spec.start_spread), float(spec.rise_spread)
    )


def step(bound: TemperatureField) -> Step:
    """Return what one lap does to a temperature."""
    spec = bound.spec
    return Step(
        settles=float(spec.settles),
        level_variance=float(spec.spread) ** 2,
        slope_variance=float(spec.drift) ** 2,
        jump=float(spec.jump),
        jump_level=float(spec.start_spread) ** 2,
        jump_slope=float(spec.rise_spread) ** 2,
    )


def report(
    event: Event,
    name: str,
    belief: Belief,
    values: Mapping[str, Value],
    *,
    wrong: float,
    mark: int = 0,
) -> tuple[Belief, float]:
    """Return what is known after a report, and the probability that what it says of this
    temperature is right.
    """
    field = event.temperatures[name].field
    if name not in values:
        return belief, 1.0
    low, high = interval(field, field.level(values[name]).level)
    truth = belief.truth(low, high, wrong=wrong, chance=1 / field.size)
    return belief.observe(low, high, wrong=wrong, chance=1 / field.size, mark=mark), truth


def reaching(bound: TemperatureField, belief: Belief, lap: int, laps: int) -> Reaching:
    """Return when the limit is reached within ``laps`` laps from ``lap``.

    Nothing is foreseen that no trend tells. The trend is cut into narrow ones, each of which is
    carried on lap by lap: what has not reached the limit is kept, cut at the limit, by its moments.
    """
    limit, move = float(bound.limit), replace(step(bound), jump=0.0)
    left = [
        _kept(way.weight, replace(way, weight=1.0), limit)
        for wide in belief.ways
        for way in _narrow(wide)
    ]
    by = [1 - belief.level().below(limit)]
    for _ in range(laps):
        left = [_kept(weight, way.moved(move), limit) for weight, way in left if weight > _LEAST]
        reached = min(1.0, 1 - math.fsum(weight for weight, _ in left))
        by.append(max(by[-1], reached))
        if reached > _SURE:
            by += [by[-1]] * (laps + 1 - len(by))
            break
    return Reaching(lap, tuple(by))


def _narrow(way: Way) -> list[Way]:
    """Return a way as a mixture of ways whose slopes are known better: normals at even distances,
    together as good as the one.
    """
    if way.weight < 1e-3 or way.slope_variance <= 0:
        return [way]
    carried = way.covariance / way.slope_variance
    inner = way.slope_variance * (1 - _BETWEEN)
    rest = max(way.level_variance - carried * way.covariance, 0.0)
    nodes = [node * _APART for node in range(-_NODES, _NODES + 1)]
    weights = [math.exp(-node * node / (2 * _BETWEEN)) for node in nodes]
    total, deviation = math.fsum(weights), math.sqrt(way.slope_variance)
    return [
        replace(
            way,
            weight=way.weight * weight / total,
            level=way.level + carried * node * deviation,
            slope=way.slope + node * deviation,
            level_variance=rest + carried * carried * inner,
            covariance=carried * inner,
            slope_variance=inner,
        )
        for node, weight in zip(nodes, weights, strict=True)
    ]


def _kept(weight: float, way: Way, limit: float) -> tuple[float, Way]:
    """Return the weight of what lies below the limit, and that part."""
    mass = below((limit - way.level) / math.sqrt(way.level_variance))
    if mass < 1e-12:
        return 0.0, way
    part = cut(way.level, way.level_variance, -math.inf, limit)
    carried = way.covariance / way.level_variance
    shrunk = way.level_variance - part.variance
    return weight * mass, Way(
        1.0,
        part.mean,
        way.slope + carried * (part.mean - way.level),
        part.variance,
        carried * part.variance,
        way.slope_variance - carried * carried * shrunk,
    )
