"""What a person's answers tell of each symbol, and of each two that stand together: a posterior of
how likely it is read right now, and of how much asking it once more would add.

The log-odds of a right answer grow with practice, more after a mistake, whose right answer is shown
(performance factors: P. I. Pavlik, H. Cen and K. R. Koedinger, "Performance Factors Analysis",
2009), by the same at each answer or ever less, as practice by a power law does (A. Newell and P. S.
Rosenbloom, "Mechanisms of skill acquisition and the law of practice", 1981), and fall back between
sessions with what the scheduler of ``cards`` says is still recalled (FSRS). Where they begin, how
they grow and how much of it a break takes is not known: a grid of all three, weighted by the
answers, for each symbol and each pair; the weights that all have together are where each begins
(empirical Bayes). Or all symbols are alike, and chance must not tell one from another. Or pairs
matter: a place of a report is read right if its symbol is known and its pair does not mislead; a
mistake is blamed on both, by how likely each was to cause it. Each explanation is believed by how
likely it held each answer to be before (Bayesian model averaging; A. P. Dawid, "Statistical theory:
the prequential approach", 1984).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, NamedTuple

from grammar.libraries import needed

if TYPE_CHECKING:
    import numpy as np

# log-odds that one right answer adds, and the power of practice by which that wanes
_GROWTHS = ((0.0, 0.0), (0.05, 0.0), (0.15, 0.0), (0.4, 0.0), (0.4, 1.0), (0.8, 1.0), (1.6, 1.0))
_LEAST_GAIN = 0.05  # what asking is taken to add to what has not got better yet
_AFTER_MISTAKE = 1.5  # times that, where it was wrong
_BREAKS = (0.0, 1.0, 4.0)  # the power of recall that a break leaves
# log-odds of a symbol never asked, and of a pair, by how likely they are taken to be at first
_BEGIN = {-0.5: 0.25, 1.0: 0.25, 2.5: 0.25, 4.0: 0.25}
_MISLEADS = {-0.5: 0.02, 1.0: 0.03, 2.5: 0.05, 4.5: 0.2, 7.0: 0.7}
_SLIP = 0.002  # of what is known perfectly
_POOLING = 1.0  # units that the first prior counts for
_ROUNDS = 30  # by which the common prior is found: with fewer, chance tells symbols apart
_OFTEN = 10  # answers after which it is found anew
_SURE = 6.0  # log-odds beyond which nothing is taken for surer
Recall = Callable[[str], float]


class Explanations(NamedTuple):
    """How likely it is that all symbols are alike to a person, that each is read by itself, and
    that two that stand together may mislead.
    """

    alike: float
    alone: float
    together: float


_BEFORE_ANY = Explanations(alike=0.45, alone=0.45, together=0.1)


class Units:
    """The posterior of each of one kind of unit, symbols or pairs, over the grid."""

    def __init__(self, begin: Mapping[float, float]) -> None:
        """Begin without any, where ``begin`` says: log-odds and how likely they are."""
        self.numpy = needed("numpy", "drill")
        grid = itertools.product(begin, _GROWTHS, _BREAKS)
        grid = self.numpy.array([(start, *growth, kept) for start, growth, kept in grid])
        self.begin, self.gain, self.wanes, self.breaks = grid.T
        self.place: dict[str, int] = {}
        self.odds = self.numpy.zeros((0, len(grid)))
        self.practice = self.numpy.zeros((0, 1))  # answers, a mistake counting for more
        self.likelihood = self.numpy.zeros((0, len(grid)))  # its logarithm
        each = self.numpy.array([begin[start] for start in self.begin])
        self.first = each / each.sum()
        self.prior = self.first

    def row(self, unit: str) -> int:
        """Return the place of a unit, which is made where it is new."""
        if unit not in self.place:
            self.place[unit] = len(self.place)
            if len(self.place) > len(self.odds):
                more = max(64, len(self.odds))
                self.odds = self.numpy.vstack([self.odds, self.numpy.tile(self.begin, (more, 1))])
                self.practice = self.numpy.vstack([self.practice, self.numpy.zeros((more, 1))])
                self.likelihood = self.numpy.vstack(
                    [self.likelihood, self.numpy.zeros((more, len(self.begin)))]
                )
        return self.place[unit]

    def chances(self, odds: np.ndarray) -> np.ndarray:
        """Return the probability of a right answer at each point of the grid."""
        found: np.ndarray = (1 - _SLIP) / (1 + self.numpy.exp(-odds))
        return found

    def weights(self, rows: list[int]) -> np.ndarray:
        """Return the posterior over the grid of some units."""
        logs = self.likelihood[rows]
        found = self.prior * self.numpy.exp(logs - logs.max(axis=-1, keepdims=True))
        normal: np.ndarray = found / found.sum(axis=-1, keepdims=True)
        return normal

    def chance(self, unit: str, recall: float = 1.0) -> float:
        """Return how likely a unit is read right, where ``recall`` of it is left."""
        row = self.row(unit)
        return float(self.weights([row])[0] @ self.chances(self._after(self.odds[row], recall)))

    def _after(self, odds: np.ndarray, recall: float | np.ndarray) -> np.ndarray:
        left: np.ndarray = self.begin + (odds - self.begin) * recall**self.breaks
        return left

    def _growth(self, rows: list[int], least: float = 0.0) -> np.ndarray:
        gain: np.ndarray = self.numpy.maximum(self.gain, least)
        found: np.ndarray = gain * (1 + self.practice[rows]) ** -self.wanes
        return found

    def note(self, unit: str, recall: float, *, wrong: bool, other: float = 1.0) -> None:
        """Take in an answer that was right only if this unit and, with the chance ``other``, the
        other one were.
        """
        row = self.row(unit)
        odds = self._after(self.odds[row], recall)
        chances = self.chances(odds)
        self.likelihood[row] += self.numpy.log(1 - chances * other if wrong else chances)
        weight = _AFTER_MISTAKE if wrong else 1.0
        self.odds[row] = odds + self._growth([row])[0] * weight
        self.practice[row] += weight

    def known(self, unit: str, right: float, wrong: float) -> None:
        """Take in so many answers that were given before any that is noted, outside of drills: they
        tell where a unit begins.
        """
        row = self.row(unit)
        chances = self.chances(self.odds[row])
        told = right * self.numpy.log(chances) + wrong * self.numpy.log(1 - chances)
        self.likelihood[row] += told

    def pool(self) -> None:
        """Find the common prior anew."""
        logs = self.likelihood[: len(self.place)]
        told = self.numpy.exp(logs - logs.max(axis=1, keepdims=True))
        self.prior = self.first
        for _ in range(_ROUNDS):
            together = self.prior * ((1 / (told @ self.prior)) @ told) + _POOLING * self.first
            self.prior = together / together.sum()

    def gains(self, units: Sequence[str], recall: Recall) -> np.ndarray:
        """Return for each unit how much the chance of a right answer grows, relative to what it is,
        by being asked once more.
        """
        rows = [self.row(unit) for unit in units]
        kept = self.numpy.array([[recall(unit)] for unit in units])
        odds, weights = self._after(self.odds[rows], kept), self.weights(rows)
        grown = odds + self._growth(rows, _LEAST_GAIN)
        before, after = ((weights * self.chances(one)).sum(axis=1) for one in (odds, grown))
        found: np.ndarray = (after - before) / before
        return found


class Alike(Units):
    """Units that are taken to begin, grow and wane alike: one posterior for all."""

    def weights(self, rows: list[int]) -> np.ndarray:
        """Return the posterior over the grid, the same of each unit."""
        logs = self.likelihood[: len(self.place)].sum(axis=0)
        found = self.first * self.numpy.exp(logs - logs.max())
        same: np.ndarray = self.numpy.tile(found / found.sum(), (len(rows), 1))
        return same

    def pool(self) -> None:
        """Nothing else is common to them."""


class Knowledge:
    """What is known of one person in one drill, under three ``Explanations``, each believed by how
    well it told the answers beforehand.
    """

    def __init__(self) -> None:
        """Begin knowing nothing."""
        self.alike, self.alone, self.within = Alike(_BEGIN), Units(_BEGIN), Units(_BEGIN)
        self.pairs = Units(_MISLEADS)
        self._logs = [math.log(likely) for likely in _BEFORE_ANY]
        self._answers = 0

    @property
    def believed(self) -> Explanations:
        """How likely each explanation is now."""
        found = [math.exp(one) for one in self._logs]
        return Explanations(*(one / math.fsum(found) for one in found))

    def note(self, shown: str, wrong: Sequence[int], recall: Mapping[str, float]) -> None:
        """Take in an answer: the places that went wrong; ``recall`` is what was left of each symbol
        since it was last asked.
        """
        for place, symbol in enumerate(shown):
            kept, missed = recall.get(symbol, 1.0), place in wrong
            alike, alone = self.alike.chance(symbol, kept), self.alone.chance(symbol, kept)
            own = self.within.chance(symbol, kept)
            pair = shown[place - 1 : place + 1] if place else ""
            its = self.pairs.chance(pair, kept) if pair else 1.0
            for n, right in enumerate((alike, alone, own * its)):
                self._logs[n] += math.log(1 - right if missed else right)
            self.alike.note(symbol, kept, wrong=missed)
            self.alone.note(symbol, kept, wrong=missed)
            self.within.note(symbol, kept, wrong=missed, other=its)
            if pair:
                self.pairs.note(pair, kept, wrong=missed, other=own)
        best = max(self._logs)
        self._logs = [max(one - best, -_SURE) for one in self._logs]
        self._answers += 1
        if self._answers % _OFTEN == 0:
            for units in (self.alone, self.within, self.pairs):
                units.pool()

    def known(self, counts: Mapping[str, tuple[float, float]]) -> None:
        """Take in how often each symbol was right and wrong before any answer, outside of drills;
        of each pair nothing is known.
        """
        for units in (self.alike, self.alone, self.within):
            for symbol, (right, wrong) in counts.items():
                units.known(symbol, right, wrong)
            units.pool()

    def gains(
        self, symbols: Sequence[str], pairs: Sequence[str], recall: Mapping[str, float]
    ) -> tuple[np.ndarray, np.ndarray]:
        """Return for each symbol, and for each pair, how much the chance of a right answer grows,
        relative to what it is, by asking it once more.
        """
        left = recall.__getitem__
        by_symbol = (self.alike, self.alone, self.within)
        each = [units.gains(symbols, left) for units in by_symbol]
        by_pair = self.pairs.gains(pairs, lambda pair: recall[pair[1]])
        return self.believed @ self.alone.numpy.array(each), self.believed.together * by_pair
