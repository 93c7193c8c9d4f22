"""What every code table is: levels of its fields ↔ codewords, one to one, both directions in one
object; and what its model in a book is: the settings out of which it is built.
"""

from __future__ import annotations

import copy
import functools
import itertools
import math
import operator
from abc import ABC, abstractmethod
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple

from grammar.codes.checks import CheckRule
from grammar.declared import Declared, takes
from grammar.errors import CodeError, Problem
from grammar.fields import FieldBase, Value
from grammar.symbols import Alphabet

DONE = -1
MOST_WIDTH = 40  # symbols in a codeword
MOST_BEGINNINGS = 300_000  # of the codewords of a listed table: what its automaton is made of
SYMBOLS = (("alphabet",),)  # what a problem with the symbols in use rests on
MOST_KEPT = 8192  # so many codewords of a table, and levels of a field of it, are kept worked out

Fields = Mapping[str, FieldBase]
Levels = tuple[int, ...]
FragmentEdge = tuple[int, int]
Fragment = list[list[FragmentEdge]]
_Beginnings = dict[str, "_Beginnings | None"]  # by the next symbol; "" where a codeword ends


class _Values(dict[int, Value]):
    """The values of a field by level, worked out when first asked for, kept up to a bound."""

    def __init__(self, field: FieldBase) -> None:
        self.field = field

    def __missing__(self, level: int) -> Value:
        if len(self) >= MOST_KEPT:
            self.clear()
        self[level] = value = self.field.value(level)
        return value


