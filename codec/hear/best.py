"""The strings with the most weight, best first, each with its exact sum over all alignments.

A search over beginnings of strings: the weight of all strings that go on from a beginning is known from the backward sum, and no single
one can have more. So the beginning with the most is taken first, and a string that is complete when its turn comes is the best of all that
are left. Where the weight is spread so thinly that this would look at too much, a second bound is made: the most that one way on can have.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from codec.hear.evidence import Evidence
from codec.hear.operations import Graph, Join, Mix, Say
from codec.hear.sums import Sums, Weighted

if TYPE_CHECKING:
    import numpy as np

PATIENCE = 400  # beginnings looked at before the second bound is made
MOST_LOOKS = 20_000


@dataclass(frozen=True, slots=True)
class Best:
    """A complete string of a message with its weight."""

    graph: Graph
    string: str
    weight: float


@dataclass(slots=True)
class _Way:
    """How a beginning goes on from another: ``symbol`` -1 says nothing."""

    before: _Way | None
    symbol: int


class Search:
    """Finds the best strings of several graphs under one evidence, in order of their weight."""

    def __init__(self, models: list[Weighted], found: list[Sums], scale: list[float], evidence: Evidence) -> None:
        """Take the models with their sums; ``scale`` is what each model's weights count."""
        self.models, self.evidence, self.scale = models, evidence, scale
        self.ends = [frozenset(model.graph.end) for model in models]
        self.bounds = [one.after for one in found]
        self.looks, self.complete = 0, False
        self.counter = itertools.count()
        self.heap: list[tuple[float, int, int, int, np.ndarray, _Way | None]] = []
        self._second = False
        for number, model in enumerate(models):
            for node in model.graph.start:
                self._push(number, node, evidence.start * scale[number], None)

    def __iter__(self) -> Iterator[Best]:
        """Yield the best strings; ``complete`` tells whether the search ended because there are no more."""
        while self.heap:
            bound, _, number, node, weights, way = heapq.heappop(self.heap)
            if node < 0:
                yield Best(self.models[number].graph, self._string(number, way), -bound)
                continue
            self.looks += 1
            if self.looks > MOST_LOOKS:
                return
            if self.looks > PATIENCE and not self._second:
                self._tighten()
            if node in self.ends[number]:
                exact = float(weights @ self.evidence.last)
                heapq.heappush(self.heap, (-exact, next(self.counter), number, -1, weights, way))
            self._expand(number, node, weights, way)
        self.complete = True

    def _push(self, number: int, node: int, weights: np.ndarray, way: _Way | None) -> None:
        bound = float(weights @ self.bounds[number][:, node])
        if bound > 0:
            heapq.heappush(self.heap, (-bound, next(self.counter), number, node, weights, way))

    def _string(self, number: int, way: _Way | None) -> str:
        symbols = self.models[number].graph.message.alphabet.symbols
        said = []
        while way is not None:
            if way.symbol >= 0:
                said.append(symbols[way.symbol])
            way = way.before
        return "".join(reversed(said))

    def _expand(self, number: int, node: int, weights: np.ndarray, way: _Way | None) -> None:
        model = self.models[number]
        for place in model.graph.leaving(node):
            operation, weight = model.graph.operations[place], model.weights[place]
            if isinstance(operation, Join):
                for at in (operation.source == node).nonzero()[0].tolist():
                    self._push(number, int(operation.target[at]), weights * weight, way)
            elif isinstance(operation, Mix):
                self._push_all(number, weights[:, None] * _row(operation, weight, node), _slots(operation, node), None, way)
            else:
                self._say(number, operation, weight, node, weights, way)

    def _say(
        self, number: int, operation: Say, weight: np.ndarray | float | None, node: int, weights: np.ndarray, way: _Way | None
    ) -> None:
        runs = operation.runs(node)
        if not runs:
            return
        edges = slice(int(operation.starts[runs.start]), int(operation.starts[runs.stop]))
        symbol = operation.symbol[edges]
        gone = self.evidence.closure.T @ weights
        after = self.evidence.said(gone[:, None].repeat(len(symbol), axis=1), self.evidence.columns(symbol))
        if weight is not None:
            after *= _by_edge(operation, weight, runs)
        self._push_all(number, after, operation.target[edges], symbol, way)

    def _push_all(self, number: int, after: np.ndarray, target: np.ndarray, symbol: np.ndarray | None, way: _Way | None) -> None:
        bounds = (after * self.bounds[number][:, target]).sum(axis=0)
        for at in bounds.nonzero()[0].tolist():
            on = way if symbol is None else _Way(way, int(symbol[at]))
            item = (-float(bounds[at]), next(self.counter), number, int(target[at]), after[:, at], on)
            heapq.heappush(self.heap, item)

    def _tighten(self) -> None:
        """Bound what is waiting by the most that one string can have, where that is less than the sum of all."""
        import numpy as np

        self._second = True
        self.bounds = [np.minimum(sums, _most(model, self.evidence)) for model, sums in zip(self.models, self.bounds, strict=True)]
        waiting, self.heap = self.heap, []
        for bound, count, number, node, weights, way in waiting:
            tight = bound if node < 0 else -float(weights @ self.bounds[number][:, node])
            self.heap.append((tight, count, number, node, weights, way))
        heapq.heapify(self.heap)


