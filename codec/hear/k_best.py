"""The strings with the most weight, best first, each with its exact sum over all alignments.

A search over beginnings of strings: the weight of all strings that go on from a beginning is known
from the backward sum, and no single one can have more. So the beginning with the most is taken
first, and a string that is complete when its turn comes is the best of all that are left. Where the
weight is spread so thinly that this would look at too much, a second bound is made: the most that
one way on can have.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from codec.hear.alignment import Alignments
from codec.hear.forward_backward import Sums, WeightedLattice, carried_back
from codec.hear.lattice import Join, MessageLattice, Mix, Say

if TYPE_CHECKING:
    import numpy as np

PATIENCE = 400  # beginnings looked at before the second bound is made
NOTHING_YET = 100  # the same, where no string was found among them: the weight is spread thinly
MOST_LOOKS = 20_000


class BestString(NamedTuple):
    """A complete string of a message with its weight."""

    lattice: MessageLattice
    string: str
    weight: float


class _Way(NamedTuple):
    """How a beginning goes on from another: ``symbol`` -1 says nothing."""

    before: _Way | None
    symbol: int


class _Beginning(NamedTuple):
    """A beginning of strings: its node (-1: it is complete), and its weights by state of the
    alignments.
    """

    number: int
    node: int
    weights: np.ndarray
    way: _Way | None


@dataclass(slots=True)
class _Family:
    """Beginnings that go on from the same one; ``order`` puts them by falling bound, ``weights``
    are by (state, beginning).
    """

    number: int
    order: list[int]
    bounds: np.ndarray
    nodes: np.ndarray
    symbols: np.ndarray | None
    weights: np.ndarray
    before: _Way | None

    def member(self, place: int) -> _Beginning:
        """Return one of them, by its place in the order."""
        one = self.order[place]
        way = self.before if self.symbols is None else _Way(self.before, int(self.symbols[one]))
        return _Beginning(self.number, int(self.nodes[one]), self.weights[:, one], way)


class BestFirstSearch:
    """Finds the best strings of several lattices, for what was heard, in order of their weight."""

    def __init__(
        self,
        models: list[WeightedLattice],
        found: list[Sums],
        scale: list[float],
        alignments: Alignments,
    ) -> None:
        """Take the models with their sums; ``scale`` is what each model's weights count."""
        self.models, self.alignments, self.scale = models, alignments, scale
        self.ends = [frozenset(model.lattice.end) for model in models]
        self.bounds = [one.after for one in found]
        self.looks = 0
        self.counter = itertools.count(
            0, -1
        )  # of equals the last is taken first: that gets to the end soonest
        self.heap: list[tuple[float, int, _Beginning | _Family, int]] = []
        self._second, self._patience = False, NOTHING_YET
        for number, model in enumerate(models):
            for node in model.lattice.start:
                self._push(_Beginning(number, node, alignments.start * scale[number], None))

    def __iter__(self) -> Iterator[BestString]:
        """Yield the best strings, until there are no more or too much has been looked at."""
        while self.heap:
            bound, _, found, place = heapq.heappop(self.heap)
            if isinstance(found, _Family):
                self._push_member(found, place + 1)
                found = found.member(place)
            if found.node < 0:
                self._patience = PATIENCE
                yield BestString(self.models[found.number].lattice, self._string(found), -bound)
                continue
            self.looks += 1
            if self.looks > MOST_LOOKS:
                return
            if self.looks > self._patience and not self._second:
                self._tighten()
            if found.node in self.ends[found.number]:
                exact = float(found.weights @ self.alignments.last)
                complete = _Beginning(found.number, -1, found.weights, found.way)
                heapq.heappush(self.heap, (-exact, next(self.counter), complete, 0))
            self._expand(found)

    def _push(self, one: _Beginning) -> None:
        bound = float(one.weights @ self.bounds[one.number][:, one.node])
        if bound > 0:
            heapq.heappush(self.heap, (-bound, next(self.counter), one, 0))

    def _push_member(self, family: _Family, place: int) -> None:
        """Push one of a family: the next waits until this one's turn has come."""
        if place < len(family.order):
            bound = float(family.bounds[family.order[place]])
            if bound > 0:
                heapq.heappush(self.heap, (-bound, next(self.counter), family, place))

    def _string(self, one: _Beginning) -> str:
        symbols, way, said = self.models[one.number].lattice.message.alphabet.symbols, one.way, []
        while way is not None:
            if way.symbol >= 0:
                said.append(symbols[way.symbol])
            way = way.before
        return "".join(reversed(said))

    def _expand(self, one: _Beginning) -> None:
        model = self.models[one.number]
        for place in model.lattice.leaving(one.node):
            operation, weight = model.lattice.operations[place], model.weights[place]
            if isinstance(operation, Join):
                for at in (operation.source == one.node).nonzero()[0].tolist():
                    self._push(
                        _Beginning(
                            one.number, int(operation.target[at]), one.weights * weight, one.way
                        )
                    )
            elif isinstance(operation, Mix):
                after = one.weights[:, None] * _row(operation, weight, one.node)
                self._push_all(one, after, _slots(operation, one.node), None)
            else:
                self._say(one, operation, weight)

    def _say(self, one: _Beginning, operation: Say, weight: np.ndarray | float | None) -> None:
        import numpy as np

        runs = operation.runs(one.node)
        if not runs:
            return
        edges = slice(int(operation.starts[runs.start]), int(operation.starts[runs.stop]))
        symbol = operation.symbol[edges]
        after = self.alignments.went_on(one.weights, symbol)
        if weight is not None:
            after *= np.asarray(weight).take(operation.run[edges])
        self._push_all(one, after, operation.target[edges], symbol)

    def _push_all(
        self, before: _Beginning, after: np.ndarray, target: np.ndarray, symbol: np.ndarray | None
    ) -> None:
        import numpy as np

        bounds = np.einsum("se,se->e", after, self.bounds[before.number].take(target, axis=1))
        order = bounds.argsort()[::-1].tolist()
        family = _Family(before.number, order, bounds, target, symbol, after, before.way)
        self._push_member(family, 0)

    def _tighten(self) -> None:
        """Bound what is waiting by the most that one string can have, where that is less than the
        sum of all.
        """
        import numpy as np

        self._second = True
        self.bounds = [
            np.minimum(sums, _most(model, self.alignments))
            for model, sums in zip(self.models, self.bounds, strict=True)
        ]
        waiting, self.heap = self.heap, []
        for bound, count, found, place in waiting:
            if isinstance(found, _Family):
                waits = np.array(found.order[place:])
                bounds = self.bounds[found.number].take(found.nodes[waits], axis=1)
                found.bounds = np.zeros(len(found.nodes))
                found.bounds[waits] = np.einsum("se,se->e", found.weights[:, waits], bounds)
                found.order = waits[found.bounds[waits].argsort()[::-1]].tolist()
                self._push_member(found, 0)
            elif found.node < 0:
                self.heap.append((bound, count, found, place))
            else:
                self._push(found)
        heapq.heapify(self.heap)


