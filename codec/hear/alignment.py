"""What was heard, as a small weighted automaton over the symbols that may have been said.

Its states are how many of the heard words are accounted for, in a good or in a bad moment of the
radio, in each condition it may be in. Saying a symbol either stays (the word was lost) or moves one
on (it was heard as the next word, whatever that is), or two, where the driver swapped it with the
next symbol; between symbols a moment may begin or end, and words that nobody said may be passed
over. Summing over its paths is summing over all alignments, moments and conditions. Several
hearings of one report are heard in one condition: their states are the combinations.

An answer to a question covers only the part asked for. ``AskedPart`` names it by the words at its
borders, as the procedure words do; before the first border and after the last the automaton waits.
Where the string has no such border, all of it is taken to be said again.
"""

from __future__ import annotations

import dataclasses
import functools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, ClassVar, NamedTuple

from codec.hear.channel import Channel
from codec.hear.heard import AskedPart, HeardReport, HeardSlot, HeardWord
from grammar.errors import ReportError

if TYPE_CHECKING:
    import numpy as np

MOST_STATES = 4000
_LARGE = 40_000  # edges times states
_FEW = 60  # states up to which the way on with each symbol is held as a matrix


def by_run(weights: np.ndarray, starts: np.ndarray, plus: np.ufunc) -> np.ndarray:
    """Return weights (…, edge) put together by run: as they are where every edge is a run."""
    one_by_one = len(starts) == weights.shape[-1]
    found: np.ndarray = weights if one_by_one else plus.reduceat(weights, starts, axis=-1)
    return found


class Step(NamedTuple):
    """Arcs from the states ``low``, ``low`` + 1 … to the states ``offset`` further on: weights by
    (state, symbol), or by (state, 1) where all symbols are alike.
    """

    low: int
    offset: int
    weights: np.ndarray

    @property
    def source(self) -> slice:
        """The states it leaves."""
        return slice(self.low, self.low + len(self.weights))

    @property
    def target(self) -> slice:
        """The states it reaches."""
        return slice(self.low + self.offset, self.low + self.offset + len(self.weights))

    def taken(self, symbol: np.ndarray) -> Step:
        """Return the arcs for each symbol of an array: weights by (state, edge)."""
        if self.weights.shape[1] == 1:
            return self
        return Step(self.low, self.offset, self.weights.take(symbol, axis=1))


class Closure(NamedTuple):
    """What happens between symbols to the states from ``low`` on: read as (outer, state, inner),
    their state changes with the weights (before, after) of ``block``.
    """

    low: int
    outer: int
    block: np.ndarray
    inner: int

    def apply(self, weights: np.ndarray, *, back: bool) -> None:
        """Change the weights (state, column) in place; ``back``: from those after to those
        before.
        """
        import numpy as np

        size = self.outer * len(self.block) * self.inner
        here = weights[self.low : self.low + size]
        parts = here.reshape(self.outer, len(self.block), -1)
        here[:] = np.matmul(self.block if back else self.block.T, parts).reshape(here.shape)


