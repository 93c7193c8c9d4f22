"""Proof that no string has two readings, or a shortest string that has, with both.

Two copies of the automaton read the same symbols side by side (the squared automaton; for codes
without layouts this is the test of Sardinas and Patterson 1953). A pair of states that has parted
ways once and in which both copies may end is an ambiguity; a search by length finds a shortest one.
Codewords are never listed: a packed table of any size has a few states a place.

Check symbols only take strings away, so a book proven without them is proven. Where that fails, the
search is repeated with the states of both copies' checks, kept to the pairs that mattered.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from grammar.automaton import Automaton, Step, bits, build
from grammar.errors import CodeError
from grammar.message import Match, Message
from grammar.paths import Node, advance, may_end, trace

MOST_PAIRS = 300_000  # pairs of states
MOST_WORK = 2_000_000  # edges held against each other
_CHECKED_WORK = 6  # times the work where the states of checks are followed as well

Pair = tuple[int, int, bool]
Both = tuple[Node, Node, bool]


class Ambiguity(NamedTuple):
    """A shortest string with two readings; each reading is one match, or several where reports run
    together.
    """

    string: str
    one: tuple[Match, ...]
    other: tuple[Match, ...]

    @property
    def where(self) -> str:
        """Name the place of the ambiguity: within a message, between messages, or across a join."""
        if len(self.one) > 1 or len(self.other) > 1:
            return "reports that run together"
        names = {self.one[0].message.name, self.other[0].message.name}
        return (
            f"message {names.pop()}"
            if len(names) == 1
            else "messages " + " and ".join(sorted(names))
        )


def ambiguity(messages: Sequence[Message], *, run_together: bool = False) -> Ambiguity | None:
    """Return a shortest ambiguity of ``messages`` (one direction), or None: proven to have none.

    Raises CodeError (kind "too-large") where the search would exceed its bound; nothing is then
    claimed.
    """
    automaton = build(messages, run_together=run_together)
    starts = automaton.starts
    _within_bounds(len(starts) ** 2 // 2, 0)
    pairs = [(s, s, False) for s in starts] + [
        (s, t, True) for i, s in enumerate(starts) for t in starts[i + 1 :]
    ]
    return _search(automaton, pairs)


def overlap(one: Sequence[Message], other: Sequence[Message]) -> Ambiguity | None:
    """Return a shortest string that is a message of both lists, or None."""
    automaton = build([*one, *other])
    split = len(one)
    _within_bounds(split * len(other), 0)
    return _search(
        automaton,
        [(s, t, True) for s in automaton.starts[:split] for t in automaton.starts[split:]],
    )


def _search(automaton: Automaton, pairs: Sequence[Pair]) -> Ambiguity | None:
    checked = any(message.check_leaves for message in automaton.messages)
    sources: dict[Pair, list[tuple[Pair | None, int]]] = {pair: [(None, 0)] for pair in pairs}
    waiting, ends, work = deque(pairs), [], 0
    while waiting:
        pair = waiting.popleft()
        work += len(automaton.steps[pair[0]]) * len(automaton.steps[pair[1]])
        _within_bounds(len(sources), work)
        for mask, after in _next_pairs(automaton, pair):
            if after not in sources:
                sources[after] = [(pair, mask)]
                waiting.append(after)
                if after[2] and automaton.accepting[after[0]] and automaton.accepting[after[1]]:
                    if not checked:
                        return _told(automaton, sources, after)
                    ends.append(after)
            elif checked:
                sources[after].append((pair, mask))
    return _search_checked(automaton, pairs, _useful(sources, ends)) if ends else None


def _within_bounds(pairs: int, work: int) -> None:
    if pairs > MOST_PAIRS or work > MOST_WORK:
        raise CodeError(
            "these layouts have too many optional parts or alternatives to prove that no string has"
            " two readings",
            kind="too-large",
            hint=(
                "begin optional parts with symbols of their own, group parts that are said"
                " together, or split the message"
            ),
        )


def _next_pairs(automaton: Automaton, pair: Pair) -> Iterable[tuple[int, Pair]]:
    one, other, parted = pair
    for i, a in enumerate(automaton.steps[one]):
        if not parted:
            yield a.mask, (a.target, a.target, False)
        for b in automaton.steps[other][0 if parted else i + 1 :]:
            mask = a.mask & b.mask
            if mask:
                yield mask, (a.target, b.target, True)


def _told(
    automaton: Automaton, sources: dict[Pair, list[tuple[Pair | None, int]]], end: Pair
) -> Ambiguity:
    path, string = [end], ""
    pair: Pair | None = end
    while pair is not None:
        before, mask = sources[pair][0]
        if before is not None:
            path.append(before)
            string = automaton.messages[0].alphabet.symbols[next(bits(mask))] + string
        pair = before
    path.reverse()
    return _witness(automaton, string, [p[0] for p in path], [p[1] for p in path])


def _witness(
    automaton: Automaton, string: str, one: Sequence[int], other: Sequence[int]
) -> Ambiguity:
    first, second = trace(automaton, one, string), trace(automaton, other, string)
    if (
        first is None or second is None
    ):  # pragma: no cover - both paths were followed with their checks
        raise AssertionError(f"witness {string!r} does not read back")
    return Ambiguity(string, first, second)


def _useful(sources: dict[Pair, list[tuple[Pair | None, int]]], ends: Sequence[Pair]) -> set[Pair]:
    """Return the pairs from which an end can be reached."""
    useful, waiting = set(ends), list(ends)
    while waiting:
        for before, _ in sources[waiting.pop()]:
            if before is not None and before not in useful:
                useful.add(before)
                waiting.append(before)
    return useful


def _search_checked(
    automaton: Automaton, pairs: Sequence[Pair], useful: set[Pair]
) -> Ambiguity | None:
    """Search by length with the checks of both copies."""
    origin: dict[Both, tuple[Both | None, str]] = {}
    for pair in pairs:
        if pair in useful:
            origin[_begin(automaton, pair[0]), _begin(automaton, pair[1]), pair[2]] = (None, "")
    waiting, work = deque(origin), 0
    alphabet = automaton.messages[0].alphabet
    while waiting:
        both = waiting.popleft()
        one, other, parted = both
        for bit in bits(_mask(automaton.steps[one.state]) & _mask(automaton.steps[other.state])):
            symbol = alphabet.symbols[bit]
            others = list(advance(automaton, other, symbol, 1 << bit))
            for a in advance(automaton, one, symbol, 1 << bit):
                work += _CHECKED_WORK * len(others)
                _within_bounds(len(origin), work)
                for b in others:
                    # Copies that have not parted may differ in their guesses of the length: they
                    # part later, to cover unlike lengths.
                    after = (a, b, parted or a.state != b.state)
                    if after not in origin and (a.state, b.state, after[2]) in useful:
                        origin[after] = (both, symbol)
                        waiting.append(after)
                        if after[2] and may_end(automaton, a) and may_end(automaton, b):
                            return _told_checked(automaton, origin, after)
    return None


def _begin(automaton: Automaton, state: int) -> Node:
    return Node(state, (-1,) * len(automaton.messages[automaton.owner[state][0]].check_leaves))


def _mask(steps: Sequence[Step]) -> int:
    mask = 0
    for step in steps:
        mask |= step.mask
    return mask


def _told_checked(
    automaton: Automaton, origin: dict[Both, tuple[Both | None, str]], end: Both
) -> Ambiguity:
    path, string = [end], ""
    both: Both | None = end
    while both is not None:
        before, symbol = origin[both]
        if before is not None:
            path.append(before)
            string = symbol + string
        both = before
    path.reverse()
    return _witness(automaton, string, [p[0].state for p in path], [p[1].state for p in path])
