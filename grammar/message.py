"""A message: a layout bound to its code tables. Strings to matches, and levels to the cheapest
string.

Everything here is derived from the layout's tree; a message never lists its strings.
"""

from __future__ import annotations

import functools
import math
import operator
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal as OneOf
from typing import NamedTuple, cast

from grammar.codes import Check, CodeTable, Entry
from grammar.fields import FieldBase, Value
from grammar.layout import InOrder, Leaf, Maybe, Node, bottom_up, leaves
from grammar.symbols import Alphabet

Direction = OneOf["car", "pit"]
Cost = Callable[[CodeTable, str], float]
# beyond so many ways through a layout a regular expression might try them all, one after the other
MOST_WAYS = 5000


class Implied(NamedTuple):
    """A field left unsaid because it has its usual value."""

    name: str
    level: int
    value: Value
    warnings: tuple[str, ...]


class PlannedCheck(NamedTuple):
    """A check to verify: its place among the parts said, its table, and the places it covers."""

    place: int
    table: Check
    covers: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """What one way through a layout says: which leaves, which fields they give, which are implied,
    which checks must hold.

    ``entries`` looks codewords up, one for each table; ``order`` is the order of the fields in the
    message where it is not that of the names said and then implied.
    """

    leaves: tuple[int, ...]
    tables: tuple[CodeTable, ...]
    entries: tuple[Callable[[str], Entry | None], ...]
    names: tuple[str, ...]
    implied: tuple[Implied, ...]
    checks: tuple[PlannedCheck, ...]
    order: tuple[str, ...] | None
    implied_values: Mapping[str, Value]


class Match(NamedTuple):
    """One reading of a string: the message, the way through it, and for each part its symbols and
    what they mean.
    """

    message: Message
    plan: Plan
    texts: tuple[str, ...]
    entries: tuple[Entry, ...]

    def levels(self) -> dict[str, int]:
        """Return the level of every field, said or implied."""
        said = [level for entry in self.entries for level in entry.levels]
        found = dict(zip(self.plan.names, said, strict=True))
        found.update((implied.name, implied.level) for implied in self.plan.implied)
        return found if self.plan.order is None else {name: found[name] for name in self.plan.order}

    def values(self) -> dict[str, Value]:
        """Return the value of every field, said or implied; what a wrapped field's value leaves
        open stays open.
        """
        plan = self.plan
        found: dict[str, Value] = {}
        for entry in self.entries:
            found.update(entry.named)
        found.update(plan.implied_values)
        return found if plan.order is None else {name: found[name] for name in plan.order}

    @property
    def string(self) -> str:
        """The symbols, as said."""
        return "".join(self.texts)

    def text(self) -> str:
        """Return the reading in words: the message, and each field with its value and unit."""
        said = ", ".join(
            f"{self.message.fields[name].title} {self.message.fields[name].text(level)}"
            for name, level in self.levels().items()
        )
        return f"{self.message.title}: {said}" if said else self.message.title


