"""Words that noise can't confuse: a largest independent set of the graph of words that may be heard
as each other.

A set of words no two of which are joined is a code without error (C. E. Shannon, "The zero error
capacity of a noisy channel", 1956). A largest one is found by exact branching (F. V. Fomin,
D. Kratsch, "Exact Exponential Algorithms", 2010, the algorithm mis1): a set to which nothing can be
added holds a vertex or one of its neighbours, so each of these is tried, for a vertex with fewest
neighbours. That is at most 3^(n/3) ways for n vertices; what is left of the graph is looked at once
however it was come by, and the 36 words of the spelling alphabet take a millisecond. From
``MOST_PARTS`` such parts on only the vertex with fewest neighbours itself is tried: then the set is
large, a vertex or so from the largest, and nothing can be added to it.
"""

from __future__ import annotations

import functools
import itertools
from collections.abc import Iterable, Sequence

# parts of a graph that are looked at, for about a second; of 400 random graphs of 36 vertices none
# took more than 5,221
MOST_PARTS = 50_000


def largest_independent_set(
    costs: Sequence[float], pairs: Iterable[tuple[int, int]]
) -> tuple[int, ...]:
    """Return a largest set of the vertices 0 … len(costs) - 1 with no pair in it, rising; of the
    largest one that costs least.

    The same graph always gives the same set. It is a largest one for certain unless
    ``MOST_PARTS`` is reached, as large hard graphs do.
    """
    closed = [1 << vertex for vertex in range(len(costs))]  # a vertex with its neighbours, as bits
    for one, other in pairs:
        closed[one] |= 1 << other
        closed[other] |= 1 << one

    looks = itertools.count(1)

    @functools.cache
    def best(left: int) -> tuple[int, float, tuple[int, ...]]:
        """Return the size, the cost, negative, and the vertices of the best set within a part."""
        if not left:
            return 0, 0.0, ()
        fewest = min(_vertices(left), key=lambda vertex: (closed[vertex] & left).bit_count())
        tried = _vertices(closed[fewest] & left) if next(looks) < MOST_PARTS else [fewest]
        found = []
        for taken in tried:
            size, cost, others = best(left & ~closed[taken])
            found.append((size + 1, cost - costs[taken], (*others, taken)))
        return max(found, key=lambda way: way[:2])

    return tuple(sorted(best((1 << len(costs)) - 1)[2]))


def _vertices(mask: int) -> list[int]:
    return [vertex for vertex in range(mask.bit_length()) if mask >> vertex & 1]