@dataclass
class Alignments:
    """The automaton of what was heard, over ``size`` states; vectors over states are columns of
    arrays (state, …).

    ``steps`` are its arcs. ``closures`` begin and end moments and pass over words that nobody said,
    one after the other, before each symbol and at the end. ``nothing`` is the likelihood of the
    words if no report was made, ``condition[state]`` the number of the radio's condition.
    ``place[state]`` is how many of the ``words[state]`` heard words are accounted for, -1 where
    that has nothing to do with the symbols said. ``products`` are hearings whose states are
    combined, with the number of the first state of each combination; there are none where one
    hearing stands alone.
    """

    start: np.ndarray
    end: np.ndarray
    steps: list[Step]
    closures: list[Closure]
    nothing: float
    condition: np.ndarray
    place: np.ndarray
    words: np.ndarray
    products: list[tuple[int, tuple[Alignments, ...]]] = field(default_factory=list)

    rows: ClassVar = slice(None)  # of all arrays over states, as of a ``Window``
    reached: ClassVar = rows

    @property
    def size(self) -> int:
        """The number of states."""
        return len(self.start)

    @functools.cached_property
    def between(self) -> np.ndarray:
        """What happens between symbols as one matrix (state after, state before)."""
        import numpy as np

        return self.closed(np.eye(self.size)).astype(np.float32)

    @functools.cached_property
    def last(self) -> np.ndarray:
        """What each state is worth when all symbols were said."""
        found: np.ndarray = self.closed(self.end[:, None], back=True)[:, 0]
        return found

    def closed(self, weights: np.ndarray, *, back: bool = False) -> np.ndarray:
        """Return the weights (state, …) after moments have begun or ended and words that nobody
        said were passed over; ``back``: from those after it those before.
        """
        found = weights.copy()
        for closure in self.closures:
            closure.apply(found, back=back)
        return found

    def said(self, weights: np.ndarray, symbol: np.ndarray) -> np.ndarray:
        """Return the weights (state, edge) after saying the symbol of each edge."""
        import numpy as np

        found = np.zeros(weights.shape)
        for step in self.steps:
            found[step.target] += weights[step.source] * step.taken(symbol).weights
        return found

    def went_on(self, weights: np.ndarray, symbol: np.ndarray) -> np.ndarray:
        """Return the weights (state, symbol) after saying each of some symbols, from one column of
        weights before what happens between symbols.
        """
        if self.size > _FEW:
            gone = self.closed(weights[:, None])
            return self.said(gone.repeat(len(symbol), axis=1), symbol)
        # clipped: where all symbols are alike there is one matrix
        found: np.ndarray = (self._on.take(symbol, axis=0, mode="clip") @ weights).T
        return found

    @functools.cached_property
    def _on(self) -> np.ndarray:
        """The way on with each symbol as a matrix, by (symbol, state after, state before)."""
        import numpy as np

        symbols = max(step.weights.shape[1] for step in self.steps)
        gone = self.closed(np.eye(self.size))
        said = self.said(gone.repeat(symbols, axis=1), np.tile(np.arange(symbols), self.size))
        return np.ascontiguousarray(said.reshape(self.size, self.size, symbols).transpose(2, 0, 1))

    def unsaid(self, weights: np.ndarray, symbol: np.ndarray) -> np.ndarray:
        """Return the weights (state, edge) before saying the symbol of each edge, from those of
        what follows: the transpose of ``said``.
        """
        import numpy as np

        found = np.zeros(weights.shape)
        for step in self.steps:
            found[step.source] += weights[step.target] * step.taken(symbol).weights
        return found

    def sums_said(
        self,
        weights: np.ndarray,
        column: np.ndarray,
        symbol: np.ndarray,
        starts: np.ndarray,
    ) -> np.ndarray:
        """Return by (state, run of edges) the weights after saying the symbols of the edges: each
        edge begins with a column of ``weights``, the runs begin at ``starts``.
        """
        import numpy as np

        if len(column) * self.size < _LARGE:
            said = self.said(weights.take(column, axis=1), symbol)
            return by_run(said, starts, np.add)
        return self._sums(weights, column, symbol, starts, self._leaving)

    def sums_unsaid(
        self,
        weights: np.ndarray,
        column: np.ndarray,
        symbol: np.ndarray,
        starts: np.ndarray,
        plus: np.ufunc,
    ) -> np.ndarray:
        """Return by (state, run of edges) what the edges are worth, from the weights of what
        follows: ``sums_said`` transposed; those of a run are added, or the most taken.
        """
        import numpy as np

        if len(column) * self.size < _LARGE or plus is not np.add:
            said = self.unsaid(weights.take(column, axis=1), symbol)
            return by_run(said, starts, plus)
        return self._sums(weights, column, symbol, starts, self._entering)

    def _sums(
        self,
        weights: np.ndarray,
        column: np.ndarray,
        symbol: np.ndarray,
        starts: np.ndarray,
        arcs_of: list[list[tuple[int, np.ndarray]]],
    ) -> np.ndarray:
        """Large layers go state by state: that keeps to memory the processor has at hand."""
        import numpy as np

        found = np.zeros((self.size, len(starts)))
        row, said = np.empty((2, len(column)))
        for state, arcs in enumerate(arcs_of):
            weights[state].take(column, out=row, mode="clip")
            alike = None  # the sums of what is worth the same for every symbol, made at need
            for other, by_symbol in arcs:
                if len(by_symbol) > 1:
                    by_symbol.take(symbol, out=said, mode="clip")
                    said *= row
                    found[other] += by_run(said, starts, np.add)
                else:
                    alike = by_run(row, starts, np.add) if alike is None else alike
                    found[other] += by_symbol * alike
        return found

    @functools.cached_property
    def _leaving(self) -> list[list[tuple[int, np.ndarray]]]:
        """For each state the states that its arcs reach, with their weights by symbol, or with one
        for all symbols.
        """
        import numpy as np

        found: list[list[tuple[int, np.ndarray]]] = [[] for _ in range(self.size)]
        for step in self.steps:
            for state, row in enumerate(step.weights, start=step.low):
                if row.any():
                    by_symbol = row[:1] if np.ptp(row) == 0 else row
                    found[state].append((state + step.offset, by_symbol))
        return found

    @functools.cached_property
    def _entering(self) -> list[list[tuple[int, np.ndarray]]]:
        """For each state the states whose arcs reach it, with their weights likewise."""
        found: list[list[tuple[int, np.ndarray]]] = [[] for _ in range(self.size)]
        for state, arcs in enumerate(self._leaving):
            for target, by_symbol in arcs:
                found[target].append((state, by_symbol))
        return found


