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
from typing import Literal as OneOf
from typing import cast

from grammar.cheapest import Cost, cheapest
from grammar.codes import Check, CodeTable, Entry
from grammar.fields import FieldBase
from grammar.layout import Either, InOrder, Leaf, Maybe, Node, leaves
from grammar.match import Implied, Match, Plan, PlannedCheck
from grammar.symbols import Alphabet

Direction = OneOf["car", "pit"]
# beyond so many ways through a layout a regular expression might try them all, one after the other
MOST_WAYS = 5000


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

        def span(node: Node) -> tuple[int, int]:
            if isinstance(node, Leaf):
                return self.tables[node.number].lengths
            if isinstance(node, Maybe):
                return 0, span(node.part)[1]
            spans = [span(part) for part in node.parts]
            if isinstance(node, Either):
                return min(low for low, _ in spans), max(high for _, high in spans)
            return sum(low for low, _ in spans), sum(high for _, high in spans)

        return span(self.node)

    @functools.cached_property
    def ways(self) -> int:
        """How many ways there are through the layout."""

        def count(node: Node) -> int:
            if isinstance(node, Leaf):
                return 1
            if isinstance(node, Maybe):
                return 1 + count(node.part)
            counts = [count(part) for part in node.parts]
            return sum(counts) if isinstance(node, Either) else math.prod(counts)

        return count(self.node)

    # strings to matches

    @functools.cached_property
    def regex(self) -> re.Pattern[str]:
        """A regular expression with one group a leaf; it accepts every string of the message, and
        perhaps more.
        """

        def build(node: Node) -> str:
            if isinstance(node, Leaf):
                return f"({self.tables[node.number].pattern()})"
            if isinstance(node, Maybe):
                return f"(?:{build(node.part)})?"
            if isinstance(node, Either):
                return f"(?:{'|'.join(build(part) for part in node.parts)})"
            return "".join(build(part) for part in node.parts)

        return re.compile(build(self.node))

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
        if isinstance(node, Leaf):
            fields = self.tables[node.number].fields
            return {
                field.name: field.usual_level for field in fields if field.usual_level is not None
            }
        if isinstance(node, Maybe):
            return self.usual(node.part)
        parts = [self.usual(part) for part in node.parts]
        if isinstance(node, InOrder):
            return {name: level for part in parts for name, level in part.items()}
        return {
            name: level for name, level in parts[0].items() if all(name in part for part in parts)
        }

    def said_by(self, node: Node) -> set[str]:
        """Return the names of all fields below a node."""
        return {field.name for leaf in leaves(node) for field in self.tables[leaf.number].fields}

    # levels to the cheapest string

    def cheapest(self, levels: Mapping[str, int], cost: Cost, *, exact: bool = False) -> str | None:
        """Return the cheapest string that says exactly these levels, None if there is none; see
        ``grammar.cheapest``.
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
