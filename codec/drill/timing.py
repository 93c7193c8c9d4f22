"""Times as measured: means with intervals, coffee breaks set aside, and how long each word takes
out of the times of whole reports.

Sources: the modified z-score and its limit of 3.5, B. Iglewicz and D. C. Hoaglin, "How to Detect
and Handle Outliers" (1993); the interval of a mean, Student's t; the interval of a share, E. B.
Wilson (1927). Times are never below 0, so no interval reaches below it, and skewed, so outliers are
looked for among their logarithms, and times within a tenth of the median are never outliers.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from grammar.libraries import needed
from grammar.profile import MeasuredTime

if TYPE_CHECKING:
    import numpy as np

LEVEL = 0.95
LIMIT = 3.5
_TO_SIGMA = 0.6745  # the median absolute deviation of a normal distribution, in standard deviations
_LEAST = math.log(1.1) / LIMIT * _TO_SIGMA
# how far a person's time for a word may lie from their rate times the alphabet's, as a share of it
_PRIOR = 0.3
_OFFSET = 0.15  # seconds by which presses may be late or early together
_PRESSES = 2  # each press is as uncertain as the length of one word


@dataclass(frozen=True, slots=True)
class Timing:
    """Times of one kind: their mean with its interval at 95 %, median, standard error;
    ``set_aside`` counts outliers left out.
    """

    count: int
    mean: float
    low: float
    high: float
    error: float
    median: float
    set_aside: int

    @property
    def measured(self) -> MeasuredTime:
        """As a profile keeps it."""
        return MeasuredTime(
            seconds=self.mean,
            error=self.error if math.isfinite(self.error) else self.mean,
            count=self.count,
        )

    def as_dict(self) -> dict[str, float | None]:
        """Return the facts for JSON; an interval of a single time has no ends."""
        facts = {
            "count": self.count,
            "mean": self.mean,
            "low": self.low,
            "high": self.high,
            "median": self.median,
            "set_aside": self.set_aside,
        }
        return {
            name: round(value, 4) if math.isfinite(value) else None for name, value in facts.items()
        }


def outliers(times: Sequence[float]) -> list[bool]:
    """Tell for each time whether it is to be set aside."""
    logs = [math.log(max(time, 1e-6)) for time in times]
    if len(logs) < 3:
        return [False] * len(logs)
    middle = statistics.median(logs)
    width = max(_LEAST, statistics.median(abs(one - middle) for one in logs))
    return [_TO_SIGMA * abs(one - middle) / width > LIMIT for one in logs]


def timing(times: Sequence[float]) -> Timing | None:
    """Return the statistics of some times without their outliers; None for no times."""
    if not times:
        return None
    kept = [time for time, out in zip(times, outliers(times), strict=True) if not out]
    count, mean = len(kept), statistics.fmean(kept)
    error = statistics.stdev(kept) / math.sqrt(count) if count > 1 else math.inf
    reach = (
        float(needed("scipy.special", "drill").stdtrit(count - 1, (1 + LEVEL) / 2)) * error
        if count > 1
        else math.inf
    )
    low = max(0.0, mean - reach) if count > 1 else -math.inf
    return Timing(
        count, mean, low, mean + reach, error, statistics.median(kept), len(times) - count
    )


def share(right: float, count: float, level: float = LEVEL) -> tuple[float, float]:
    """Return Wilson's interval of a share; 0 … 1 where nothing was counted."""
    if not count:
        return 0.0, 1.0
    z = statistics.NormalDist().inv_cdf((1 + level) / 2)
    found = right / count
    middle = (found + z * z / (2 * count)) / (1 + z * z / count)
    reach = (
        z
        / (1 + z * z / count)
        * math.sqrt(found * (1 - found) / count + z * z / (4 * count * count))
    )
    return (0.0 if right == 0 else middle - reach), (1.0 if right == count else middle + reach)