def silence() -> Alignments:
    """Return the alignments with nothing heard at all: every string counts with its own weight."""
    import numpy as np

    one, zero = np.ones((1, 1)), np.zeros(1, dtype=int)
    return Alignments(np.ones(1), np.ones(1), [Step(0, 0, one)], [], 1.0, zero, zero - 1, zero)


def beginning(said: Sequence[int], symbols: int) -> Alignments:
    """Return the alignments with strings that begin with these symbols, by number, of so many there
    are: each counts with its own weight, whatever follows.
    """
    import numpy as np

    size = len(said) + 1
    start, end, zero = np.zeros(size), np.zeros(size), np.zeros(size, dtype=int)
    start[0] = end[-1] = 1.0
    steps = [Step(0, 1, np.eye(symbols)[list(said)]), Step(size - 1, 0, np.ones((1, 1)))]
    return Alignments(start, end, steps, [], 1.0, zero, zero - 1, zero)


def align(channel: Channel, hearings: Sequence[HeardReport], longest: int) -> Alignments:
    """Return the automaton of one report's hearings: the radio's conditions side by side.

    ``longest`` is the longest report, in symbols. Where all of them are slots of a recogniser the
    radio's condition shows in its doubts alone, and states have none (-1). Raises ReportError where
    the hearings have too many words in all.
    """
    likely = channel.expected(hearings[0].radio)
    doubts_only = all(heard.slots for heard in hearings)
    found = []
    for number, share in [(0, 1.0)] if doubts_only else enumerate(likely):
        if share > 0:
            one = _hearing(channel, number, hearings[0], longest, swaps=True)
            for other in hearings[1:]:
                one = _both(one, _hearing(channel, number, other, longest, swaps=False))
            found.append((share, one))
    whole = _side_by_side(found)
    return dataclasses.replace(whole, condition=whole.condition - 1) if doubts_only else whole


def _hearing(
    channel: Channel, number: int, heard: HeardReport, longest: int, *, swaps: bool
) -> Alignments:
    """Return the automaton of one hearing in one condition: its ways side by side."""
    if heard.slots:
        return _side_by_side(
            [
                (
                    share,
                    _bordered(
                        channel, heard.part, _places(channel, number, places, longest, swaps=swaps)
                    ),
                )
                for share, places in _slots_with_borders(channel, heard)
            ]
        )
    ways = _with_borders(heard)
    scales = [sum(math.log(scale_of(word)) for word in words) for words in ways]
    # each way's words were scaled on their own
    shares = [math.exp(scale - max(scales)) / len(ways) for scale in scales]
    return _side_by_side(
        [
            (
                share,
                _bordered(
                    channel, heard.part, _words(channel, number, words, longest, swaps=swaps)
                ),
            )
            for words, share in zip(ways, shares, strict=True)
        ]
    )


