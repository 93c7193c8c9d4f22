"""Independent sets of a given size: so many vertices are always chosen, and pairs of them that are
joined are made fewer until none is left.

Each step the chosen vertex with most joined neighbours among the chosen leaves, and the vertex with
fewest comes in; who left may not come back, and who came may not leave, for some steps (tabu
search, F. Glover 1986; in the fixed-size form of C. Friden, A. Hertz and D. de Werra, "STABULUS",
1989). Many such walkers move at once, a row each, which costs little more than one; now and then
the worst quarter of them go on where the best quarter are.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from grammar.libraries import needed

if TYPE_CHECKING:
    import numpy

    Array = numpy.ndarray

WALKERS = 128
_MEETING = 20_000  # steps after which the worst walkers go where the best are
_BARRED = (2, 4)  # steps for which a vertex that left may not come back: from … up to, exclusive
_STAYS = 2  # steps for which one that came may not leave, at least
_ROOM = 8  # vertices that are never chosen: as many may be barred at a time, and one must be free


class Walkers:
    """Sets of one size that are made independent, all at once.

    The same seed gives the same sets.
    """

    def __init__(self, near: Sequence[Sequence[int]], size: int, seed: int) -> None:
        """Take the joined vertices of each vertex, and choose ``size`` for each walker, one by one
        those with fewest joined neighbours.

        Raises CodeError where numpy is missing.
        """
        self._numpy = numpy = needed("numpy")
        self._generator = numpy.random.default_rng(seed)
        count, small = len(near), size < 128
        kind = (
            numpy.uint8 if small else numpy.uint16
        )  # joined neighbours in the set, and _outside on top where a vertex may not come in
        self._outside = kind(128 if small else 1 << 15)
        self._order = self._generator.permutation(
            count
        )  # ties fall to whoever stands next: in an order that means nothing
        renamed = numpy.empty(count, dtype=numpy.int64)
        renamed[self._order] = numpy.arange(count)
        self._joined = numpy.zeros((count, count), dtype=kind)
        for vertex, others in enumerate(near):
            self._joined[renamed[vertex], renamed[others]] = 1
        self._keys = numpy.zeros((WALKERS, count), dtype=kind)
        self._flat = self._keys.reshape(-1)
        self._taken, self._least = (
            numpy.empty_like(self._keys),
            numpy.empty(self._keys.shape, dtype=bool),
        )
        self._rows = numpy.arange(WALKERS)
        self._base = self._rows * count  # where a walker's row begins in the flat array
        self._cells = numpy.empty(
            (WALKERS, size), dtype=numpy.int64
        )  # the chosen vertices, as places in the flat array
        self._stays = numpy.zeros((WALKERS, size), dtype=numpy.int64)
        self._noise = self._generator.integers(
            0, 256, (1 << 16) + self._cells.size, dtype=numpy.uint32
        )
        self._score = numpy.empty(self._cells.shape, dtype=numpy.uint32)
        self.pairs = numpy.zeros(WALKERS, dtype=numpy.int64)  # joined pairs among the chosen
        self._sum = numpy.zeros(WALKERS, dtype=numpy.int64)
        self._free: dict[int, list[Array]] = {}  # by step, the cells that may come in again
        self._step = 0
        for place in range(size):
            self._enter(place)

    def run(self, steps: int) -> list[int] | None:
        """Move all walkers so many steps; return the first independent set, sorted, None for
        none.
        """
        numpy = self._numpy
        for _ in range(steps):
            if not self.pairs.all():
                walker = int(numpy.flatnonzero(self.pairs == 0)[0])
                return sorted(self._order[self._cells[walker] - self._base[walker]].tolist())
            self._step += 1
            if self._step % _MEETING == 0:
                self._meet()
            self._sum += self.pairs
            self._enter(self._leave())
        return None

    def _leave(self) -> Array:
        """Let a vertex leave each set; return the places that are empty now."""
        numpy, step = self._numpy, self._step
        for cells in self._free.pop(step, ()):
            self._flat[cells] -= self._outside
        worth = self._flat.take(self._cells) - self._outside
        worth[self._stays > step] = 0
        luck = int(self._generator.integers(1 << 16))
        numpy.left_shift(worth, 8, out=self._score, dtype=numpy.uint32)
        self._score |= self._noise[luck : luck + worth.size].reshape(worth.shape)
        places: Array = self._score.argmax(axis=1)
        cells = self._cells[self._rows, places]
        self.pairs -= self._flat[cells] - self._outside
        self._joined.take(cells - self._base, axis=0, out=self._taken, mode="clip")
        numpy.subtract(self._keys, self._taken, out=self._keys)
        self._free.setdefault(step + int(self._generator.integers(*_BARRED)), []).append(cells)
        return places

    def _enter(self, places: Array | int) -> None:
        """Let a vertex with fewest joined neighbours come into each set at a place."""
        numpy = self._numpy
        fewest = self._keys.min(axis=1)
        numpy.equal(self._keys, fewest[:, None], out=self._least)
        start = int(self._generator.integers(self._keys.shape[1]))
        vertices = self._least[:, start:].argmax(axis=1) + start
        behind = ~self._least[self._rows, vertices]
        if behind.any():
            vertices[behind] = self._least[behind].argmax(axis=1)
        self.pairs += fewest
        self._joined.take(vertices, axis=0, out=self._taken, mode="clip")
        numpy.add(self._keys, self._taken, out=self._keys)
        self._cells[self._rows, places] = self._base + vertices
        self._flat[self._base + vertices] += self._outside
        longer = (self._generator.random() / 2 * (self.pairs + 3)).astype(numpy.int64)
        self._stays[self._rows, places] = self._step + _STAYS + longer

    def _meet(self) -> None:
        """Let the worst quarter go on where the best quarter are, by the pairs since the last
        time.
        """
        for several in self._free.values():
            for cells in several:
                self._flat[cells] -= self._outside
        self._free.clear()
        ranked = self._sum.argsort(kind="stable")
        best, worst = ranked[: WALKERS // 4], ranked[-(WALKERS // 4) :]
        self._keys[worst], self._stays[worst], self.pairs[worst] = (
            self._keys[best],
            self._stays[best],
            self.pairs[best],
        )
        self._cells[worst] = self._cells[best] + (self._base[worst] - self._base[best])[:, None]
        self._sum[:] = 0


def roomy(count: int, size: int) -> bool:
    """Tell whether so many vertices leave the walkers room to move."""
    return 0 < size <= count - _ROOM
