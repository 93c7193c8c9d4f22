"""What was heard, as a small weighted automaton over the symbols that may have been said.

Its states are how many of the heard words are accounted for. Saying a symbol either stays (the word was lost) or moves one on (it was
heard as the next word, whatever that is); between symbols, words that nobody said may be passed over. Summing over its paths is summing
over all alignments. Several hearings of one report are several such automata side by side: the states are their combinations.

An answer to a question covers only the part asked for. ``Part`` names it by the words at its borders, as the procedure words do; before
the first border and after the last the automaton waits. Where the string has no such border, all of it is taken to be said again.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from codec.hear.channel import Channel
from grammar.errors import ReportError

if TYPE_CHECKING:
    import numpy as np

MOST_STATES = 4000

Columns = list[tuple["np.ndarray", "np.ndarray"]]


@dataclass(frozen=True, slots=True)
class Part:
    """What an answer covers: all after the first ``after``, all before the next ``before``; neither: all of it. Both are symbols."""

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
    """One hearing: every way to cut what was heard into words (each equally likely), the part it covers, and what else was said."""

    ways: list[list[Slot]]
    part: Part = WHOLE
    text: str = ""
    events: tuple[str, ...] = ()


@dataclass(slots=True)
class Axis:
    """The automaton of one hearing over ``size`` states: ``stay[state, symbol]``, ``move[state, symbol]`` to the next state.

    ``closure[state, later]`` passes over words that nobody said; it is applied before each symbol and at the end.
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
                f"{len(axes)} hearings have too many words to be combined", kind="too-long", hint="combine the last two or three only"
            )
        self.start, self.end, self.closure, self.nothing = np.ones(1), np.ones(1), np.ones((1, 1)), 1.0
        for axis in axes:
            self.start, self.end = np.kron(self.start, axis.start), np.kron(self.end, axis.end)
            self.closure = np.kron(self.closure, axis.closure)
            self.nothing *= axis.nothing
        self.last = self.closure @ self.end

    def columns(self, symbol: np.ndarray) -> Columns:
        """Return for each hearing what staying and moving are worth for each symbol of an array: (stay, move) by (state, edge)."""
        return [
            (axis.stay if axis.stay.shape[1] == 1 else axis.stay.take(symbol, axis=1), axis.move[:-1].take(symbol, axis=1))
            for axis in self.axes
        ]

    def said(self, weights: np.ndarray, columns: Columns) -> np.ndarray:
        """Return the weights (state, edge) after saying the symbol of each edge; ``weights`` may be overwritten."""
        if len(columns) == 1:
            return _said(weights, *columns[0])
        import numpy as np

        array = weights.reshape(*self.shape, -1)
        for place, (stay, move) in enumerate(columns):
            array = np.moveaxis(_said(np.moveaxis(array, place, 0), _between(stay, array.ndim), _between(move, array.ndim)), 0, place)
        return array.reshape(self.size, -1)

    def unsaid(self, weights: np.ndarray, columns: Columns, starts: np.ndarray, add: np.ufunc) -> np.ndarray:
        """Return, for weights (state, edge) of what follows the symbol of each edge, those before it: the transpose of ``said``.

        What comes back is one column for each run of edges, which begin at ``starts`` and are put together with ``add``. ``weights`` may be
        overwritten.
        """
        import numpy as np

        if (
            len(columns) == 1 and add is np.add and columns[0][0].shape[1] == 1
        ):  # every edge stays alike: sum first, there is less to multiply
            stay, move = columns[0]
            before: np.ndarray = np.add.reduceat(weights, starts, axis=1) * stay
            weights[1:] *= move
            before[:-1] += np.add.reduceat(weights[1:], starts, axis=1) if len(move) else 0.0
            return before
        array = weights.reshape(*self.shape, -1)
        for place, (stay, move) in enumerate(columns):
            array = np.moveaxis(_unsaid(np.moveaxis(array, place, 0), _between(stay, array.ndim), _between(move, array.ndim)), 0, place)
        return np.asarray(add.reduceat(array.reshape(self.size, -1), starts, axis=1))


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


