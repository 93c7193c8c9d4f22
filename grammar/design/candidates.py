"""Proposed codes: families of books for the same needs, each without a check symbol, with a full
one, a quick one, and one that notices words that changed places.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from grammar.codes.numbered import DigitsSpec, width_for
from grammar.design import parts
from grammar.design.demands import cut
from grammar.design.needs import Needs
from grammar.design.parts import ENDINGS, NOTES, SymbolPool, Table
from grammar.errors import CodeError

FAMILIES = {
    "monotone": "one table a field, in the order of its levels",
    "natural": "one table a field, numbers in figures, everything else in its order",
    "single": (
        "no symbol with two meanings: numbers in figures, letters of its own for any other field"
    ),
    "assigned": "one table a field, codewords placed so that likely confusions do least harm",
    "variable": "one table a field, short codewords for what is likely",
    "joined": "fields in small groups, short codewords for likely combinations",
    "packed": "fields in large groups, short codewords for likely combinations",
    "fixed": "all fields packed in one number of fixed length",
    "apart": (
        "only words that noise can't confuse, fields in groups with short codewords for likely"
        " combinations"
    ),
}
CARD = (
    "monotone",
    "natural",
    "single",
    "assigned",
    "variable",
)  # families that people can read from a card
SINGLE = "single"  # the family in which no symbol has two meanings
NOW = "now"  # the family of the book as it is
_CLOSING = {"": 0, parts.FULL: 1, parts.QUICK: 2, parts.ORDER: 1}  # symbols kept out of the data
_SMALL = 200  # combinations in a group of the family "joined"
_APART = 5e-4  # taken for each other less often than this counts as never
_LEFT_OUT = 0.8  # a field so often as usual may be left unsaid

_LOOSE = (
    " But {} may be left unsaid, and has codewords of one symbol: such a one is read as the check"
    " where the check is lost and it happens to fit, which nothing notices."
)


@dataclass(frozen=True, slots=True)
class Candidate:
    """One proposed code: the sections of a book, with a comment for each table."""

    name: str
    family: str
    symbols: str
    checked: bool
    sections: dict[str, Any]
    notes: dict[str, str] = field(repr=False)
    tables: tuple[tuple[str, ...], ...]  # the fields each table says

    @property
    def card(self) -> bool:
        """Tell whether people can read it from a card: one table a field."""
        return self.family in CARD or (
            self.family == NOW and all(len(fields) == 1 for fields in self.tables)
        )

    @property
    def about(self) -> str:
        """What its family is, in words."""
        return "the book as it is" if self.family == NOW else FAMILIES[self.family]


def as_now(needs: Needs) -> Candidate | None:
    """Return what says the same now, heard as the needs say; None where nothing does."""
    if needs.now is None:
        return None
    return Candidate(
        "as-now",
        NOW,
        needs.alphabet.symbols,
        any(table["kind"] == "check" for table in needs.now["tables"].values()),
        needs.now,
        {},
        tuple(
            tuple(table.get("fields") or [table.get("field", name)])
            for name, table in needs.now["tables"].items()
            if table["kind"] != "check"
        ),
    )


def candidates(
    needs: Needs, families: Sequence[str] = tuple(FAMILIES), seed: int = 1
) -> Iterator[Callable[[], Candidate | None]]:
    """Yield a function for each candidate that may be built; it returns None where the needs do not
    allow it.

    Raises CodeError for a family that does not exist.
    """
    for family in families:
        if family not in FAMILIES:
            raise CodeError(
                f"there is no family {family!r}", kind="unknown-family", expected=list(FAMILIES)
            )
    shared = _Families(needs, seed)
    for family in families:
        for number, pool in enumerate(
            [parts.apart(needs, _APART)] if family == "apart" else shared.pools
        ):
            for ending in ENDINGS[
                : len(ENDINGS) if number == 0 else 2
            ]:  # other checks pay where seconds do: with all symbols
                yield lambda family=family, pool=pool, number=number, ending=ending: shared.build(
                    family, pool, number, ending
                )  # type: ignore[misc]


class _Families:
    """What the candidates share: sets of symbols, the grouping of fields, and tables of codes that
    only differ in their check.
    """

    def __init__(self, needs: Needs, seed: int) -> None:
        self.needs, self.seed = needs, seed
        self.pools = parts.pools(needs)
        self._groups: dict[int, list[tuple[str, ...]]] = {}
        self._made: dict[tuple[str, str, str], list[tuple[tuple[str, ...], Table]] | None] = {}

    def groups(self, most: int) -> list[tuple[str, ...]]:
        if most not in self._groups:
            self._groups[most] = parts.groups(self.pools[0], most)
        return self._groups[most]

    def build(self, family: str, pool: SymbolPool, number: int, ending: str) -> Candidate | None:
        needed = self.needs.demands.required
        if family in ("natural", "single"):
            if not set(parts.DIGITS) <= set(pool.symbols):
                return None
            needed += parts.DIGITS
        if len(set(pool.symbols) - set(needed)) < _CLOSING[ending]:
            return None
        pool = parts.closed(pool, ending, needed)
        if len(pool.data) < 2 or (
            family == "joined" and self.groups(_SMALL) == self.groups(self.needs.limits.table)
        ):
            return None
        key = (family, pool.symbols, pool.closing)  # which several checks share
        if key not in self._made:
            made = getattr(self, f"_{family}")(pool)
            lacking = made is None or any(table is None for _, table in made)
            self._made[key] = None if lacking else made
        tables = self._made[key]
        if tables is None:
            return None
        return self._candidate(family, pool, number, ending, tables)

    def _each(
        self, pool: SymbolPool, make: Callable[[SymbolPool, str], Table | None]
    ) -> list[tuple[tuple[str, ...], Table | None]]:
        return [((name,), parts.demanded(pool, name, make)) for name in self.needs.order]

    def _together(
        self, pool: SymbolPool, groups: Sequence[tuple[str, ...]]
    ) -> list[tuple[tuple[str, ...], Table | None]] | None:
        """Return a table for each group; None where demands leave each field alone, which is
        another family then.
        """
        if self.needs.demands.alone and all(len(group) == 1 for group in groups):
            return None
        return [
            (
                group,
                parts.demanded(pool, group[0], lambda own, name: parts.variable(own, (name,)))
                if len(group) == 1
                else parts.variable(pool, group),
            )
            for group in groups
        ]

    def _monotone(self, pool: SymbolPool) -> list[tuple[tuple[str, ...], Table | None]]:
        return self._each(pool, parts.monotone)

    def _natural(self, pool: SymbolPool) -> list[tuple[tuple[str, ...], Table | None]]:
        return self._each(pool, parts.natural)

    def _single(self, pool: SymbolPool) -> list[tuple[tuple[str, ...], Table | None]] | None:
        own = parts.own_letters(pool, self.needs.order)
        if own is None:
            return None
        letters = pool.only(
            without=parts.DIGITS + "".join(t.get("symbols", "") for t in own.values())
        )
        made: list[tuple[tuple[str, ...], Table | None]] = []
        for name in self.needs.order:
            table = own.get(name)
            if table is None:
                numbers = self.needs.fields[name].progression is not None
                table = parts.demanded(pool if numbers else letters, name, parts.natural)
                said = "" if table is None else _symbols(table)
                letters = letters.only(without=said)
            made.append(((name,), table))
        return made

    def _assigned(self, pool: SymbolPool) -> list[tuple[tuple[str, ...], Table | None]]:
        return self._each(pool, lambda own, name: parts.assigned(own, name, self.seed))

    def _variable(self, pool: SymbolPool) -> list[tuple[tuple[str, ...], Table | None]]:
        return self._each(pool, lambda own, name: parts.variable(own, (name,)))

    def _joined(self, pool: SymbolPool) -> list[tuple[tuple[str, ...], Table | None]] | None:
        return self._together(pool, self.groups(_SMALL))

    def _packed(self, pool: SymbolPool) -> list[tuple[tuple[str, ...], Table | None]] | None:
        return self._together(pool, self.groups(self.needs.limits.table))

    _apart = _packed

    def _fixed(self, pool: SymbolPool) -> list[tuple[tuple[str, ...], Table | None]] | None:
        demands, rest = self.needs.demands, list(self.needs.order)
        groups: list[tuple[str, ...]] = []
        while rest:
            group: tuple[str, ...] = (rest[0],)
            for name in rest[1:]:
                if demands.together((*group, name)):
                    group = (*group, name)
            groups.append(group)
            rest = [name for name in rest if name not in group]
        if demands.alone and all(len(group) == 1 for group in groups):
            return None
        return [
            (
                group,
                parts.packed(pool, group)
                if len(group) > 1
                else parts.demanded(pool, group[0], parts.monotone),
            )
            for group in groups
        ]

    def _candidate(
        self,
        family: str,
        pool: SymbolPool,
        number: int,
        ending: str,
        made: Sequence[tuple[tuple[str, ...], Table]],
    ) -> Candidate | None:
        report = self.needs.demands.spec.report
        first = set(report.first)
        place = {name: number for number, name in enumerate(report.first)}
        made = sorted(  # those of the first glance are said first, in their order
            made, key=lambda part: min(place.get(name, len(place)) for name in part[0])
        )
        names = _names([group for group, _ in made])
        tables = {name: table for name, (_, table) in zip(names, made, strict=True)}
        notes = {
            f"tables.{name}": _note(table, group)
            for name, (group, table) in zip(names, made, strict=True)
        }
        said = [
            name if first & set(group) else self._optional(name, group)
            for name, (group, _) in zip(names, made, strict=True)
        ]
        said.sort(key=lambda part: part.endswith("?"))  # what may be left out stands at the end
        layout = " ".join([*said, *(["check"] if ending else [])])
        message: dict[str, Any] = {"layout": layout}
        order = [part.rstrip("?") for part in said]
        if first:
            message["glance"] = next(
                name for name in order if not first & set(made[names.index(name)][0])
            )
        if report.groups is not None:
            lengths = {
                name: _longest(self.needs, tables[name], made[names.index(name)][0])
                for name in order
            } | ({"check": 1} if ending else {})
            groups = cut(lengths, report.groups)
            if groups is None:
                return None
            pauses = [group[-1] for group in groups[:-1]]
            message |= {"pauses": pauses} if pauses else {}
        if ending:
            tables["check"] = parts.check(pool, ending)
            loose = [
                name.rstrip("?")
                for name in said
                if name.endswith("?") and _shortest(tables[name.rstrip("?")]) == 1
            ]
            notes["tables.check"] = NOTES[ending] + (_LOOSE.format(loose[-1]) if loose else "")
        sections = {
            "title": self.needs.title,
            "alphabet": _alphabet(self.needs, pool.symbols),
            "speech": self.needs.sections["speech"],
            "hearing": _hearing(self.needs, pool.symbols),
            "fields": self.needs.sections["fields"],
            "tables": tables,
            "messages": {self.needs.message: message},
        }
        size = f"{len(pool.symbols)}" if number or family == "apart" else "all"
        name = f"{family}-{size}{ending and f'-{ending}'}"
        return Candidate(
            name,
            family,
            pool.symbols,
            bool(ending),
            sections,
            notes,
            tuple(group for group, _ in made),
        )

    def _optional(self, name: str, group: tuple[str, ...]) -> str:
        """Let a table of one field that is nearly always as usual be left unsaid."""
        one = self.needs.fields[group[0]]
        usual = one.usual_level if len(group) == 1 else None
        alone = len(self.needs.fields) == 1
        return (
            f"{name}?"
            if usual is not None and not alone and self.needs.shares[group[0]][usual] >= _LEFT_OUT
            else name
        )


def _symbols(table: Table) -> str:
    """Return the symbols of a table as it stands in TOML; of one in figures none that count."""
    words = table.get("words", ())
    listed = words.values() if isinstance(words, Mapping) else words
    return "".join(dict.fromkeys(table.get("symbols", "") + "".join(listed)))


def _longest(needs: Needs, table: Table, group: Sequence[str]) -> int:
    """Return the symbols of the longest codeword of a table as it stands in TOML."""
    sizes = math.prod(needs.fields[name].size for name in group)
    if table["kind"] == "listed":
        words = table["words"]
        return max(map(len, words.values() if isinstance(words, Mapping) else words))
    if table["kind"] == "scale":
        return 1
    if table["kind"] == "packed":
        return width_for(sizes, len(table["symbols"]))
    fields = dict(needs.fields)
    built = DigitsSpec(**{"field": group[0], **table}).build(group[0], fields, needs.alphabet)
    return built.lengths[1]


def _shortest(table: Table) -> int:
    """Return the symbols of the shortest codeword of a table as it stands in TOML, of those that
    may be left unsaid.
    """
    words = table.get("words", ())
    if table["kind"] == "listed":
        return min(map(len, words.values() if isinstance(words, Mapping) else words))
    return 1 if table["kind"] == "scale" else int(table.get("width", 1))


def _names(made: Sequence[tuple[str, ...]]) -> list[str]:
    """Return table names: the field's own, or those of several fields joined, cut where they are
    long.
    """
    names: list[str] = []
    for group in made:
        name = "_".join(group)[:50].strip("_") or group[0]
        while name in names or name == "check":
            name += "_"
        names.append(name)
    return names


def _note(table: Table, group: Sequence[str]) -> str:
    if table["kind"] != "listed":
        return ""
    if len(group) > 1:
        return (
            f"{len(table['words'])} combinations of {', '.join(group)}, the last counting fastest;"
            " short codewords for likely ones."
        )
    return "Codewords in the order of the levels."


def _alphabet(needs: Needs, symbols: str) -> dict[str, Any]:
    alphabet = dict(needs.sections["alphabet"])
    spec = needs.alphabet.spec
    alphabet["retired"] = "".join(symbol for symbol in spec.symbols if symbol not in symbols)
    if "words" in alphabet:
        alphabet["words"] = {
            symbol: word for symbol, word in alphabet["words"].items() if symbol in symbols
        }
    return {key: value for key, value in alphabet.items() if value not in ("", {})}


def _hearing(needs: Needs, symbols: str) -> dict[str, Any]:
    hearing = dict(needs.sections["hearing"])
    hearing.pop("messages", None)
    for key in ("confusions", "counts"):
        if key in hearing:
            hearing[key] = {
                said: {heard: share for heard, share in row.items() if heard in symbols}
                for said, row in hearing[key].items()
                if said in symbols
            }
    return hearing
