"""A message as one weighted lattice: from its start to its end there is exactly one path for each
string and what it means.

Nodes are (place in the layout and in a codeword, key). A key holds the state of every check symbol,
and for every optional part that is being said whether anything in it is other than usual: then its
string says what leaving it out says too, and the two share the weight of one reading. Operations
are in the order in which a forward sum takes them.
"""

from __future__ import annotations

import functools
import itertools
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

from codec.hear.layers import END, MOST_EDGES, Layer, layers
from codec.hear.strings import Strings
from grammar.codes import CodeTable
from grammar.errors import CodeError
from grammar.layout import Either, InOrder, Leaf, Maybe, leaves
from grammar.layout import Node as LayoutNode
from grammar.message import Message

if TYPE_CHECKING:
    import numpy as np

    from grammar.hearing import HearingSpec

Key = tuple[int, ...]
Depth = tuple[int, int]  # the fewest and the most symbols that are said before
Decides = dict[str, "np.ndarray"]


class Say(NamedTuple):
    """Edges that say one symbol each, from the nodes ``low`` … ``high`` - 1, in order of their
    source.

    Edges that leave one source and decide the same levels are a run: run r holds the edges
    ``starts[r]`` … ``starts[r + 1]`` - 1, leaves the node ``low + source[r]`` and decides
    ``decides[field][r]``. The runs of each source in ``sources`` begin at ``source_starts``.
    In order of their targets ``reached``, the edges of each of which begin at ``reached_starts``,
    the edges have the runs ``reached_run`` and the symbols ``reached_symbol``.
    """

    low: int
    high: int
    depth: Depth
    target: np.ndarray
    symbol: np.ndarray
    source: np.ndarray
    starts: np.ndarray
    decides: Decides
    sources: np.ndarray
    source_starts: np.ndarray
    run: np.ndarray
    reached: np.ndarray
    reached_starts: np.ndarray
    reached_run: np.ndarray
    reached_symbol: np.ndarray

    def runs(self, node: int) -> range:
        """Return the runs that leave a node."""
        source = node - self.low
        return range(
            int(self.source.searchsorted(source)),
            int(self.source.searchsorted(source, side="right")),
        )


class Join(NamedTuple):
    """Edges that say nothing: ``source`` to ``target``, one to one, with a factor and the levels
    they imply.
    """

    depth: Depth
    source: np.ndarray
    target: np.ndarray
    factor: float
    implies: dict[str, int]


class Mix(NamedTuple):
    """Edges from states × keys at ``low`` to figures × keys at ``slot``, the same for every key,
    that decide levels and say nothing yet.
    """

    low: int
    depth: Depth
    slot: int
    states: int
    figures: int
    keys: int
    possible: np.ndarray
    decides: Decides


Operation = Say | Join | Mix


class Point(NamedTuple):
    """A place between codewords: its nodes are ``low`` + position of the key."""

    low: int
    keys: list[Key]
    depth: Depth


@dataclass(slots=True)
class MessageLattice:
    """A message's lattice: its operations, how many nodes, where it starts and ends."""

    message: Message
    operations: list[Operation] = field(default_factory=list)
    nodes: int = 0
    edges: int = 0
    start: list[int] = field(default_factory=list)
    end: list[int] = field(default_factory=list)
    strings: Strings | None = None  # where a reading may have more than one string
    _wide: list[tuple[int, int, int]] = field(default_factory=list)
    _single: dict[int, list[int]] = field(default_factory=dict)

    def leaving(self, node: int) -> list[int]:
        """Return the numbers of the operations that leave a node."""
        if not self._wide:
            for number, operation in enumerate(self.operations):
                if isinstance(operation, Say):
                    self._wide.append((operation.low, operation.high, number))
                elif isinstance(operation, Mix):
                    self._wide.append(
                        (operation.low, operation.low + operation.states * operation.keys, number)
                    )
                else:
                    for source in operation.source.tolist():
                        self._single.setdefault(source, []).append(number)
        return [
            number for low, high, number in self._wide if low <= node < high
        ] + self._single.get(node, [])


