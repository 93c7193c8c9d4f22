"""Temperatures: the filter over the laps, and the lap at which the limit is reached."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from codec.race.binding import TemperatureField
from codec.race.interval import interval
from codec.race.kalman import GaussianMixture, Observation, Transition
from codec.race.truncated_normal import normal_cdfs, truncated
from grammar.fields import Value

if TYPE_CHECKING:
    from codec.race.truncated_normal import Array

_SURE = 1 - 1e-9
_LEAST, _NOTHING, _LEAST_VARIANCE = 1e-6, 1e-12, 1e-12
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


def reaching(
    bound: TemperatureField, state: GaussianMixture, lap: int, laps: int, *, hotter: float = 0.0
) -> Reaching:
    """Return when the limit is reached within ``laps`` laps from ``lap``; each of them warms by
    ``hotter`` more than the trend tells.

    Nothing is foreseen that no trend tells. The trend is cut into narrow ones, each of which is
    carried on lap by lap: what has not reached the limit is kept, cut at the limit, by its moments.
    """
    limit, spec = float(bound.limit), bound.spec
    settles, spread, drift = float(spec.settles), float(spec.spread) ** 2, float(spec.drift) ** 2
    left = _Below(*_narrow(state)).cut(limit)
    by = [1 - state.level().below(limit)]
    for _ in range(laps):
        left = left.likely().moved(hotter, settles, spread, drift).cut(limit)
        reached = min(1.0, 1 - float(left.weight.sum()))
        by.append(max(by[-1], reached))
        if reached > _SURE:
            by += [by[-1]] * (laps + 1 - len(by))
            break
    return Reaching(lap, tuple(by))


class _Below(NamedTuple):
    """What has not reached the limit yet: normals of level and slope."""

    weight: Array
    level: Array
    slope: Array
    level_variance: Array
    covariance: Array
    slope_variance: Array

    def likely(self) -> _Below:
        """Return those that still count."""
        counts = self.weight > _LEAST
        return _Below(*(part[counts] for part in self))

    def moved(self, hotter: float, settles: float, spread: float, drift: float) -> _Below:
        """Return them a lap later."""
        return _Below(
            self.weight,
            self.level + self.slope + hotter,
            settles * self.slope,
            self.level_variance + 2 * self.covariance + self.slope_variance + spread,
            settles * (self.covariance + self.slope_variance),
            settles * settles * self.slope_variance + drift,
        )

    def cut(self, limit: float) -> _Below:
        """Return what of them lies below the limit."""
        import numpy as np

        mass = normal_cdfs((limit - self.level) / np.sqrt(self.level_variance))
        some = _Below(*(part[mass > _NOTHING] for part in self))
        part = truncated(some.level, some.level_variance, -math.inf, limit)
        carried = some.covariance / some.level_variance
        shrunk = some.level_variance - part.variance
        return _Below(
            some.weight * mass[mass > _NOTHING],
            part.mean,
            some.slope + carried * (part.mean - some.level),
            part.variance,
            carried * part.variance,
            np.maximum(some.slope_variance - carried * carried * shrunk, 0.0),
        )


def _narrow(state: GaussianMixture) -> tuple[Array, ...]:
    """Return normals as mixtures of normals whose slopes are known better: at even distances,
    together as good as they are.
    """
    import numpy as np

    nodes = np.arange(-_NODES, _NODES + 1) * _APART
    shares = np.exp(-nodes * nodes / (2 * _BETWEEN))
    shares /= shares.sum()
    weight = state.weight.ravel()
    mean = state.mean[..., :2].reshape(-1, 2)
    spread = state.covariance[..., :2, :2].reshape(-1, 2, 2)
    slope_variance = np.maximum(spread[:, 1, 1], _LEAST_VARIANCE)
    carried = spread[:, 0, 1] / slope_variance
    inner = slope_variance * (1 - _BETWEEN)
    rest = np.maximum(spread[:, 0, 0] - carried * spread[:, 0, 1], 0.0)
    away = nodes * np.sqrt(slope_variance)[:, None]

    def same(values: Array) -> Array:
        return np.broadcast_to(values[:, None], away.shape)

    parts = (
        weight[:, None] * shares,
        mean[:, 0, None] + carried[:, None] * away,
        mean[:, 1, None] + away,
        same(rest + carried * carried * inner),
        same(carried * inner),
        same(inner),
    )
    return tuple(part.ravel() for part in parts)
