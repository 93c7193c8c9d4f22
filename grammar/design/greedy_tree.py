"""A prefix code for unlike times of words and unlike shares of levels: a tree grown cheapest node
first.

A node becomes a leaf where its level is likely enough for what the node costs, else it is opened;
the threshold is searched. It is the greedy tree of B. Varn (1971), optimal for levels all alike,
with a threshold for unlike ones. Complexity: O(n·r·log n) for each threshold tried, n levels, r
letters.

Nodes are closed in the order of their costs, so what the leaves so far contribute to the mean time
is settled while the tree grows, and Kraft's inequality bounds what the others can. A tree that
can't be better than the best so far is given up; thresholds that decide alike share one tree.
"""

from __future__ import annotations

import bisect
import heapq
import itertools
import math
import operator
from collections.abc import Sequence
from typing import NamedTuple

from grammar.design.capacity import capacity

Word = tuple[int, ...]
_TOLERANCE = 1e-9
_THRESHOLDS = [10 ** (step / 16) for step in range(-32, 9)]
_PROMISING = (
    0.65  # thresholds near this are tried first: large codes of many letters are best there
)
_BETWEEN_BOUNDS = 32  # nodes looked at from one bound to the next
_LN2 = math.log(2)
_ROUNDS = 3  # of the search for a bound's multiplier


def matched(
    likely: Sequence[float], slots: Sequence[tuple[float, Word]]
) -> tuple[list[Word], float]:
    """Give the cheapest slots to the likeliest levels; return words and mean time."""
    best = heapq.nsmallest(len(likely), slots)
    return [word for _, word in best], math.fsum(
        share * cost for share, (cost, _) in zip(likely, best, strict=True)
    )


def estimated(likely: Sequence[float], times: Sequence[float]) -> float:
    """Return the mean time of the best greedy tree over few thresholds."""
    return _best(_Grower(likely, times), _THRESHOLDS[::6])[1]


def grown(likely: Sequence[float], times: Sequence[float]) -> tuple[list[Word], float]:
    """Return the words and the mean time of the best greedy tree over all thresholds, then with
    single nodes of the first place opened or closed by force; of trees as good as each other that
    of the lowest threshold.
    """
    grower = _Grower(likely, times)
    tree, cost, threshold = _best(grower, _THRESHOLDS)
    words = tree.words()[: len(likely)]
    forced: dict[int, bool] = {}
    opened = {word[0] for word in words if len(word) > 1}
    for letter in range(len(times)):
        other = {**forced, letter: letter not in opened}
        found, _ = grower.grow(threshold, other, cost - _TOLERANCE)
        if found is not None and found[1] < cost - _TOLERANCE:
            words, cost, forced = found[0].words()[: len(likely)], found[1], other
            opened = {word[0] for word in words if len(word) > 1}
    return words, cost


def _best(grower: _Grower, thresholds: Sequence[float]) -> tuple[_Tree, float, float]:
    """Return the best tree, its mean time and the lowest threshold that grows it."""
    best: tuple[float, float] = (math.inf, 0.0)  # mean time and threshold
    tree: _Tree | None = None
    done: list[tuple[float, float]] = []
    for threshold in sorted(thresholds, key=lambda one: abs(math.log(one / _PROMISING))):
        if any(low < threshold <= high for low, high in done):
            continue
        found, alike = grower.grow(threshold, {}, best[0])
        done.append(alike)
        if found is not None:
            first = min(one for one in thresholds if alike[0] < one <= alike[1])
            if (found[1], first) < best:
                tree, best = found[0], (found[1], first)
    assert tree is not None  # noqa: S101 - for the type checker: nothing bounds the first
    return tree, *best


class _Tree(NamedTuple):
    """The nodes of a tree: those closed, in order, and the others, of which only the cheapest
    behind each opened node is held: (its cost, its word, the cost of the node before it, the place
    of its last letter among ``letters``, the word of the node before it). ``letters`` are times and
    letters, the quickest first. A letter is a character of that number while words are grown.
    """

    closed: list[tuple[float, str]]
    held: list[tuple[float, str, float, int, str]]
    letters: Sequence[tuple[float, str]]

    def costs(self) -> list[float]:
        """Return the costs of all nodes, in order: those closed cost least."""
        return [cost for cost, _ in self.closed] + sorted(
            [before + time for _, _, before, n, _ in self.held for time, _ in self.letters[n:]]
        )

    def words(self) -> list[Word]:
        """Return the words of all nodes, in order."""
        held = sorted(
            [
                (before + time, begun + letter)
                for _, _, before, n, begun in self.held
                for time, letter in self.letters[n:]
            ]
        )
        return [tuple(map(ord, word)) for _, word in (*self.closed, *held)]