class Message:
    """A named layout with a direction: ``car`` (report, driver to pit) or ``pit`` (call, engineer
    to driver).

    ``tables`` holds the table of each leaf by the leaf's number; ``fields`` the fields in the order
    they are said.
    """

    def __init__(
        self,
        name: str,
        direction: Direction,
        node: Node,
        tables: Sequence[CodeTable],
        alphabet: Alphabet,
        label: str = "",
    ) -> None:
        """Bind a checked layout to the tables of its leaves."""
        self.name, self.direction, self.node, self.alphabet = name, direction, node, alphabet
        self.title = label or name.replace("_", " ")
        self.tables = tuple(tables)
        self.fields: dict[str, FieldBase] = {
            field.name: field for table in tables for field in table.fields
        }
        self.check_leaves = tuple(
            i for i, table in enumerate(self.tables) if isinstance(table, Check)
        )
        self._plans: dict[tuple[bool, ...], Plan] = {}
        self._planned: dict[tuple[int, ...], Plan] = {}

    def covered(self, check_leaf: int) -> frozenset[int]:
        """Return the leaves that the check at a leaf covers, said or not."""
        table = self.tables[check_leaf]
        over = table.over if isinstance(table, Check) else None
        return frozenset(
            n for n in range(check_leaf) if over is None or self.tables[n].name in over
        )

    @functools.cached_property
    def lengths(self) -> tuple[int, int]:
        """The shortest and the longest string, in symbols."""

        return bottom_up(
            self.node,
            lambda leaf: self.tables[leaf.number].lengths,
            lambda parts: (sum(low for low, _ in parts), sum(high for _, high in parts)),
            lambda part: (0, part[1]),
            lambda parts: (min(low for low, _ in parts), max(high for _, high in parts)),
        )

    @functools.cached_property
    def ways(self) -> int:
        """How many ways there are through the layout."""
        product: Callable[[list[int]], int] = math.prod
        total: Callable[[list[int]], int] = sum
        return bottom_up(self.node, lambda _: 1, product, lambda inner: inner + 1, total)

    # strings to matches

    @functools.cached_property
    def regex(self) -> re.Pattern[str]:
        """A regular expression with one group a leaf; it accepts every string of the message, and
        perhaps more.
        """
        return re.compile(
            bottom_up(
                self.node,
                lambda leaf: f"({self.tables[leaf.number].pattern()})",
                "".join,
                lambda part: f"(?:{part})?",
                lambda parts: f"(?:{'|'.join(parts)})",
            )
        )

    @functools.cached_property
    def _fullmatch(self) -> Callable[[str], re.Match[str] | None]:
        return self.regex.fullmatch if self.ways <= MOST_WAYS else lambda _: None

    def quick(self, string: str) -> Match | None:
        """Return the match that the regular expression finds first, if it holds; None says nothing
        about other ways.
        """
        found = self._fullmatch(string)
        if found is None:
            return None
        texts = found.groups()
        shape = tuple(map(bool, texts))  # what is left out is None; a codeword is never empty
        plan = self._plans.get(shape)
        if plan is None:
            plan = self._plans[shape] = self.plan(n for n, said in enumerate(shape) if said)
        return self._verified(plan, texts if all(shape) else tuple(filter(None, texts)))

    def match(self, said: Iterable[int], texts: Sequence[str]) -> Match | None:
        """Return the match of a given way through the layout, None if a codeword or a check
        fails.
        """
        return self._verified(self.plan(said), tuple(texts))

    def _verified(self, plan: Plan, texts: tuple[str, ...]) -> Match | None:
        entries = tuple(map(operator.call, plan.entries, texts))
        if not all(entries):  # None for what is no codeword
            return None
        for place, table, covers in plan.checks:
            if table.wanted("".join([texts[n] for n in covers])) != texts[place]:
                return None
        return Match(self, plan, texts, cast("tuple[Entry, ...]", entries))

    def plan(self, said: Iterable[int]) -> Plan:
        """Return the plan of the way through the layout that says these leaves."""
        numbers = tuple(said)
        if numbers not in self._planned:
            if len(self._planned) >= MOST_WAYS:  # what is kept stays small, whatever a book allows
                self._planned.clear()
            self._planned[numbers] = self._plan(numbers)
        return self._planned[numbers]

    def _plan(self, numbers: tuple[int, ...]) -> Plan:
        place = {leaf: n for n, leaf in enumerate(numbers)}
        tables = tuple(self.tables[leaf] for leaf in numbers)
        checks = []
        for n, table in enumerate(tables):
            if isinstance(table, Check):
                covered = self.covered(numbers[n])
                checks.append(
                    PlannedCheck(
                        n, table, tuple(place[leaf] for leaf in numbers if leaf in covered)
                    )
                )
        names = tuple(field.name for table in tables for field in table.fields)
        implied = self._implied_by(self.node, frozenset(numbers))
        order = tuple(name for name in self.fields if name in implied or name in names)
        return Plan(
            leaves=numbers,
            tables=tables,
            entries=tuple(table.entry for table in tables),
            names=names,
            implied=tuple(self._implied(name, level) for name, level in implied.items()),
            checks=tuple(checks),
            order=None if order == (*names, *implied) else order,
            implied_values={
                name: self.fields[name].value(level) for name, level in implied.items()
            },
        )

    def _implied(self, name: str, level: int) -> Implied:
        field = self.fields[name]
        return Implied(name, level, field.value(level), tuple(field.warnings(level)))

    def _implied_by(self, node: Node, said: frozenset[int]) -> dict[str, int]:
        """Return what the optional parts not said on this way imply."""
        if isinstance(node, Leaf):
            return {}
        parts = (node.part,) if isinstance(node, Maybe) else node.parts
        taken = [
            part
            for part in parts
            if isinstance(node, InOrder) or any(leaf.number in said for leaf in leaves(part))
        ]
        if isinstance(node, Maybe) and not taken:
            return self.usual(node.part)
        implied: dict[str, int] = {}
        for part in taken:
            implied.update(self._implied_by(part, said))
        return implied

    def usual(self, node: Node) -> dict[str, int]:
        """Return the fields, with their usual levels, that leaving out ``node`` implies: those
        every way through it would give.
        """

        def of_leaf(leaf: Leaf) -> dict[str, int]:
            fields = self.tables[leaf.number].fields
            return {
                field.name: field.usual_level for field in fields if field.usual_level is not None
            }

        return bottom_up(
            node,
            of_leaf,
            lambda parts: {name: level for part in parts for name, level in part.items()},
            lambda part: part,
            lambda parts: {
                name: level
                for name, level in parts[0].items()
                if all(name in part for part in parts)
            },
        )

    def said_by(self, node: Node) -> set[str]:
        """Return the names of all fields below a node."""
        return {field.name for leaf in leaves(node) for field in self.tables[leaf.number].fields}

    # levels to the cheapest string

    def cheapest(self, levels: Mapping[str, int], cost: Cost, *, exact: bool = False) -> str | None:
        """Return the cheapest string that says exactly these levels, None if there is none; see
        ``cheapest``.
        """
        return cheapest(self, levels, cost, exact=exact)

    # the states of the checks

    @functools.cached_property
    def coverage(self) -> tuple[frozenset[int], ...]:
        """For each check of the message the leaves it covers."""
        return tuple(self.covered(leaf) for leaf in self.check_leaves)

    def settled(self, key: tuple[int, ...]) -> bool:
        """Tell whether a report may end with these states of the checks: of the guesses left open,
        only one counts.
        """
        pairs = zip(self.check_leaves, key, strict=True)
        return all(
            _settled(table, state)
            for leaf, state in pairs
            if isinstance(table := self.tables[leaf], Check)
        )

    def follow(self, leaf: int, key: tuple[int, ...], word: str) -> list[tuple[int, ...]]:
        """Return the states of the checks after ``word`` at ``leaf``; -1 is a check that has
        covered nothing yet.

        Methods that count from the right branch here, at their first symbol; a check symbol that
        does not fit ends the branch. Where a way passes a check by, the branch that guessed the
        length so far goes on alone: each way has one branch.
        """
        keys = [key]
        for number, check_leaf in enumerate(self.check_leaves):
            table = self.tables[check_leaf]
            if not isinstance(table, Check):
                continue
            if (
                leaf >= check_leaf
                # from here on what it covered no longer matters: forgotten, so that ways that
                # differ
                # only in it meet
            ):
                open_keys = [
                    k
                    for k in keys
                    if (
                        _fits(table, k[number], word)
                        if leaf == check_leaf
                        else _settled(table, k[number])
                    )
                ]
                keys = [(*k[:number], -1, *k[number + 1 :]) for k in open_keys]
            elif leaf in self.coverage[number]:
                keys = [
                    (*k[:number], state, *k[number + 1 :])
                    for k in keys
                    for state in _walk(table, k[number], word)
                ]
        return keys


