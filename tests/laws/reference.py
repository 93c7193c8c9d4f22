"""A second, slow account of what a book means, written from its specification alone: every string
of every message, by listing.

Nothing of the product is used. Check digits come from python-stdnum; the weighted sum is written
out here.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any, NamedTuple

from stdnum import damm, luhn, verhoeff
from stdnum.iso7064 import mod_11_2, mod_11_10, mod_37_2, mod_37_36

Tree = tuple[
    Any, ...
]  # ("table", name) ("literal", symbols) ("order", trees) ("maybe", tree) ("either", trees)
# ("again", (tree, least, most))
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
DIGITS = "0123456789"
ALL = DIGITS + LETTERS

PUBLISHED = {
    "iso7064 mod 11-2": (DIGITS, mod_11_2.calc_check_digit),
    "iso7064 mod 37-2": (ALL, mod_37_2.calc_check_digit),
    "iso7064 mod 11,10": (DIGITS, mod_11_10.calc_check_digit),
    "iso7064 mod 27,26": (LETTERS, lambda text: mod_37_36.calc_check_digit(text, alphabet=LETTERS)),
    "iso7064 mod 37,36": (ALL, mod_37_36.calc_check_digit),
    "damm": (DIGITS, damm.calc_check_digit),
    "verhoeff": (DIGITS, verhoeff.calc_check_digit),
    "luhn": (DIGITS, luhn.calc_check_digit),
}


class Way(NamedTuple):
    """One way to say one report: its pieces in order (leaf number, table or literal, symbols) and
    the level of every field.
    """

    message: str
    pieces: tuple[tuple[int, str, str], ...]
    levels: tuple[tuple[str, int], ...]

    @property
    def string(self) -> str:
        return "".join(symbols for _, _, symbols in self.pieces)


class Draft(NamedTuple):
    """A book as dictionaries, and the trees of its layouts."""

    spec: dict[str, Any]
    trees: dict[str, Tree]


def notation(tree: Tree) -> str:
    """Write a tree as a layout."""
    kind, inner = tree
    if kind == "table":
        return str(inner)
    if kind == "literal":
        return f'"{inner}"'
    if kind == "maybe":
        return f"( {notation(inner)} )?"
    if kind == "again":
        part, least, most = inner
        return f"( {notation(part)} ){{{least}..{most}}}"
    parts = [notation(part) for part in inner]
    return " ".join(parts) if kind == "order" else f"( {' | '.join(parts)} )"


def size(field: Mapping[str, Any]) -> int:
    """Count the levels of a field."""
    kind = field["kind"]
    if kind == "quantity":
        return int((Decimal(field["high"]) - Decimal(field["low"])) / Decimal(field["step"])) + 1
    if kind == "bands":
        return len(field["edges"]) + 1
    if kind == "choice":
        return len(field["options"])
    if kind == "flags":
        return int(2 ** len(field["flags"]))
    return int(Decimal(field["modulus"]) / Decimal(field.get("step", 1)))


def usual(field: Mapping[str, Any]) -> int | None:
    """Return the usual level of a field."""
    value = field.get("usual")
    if value is None:
        return None
    kind = field["kind"]
    if kind == "quantity":
        return int((Decimal(value) - Decimal(field["low"])) / Decimal(field["step"]))
    if kind == "wrapped":
        return int(Decimal(value) / Decimal(field.get("step", 1)))
    if kind == "bands":
        return value if isinstance(value, int) else int(field["names"].index(value))
    if kind == "choice":
        return int(field["options"].index(value))
    return sum(1 << int(field["flags"].index(name)) for name in set[str](value))


class Reference:
    """All strings of a book."""

    def __init__(self, draft: Draft) -> None:
        self.draft = draft
        self.fields, self.tables = dict(draft.spec["fields"]), draft.spec["tables"]
        for name in draft.spec["fields"]:
            self.fields |= dict.fromkeys(self.members(name), self.fields[name])
        given = draft.spec.get("alphabet", {})
        retired = given.get("retired", "")
        self.symbols = "".join(s for s in given.get("symbols", ALL) if s not in retired)

    def members(self, name: str) -> list[str]:
        """Return the fields of a family, nothing for any other field."""
        members = self.fields[name].get("members", ()) if name in self.draft.spec["fields"] else ()
        return [f"{name}_{member.replace(' ', '_')}" for member in members]

    def field(self, name: str) -> Mapping[str, Any]:
        """Return the field that a reading names, at any time of a part said again."""
        return dict(self.fields.get(name) or self.fields[name.rpartition("_")[0]])

    def fields_of(self, table: str) -> list[str]:
        """Return the fields of a table."""
        entry = self.tables[table]
        if entry["kind"] == "check":
            return []
        if entry["kind"] == "packed":
            return [one for name in entry["fields"] for one in self.members(name) or [name]]
        return [entry.get("field", table)]

    def places(self, table: str, turn: int) -> list[list[str]]:
        """Return the fields that each place says where a layout names a table: one of a family has
        a place for each member. At one time of a part said again they are numbered.
        """
        names = self.fields_of(table)
        several = self.members(names[0]) if len(names) == 1 else []
        behind = f"_{turn}" if turn else ""
        return (
            [[name + behind] for name in several]
            if several
            else [[name + behind for name in names]]
        )

    def words(self, table: str) -> Iterator[tuple[tuple[int, ...], str]]:
        """Yield (levels, codeword) of a table that is no check."""
        entry, names = self.tables[table], self.fields_of(table)
        if entry["kind"] == "listed":
            words = entry["words"]
            pairs = (
                enumerate(words)
                if isinstance(words, list)
                else ((self.level(names[0], key), word) for key, word in words.items())
            )
            yield from (((level,), word) for level, word in pairs)
            return
        for levels in itertools.product(*(range(size(self.fields[name])) for name in names)):
            yield levels, self.word(table, levels)

    def level(self, name: str, key: str) -> int:
        """Return the level that a key of a listed table names."""
        field = self.fields[name]
        kind = field["kind"]
        if kind == "choice":
            return int(field["options"].index(key))
        if kind == "bands":
            return int(field["names"].index(key))
        if kind == "flags":
            return sum(1 << field["flags"].index(flag) for flag in key.split(",") if flag != "none")
        low = Decimal(field["low"]) if kind == "quantity" else Decimal(0)
        return int((Decimal(key) - low) / Decimal(field.get("step", 1)))

    def word(self, table: str, levels: Sequence[int]) -> str:
        """Return the codeword of a numbered table."""
        entry, names = self.tables[table], self.fields_of(table)
        if entry["kind"] == "scale":
            return str(entry.get("symbols", self.symbols)[levels[0]])
        if entry["kind"] == "digits":
            return self._digits(entry, self.fields[names[0]], levels[0])
        figures = entry.get("symbols", self.symbols)
        number, sizes = 0, [size(self.fields[name]) for name in names]
        for count, level in zip(sizes, levels, strict=True):
            number = number * count + level
        most, width = len(figures), 1
        while most < _product(sizes):
            most, width = most * len(figures), width + 1
        word = ""
        for _ in range(entry.get("width", width)):
            number, figure = divmod(number, len(figures))
            word = figures[figure] + word
        return word

    @staticmethod
    def _digits(entry: Mapping[str, Any], field: Mapping[str, Any], level: int) -> str:
        if entry.get("count", "level") == "level":
            numbers = [entry.get("first", 0) + n for n in range(size(field))]
        else:
            step = Decimal(field.get("step", 1))
            per = Decimal(entry.get("per", step))
            low = Decimal(field["low"]) if field["kind"] == "quantity" else Decimal(0)
            numbers = [int((low + step * n) / per) for n in range(size(field))]
        width = entry.get("width", max(len(str(abs(number))) for number in numbers))
        sign = entry.get("plus", "") if numbers[level] >= 0 else entry["minus"]
        return str(sign) + str(abs(numbers[level])).zfill(width)

    def ways(self, message: str) -> Iterator[Way]:
        """Yield every way to say every report of a message."""
        for pieces, levels in self._expand(self.draft.trees[message], [0]):
            done = self._checked(pieces)
            order = self._order(message)
            yield Way(
                message, done, tuple((name, levels[name]) for name in order if name in levels)
            )

    def _order(self, message: str) -> list[str]:
        return list(
            dict.fromkeys(
                name
                for table, turn in places_of(self.draft.trees[message])
                for place in self.places(table, turn)
                for name in place
            )
        )

    def _expand(
        self, tree: Tree, count: list[int], turn: int = 0
    ) -> list[tuple[tuple[tuple[int, str, str], ...], dict[str, int]]]:
        """List (pieces, levels) below a tree; a check's symbol is left open ("")."""
        kind, inner = tree
        if kind == "literal":
            count[0] += 1
            return [(((count[0] - 1, f'"{inner}"', inner),), {})]
        if kind == "table":
            return _joined([self._said(inner, names, count) for names in self.places(inner, turn)])
        if kind == "maybe":
            return [*self._expand(inner, count, turn), ((), self.implied(inner, turn))]
        if kind == "again":
            part, least, most = inner
            turns = [self._expand(part, count, number) for number in range(1, most + 1)]
            return [way for times in range(least, most + 1) for way in _joined(turns[:times])]
        branches = [self._expand(part, count, turn) for part in inner]
        if kind == "either":
            return [one for branch in branches for one in branch]
        return _joined(branches)

    def _said(
        self, table: str, names: Sequence[str], count: list[int]
    ) -> list[tuple[tuple[tuple[int, str, str], ...], dict[str, int]]]:
        number = count[0]
        count[0] += 1
        if self.tables[table]["kind"] == "check":
            return [(((number, table, ""),), {})]
        return [
            (((number, table, word),), dict(zip(names, levels, strict=True)))
            for levels, word in self.words(table)
        ]

    def implied(self, tree: Tree, turn: int = 0) -> dict[str, int]:
        """Return what leaving a part out means: the usual level of each field that every way
        through it gives.
        """
        kind, inner = tree
        if kind in ("literal", "again"):
            return {}
        if kind == "table":
            names = [name for place in self.places(inner, turn) for name in place]
            levels = {name: usual(self.field(name)) for name in names}
            return {name: level for name, level in levels.items() if level is not None}
        if kind == "maybe":
            return self.implied(inner, turn)
        parts = [self.implied(part, turn) for part in inner]
        if kind == "either":
            return {
                name: level
                for name, level in parts[0].items()
                if all(name in part for part in parts)
            }
        return {name: level for part in parts for name, level in part.items()}

    def _checked(self, pieces: Sequence[tuple[int, str, str]]) -> tuple[tuple[int, str, str], ...]:
        done: list[tuple[int, str, str]] = []
        for number, name, symbols in pieces:
            said = symbols
            if not symbols:
                entry = self.tables[name]
                said = self.check(
                    entry,
                    "".join(
                        s for _, n, s in done if entry.get("over") is None or n in entry["over"]
                    ),
                )
            done.append((number, name, said))
        return tuple(done)

    def check(self, entry: Mapping[str, Any], text: str) -> str:
        """Return the check symbol of a text."""
        if entry["method"] != "weighted sum":
            return str(PUBLISHED[entry["method"]][1](text))
        values = entry.get("symbols", self.symbols)
        modulus = entry.get("modulus", len(values))
        total = sum(
            weight * values.index(symbol)
            for weight, symbol in zip(itertools.cycle(entry["weights"]), text, strict=False)
        )
        return str(values[-total % modulus])

    def count(self, tree: Tree) -> int:
        """Count the ways below a tree, cheaply."""
        kind, inner = tree
        if kind == "literal":
            return 1
        if kind == "table":
            entry = self.tables[inner]
            if entry["kind"] == "check":
                return 1
            words = (
                len(entry["words"])
                if entry["kind"] == "listed"
                else _product([size(self.fields[n]) for n in self.fields_of(inner)])
            )
            return int(words ** len(self.places(inner, 0)))
        if kind == "maybe":
            return self.count(inner) + 1
        if kind == "again":
            part, least, most = inner
            return sum(self.count(part) ** times for times in range(least, most + 1))
        return (_product if kind == "order" else sum)([self.count(part) for part in inner])

    def sent_by(self, direction: str) -> list[str]:
        """Return the names of the messages of a direction."""
        return [
            name
            for name, message in self.draft.spec["messages"].items()
            if message.get("direction", "car") == direction
        ]


