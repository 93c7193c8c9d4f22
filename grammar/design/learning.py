"""What people must learn of a code, measured on its tables: how many pairs of value and codeword,
which symbols mean something in more tables than one, and how regular each table is.

A number written in figures is one rule to learn, however many values it has, and nothing at all
where the figures are the value itself; any other codeword is a pair of its own. Figures of such
numbers mean the same everywhere, a figure; in any other table a symbol means what that table says.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from grammar.exact import plain

if TYPE_CHECKING:
    from collections.abc import Sequence

    from grammar.codes import CodeTable
    from grammar.message import Message

_MOST_LISTED = 20_000  # codewords of a table whose order is looked at
_FIGURE = ""  # what a figure of a number means, whatever the table


@dataclass(frozen=True, slots=True)
class TableLearning:
    """One table: the ``pairs`` that must be learnt of it, and ``regular``, the share of
    neighbouring values whose codewords are neighbours too in the order of the symbols; None where
    that was not counted.
    """

    table: str
    pairs: int
    regular: float | None


@dataclass(frozen=True, slots=True)
class Learning:
    """What there is to learn of a message: each table, and the symbols that mean something in
    several tables, with these.
    """

    tables: tuple[TableLearning, ...]
    several: dict[str, tuple[str, ...]]

    @property
    def pairs(self) -> int:
        """The pairs of all tables."""
        return sum(one.pairs for one in self.tables)

    @property
    def text(self) -> str:
        """What there is to learn, in words."""
        pairs = "1 pair" if self.pairs == 1 else f"{self.pairs:,} pairs"
        if not self.several:
            return f"{pairs} of value and codeword to learn; no symbol has two meanings"
        symbols = " ".join(self.several)
        return (
            f"{pairs} of value and codeword to learn; {len(self.several)} symbols mean different"
            f" things in different tables: {symbols}"
        )

    def as_dict(self) -> dict[str, Any]:
        """Return the facts for ``--json``."""
        return {
            "pairs": self.pairs,
            "several_meanings": {symbol: list(names) for symbol, names in self.several.items()},
            "tables": {
                one.table: {
                    "pairs": one.pairs,
                    "regular": None if one.regular is None else round(one.regular, 3),
                }
                for one in self.tables
            },
        }


def learning_of(message: Message) -> Learning:
    """Return what there is to learn of a message's tables that say fields."""
    tables = {table.name: table for table in message.tables if table.fields}
    meanings: dict[str, list[str]] = {}
    for name, table in tables.items():
        for symbol in table.alphabet.unmask(table.symbols):
            means = _FIGURE if symbol.isdigit() and _counts(table) else name
            if means not in (known := meanings.setdefault(symbol, [])):
                known.append(means)
    return Learning(
        tuple(TableLearning(name, _pairs(one), _regular(one)) for name, one in tables.items()),
        {
            symbol: tuple(means or "a figure of a number" for means in names)
            for symbol, names in sorted(meanings.items())
            if len(names) > 1
        },
    )


def _counts(table: CodeTable) -> bool:
    """Tell whether codewords are numbers in figures that say a number."""
    return table.decimal and len(table.fields) == 1 and table.fields[0].numeric


def _pairs(table: CodeTable) -> int:
    return (0 if _shows(table) else 1) if _counts(table) else table.size


def _shows(table: CodeTable) -> bool:
    """Tell whether the figures are the value itself: 46 for 46 °C."""
    [field], numeral = table.fields, table.numeral
    if numeral is None or not table.decimal or field.progression is None:
        return False
    ends = ((numeral.start, numeral.first), (numeral.start + numeral.size - 1, numeral.last))
    return all(plain(field.number_in(level)) == str(number) for level, number in ends)


def _regular(table: CodeTable) -> float | None:
    order = str.maketrans({symbol: chr(n) for symbol, n in table.alphabet.index.items()})
    if table.numeral is not None:
        used = table.numeral.figures[: table.size if table.numeral.width == 1 else None]
        return neighbours([*used.translate(order)])
    if table.size > _MOST_LISTED:
        return None
    return neighbours([word.translate(order) for _, word in table.words()])


def neighbours(words: Sequence[str]) -> float:
    """Return the share of neighbours, one after the other, that are neighbours too where all are
    sorted.
    """
    if len(words) < 2:
        return 1.0
    rank = {word: place for place, word in enumerate(sorted(words))}
    pairs = list(itertools.pairwise([rank[word] for word in words]))
    return sum(after == before + 1 for before, after in pairs) / len(pairs)