def _settled(table: Check, state: int) -> bool:
    return state < 0 or table.method.wanted(state) is not None


def _fits(table: Check, state: int, symbol: str) -> bool:
    states = table.method.starts() if state < 0 else (state,)
    wanted = [table.method.wanted(s) for s in states]
    return any(value is not None and table.method.checks[value] == symbol for value in wanted)


def _walk(table: Check, state: int, word: str) -> list[int]:
    states = list(table.method.starts()) if state < 0 else [state]
    for symbol in word:
        value = table.value_of.get(symbol)
        if value is None:
            return []
        states = [table.method.step(s, value) for s in states]
    return list(dict.fromkeys(states))


# levels to the cheapest string

_Frontier = dict[tuple[int, ...], tuple[float, int, str]]


class _Task(NamedTuple):
    message: Message
    levels: Mapping[str, int]
    cost: Cost
    exact: bool

    def may_leave_out(self, part: Node) -> bool:
        """Tell whether leaving out a part says nothing else than what is asked for."""
        usual = self.message.usual(part)
        for name in self.message.said_by(part):
            if name not in self.levels:
                if self.exact and name in usual:
                    return False
            elif usual.get(name) != self.levels[name]:
                return False
        return True


def cheapest(
    message: Message, levels: Mapping[str, int], cost: Cost, *, exact: bool = False
) -> str | None:
    """Return the cheapest string that says these levels, None if there is none.

    Fields without a level are left unsaid, which may give them their usual one; ``exact`` refuses
    ways that give any level not asked for. ``cost`` prices one codeword of one table. Equal prices
    go to the shorter string, then to the first in alphabet order.
    """
    frontier = _extend(
        _Task(message, levels, cost, exact),
        message.node,
        {(-1,) * len(message.check_leaves): (0.0, 0, "")},
    )
    best = min(frontier.values(), key=lambda item: _order(message, item), default=None)
    return None if best is None else best[2]


