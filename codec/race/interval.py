"""What a level of the code says of the quantity behind it: the interval of values that are rounded
to it.
"""

from __future__ import annotations

import math
from fractions import Fraction

from grammar.fields import Bands, Quantity

Interval = tuple[float, float]
_BELOW = {"nearest": Fraction(1, 2), "up": Fraction(1), "down": Fraction(0)}


def interval(field: Quantity | Bands, level: int, scale: Fraction = Fraction(1)) -> Interval:
    """Return the values, times ``scale``, that are said as ``level``; an open end has no end.

    At an end that is not open the interval is the usual one about the value: a dash that cannot say
    more does not make more impossible.
    """
    if isinstance(field, Bands):
        band = field.value(level)
        low = -math.inf if band.low is None else float(Fraction(band.low) * scale)
        return low, math.inf if band.high is None else float(Fraction(band.high) * scale)
    value, step = Fraction(field.value(level)), Fraction(field.step)
    low_end, high_end = (
        value - step * _BELOW[field.rounding],
        value + step * (1 - _BELOW[field.rounding]),
    )
    beyond = field.beyond(level)
    return (
        -math.inf if beyond == "low" else float(low_end * scale),
        math.inf if beyond == "high" else float(high_end * scale),
    )


def mirrored(of: Interval, about: float = 0.0) -> Interval:
    """Return the interval of ``about - x`` for x in an interval."""
    return about - of[1], about - of[0]


def shifted(of: Interval, by: float) -> Interval:
    """Return the interval moved by ``by``."""
    return of[0] + by, of[1] + by
