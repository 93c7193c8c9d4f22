"""Every string that says the same reading, for layouts with optional parts and alternatives."""

from __future__ import annotations

import math
from collections.abc import Iterator

from grammar.codes import Check
from grammar.layout import Either, InOrder, Leaf, Maybe
from grammar.layout import Node as LayoutNode
from grammar.message import Match, Message, Plan


def most_strings(node: LayoutNode) -> int:
    """Return a bound on how many strings can say one reading."""
    if isinstance(node, Leaf):
        return 1
    if isinstance(node, Maybe):
        return 1 + most_strings(node.part)
    counts = [most_strings(part) for part in node.parts]
    return math.prod(counts) if isinstance(node, InOrder) else sum(counts)


def others(match: Match) -> Iterator[str]:
    """Yield every other string of the message that says exactly what a match says."""
    message, levels = match.message, match.levels()
    for plan in _plans(message, frozenset(levels)):
        if plan.leaves == match.plan.leaves or any(levels[implied.name] != implied.level for implied in plan.implied):
            continue
        texts: list[str] = []
        for number, table in enumerate(plan.tables):
            if isinstance(table, Check):
                covered = next(check.covers for check in plan.checks if check.place == number)
                texts.append(table.wanted("".join(texts[place] for place in covered)) or "")
            else:
                texts.append(table.word(tuple(levels[field.name] for field in table.fields)) or "")
        again = message.match(plan.leaves, texts) if all(texts) else None
        if again is not None and again.levels() == levels:
            yield again.string


def _plans(message: Message, names: frozenset[str]) -> list[Plan]:
    """Return the ways through the layout that give these fields, said or implied."""
    kept: dict[frozenset[str], list[Plan]] = message.__dict__.setdefault("_plans_by_fields", {})
    if names not in kept:
        plans = [message.plan(said) for said in _ways(message, message.node, names)]
        kept[names] = [plan for plan in plans if {*plan.names, *(implied.name for implied in plan.implied)} == names]
    return kept[names]


def _ways(message: Message, node: LayoutNode, names: frozenset[str]) -> list[tuple[int, ...]]:
    """Return the rows of leaves that may give these fields."""
    if isinstance(node, Leaf):
        sayable = all(field.name in names for field in message.tables[node.number].fields)
        return [(node.number,)] if sayable else []
    if isinstance(node, Maybe):
        return [(), *_ways(message, node.part, names)]
    if isinstance(node, Either):
        return [way for part in node.parts for way in _ways(message, part, names)]
    rows: list[tuple[int, ...]] = [()]
    for part in node.parts:
        rows = [(*row, *way) for row in rows for way in _ways(message, part, names)]
    return rows
