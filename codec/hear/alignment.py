"""What was heard, as a small weighted automaton over the symbols that may have been said.

Its states are how many of the heard words are accounted for. Saying a symbol either stays (the word
was lost) or moves one on (it was heard as the next word, whatever that is); between symbols, words
that nobody said may be passed over. Summing over its paths is summing over all alignments. Several
hearings of one report are several such automata side by side: the states are their combinations.

An answer to a question covers only the part asked for. ``AskedPart`` names it by the words at its
borders, as the procedure words do; before the first border and after the last the automaton waits.
Where the string has no such border, all of it is taken to be said again.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from codec.hear.channel import Channel
from codec.hear.heard import AskedPart, HeardReport, HeardWord
from grammar.errors import ReportError

if TYPE_CHECKING:
    import numpy as np

MOST_STATES = 4000
_LARGE = 8000  # edges

Columns = list[tuple["np.ndarray", "np.ndarray"]]


@dataclass(slots=True)
class AlignmentAutomaton:
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


class Alignments:
    """One or several hearings together; vectors over states are columns of arrays (state, …)."""

    def __init__(self, automata: Sequence[AlignmentAutomaton]) -> None:
        """Combine the hearings; raises ReportError where there are too many words in all."""
        import numpy as np

        self.automata = list(automata)
        self.shape = tuple(one.size for one in automata)
        self.size = int(np.prod(self.shape))
        if self.size > MOST_STATES:
            raise ReportError(
                f"{len(automata)} hearings have too many words to be combined",
                kind="too-long",
                hint="combine the last two or three only",
            )
        self.start, self.end, self.closure, self.nothing = (
            np.ones(1),
            np.ones(1),
            np.ones((1, 1)),
            1.0,
        )
        for one in automata:
            self.start, self.end = np.kron(self.start, one.start), np.kron(self.end, one.end)
            self.closure = np.kron(self.closure, one.closure)
            self.nothing *= one.nothing
        self.last = self.closure @ self.end

    def columns(self, symbol: np.ndarray) -> Columns:
        """Return for each hearing what staying and moving are worth for each symbol of an array:
        (stay, move) by (state, edge).
        """
        return [
            (
                one.stay if one.stay.shape[1] == 1 else one.stay.take(symbol, axis=1),
                one.move[:-1].take(symbol, axis=1),
            )
            for one in self.automata
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

        if len(self.automata) > 1 or len(run) < _LARGE:
            yield from enumerate(self.said(weights.take(run, axis=1), self.columns(symbol)))
            return
        (one,) = self.automata
        row, column, moved = np.empty((3, len(run)))
        for state in range(one.size):
            weights[state].take(run, out=row, mode="clip")
            if state + 1 < one.size:
                one.move[state].take(symbol, out=column, mode="clip")
                column *= row
            row *= one.stay[state, 0] if one.stay.shape[1] == 1 else one.stay[state].take(symbol)
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

        if len(self.automata) > 1 or len(target) < _LARGE:
            return self.unsaid(weights.take(target, axis=1), self.columns(symbol), starts, np.add)
        (one,) = self.automata
        sums = np.empty((one.size, len(starts)))
        row, later, column = np.empty((3, len(target)))
        for state in reversed(range(one.size)):
            weights[state].take(target, out=row, mode="clip")
            np.multiply(
                row,
                one.stay[state, 0] if one.stay.shape[1] == 1 else one.stay[state].take(symbol),
                out=column,
            )
            if state + 1 < one.size:
                later *= one.move[state].take(symbol)
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


def silence() -> Alignments:
    """Return the alignments with nothing heard at all: every string counts with its own weight."""
    import numpy as np

    one = np.ones((1, 1))
    return Alignments([AlignmentAutomaton(np.ones(1), np.ones(1), one, np.zeros((1, 1)), one, 1.0)])


# the automaton of one hearing, made from its words


def alignment_automaton(channel: Channel, heard: HeardReport, longest: int) -> AlignmentAutomaton:
    """Return the automaton of one hearing: its ways side by side.

    ``longest`` is the longest report, in symbols.
    """

    ways = _with_borders(heard)
    blocks = [_way(channel, words, heard.part, longest) for words in ways]
    if len(blocks) == 1:
        return blocks[0]
    scales = [sum(math.log(_top(word)) for word in words) for words in ways]
    shares = [
        math.exp(scale - max(scales)) / len(blocks) for scale in scales
    ]  # each way's words were scaled on their own
    scaled = [
        replace(block, start=block.start * share, nothing=block.nothing * share)
        for block, share in zip(blocks, shares, strict=True)
    ]
    return _side_by_side(scaled)


def _side_by_side(blocks: Sequence[AlignmentAutomaton]) -> AlignmentAutomaton:
    """Return the automaton of several, the states of each behind those of the one before; a move
    out of the last state of one leads into the next.
    """
    import numpy as np

    size, low = sum(block.size for block in blocks), 0
    closure = np.zeros((size, size))
    for block in blocks:
        here = slice(low, low + block.size)
        closure[here, here] = block.closure
        low += block.size
    return AlignmentAutomaton(
        np.concatenate([block.start for block in blocks]),
        np.concatenate([block.end for block in blocks]),
        np.concatenate([np.broadcast_to(block.stay, block.move.shape) for block in blocks]),
        np.concatenate([block.move for block in blocks]),
        closure,
        sum(block.nothing for block in blocks),
    )


def _top(word: HeardWord) -> float:
    """Return what a word's likelihoods are divided by, so that long reports do not vanish below the
    smallest number.
    """
    return max(float(word.likelihood.max()), word.stray)


def _with_borders(heard: HeardReport) -> list[list[HeardWord]]:
    """Add the ways in which the answer repeats the words at its borders as well."""
    ways = list(heard.ways)
    if heard.part.after:
        ways += [way[1:] for way in ways if len(way) > 1 and way[0].symbol == heard.part.after]
    if heard.part.before:
        ways += [way[:-1] for way in ways if len(way) > 1 and way[-1].symbol == heard.part.before]
    return ways


def _way(
    channel: Channel, words: Sequence[HeardWord], part: AskedPart, longest: int
) -> AlignmentAutomaton:
    """Return the automaton of one way: [wait for `after`] words [wait after `before`], and [all of
    it, where there is no `after`].
    """
    import numpy as np

    count, symbols = len(words), channel.vocabulary
    scale = [_top(word) for word in words]
    passed = np.array(
        [channel.insertion * word.stray / top for word, top in zip(words, scale, strict=True)]
    )
    heard = np.array(
        [word.likelihood / top for word, top in zip(words, scale, strict=True)]
    ).reshape(count, symbols)
    stay, move = np.full((count + 1, symbols), channel.deletion), np.zeros((count + 1, symbols))
    move[:count] = (1 - channel.deletion) * heard
    closure = np.zeros((count + 1, count + 1))
    for place in range(count + 1):
        closure[place, place:] = (1 - channel.insertion) * np.concatenate(
            [[1.0], np.cumprod(passed[place:])]
        )
    stray = float(np.prod([word.stray / top for word, top in zip(words, scale, strict=True)])) / (
        2 * longest
    )
    start, end = np.zeros(count + 1), np.zeros(count + 1)
    start[0] = end[count] = 1.0
    if not part.after and not part.before:
        return AlignmentAutomaton(start, end, stay[:, :1], move, closure, stray)
    return _bordered(channel, part, AlignmentAutomaton(start, end, stay, move, closure, stray))


def _bordered(channel: Channel, part: AskedPart, inner: AlignmentAutomaton) -> AlignmentAutomaton:
    """Return the automaton that waits outside the part."""
    import numpy as np

    index, symbols, last = channel.alphabet.index, channel.vocabulary, inner.size - 1

    def waits(until: str, *, begins: bool) -> AlignmentAutomaton:
        """One state that stays whatever is said; a symbol it waits for leads on."""
        stay, move = np.ones((1, symbols)), np.zeros((1, symbols))
        if until:
            stay[0, index[until]], move[0, index[until]] = 0.0, 1.0
        begin, end = (np.ones(1), np.zeros(1)) if begins else (np.zeros(1), np.ones(1))
        return AlignmentAutomaton(begin, end, stay, move, np.ones((1, 1)), 0.0)

    def without(border: str) -> AlignmentAutomaton:
        """The words, none of which is said as the border."""
        stay, move = inner.stay.copy(), inner.move.copy()
        if border:
            stay[:, index[border]] = move[:, index[border]] = 0.0
        return replace(inner, stay=stay, move=move, nothing=0.0)

    words = without(part.before)
    blocks = [words]
    if part.before:
        words.move[last, index[part.before]] = 1.0
        blocks.append(waits("", begins=False))
    if part.after:
        words.start = np.zeros(inner.size)
        blocks = [waits(part.after, begins=True), *blocks, without(part.after)]
    whole = _side_by_side(blocks)
    whole.nothing = inner.nothing
    return whole
