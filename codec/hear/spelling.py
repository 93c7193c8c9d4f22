"""The part of a message's graph that says one code table: the table's layers, multiplied by the
keys that reach it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from codec.hear.operations import Decides, Key, Mix, Point, Say
from codec.hear.templates import END, MOST_EDGES, Layer
from grammar.codes import CodeTable
from grammar.errors import CodeError

if TYPE_CHECKING:
    import numpy as np

    from codec.hear.graph import Builder

# from so many edges on, the last figure of a packed table is summed by one matrix product
_DENSE = 20_000


@dataclass(slots=True)
class _Edges:
    """Edges of one layer before their targets have numbers: those that go on, and those that end
    the codeword by the key they reach.
    """

    low: int
    high: int
    source: np.ndarray
    symbol: np.ndarray
    decides: Decides
    target: np.ndarray
    key: np.ndarray
    ends: np.ndarray


class Speller:
    """Adds the operations of one table at one leaf, layer by layer; keys are numbered as they are
    met.
    """

    def __init__(self, builder: Builder, leaf: int) -> None:
        self.builder, self.leaf, self.graph = builder, leaf, builder.graph
        self.table: CodeTable = builder.message.tables[leaf]
        self.keys: list[Key] = []
        self.numbers: dict[Key, int] = {}
        self.moves: dict[tuple[int, int], int] = {}

    def key(self, key: Key) -> int:
        """Return the number of a key."""
        if key not in self.numbers:
            self.numbers[key] = len(self.keys)
            self.keys.append(key)
        return self.numbers[key]

    def spell(self, point: Point) -> Point:
        """Add every codeword from a place on; return the place behind them."""
        import numpy as np

        state = np.zeros(len(point.keys), dtype=np.int64)
        key = np.array([self.key(k) for k in point.keys], dtype=np.int64)
        low, pending, found = point.low, [], self.builder.layers_of(self.leaf)
        for depth, layer in enumerate(found):
            if depth == len(found) - 1 and self._worth_mixing(layer, state, key):
                pending.append(self._mixed(layer, low, key[: len(key) // layer.states]))
                break
            edges = self._edges(layer, low, state, key)
            self.graph.edges += len(edges.source)
            if self.graph.edges > MOST_EDGES:
                raise CodeError(
                    f"message {self.graph.message.name} is too large to be heard exactly",
                    kind="too-large",
                    hint="smaller packed tables, or fewer check symbols over them",
                )
            state, key = self._next(edges, found[depth + 1] if depth + 1 < len(found) else None)
            low = self.graph.nodes
            edges.target = np.where(edges.ends, edges.target, edges.target + low)
            self.graph.nodes += len(state)
            pending.append(edges)
        return self._finish(pending)

    def _edges(self, layer: Layer, low: int, state: np.ndarray, key: np.ndarray) -> _Edges:
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
            low, low + len(state), source, symbol, decides, target, reached, target == END
        )

    def _moved(self, key: np.ndarray, symbol: np.ndarray, decides: Decides) -> np.ndarray:
        """Return the number of the key each edge reaches, -1 for none."""
        import numpy as np

        symbols = self.table.alphabet.symbols
        pairs, place = np.unique(key * len(symbols) + symbol, return_inverse=True)
        reached = np.empty(len(pairs), dtype=np.int64)
        for n, pair in enumerate(pairs.tolist()):
            before, said = divmod(pair, len(symbols))
            if (before, said) not in self.moves:
                after = self.builder.after(self.leaf, self.keys[before], symbols[said])
                self.moves[before, said] = -1 if after is None else self.key(after)
            reached[n] = self.moves[before, said]
        moved = reached[place]
        return self._marked(moved, decides) if self.builder.open else moved

    def _marked(self, moved: np.ndarray, decides: Decides) -> np.ndarray:
        """Mark in each key the optional parts that a decided level makes other than usual."""
        import numpy as np

        for name, levels in decides.items():
            for number, implied in enumerate(self.builder.open):
                usual = implied.get(name, -2)
                place = self.builder.checks + number
                changed = (levels >= 0) & (levels != usual) & (moved >= 0)
                for before in np.unique(moved[changed]).tolist():
                    key = self.keys[before]
                    flagged = self.key((*key[:place], 1, *key[place + 1 :]))
                    moved = np.where(changed & (moved == before), flagged, moved)
        return moved

    def _next(self, edges: _Edges, layer: Layer | None) -> tuple[np.ndarray, np.ndarray]:
        """Number the nodes the edges go on to; return their states and keys, by state."""
        import numpy as np

        on = ~edges.ends
        width = len(self.keys) + 1
        codes, place = np.unique(edges.target[on] * width + edges.key[on], return_inverse=True)
        state, key = codes // width, codes % width
        if (
            layer is not None
            and self.table.kind == "packed"
            and not self.builder.open
            and all(t == END for t in layer.target[:1])
        ):
            keys = np.unique(key)
            if layer.states * len(keys) <= 2 * len(
                codes
            ):  # nearly every state has every key: give it all of them
                place = np.searchsorted(keys, key)[place] + state[place] * len(keys)
                state, key = (
                    np.repeat(np.arange(layer.states), len(keys)),
                    np.tile(keys, layer.states),
                )
        edges.target[on] = place
        return state, key

    def _worth_mixing(self, layer: Layer, state: np.ndarray, key: np.ndarray) -> bool:
        keys, rest = divmod(len(state), layer.states)
        if (
            rest
            or keys < 2
            or self.table.kind != "packed"
            or self.builder.open
            or len(layer.source) * keys < _DENSE
        ):
            return False
        grid = key.reshape(layer.states, keys)
        return bool((state[::keys] == range(layer.states)).all() and (grid == grid[0]).all())

    def _mixed(self, layer: Layer, low: int, keys: np.ndarray) -> _Edges:
        """Add the matrix from states to figures, and return the edges that then say the figure."""
        import numpy as np

        figures, place = np.unique(layer.symbol, return_inverse=True)
        possible = np.zeros((layer.states, len(figures)), dtype=bool)
        possible[layer.source, place] = True
        decides = {}
        for name, levels in layer.decides.items():
            decides[name] = np.full(possible.shape, -1, dtype=np.int64)
            decides[name][layer.source, place] = levels
        slot, count = self.graph.nodes, len(figures) * len(keys)
        self.graph.nodes += count
        self.graph.operations.append(
            Mix(low, slot, layer.states, len(figures), len(keys), possible, decides)
        )
        symbol, key = np.repeat(figures, len(keys)), np.tile(keys, len(figures))
        reached = self._moved(key, symbol, {})
        target = np.full(count, END)
        return _Edges(
            slot, slot + count, np.arange(count), symbol, {}, target, reached, target == END
        )

    def _finish(self, pending: list[_Edges]) -> Point:
        """Give the end of the codeword its nodes, and add the operations."""
        import numpy as np

        reached = np.unique(np.concatenate([edges.key[edges.ends] for edges in pending]))
        after = self.builder.point(self.keys[number] for number in reached.tolist())
        place = np.zeros(len(self.keys), dtype=np.int64)
        for number, key in enumerate(after.keys):
            place[self.numbers[key]] = after.low + number
        mixes = [
            operation for operation in self.graph.operations[-1:] if isinstance(operation, Mix)
        ]
        if mixes:
            self.graph.operations.pop()
        for number, edges in enumerate(pending):
            edges.target = np.where(edges.ends, place[edges.key], edges.target)
            if mixes and number == len(pending) - 1:
                self.graph.operations.append(mixes[0])
            self.graph.operations.append(_said(edges))
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
    reached = int(edges.target.min())
    return Say(
        low=edges.low,
        high=edges.high,
        target=edges.target,
        symbol=edges.symbol,
        source=source,
        starts=np.append(starts, len(edges.source)),
        decides={name: levels[starts] for name, levels in edges.decides.items()},
        sources=sources,
        source_starts=source_starts,
        run=np.cumsum(begins) - 1,
        place=edges.target - reached,
        reached=reached,
        reach=int(edges.target.max()) - reached + 1,
    )