def _row(operation: Mix, weight: np.ndarray | float | None, node: int) -> np.ndarray:
    import numpy as np

    row: np.ndarray = np.asarray(weight)[(node - operation.low) // operation.keys]
    return row


def _slots(operation: Mix, node: int) -> np.ndarray:
    import numpy as np

    key = (node - operation.low) % operation.keys
    return operation.slot + key + np.arange(operation.figures) * operation.keys


def _most(model: WeightedLattice, alignments: Alignments) -> np.ndarray:
    """Return for each node and state the most that any one string from there on can have."""
    import numpy as np

    lattice = model.lattice
    most = np.zeros((alignments.size, lattice.nodes))
    most[:, lattice.end] = alignments.last[:, None]
    for operation, weight in zip(
        reversed(lattice.operations), reversed(model.weights), strict=True
    ):
        carried_back(operation, weight, most, alignments, np.maximum)
    return most


def likelihoods(alignments: Alignments, strings: list[list[int]]) -> list[float]:
    """Return for each string (symbols by number) the probability of what was heard if it was said,
    summed over alignments.
    """
    import numpy as np

    longest = max(map(len, strings))
    rows = np.array([said + [0] * (longest - len(said)) for said in strings])
    lengths = np.array([len(said) for said in strings])
    weights = np.repeat(alignments.start[:, None], len(strings), axis=1)
    for place in range(longest):
        after = alignments.said(alignments.closed(weights), rows[:, place])
        weights = np.where(place < lengths, after, weights)
    found: list[float] = (alignments.last @ weights).tolist()
    return found