def _side_by_side(blocks: Sequence[tuple[float, Alignments]]) -> Alignments:
    """Put automata side by side, each with the weight with which it is begun."""
    import numpy as np

    steps, closures, low = list[Step](), list[Closure](), 0
    products = list[tuple[int, tuple[Alignments, ...]]]()
    for _, block in blocks:
        products += [(low + begin, hearings) for begin, hearings in block.products]
        closures += [one._replace(low=low + one.low) for one in block.closures]
        steps += [one._replace(low=low + one.low) for one in block.steps]
        low += block.size
    return Alignments(
        np.concatenate([share * block.start for share, block in blocks]),
        np.concatenate([block.end for _, block in blocks]),
        _together(steps),
        closures,
        sum(share * block.nothing for share, block in blocks),
        condition=np.concatenate([block.condition for _, block in blocks]),
        place=np.concatenate([block.place for _, block in blocks]),
        words=np.concatenate([block.words for _, block in blocks]),
        products=products,
    )


def _together(steps: Sequence[Step]) -> list[Step]:
    """Return as few steps as do the same: one for each offset, with nothing where there is none."""
    import numpy as np

    found = []
    for offset in dict.fromkeys(step.offset for step in steps):
        alike = [step for step in steps if step.offset == offset]
        low = min(step.low for step in alike)
        high = max(step.low + len(step.weights) for step in alike)
        weights = np.zeros((high - low, max(step.weights.shape[1] for step in alike)))
        for step in alike:
            weights[step.low - low : step.low - low + len(step.weights)] += step.weights
        found.append(Step(low, offset, weights))
    return found


def _both(one: Alignments, other: Alignments) -> Alignments:
    """Return two hearings together: every state of one with every state of the other."""
    import numpy as np

    if one.size * other.size > MOST_STATES:
        raise ReportError(
            "these hearings have too many words to be combined",
            kind="too-long",
            hint="combine the last two or three only",
        )
    steps = []
    for a in one.steps:
        for b in other.steps:
            symbols = max(a.weights.shape[1], b.weights.shape[1])
            weights = np.zeros((len(a.weights), other.size, symbols))
            weights[:, b.source] = a.weights[:, None] * b.weights[None]
            flat = weights.reshape(-1, symbols)[b.low : len(a.weights) * other.size]
            low, offset = a.low * other.size + b.low, a.offset * other.size + b.offset
            high = one.size * other.size - max(0, offset)
            steps.append(Step(low, offset, flat[: high - low]))
    return Alignments(
        np.kron(one.start, other.start),
        np.kron(one.end, other.end),
        _together(steps),
        [
            *(
                Closure(c.low * other.size, c.outer, c.block, c.inner * other.size)
                for c in one.closures
            ),
            *(c for closure in other.closures for c in _for_each(closure, one.size, other.size)),
        ],
        one.nothing * other.nothing,
        np.repeat(one.condition, other.size),
        np.full(one.size * other.size, -1),
        np.zeros(one.size * other.size, dtype=int),
        [(0, (*(one.products[0][1] if one.products else (one,)), other))],
    )


def _for_each(closure: Closure, times: int, size: int) -> list[Closure]:
    """Return a closure for each of so many groups of ``size`` states."""
    if closure.outer * len(closure.block) * closure.inner == size:
        return [closure._replace(outer=times * closure.outer)]
    return [closure._replace(low=group * size + closure.low) for group in range(times)]


def scale_of(word: HeardWord) -> float:
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


