"""What a level of the code says of the quantity behind it: the interval of values that are rounded
to it.
"""

from __future__ import annotations

import functools
import math
from fractions import Fraction

from grammar.fields import FieldBase

Interval = tuple[float, float]


@functools.lru_cache(maxsize=4096)  # the laps of a race say the same levels again and again
def interval(field: FieldBase, level: int, scale: Fraction = Fraction(1)) -> Interval:
    """Return the values, times ``scale``, that are said as ``level``; an open end has no end.

    Raises TypeError for a field that measures nothing; an event names no such field.
    """
    said = field.interval(level)
    if said is None:
        raise TypeError(f"{field.title} measures nothing")
    low, high = said
    return (
        -math.inf if low is None else float(low * scale),
        math.inf if high is None else float(high * scale),
    )


def mirrored(of: Interval, about: float = 0.0) -> Interval:
    """Return the interval of ``about - x`` for x in an interval."""
    return about - of[1], about - of[0]


def shifted(of: Interval, by: float) -> Interval:
    """Return the interval moved by ``by``."""
    return of[0] + by, of[1] + by
