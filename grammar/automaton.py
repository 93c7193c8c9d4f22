"""Messages as automata over symbols: one state path for each way to read a string.

Made of the courses of the layouts, position by position (V. M. Glushkov 1961): every code table at
every place is a copy of its table's deterministic automaton, and has one junction, the state in
which its codeword has just ended. So two different paths for a string are two different ways to cut
it into codewords, which is what the proof looks for.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from grammar.codes import DONE, CodeTable, Fragment
from grammar.errors import CodeError
from grammar.message import Message
from grammar.semirings import ends_first

MOST_EDGES = 300_000
MOST_INNER = 400_000  # edges within codewords, at all places of all messages


class Edge(NamedTuple):
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
    steps: list[list[Edge]] = field(default_factory=list)
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


def build(messages: Sequence[Message], *, run_together: bool = False) -> Automaton:
    """Return the automaton of ``messages``; with ``run_together`` a report may follow another
    without a pause.

    Raises CodeError where the layouts are too large to hold.
    """
    automaton = Automaton(tuple(messages))
    finals: list[int] = []
    fragments: dict[CodeTable, Fragment] = {}
    size = 0
    for message in messages:
        for table in message.tables:
            if table not in fragments:
                fragments[table] = table.fragment()
            size += sum(map(len, fragments[table]))
            if size > MOST_INNER:
                raise CodeError(
                    f"message {message.name}: tables whose codewords branch more than"
                    f" {MOST_INNER} times in all",
                    kind="too-large",
                    hint="fewer or shorter codewords, or fewer places of large tables",
                )
    for number, message in enumerate(automaton.messages):
        finals.extend(_add(automaton, number, message, fragments))
    _trim(automaton, finals)
    if run_together:
        _join(automaton)
    return automaton


def _add(
    automaton: Automaton, number: int, message: Message, fragments: Mapping[CodeTable, Fragment]
) -> list[int]:
    start = automaton.state((number, -1), ended=True)
    automaton.starts.append(start)
    junctions, entries, size = [], [], 0
    for leaf, table in enumerate(message.tables):
        fragment = fragments[table]
        junction = automaton.state((number, leaf), ended=True)
        inner = [automaton.state((number, leaf), ended=False) for _ in fragment[1:]]
        places = dict(enumerate(inner, start=1)) | {DONE: junction}
        for state, edges in zip(inner, fragment[1:], strict=True):
            automaton.steps[state] = [Edge(mask, places[target]) for mask, target in edges]
        junctions.append(junction)
        entries.append([Edge(mask, places[target]) for mask, target in fragment[0]])
    reached = [(start, 0), *zip(junctions, message.behind, strict=True)]
    for state, point in reached:
        steps = [step for leaf in message.next_leaves(point) for step in entries[leaf]]
        size += len(steps)
        if size > MOST_EDGES:
            raise _too_many(message)
        automaton.steps[state] = steps
        automaton.accepting[state] = message.may_end[point]
    return [state for state, point in reached if message.may_end[point]]


def _too_many(message: Message) -> CodeError:
    return CodeError(
        f"message {message.name}: too many optional parts or alternatives in a row",
        kind="too-large",
        hint="group them: ( a b c )?",
    )


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
    if len(alive) < len(automaton.steps):
        for state, steps in enumerate(automaton.steps):
            automaton.steps[state] = [step for step in steps if step.target in alive]


def _join(automaton: Automaton) -> None:
    """Let every complete report be followed by any other."""
    begins = [
        Edge(step.mask, step.target, True)
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


class EdgeFrom(NamedTuple):
    """An edge with the state it leaves."""

    source: int
    target: int
    mask: int


def edges(automaton: Automaton) -> list[EdgeFrom]:
    """Return the edges of the automaton of one message, those into a state before those out of
    it.
    """
    targets = [[step.target for step in steps] for steps in automaton.steps]
    return [
        EdgeFrom(state, step.target, step.mask)
        for state in reversed(ends_first(targets))
        for step in automaton.steps[state]
    ]


def bits(mask: int) -> Iterator[int]:
    """Yield the numbers of the bits set."""
    while mask:
        low = mask & -mask
        yield low.bit_length() - 1
        mask ^= low
