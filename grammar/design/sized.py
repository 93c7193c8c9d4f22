"""Independent sets of a given size: so many vertices are always chosen, and pairs of them that are joined are made fewer until none is
left.

Each step the chosen vertex with most joined neighbours among the chosen leaves, and the vertex with fewest comes in; who left may not
come back, and who came may not leave, for some steps (tabu search, F. Glover 1986; in the fixed-size form of C. Friden, A. Hertz and D.
de Werra, "STABULUS", 1989). It reaches what growing a set does not, as a set one larger is often far from every set at hand.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from grammar.libraries import needed

_RESTART = 2_000_000  # steps after which another beginning is tried; the best of those measured


def of_size(near: Sequence[Sequence[int]], size: int, *, steps: int, seed: int) -> list[int] | None:
    """Return ``size`` vertices no two of which are joined, None if none are found in so many steps. Raises CodeError where numpy is
    missing."""
    numpy = needed("numpy")
    generator = numpy.random.default_rng(seed)
    rows = [numpy.asarray(row, dtype=numpy.int64) for row in near]
    while steps > 0:
        found = _try(numpy, generator, rows, size, min(steps, _RESTART))
        if found is not None:
            return found
        steps -= _RESTART
    return None


def _try(numpy: Any, generator: Any, rows: Sequence[Any], size: int, steps: int) -> list[int] | None:
    count = len(rows)
    outside = count + 1  # added to the joined neighbours of chosen vertices, so that these never come in again
    cost, barred = numpy.zeros(count, dtype=numpy.int64), numpy.zeros(count, dtype=numpy.int64)
    chosen = numpy.empty(size, dtype=numpy.int64)
    for place in range(size):
        least = numpy.flatnonzero(cost == cost.min())
        vertex = chosen[place] = least[generator.integers(len(least))]
        cost[rows[vertex]] += 1
        cost[vertex] += outside
    joined = int((cost[chosen] - outside).sum()) // 2
    luck = generator.random((steps, 3), dtype=numpy.float32)
    for step in range(steps):
        if joined == 0:
            return sorted(int(vertex) for vertex in chosen)
        leaving = numpy.where(barred[chosen] <= step, cost[chosen], -1)
        worst = numpy.flatnonzero(leaving == leaving.max())
        place = worst[int(luck[step, 0] * len(worst))]
        vertex = chosen[place]
        cost[rows[vertex]] -= 1
        cost[vertex] -= outside
        joined -= int(cost[vertex])
        barred[vertex] = step + 7 + int(luck[step, 1] * 10)
        vertex = chosen[place] = _entering(numpy, cost, barred, step, luck[step, 2], outside)
        joined += int(cost[vertex])
        cost[rows[vertex]] += 1
        cost[vertex] += outside
        barred[vertex] = step + 2 + int(luck[step, 1] * (joined + 3))
    return None


def _entering(numpy: Any, cost: Any, barred: Any, step: int, luck: float, outside: int) -> int:
    """Return a vertex outside the set with fewest joined neighbours in it, one that may come in; any where none may."""
    for least in range(int(cost.min()), outside):
        free = numpy.flatnonzero(cost == least)
        free = free[barred[free] <= step]
        if len(free):
            return int(free[int(luck * len(free))])
    free = numpy.flatnonzero(cost < outside)
    return int(free[int(luck * len(free))])