def _joined(
    branches: Sequence[list[tuple[tuple[tuple[int, str, str], ...], dict[str, int]]]],
) -> list[tuple[tuple[tuple[int, str, str], ...], dict[str, int]]]:
    """Return the ways that go through every branch, one after the other."""
    every = []
    for combination in itertools.product(*branches):
        levels: dict[str, int] = {}
        for _, more in combination:
            levels.update(more)
        every.append((tuple(piece for pieces, _ in combination for piece in pieces), levels))
    return every


def _product(numbers: Sequence[int]) -> int:
    result = 1
    for number in numbers:
        result *= number
    return result


def tables_of(tree: Tree) -> Iterator[str]:
    """Yield the tables named in a layout, from left to right."""
    return (table for table, _ in places_of(tree))


def places_of(tree: Tree, turn: int = 0) -> Iterator[tuple[str, int]]:
    """Yield the tables named in a layout, from left to right, those of a part said again each time
    with the number of the time.
    """
    kind, inner = tree
    if kind == "table":
        yield inner, turn
    elif kind == "maybe":
        yield from places_of(inner, turn)
    elif kind == "again":
        for number in range(1, inner[2] + 1):
            yield from places_of(inner[0], number)
    elif kind != "literal":
        for part in inner:
            yield from places_of(part, turn)
