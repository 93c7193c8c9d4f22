"""Sums over every string of a message and every alignment at once: forward, backward, and the share
of each level.

Arrays are (state of the alignments, node of the lattice). The sums are exact up to rounding; those
of several hearings are taken in windows (see ``windows``).
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any, NamedTuple

from codec.hear.alignment import Alignments
from codec.hear.lattice import Decides, Join, MessageLattice, Mix, Operation, Say

if TYPE_CHECKING:
    import numpy as np

    from codec.hear.priors import Shares
    from codec.hear.windows import Window


# states up to which several hearings are summed without windows
MOST_WHOLE = 200
MOST_HELD = 2_000_000  # weights by state and edge at a time


class WeightedLattice(NamedTuple):
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


class Sums(NamedTuple):
    """The sums of one lattice, for what was heard.

    ``total`` is the weight of all strings; ``after[state, node]`` that of all ways on from a node;
    ``levels[field][level]`` the weight of the strings in which a field has a level (they add up to
    less than ``total`` where some strings do not say it); ``ended[state]`` is what of ``total``
    ends in a state.
    """

    total: float
    after: np.ndarray
    ended: np.ndarray
    levels: dict[str, np.ndarray]


def sums(model: WeightedLattice, alignments: Alignments) -> Sums:
    """Return the sums over all strings and alignments."""
    import numpy as np

    lattice = model.lattice
    kind: type[np.floating] = np.float64
    parts: list[list[Alignments | Window]] = [[alignments] for _ in lattice.operations]
    if alignments.products and alignments.size > MOST_WHOLE:
        from codec.hear.windows import Windows

        windows, kind = Windows(alignments, lattice), np.float32
        parts = [[*windows.at(one)] for one in lattice.operations]
    weights = [
        weight.astype(kind, copy=False) if isinstance(weight, np.ndarray) else weight
        for weight in model.weights
    ]
    before = np.zeros((alignments.size, lattice.nodes), kind)
    before[:, lattice.start] = alignments.start[:, None]
    closed = [
        [_forward(operation, weight, before, part) for part in some]
        for operation, weight, some in zip(lattice.operations, weights, parts, strict=True)
    ]
    ended = alignments.last * before[:, lattice.end].sum(axis=1)
    after = np.zeros_like(before)
    after[:, lattice.end] = alignments.last[:, None]
    levels = {name: np.zeros(one.size) for name, one in lattice.message.fields.items()}
    back = list(zip(lattice.operations, weights, parts, closed, strict=True))
    for operation, weight, some, gone in reversed(back):
        for part, begun in zip(some, gone, strict=True):
            tell = functools.partial(_tell, operation, weight, begun, levels)
            carried_back(operation, weight, after, part, np.add, tell)
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
    part: Alignments | Window,
) -> np.ndarray:
    """Carry the weights before an operation through it, for the states of a part; return those
    with which its edges begin, by (state, node).
    """
    import numpy as np

    begun: np.ndarray
    if isinstance(operation, Join):
        begun = before[_at(part.rows, operation.source)]
        before[_at(part.rows, operation.target)] += begun * weight
    elif isinstance(operation, Mix):
        begun = before[part.rows, _states(operation)]
        grid = begun.reshape(-1, operation.states, operation.keys)
        mixed = np.matmul(np.asarray(weight).T, grid)
        before[part.rows, _slots(operation)] = mixed.reshape(len(begun), -1)
    else:
        begun = part.closed(before[part.rows, operation.low : operation.high])
        whole = part.size * len(operation.source) <= MOST_HELD
        gone = _gone(operation, weight, begun, slice(None)) if whole else begun
        for low, high in _blocks(len(operation.symbol), part):
            targets, starts = _among(operation.reached_starts, low, high)
            run = operation.reached_run[low:high]
            if not whole:
                gone, run = _gone(operation, weight, begun, run), np.arange(high - low)
            said = part.sums_said(gone, run, operation.reached_symbol[low:high], starts)
            before[_at(part.reached, operation.reached[targets])] += said
    return begun


def _gone(
    operation: Say, weight: np.ndarray | float | None, begun: np.ndarray, runs: Any
) -> np.ndarray:
    """Return by (state, run) the weights with which runs of edges begin, each with its own."""
    import numpy as np

    gone: np.ndarray = begun.take(operation.source[runs], axis=1)
    if weight is not None:
        gone *= np.asarray(weight)[runs]
    return gone


Told = Callable[["slice | None", "np.ndarray"], None]


def carried_back(
    operation: Operation,
    weight: np.ndarray | float | None,
    after: np.ndarray,
    part: Alignments | Window,
    plus: np.ufunc,
    tell: Told | None = None,
) -> None:
    """Carry the weights after an operation back through it, for the states of a part.

    The weights of several ways on are put together by ``plus``: added, or the most of them taken.
    ``tell`` is called with what each edge, or each run of edges, is worth from its end on, by
    (state, edge), before its own weight.
    """
    import numpy as np

    if isinstance(operation, Join):
        way = after[_at(part.rows, operation.target)] * weight
        here = _at(part.rows, operation.source)
        after[here] = plus(after[here], way)
        if tell is not None and operation.implies:
            tell(None, way)
    elif isinstance(operation, Mix):
        said = after[part.rows, _slots(operation)].reshape(-1, operation.figures, operation.keys)
        if plus is np.add:
            way = np.matmul(np.asarray(weight), said)
        else:  # a state at a time, to keep the array small
            way = np.array(
                [plus.reduce(np.asarray(weight)[:, :, None] * one, axis=1) for one in said]
            )
        states = _states(operation)
        after[part.rows, states] = plus(after[part.rows, states], way.reshape(len(said), -1))
        if tell is not None and operation.decides:
            tell(None, said)
    else:
        for low, high in _blocks(len(operation.symbol), part):
            runs, starts = _among(operation.starts, low, high)
            sources, source_starts = _among(operation.source_starts, runs.start, runs.stop)
            way = part.sums_unsaid(
                after, operation.target[low:high], operation.symbol[low:high], starts, plus
            )
            if tell is not None and operation.decides:
                tell(runs, way)
            if weight is not None:
                way *= np.asarray(weight)[runs]
            here = _at(part.rows, operation.low + operation.sources[sources])
            worth = part.closed(plus.reduceat(way, source_starts, axis=1), back=True)
            after[here] = plus(after[here], worth)


def _states(operation: Mix) -> slice:
    return slice(operation.low, operation.low + operation.states * operation.keys)


def _slots(operation: Mix) -> slice:
    return slice(operation.slot, operation.slot + operation.figures * operation.keys)


def _tell(
    operation: Operation,
    weight: np.ndarray | float | None,
    begun: np.ndarray,
    levels: dict[str, np.ndarray],
    runs: slice | None,
    way: np.ndarray,
) -> None:
    """Add up what the levels that an operation decides are worth, from the weights with which its
    edges begin and those of the ways on.
    """
    import numpy as np

    if isinstance(operation, Join):
        for name, level in operation.implies.items():
            levels[name][level] += float((begun * way).sum())
        return
    if isinstance(operation, Mix):
        states = begun.reshape(-1, operation.states, operation.keys)
        worth = np.zeros((operation.states, operation.figures), begun.dtype)
        for here, ahead in zip(states, way, strict=True):  # a state at a time: no large copies
            worth += here @ ahead.T
        worth *= np.asarray(weight)
    else:
        worth = np.einsum("sr,sr->r", _gone(operation, weight, begun, runs), way)
    for name, decided in operation.decides.items():
        flat = (decided if runs is None else decided[runs]).reshape(-1)
        levels[name] += np.bincount(
            flat + 1, weights=worth.reshape(-1), minlength=len(levels[name]) + 1
        )[1:]


def _at(rows: slice | np.ndarray, columns: np.ndarray) -> Any:
    """Return what picks columns of some rows, or of all: neighbours together, which takes a
    fraction of the time.
    """
    import numpy as np

    low, high = int(columns[0]), int(columns[-1]) + 1
    if high - low == len(columns) and (np.diff(columns) == 1).all():
        return rows, slice(low, high)
    return (rows, columns) if isinstance(rows, slice) else np.ix_(rows, columns)


def _blocks(edges: int, part: Alignments | Window) -> Iterator[tuple[int, int]]:
    """Yield stretches of edges of which, for all states, no more than can be held are taken at a
    time.
    """
    size = max(1, MOST_HELD // part.size)
    for low in range(0, edges, size):
        yield low, min(edges, low + size)


def _among(starts: np.ndarray, low: int, high: int) -> tuple[slice, np.ndarray]:
    """Return the groups that members low … high - 1 belong to, and where each begins among these;
    ``starts`` is where groups begin among all.
    """
    import numpy as np

    first, last = int(starts.searchsorted(low, "right")) - 1, int(starts.searchsorted(high))
    begin = starts[first:last]
    return slice(first, last), np.maximum(begin - low, 0) if low else begin
