"""Every string that says the same reading, for layouts with optional parts and alternatives, and how they share its weight."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

from grammar.codes import Check
from grammar.layout import Either, Leaf, Maybe, leaves
from grammar.layout import Node as LayoutNode
from grammar.message import Match, Message, Plan

if TYPE_CHECKING:
    from grammar.models import HearingSpec


def others(match: Match) -> Iterator[Match]:
    """Yield every other way to say exactly what a match says."""
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
            yield again


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


def share(message: Message, spec: HearingSpec, said: frozenset[int], levels: Mapping[str, int]) -> float:
    """Return how much of a reading's weight goes to its string that says these leaves; only the ratios between its strings mean
    anything."""
    return _share(message, spec, message.node, said, levels)


def _share(message: Message, spec: HearingSpec, node: LayoutNode, said: frozenset[int], levels: Mapping[str, int]) -> float:
    if isinstance(node, Leaf):
        return 1.0
    if isinstance(node, Maybe):
        implied = message.usual(node.part)
        same = message.said_by(node.part) <= implied.keys()
        if not any(leaf.number in said for leaf in leaves(node)):
            return 1 - spec.spoken_anyway if same else spec.left_out
        inside = _share(message, spec, node.part, said, levels)
        if not same:
            return (1 - spec.left_out) * inside
        return spec.spoken_anyway * inside if all(levels[name] == level for name, level in implied.items()) else inside
    if isinstance(node, Either):
        taken = next(part for part in node.parts if any(leaf.number in said for leaf in leaves(part)))
        return _share(message, spec, taken, said, levels) / len(node.parts)
    return math.prod(_share(message, spec, part, said, levels) for part in node.parts)
