"""Independent sets that grow: a local search with swaps.

Free vertices are taken; where there are none, a vertex with one neighbour in the set takes its
place (the one that left may not come back for some steps); where nothing moves, a vertex is forced
in.
"""

from __future__ import annotations

import random
from collections.abc import Sequence

_PATIENCE = 60  # swaps without gain for each vertex of the graph, before a new start


def grown(
    near: Sequence[Sequence[int]],
    sizes: Sequence[int],
    generator: random.Random,
    steps: int,
    enough: int | None,
) -> list[int]:
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
        for other in (
            [other for other in near[vertex] if state.inside[other]] if state.tight[vertex] else ()
        ):
            state.drop(other)
            barred[other] = step + 5 + generator.randrange(10)
            weight -= sizes[other]
        state.take(vertex)
        weight += sizes[vertex]
        if weight > best:
            best, since, kept = (
                weight,
                0,
                [number for number in range(count) if state.inside[number]],
            )
            if enough is not None and best >= enough:
                break
    return kept


class _State:
    """A growing and shrinking independent set, with the vertices outside that have no neighbour in
    it, and those that have one, at hand.
    """

    def __init__(self, near: Sequence[Sequence[int]]) -> None:
        self.near = near
        self.inside, self.tight = [False] * len(near), [0] * len(near)
        self.pools: tuple[list[int], list[int]] = (list(range(len(near))), [])
        self.slot = list(range(len(near)))

    def pick(self, generator: random.Random, barred: Sequence[int], step: int) -> int:
        """Return a vertex that may be taken for nothing or for one other, -1 where none is found at
        once.
        """
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
