"""A message as one weighted graph: from its start to its end there is exactly one path for each
string and what it means.

Nodes are (place in the layout and in a codeword, key). A key holds the state of every check symbol,
and for every optional part that is being said whether anything in it is other than usual: then its
string says what leaving it out says too, and the two share the weight of one reading. Operations
are in the order in which a forward sum takes them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

from codec.hear.operations import Graph, Join, Key, Point
from codec.hear.spelling import Speller
from codec.hear.strings import Strings
from codec.hear.templates import Layer, layers
from grammar.codes import Check
from grammar.layout import Either, InOrder, Leaf, Maybe, leaves
from grammar.layout import Node as LayoutNode
from grammar.message import Message

if TYPE_CHECKING:
    from grammar.models import HearingSpec


def build(message: Message, spec: HearingSpec) -> Graph:
    """Return the graph of a message; raises CodeError (kind "too-large") where it can't be held."""
    graph = Graph(message)
    builder = Builder(graph, spec)
    keys: list[Key] = [()]
    for leaf in message.check_leaves:
        table = message.tables[leaf]
        if isinstance(table, Check):
            keys = [(*key, state) for key in keys for state in table.method.starts()]
    start = builder.point(keys)
    graph.start = list(range(start.low, start.low + len(keys)))
    end = builder.node(message.node, start)
    graph.end = list(range(end.low, end.low + len(end.keys)))
    return graph


class Builder:
    """Walks a layout, adding operations."""

    def __init__(self, graph: Graph, spec: HearingSpec) -> None:
        self.graph, self.message, self.spec = graph, graph.message, spec
        self.checks = len(self.message.check_leaves)
        self.open: list[
            dict[str, int]
        ] = []  # what each optional part around implies when it is left out
        self.layers: dict[int, list[Layer]] = {}

    def point(self, keys: Iterable[Key]) -> Point:
        """Add a place between codewords."""
        point = Point(self.graph.nodes, sorted(set(keys)))
        self.graph.nodes += len(point.keys)
        return point

    def node(self, node: LayoutNode, point: Point) -> Point:
        """Add what a part of the layout says; return the place behind it."""
        if isinstance(node, Leaf):
            return Speller(self, node.number).spell(point)
        if isinstance(node, InOrder):
            for part in node.parts:
                point = self.node(part, point)
            return point
        if self.graph.strings is None:
            self.graph.strings = Strings(self.message, self.spec)
        return self.maybe(node, point) if isinstance(node, Maybe) else self.either(node, point)

    def either(self, node: Either, point: Point) -> Point:
        """Add alternatives, each as likely as the others."""
        checks = {leaf.number for leaf in leaves(node)}
        ends = []
        for part in node.parts:
            begin = self.point(point.keys)
            self.join(point, begin, {key: key for key in point.keys}, 1 / len(node.parts))
            unsaid = checks - {leaf.number for leaf in leaves(part)}
            ends.append((self.node(part, begin), unsaid))
        moves = [(end, self.closed(end.keys, unsaid)) for end, unsaid in ends]
        after = self.point(key for _, move in moves for key in move.values())
        for end, move in moves:
            self.join(end, after, move)
        return after

    def maybe(self, node: Maybe, point: Point) -> Point:
        """Add an optional part, said or left out."""
        implied = self.message.usual(node.part)
        same = (
            self.message.said_by(node.part) <= implied.keys()
        )  # saying it may mean the same as leaving it out
        spec = self.spec
        begin = self.point((*key, 0) if same else key for key in point.keys)
        self.join(
            point,
            begin,
            {key: (*key, 0) if same else key for key in point.keys},
            1.0 if same else 1 - spec.left_out,
        )
        if same:
            self.open.append(implied)
        said = self.node(node.part, begin)
        if same:
            self.open.pop()
        left_out = self.closed(point.keys, {leaf.number for leaf in leaves(node)})
        skipped = {key: self.marked(left, implied) for key, left in left_out.items()}
        usual = {key: key[:-1] for key in said.keys if same and key[-1] == 0}
        other = {key: key[:-1] if same else key for key in said.keys if not (same and key[-1] == 0)}
        after = self.point([*skipped.values(), *usual.values(), *other.values()])
        self.join(point, after, skipped, 1 - spec.spoken_anyway if same else spec.left_out, implied)
        self.join(said, after, usual, spec.spoken_anyway)
        self.join(said, after, other)
        return after

    def join(
        self,
        one: Point,
        other: Point,
        move: Mapping[Key, Key],
        factor: float = 1.0,
        implies: dict[str, int] | None = None,
    ) -> None:
        """Add edges by key; several keys that move to one are parted, so that each operation is one
        to one.
        """
        import numpy as np

        place = {key: other.low + number for number, key in enumerate(other.keys)}
        waiting = [
            (one.low + number, place[move[key]])
            for number, key in enumerate(one.keys)
            if key in move
        ]
        while waiting:
            now = {target: source for source, target in waiting}
            waiting = [(source, target) for source, target in waiting if now[target] != source]
            operation = Join(
                np.array(list(now.values())), np.array(list(now)), factor, dict(implies or {})
            )
            self.graph.operations.append(operation)

    def closed(self, keys: Iterable[Key], unsaid: set[int]) -> dict[Key, Key]:
        """Return the keys after checks that are left out: one guess of the length fits, the others
        end here.
        """
        moves: dict[Key, Key] = {}
        numbers = [n for n, leaf in enumerate(self.message.check_leaves) if leaf in unsaid]
        for key in keys:
            states = list(key)
            for number in numbers:
                table = self.message.tables[self.message.check_leaves[number]]
                if isinstance(table, Check) and table.method.wanted(states[number]) is None:
                    break
                states[number] = -1
            else:
                moves[key] = tuple(states)
        return moves

    def marked(self, key: Key, decided: Mapping[str, int]) -> Key:
        """Return a key after some levels: parts in which one of them is not what leaving the part
        out implies are marked.
        """
        flags = [
            int(bool(flag) or any(implied.get(name) != level for name, level in decided.items()))
            for flag, implied in zip(key[self.checks :], self.open, strict=True)
        ]
        return (*key[: self.checks], *flags)

    def after(self, leaf: int, key: Key, symbol: str) -> Key | None:
        """Return the key after a symbol of a leaf, None where a check refuses it."""
        states = list(key)
        for number, check_leaf in enumerate(self.message.check_leaves):
            table = self.message.tables[check_leaf]
            if not isinstance(table, Check):
                continue
            if leaf == check_leaf:
                wanted = table.method.wanted(states[number])
                if wanted is None or table.method.checks[wanted] != symbol:
                    return None
                states[number] = -1
            elif leaf in self.message.coverage[number]:
                states[number] = table.method.step(states[number], table.value_of[symbol])
        return tuple(states)

    def layers_of(self, leaf: int) -> list[Layer]:
        """Return the layers of a leaf's table."""
        if leaf not in self.layers:
            self.layers[leaf] = layers(self.message.tables[leaf])
        return self.layers[leaf]
