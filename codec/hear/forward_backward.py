"""Sums over every string of a message and every alignment at once: forward, backward, and the share
of each level.

Arrays are (state of the alignments, node of the lattice). The sums are exact up to rounding; those
of several hearings are taken in windows (see ``windows``).
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from codec.hear.alignment import Alignments
from codec.hear.lattice import Decides, Join, MessageLattice, Mix, Operation
from codec.hear.windows import Window, Windows

if TYPE_CHECKING:
    import numpy as np

    from codec.hear.priors import Shares


# states up to which several hearings are summed without windows
MOST_WHOLE = 200


@dataclass(slots=True)
class WeightedLattice:
    """A lattice with the weights of a prior: for each operation a number (Join), one for each run
    (Say), or states × figures (Mix).
    """

    lattice: MessageLattice
    weights: list[np.ndarray | float | None]


def weighted(lattice: MessageLattice, shares: Shares) -> WeightedLattice:
    """Give each edge the share of the levels it decides."""
    weights: list[np.ndarray | float | None] = []
    for operation in lattice.operations:
        weight: np.ndarray | float | None
        if isinstance(operation, Join):
            weight = operation.factor
            for name, level in operation.implies.items():
                weight *= float(shares[name][level])
        else:
            weight = _product(operation.decides, shares)
            if isinstance(operation, Mix):
                weight = operation.possible * (1.0 if weight is None else weight)
        weights.append(weight)
    return WeightedLattice(lattice, weights)


def _product(decides: Decides, shares: Shares) -> np.ndarray | None:
    weight = None
    for name, levels in decides.items():
        share = shares[name][levels]  # level -1, nothing decided, is the 1 at the end
        weight = share if weight is None else weight * share
    return weight


@dataclass(slots=True)
class Sums:
    """The sums of one lattice, for what was heard.

    ``total`` is the weight of all strings; ``after[state, node]`` that of all ways on from a node;
    ``levels[field][level]`` the weight of the strings in which a field has a level (they add up to
    less than ``total`` where some strings do not say it); ``ended[state]`` is what of ``total``
    ends in a state.
    """

    total: float
    after: np.ndarray
    ended: np.ndarray
    levels: dict[str, np.ndarray] = field(default_factory=dict)


def sums(model: WeightedLattice, alignments: Alignments) -> Sums:
    """Return the sums over all strings and alignments."""
    import numpy as np

    lattice = model.lattice
    whole: list[Alignments | Window] = [alignments]
    windows = (
        Windows(alignments, lattice)
        if alignments.products and alignments.size > MOST_WHOLE
        else None
    )
    parts = [whole if windows is None else windows.at(one) for one in lattice.operations]
    kind = np.float64 if windows is None else np.float32
    weights = [
        weight.astype(kind, copy=False) if isinstance(weight, np.ndarray) else weight
        for weight in model.weights
    ]
    before = np.zeros((alignments.size, lattice.nodes), kind)
    before[:, lattice.start] = alignments.start[:, None]
    passed = [
        _forward(operation, weight, before, part)
        for operation, weight, part in zip(lattice.operations, weights, parts, strict=True)
    ]
    ended = alignments.last * before[:, lattice.end].sum(axis=1)
    after = np.zeros_like(before)
    after[:, lattice.end] = alignments.last[:, None]
    levels = {name: np.zeros(one.size) for name, one in lattice.message.fields.items()}
    back = list(zip(lattice.operations, weights, parts, passed, strict=True))
    for operation, weight, part, gone in reversed(back):
        with_gone = list(itertools.zip_longest(part, gone))
        _backward(operation, weight, before, after, with_gone, levels)
    return Sums(float(ended.sum()), after, ended, levels)


def total(model: WeightedLattice) -> float:
    """Return the weight of all strings of a message whatever was heard."""
    import numpy as np

    from codec.hear.alignment import silence

    alignments = silence()
    before = np.zeros((1, model.lattice.nodes))
    before[:, model.lattice.start] = 1.0
    for operation, weight in zip(model.lattice.operations, model.weights, strict=True):
        _forward(operation, weight, before, [alignments])
    return float(before[0, model.lattice.end].sum())


def _forward(
    operation: Operation,
    weight: np.ndarray | float | None,
    before: np.ndarray,
    parts: Sequence[Alignments | Window],
) -> list[np.ndarray]:
    """Carry the weights before an operation through it, for the states of each part; return what
    each run starts with, weighted.
    """
    import numpy as np

    passed = []
    for part in parts:
        if isinstance(operation, Join):
            there = np.ix_(part.rows, operation.target)
            before[there] += before[np.ix_(part.rows, operation.source)] * weight
        elif isinstance(operation, Mix):
            states = before[part.rows, _states(operation)]
            grid = states.reshape(-1, operation.states, operation.keys)
            mixed = np.matmul(np.asarray(weight).T, grid)
            before[part.rows, _slots(operation)] = mixed.reshape(len(states), -1)
        else:
            gone = part.closed(before[part.rows, operation.low : operation.high]).take(
                operation.source, axis=1
            )
            if weight is not None:
                gone *= weight
            before[np.ix_(part.reached, operation.reached)] += part.sums_said(
                gone, operation.reached_run, operation.reached_symbol, operation.reached_starts
            )
            passed.append(gone)
    return passed


def _backward(
    operation: Operation,
    weight: np.ndarray | float | None,
    before: np.ndarray,
    after: np.ndarray,
    parts: Sequence[tuple[Alignments | Window, np.ndarray | None]],
    levels: dict[str, np.ndarray],
) -> None:
    """Carry the weights after an operation back through it, and add up what its levels are worth;
    with each part comes what its runs started with.
    """
    import numpy as np

    for part, gone in parts:
        if isinstance(operation, Join):
            way = after[np.ix_(part.rows, operation.target)] * weight
            here = np.ix_(part.rows, operation.source)
            after[here] += way
            if operation.implies:
                worth = float((before[here] * way).sum())
                for name, level in operation.implies.items():
                    levels[name][level] += worth
        elif isinstance(operation, Mix):
            _mixed_back(operation, np.asarray(weight), before, after, part.rows, levels)
        else:
            way = part.sums_unsaid(after, operation.target, operation.symbol, operation.starts[:-1])
            if operation.decides and gone is not None:  # the weights are in ``gone``
                _add(levels, operation.decides, np.einsum("sr,sr->r", gone, way))
            if weight is not None:
                way *= weight
            after[np.ix_(part.rows, operation.low + operation.sources)] += part.closed(
                np.add.reduceat(way, operation.source_starts, axis=1), back=True
            )


def _states(operation: Mix) -> slice:
    return slice(operation.low, operation.low + operation.states * operation.keys)


def _slots(operation: Mix) -> slice:
    return slice(operation.slot, operation.slot + operation.figures * operation.keys)


def _mixed_back(
    operation: Mix,
    weight: np.ndarray,
    before: np.ndarray,
    after: np.ndarray,
    rows: np.ndarray,
    levels: dict[str, np.ndarray],
) -> None:
    import numpy as np

    said = after[rows, _slots(operation)].reshape(-1, operation.figures, operation.keys)
    after[rows, _states(operation)] += np.matmul(weight, said).reshape(len(rows), -1)
    if operation.decides:
        states = before[rows, _states(operation)].reshape(-1, operation.states, operation.keys)
        worth = weight * np.tensordot(states, said, axes=((0, 2), (0, 2)))
        _add(levels, operation.decides, worth)


def _add(levels: dict[str, np.ndarray], decides: Decides, worth: np.ndarray) -> None:
    import numpy as np

    for name, decided in decides.items():
        flat = decided.reshape(-1)
        levels[name] += np.bincount(
            flat + 1, weights=worth.reshape(-1), minlength=len(levels[name]) + 1
        )[1:]
