"""Levels to the cheapest string: the least over every way through a layout, exactly.

Parts are said from left to right. Without check symbols the cheapest way to each point is all that
matters; with them, the cheapest for each state the checks can be in, because which check symbol
follows, and what it costs, depends on it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, NamedTuple

from grammar.codes import Check, CodeTable
from grammar.layout import InOrder, Leaf, Maybe, Node

if TYPE_CHECKING:
    from grammar.message import Message

Cost = Callable[[CodeTable, str], float]
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
