"""Proposed codes: families of books for the same needs, each without a check symbol, with a full
one, a quick one, and one that notices words that changed places.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from grammar.design import parts
from grammar.design.needs import Needs
from grammar.design.parts import ENDINGS, NOTES, SymbolPool, Table
from grammar.errors import CodeError

FAMILIES = {
    "monotone": "one table a field, in the order of its levels",
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
CARD = ("monotone", "assigned", "variable")  # families that people can read from a card
NOW = "now"  # the family of the book as it is
_SMALL = 200  # combinations in a group of the family "joined"
_APART = 5e-4  # taken for each other less often than this counts as never
_LEFT_OUT = 0.8  # a field so often as usual may be left unsaid


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
    """What the candidates share: sets of symbols, and the grouping of fields."""

    def __init__(self, needs: Needs, seed: int) -> None:
        self.needs, self.seed = needs, seed
        self.pools = parts.pools(needs)
        self._groups: dict[int, list[tuple[str, ...]]] = {}

    def groups(self, most: int) -> list[tuple[str, ...]]:
        if most not in self._groups:
            self._groups[most] = parts.groups(self.pools[0], most)
        return self._groups[most]

    def build(self, family: str, pool: SymbolPool, number: int, ending: str) -> Candidate | None:
        pool = parts.closed(pool, ending)
        if len(pool.data) < 2 or (
            family == "joined" and self.groups(_SMALL) == self.groups(self.needs.limits.table)
        ):
            return None
        made = getattr(self, f"_{family}")(pool)
        return self._candidate(family, pool, number, ending, made)

    def _monotone(self, pool: SymbolPool) -> list[tuple[tuple[str, ...], Table]]:
        return [((name,), parts.monotone(pool, name)) for name in self.needs.order]

    def _assigned(self, pool: SymbolPool) -> list[tuple[tuple[str, ...], Table]]:
        wrong = self.needs.hearing.wrong
        return [
            ((name,), parts.assigned(pool, name, wrong, self.seed)) for name in self.needs.order
        ]

    def _variable(self, pool: SymbolPool) -> list[tuple[tuple[str, ...], Table]]:
        return [((name,), parts.variable(pool, (name,))) for name in self.needs.order]

    def _joined(self, pool: SymbolPool) -> list[tuple[tuple[str, ...], Table]]:
        return [(group, parts.variable(pool, group)) for group in self.groups(_SMALL)]

    def _packed(self, pool: SymbolPool) -> list[tuple[tuple[str, ...], Table]]:
        return [
            (group, parts.variable(pool, group)) for group in self.groups(self.needs.limits.table)
        ]

    _apart = _packed

    def _fixed(self, pool: SymbolPool) -> list[tuple[tuple[str, ...], Table]]:
        return [(self.needs.order, parts.packed(pool))]

    def _candidate(
        self,
        family: str,
        pool: SymbolPool,
        number: int,
        ending: str,
        made: Sequence[tuple[tuple[str, ...], Table]],
    ) -> Candidate:
        names = _names([group for group, _ in made])
        tables = {name: table for name, (_, table) in zip(names, made, strict=True)}
        notes = {
            f"tables.{name}": _note(table, group)
            for name, (group, table) in zip(names, made, strict=True)
        }
        said = [self._optional(name, group) for name, (group, _) in zip(names, made, strict=True)]
        said.sort(key=lambda part: part.endswith("?"))  # what may be left out stands at the end
        layout = " ".join([*said, *(["check"] if ending else [])])
        if ending:
            tables["check"] = parts.check(pool, ending)
            notes["tables.check"] = NOTES[ending]
        sections = {
            "title": self.needs.title,
            "alphabet": _alphabet(self.needs, pool.symbols),
            "speech": self.needs.sections["speech"],
            "hearing": _hearing(self.needs, pool.symbols),
            "fields": self.needs.sections["fields"],
            "tables": tables,
            "messages": {self.needs.message: {"layout": layout}},
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
