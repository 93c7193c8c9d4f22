"""What was heard, as a small weighted automaton over the symbols that may have been said.

Its states are how many of the heard words are accounted for. Saying a symbol either stays (the word
was lost) or moves one on (it was heard as the next word, whatever that is); between symbols, words
that nobody said may be passed over. Summing over its paths is summing over all alignments. Several
hearings of one report are several such automata side by side: the states are their combinations.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from grammar.errors import ReportError

if TYPE_CHECKING:
    import numpy as np

MOST_STATES = 4000
_LARGE = 8000  # edges

Columns = list[tuple["np.ndarray", "np.ndarray"]]


@dataclass(frozen=True, slots=True)
class Part:
    """What an answer covers: all after the first ``after``, all before the next ``before``;
    neither: all of it. Both are symbols.
    """

    after: str = ""
    before: str = ""


WHOLE = Part()


@dataclass(slots=True)
class Slot:
    """One heard word: its likelihood for each symbol said, for a word nobody said, and its label.

    ``symbol`` is the one it is written as, "" if it is none.
    """

    likelihood: np.ndarray
    stray: float
    label: str
    symbol: str = ""


@dataclass(slots=True)
class Heard:
    """One hearing: every way to cut what was heard into words (each equally likely), the part it
    covers, and what else was said.
    """

    ways: list[list[Slot]]
    part: Part = WHOLE
    text: str = ""
    events: tuple[str, ...] = ()


@dataclass(slots=True)
class Axis:
    """The automaton of one hearing over ``size`` states: ``stay[state, symbol]``, ``move[state,
    symbol]`` to the next state.

    ``closure[state, later]`` passes over words that nobody said; it is applied before each symbol
    and at the end.
    """

    start: np.ndarray
    end: np.ndarray
    stay: np.ndarray
    move: np.ndarray
    closure: np.ndarray
    nothing: float  # the likelihood of these words if no report was made

    @property
    def size(self) -> int:
        """The number of states."""
        return len(self.start)


class Evidence:
    """One or several hearings together; vectors over states are columns of arrays (state, …)."""

    def __init__(self, axes: Sequence[Axis]) -> None:
        """Combine the hearings; raises ReportError where there are too many words in all."""
        import numpy as np

        self.axes = list(axes)
        self.shape = tuple(axis.size for axis in axes)
        self.size = int(np.prod(self.shape))
        if self.size > MOST_STATES:
            raise ReportError(
                f"{len(axes)} hearings have too many words to be combined",
                kind="too-long",
                hint="combine the last two or three only",
            )
        self.start, self.end, self.closure, self.nothing = (
            np.ones(1),
            np.ones(1),
            np.ones((1, 1)),
            1.0,
        )
        for axis in axes:
            self.start, self.end = np.kron(self.start, axis.start), np.kron(self.end, axis.end)
            self.closure = np.kron(self.closure, axis.closure)
            self.nothing *= axis.nothing
        self.last = self.closure @ self.end

    def columns(self, symbol: np.ndarray) -> Columns:
        """Return for each hearing what staying and moving are worth for each symbol of an array:
        (stay, move) by (state, edge).
        """
        return [
            (
                axis.stay if axis.stay.shape[1] == 1 else axis.stay.take(symbol, axis=1),
                axis.move[:-1].take(symbol, axis=1),
            )
            for axis in self.axes
        ]

    def said(self, weights: np.ndarray, columns: Columns) -> np.ndarray:
        """Return the weights (state, edge) after saying the symbol of each edge; ``weights`` may be
        overwritten.
        """
        if len(columns) == 1:
            return _said(weights, *columns[0])
        import numpy as np

        array = weights.reshape(*self.shape, -1)
        for place, (stay, move) in enumerate(columns):
            array = np.moveaxis(
                _said(
                    np.moveaxis(array, place, 0),
                    _between(stay, array.ndim),
                    _between(move, array.ndim),
                ),
                0,
                place,
            )
        return array.reshape(self.size, -1)

    def unsaid(
        self, weights: np.ndarray, columns: Columns, starts: np.ndarray, add: np.ufunc
    ) -> np.ndarray:
        """Return, for weights (state, edge) of what follows the symbol of each edge, those before
        it: the transpose of ``said``.

        What comes back is one column for each run of edges, which begin at ``starts`` and are put
        together with ``add``. ``weights`` may be overwritten.
        """
        import numpy as np

        if (
            len(columns) == 1 and add is np.add and columns[0][0].shape[1] == 1
        ):  # every edge stays alike: sum first, then multiply
            stay, move = columns[0]
            before: np.ndarray = np.add.reduceat(weights, starts, axis=1) * stay
            weights[1:] *= move
            before[:-1] += np.add.reduceat(weights[1:], starts, axis=1) if len(move) else 0.0
            return before
        array = weights.reshape(*self.shape, -1)
        for place, (stay, move) in enumerate(columns):
            array = np.moveaxis(
                _unsaid(
                    np.moveaxis(array, place, 0),
                    _between(stay, array.ndim),
                    _between(move, array.ndim),
                ),
                0,
                place,
            )
        return np.asarray(add.reduceat(array.reshape(self.size, -1), starts, axis=1))

    def rows_said(
        self, weights: np.ndarray, run: np.ndarray, symbol: np.ndarray
    ) -> Iterator[tuple[int, np.ndarray]]:
        """Yield (state, weights of the edges after saying their symbols); ``weights`` are by
        (state, run), ``run`` is each edge's.

        Large layers go state by state: that keeps to memory the processor has at hand.
        """
        import numpy as np

        if len(self.axes) > 1 or len(run) < _LARGE:
            yield from enumerate(self.said(weights.take(run, axis=1), self.columns(symbol)))
            return
        (axis,) = self.axes
        row, column, moved = np.empty((3, len(run)))
        for state in range(axis.size):
            weights[state].take(run, out=row, mode="clip")
            if state + 1 < axis.size:
                axis.move[state].take(symbol, out=column, mode="clip")
                column *= row
            row *= axis.stay[state, 0] if axis.stay.shape[1] == 1 else axis.stay[state].take(symbol)
            if state:
                row += moved
            yield state, row
            moved, column = column, moved

    def sums_unsaid(
        self, weights: np.ndarray, target: np.ndarray, symbol: np.ndarray, starts: np.ndarray
    ) -> np.ndarray:
        """Return by (state, run) what the edges of each run are worth, from ``weights`` by (state,
        node) of what follows their targets.
        """
        import numpy as np

        if len(self.axes) > 1 or len(target) < _LARGE:
            return self.unsaid(weights.take(target, axis=1), self.columns(symbol), starts, np.add)
        (axis,) = self.axes
        sums = np.empty((axis.size, len(starts)))
        row, later, column = np.empty((3, len(target)))
        for state in reversed(range(axis.size)):
            weights[state].take(target, out=row, mode="clip")
            np.multiply(
                row,
                axis.stay[state, 0] if axis.stay.shape[1] == 1 else axis.stay[state].take(symbol),
                out=column,
            )
            if state + 1 < axis.size:
                later *= axis.move[state].take(symbol)
                column += later
            np.add.reduceat(column, starts, out=sums[state])
            row, later = later, row
        return sums


def _between(table: np.ndarray, dimensions: int) -> np.ndarray:
    """Put the axes of other hearings between the states and the edges of a table."""
    return table.reshape(table.shape[0], *[1] * (dimensions - 2), table.shape[1])


def _said(weights: np.ndarray, stay: np.ndarray, move: np.ndarray) -> np.ndarray:
    moved = weights[:-1] * move
    weights *= stay
    weights[1:] += moved
    return weights


def _unsaid(weights: np.ndarray, stay: np.ndarray, move: np.ndarray) -> np.ndarray:
    moved = weights[1:] * move
    before: np.ndarray = weights * stay
    before[:-1] += moved
    return before


def silence() -> Evidence:
    """Return the evidence that says nothing: every string counts with its own weight."""
    import numpy as np

    one = np.ones((1, 1))
    return Evidence([Axis(np.ones(1), np.ones(1), one, np.zeros((1, 1)), one, 1.0)])
