"""Levels to the cheapest string: the least over every way through a layout, exactly.

Parts are said from left to right. Without check symbols the cheapest way to each point is all that matters; with them, the cheapest
for each state the checks can be in, because which check symbol follows, and what it costs, depends on it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

from grammar.codes import Check, CodeTable
from grammar.layout import InOrder, Leaf, Maybe, Node

if TYPE_CHECKING:
    from grammar.message import Message

Cost = Callable[[CodeTable, str], float]
_Frontier = dict[tuple[int, ...], tuple[float, int, str]]


def cheapest(message: Message, levels: Mapping[str, int], cost: Cost) -> str | None:
    """Return the cheapest string that says exactly these levels, None if there is none.

    ``cost`` prices one codeword of one table. Equal prices go to the shorter string, then to the first in alphabet order.
    """
    frontier = _extend(message, message.node, {_start(message): (0.0, 0, "")}, levels, cost)
    best = min(frontier.values(), key=lambda item: _order(message, item), default=None)
    return None if best is None else best[2]


def _order(message: Message, item: tuple[float, int, str]) -> tuple[float, int, list[int]]:
    return (round(item[0], 9), item[1], [message.alphabet.index[symbol] for symbol in item[2]])


def _start(message: Message) -> tuple[int, ...]:
    return (-1,) * len(message.check_leaves)


def _extend(message: Message, node: Node, frontier: _Frontier, levels: Mapping[str, int], cost: Cost) -> _Frontier:
    """Return the cheapest strings after ``node`` for each state of the checks, from those before it."""
    if not frontier:
        return frontier
    if isinstance(node, Leaf):
        return _say(message, node.number, frontier, levels, cost)
    if isinstance(node, InOrder):
        for part in node.parts:
            frontier = _extend(message, part, frontier, levels, cost)
        return frontier
    if isinstance(node, Maybe):
        usual = message.usual(node.part)
        may_skip = all(name not in levels or usual.get(name) == levels[name] for name in message.said_by(node.part))
        said = _extend(message, node.part, frontier, levels, cost)
        return _merge(message, frontier, said) if may_skip else said
    asked = message.said_by(node) & levels.keys()
    merged: _Frontier = {}
    for part in node.parts:
        if asked <= message.said_by(part):
            merged = _merge(message, merged, _extend(message, part, frontier, levels, cost))
    return merged


def _merge(message: Message, one: _Frontier, other: _Frontier) -> _Frontier:
    merged = dict(one)
    for key, item in other.items():
        if key not in merged or _order(message, item) < _order(message, merged[key]):
            merged[key] = item
    return merged


def _say(message: Message, leaf: int, frontier: _Frontier, levels: Mapping[str, int], cost: Cost) -> _Frontier:
    table = message.tables[leaf]
    if any(field.name not in levels for field in table.fields):
        return {}
    fixed = None if isinstance(table, Check) else table.word(tuple(levels[field.name] for field in table.fields))
    said: _Frontier = {}
    for key, (price, _, string) in frontier.items():
        for state, word in _words(message, leaf, fixed, key):
            item = (price + cost(table, word), len(string) + len(word), string + word)
            if state not in said or _order(message, item) < _order(message, said[state]):
                said[state] = item
    return said


def _words(message: Message, leaf: int, fixed: str | None, key: tuple[int, ...]) -> list[tuple[tuple[int, ...], str]]:
    """Return (state of the checks, word) for what may be said at a leaf: one codeword, or one check symbol for each open guess."""
    table = message.tables[leaf]
    if not isinstance(table, Check):
        return [] if fixed is None else [(state, fixed) for state in message.follow(leaf, key, fixed)]
    words: list[tuple[tuple[int, ...], str]] = []
    for symbol in table.method.checks:
        words.extend((state, symbol) for state in message.follow(leaf, key, symbol))
    return words
