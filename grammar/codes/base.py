"""What every code table is: levels of its fields ↔ codewords, one to one, both directions in one
object.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple

from grammar.fields import FieldBase, Value
from grammar.symbols import Alphabet

DONE = -1
MOST_WIDTH = 40  # symbols in a codeword
LOOKED_UP = 4096  # tables up to this size keep what their codewords mean once it was worked out

Levels = tuple[int, ...]
Edge = tuple[int, int]
Fragment = list[list[Edge]]


class Entry(NamedTuple):
    """What one codeword means: levels, values and warnings of the table's fields, in their order;
    ``named`` has the values by field.
    """

    levels: Levels
    values: tuple[Value, ...]
    warnings: tuple[str, ...]
    named: Mapping[str, Value]


class _Entries(dict[str, Entry | None]):
    """What codewords mean, worked out when first asked for; what is no codeword is never kept, so
    memory stays bounded.
    """

    def __init__(self, table: CodeTable) -> None:
        self.table, self.kept = table, table.size <= LOOKED_UP

    def __missing__(self, word: str) -> Entry | None:
        levels = self.table.levels(word)
        if levels is None:
            return None
        pairs = list(zip(self.table.fields, levels, strict=True))
        warnings = tuple(text for field, level in pairs for text in field.warnings(level))
        named = {field.name: field.value(level) for field, level in pairs}
        entry = Entry(levels, tuple(named.values()), warnings, named)
        if self.kept:
            self[word] = entry
        return entry


class CodeTable:
    """One code table bound to its fields and alphabet.

    ``word(levels)`` gives the codeword (None where a partial table has none), ``levels(word)`` the
    way back (None for no codeword), ``words()`` all pairs. ``fragment()`` is the set of codewords
    as a deterministic automaton: state 0 first, edges (symbol mask, target), target ``DONE`` where
    a codeword ends; a codeword may go on past the end of another.
    """

    kind = ""

    def __init__(self, name: str, fields: Sequence[FieldBase], alphabet: Alphabet) -> None:
        """Bind a table to its fields."""
        self.name, self.fields, self.alphabet = name, tuple(fields), alphabet

    @property
    def size(self) -> int:
        """The number of codewords."""
        raise NotImplementedError  # pragma: no cover

    @property
    def lengths(self) -> tuple[int, int]:
        """The shortest and the longest codeword, in symbols."""
        raise NotImplementedError  # pragma: no cover

    def word(self, levels: Levels) -> str | None:
        """Return the codeword of ``levels``."""
        raise NotImplementedError  # pragma: no cover

    def levels(self, word: str) -> Levels | None:
        """Return the levels of a codeword."""
        raise NotImplementedError  # pragma: no cover

    def words(self) -> Iterator[tuple[Levels, str]]:
        """Yield every (levels, codeword), in level order."""
        raise NotImplementedError  # pragma: no cover

    def fragment(self) -> Fragment:
        """Return the automaton of the codewords."""
        raise NotImplementedError  # pragma: no cover

    def pattern(self) -> str:
        """Return a regular expression that matches every codeword, and perhaps more."""
        raise NotImplementedError  # pragma: no cover

    @functools.cached_property
    def entry(self) -> Callable[[str], Entry | None]:
        """``entry(word)`` is what ``word`` means, None if it is no codeword: a dictionary's own
        look-up, for bulk decoding lives on it.
        """
        return _Entries(self).__getitem__


def symbol_class(symbols: str) -> str:
    """Return a regular expression for any one of ``symbols``."""
    return (
        re.escape(symbols)
        if len(symbols) == 1
        else "[" + "".join(re.escape(symbol) for symbol in symbols) + "]"
    )


def trie(alphabet: Alphabet, words: Iterable[str]) -> Fragment:
    """Return the automaton of a list of words, like endings shared."""
    root: dict[str, dict[str, object]] = {}
    for word in words:
        node: dict[str, object] = root  # type: ignore[assignment]
        for symbol in word:
            node = node.setdefault(symbol, {})  # type: ignore[assignment]
        node[""] = True
    states: Fragment = [[]]
    known: dict[tuple[Edge, ...], int] = {}

    def edges(node: dict[str, object]) -> tuple[Edge, ...]:
        masks: dict[int, int] = {}
        for symbol, child in node.items():
            if not isinstance(child, dict):
                continue
            bit = 1 << alphabet.index[symbol]
            if "" in child:
                masks[DONE] = masks.get(DONE, 0) | bit
            if len(child) > ("" in child):
                inner = edges(child)
                if inner not in known:
                    known[inner] = len(states)
                    states.append(list(inner))
                masks[known[inner]] = masks.get(known[inner], 0) | bit
        return tuple((mask, target) for target, mask in masks.items())

    states[0] = list(edges(root))  # type: ignore[arg-type]
    return states