def build(message: Message, spec: HearingSpec) -> MessageLattice:
    """Return the lattice of a message.

    Raises CodeError (kind "too-large") where it can't be held.
    """
    lattice = MessageLattice(message)
    builder = _Builder(lattice, spec)
    starts = itertools.product(*(rule.method.starts() for rule in builder.rules))
    start = builder.point(starts, (0, 0))
    lattice.start = list(range(start.low, start.low + len(start.keys)))
    end = builder.node(message.node, start)
    lattice.end = list(range(end.low, end.low + len(end.keys)))
    return lattice


class _Numbers(dict[Key, int]):
    """The numbers of keys, in the order in which they are met."""

    def __init__(self) -> None:
        self.keys_met: list[Key] = []

    def __missing__(self, key: Key) -> int:
        self[key] = len(self)
        self.keys_met.append(key)
        return self[key]


class _Builder:
    """Walks a layout, adding operations."""

    def __init__(self, lattice: MessageLattice, spec: HearingSpec) -> None:
        self.lattice, self.message, self.spec = lattice, lattice.message, spec
        tables = [self.message.tables[leaf] for leaf in self.message.check_leaves]
        self.rules = [table.check for table in tables if table.check is not None]
        self.open: list[
            dict[str, int]
        ] = []  # what each optional part around implies when it is left out
        self.layers: dict[int, list[Layer]] = {}
        self.numbers = _Numbers()
        self.keys = self.numbers.keys_met
        # for leaves that say the same to the checks, by the number of the key before and the
        # symbol, the number of the key after it
        self.moves: dict[tuple[int, ...], np.ndarray] = {}
        self.said = functools.cache(self._said)

    def point(self, keys: Iterable[Key], depth: Depth) -> Point:
        """Add a place between codewords."""
        point = Point(self.lattice.nodes, sorted(set(keys)), depth)
        self.lattice.nodes += len(point.keys)
        return point

    def node(self, node: LayoutNode, point: Point) -> Point:
        """Add what a part of the layout says; return the place behind it."""
        if isinstance(node, Leaf):
            return _Speller(self, node.number).spell(point)
        if isinstance(node, InOrder):
            for part in node.parts:
                point = self.node(part, point)
            return point
        if self.lattice.strings is None:
            self.lattice.strings = Strings(self.message, self.spec)
        return self.maybe(node, point) if isinstance(node, Maybe) else self.either(node, point)

    def either(self, node: Either, point: Point) -> Point:
        """Add alternatives, each as likely as the others."""
        checks = {leaf.number for leaf in leaves(node)}
        ends = []
        for part in node.parts:
            begin = self.point(point.keys, point.depth)
            self.join(point, begin, {key: key for key in point.keys}, 1 / len(node.parts))
            unsaid = checks - {leaf.number for leaf in leaves(part)}
            ends.append((self.node(part, begin), unsaid))
        moves = [(end, self.closed(end.keys, unsaid)) for end, unsaid in ends]
        keys = (key for _, move in moves for key in move.values())
        after = self.point(keys, _either(end.depth for end, _ in ends))
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
        begin = self.point(((*key, 0) if same else key for key in point.keys), point.depth)
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
        keys = [*skipped.values(), *usual.values(), *other.values()]
        after = self.point(keys, _either([point.depth, said.depth]))
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
            source, target = np.array(list(now.values())), np.array(list(now))
            join = Join(one.depth, source, target, factor, dict(implies or {}))
            self.lattice.operations.append(join)

    def closed(self, keys: Iterable[Key], unsaid: set[int]) -> dict[Key, Key]:
        """Return the keys after checks that are left out: one guess of the length fits, the others
        end here.
        """
        moves: dict[Key, Key] = {}
        numbers = [n for n, leaf in enumerate(self.message.check_leaves) if leaf in unsaid]
        for key in keys:
            states = list(key)
            for number in numbers:
                if self.rules[number].method.wanted(states[number]) is None:
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
            for flag, implied in zip(key[len(self.rules) :], self.open, strict=True)
        ]
        return (*key[: len(self.rules)], *flags)

    def moved(self, leaf: int, key: np.ndarray, symbol: np.ndarray) -> np.ndarray:
        """Return the numbers of the keys after symbols of a leaf, -1 where a check refuses one."""
        import numpy as np

        checks, coverage = self.message.check_leaves, self.message.coverage
        part = tuple(
            2 if leaf == check else int(leaf in covered)
            for check, covered in zip(checks, coverage, strict=True)
        )
        moves = self.moves.get(part)
        known = 0 if moves is None else len(moves)
        unknown = np.full((len(self.keys) - known, len(self.message.alphabet.symbols)), _UNKNOWN)
        moves = unknown if moves is None else np.concatenate([moves, unknown])
        for before in set(key[moves[key, 0] == _UNKNOWN].tolist()):
            moves[before] = self.behind(part, self.keys[before])
        self.moves[part] = moves
        return np.asarray(moves[key, symbol])

    def behind(self, part: tuple[int, ...], key: Key) -> list[int]:
        """Return by symbol the number of the key after it, -1 where a check refuses it; ``part`` is
        what each check makes of the symbol: 0 nothing, 1 covers it, 2 is it.
        """
        found: list[Key | None] = [key] * len(self.message.alphabet.symbols)
        for number, what in enumerate(part):
            if what:
                found = [
                    None
                    if one is None or state is None
                    else (*one[:number], state, *one[number + 1 :])
                    for one, state in zip(
                        found, self.said(number, key[number], what == 2), strict=True
                    )
                ]
        return [-1 if one is None else self.numbers[one] for one in found]

    def _said(self, number: int, state: int, closing: bool) -> list[int | None]:
        """Return the states of a check by symbol, None where it refuses it."""
        rule, symbols = self.rules[number], self.message.alphabet.symbols
        if closing:
            wanted = rule.method.wanted(state)
            symbol = None if wanted is None else rule.method.checks[wanted]
            return [-1 if one == symbol else None for one in symbols]
        values = map(rule.value_of.get, symbols)
        return [None if value is None else rule.method.step(state, value) for value in values]

    def layers_of(self, leaf: int) -> list[Layer]:
        """Return the layers of a leaf's table."""
        if leaf not in self.layers:
            self.layers[leaf] = layers(self.message.tables[leaf])
        return self.layers[leaf]