class Numeral(NamedTuple):
    """How a table writes numbers: those of its codewords are ``first + stride * n`` (n = 0 … size -
    1), each ``width`` of ``figures`` (value 0 first), below zero with ``minus`` before its amount,
    from zero on with ``plus``.

    ``start + n`` counts the levels of all fields as one mixed-radix number, the first field most
    significant.
    """

    figures: str
    width: int
    size: int
    first: int = 0
    stride: int = 1
    minus: str = ""
    start: int = 0
    plus: str = ""

    @property
    def last(self) -> int:
        """The number of the last codeword."""
        return self.first + self.stride * (self.size - 1)

    def runs(self) -> list[tuple[str, int, int]]:
        """Return (sign, lowest amount, highest amount) of the numbers below zero and of the
        others.
        """
        if self.first >= 0:
            return [(self.plus, self.first, self.last)]
        below = min(self.size, -(self.first // self.stride))  # how many numbers lie below zero
        runs = [(self.minus, -(self.first + self.stride * (below - 1)), -self.first)]
        return (
            [*runs, (self.plus, self.first + self.stride * below, self.last)]
            if below < self.size
            else runs
        )


class CodeTable(ABC):
    """One code table bound to its fields and alphabet.

    ``word(levels)`` gives the codeword (None where a partial table has none), ``levels(word)`` the
    way back (None for no codeword), ``words()`` all pairs. ``fragment()`` is the set of codewords
    as a deterministic automaton: state 0 first, edges (symbol mask, target), target ``DONE`` where
    a codeword ends; a codeword may go on past the end of another.

    Whoever writes a table down, in another grammar, in C or as layers of a graph, lists
    ``words()``; but where ``numeral`` is given the codewords are arithmetic and may be too many.
    """

    kind = ""
    numeral: Numeral | None = None
    """How its codewords are numbers, None where they are to be listed."""
    check: CheckRule | None = None
    """What it checks: then it has no field, and its one symbol follows from those before it."""
    literal: str | None = None
    """The symbols it always says, where it stands in a layout itself and in no book's tables."""
    decimal = False
    """Whether its codewords are numbers that people say as numbers: eight hundred."""

    def __init__(self, name: str, fields: Sequence[FieldBase], alphabet: Alphabet) -> None:
        """Bind a table to its fields."""
        self.name, self.fields, self.alphabet = name, tuple(fields), alphabet

    @property
    def family(self) -> int | None:
        """How many fields it says one after the other, a codeword each; None for no family."""
        return next((len(one.family) for one in self.fields if one.members is not None), None)

    def at(self, member: int | None, repetition: int) -> CodeTable:
        """Return the table with its fields as they are said at one place of a layout: of a member
        of a family (None: of no family), and at one time of a part said again (0: of no such part).
        """
        fields = self.fields if member is None else [self.fields[0].family[member]]
        if not repetition and member is None:
            return self
        made = copy.copy(self)
        made.fields = tuple(one.repetitions[repetition] if repetition else one for one in fields)
        return made

    @property
    @abstractmethod
    def size(self) -> int:
        """The number of codewords."""

    @property
    @abstractmethod
    def lengths(self) -> tuple[int, int]:
        """The shortest and the longest codeword, in symbols."""

    @abstractmethod
    def word(self, levels: Levels) -> str | None:
        """Return the codeword of ``levels``."""

    @abstractmethod
    def levels(self, word: str) -> Levels | None:
        """Return the levels of a codeword."""

    @abstractmethod
    def words(self) -> Iterator[tuple[Levels, str]]:
        """Yield every (levels, codeword), in level order."""

    @abstractmethod
    def fragment(self) -> Fragment:
        """Return the automaton of the codewords."""

    @functools.cached_property
    def symbols(self) -> int:
        """The symbols that may stand in its codewords, as a mask."""
        masks = (mask for edges in self.fragment() for mask, _ in edges)
        return functools.reduce(operator.or_, masks, 0)

    @property
    def combinations(self) -> int:
        """The number of combinations of levels of its fields."""
        return math.prod(field.size for field in self.fields)

    @property
    def partial(self) -> bool:
        """Whether some levels of its fields have no codeword."""
        return self.size < self.combinations

    @property
    def part(self) -> Sequence[range] | None:
        """The levels it has codewords for, as runs in rising order (the levels of several fields
        counted as one mixed-radix number); None for all.
        """
        if not self.partial:
            return None
        levels = sorted(self._counted(levels) for levels, _ in self.words())
        starts = [n for n, level in enumerate(levels) if n == 0 or level > levels[n - 1] + 1]
        ends = [*starts[1:], len(levels)]
        return [
            range(levels[start], levels[end - 1] + 1)
            for start, end in zip(starts, ends, strict=True)
        ]

    @property
    def summary(self) -> str:
        """What a person should know of it besides its fields and codewords, "" for nothing."""
        return f"{self.size} combinations" if len(self.fields) > 1 else ""

    def _counted(self, levels: Levels) -> int:
        """Return levels as one mixed-radix number, the first field most significant."""
        number = 0
        for field, level in zip(self.fields, levels, strict=True):
            number = number * field.size + level
        return number

    def _levels(self, number: int) -> Levels:
        """Return the levels that a mixed-radix number counts."""
        levels = []
        for field in reversed(self.fields):
            number, level = divmod(number, field.size)
            levels.append(level)
        return tuple(reversed(levels))

    def values(self, word: str) -> tuple[Value, ...] | None:
        """Return what the fields are by a codeword, None if it is none."""
        levels = self.levels(word)
        if levels is None:
            return None
        return tuple([values[level] for values, level in zip(self._values, levels, strict=True)])

    @functools.cached_property
    def _values(self) -> list[_Values]:
        return [_Values(field) for field in self.fields]


def trie(alphabet: Alphabet, words: Iterable[str], name: str) -> Fragment:
    """Return the automaton of a list of words, like endings shared.

    Raises CodeError (kind "too-large") for more than ``MOST_BEGINNINGS``.
    """
    root: _Beginnings = {}
    count = 0
    for word in words:
        node = root
        for symbol in word:
            child = node.get(symbol)
            if child is None:
                child = node[symbol] = {}
                count += 1
            node = child
        node[""] = None
        if count > MOST_BEGINNINGS:
            raise CodeError(
                f"table {name}: codewords of more than {MOST_BEGINNINGS} different beginnings",
                kind="too-large",
                hint="fewer or shorter codewords, or more that begin alike",
            )
    states: Fragment = [[]]
    known: dict[tuple[FragmentEdge, ...], int] = {}

    def edges(node: _Beginnings) -> tuple[FragmentEdge, ...]:
        masks: dict[int, int] = {}
        for symbol, child in node.items():
            if child is None:
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

    states[0] = list(edges(root))
    return states


class TableSpec(Declared):
    """The model of a kind of code table in a book."""

    @abstractmethod
    def build(self, name: str, fields: Fields, alphabet: Alphabet) -> CodeTable:
        """Return the table bound to its fields; raises Problem, or a group of several."""


class OneField(TableSpec):
    """What tables of one field share."""

    field: str | None = takes(
        default=None, description="The field it says; the default is the field of the same name."
    )

    def field_of(self, name: str, fields: Fields) -> FieldBase:
        """Return the field of the table ``name``; raises Problem."""
        return found(self.field or name, fields, *(["field"] if self.field else []))


def found(name: str, fields: Fields, *keys: str) -> FieldBase:
    """Return a field by name; raises Problem that names the fields there are."""
    if name not in fields:
        known = ", ".join(itertools.islice(fields, 12)) or "none"
        raise Problem(
            keys,
            f"there is no field {name!r}",
            f"the book's fields are: {known}",
            rests_on=(("fields", name),),
        )
    return fields[name]


def members_of(names: list[str], fields: Fields, done: str) -> list[FieldBase]:
    """Return the fields of a table of several, those of a family in its place; raises Problem."""
    members = [one for name in names for one in found(name, fields, "fields").family]
    twice = [name for name, n in Counter(one.name for one in members).items() if n > 1]
    if twice:
        raise Problem(("fields",), f"{twice[0]!r} is {done} twice", "name each field once")
    return members


def in_use(text: str, alphabet: Alphabet, *keys: str) -> str:
    """Return ``text`` if all its symbols are in use; raises Problem."""
    missing = sorted({symbol for symbol in text if symbol not in alphabet.index})
    if missing:
        raise Problem(
            keys,
            f"{', '.join(map(repr, missing))} not in use in this alphabet",
            f"in use: {alphabet.symbols}",
            rests_on=SYMBOLS,
        )
    return text
