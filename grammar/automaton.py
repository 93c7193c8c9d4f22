"""Messages as automata over symbols: one state path for each way to read a string.

The construction is position by position (V. M. Glushkov 1961): every code table at every place of a
layout is a copy of its table's deterministic automaton, and has one junction, the state in which
its codeword has just ended. So two different paths for a string are two different ways to cut it
into codewords, which is what the proof looks for.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from grammar.codes import DONE
from grammar.errors import CodeError
from grammar.layout import Either, InOrder, Leaf, Maybe, Node
from grammar.message import Message

MOST_EDGES = 300_000


class Step(NamedTuple):
    """An edge: the symbols it takes (bit mask), where it leads, and whether it begins a new
    report.
    """

    mask: int
    target: int
    begins: bool = False


@dataclass(slots=True)
class Automaton:
    """States of several messages together.

    ``steps[state]`` are its edges; ``starts`` one state for each message; ``owner[state]`` =
    (message number, leaf number) of the last symbol taken (leaf -1 in a start); ``ended[state]``
    whether that leaf's codeword is complete; ``accepting[state]`` whether the message is.
    """

    messages: tuple[Message, ...]
    steps: list[list[Step]] = field(default_factory=list)
    starts: list[int] = field(default_factory=list)
    owner: list[tuple[int, int]] = field(default_factory=list)
    ended: list[bool] = field(default_factory=list)
    accepting: list[bool] = field(default_factory=list)

    def state(self, owner: tuple[int, int], *, ended: bool) -> int:
        """Add a state."""
        self.steps.append([])
        self.owner.append(owner)
        self.ended.append(ended)
        self.accepting.append(False)
        return len(self.steps) - 1


class _Shape(NamedTuple):
    nullable: bool
    first: Sequence[int]
    last: Sequence[int]


def build(messages: Sequence[Message], *, run_together: bool = False) -> Automaton:
    """Return the automaton of ``messages``; with ``run_together`` a report may follow another
    without a pause.

    Raises CodeError where the layouts are too large to hold.
    """
    automaton = Automaton(tuple(messages))
    finals: list[int] = []
    for number, message in enumerate(automaton.messages):
        finals.extend(_add(automaton, number, message))
    _trim(automaton, finals)
    if run_together:
        _join(automaton)
    return automaton


def _add(automaton: Automaton, number: int, message: Message) -> list[int]:
    follow: list[list[int]] = [[] for _ in message.tables]
    root = _shape(message.node, follow, [0])
    start = automaton.state((number, -1), ended=True)
    automaton.starts.append(start)
    junctions, entries, size = [], [], 0
    for leaf, table in enumerate(message.tables):
        fragment = table.fragment()
        junction = automaton.state((number, leaf), ended=True)
        inner = [automaton.state((number, leaf), ended=False) for _ in fragment[1:]]
        places = dict(enumerate(inner, start=1)) | {DONE: junction}
        for state, edges in zip(inner, fragment[1:], strict=True):
            automaton.steps[state] = [Step(mask, places[target]) for mask, target in edges]
        junctions.append(junction)
        entries.append([Step(mask, places[target]) for mask, target in fragment[0]])
    for state, leaves in [(start, root.first), *zip(junctions, follow, strict=True)]:
        steps = [step for leaf in leaves for step in entries[leaf]]
        size += len(steps)
        if size > MOST_EDGES:
            raise CodeError(
                f"message {message.name}: too many optional parts in a row",
                kind="too-large",
                hint="group them: ( a b c )?",
            )
        automaton.steps[state] = steps
    for leaf in root.last:
        automaton.accepting[junctions[leaf]] = True
    return [junctions[leaf] for leaf in root.last]


def _shape(node: Node, follow: list[list[int]], pairs: list[int]) -> _Shape:
    """Return which leaves may begin and end a node, and note which leaves may follow which."""
    if isinstance(node, Leaf):
        return _Shape(False, (node.number,), (node.number,))
    if isinstance(node, Maybe):
        inner = _shape(node.part, follow, pairs)
        return _Shape(True, inner.first, inner.last)
    shapes = [_shape(part, follow, pairs) for part in node.parts]
    if isinstance(node, Either):
        return _Shape(
            False, [n for s in shapes for n in s.first], [n for s in shapes for n in s.last]
        )
    return _in_order(node, shapes, follow, pairs)


def _in_order(
    node: InOrder, shapes: Sequence[_Shape], follow: list[list[int]], pairs: list[int]
) -> _Shape:
    first: list[int] = []
    open_start = True
    ends: list[int] = []
    for shape in shapes:
        if open_start:
            first.extend(shape.first)
            open_start = shape.nullable
        for end in ends:
            follow[end].extend(shape.first)
        pairs[0] += len(ends) * len(shape.first)
        if pairs[0] > MOST_EDGES:
            raise CodeError(
                f"a layout of {len(node.parts)} parts has too many optional parts in a row",
                kind="too-large",
                hint="group them: ( a b c )?",
            )
        ends = [*(ends if shape.nullable else ()), *shape.last]
    return _Shape(open_start, first, ends)


def _trim(automaton: Automaton, finals: Sequence[int]) -> None:
    """Drop edges into states from which no message can be completed."""
    sources: list[list[int]] = [[] for _ in automaton.steps]
    for state, steps in enumerate(automaton.steps):
        for step in steps:
            sources[step.target].append(state)
    alive, waiting = set(finals), list(finals)
    while waiting:
        for source in sources[waiting.pop()]:
            if source not in alive:
                alive.add(source)
                waiting.append(source)
    for state, steps in enumerate(automaton.steps):
        automaton.steps[state] = [step for step in steps if step.target in alive]


def _join(automaton: Automaton) -> None:
    """Let every complete report be followed by any other."""
    begins = [
        Step(step.mask, step.target, True)
        for start in automaton.starts
        for step in automaton.steps[start]
    ]
    if len(begins) * sum(automaton.accepting) > MOST_EDGES:
        raise CodeError(
            f"{len(automaton.messages)} messages have too many ways to follow one another",
            kind="too-large",
            hint="set run_together = false, or begin messages with a symbol that tells them apart",
        )
    for state, done in enumerate(automaton.accepting):
        if done:
            automaton.steps[state] = [*automaton.steps[state], *begins]


def bits(mask: int) -> Iterator[int]:
    """Yield the numbers of the bits set."""
    while mask:
        low = mask & -mask
        yield low.bit_length() - 1
        mask ^= low