def _either(depths: Iterable[Depth]) -> Depth:
    """Return the depth of a place that is reached in several ways."""
    fewest, most = zip(*depths, strict=True)
    return min(fewest), max(most)


# one code table: its layers, multiplied by the keys that reach it

# from so many edges on, the last symbols of codewords are summed by one matrix product
_DENSE = 2_000
_UNKNOWN = -2  # a key that was not asked for yet


@dataclass(slots=True)
class _Edges:
    """Edges of one layer before their targets have numbers: those that go on, and those that end
    the codeword by the key they reach.
    """

    low: int
    high: int
    depth: Depth
    source: np.ndarray
    symbol: np.ndarray
    decides: Decides
    target: np.ndarray
    key: np.ndarray
    ends: np.ndarray


class _Speller:
    """Adds the operations of one table at one leaf, layer by layer; keys are numbered as they are
    met.
    """

    def __init__(self, builder: _Builder, leaf: int) -> None:
        self.builder, self.leaf, self.lattice = builder, leaf, builder.lattice
        self.table: CodeTable = builder.message.tables[leaf]
        self.keys, self.numbers = builder.keys, builder.numbers

    def spell(self, point: Point) -> Point:
        """Add every codeword from a place on; return the place behind them."""
        import numpy as np

        state = np.zeros(len(point.keys), dtype=np.int64)
        key = np.array([self.numbers[k] for k in point.keys], dtype=np.int64)
        low, pending, found = point.low, list[_Edges | Mix](), self.builder.layers_of(self.leaf)
        for place, layer in enumerate(found):
            on, depth = layer, (point.depth[0] + place, point.depth[1] + place)
            if self._worth_mixing(layer, state, key):
                ends, on = layer.parted()
                pending += self._mixed(ends, low, depth, key[: len(key) // layer.states])
            edges = self._edges(on, low, depth, state, key)
            self.lattice.edges += len(edges.source)
            if self.lattice.edges > MOST_EDGES:
                raise CodeError(
                    f"message {self.lattice.message.name} is too large to be heard exactly",
                    kind="too-large",
                    hint="smaller packed tables, or fewer check symbols over them",
                )
            state, key = self._next(edges, found[place + 1] if place + 1 < len(found) else None)
            low = self.lattice.nodes
            edges.target = np.where(edges.ends, edges.target, edges.target + low)
            self.lattice.nodes += len(state)
            if len(edges.source):
                pending.append(edges)
        return self._finish(pending, point.depth)

    def _edges(
        self, layer: Layer, low: int, depth: Depth, state: np.ndarray, key: np.ndarray
    ) -> _Edges:
        """Return the edges of every node, without those a check refuses."""
        import numpy as np

        first = np.searchsorted(layer.source, np.arange(layer.states + 1))
        count = (first[1:] - first[:-1])[state]
        source = np.repeat(np.arange(len(state)), count)
        edge = (
            np.arange(len(source))
            - np.repeat(np.cumsum(count) - count, count)
            + first[:-1][state][source]
        )
        symbol = layer.symbol[edge]
        decides = {name: levels[edge] for name, levels in layer.decides.items()}
        reached = self._moved(key[source], symbol, decides)
        kept = reached >= 0
        source, symbol, reached, target = (
            source[kept],
            symbol[kept],
            reached[kept],
            layer.target[edge][kept],
        )
        decides = {
            name: levels[kept] for name, levels in decides.items() if (levels[kept] >= 0).any()
        }
        return _Edges(
            low, low + len(state), depth, source, symbol, decides, target, reached, target == END
        )

    def _moved(self, key: np.ndarray, symbol: np.ndarray, decides: Decides) -> np.ndarray:
        """Return the number of the key each edge reaches, -1 for none."""
        moved = self.builder.moved(self.leaf, key, symbol)
        return self._marked(moved, decides) if self.builder.open else moved

    def _marked(self, moved: np.ndarray, decides: Decides) -> np.ndarray:
        """Mark in each key the optional parts that a decided level makes other than usual."""
        import numpy as np

        for name, levels in decides.items():
            for number, implied in enumerate(self.builder.open):
                usual = implied.get(name, -2)
                place = len(self.builder.rules) + number
                changed = (levels >= 0) & (levels != usual) & (moved >= 0)
                for before in sorted(set(moved[changed].tolist())):
                    key = self.keys[before]
                    flagged = self.numbers[*key[:place], 1, *key[place + 1 :]]
                    moved = np.where(changed & (moved == before), flagged, moved)
        return moved

    def _next(self, edges: _Edges, layer: Layer | None) -> tuple[np.ndarray, np.ndarray]:
        """Number the nodes the edges go on to; return their states and keys, by state."""
        import numpy as np

        on = ~edges.ends
        width = len(self.keys) + 1
        codes, place = np.unique(edges.target[on] * width + edges.key[on], return_inverse=True)
        state, key = codes // width, codes % width
        keys, _ = np.unique(key, return_inverse=True)  # without, numpy loads masked arrays
        if (
            layer is not None
            and not self.builder.open
            and layer.states * len(keys) <= 2 * len(codes)
        ):  # nearly every state has every key: give it all of them
            place = np.searchsorted(keys, key)[place] + state[place] * len(keys)
            state = np.repeat(np.arange(layer.states), len(keys))
            key = np.tile(keys, layer.states)
        edges.target[on] = place
        return state, key

    def _worth_mixing(self, layer: Layer, state: np.ndarray, key: np.ndarray) -> bool:
        keys, rest = divmod(len(state), layer.states)
        ends = int((layer.target == END).sum())
        checked = self.table.check is not None  # which of its symbols is said rests on the key
        if rest or keys < 2 or self.builder.open or checked or ends * keys < _DENSE:
            return False
        grid = key.reshape(layer.states, keys)
        return bool((state[::keys] == range(layer.states)).all() and (grid == grid[0]).all())

    def _mixed(self, layer: Layer, low: int, depth: Depth, keys: np.ndarray) -> tuple[Mix, _Edges]:
        """Return the matrix from states to figures, and the edges that then say the figure."""
        import numpy as np

        figures, place = np.unique(layer.symbol, return_inverse=True)
        possible = np.zeros((layer.states, len(figures)), dtype=bool)
        possible[layer.source, place] = True
        decides = {}
        for name, levels in layer.decides.items():
            decides[name] = np.full(possible.shape, -1, dtype=np.int64)
            decides[name][layer.source, place] = levels
        slot, count = self.lattice.nodes, len(figures) * len(keys)
        self.lattice.nodes += count
        mix = Mix(low, depth, slot, layer.states, len(figures), len(keys), possible, decides)
        symbol, key = np.repeat(figures, len(keys)), np.tile(keys, len(figures))
        reached = self._moved(key, symbol, {})
        target = np.full(count, END)
        return mix, _Edges(
            slot, slot + count, depth, np.arange(count), symbol, {}, target, reached, target == END
        )

    def _finish(self, pending: list[_Edges | Mix], depth: Depth) -> Point:
        """Give the end of the codeword its nodes, and add the operations."""
        import numpy as np

        said = [edges for edges in pending if isinstance(edges, _Edges)]
        ended = np.concatenate([edges.key[edges.ends] for edges in said])
        reached, _ = np.unique(ended, return_inverse=True)
        keys, (low, high) = (self.keys[number] for number in reached.tolist()), self.table.lengths
        after = self.builder.point(keys, (depth[0] + low, depth[1] + high))
        place = np.zeros(len(self.keys), dtype=np.int64)
        for number, key in enumerate(after.keys):
            place[self.numbers[key]] = after.low + number
        for one in pending:
            if isinstance(one, _Edges):
                one.target = np.where(one.ends, place[one.key], one.target)
            self.lattice.operations.append(one if isinstance(one, Mix) else _said(one))
        return after


def _said(edges: _Edges) -> Say:
    """Return the operation of finished edges: their runs and their targets."""
    import numpy as np

    begins = np.diff(edges.source, prepend=-1) != 0
    for levels in edges.decides.values():
        begins |= np.diff(levels, prepend=-2) != 0
    starts = np.nonzero(begins)[0]
    source = edges.source[starts]
    sources, source_starts = np.unique(source, return_index=True)
    run = np.cumsum(begins) - 1
    order = edges.target.argsort(kind="stable")
    reached_starts = np.flatnonzero(np.diff(edges.target[order], prepend=-1))
    return Say(
        low=edges.low,
        high=edges.high,
        depth=edges.depth,
        target=edges.target,
        symbol=edges.symbol,
        source=source,
        starts=np.append(starts, len(edges.source)),
        decides={name: levels[starts] for name, levels in edges.decides.items()},
        sources=sources,
        source_starts=source_starts,
        run=run,
        reached=edges.target[order][reached_starts],
        reached_starts=reached_starts,
        reached_run=run[order],
        reached_symbol=edges.symbol[order],
    )