def _order(message: Message, item: tuple[float, int, str]) -> tuple[float, int, list[int]]:
    return (round(item[0], 9), item[1], [message.alphabet.index[symbol] for symbol in item[2]])


def _extend(task: _Task, node: Node, frontier: _Frontier) -> _Frontier:
    """Return the cheapest strings after ``node`` for each state of the checks, from those before
    it.
    """
    if not frontier:
        return frontier
    if isinstance(node, Leaf):
        return _say(task, node.number, frontier)
    if isinstance(node, InOrder):
        for part in node.parts:
            frontier = _extend(task, part, frontier)
        return frontier
    if isinstance(node, Maybe):
        said = _extend(task, node.part, frontier)
        return _merge(task.message, frontier, said) if task.may_leave_out(node.part) else said
    asked = task.message.said_by(node) & task.levels.keys()
    merged: _Frontier = {}
    for part in node.parts:
        if asked <= task.message.said_by(part):
            merged = _merge(task.message, merged, _extend(task, part, frontier))
    return merged


def _merge(message: Message, one: _Frontier, other: _Frontier) -> _Frontier:
    merged = dict(one)
    for key, item in other.items():
        if key not in merged or _order(message, item) < _order(message, merged[key]):
            merged[key] = item
    return merged


def _say(task: _Task, leaf: int, frontier: _Frontier) -> _Frontier:
    message, levels, cost, _ = task
    table = message.tables[leaf]
    if any(field.name not in levels for field in table.fields):
        return {}
    fixed = (
        None
        if isinstance(table, Check)
        else table.word(tuple(levels[field.name] for field in table.fields))
    )
    said: _Frontier = {}
    for key, (price, _, string) in frontier.items():
        for state, word in _words(message, leaf, fixed, key):
            item = (price + cost(table, word), len(string) + len(word), string + word)
            if state not in said or _order(message, item) < _order(message, said[state]):
                said[state] = item
    return said


def _words(
    message: Message, leaf: int, fixed: str | None, key: tuple[int, ...]
) -> list[tuple[tuple[int, ...], str]]:
    """Return (state of the checks, word) for what may be said at a leaf: one codeword, or one check
    symbol for each open guess.
    """
    table = message.tables[leaf]
    if not isinstance(table, Check):
        return (
            [] if fixed is None else [(state, fixed) for state in message.follow(leaf, key, fixed)]
        )
    words: list[tuple[tuple[int, ...], str]] = []
    for symbol in table.method.checks:
        words.extend((state, symbol) for state in message.follow(leaf, key, symbol))
    return words
