"""Sums over every string of a message and every alignment at once: forward, backward, and the share
of each level.

Arrays are (state of the alignments, node of the lattice). Nothing is left out: the sums are exact
up to rounding.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from codec.hear.alignment import Alignments
from codec.hear.lattice import Decides, Join, MessageLattice, Mix, Operation

if TYPE_CHECKING:
    import numpy as np

    from codec.hear.priors import Shares


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
    before = np.zeros((alignments.size, lattice.nodes))
    before[:, lattice.start] = alignments.start[:, None]
    passed = [
        _forward(op, w, before, alignments)
        for op, w in zip(lattice.operations, model.weights, strict=True)
    ]
    ended = alignments.last * before[:, lattice.end].sum(axis=1)
    after = np.zeros((alignments.size, lattice.nodes))
    after[:, lattice.end] = alignments.last[:, None]
    levels = {name: np.zeros(one.size) for name, one in lattice.message.fields.items()}
    for operation, weight, gone in zip(
        reversed(lattice.operations), reversed(model.weights), reversed(passed), strict=True
    ):
        _backward(operation, weight, before, after, gone, alignments, levels)
    return Sums(float(ended.sum()), after, ended, levels)


def total(model: WeightedLattice) -> float:
    """Return the weight of all strings of a message whatever was heard."""
    import numpy as np

    from codec.hear.alignment import silence

    alignments = silence()
    before = np.zeros((1, model.lattice.nodes))
    before[:, model.lattice.start] = 1.0
    for operation, weight in zip(model.lattice.operations, model.weights, strict=True):
        _forward(operation, weight, before, alignments)
    return float(before[0, model.lattice.end].sum())


def _forward(
    operation: Operation,
    weight: np.ndarray | float | None,
    before: np.ndarray,
    alignments: Alignments,
) -> np.ndarray | None:
    """Carry the weights before an operation through it; return what each run starts with,
    weighted.
    """
    import numpy as np

    if isinstance(operation, Join):
        before[:, operation.target] += before[:, operation.source] * weight
        return None
    if isinstance(operation, Mix):
        states = before[:, operation.low : operation.low + operation.states * operation.keys]
        mixed = np.matmul(
            np.asarray(weight).T, states.reshape(alignments.size, operation.states, operation.keys)
        )
        before[:, operation.slot : operation.slot + operation.figures * operation.keys] = (
            mixed.reshape(alignments.size, -1)
        )
        return None
    gone: np.ndarray = alignments.closed(before[:, operation.low : operation.high]).take(
        operation.source, axis=1
    )
    if weight is not None:
        gone *= weight
    before[:, operation.reached] += alignments.sums_said(
        gone, operation.reached_run, operation.reached_symbol, operation.reached_starts
    )
    return gone


def _backward(
    operation: Operation,
    weight: np.ndarray | float | None,
    before: np.ndarray,
    after: np.ndarray,
    gone: np.ndarray | None,
    alignments: Alignments,
    levels: dict[str, np.ndarray],
) -> None:
    """Carry the weights after an operation back through it, and add up what its levels are
    worth.
    """
    import numpy as np

    if isinstance(operation, Join):
        way = after[:, operation.target] * weight
        after[:, operation.source] += way
        if operation.implies:
            worth = float((before[:, operation.source] * way).sum())
            for name, level in operation.implies.items():
                levels[name][level] += worth
        return
    if isinstance(operation, Mix):
        _mixed_back(operation, np.asarray(weight), before, after, levels)
        return
    way = alignments.sums_unsaid(after, operation.target, operation.symbol, operation.starts[:-1])
    if operation.decides and gone is not None:
        _add(
            levels, operation.decides, np.einsum("sr,sr->r", gone, way)
        )  # the weights are in ``gone``
    if weight is not None:
        way *= weight
    after[:, operation.low + operation.sources] += alignments.closed(
        np.add.reduceat(way, operation.source_starts, axis=1), back=True
    )


def _mixed_back(
    operation: Mix,
    weight: np.ndarray,
    before: np.ndarray,
    after: np.ndarray,
    levels: dict[str, np.ndarray],
) -> None:
    import numpy as np

    here = slice(operation.low, operation.low + operation.states * operation.keys)
    slots = after[:, operation.slot : operation.slot + operation.figures * operation.keys]
    said = slots.reshape(len(after), operation.figures, operation.keys)
    after[:, here] += np.matmul(weight, said).reshape(len(after), -1)
    if operation.decides:
        states = before[:, here].reshape(len(before), operation.states, operation.keys)
        worth = weight * np.tensordot(states, said, axes=((0, 2), (0, 2)))
        _add(levels, operation.decides, worth)


def _add(levels: dict[str, np.ndarray], decides: Decides, worth: np.ndarray) -> None:
    import numpy as np

    for name, decided in decides.items():
        flat = decided.reshape(-1)
        levels[name] += np.bincount(
            flat + 1, weights=worth.reshape(-1), minlength=len(levels[name]) + 1
        )[1:]
