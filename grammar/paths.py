"""All ways to read symbols: walking an automaton over a lattice of candidate symbols.

A transcript may leave open what was meant ("for" is 4, or F-O-R typed in capitals), so its symbols
form a lattice: places 0 … n, and at each place some (symbols, next place). Walking keeps every
(state, checks) that can be reached, so nothing is lost and nothing guessed.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from grammar.automaton import Automaton, Edge, bits, build
from grammar.message import Match, Message
from grammar.semirings import Semiring, Weight

Lattice = Sequence[Sequence[tuple[str, int]]]
Key = tuple[int, ...]
Arc = tuple[int, int, str]  # (place, next place, symbols)
_Before = tuple["_Before", int] | None  # the states so far, the last one outermost
_Rest = (
    tuple[tuple[int, ...], Arc, "_Rest"] | None
)  # the states and the arc of a step of a way, and the way after it


class Node(NamedTuple):
    """Where a walk can be: a state of the automaton and the states of its message's checks."""

    state: int
    checks: Key


class _Link(NamedTuple):
    """How a node was reached: from which node at which place, through which states, by which
    symbols.
    """

    place: int
    node: Node | None
    states: tuple[int, ...]
    symbols: str


@dataclass(slots=True)
class Walk:
    """What can be reached at each place of a lattice."""

    automaton: Automaton
    layers: list[dict[Node, list[_Link]]] = field(default_factory=list)
    cut_short: bool = False  # whether ``readings`` left ways untold

    @property
    def furthest(self) -> int:
        """The last place any way of reading gets to."""
        return max(place for place, layer in enumerate(self.layers) if layer)

    def complete(self, place: int) -> bool:
        """Tell whether a message may end at a place."""
        return any(may_end(self.automaton, node) for node in self.layers[place])

    def expected(self, place: int) -> dict[tuple[int, int], int]:
        """Return what could follow at a place: (message, leaf) → symbol mask, without what checks
        would refuse.
        """
        wanted: dict[tuple[int, int], int] = {}
        for node in self.layers[place]:
            for step in self.automaton.steps[node.state]:
                owner = self.automaton.owner[step.target]
                wanted[owner] = wanted.get(owner, 0) | step.mask
        return wanted

    def readings(self, most: int = 64) -> Iterator[tuple[tuple[Match, ...], tuple[Arc, ...]]]:
        """Yield the readings of the whole lattice with the arcs they take, at most ``most`` ways to
        each end; ``cut_short`` then tells whether there were more.

        A reading is one match, or several where reports run together.
        """
        last = len(self.layers) - 1
        for node in self.layers[last]:
            if may_end(self.automaton, node):
                for states, arcs in self._back(last, node, most):
                    found = trace(
                        self.automaton, states, "".join(symbols for _, _, symbols in arcs)
                    )
                    if found is not None:
                        yield found, arcs

    def _back(
        self, place: int, node: Node, most: int
    ) -> Iterator[tuple[list[int], tuple[Arc, ...]]]:
        """Yield (states, arcs) of the ways to a node, without recursion: a report may be long."""
        stack: list[tuple[int, Node, _Rest]] = [(place, node, None)]
        given = 0
        while stack and given < most:
            at, here, rest = stack.pop()
            for link in self.layers[at][here]:
                if link.node is None:
                    given += 1
                    yield _unrolled(here.state, rest)
                else:
                    stack.append(
                        (link.place, link.node, (link.states, (link.place, at, link.symbols), rest))
                    )
        self.cut_short = self.cut_short or bool(stack)


def _unrolled(start: int, rest: _Rest) -> tuple[list[int], tuple[Arc, ...]]:
    states, arcs = [start], []
    while rest is not None:
        taken, arc, rest = rest
        states.extend(taken)
        arcs.append(arc)
    return states, tuple(arcs)


def walk(automaton: Automaton, lattice: Lattice) -> Walk:
    """Return everything the automaton can reach over ``lattice``."""
    nothing: dict[Node, list[_Link]] = {}  # one for all places that nothing reaches
    layers = [{}, *[nothing] * len(lattice)]
    reached = 0
    for number, start in enumerate(automaton.starts):
        checks = (-1,) * len(automaton.messages[number].check_leaves)
        layers[0][Node(start, checks)] = [_Link(0, None, (), "")]
    for place, choices in enumerate(lattice):
        if place > reached:
            break
        for node in list(layers[place]):
            for symbols, target in choices:
                for end, states in _follow(automaton, node, symbols):
                    if layers[target] is nothing:
                        layers[target] = {}
                    layers[target].setdefault(end, []).append(_Link(place, node, states, symbols))
                    reached = max(reached, target)
    return Walk(automaton, layers)


def _follow(automaton: Automaton, node: Node, symbols: str) -> list[tuple[Node, tuple[int, ...]]]:
    ends: list[tuple[Node, _Before]] = [(node, None)]
    index = automaton.messages[0].alphabet.index
    for symbol in symbols:
        if symbol not in index:
            return []  # a number word may stand for a digit that is not in use
        bit = 1 << index[symbol]
        ends = [
            (after, (before, after.state))
            for here, before in ends
            for after in advance(automaton, here, symbol, bit)
        ]
        if not ends:
            break
    return [(end, _states(before)) for end, before in ends]


