"""Sets of codewords that noise can't turn into each other: independent sets of a confusion graph and of its strong powers.

Two words are joined where one may be heard as the other; two strings of one length are joined where every place holds equal or joined words
(the strong product). A set without joined pairs is a code without error (C. E. Shannon, "The zero error capacity of a noisy channel",
1956).

The largest such set is hard to find, so it is searched: free vertices are taken; a vertex with one neighbour in the set takes its place
(the one that left may not come back for some steps); where nothing moves, a vertex is forced in. In powers of a graph the search runs
over orbits of a symmetry drawn at random (places permuted, each through an automorphism of the graph), which makes the space smaller by
the symmetry's order: good sets are often symmetric. Same seed, same set.
"""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from grammar.errors import CodeError

MOST_VERTICES = 50_000
_PATIENCE = 60  # swaps without gain for each vertex of the graph, before a new start
_ORDERS = (1, 2, 3, 4)

Adjacent = Sequence[frozenset[int]]
Vertex = tuple[int, ...]
Symmetry = tuple[tuple[int, ...], tuple[tuple[int, ...], ...]]  # (places permuted, an automorphism for each place)


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
    """Return the strings of a length, the vertices of the strong power, in order; raises CodeError where they are too many."""
    if length < 1 or len(graph.near) ** length > MOST_VERTICES:
        raise CodeError(f"{len(graph.near)} words in {length} places", kind="too-large", expected=[f"at most {MOST_VERTICES} strings"])
    return list(itertools.product(range(len(graph.near)), repeat=length))


def is_independent(graph: Graph, chosen: Sequence[Vertex]) -> bool:
    """Tell whether no string of a set can be heard as another."""
    return not any(
        all(a == b or b in graph.near[a] for a, b in zip(one, other, strict=True)) for one, other in itertools.combinations(chosen, 2)
    )


