"""Symmetries of the strings over a confusion graph: places change places, each through an
automorphism of the graph.

Good sets of strings are often symmetric. A set searched as a union of orbits of a symmetry (strings
that it turns into each other) is found in a space smaller by the symmetry's order.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from grammar.libraries import needed

if TYPE_CHECKING:
    import numpy

    from grammar.design.independent import Graph, Vertex

    Symmetry = numpy.ndarray  # the number of the string that each string is turned into

Orbit = tuple[int, ...]
_MOST_AUTOMORPHISMS = 200
_MOST_ORDER = 24


def automorphisms(graph: Graph, most: int = _MOST_AUTOMORPHISMS) -> list[tuple[int, ...]]:
    """Return automorphisms of a graph, the identity first, at most ``most``."""
    size = len(graph.near)
    found: list[tuple[int, ...]] = []

    def extend(image: list[int]) -> None:
        if len(found) >= most:
            return
        here = len(image)
        if here == size:
            found.append(tuple(image))
            return
        for target in range(size):
            if target in image or len(graph.near[target]) != len(graph.near[here]):
                continue
            if all(
                (v in graph.near[here]) == (image[v] in graph.near[target]) for v in range(here)
            ):
                extend([*image, target])

    extend([])
    return found


class Symmetries:
    """Symmetries of the strings of one length over a graph, drawn at random."""

    def __init__(self, graph: Graph, vertices: Sequence[Vertex], generator: random.Random) -> None:
        """Take the graph and its strings in order; raises CodeError where numpy is missing."""
        self._numpy = needed("numpy")
        self._strings = self._numpy.asarray(vertices)
        self._worth = len(graph.near) ** self._numpy.arange(self._strings.shape[1])[::-1]
        self._turns = [self._numpy.asarray(turn) for turn in automorphisms(graph)]
        self._generator = generator
        self.identity: Symmetry = self._numpy.arange(len(vertices))

    def drawn(self) -> Symmetry:
        """Return any symmetry."""
        places = self._generator.sample(range(len(self._worth)), len(self._worth))
        moved = [self._generator.choice(self._turns)[self._strings[:, place]] for place in places]
        symmetry: Symmetry = self._numpy.stack(moved, axis=1) @ self._worth
        return symmetry

    def order(self, symmetry: Symmetry) -> int:
        """Return how often a symmetry must be done until every string is where it was, 0 for more
        than 24 times.
        """
        here = symmetry
        for order in range(1, _MOST_ORDER + 1):
            if (here == self.identity).all():
                return order
            here = symmetry[here]
        return 0

    def of_order(self, orders: Sequence[int], tries: int = 50) -> Symmetry:
        """Return a symmetry of one of these orders, the identity where none is met."""
        for _ in range(tries if len(self._turns) > 1 or len(self._worth) > 1 else 0):
            symmetry = self.drawn()
            if self.order(symmetry) in orders:
                return symmetry
        return self.identity

    def of_prime_order(self, tries: int) -> Iterator[tuple[int, Symmetry]]:
        """Yield (order, symmetry) of powers of drawn symmetries; powers, as these meet the rare
        ones that many others lead to.
        """
        for _ in range(tries):
            symmetry = self.drawn()
            order = self.order(symmetry)
            for prime in range(2, order + 1):
                if order % prime == 0 and all(prime % low for low in range(2, prime)):
                    power = self.identity
                    for _ in range(order // prime):
                        power = symmetry[power]
                    yield prime, power


def orbits(symmetry: Symmetry, near: Sequence[frozenset[int]]) -> list[Orbit]:
    """Return the orbits of a symmetry that are independent in themselves."""
    moved = symmetry.tolist()
    seen = [False] * len(moved)
    found: list[Orbit] = []
    for first in range(len(moved)):
        if seen[first]:
            continue
        orbit, here = [first], moved[first]
        while here != first:
            orbit.append(here)
            seen[here] = True
            here = moved[here]
        if not any(other in near[one] for one, other in itertools.combinations(orbit, 2)):
            found.append(tuple(orbit))
    return found


def joined(chosen: Sequence[Orbit], near: Sequence[frozenset[int]]) -> list[list[int]]:
    """Return for each orbit the numbers of those it is joined to."""
    owner = {vertex: number for number, orbit in enumerate(chosen) for vertex in orbit}
    return [
        sorted(
            {owner[other] for vertex in orbit for other in near[vertex] if other in owner}
            - {number}
        )
        for number, orbit in enumerate(chosen)
    ]
