"""The normal distribution cut to an interval: how much of it lies there, and the mean and variance
of that part. Everything is worked out for many normals at once.

Formulas: N. L. Johnson, S. Kotz, N. Balakrishnan, Continuous Univariate Distributions, vol. 1,
section 10.1 (truncated normal), written with Mills' ratio so that tails do not cancel; beyond 25
standard deviations the part is as good as exponential.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    import numpy as np

    Array = np.ndarray[Any, np.dtype[np.float64]]

_ROOT_TWO = math.sqrt(2)
_ROOT_HALF_PI = math.sqrt(math.pi / 2)
_LOG_ROOT_TWO_PI = 0.5 * math.log(2 * math.pi)
_ALL = 40.0  # standard deviations below which nothing lies that a float could tell
_FAR = 25.0  # standard deviations from which the tail is taken for exponential
# width, times the distance from the mean, from which the part is taken for a tilted uniform
_NARROW = 1e-2


class TruncatedNormal(NamedTuple):
    """The parts of normal distributions in an interval: the logarithms of their masses, their means
    and their variances.
    """

    log_mass: Array
    mean: Array
    variance: Array


@functools.cache
def _erfc() -> Callable[[Array], Any]:
    import numpy as np

    return np.frompyfunc(math.erfc, 1, 1)


def erfc(x: Array) -> Array:
    """Return the complementary error function of each ``x``, as exact as ``math.erfc``."""
    found: Array = _erfc()(x).astype(float)
    return found


def normal_cdf(x: float) -> float:
    """Return the mass of the standard normal distribution below ``x``."""
    return 0.5 * math.erfc(-x / _ROOT_TWO)


def normal_cdfs(x: Array) -> Array:
    """Return the mass of the standard normal distribution below each ``x``."""
    return 0.5 * erfc(-x / _ROOT_TWO)


def truncated(mean: Array, variance: Array, low: float, high: float) -> TruncatedNormal:
    """Return the parts of normal distributions between ``low`` and ``high``, either of which may be
    infinite.

    Raises ValueError where nothing lies between them.
    """
    import numpy as np

    if not low < high or not np.all(variance > 0):
        raise ValueError(f"no interval with a distribution over it: {low} … {high}")
    width = np.sqrt(variance)
    below, above = (low - mean) / width, (high - mean) / width
    if math.isinf(low) or (above < 0).any():
        part = truncated_standard(below, above)
    else:
        part = _right(below, above)
    return TruncatedNormal(part.log_mass, mean + width * part.mean, variance * part.variance)


def truncated_standard(low: Array, high: Array) -> TruncatedNormal:
    """Return the part of the standard normal distribution between each ``low`` and ``high``."""
    import numpy as np

    low, high = np.broadcast_arrays(np.atleast_1d(low), np.atleast_1d(high))
    left = (high < 0) | np.isneginf(low)
    part = _right(np.where(left, -high, low), np.where(left, -low, high))
    whole = np.isneginf(low) & np.isposinf(high)
    return TruncatedNormal(
        np.where(whole, 0.0, part.log_mass),
        np.where(whole, 0.0, np.where(left, -part.mean, part.mean)),
        np.where(whole, 1.0, part.variance),
    )


def _right(low: Array, high: Array) -> TruncatedNormal:
    """Return the parts for intervals that do not lie to the left of the mean."""
    import numpy as np

    low = np.maximum(low, -_ALL)
    wide = high - low
    middle = np.where(np.isinf(high), high, (low + high) / 2)
    narrow = wide * np.maximum(1.0, np.abs(middle)) < _NARROW
    far = ~narrow & (low > _FAR)
    if not (narrow.any() or far.any()):
        return _central(low, high)
    near = ~(narrow | far)
    found = TruncatedNormal(np.empty_like(wide), np.empty_like(wide), np.empty_like(wide))
    for where, part in ((narrow, _uniform), (far, _exponential), (near, _central)):
        if where.all():
            return part(low, high)
        if where.any():
            for whole, some in zip(found, part(low[where], high[where]), strict=True):
                whole[where] = some
    return found


def _uniform(low: Array, high: Array) -> TruncatedNormal:
    """Return the parts of narrow intervals: as good as uniform, tilted."""
    import numpy as np

    wide, middle = high - low, (low + high) / 2
    variance = wide * wide / 12
    return TruncatedNormal(
        np.log(wide) - middle * middle / 2 - _LOG_ROOT_TWO_PI,
        middle - middle * variance,
        variance,
    )


def _central(low: Array, high: Array) -> TruncatedNormal:
    """Return the parts that are neither narrow nor far out."""
    import numpy as np

    edge, other = np.exp(-low * low / 2), np.exp(-high * high / 2)
    mass = _ROOT_HALF_PI * (erfc(low / _ROOT_TWO) - erfc(high / _ROOT_TWO))
    mean = (edge - other) / mass
    outer = np.where(np.isinf(high), 0.0, high) * other
    variance = 1 + (low * edge - outer) / mass - mean * mean
    return TruncatedNormal(np.log(mass) - _LOG_ROOT_TWO_PI, mean, np.maximum(variance, 0.0))


def _exponential(low: Array, high: Array) -> TruncatedNormal:
    """Return the parts far out: exponential distributions of rate ``low``, cut at ``high``."""
    import numpy as np

    wide = high - low
    log_mass = -low * low / 2 - _LOG_ROOT_TWO_PI - np.log(low)
    span = np.minimum(low * wide, 500.0)  # beyond, the cut takes nothing away
    grown = np.expm1(span)
    cut = np.where(np.isinf(wide), 0.0, wide) / grown
    variance = 1 / (low * low) - cut * cut * (grown + 1)
    return TruncatedNormal(
        log_mass + np.log(-np.expm1(-span)), low + 1 / low - cut, np.maximum(variance, 0.0)
    )