def zero_error(graph: Graph, length: int = 1, *, steps: int = 200_000, enough: int | None = None, seed: int = 1) -> list[Vertex]:
    """Return a large set of strings that can't be heard as each other, sorted.

    ``steps`` bounds the work; the search ends early with ``enough`` strings. Where growing does not reach so many, as many steps again
    are spent on sets of just that size (``sized``, needs numpy).
    """
    vertices = strings(graph, length)
    place = {vertex: number for number, vertex in enumerate(vertices)}
    near = [frozenset(place[other] for other in _close(graph, vertex) if other != vertex) for vertex in vertices]
    generator = random.Random(seed)  # noqa: S311 - a search that can be repeated, not a secret
    turns = _automorphisms(graph) if length > 1 else []
    best: list[int] = []
    left = steps if enough is None else max(min(steps, 100_000), steps // 20)  # of growing; the rest is for sets of just that size
    share = max(2000, left // 60)
    while left > 0 and (enough is None or len(best) < enough):
        orbits = _orbits(vertices, place, near, _symmetry(generator, length, turns))
        joined = _joined(orbits, near, len(vertices))
        found = _search(joined, [len(orbit) for orbit in orbits], generator, min(share, left), enough)
        left -= share
        whole = [vertex for number in found for vertex in orbits[number]]
        if len(whole) > len(best):
            best = whole
    if enough is not None and len(best) < enough <= len(vertices):
        from grammar.design.sized import of_size

        best = of_size([sorted(row) for row in near], enough, steps=steps, seed=seed) or best
    return sorted(vertices[vertex] for vertex in best)


def _close(graph: Graph, vertex: Vertex) -> Iterator[Vertex]:
    return itertools.product(*([symbol, *graph.near[symbol]] for symbol in vertex))


def _automorphisms(graph: Graph, most: int = 200) -> list[tuple[int, ...]]:
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
            if all((v in graph.near[here]) == (image[v] in graph.near[target]) for v in range(here)):
                extend([*image, target])

    extend([])
    return found


def _symmetry(generator: random.Random, length: int, turns: Sequence[tuple[int, ...]]) -> Symmetry | None:
    """Return a random symmetry of the power of small order, None for none."""
    for _ in range(50 if turns else 0):
        places = tuple(generator.sample(range(length), length))
        symmetry = (places, tuple(generator.choice(turns) for _ in range(length)))
        order = _order(symmetry, len(turns[0]))
        if order in _ORDERS:
            return symmetry if order > 1 else None
    return None


def _moved(symmetry: Symmetry, vertex: Vertex) -> Vertex:
    places, turns = symmetry
    return tuple(turn[vertex[place]] for place, turn in zip(places, turns, strict=True))


def _order(symmetry: Symmetry, size: int) -> int:
    length = len(symmetry[0])
    probes = [tuple((shift + place * step) % size for place in range(length)) for shift in range(size) for step in range(1, 3)]
    order = 1
    for probe in probes:
        here, steps = _moved(symmetry, probe), 1
        while here != probe and steps <= max(_ORDERS):
            here, steps = _moved(symmetry, here), steps + 1
        order = math.lcm(order, steps)
    return order


def _orbits(vertices: Sequence[Vertex], place: dict[Vertex, int], near: Adjacent, symmetry: Symmetry | None) -> list[tuple[int, ...]]:
    """Return the orbits that are independent in themselves."""
    if symmetry is None:
        return [(number,) for number in range(len(vertices))]
    seen: set[int] = set()
    orbits: list[tuple[int, ...]] = []
    for number, vertex in enumerate(vertices):
        if number in seen:
            continue
        orbit, here = [number], _moved(symmetry, vertex)
        while here != vertex:
            orbit.append(place[here])
            here = _moved(symmetry, here)
        seen.update(orbit)
        if not any(other in near[one] for one, other in itertools.combinations(orbit, 2)):
            orbits.append(tuple(orbit))
    return orbits


def _joined(orbits: Sequence[tuple[int, ...]], near: Adjacent, size: int) -> list[list[int]]:
    owner = [-1] * size
    for number, orbit in enumerate(orbits):
        for vertex in orbit:
            owner[vertex] = number
    return [sorted({owner[other] for vertex in orbit for other in near[vertex]} - {-1, number}) for number, orbit in enumerate(orbits)]


def _search(near: Sequence[Sequence[int]], sizes: Sequence[int], generator: random.Random, steps: int, enough: int | None) -> list[int]:
    """Return the heaviest independent set a local search finds in so many steps."""
    count = len(near)
    state = _State(near)
    barred = [0] * count
    weight, best, since = 0, 0, 0
    kept: list[int] = []
    for step in range(steps):
        since += 1
        vertex = state.pick(generator, barred, step)
        if vertex < 0 or since > _PATIENCE * count // 10:
            since, vertex = 0, generator.randrange(count)
            if state.inside[vertex]:
                continue
        for other in [other for other in near[vertex] if state.inside[other]] if state.tight[vertex] else ():
            state.drop(other)
            barred[other] = step + 5 + generator.randrange(10)
            weight -= sizes[other]
        state.take(vertex)
        weight += sizes[vertex]
        if weight > best:
            best, since, kept = weight, 0, [number for number in range(count) if state.inside[number]]
            if enough is not None and best >= enough:
                break
    return kept


class _State:
    """A growing and shrinking independent set, with the vertices outside that have no neighbour in it, and those that have one, at hand."""

    def __init__(self, near: Sequence[Sequence[int]]) -> None:
        self.near = near
        self.inside, self.tight = [False] * len(near), [0] * len(near)
        self.pools: tuple[list[int], list[int]] = (list(range(len(near))), [])
        self.slot = list(range(len(near)))

    def pick(self, generator: random.Random, barred: Sequence[int], step: int) -> int:
        """Return a vertex that may be taken for nothing or for one other, -1 where none is found at once."""
        free, swappable = self.pools
        if free:
            return free[generator.randrange(len(free))]
        for _ in range(4 if swappable else 0):
            vertex = swappable[generator.randrange(len(swappable))]
            if barred[vertex] <= step:
                return vertex
        return -1

    def _leave(self, vertex: int, pool: list[int]) -> None:
        last = pool.pop()
        if last != vertex:
            pool[self.slot[vertex]] = last
            self.slot[last] = self.slot[vertex]

    def _enter(self, vertex: int, pool: list[int]) -> None:
        self.slot[vertex] = len(pool)
        pool.append(vertex)

    def take(self, vertex: int) -> None:
        """Put a vertex with no neighbour in the set into it."""
        inside, tight = self.inside, self.tight
        self._leave(vertex, self.pools[0])
        inside[vertex] = True
        for other in self.near[vertex]:
            was = tight[other]
            tight[other] = was + 1
            if was < 2:
                self._leave(other, self.pools[was])
                if was == 0:
                    self._enter(other, self.pools[1])

    def drop(self, vertex: int) -> None:
        """Take a vertex out of the set."""
        inside, tight = self.inside, self.tight
        inside[vertex] = False
        self._enter(vertex, self.pools[0])
        for other in self.near[vertex]:
            now = tight[other] = tight[other] - 1
            if now < 2:
                if now == 0:
                    self._leave(other, self.pools[1])
                self._enter(other, self.pools[now])
