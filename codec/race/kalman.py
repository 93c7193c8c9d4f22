"""What is known of a quantity and of its trend: a Kalman filter that knows the rounding of the
code.

The state is (level, slope), normal, or a mixture of a few normals. A report says that the level
lies in an interval: the values that the code rounds to what was said, without end on one side at an
open end. The state is conditioned on that by matching moments: the level given the interval is a
normal distribution cut to it, and the Kalman gain carries its mean and variance over to the slope.
For steps that are small against what is uncertain this is the Kalman filter with the variance of
the rounding, step²/12, as noise.

A report may be wrong. Each is taken both ways, as right (then it conditions the state) and as wrong
(then it tells nothing), and each way keeps its weight, so that later reports can still tell which
it was. So is a lap on which something happened that no trend tells: without that way, a filter that
is sure of itself would hold every report behind such a lap for wrong. Only the likeliest ways are
kept.

Sources: R. E. Kalman 1960; H. W. Sorenson, D. L. Alspach 1971 (Gaussian sums); R. E. Curry 1970
(quantised measurements).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import NamedTuple

from codec.race.truncated_normal import normal_cdf, truncated

MOST_COMPONENTS = 12
_LEAST_SHARE = 1e-6
_LEAST_VARIANCE = 1e-12


@dataclass(frozen=True, slots=True)
class Transition:
    """What one lap does: the level gains ``offset`` and ``gain`` times the slope, the slope keeps
    the share ``settles``.

    Both gain variance. With the probability ``jump`` something happened that no trend tells: then
    the level gains ``jump_level``, the slope ``jump_slope`` of variance more.
    """

    offset: float = 0.0
    gain: float = 1.0
    settles: float = 1.0
    level_variance: float = 0.0
    slope_variance: float = 0.0
    jump: float = 0.0
    jump_level: float = 0.0
    jump_slope: float = 0.0


class Observation(NamedTuple):
    """What a report says: the level lies in ``low`` … ``high``; ``chance`` is the probability that
    a wrong report says just this.
    """

    low: float
    high: float
    chance: float


@dataclass(frozen=True, slots=True)
class Component:
    """One normal of the mixture: its weight, the means of level and slope, their variances and
    covariance.

    ``wrong`` has bit n set where the report marked n is taken for wrong.
    """

    weight: float
    level: float
    slope: float
    level_variance: float
    covariance: float
    slope_variance: float
    wrong: int = 0

    def moved(self, transition: Transition) -> Component:
        """Return it a lap later, if nothing happened that no trend tells."""
        gain, settles = transition.gain, transition.settles
        return Component(
            self.weight,
            self.level + transition.offset + gain * self.slope,
            settles * self.slope,
            self.level_variance
            + 2 * gain * self.covariance
            + gain * gain * self.slope_variance
            + transition.level_variance,
            settles * (self.covariance + gain * self.slope_variance),
            settles * settles * self.slope_variance + transition.slope_variance,
            self.wrong,
        )


@dataclass(frozen=True, slots=True)
class Distribution:
    """The distribution of one quantity: a mixture of normals as (weight, mean, variance)."""

    parts: tuple[tuple[float, float, float], ...]

    @property
    def mean(self) -> float:
        """The mean."""
        return math.fsum(weight * mean for weight, mean, _ in self.parts)

    @property
    def deviation(self) -> float:
        """The standard deviation."""
        centre = self.mean
        return math.sqrt(
            math.fsum(
                weight * (variance + (mean - centre) ** 2) for weight, mean, variance in self.parts
            )
        )

    def below(self, x: float) -> float:
        """Return the probability of less than ``x``."""
        return math.fsum(
            weight * normal_cdf((x - mean) / math.sqrt(max(variance, _LEAST_VARIANCE)))
            for weight, mean, variance in self.parts
        )

    def shifted(self, by: float) -> Distribution:
        """Return the distribution of ``by`` more."""
        return Distribution(tuple((weight, by + mean, var) for weight, mean, var in self.parts))

    def mirrored(self, about: float) -> Distribution:
        """Return the distribution of what is left of ``about``."""
        return Distribution(tuple((weight, about - mean, var) for weight, mean, var in self.parts))

    def quantile(self, share: float) -> float:
        """Return the value below which ``share`` of the probability lies."""
        reach = [
            (mean - 9 * math.sqrt(variance) - 1e-9, mean + 9 * math.sqrt(variance) + 1e-9)
            for _, mean, variance in self.parts
        ]
        low, high = min(pair[0] for pair in reach), max(pair[1] for pair in reach)
        for _ in range(60):
            middle = (low + high) / 2
            low, high = (middle, high) if self.below(middle) < share else (low, middle)
        return (low + high) / 2

    def band(self, share: float = 0.8) -> tuple[float, float]:
        """Return the band that holds ``share`` of the probability, as much of the rest on either
        side.
        """
        return self.quantile((1 - share) / 2), self.quantile((1 + share) / 2)


class GaussianMixture:
    """What is known of level and slope: a mixture of normals whose weights sum to 1.

    Nothing changes: each step returns a new one.
    """

    __slots__ = ("components",)

    def __init__(self, components: Iterable[Component]) -> None:
        """Keep the likeliest components, their weights made to sum to 1."""
        kept = sorted(components, key=lambda normal: -normal.weight)[:MOST_COMPONENTS]
        least = kept[0].weight * _LEAST_SHARE
        kept = [normal for normal in kept if normal.weight > least]
        total = math.fsum(normal.weight for normal in kept)
        self.components = tuple(
            Component(
                w.weight / total,
                w.level,
                w.slope,
                w.level_variance,
                w.covariance,
                w.slope_variance,
                w.wrong,
            )
            for w in kept
        )

    @classmethod
    def start(
        cls, level: float, slope: float, level_deviation: float, slope_deviation: float
    ) -> GaussianMixture:
        """Return what is known at the start."""
        return cls([Component(1.0, level, slope, level_deviation**2, 0.0, slope_deviation**2)])

    def advance(self, transition: Transition) -> GaussianMixture:
        """Return what is known a lap later."""
        moved = [normal.moved(transition) for normal in self.components]
        if not transition.jump:
            return GaussianMixture(moved)
        jumped = [
            Component(
                w.weight * transition.jump,
                w.level,
                w.slope,
                w.level_variance + transition.jump_level,
                w.covariance,
                w.slope_variance + transition.jump_slope,
                w.wrong,
            )
            for w in moved
        ]
        return GaussianMixture(
            [*(_weighted(normal, 1 - transition.jump) for normal in moved), *jumped]
        )

    def observe(
        self, low: float, high: float, *, wrong: float = 0.0, chance: float = 1.0, mark: int = 0
    ) -> GaussianMixture:
        """Return what is known after a report that the level lies in ``low`` … ``high``.

        ``wrong`` is the probability that the report is wrong, ``chance`` that a wrong report says
        just this; ``mark`` names the report for ``doubt``.
        """
        right = [self._conditioned(normal, low, high) for normal in self.components]
        if wrong <= 0:
            highest = max(log for _, log in right)
            return GaussianMixture(
                _weighted(normal, math.exp(log - highest)) for normal, log in right
            )
        found = [_weighted(normal, (1 - wrong) * math.exp(log)) for normal, log in right]
        found += [
            replace(normal, weight=normal.weight * wrong * chance, wrong=normal.wrong | 1 << mark)
            for normal in self.components
        ]
        return GaussianMixture(found)

    def doubt(self, mark: int) -> float:
        """Return the probability that the report marked so was wrong, by all that is known now."""
        return math.fsum(normal.weight for normal in self.components if normal.wrong >> mark & 1)

    def report(
        self, observations: Iterable[Observation], *, wrong: float, mark: int
    ) -> tuple[GaussianMixture, float]:
        """Return what is known after a report, and the probability that it is right: of the least
        likely of its observations, 1 if there are none.
        """
        state, truth = self, 1.0
        for low, high, chance in observations:
            truth = min(truth, state.truth(low, high, wrong=wrong, chance=chance))
            state = state.observe(low, high, wrong=wrong, chance=chance, mark=mark)
        return state, truth

    def truth(self, low: float, high: float, *, wrong: float, chance: float) -> float:
        """Return the probability that a report is right, given all before it."""
        right = math.fsum(
            normal.weight * math.exp(self._conditioned(normal, low, high)[1])
            for normal in self.components
        )
        return (1 - wrong) * right / ((1 - wrong) * right + wrong * chance) if wrong > 0 else 1.0

    @staticmethod
    def _conditioned(normal: Component, low: float, high: float) -> tuple[Component, float]:
        """Return a component given that the level lies in the interval, with the logarithm of that
        interval's probability.
        """
        variance = max(normal.level_variance, _LEAST_VARIANCE)
        part = truncated(normal.level, variance, low, high)
        carried = normal.covariance / variance
        shrunk = variance - part.variance
        conditioned = Component(
            normal.weight,
            part.mean,
            normal.slope + carried * (part.mean - normal.level),
            part.variance,
            carried * part.variance,
            max(normal.slope_variance - carried * carried * shrunk, _LEAST_VARIANCE),
            normal.wrong,
        )
        return conditioned, part.log_mass

    def reset_slope(self, slope: float, deviation: float) -> GaussianMixture:
        """Return what is known when the trend is begun anew: a new target was called."""
        return GaussianMixture(
            Component(w.weight, w.level, slope, w.level_variance, 0.0, deviation**2, w.wrong)
            for w in self.components
        )

    def level(self) -> Distribution:
        """Return the distribution of the level."""
        return Distribution(tuple((w.weight, w.level, w.level_variance) for w in self.components))

    def slope(self) -> Distribution:
        """Return the distribution of the slope."""
        return Distribution(tuple((w.weight, w.slope, w.slope_variance) for w in self.components))


def _weighted(normal: Component, factor: float) -> Component:
    return Component(
        normal.weight * factor,
        normal.level,
        normal.slope,
        normal.level_variance,
        normal.covariance,
        normal.slope_variance,
        normal.wrong,
    )
