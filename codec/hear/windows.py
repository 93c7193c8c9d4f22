"""Several hearings of one report, summed only where they can be.

The states of several hearings are all the combinations of how many words of each are accounted for,
and nearly all of them weigh nothing: after so many symbols about as many words of each hearing are
accounted for. A window of an operation holds the combinations in which no hearing is more than
``ASTRAY`` words ahead of the symbols said, or behind them, beyond what it has more or less of
words than the report has of symbols. To leave a window, that many words and one more must have
been added and as many lost in one report, which is less likely than 1e-8 at the rates of a bad
moment; the first hearing of a report is always summed over everything.

States of a window are a grid, one axis a hearing, so each hearing's arcs are taken on their own.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from codec.hear.alignment import Alignments, by_run
from codec.hear.lattice import MessageLattice, Operation

if TYPE_CHECKING:
    import numpy as np

ASTRAY = 3


@dataclass(slots=True)
class _Axis:
    """One hearing's states in a window: how many before and after a symbol, what happens to them
    between symbols, and arcs (from, to, weights by symbol).
    """

    size: int
    reached: int
    between: np.ndarray
    arcs: list[tuple[slice, slice, np.ndarray]]


@dataclass(slots=True)
class Window:
    """The states that count where a symbol is said, as ``Alignments`` of their own: ``rows`` and
    ``reached`` are their numbers before it and after it.
    """

    axes: list[_Axis]
    rows: np.ndarray
    reached: np.ndarray

    @property
    def size(self) -> int:
        """The number of states before a symbol."""
        return len(self.rows)

    def closed(self, weights: np.ndarray, *, back: bool = False) -> np.ndarray:
        """Return the weights (state, …) after what happens between symbols, or before it."""
        import numpy as np

        inner = len(weights)
        for axis in self.axes:
            inner //= axis.size
            parts = weights.reshape(-1, axis.size, inner * weights.shape[1])
            between = axis.between.T if back else axis.between
            weights = np.matmul(between, parts).reshape(weights.shape)
        return weights

    def sums_said(
        self,
        weights: np.ndarray,
        column: np.ndarray,
        symbol: np.ndarray,
        starts: np.ndarray,
    ) -> np.ndarray:
        """Return by (state, run of edges) the weights after saying the symbols of the edges."""
        import numpy as np

        said = self._said(weights.take(column, axis=1), symbol, back=False)
        return by_run(said, starts, np.add)

    def sums_unsaid(
        self,
        weights: np.ndarray,
        column: np.ndarray,
        symbol: np.ndarray,
        starts: np.ndarray,
        plus: np.ufunc,
    ) -> np.ndarray:
        """Return by (state, run of edges) what the edges are worth."""
        low, high = column.min(), column.max() + 1  # of all there are, those that are meant
        after = weights[self.reached, low:high].take(column - low, axis=1)
        said = self._said(after, symbol, back=True)
        return by_run(said, starts, plus)

    def _said(self, weights: np.ndarray, symbol: np.ndarray, *, back: bool) -> np.ndarray:
        import numpy as np

        sizes = [(axis.reached, axis.size) if back else (axis.size, axis.reached)
                 for axis in self.axes]  # fmt: skip
        for number, axis in enumerate(self.axes):
            outer = int(np.prod([after for _, after in sizes[:number]], dtype=int))
            parts = weights.reshape(outer, sizes[number][0], -1, len(symbol))
            found = np.zeros((outer, sizes[number][1], parts.shape[2], len(symbol)), weights.dtype)
            for source, target, by_symbol in axis.arcs:
                worth = by_symbol if by_symbol.shape[1] == 1 else by_symbol.take(symbol, axis=1)
                if back:
                    found[:, source] += parts[:, target] * worth[:, None]
                else:
                    found[:, target] += parts[:, source] * worth[:, None]
            weights = found.reshape(-1, len(symbol))
        return weights


class Windows:
    """The windows of several hearings over one lattice, made as they are asked for."""

    def __init__(self, alignments: Alignments, lattice: MessageLattice) -> None:
        """Take what was heard and the lattice it is heard in."""
        self.alignments, self.lattice = alignments, lattice
        self._made: dict[tuple[int, int], list[Window]] = {}

    def at(self, operation: Operation) -> list[Window]:
        """Return the windows in which an operation counts, one for each condition of the radio."""
        low, high = operation.depth
        if (low, high) not in self._made:
            self._made[low, high] = list(self._windows(low, high))
        return self._made[low, high]

    def _windows(self, low: int, high: int) -> Iterator[Window]:
        import numpy as np

        for begin, hearings in self.alignments.products:
            axes, rows, reached = list[_Axis](), np.zeros(1, dtype=int), np.zeros(1, dtype=int)
            for one in hearings:
                before, after = self._kept(one, low, high), self._kept(one, low + 1, high + 1)
                rows = (rows[:, None] * one.size + before).reshape(-1)
                reached = (reached[:, None] * one.size + after).reshape(-1)
                between = one.between[np.ix_(before, before)]
                axes.append(_Axis(len(before), len(after), between, _arcs(one, before, after)))
            yield Window(axes, begin + rows, begin + reached)

    def _kept(self, one: Alignments, low: int, high: int) -> np.ndarray:
        """Return the states of one hearing that count after so many symbols."""
        import numpy as np

        least, most = self.lattice.message.lengths
        behind = ASTRAY + np.maximum(0, most - one.words)
        ahead = ASTRAY + np.maximum(0, one.words - least)
        near = (one.place >= low - behind) & (one.place <= high + ahead)
        return np.flatnonzero(near | (one.place < 0))


def _arcs(
    one: Alignments, before: np.ndarray, after: np.ndarray
) -> list[tuple[slice, slice, np.ndarray]]:
    """Return the arcs between kept states, in runs of neighbours."""
    import numpy as np

    found, place = [], np.full(one.size, -1)
    place[after] = np.arange(len(after))
    for step in one.steps:
        begins = np.flatnonzero((before >= step.low) & (before < step.low + len(step.weights)))
        source = before[begins]
        ends, some = place[source + step.offset], step.weights[source - step.low].any(axis=1)
        begins, ends = begins[some & (ends >= 0)], ends[some & (ends >= 0)]
        breaks = np.flatnonzero((np.diff(begins) != 1) | (np.diff(ends) != 1)) + 1
        for low, high in itertools.pairwise([0, *breaks.tolist(), len(begins)]):
            if low < high:
                rows = step.weights[before[begins[low:high]] - step.low]
                source_, target_ = (
                    slice(int(x[low]), int(x[low]) + high - low) for x in (begins, ends)
                )
                found.append((source_, target_, rows.astype(np.float32)))
    return found
