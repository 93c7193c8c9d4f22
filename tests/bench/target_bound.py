"""How soon at best a target that is ignored can be told from one that is kept: by the likelihood
ratio of what was reported, for someone who knows how the laps scatter, how the habit drifts and how
many reports are wrong, though not which.

The likelihoods are those of a particle filter (N. J. Gordon, D. J. Salmond, A. F. M. Smith 1993):
any noise that can be driven lap by lap can be held against what the dash, which rounds, has said.
The most powerful test at a share of false tellings is that ratio against a bound (J. Neyman,
E. S. Pearson 1933).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy

Noise = Callable[[Any, Any], Any]  # from a generator and the last normal numbers

PARTICLES = 600
_NEVER = 1e-9  # the least chance of a report


@dataclass(frozen=True)
class Laps:
    """How laps are driven, by someone who knows: what one takes by chance is ``value`` of a normal
    number that keeps the share ``together`` of the one before, times ``scatter``, and ``beside``;
    the habit is off the plan by ``first`` and drifts by ``drift`` a lap.
    """

    plan: float
    scatter: float
    drift: float
    first: float
    value: Noise
    beside: Noise
    together: float = 0.0
    wrong: float = 0.0
    levels: int = 100


def plainly(_random: Any, numbers: Any) -> Any:
    return numbers


def not_at_all(_random: Any, numbers: Any) -> Any:
    return 0.0 * numbers


def log_ratios(laps: Laps, low: Any, high: Any, asked: Any, called: int, random: Any) -> Any:
    """Return, race by race, the logarithm of how many times as likely as kept a target is ignored,
    that was ``asked`` behind lap ``called``.

    ``low`` and ``high`` are between what the used energy was said to lie by the end of each lap
    (races × laps), NaN where no report was heard.
    """
    races, count = low.shape
    shape = races, PARTICLES
    state = numpy.zeros((3, *shape))  # used, what a lap takes, the last lap's number
    state[1] = laps.plan + laps.first * random.normal(size=shape)
    state[2] = random.normal(size=shape)
    for lap in range(called):
        state, _ = _driven(laps, state, lap > 0, low[:, lap], high[:, lap], random)
    kept, ignored = state.copy(), state
    kept[1] = asked[:, None] + laps.first * random.normal(size=shape)
    ratio = numpy.zeros(races)
    for lap in range(called, count):
        ignored, likely = _driven(laps, ignored, True, low[:, lap], high[:, lap], random)
        kept, other = _driven(laps, kept, False, low[:, lap], high[:, lap], random)
        ratio += likely - other
    return ratio


def _driven(
    laps: Laps, state: Any, drifts: bool, low: Any, high: Any, random: Any
) -> tuple[Any, Any]:
    """Return the particles a lap later, drawn anew by what was reported, and the logarithm of how
    likely that was.
    """
    used, takes, last = state
    shape = used.shape
    if drifts:
        takes = takes + laps.drift * random.normal(size=shape)
    new = (1 - laps.together**2) ** 0.5 * random.normal(size=shape)
    last = laps.together * last + new
    used = used + takes + laps.scatter * laps.value(random, last) + laps.beside(random, last)
    right = (used > low[:, None]) & (used <= high[:, None])
    likely = (1 - laps.wrong) * right + laps.wrong / laps.levels + _NEVER
    likely = numpy.where(numpy.isnan(low)[:, None], 1.0, likely)
    grown = numpy.cumsum(likely, axis=1)
    total = grown[:, -1:]
    places = (numpy.arange(PARTICLES) + random.random((len(used), 1))) / PARTICLES * total
    apart = 2 * total.max() * numpy.arange(len(used))[:, None]  # one search for all races
    chosen = numpy.searchsorted((grown + apart).ravel(), (places + apart).ravel())
    chosen = numpy.minimum(
        chosen.reshape(shape), (numpy.arange(len(used))[:, None] + 1) * PARTICLES - 1
    )
    state = numpy.stack([used.ravel()[chosen], takes.ravel()[chosen], last.ravel()[chosen]])
    return state, numpy.log(total[:, 0] / PARTICLES)


def told_at_best(kept: Any, ignored: Any, falsely: float) -> float:
    """Return the share of ignored targets that is told by the ratio against that bound which tells
    so many of the kept.
    """
    return float((ignored > numpy.quantile(kept, 1 - falsely)).mean())