def axis(channel: Channel, heard: Heard, longest: int) -> Axis:
    """Return the automaton of one hearing: its ways side by side. ``longest`` is the longest report, in symbols."""
    import numpy as np

    ways = _with_borders(heard)
    blocks = [_way(channel, slots, heard.part, longest) for slots in ways]
    if len(blocks) == 1:
        return blocks[0]
    scales = [sum(math.log(_top(slot)) for slot in slots) for slots in ways]
    shares = [math.exp(scale - max(scales)) / len(blocks) for scale in scales]  # each way's words were scaled on their own
    size, symbols = sum(block.size for block in blocks), channel.vocabulary
    whole = Axis(np.zeros(size), np.zeros(size), np.zeros((size, symbols)), np.zeros((size, symbols)), np.zeros((size, size)), 0.0)
    low = 0
    for block, share in zip(blocks, shares, strict=True):
        here = slice(low, low + block.size)
        whole.start[here], whole.end[here] = block.start * share, block.end
        whole.stay[here], whole.move[here], whole.closure[here, here] = block.stay, block.move, block.closure
        whole.nothing += block.nothing * share
        low += block.size
    return whole


def _top(slot: Slot) -> float:
    """Return what a slot's likelihoods are divided by, so that long reports do not vanish below the smallest number."""
    return max(float(slot.likelihood.max()), slot.stray)


def _with_borders(heard: Heard) -> list[list[Slot]]:
    """Add the ways in which the answer repeats the words at its borders as well."""
    ways = list(heard.ways)
    if heard.part.after:
        ways += [way[1:] for way in ways if len(way) > 1 and way[0].symbol == heard.part.after]
    if heard.part.before:
        ways += [way[:-1] for way in ways if len(way) > 1 and way[-1].symbol == heard.part.before]
    return ways


def _way(channel: Channel, slots: Sequence[Slot], part: Part, longest: int) -> Axis:
    """Return the automaton of one way: [wait for `after`] words [wait after `before`], and [all of it, where there is no `after`]."""
    import numpy as np

    count, symbols = len(slots), channel.vocabulary
    scale = [_top(slot) for slot in slots]
    passed = np.array([channel.insertion * slot.stray / top for slot, top in zip(slots, scale, strict=True)])
    heard = np.array([slot.likelihood / top for slot, top in zip(slots, scale, strict=True)]).reshape(count, symbols)
    stay, move = np.full((count + 1, symbols), channel.deletion), np.zeros((count + 1, symbols))
    move[:count] = (1 - channel.deletion) * heard
    closure = np.zeros((count + 1, count + 1))
    for place in range(count + 1):
        closure[place, place:] = (1 - channel.insertion) * np.concatenate([[1.0], np.cumprod(passed[place:])])
    stray = float(np.prod([slot.stray / top for slot, top in zip(slots, scale, strict=True)])) / (2 * longest)
    start, end = np.zeros(count + 1), np.zeros(count + 1)
    start[0] = end[count] = 1.0
    if not part.after and not part.before:
        return Axis(start, end, stay[:, :1], move, closure, stray)
    return _bordered(channel, part, Axis(start, end, stay, move, closure, stray))


def _bordered(channel: Channel, part: Part, words: Axis) -> Axis:
    """Return the automaton that waits outside the part."""
    import numpy as np

    index, symbols, count = channel.alphabet.index, channel.vocabulary, words.size
    blocks: list[Axis] = []
    wait, go = np.ones((1, symbols)), np.zeros((1, symbols))
    if part.after:
        wait[0, index[part.after]], go[0, index[part.after]] = 0.0, 1.0
        blocks.append(Axis(np.ones(1), np.zeros(1), wait, go, np.ones((1, 1)), 0.0))
    stay, move = words.stay.copy(), words.move.copy()
    if part.before:
        border = index[part.before]
        stay[:, border] = move[:, border] = 0.0
        move[count - 1, border] = 1.0
    blocks.append(Axis(np.zeros(count) if part.after else words.start, words.end, stay, move, words.closure, 0.0))
    if part.before:
        blocks.append(Axis(np.zeros(1), np.ones(1), np.ones((1, symbols)), np.zeros((1, symbols)), np.ones((1, 1)), 0.0))
    if part.after:
        stay, move = words.stay.copy(), words.move.copy()
        stay[:, index[part.after]] = move[:, index[part.after]] = 0.0
        blocks.append(Axis(words.start, words.end, stay, move, words.closure, 0.0))
    size = sum(block.size for block in blocks)
    closure, low = np.zeros((size, size)), 0
    for block in blocks:
        closure[low : low + block.size, low : low + block.size] = block.closure
        low += block.size
    return Axis(
        np.concatenate([block.start for block in blocks]),
        np.concatenate([block.end for block in blocks]),
        np.concatenate([block.stay for block in blocks]),
        np.concatenate([block.move for block in blocks]),
        closure,
        words.nothing,
    )
