"""Times as measured: means with intervals, coffee breaks set aside, and how long each word takes
out of the times of whole reports.

Sources: the modified z-score and its limit of 3.5, B. Iglewicz and D. C. Hoaglin, "How to Detect
and Handle Outliers" (1993); the interval of a mean, Student's t; the interval of a share, E. B.
Wilson (1927). Times are never below 0, so no interval reaches below it, and skewed, so outliers are
looked for among their logarithms, and times within a tenth of the median are never outliers.
"""

from __future__ import annotations

import itertools
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
_MOST = 1500  # measurements, the last ones, that word times are taken from
# share of its length by which a word may change: all words together from one measurement to the
# next, and each by itself when it is said the first time, later less, by the square root of how
# often (learning curves flatten: A. Newell and P. S. Rosenbloom, 1981)
_CHANGES = tuple(itertools.product((0.0, 0.001, 0.003, 0.007), (0.0, 0.02, 0.06)))
_ROUNDS = 3  # over the measurements, to find their noise
_LEAST_NOISE = 0.005  # seconds a word
_WEAK = 0.01  # weight of the prior where the first noise is sought
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
    """The seconds that each symbol's word takes now, with standard errors; ``offset`` is common to
    all measurements, ``noise`` that of one word.
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
    """Return how long each word takes now, out of (symbols said, seconds from the first word to the
    end of the last), oldest first; None for too few.

    ``seconds = offset + Σ word times + noise``, with a prior about ``default`` (symbol → seconds)
    at the person's own rate, so that words said seldom are not guessed wildly. Noise grows with the
    number of words and two presses of a key. Word times change from one measurement to the next,
    all together and each by itself, as random walks: how much is not known, so several are followed
    beside each other (R. E. Kalman, Journal of Basic Engineering 82, 1960) and averaged by how well
    each foretold what came (Bayesian model averaging). A measurement that lies beyond ``LIMIT``
    standard deviations of what was foretold is set aside.
    """
    if len(said) < 3:
        return None
    numpy, said = needed("numpy", "drill"), said[-_MOST:]
    symbols = sorted({symbol for text, _ in said for symbol in text})
    rows = numpy.array([[*(text.count(symbol) for symbol in symbols), 1.0] for text, _ in said])
    times = numpy.array([seconds for _, seconds in said])
    given = numpy.array([default[symbol] for symbol in symbols])
    rate = float(numpy.median(times / (rows[:, :-1] @ given)))
    centre, spread = numpy.append(rate * given, 0.0), numpy.append(_PRIOR * rate * given, _OFFSET)
    found = _followed(numpy, rows, times, centre, spread)
    counts = rows[found.kept].sum(axis=0)
    words = {
        symbol: MeasuredTime(
            seconds=max(0.01, float(found.mean[n])),
            error=float(found.error[n]),
            count=float(counts[n]),
        )
        for n, symbol in enumerate(symbols)
        if counts[n]
    }
    return WordTimes(words, float(found.mean[-1]), found.noise, int((~found.kept).sum()))


@dataclass(frozen=True, slots=True)
class _Followed:
    mean: np.ndarray
    error: np.ndarray
    kept: np.ndarray
    noise: float


def _followed(
    numpy: Any, rows: np.ndarray, times: np.ndarray, centre: np.ndarray, spread: np.ndarray
) -> _Followed:
    """Follow the word times by every pace of change at once, and average them at the last
    measurement. The noise of each is found by going over the measurements again.
    """
    together, alone = (numpy.array(one) for one in zip(*_CHANGES, strict=True))
    scale = rows[:, :-1].sum(axis=1) + _PRESSES
    noise = numpy.full(len(together), _first_noise(numpy, rows, times, centre, spread, scale))
    words, place = numpy.append(numpy.ones(len(centre) - 1), 0.0), numpy.arange(len(centre))
    said_now = numpy.minimum(rows, 1.0) * words
    learning = said_now / (numpy.cumsum(rows, axis=0) + 1)
    for _ in range(_ROUNDS):
        mean = numpy.tile(centre, (len(together), 1))
        spreads = numpy.tile(numpy.diag(spread**2), (len(together), 1, 1))
        scores = numpy.zeros((len(times), len(together)))
        logs = numpy.zeros(len(together))
        for n, (row, seconds) in enumerate(zip(rows, times, strict=True)):
            moved = mean * words
            spreads += together[:, None, None] ** 2 * moved[:, :, None] * moved[:, None, :]
            own = alone[:, None] ** 2 * moved**2 * learning[n]
            spreads[:, place, place] += own
            reach = spreads @ row
            width = reach @ row + noise**2 * scale[n]
            off = seconds - mean @ row
            score = scores[n] = off / numpy.sqrt(width)
            fits = numpy.abs(score) <= LIMIT
            gain = reach / width[:, None] * fits[:, None]
            mean = mean + gain * off[:, None]
            spreads -= gain[:, :, None] * reach[:, None, :]
            logs -= (numpy.minimum(score**2, LIMIT**2) + numpy.log(width)) / 2
        kept = numpy.abs(scores) <= LIMIT
        spent = (scores**2 * kept).sum(axis=0) / numpy.maximum(1, kept.sum(axis=0))
        noise = numpy.maximum(_LEAST_NOISE, noise * numpy.sqrt(spent))
    weights = numpy.exp(logs - logs.max())
    weights /= weights.sum()
    middle = weights @ mean
    variance = weights @ (numpy.diagonal(spreads, axis1=1, axis2=2) + (mean - middle) ** 2)
    best = int(numpy.argmax(weights))
    return _Followed(middle, numpy.sqrt(variance), kept[:, best], float(weights @ noise))


def _first_noise(
    numpy: Any,
    rows: np.ndarray,
    times: np.ndarray,
    centre: np.ndarray,
    spread: np.ndarray,
    scale: np.ndarray,
) -> float:
    """Return the noise of a word as if word times never changed, whatever lies outside."""
    weights = 1 / scale
    mean = centre
    for _ in range(5):
        normal = (rows * weights[:, None]).T @ rows + _WEAK * numpy.diag(spread**-2.0)
        mean = centre + numpy.linalg.solve(
            normal, (rows * weights[:, None]).T @ (times - rows @ centre)
        )
        off = numpy.abs(times - rows @ mean) / numpy.sqrt(scale)
        noise = max(_LEAST_NOISE, float(numpy.median(off)) / _TO_SIGMA)
        weights = (off <= LIMIT * noise) / scale
    return noise
