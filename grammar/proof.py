"""Proof that no string has two readings, or a shortest string that has, with both.

Two copies of the automaton read the same symbols side by side (the squared automaton; for codes
without layouts this is the test of Sardinas and Patterson 1953). A pair of states that has parted
ways once and in which both copies may end is an ambiguity; a search by length finds a shortest one.
Codewords are never listed: a packed table of any size has a few states a place.

Check symbols only take strings away, so a book proven without them is proven. Where that fails, the
search is repeated with the states of both copies' checks, kept to the pairs that mattered.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple

from grammar.automaton import Automaton, Edge, bits, build
from grammar.errors import CodeError
from grammar.message import Match, Message
from grammar.paths import Node, advance, may_end, trace

MOST_PAIRS = 300_000  # pairs of states
MOST_WORK = 2_000_000  # edges held against each other
_MOST_WITNESSES = 200  # shortest witnesses looked at for one of unlike values
_CHECKED_WORK = 6  # times the work where the states of checks are followed as well

Pair = tuple[int, int, bool]
_Sources = dict[
    Pair, list[tuple[Pair | None, int]]
]  # how each pair is reached, and by which symbols
Both = tuple[Node, Node, bool]


class Ambiguity(NamedTuple):
    """A shortest string with two readings; each reading is one match, or several where reports run
    together.
    """

    string: str
    one: tuple[Match, ...]
    other: tuple[Match, ...]

    @property
    def alike(self) -> bool:
        """Whether both readings say the same values."""
        one, other = (
            [(match.message.name, match.levels()) for match in side]
            for side in (self.one, self.other)
        )
        return one == other

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
    members = [_Member(start, side) for side, start in enumerate(automaton.starts)]
    return _Search(automaton, members, [(start, start, False) for start in automaton.starts]).run()


def overlap(one: Sequence[Message], other: Sequence[Message]) -> Ambiguity | None:
    """Return a shortest string that is a message of both lists, or None."""
    automaton = build([*one, *other])
    split = len(one)
    members = [_Member(start, int(n >= split)) for n, start in enumerate(automaton.starts)]
    return _Search(automaton, members, []).run()


def drawn_alike(messages: Sequence[Message], same: Mapping[str, str]) -> tuple[str, str] | None:
    """Return a shortest pair of unlike strings of ``messages`` that look alike, or None: proven to
    be none; ``same`` holds, for each symbol that looks like others, all that look so.

    Raises CodeError as ``ambiguity``.
    """
    automaton = build(messages)
    alphabet = messages[0].alphabet
    mask_of = {symbol: 1 << alphabet.index[symbol] for symbol in alphabet.symbols}
    starts = [_begin(automaton, start) for start in automaton.starts]
    origin: dict[Both, tuple[Both | None, str, str]] = {
        (one, other, False): (None, "", "") for one in starts for other in starts
    }
    layer, work = list(origin), 0
    while layer:
        further = []
        for both in layer:
            one, other, parted = both
            if parted and may_end(automaton, one) and may_end(automaton, other):
                return _pair_of(origin, both)
            masks = [_mask(automaton.steps[node.state]) for node in (one, other)]
            for bit in bits(masks[0]):
                symbol = alphabet.symbols[bit]
                for read in same.get(symbol, symbol):
                    if not masks[1] & mask_of[read]:
                        continue
                    ahead = list(advance(automaton, other, read, mask_of[read]))
                    for a in advance(automaton, one, symbol, 1 << bit):
                        work += len(ahead)
                        _within_bounds(len(origin), work)
                        for b in ahead:
                            after = (a, b, parted or symbol != read)
                            if after not in origin:
                                origin[after] = (both, symbol, read)
                                further.append(after)
        layer = further
    return None


def _pair_of(
    origin: Mapping[Both, tuple[Both | None, str, str]], both: Both | None
) -> tuple[str, str]:
    one = other = ""
    while both is not None:
        both, symbol, read = origin[both]
        one, other = symbol + one, read + other
    return one, other


class _Member(NamedTuple):
    """A state reached by the symbols of its group; members of unlike sides are a pair that has
    parted.
    """

    state: int
    side: int
    before: _Member | None = None
    mask: int = 0


class _Search:
    """Search by length for pairs that have parted and in which both copies may end.

    Messages begin apart. While what they begin with tells them from each other, all that the same
    symbols lead to stays one group, which stands for its pairs: so the work grows with the
    messages, not with their pairs.
    """

    def __init__(
        self, automaton: Automaton, members: list[_Member], together: Sequence[Pair]
    ) -> None:
        """Take the starts as members of one group, and pairs that have not parted."""
        self.automaton = automaton
        self.checked = any(message.check_leaves for message in automaton.messages)
        self.sources: _Sources = {pair: [(None, 0)] for pair in together}
        self.groups, self.pairs = [members], list(together)
        self.ends: list[Pair] = []
        self.work = 0

    def run(self) -> Ambiguity | None:
        """Return an ambiguity of least length, or None."""
        while self.groups or self.pairs:
            self.groups = [after for group in self.groups for after in self.grouped(group)]
            self.pairs = [after for pair in self.pairs for after in self.paired(pair)]
            if self.ends and not self.checked:
                told = (_told(self.automaton, self.sources, end) for end in self.ends)
                return _best(itertools.chain.from_iterable(told))
        if not self.ends:
            return None
        useful = _useful(self.sources, self.ends)
        starts = [pair for pair in useful if self.sources[pair][0][0] is None]
        return _search_checked(self.automaton, starts, useful)

    def grouped(self, group: Sequence[_Member]) -> Iterable[list[_Member]]:
        """Return the groups after a group; where they are no smaller, its pairs go on by
        themselves.
        """
        after: dict[int, list[_Member]] = {}
        size = 0
        for member in group:
            for step in self.automaton.steps[member.state]:
                size += step.mask.bit_count()
                if size <= len(group):
                    for bit in bits(step.mask):
                        reached = _Member(step.target, member.side, member, 1 << bit)
                        after.setdefault(bit, []).append(reached)
        self.work += size
        if size > len(group):
            self.pairs.extend(self.parted(group, self.automaton.steps))
            return []
        for members in after.values():
            done = [member for member in members if self.automaton.accepting[member.state]]
            self.ends.extend(self.parted(done))
        return [members for members in after.values() if len({m.side for m in members}) > 1]

    def parted(
        self, group: Sequence[_Member], steps: Sequence[Sequence[Edge]] | None = None
    ) -> Iterable[Pair]:
        """Yield the pairs of a group, with how they were reached; only those that may go on, where
        ``steps`` are given.
        """
        masks = [_mask(steps[member.state]) if steps else -1 for member in group]
        for n, (one, mask) in enumerate(zip(group, masks, strict=True)):
            for other, shared in zip(group[n + 1 :], masks[n + 1 :], strict=True):
                self.work += 1
                if mask & shared and one.side != other.side:
                    _within_bounds(len(self.sources), self.work)
                    yield self.reached(one, other)

    def reached(self, one: _Member, other: _Member) -> Pair:
        """Note how a pair of a group was reached."""
        pair: Pair = (one.state, other.state, True)
        if pair not in self.sources:
            if one.before is None or other.before is None:
                self.sources[pair] = [(None, 0)]
            else:
                self.sources[pair] = [(self.reached(one.before, other.before), one.mask)]
        return pair

    def paired(self, pair: Pair) -> Iterable[Pair]:
        """Yield the pairs after a pair that were not met before."""
        automaton, sources = self.automaton, self.sources
        self.work += len(automaton.steps[pair[0]]) * len(automaton.steps[pair[1]])
        _within_bounds(len(sources), self.work)
        for mask, after in _next_pairs(automaton, pair):
            if after not in sources:
                sources[after] = [(pair, mask)]
                yield after
                if after[2] and automaton.accepting[after[0]] and automaton.accepting[after[1]]:
                    self.ends.append(after)
            elif self.checked:
                sources[after].append((pair, mask))


def _best(found: Iterable[Ambiguity]) -> Ambiguity:
    """Return the first whose readings differ in what they say; where none of those looked at does,
    the first of all.
    """
    some = list(itertools.islice(found, _MOST_WITNESSES))
    return next((one for one in some if not one.alike), some[0])


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


def _told(automaton: Automaton, sources: _Sources, end: Pair) -> Iterator[Ambiguity]:
    """Yield ambiguities that end in a pair: with the lowest symbols on the way to it, then with any
    other for one of them.
    """
    path, choices = [end], []
    pair: Pair | None = end
    symbols = automaton.messages[0].alphabet.symbols
    while pair is not None:
        before, mask = sources[pair][0]
        if before is not None:
            path.append(before)
            choices.append([symbols[bit] for bit in bits(mask)])
        pair = before
    path.reverse()
    choices.reverse()
    one, other = [p[0] for p in path], [p[1] for p in path]
    lowest = "".join(options[0] for options in choices)
    yield _witness(automaton, lowest, one, other)
    for place, options in enumerate(choices):
        for symbol in options[1:]:
            yield _witness(automaton, lowest[:place] + symbol + lowest[place + 1 :], one, other)


def _witness(
    automaton: Automaton, string: str, one: Sequence[int], other: Sequence[int]
) -> Ambiguity:
    first, second = trace(automaton, one, string), trace(automaton, other, string)
    if (
        first is None or second is None
    ):  # pragma: no cover - both paths were followed with their checks
        raise AssertionError(f"witness {string!r} does not read back")
    return Ambiguity(string, first, second)


def _useful(sources: _Sources, ends: Sequence[Pair]) -> set[Pair]:
    """Return the pairs from which an end can be reached."""
    useful, waiting = set(ends), list(ends)
    while waiting:
        for before, _ in sources[waiting.pop()]:
            if before is not None and before not in useful:
                useful.add(before)
                waiting.append(before)
    return useful


def _search_checked(
    automaton: Automaton, starts: Sequence[Pair], useful: set[Pair]
) -> Ambiguity | None:
    """Search by length with the checks of both copies."""
    origin: dict[Both, tuple[Both | None, str]] = {
        (_begin(automaton, one), _begin(automaton, other), parted): (None, "")
        for one, other, parted in starts
    }
    layer, work = list(origin), 0
    alphabet = automaton.messages[0].alphabet
    while layer:
        ends, after_layer = [], []
        for both in layer:
            one, other, parted = both
            masks = (_mask(automaton.steps[one.state]), _mask(automaton.steps[other.state]))
            for bit in bits(masks[0] & masks[1]):
                symbol = alphabet.symbols[bit]
                others = list(advance(automaton, other, symbol, 1 << bit))
                for a in advance(automaton, one, symbol, 1 << bit):
                    work += _CHECKED_WORK * len(others)
                    _within_bounds(len(origin), work)
                    for b in others:
                        # Copies that have not parted may differ in their guesses of the length:
                        # they part later, to cover unlike lengths.
                        after = (a, b, parted or a.state != b.state)
                        if after in origin or (a.state, b.state, after[2]) not in useful:
                            continue
                        origin[after] = (both, symbol)
                        after_layer.append(after)
                        if after[2] and may_end(automaton, a) and may_end(automaton, b):
                            ends.append(after)
        if ends:
            return _best(_told_checked(automaton, origin, end) for end in ends)
        layer = after_layer
    return None


def _begin(automaton: Automaton, state: int) -> Node:
    return Node(state, (-1,) * len(automaton.messages[automaton.owner[state][0]].check_leaves))


def _mask(steps: Sequence[Edge]) -> int:
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
