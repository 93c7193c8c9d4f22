"""Independent sets of a given size as unions of orbits: symmetries compete, the one under which fewest pairs stay joined goes on.

Which symmetry the largest sets have is not known beforehand, or whether they have any. So each kind of symmetry met, and none, gets a few
steps of ``sized``; the better half gets twice as many, and so on until one is left, which gets the rest.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass

from grammar.design.sized import Walkers, roomy
from grammar.design.symmetry import Orbit, Symmetries, joined, orbits

MOST_ORBITS = 6000  # walkers hold every pair of vertices
_FIRST = 1000  # steps of the first round
_TRIES = 60  # symmetries drawn to meet all kinds


@dataclass(slots=True)
class _Kind:
    """Walkers under one kind of symmetry; ``fixed`` are strings it keeps in place that belong to every set."""

    order: int
    fixed: list[int]
    orbits: list[Orbit]
    walkers: Walkers

    @property
    def joined(self) -> float:
        """The mean number of strings in joined pairs."""
        return float(self.walkers.pairs.mean()) * self.order


def of_size(near: Sequence[frozenset[int]], size: int, *, steps: int, seed: int, symmetries: Symmetries | None = None) -> list[int] | None:
    """Return ``size`` vertices no two of which are joined, sorted, None if none are found in so many steps of all walkers.

    ``symmetries`` are those of the graph, None for none. Raises CodeError where numpy is missing.
    """
    generator = random.Random(seed)  # noqa: S311 - a search that can be repeated, not a secret
    alive = _kinds(near, size, generator, symmetries)
    round_steps = _FIRST
    while alive and steps > 0:
        for kind in alive:
            share = min(steps, round_steps if len(alive) > 1 else steps)
            steps -= share
            found = kind.walkers.run(share) if share else None
            if found is not None:
                return sorted([*kind.fixed, *(vertex for number in found for vertex in kind.orbits[number])])
        alive = sorted(alive, key=lambda kind: kind.joined)[: (len(alive) + 1) // 2]
        round_steps *= 2
    return None


def _kinds(near: Sequence[frozenset[int]], size: int, generator: random.Random, symmetries: Symmetries | None) -> list[_Kind]:
    """Return walkers for each kind of symmetry met: told apart by order, strings kept in place, and orbits that may be chosen."""
    found: dict[tuple[int, int, int], _Kind] = {}
    single: list[Orbit] = [(vertex,) for vertex in range(len(near))]
    if roomy(len(single), size) and len(single) <= MOST_ORBITS:
        found[1, 0, 0] = _Kind(1, [], single, Walkers([sorted(row) for row in near], size, generator.getrandbits(32)))
    for order, symmetry in symmetries.of_prime_order(_TRIES) if symmetries is not None else ():
        whole = orbits(symmetry, near)
        kept, moved = [orbit[0] for orbit in whole if len(orbit) == 1], [orbit for orbit in whole if len(orbit) > 1]
        key = (order, len(kept), len(moved))
        if key in found:
            continue
        fixed = _fixed(near, kept, size % order, generator)
        barred = {other for vertex in fixed for other in near[vertex]}
        free = [orbit for orbit in moved if barred.isdisjoint(orbit)]
        if len(fixed) == size % order and roomy(len(free), size // order) and len(free) <= MOST_ORBITS:
            found[key] = _Kind(order, fixed, free, Walkers(joined(free, near), size // order, generator.getrandbits(32)))
    return list(found.values())


def _fixed(near: Sequence[frozenset[int]], kept: list[int], count: int, generator: random.Random) -> list[int]:
    """Return so many vertices that are kept in place, no two joined; fewer where no more are met."""
    chosen: list[int] = []
    for vertex in generator.sample(kept, len(kept)):
        if len(chosen) < count and near[vertex].isdisjoint(chosen):
            chosen.append(vertex)
    return chosen