@dataclass(frozen=True, slots=True)
class WordTimes:
    """The seconds of each symbol's word with standard errors; ``offset`` is common to all
    measurements, ``noise`` that of one word.
    """

    words: Mapping[str, MeasuredTime]
    offset: float
    noise: float
    set_aside: int

    def of(self, text: str, otherwise: Mapping[str, float]) -> float:
        """Return the seconds of a string; words never said take ``otherwise``."""
        return sum(
            self.words[symbol].seconds if symbol in self.words else otherwise[symbol]
            for symbol in text
        )


def word_times(said: Sequence[tuple[str, float]], default: Mapping[str, float]) -> WordTimes | None:
    """Return how long each word takes, out of (symbols said, seconds from the first word to the end
    of the last); None for too few.

    A linear model, ``seconds = offset + Σ word times + noise``, fitted with a prior about
    ``default`` (symbol → seconds) at the person's own rate, so that words said seldom are not
    guessed wildly. Noise grows with the number of words and two presses of a key. Measurements
    whose residual is an outlier are set aside and the rest is fitted again.
    """
    if len(said) < 3:
        return None
    numpy = needed("numpy", "drill")
    symbols = sorted({symbol for text, _ in said for symbol in text})
    place = {symbol: number for number, symbol in enumerate(symbols)}
    rows, times = (
        numpy.zeros((len(said), len(symbols) + 1)),
        numpy.array([seconds for _, seconds in said]),
    )
    rows[:, -1] = 1.0
    for number, (text, _) in enumerate(said):
        for symbol in text:
            rows[number, place[symbol]] += 1
    given = numpy.array([default[symbol] for symbol in symbols])
    rate = float(numpy.median(times / (rows[:, :-1] @ given)))
    centre, spread = numpy.append(rate * given, 0.0), numpy.append(_PRIOR * rate * given, _OFFSET)
    scale = numpy.sqrt(rows[:, :-1].sum(axis=1) + _PRESSES)
    fitted = _fitted(numpy, rows / scale[:, None], times / scale, centre, spread)
    counts = rows[fitted.kept].sum(axis=0)
    words = {
        symbol: MeasuredTime(
            seconds=max(0.01, float(fitted.mean[n])),
            error=float(fitted.error[n]),
            count=float(counts[n]),
        )
        for symbol, n in place.items()
        if counts[n]
    }
    return WordTimes(words, float(fitted.mean[-1]), fitted.noise, int((~fitted.kept).sum()))


@dataclass(frozen=True, slots=True)
class _Fitted:
    mean: np.ndarray
    error: np.ndarray
    kept: np.ndarray
    noise: float


def _fitted(
    numpy: Any, rows: np.ndarray, times: np.ndarray, centre: np.ndarray, spread: np.ndarray
) -> _Fitted:
    """Fit, set outliers aside, fit again until they stay the same."""
    kept, mean = numpy.ones(len(times), dtype=bool), centre
    prior = numpy.diag(spread**-2.0)
    noise = 0.0
    for _ in range(20):
        residual = times - rows @ mean
        middle = numpy.median(residual[kept])
        noise = max(0.005, float(numpy.median(numpy.abs(residual[kept] - middle))) / _TO_SIGMA)
        before, kept = kept, numpy.abs(residual - middle) <= LIMIT * noise
        used = rows[kept]
        inverse = numpy.linalg.inv(used.T @ used / noise**2 + prior)
        after = inverse @ (used.T @ times[kept] / noise**2 + prior @ centre)
        settled = bool((before == kept).all()) and float(numpy.abs(after - mean).max()) < 1e-6
        mean = after
        if settled:
            break
    left = times[kept] - rows[kept] @ mean
    freedom = max(
        1.0, len(left) - float(numpy.trace(inverse @ (used.T @ used)) / noise**2)
    )  # parameters the data decides, not the prior
    noise = max(noise, math.sqrt(float(left @ left) / freedom))
    inverse = numpy.linalg.inv(used.T @ used / noise**2 + prior)
    return _Fitted(mean, numpy.sqrt(numpy.diag(inverse)), kept, noise)