def _slots_with_borders(
    channel: Channel, heard: HeardReport
) -> list[tuple[float, Sequence[HeardSlot]]]:
    """Return the places of a hearing, and those without the first or last slot where the answer may
    repeat the word at its border there, each with its weight.
    """
    places, index = heard.slots, channel.alphabet.index
    ways: list[tuple[float, Sequence[HeardSlot]]] = [(1.0, places)]
    if heard.part.after and len(places) > 3:
        repeated = places[0].passed * float(places[1].likelihood[index[heard.part.after]])
        ways.append((repeated, places[2:]))
    if heard.part.before:
        ways += [
            (
                share * float(some[-2].likelihood[index[heard.part.before]]) * some[-1].passed,
                some[:-2],
            )
            for share, some in ways
            if len(some) > 3
        ]
    return [(share / len(ways), some) for share, some in ways]


def _places(
    channel: Channel, number: int, places: Sequence[HeardSlot], longest: int, *, swaps: bool
) -> Alignments:
    """Return the automaton of a recogniser's places, gaps and slots in turn: the states are how
    many are accounted for, then as many between two symbols that were swapped.

    A symbol was heard at a place; between symbols places that hold none are passed over. Symbols
    that were swapped were heard in slots that follow one another.
    """
    import numpy as np

    count = len(places)
    likelihood = np.array([place.likelihood for place in places])
    passed = np.array([place.passed for place in places])
    heard, even = _misread(channel.misread, likelihood), likelihood.mean(axis=1)
    swapped = channel.swapped if swaps and count > 3 else 0.0
    over = np.eye(count + 1)
    for place in range(count + 1):
        over[place, place + 1 :] = np.cumprod(passed[place:])
    # a symbol that chance had nobody say is one of the vocabulary
    none = float(np.prod(passed + even)) / (2 * longest)
    size = (count + 1) * (2 if swapped else 1)
    steps = [Step(0, 1, (1 - swapped) * heard)]
    if swapped:
        is_slot = (np.arange(count - 2) % 2 == 1)[:, None]
        steps += [
            Step(0, count + 1, swapped * is_slot * heard[2:]),
            Step(count + 1, 2 - count, passed[1:-1, None] * heard[:-2]),
        ]
    start, end = np.zeros(size), np.zeros(size)
    start[0] = end[count] = 1.0
    return Alignments(
        start,
        end,
        steps,
        [Closure(0, 1, over, 1)],
        none,
        condition=np.full(size, number),
        place=np.full(size, -1),
        words=np.zeros(size, dtype=int),
    )


def _words(
    channel: Channel, number: int, words: Sequence[HeardWord], longest: int, *, swaps: bool
) -> Alignments:
    """Return the automaton of some words in one condition: the states of good moments, then those
    of bad ones, or those between two symbols that were swapped where there are no bad ones.
    """
    import numpy as np

    count, condition = len(words), channel.conditions[number]
    top = np.array([scale_of(word) for word in words])
    stray = np.array([word.stray for word in words]) / top
    insertion, deletion, misread, swapped = channel.slips(condition)
    heard = _misread(
        misread,
        np.array([word.likelihood for word in words]).reshape(count, channel.vocabulary)
        / top[:, None],
    )
    none = float(np.prod(stray)) / (2 * longest)
    places = count + 1
    passed = _passed(stray, insertion)
    if condition.begins:
        switch = np.array(
            [[1 - condition.begins, condition.begins], [condition.ends, 1 - condition.ends]]
        )
        bad_passed = _passed(stray, channel.bad_insertion)
        over = np.hstack([np.kron(switch[:, :1], passed), np.kron(switch[:, 1:], bad_passed)])
        size = 2 * places
        lost = np.repeat([deletion, channel.bad_deletion], places)[:, None]
        steps = [
            Step(0, 0, lost),
            Step(0, 1, (1 - deletion) * heard),
            Step(places, 1, (1 - channel.bad_deletion) * stray[:, None]),
        ]
    else:
        swapped = swapped if swaps else 0.0
        size, over, plain = places + (max(0, count - 1) if swapped else 0), passed, 1 - swapped
        steps = [
            Step(0, 0, np.full((places, 1), plain * deletion)),
            Step(0, 1, plain * (1 - deletion) * heard),
        ]
        if swapped:
            first = swapped * (1 - deletion) ** 2 * heard[1:]
            steps += [Step(0, places, first), Step(places, 2 - places, heard[:-1])]
    start, end = np.zeros(size), np.zeros(size)
    start[0], end[count] = 1 - condition.bad, 1.0
    if condition.begins:
        start[places], end[places + count] = condition.bad, 1.0
    steps = [step for step in steps if len(step.weights)]
    closures = [Closure(0, 1, over, 1)]
    place = np.arange(size) % places if condition.begins else np.arange(size)
    place[places:] += 0 if condition.begins else 1 - places  # one of two is heard, the second
    return Alignments(
        start, end, steps, closures, none, np.full(size, number), place, np.full(size, count)
    )


