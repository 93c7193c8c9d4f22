"""The normal distribution over levels: each level as probable as the density there, all places and
widths in steps.

On the whole numbers its mean and variance are those of the normal distribution, but for widths
below half a step, which leave ever more to the nearest number alone.
"""

from __future__ import annotations

import math

_FAR = 9.0  # standard deviations; farther out nothing that counts is left


def over_levels(
    size: int, place: float, width: float, low_open: bool = False, high_open: bool = False
) -> list[float]:
    """Return the shares of levels 0 … size - 1.

    An open end takes what lies beyond it, and so does an end that ``place`` lies beyond.
    """
    weights = [0.0] * size
    if width > 0:
        for n in range(
            max(0, math.ceil(place - _FAR * width)),
            min(size - 1, math.floor(place + _FAR * width)) + 1,
        ):
            weights[n] = _density(n - place, width)
        if low_open or place < 0:
            weights[0] += _beyond(place + 0.5, width)
        if high_open or place > size - 1:
            weights[-1] += _beyond(size - 0.5 - place, width)
    return _shared(weights, min(max(round(place), 0), size - 1))


def folded(size: int, place: float, width: float) -> list[float]:
    """Return the shares of the remainders 0 … size - 1, of numbers that go round and round; flat
    where the width tells nothing.
    """
    if width >= size:
        return [1 / size] * size
    weights = [0.0] * size
    if width > 0:
        for n in range(math.ceil(place - _FAR * width), math.floor(place + _FAR * width) + 1):
            weights[n % size] += _density(n - place, width)
    return _shared(weights, round(place) % size)


def _density(distance: float, width: float) -> float:
    return math.exp(-((distance / width) ** 2) / 2)


def _beyond(distance: float, width: float) -> float:
    """Return what lies farther than a distance to one side, in units of the density at the
    centre.
    """
    return width * math.sqrt(math.pi / 2) * math.erfc(distance / width / math.sqrt(2))


def _shared(weights: list[float], nearest: int) -> list[float]:
    """Return weights as shares; all goes to the nearest level where every other is too far for a
    double.
    """
    total = math.fsum(weights)
    return (
        [weight / total for weight in weights]
        if total
        else [float(n == nearest) for n in range(len(weights))]
    )
