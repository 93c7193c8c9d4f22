"""A prefix code for unlike times of words and unlike shares of levels: a tree grown cheapest node
first.

A node becomes a leaf where its level is likely enough for what the node costs, else it is opened;
the threshold is searched. It is the greedy tree of B. Varn (1971), optimal for levels all alike,
with a threshold for unlike ones. Complexity: O(n·r·log n) for each threshold tried, n levels, r
letters.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Sequence

from grammar.design.capacity import capacity

Word = tuple[int, ...]
_TOLERANCE = 1e-9
_THRESHOLDS = [10 ** (step / 16) for step in range(-32, 9)]


def matched(
    likely: Sequence[float], slots: Sequence[tuple[float, Word]]
) -> tuple[list[Word], float]:
    """Give the cheapest slots to the likeliest levels; return words and mean time."""
    best = heapq.nsmallest(len(likely), slots)
    return [word for _, word in best], math.fsum(
        share * cost for share, (cost, _) in zip(likely, best, strict=True)
    )


def grown(
    likely: Sequence[float], times: Sequence[float], *, quick: bool = False
) -> tuple[list[Word], float]:
    """Return the best greedy tree over all thresholds, then with single nodes of the first place
    opened or closed by force.

    ``quick`` tries few thresholds and forces nothing.
    """
    rate = capacity(times)
    thresholds = _THRESHOLDS[::6] if quick else _THRESHOLDS
    trees = [_grow(likely, times, rate, threshold, {}) for threshold in thresholds]
    (words, cost), threshold = min(zip(trees, thresholds, strict=True), key=lambda tree: tree[0][1])
    if quick:
        return words, cost
    forced: dict[int, bool] = {}
    for letter in range(len(times)):
        opened = any(word[0] == letter and len(word) > 1 for word in words)
        again, price = _grow(likely, times, rate, threshold, {**forced, letter: not opened})
        if price < cost - _TOLERANCE:
            forced[letter] = not opened
            words, cost = again, price
    return words, cost


def _grow(
    likely: Sequence[float],
    times: Sequence[float],
    rate: float,
    threshold: float,
    forced: dict[int, bool],
) -> tuple[list[Word], float]:
    """Grow one tree; ``forced`` says of letters in the first place whether their node is opened."""
    letters = sorted(range(len(times)), key=lambda letter: (times[letter], letter))
    open_nodes: list[tuple[float, Word]] = [(0.0, ())]
    closed: list[tuple[float, Word]] = []
    while len(open_nodes) + len(closed) < len(likely) or (not closed and len(open_nodes) == 1):
        cost, word = heapq.heappop(open_nodes)
        share = likely[min(len(closed), len(likely) - 1)]
        close = bool(word) and bool(open_nodes) and share >= threshold * 2.0 ** (-rate * cost)
        if len(word) == 1 and word[0] in forced and open_nodes:
            close = not forced[word[0]]
        if close:
            closed.append((cost, word))
            continue
        for letter in letters:
            heapq.heappush(open_nodes, (cost + times[letter], (*word, letter)))
    return matched(likely, [*closed, *open_nodes])
