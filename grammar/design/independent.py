"""Sets of codewords that noise can't turn into each other: independent sets of a confusion graph
and of its strong powers.

Two words are joined where one may be heard as the other; two strings of one length are joined where
every place holds equal or joined words (the strong product). A set without joined pairs is a code
without error (C. E. Shannon, "The zero error capacity of a noisy channel", 1956).

The largest such set is hard to find, so it is searched, in two ways, both over orbits of symmetries
of the strings too: sets that grow (``growing``), and, as a set one larger is often far from every
set at hand, sets of a given size made independent (``sized``, ``symmetric``). Same seed, same set.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from grammar.design.growing import grown
from grammar.design.symmetric import of_size
from grammar.design.symmetry import Symmetries, joined, orbits
from grammar.errors import CodeError

MOST_VERTICES = 50_000
_ORDERS = (1, 2, 3, 4)  # of the symmetries under which sets grow
_WORTH = 8  # steps of growing that take about as long as one of many walkers

Vertex = tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Graph:
    """A graph on vertices 0 … n - 1; ``near[v]`` are the neighbours of v, without v."""

    near: tuple[frozenset[int], ...]

    @classmethod
    def of(cls, size: int, pairs: Sequence[tuple[int, int]]) -> Graph:
        """Return the graph with these pairs joined."""
        near: list[set[int]] = [set() for _ in range(size)]
        for one, other in pairs:
            if one != other:
                near[one].add(other)
                near[other].add(one)
        return cls(tuple(map(frozenset, near)))


def cycle(size: int) -> Graph:
    """Return the cycle graph: each word may be heard as the one before or after it."""
    return Graph.of(size, [(vertex, (vertex + 1) % size) for vertex in range(size)])


def strings(graph: Graph, length: int) -> list[Vertex]:
    """Return the strings of a length, the vertices of the strong power, in order; raises CodeError
    where they are too many.
    """
    if length < 1 or len(graph.near) ** length > MOST_VERTICES:
        raise CodeError(
            f"{len(graph.near)} words in {length} places",
            kind="too-large",
            expected=[f"at most {MOST_VERTICES} strings"],
        )
    return list(itertools.product(range(len(graph.near)), repeat=length))


def is_independent(graph: Graph, chosen: Sequence[Vertex]) -> bool:
    """Tell whether no string of a set can be heard as another."""
    return not any(
        all(a == b or b in graph.near[a] for a, b in zip(one, other, strict=True))
        for one, other in itertools.combinations(chosen, 2)
    )


def zero_error(
    graph: Graph, length: int = 1, *, steps: int = 200_000, enough: int | None = None, seed: int = 1
) -> list[Vertex]:
    """Return a large set of strings that can't be heard as each other, sorted.

    ``steps`` bounds the work; the search ends early with ``enough`` strings. Raises CodeError for
    too many strings, and where numpy is missing.
    """
    vertices = strings(graph, length)
    place = {vertex: number for number, vertex in enumerate(vertices)}
    near = [
        frozenset(place[other] for other in _close(graph, vertex) if other != vertex)
        for vertex in vertices
    ]
    generator = random.Random(seed)  # noqa: S311 - a search that can be repeated, not a secret
    symmetries = Symmetries(graph, vertices, generator) if length > 1 else None
    best: list[int] = []
    left = steps if enough is None else max(min(steps, 50_000), steps // 40)
    share = max(2000, left // 60)
    for _ in range(0, left, share):
        if enough is not None and len(best) >= enough:
            break
        chosen = (
            orbits(symmetries.of_order(_ORDERS), near)
            if symmetries is not None
            else [(vertex,) for vertex in range(len(near))]
        )
        found = grown(
            joined(chosen, near), [len(orbit) for orbit in chosen], generator, share, enough
        )
        best = max(best, [vertex for number in found for vertex in chosen[number]], key=len)
    while best and (enough is None or len(best) < enough <= len(vertices)):
        larger = of_size(
            near, enough or len(best) + 1, steps=steps // _WORTH, seed=seed, symmetries=symmetries
        )
        if larger is None:
            break
        best = larger
    return sorted(vertices[vertex] for vertex in best)


def _close(graph: Graph, vertex: Vertex) -> Iterator[Vertex]:
    return itertools.product(*([symbol, *graph.near[symbol]] for symbol in vertex))