def _passed(stray: np.ndarray, insertion: float) -> np.ndarray:
    """Return by (words accounted for, later) what it is worth to pass over the words between."""
    import numpy as np

    places = len(stray) + 1
    over = np.zeros((places, places))
    for place in range(places):
        products = np.cumprod(insertion * stray[place:])
        over[place, place:] = (1 - insertion) * np.concatenate([[1.0], products])
    return over


def _misread(misread: float, heard: np.ndarray) -> np.ndarray:
    """Return the likelihoods of words by the symbol shown, which is so often said as another."""
    others = heard.sum(axis=1, keepdims=True) - heard
    found: np.ndarray = (1 - misread) * heard + misread / max(1, heard.shape[1] - 1) * others
    return found


def _bordered(channel: Channel, part: AskedPart, inner: Alignments) -> Alignments:
    """Return the automaton that waits outside the part: [wait for `after`] words [wait after
    `before`], and [all of it, where there is no `after`].
    """
    import numpy as np

    if not part.after and not part.before:
        return inner
    index, symbols = channel.alphabet.index, channel.vocabulary
    waits = [int(bool(part.after)), int(bool(part.before))]
    size, low = inner.size, waits[0]
    number = int(inner.condition[0])
    wait = np.ones((1, symbols))
    steps, start, end = list[Step](), np.zeros(size), inner.end
    if part.after:
        wait[0, index[part.after]] = 0.0
        steps.append(Step(0, 0, wait))
        go = np.zeros((1, symbols))
        go[0, index[part.after]] = 1.0
        steps += [
            Step(0, 1 + int(state), go * inner.start[state]) for state in inner.start.nonzero()[0]
        ]
    else:
        start = inner.start
    inside = [step._replace(low=low + step.low) for step in inner.steps]
    if part.before:
        inside = [_never(step, index[part.before], symbols) for step in inside]
        go = np.zeros((1, symbols))
        go[0, index[part.before]] = 1.0
        inside += [
            Step(low + int(state), size - int(state), go * inner.end[state])
            for state in inner.end.nonzero()[0]
        ]
        inside.append(Step(low + size, 0, np.ones((1, symbols))))
    steps += inside
    whole = Alignments(
        np.concatenate([np.ones(waits[0]), start, np.zeros(waits[1])]),
        np.concatenate([np.zeros(waits[0]), end, np.ones(waits[1])]),
        steps,
        [one._replace(low=low + one.low) for one in inner.closures],
        inner.nothing,
        np.full(low + size + waits[1], number),
        np.full(low + size + waits[1], -1),
        np.zeros(low + size + waits[1], dtype=int),
    )
    if not part.after:
        return whole
    all_of_it = Alignments(
        inner.start,
        inner.end,
        [_never(step, index[part.after], symbols) for step in inner.steps],
        inner.closures,
        0.0,
        inner.condition,
        inner.place,
        inner.words,
    )
    return _side_by_side([(1.0, whole), (1.0, all_of_it)])


def _never(step: Step, symbol: int, symbols: int) -> Step:
    """Return a step that is never taken with one symbol."""
    import numpy as np

    weights = np.repeat(step.weights, symbols // step.weights.shape[1], axis=1)
    weights[:, symbol] = 0.0
    return Step(step.low, step.offset, weights)