def _by_edge(operation: Say, weight: np.ndarray | float, runs: range) -> np.ndarray:
    """Return the weight of each edge of some runs."""
    import numpy as np

    here = slice(runs.start, runs.stop)
    counts = operation.starts[runs.start + 1 : runs.stop + 1] - operation.starts[here]
    return np.repeat(np.asarray(weight)[here], counts)


def _row(operation: Mix, weight: np.ndarray | float | None, node: int) -> np.ndarray:
    import numpy as np

    row: np.ndarray = np.asarray(weight)[(node - operation.low) // operation.keys]
    return row


def _slots(operation: Mix, node: int) -> np.ndarray:
    import numpy as np

    key = (node - operation.low) % operation.keys
    return operation.slot + key + np.arange(operation.figures) * operation.keys


def _most(model: Weighted, evidence: Evidence) -> np.ndarray:
    """Return for each node and state the most that any one string from there on can have."""
    import numpy as np

    graph = model.graph
    most = np.zeros((evidence.size, graph.nodes))
    most[:, graph.end] = evidence.last[:, None]
    for operation, weight in zip(reversed(graph.operations), reversed(model.weights), strict=True):
        if isinstance(operation, Join):
            most[:, operation.source] = np.maximum(most[:, operation.source], most[:, operation.target] * weight)
        elif isinstance(operation, Mix):
            said = most[:, operation.slot : operation.slot + operation.figures * operation.keys]
            grid = said.reshape(evidence.size, 1, operation.figures, operation.keys)
            table = np.asarray(weight)[None, :, :, None]
            here = slice(operation.low, operation.low + operation.states * operation.keys)
            for state in range(evidence.size):  # one state at a time, to keep the array small
                best = (grid[state] * table[0]).max(axis=1)
                most[state, here] = np.maximum(most[state, here], best.reshape(-1))
        else:
            way = evidence.unsaid(
                most.take(operation.target, axis=1), evidence.columns(operation.symbol), operation.starts[:-1], np.maximum
            )
            if weight is not None:
                way *= weight
            here_nodes = operation.low + operation.sources
            best = evidence.closure @ np.maximum.reduceat(way, operation.source_starts, axis=1)
            most[:, here_nodes] = np.maximum(most[:, here_nodes], best)
    return most


def weight_of(model: Weighted, evidence: Evidence, string: str, scale: float) -> float:
    """Return the weight of one string, summed over all alignments and every way to say it."""
    index = model.graph.message.alphabet.index
    said = [index[symbol] for symbol in string]
    return scale * _prior_of(model, said) * _likelihood(evidence, said)


def _prior_of(model: Weighted, said: list[int]) -> float:
    """Return the weight of a string whatever was heard: the sum over its ways through the graph."""
    import numpy as np

    graph = model.graph
    ends, found = set(graph.end), 0.0
    waiting = [(0, node, 1.0) for node in graph.start]
    while waiting:
        place, node, worth = waiting.pop()
        if place == len(said) and node in ends:
            found += worth
        for number in graph.leaving(node):
            operation, weight = graph.operations[number], model.weights[number]
            if isinstance(operation, Join):
                waiting += [
                    (place, int(operation.target[at]), worth * float(weight or 0.0)) for at in (operation.source == node).nonzero()[0]
                ]
            elif isinstance(operation, Mix):
                row, slots = _row(operation, weight, node), _slots(operation, node)
                waiting += [(place, int(slots[at]), worth * float(row[at])) for at in row.nonzero()[0]]
            elif place < len(said) and (runs := operation.runs(node)):
                low, high = int(operation.starts[runs.start]), int(operation.starts[runs.stop])
                for at in (operation.symbol[low:high] == said[place]).nonzero()[0].tolist():
                    share = 1.0 if weight is None else float(np.asarray(weight)[operation.run[low + at]])
                    waiting.append((place + 1, int(operation.target[low + at]), worth * share))
    return found


def _likelihood(evidence: Evidence, said: list[int]) -> float:
    """Return the probability of what was heard if a string was said, summed over alignments."""
    import numpy as np

    weights = evidence.start
    for symbol in said:
        weights = evidence.said((evidence.closure.T @ weights)[:, None], evidence.columns(np.array([symbol])))[:, 0]
    return float(weights @ evidence.last)