class _Grower:
    """Grows trees for the same shares (falling) and times."""

    def __init__(self, likely: Sequence[float], times: Sequence[float]) -> None:
        self.likely, self.rate = likely, capacity(times)
        self._letters = sorted((time, chr(letter)) for letter, time in enumerate(times))
        self._rising = [-share for share in likely]
        # sums over the levels from each on: of the shares, and of share · log2 share
        self._shares = _from_the_end(likely)
        self._bits = _from_the_end([share * math.log2(share) if share else 0.0 for share in likely])

    def grow(
        self, threshold: float, forced: dict[int, bool], most: float
    ) -> tuple[tuple[_Tree, float] | None, tuple[float, float]]:
        """Grow one tree; ``forced`` says of letters in the first place whether their node is
        opened.

        Return it and its mean time, None where that is more than ``most``; and the thresholds
        (above the first, up to the second) with which every decision is the same.
        """
        likely, letters = self.likely, self._letters
        last, (quickest, first) = len(likely) - 1, letters[0]
        # the root is open
        tree = _Tree([], [(quickest, first, 0.0, 0, "")], letters)
        closed, held, width, rate = tree.closed, tree.held, len(letters), -self.rate
        heapreplace, others, nodes = heapq.heapreplace, width, width
        share, spent, room, looked = likely[0], 0.0, 1.0, 0
        below, above = 0.0, math.inf  # the ratios opened at most and closed at least
        while nodes <= last:
            cost, word, before, place, begun = held[0]
            takes = 2.0 ** (rate * cost)
            if others == 1:
                close = False
            elif forced and not begun and ord(word) in forced:
                close = not forced[ord(word)]
            else:
                close = share >= threshold * takes
                ratio = share / takes if takes else math.inf
                if not close:
                    below = max(below, ratio)
                elif ratio < above:
                    above = ratio
            place += 1
            if place < width:  # the next behind the same node comes in its place
                time, letter = letters[place]
                heapreplace(held, (before + time, begun + letter, before, place, begun))
            else:
                heapq.heappop(held)
            if close:
                closed.append((cost, word))
                others -= 1
                spent += share * cost
                room -= takes
                share = likely[min(len(closed), last)]
            else:
                heapq.heappush(held, (cost + quickest, word + first, cost, 0, word))
                others += width - 1
                nodes += width - 1
            looked += 1
            if (
                looked % _BETWEEN_BOUNDS == 0
                and spent + self._rest(len(closed), cost, room) > most + _TOLERANCE
            ):
                return None, (min(below, threshold), max(above, threshold))
        mean = math.fsum(map(operator.mul, likely, tree.costs()))
        found = (tree, mean) if mean <= most else None
        return found, (min(below, threshold), max(above, threshold))

    def _rest(self, place: int, cost: float, room: float) -> float:
        """Return the least that levels from ``place`` on can add to the mean time, none of them
        before ``cost``, in the ``room`` that Kraft's inequality leaves them: a Lagrangian bound,
        valid for every multiplier, so that the search for a good one may stop anywhere.
        """
        if place >= len(self.likely):
            return 0.0
        takes, found = 2.0 ** (-self.rate * cost), 0.0
        share = self._shares[place]
        early = place
        for _ in range(_ROUNDS):
            left = room - (early - place) * takes
            if left <= 0 or self._shares[early] <= 0:
                break
            multiplier = self._shares[early] / left
            early = max(place, bisect.bisect_right(self._rising, -multiplier * takes))
            later = self._shares[early]
            found = max(
                found,
                (share - later) * cost
                + (
                    (early - place) * multiplier * takes / _LN2
                    + later * (math.log2(multiplier) + 1 / _LN2)
                    - self._bits[early]
                    - multiplier * room / _LN2
                )
                / self.rate,
            )
        return found


def _from_the_end(numbers: Sequence[float]) -> list[float]:
    """Return the sum of the numbers from each place on, and 0 at the end."""
    return [*itertools.accumulate(reversed(numbers), initial=0.0)][::-1]
