"""Independent sets of a given size as unions of orbits: symmetries compete, the one under which
fewest pairs stay joined goes on.

Which symmetry the largest sets have is not known beforehand, or whether they have any. So each kind
of symmetry met, and none, gets a few steps of ``sized``; the better half gets twice as many, and so
on until one is left, which gets the rest, beginning anew now and then.
"""

from __future__ import annotations

import random
from collections.abc import Sequence

from grammar.design.sized import Walkers, roomy
from grammar.design.symmetry import Orbit, Symmetries, joined, orbits

MOST_VERTICES = 6000  # walkers hold every pair of vertices
_FIRST = 1000  # steps of the first round
_LIFE = 100_000  # steps after which walkers have grown alike and begin anew
_TRIES = 60  # symmetries drawn to meet all kinds


class _Kind:
    """Walkers under one kind of symmetry; ``fixed`` are strings it keeps in place that belong to
    every set.
    """

    def __init__(
        self,
        near: Sequence[frozenset[int]],
        size: int,
        order: int,
        fixed: list[int],
        chosen: list[Orbit],
    ) -> None:
        self.order, self.fixed, self.orbits = order, fixed, chosen
        self._joined, self._size = joined(chosen, near), size // order

    def begin(self, generator: random.Random) -> None:
        """Draw new walkers."""
        self.walkers = Walkers(self._joined, self._size, generator.getrandbits(32))

    def run(self, steps: int) -> list[int] | None:
        """Return the strings of a set found in so many steps, None for none."""
        found = self.walkers.run(steps)
        return (
            None
            if found is None
            else sorted(
                [*self.fixed, *(vertex for number in found for vertex in self.orbits[number])]
            )
        )

    @property
    def joined(self) -> float:
        """The mean number of strings in joined pairs."""
        return float(self.walkers.pairs.mean()) * self.order


def of_size(
    near: Sequence[frozenset[int]],
    size: int,
    *,
    steps: int,
    seed: int,
    symmetries: Symmetries | None = None,
) -> list[int] | None:
    """Return ``size`` vertices no two of which are joined, sorted, None if none are found in so
    many steps of all walkers.

    ``symmetries`` are those of the graph, None for none. Raises CodeError where numpy is missing.
    """
    generator = random.Random(seed)  # noqa: S311 - a search that can be repeated, not a secret
    alive = _kinds(near, size, generator, symmetries)
    for kind in alive:
        kind.begin(generator)
    share = _FIRST
    while len(alive) > 1:
        for kind in alive:
            found = kind.run(min(steps, share))
            if found is not None:
                return found
            steps -= min(steps, share)
        alive = sorted(alive, key=lambda kind: kind.joined)[: (len(alive) + 1) // 2]
        share *= 2
    while alive and steps > 0:
        found = alive[0].run(min(steps, _LIFE))
        if found is not None:
            return found
        steps -= _LIFE
        alive[0].begin(generator)
    return None


def _kinds(
    near: Sequence[frozenset[int]],
    size: int,
    generator: random.Random,
    symmetries: Symmetries | None,
) -> list[_Kind]:
    """Return each kind of symmetry met under which a set of this size may be searched.

    Kinds are told apart by their order, the strings they keep in place, the orbits that may be
    chosen, and how close these strings are.
    """
    if len(near) > MOST_VERTICES or not roomy(len(near), size):
        return []
    found = [_Kind(near, size, 1, [], [(vertex,) for vertex in range(len(near))])]
    seen: set[tuple[int, int, int, int]] = set()
    for order, symmetry in symmetries.of_prime_order(_TRIES) if symmetries is not None else ():
        whole = orbits(symmetry, near)
        kept, moved = (
            [orbit[0] for orbit in whole if len(orbit) == 1],
            [orbit for orbit in whole if len(orbit) > 1],
        )
        kind = (
            order,
            len(kept),
            len(moved),
            sum(len(near[orbit[0]] & near[orbit[1]]) for orbit in moved),
        )
        if kind in seen:
            continue
        seen.add(kind)
        fixed = _fixed(near, kept, size % order, generator)
        barred = {other for vertex in fixed for other in near[vertex]}
        free = [orbit for orbit in moved if barred.isdisjoint(orbit)]
        if len(fixed) == size % order and roomy(len(free), size // order):
            found.append(_Kind(near, size, order, fixed, free))
    return found


def _fixed(
    near: Sequence[frozenset[int]], kept: list[int], count: int, generator: random.Random
) -> list[int]:
    """Return so many vertices that are kept in place, no two joined; fewer where no more are
    met.
    """
    chosen: list[int] = []
    for vertex in generator.sample(kept, len(kept)):
        if len(chosen) < count and near[vertex].isdisjoint(chosen):
            chosen.append(vertex)
    return chosen
