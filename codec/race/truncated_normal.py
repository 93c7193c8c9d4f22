"""The normal distribution cut to an interval: how much of it lies there, and the mean and variance
of that part.

Formulas: N. L. Johnson, S. Kotz, N. Balakrishnan, Continuous Univariate Distributions, vol. 1,
section 10.1 (truncated normal), written with Mills' ratio so that tails do not cancel; beyond 25
standard deviations the part is as good as exponential.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

_ROOT_TWO = math.sqrt(2)
_ROOT_HALF_PI = math.sqrt(math.pi / 2)
_LOG_ROOT_TWO_PI = 0.5 * math.log(2 * math.pi)
_FAR = 25.0  # standard deviations from which the tail is taken for exponential
# width, times the distance from the mean, from which the part is taken for a tilted uniform
_NARROW = 1e-2


@dataclass(frozen=True, slots=True)
class TruncatedNormal:
    """The part of a normal distribution in an interval: the logarithm of its mass, its mean and its
    variance.
    """

    log_mass: float
    mean: float
    variance: float


def normal_cdf(x: float) -> float:
    """Return the mass of the standard normal distribution below ``x``."""
    return 0.5 * math.erfc(-x / _ROOT_TWO)


def truncated(mean: float, variance: float, low: float, high: float) -> TruncatedNormal:
    """Return the part of the normal distribution between ``low`` and ``high``, either of which may
    be infinite.

    Raises ValueError where nothing lies between them.
    """
    if not low < high or not variance > 0:
        raise ValueError(
            f"no interval with a distribution over it: {low} … {high}, variance {variance}"
        )
    width = math.sqrt(variance)
    part = truncated_standard((low - mean) / width, (high - mean) / width)
    return TruncatedNormal(part.log_mass, mean + width * part.mean, variance * part.variance)


def truncated_standard(low: float, high: float) -> TruncatedNormal:
    """Return the part of the standard normal distribution between ``low`` and ``high``."""
    if low == -math.inf and high == math.inf:
        return TruncatedNormal(0.0, 0.0, 1.0)
    if high < 0 or (low < 0 and low == -math.inf):
        mirrored = _right(-high, -low)
        return TruncatedNormal(mirrored.log_mass, -mirrored.mean, mirrored.variance)
    return _right(low, high)


def _right(low: float, high: float) -> TruncatedNormal:
    """Return the part for an interval that does not lie to the left of the mean."""
    wide, middle = high - low, (low + high) / 2 if high < math.inf else math.inf
    if wide * max(1.0, abs(middle)) < _NARROW:
        variance = wide * wide / 12
        return TruncatedNormal(
            math.log(wide) - middle * middle / 2 - _LOG_ROOT_TWO_PI,
            middle - middle * variance,
            variance,
        )
    if low > _FAR:
        return _exponential(low, wide)
    edge = math.exp(-low * low / 2)
    other = math.exp(-high * high / 2) if high < math.inf else 0.0
    mass = _ROOT_HALF_PI * (
        math.erfc(low / _ROOT_TWO) - (math.erfc(high / _ROOT_TWO) if high < math.inf else 0.0)
    )
    mean = (edge - other) / mass
    variance = 1 + (low * edge - (high * other if high < math.inf else 0.0)) / mass - mean * mean
    return TruncatedNormal(math.log(mass) - _LOG_ROOT_TWO_PI, mean, max(variance, 0.0))


def _exponential(low: float, wide: float) -> TruncatedNormal:
    """Return the part far out: an exponential distribution of rate ``low``, cut at ``wide``."""
    log_mass = -low * low / 2 - _LOG_ROOT_TWO_PI - math.log(low)
    span = low * wide
    if span > 500:
        return TruncatedNormal(log_mass, low + 1 / low, 1 / (low * low))
    grown = math.expm1(span)
    variance = 1 / (low * low) - wide * wide * (grown + 1) / (grown * grown)
    return TruncatedNormal(
        log_mass + math.log(-math.expm1(-span)), low + 1 / low - wide / grown, max(variance, 0.0)
    )