def _states(before: _Before) -> tuple[int, ...]:
    states = []
    while before is not None:
        before, state = before
        states.append(state)
    return tuple(reversed(states))


def may_end(automaton: Automaton, node: Node) -> bool:
    """Tell whether a report may end in a node."""
    return automaton.accepting[node.state] and automaton.messages[
        automaton.owner[node.state][0]
    ].settled(node.checks)


def advance(automaton: Automaton, node: Node, symbol: str, bit: int) -> Iterator[Node]:
    """Yield the nodes one symbol further."""
    for step in automaton.steps[node.state]:
        if step.mask & bit:
            yield from _behind(automaton, node, step, symbol)


def _behind(automaton: Automaton, node: Node, step: Edge, symbol: str) -> Iterator[Node]:
    """Yield the nodes behind a step that takes a symbol: one for each guess of the checks."""
    number, leaf = automaton.owner[step.target]
    message = automaton.messages[number]
    if step.begins and not may_end(automaton, node):
        return
    if not message.check_leaves:
        yield Node(step.target, ())
        return
    checks = (-1,) * len(message.check_leaves) if step.begins else node.checks
    for key in message.follow(leaf, checks, symbol):
        yield Node(step.target, key)


def begun(automaton: Automaton, message: Message, *, checked: bool) -> Node:
    """Return the node in which a message, the only one of the automaton, begins."""
    return Node(automaton.starts[0], (-1,) * (len(message.check_leaves) if checked else 0))


def onward(
    automaton: Automaton, node: Node, follow: Callable[[int, Key, str], Iterable[Key]] | None
) -> Iterator[tuple[int, Node]]:
    """Yield the symbols (bit mask) said next and the node behind them, in an automaton of one
    message: with its ``follow`` one by one, each with the states of the checks; with None check
    symbols are like any others.
    """
    symbols = automaton.messages[0].alphabet.symbols
    for step in automaton.steps[node.state]:
        if follow is None:
            yield step.mask, Node(step.target, ())
            continue
        leaf = automaton.owner[step.target][1]
        for bit in bits(step.mask):
            for key in follow(leaf, node.checks, symbols[bit]):
                yield 1 << bit, Node(step.target, key)


def by_length(
    message: Message,
    semiring: Semiring[Weight],
    weigh: Callable[[int, int], Weight],
    *,
    checked: bool = True,
) -> Iterator[Weight]:
    """Yield for strings of 1, 2, 3 … symbols the sum over all of that length, each weighing the
    product of its symbols.

    ``weigh(leaf, mask)`` is the sum over the symbols of a mask that a leaf may say next. With
    ``checked`` only strings whose checks hold count, symbol by symbol; without, check symbols are
    like any others.
    """
    zero, one, plus, times = semiring
    automaton = build([message])
    checked = checked and bool(message.check_leaves)
    layer = {begun(automaton, message, checked=checked): one}
    weigh = functools.cache(weigh)
    follow = functools.cache(message.follow) if checked else None
    while layer:
        after: dict[Node, Weight] = {}
        for node, weight in layer.items():
            for mask, target in onward(automaton, node, follow):
                more = times(weight, weigh(automaton.owner[target.state][1], mask))
                after[target] = plus(after[target], more) if target in after else more
        layer = after
        if layer:
            done = (
                weight
                for node, weight in layer.items()
                if automaton.accepting[node.state] and (not checked or may_end(automaton, node))
            )
            yield functools.reduce(plus, done, zero)


def trace(automaton: Automaton, states: Sequence[int], symbols: str) -> tuple[Match, ...] | None:
    """Return the matches along a path (one state more than symbols); None where a check does not
    hold.
    """
    matches: list[Match | None] = []
    said: list[int] = []
    texts: list[str] = []
    text = ""
    number = automaton.owner[states[0]][0]
    for before, state, symbol in zip(states, states[1:], symbols, strict=False):
        if _begins(automaton, before, state):
            matches.append(automaton.messages[number].match(said, texts))
            said, texts = [], []
        number, leaf = automaton.owner[state]
        text += symbol
        if automaton.ended[state]:
            said.append(leaf)
            texts.append(text)
            text = ""
    matches.append(automaton.messages[number].match(said, texts))
    found = tuple(match for match in matches if match is not None)
    return found if len(found) == len(matches) else None


def _begins(automaton: Automaton, before: int, state: int) -> bool:
    """Tell whether the only way from one state to another begins a new report.

    A target of a beginning edge is reached by no other edge from the same state: a leaf that may
    both follow a part and begin the message, behind a part that may end it, would make the message
    empty, which layouts are refused for.
    """
    return all(step.begins for step in automaton.steps[before] if step.target == state)


def string_lattice(symbols: Iterable[str]) -> list[list[tuple[str, int]]]:
    """Return the lattice of a plain string."""
    return [[(symbol, place + 1)] for place, symbol in enumerate(symbols)]
