"""What a setting does to the energy of a lap, learned from the laps that were driven with it.

The energies reported are regressed on what was set, lap by lap (generalised least squares, A. C.
Aitken 1936): what single laps scatter and the habit drifts adds up over the laps, so reports are
not independent. How large that noise is comes from the residuals, so intervals are Student's. Where
a target was called as well, it stands beside the settings: what can't be told from it is not told.
"""

from __future__ import annotations

import functools
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from codec.race.race import Race, ReportedLap

if TYPE_CHECKING:
    from codec.race.truncated_normal import Array

_SURE = 0.99  # of an effect that is told: it is looked for on every lap
_LEAST_LAPS = 3  # with a setting, and as many without
_LEAST_FREEDOM = 4
_DOUBTED = 0.5
_ALIKE = 1e-9


@dataclass(frozen=True, slots=True)
class Effect:
    """What one step of a setting does to a lap's energy: the estimate, and the interval in which it
    lies in 99 of 100 cases.
    """

    setting: str
    unit: str
    each: float
    low: float
    high: float


def effects(race: Race) -> list[Effect]:
    """Return what the settings do, as far as it is told from nothing at all."""
    laps = [one for one in race.energies_reported if race.energy.doubt(one.lap) < _DOUBTED]
    names = sorted(_moved(laps))
    if not names:
        return []
    extra = list(itertools.accumulate(lap.extra for lap in race.driven))
    found = regression(
        [one.lap for one in laps],
        [(one.low + one.high) / 2 - extra[one.lap - 1] for one in laps],
        _design(race, laps[-1].lap, names),
        _noise(race, laps),
    )
    if found is None:
        return []
    units = {name: race.event.book.fields[name].unit_text for name in race.event.spec.settings}
    told = []
    for place, name in enumerate(names, start=1):
        each, half = found[place]
        if abs(each) > half:
            told.append(Effect(name, units.get(name, "click"), each, each - half, each + half))
    return told


def _moved(laps: Sequence[ReportedLap]) -> set[str]:
    """Return the settings that stood at two values, for some laps each."""
    found = set()
    for name in {name for one in laps for name in one.settings}:
        counts: dict[float, int] = {}
        for one in laps:
            if name in one.settings:
                counts[one.settings[name]] = counts.get(one.settings[name], 0) + 1
        if sum(count >= _LEAST_LAPS for count in counts.values()) > 1:
            found.add(name)
    return found


def _design(race: Race, last: int, names: Sequence[str]) -> Array:
    """Return, for each lap up to the last reported, how much of it was raced, that times each
    setting, and, where targets were called, that times the target.
    """
    import numpy as np

    settings: dict[str, float] = {}
    by_lap = {one.lap: one.settings for one in race.energies_reported}
    first = {
        name: next(one.settings[name] for one in race.energies_reported if name in one.settings)
        for name in names
    }
    rows = []
    for lap in race.driven[:last]:
        settings |= by_lap.get(lap.lap, {})
        raced = 1 - lap.neutralised
        stood = [settings.get(name, first[name]) for name in names]
        rows.append([raced, *(raced * value for value in stood), raced * float(lap.target)])
    design = np.array(rows)
    targets = design[:, -1][design[:, 0] > 0] / design[:, 0][design[:, 0] > 0]
    slow = np.array([[lap.neutralised] for lap in race.driven[:last]])
    if np.ptp(targets) < _ALIKE:
        design = design[:, :-1]
    return np.hstack([design, slow]) if slow.any() else design


def _noise(race: Race, laps: Sequence[ReportedLap]) -> Array:
    """Return the covariance of the energies reported: the laps' scatter, the habit's drift, and the
    rounding, each as stated.
    """
    import numpy as np

    spec, numbers = race.event.spec.energy, np.array([one.lap for one in laps])
    every = np.arange(1, numbers[-1] + 1)
    driven = (every <= numbers[:, None]).astype(float)
    walked = np.maximum(numbers[:, None] - every, 0)
    rounding = [(one.high - one.low) ** 2 / 12 for one in laps]
    noise: Array = float(spec.spread) ** 2 * driven @ driven.T
    noise += float(spec.drift) ** 2 * walked @ walked.T + np.diag(rounding)
    return noise


def regression(
    laps: Sequence[int], levels: Sequence[float], design: Array, noise: Array
) -> list[tuple[float, float]] | None:
    """Return for each column of ``design`` (a row a lap) what a lap takes for one of it, and half
    the interval about it; ``levels`` are what was used by the end of some ``laps``, ``noise`` their
    covariance but for a factor. None where the laps can't tell.
    """
    import numpy as np

    summed = np.cumsum(design, axis=0)[np.array(laps) - 1]
    free = len(laps) - summed.shape[1]
    if free < _LEAST_FREEDOM or np.linalg.matrix_rank(summed) < summed.shape[1]:
        return None
    root = np.linalg.cholesky(noise)
    columns, values = np.linalg.solve(root, summed), np.linalg.solve(root, np.array(levels))
    inverse = np.linalg.inv(columns.T @ columns)
    found = inverse @ columns.T @ values
    rest = values - columns @ found
    halves = student_quantile((1 + _SURE) / 2, free) * np.sqrt(
        np.diag(inverse) * float(rest @ rest) / free
    )
    return [(float(each), float(half)) for each, half in zip(found, halves, strict=True)]


@functools.cache
def student_quantile(share: float, freedom: int) -> float:
    """Return the value below which so much of Student's t distribution lies, for a share above one
    half: its density summed by Simpson's rule, and halved into.
    """
    import numpy as np

    scale = math.exp(math.lgamma((freedom + 1) / 2) - math.lgamma(freedom / 2))
    scale /= math.sqrt(freedom * math.pi)
    weights = np.array([1.0, *([4.0, 2.0] * 500)[:-1], 1.0]) / 3
    low, high = 0.0, 1000.0
    for _ in range(60):
        middle = (low + high) / 2
        angles = np.linspace(0.0, math.atan(middle / math.sqrt(freedom)), len(weights))
        below = 0.5 + scale * math.sqrt(freedom) * float(
            weights @ np.cos(angles) ** (freedom - 1)
        ) * float(angles[1])
        low, high = (middle, high) if below < share else (low, middle)
    return middle
