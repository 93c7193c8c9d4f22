"""Code tables as layers of weighted edges: what each symbol of a codeword decides about the levels
of its fields.

A listed, digits or scale table is the tree of its codewords; the edge that ends a codeword decides
the level. A packed table is never listed. Its number n is written twice, in figures and in
mixed-radix levels, and both are read from the most significant end: after some figures n lies in an
interval of base^r numbers, after some levels in an interval of S numbers. All that matters for the
rest is the offset of one interval in the other, fewer than S + base^r possibilities. A level is
decided as soon as an interval of its size holds the figures read so far in at most two ways. So a
table of N codewords needs about √N states, and each pair (figures, levels) has one path.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from grammar.codes import CodeTable, Numeral
from grammar.errors import CodeError
from grammar.fields import ENUMERABLE

if TYPE_CHECKING:
    import numpy as np

MOST_EDGES = 6_000_000
END = -1


class Layer(NamedTuple):
    """Edges from the states of one depth of a codeword, in order of the state they leave.

    ``source`` and ``target`` number the states of this depth and of the next (END: the codeword is
    complete), ``symbol`` is the symbol's number in the alphabet; ``decides`` maps a field to the
    level each edge decides (-1: none).
    """

    source: np.ndarray
    target: np.ndarray
    symbol: np.ndarray
    decides: dict[str, np.ndarray]
    states: int

    def parted(self) -> tuple[Layer, Layer]:
        """Return the edges that end a codeword, and those that go on."""
        ends, on = (
            Layer(
                self.source[kept],
                self.target[kept],
                self.symbol[kept],
                {name: levels[kept] for name, levels in self.decides.items()},
                self.states,
            )
            for kept in (self.target == END, self.target != END)
        )
        return ends, on


def layers(table: CodeTable) -> list[Layer]:
    """Return the layers of a table; raises CodeError (kind "too-large") where it has too many
    states to be heard exactly.
    """
    for field in table.fields:
        if field.size > ENUMERABLE:
            raise CodeError(
                f"{field.title} has {field.size} levels; a field of at most {ENUMERABLE} can be"
                " heard through noise",
                kind="too-large",
                hint="a coarser step, or a field for each part of the number",
            )
    if table.numeral is not None and len(table.fields) > 1:
        return _packed(table, table.numeral)
    return _tree([(word, levels) for levels, word in table.words()], table)


def _tree(words: Sequence[tuple[str, tuple[int, ...]]], table: CodeTable) -> list[Layer]:
    """Return the tree of codewords, each with the levels of the table's fields."""
    import numpy as np

    index = table.alphabet.index
    found: list[Layer] = []
    here: dict[str, int] = {"": 0}
    level_of = dict(words)
    open_levels = (-1,) * len(table.fields)
    depth = 0
    while here:
        depth += 1
        heads = {word[:depth]: None for word in level_of if len(word) >= depth}
        inner = {word[:depth]: None for word in level_of if len(word) > depth}
        after = {head: number for number, head in enumerate(inner)}
        rows: list[tuple[int, ...]] = []
        for head in heads:
            source, symbol = here[head[:-1]], index[head[-1]]
            if head in level_of:
                rows.append((source, END, symbol, *level_of[head]))
            if head in after:
                rows.append((source, after[head], symbol, *open_levels))
        rows.sort(key=lambda row: row[0])
        columns = np.array(rows, dtype=np.int64).reshape(-1, 3 + len(open_levels)).T
        decides = {
            field.name: columns[3 + place].copy() for place, field in enumerate(table.fields)
        }
        ends = bool((columns[1] == END).any())
        found.append(Layer(columns[0], columns[1], columns[2], decides if ends else {}, len(here)))
        here = after
    return found


def _packed(table: CodeTable, numeral: Numeral) -> list[Layer]:
    """Return the layers of a packed table by offsets; see the module's text."""
    import numpy as np

    base, sizes = len(numeral.figures), [field.size for field in table.fields]
    spans = [1]
    for size in reversed(sizes):
        spans.insert(
            0, spans[0] * size
        )  # spans[j]: how many numbers are left once j levels are decided
    figures = np.array([table.alphabet.index[symbol] for symbol in numeral.figures], dtype=np.int64)
    offsets, decided, found, edges = np.zeros(1, dtype=np.int64), 0, [], 0
    if base**numeral.width >= 2**60:
        raise _too_large(table)
    for place in range(numeral.width):
        block = base ** (numeral.width - place - 1)
        after = max((j for j in range(decided, len(spans)) if spans[j] >= block), default=decided)
        edges += 2 * len(offsets) * base
        if edges > MOST_EDGES:
            raise _too_large(table)
        source, figure, part, offset = _moves(
            offsets, base, block, spans[decided] // spans[after], spans[after]
        )
        last = place == numeral.width - 1
        states, target = np.unique(offset, return_inverse=True)
        decides = {
            table.fields[j].name: part // (spans[j + 1] // spans[after]) % sizes[j]
            for j in range(decided, after)
        }
        target = np.full(len(offset), END) if last else target.astype(np.int64)
        found.append(Layer(source, target, figures[figure], decides, len(offsets)))
        offsets, decided = states, after
    return found


def _moves(offsets: Any, base: int, block: int, parts: int, span: int) -> tuple[Any, Any, Any, Any]:
    """Return (state, figure, levels decided as one number, new offset) of every way on from
    ``offsets``, by state.
    """
    import numpy as np

    start = offsets[:, None] + np.arange(base)[None, :] * block
    low, high = start // span, (start + block - 1) // span
    state = np.broadcast_to(np.arange(len(offsets))[:, None], start.shape)
    figure = np.broadcast_to(np.arange(base)[None, :], start.shape)
    two = np.stack([low, high], axis=2).reshape(-1)
    keep = (
        np.stack([np.ones_like(low, dtype=bool), high > low], axis=2).reshape(-1)
        & (two >= 0)
        & (two < parts)
    )
    state, figure, begin = (
        np.repeat(array.reshape(-1), 2)[keep] for array in (state, figure, start)
    )
    part = two[keep]
    return state, figure, part, begin - part * span


def _too_large(table: CodeTable) -> CodeError:
    return CodeError(
        f"table {table.name} has too many combinations ({table.size}) to be heard exactly",
        kind="too-large",
        hint="pack fewer fields together; two packed tables instead of one",
    )
