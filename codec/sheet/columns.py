"""The columns of an exported sheet: what every entry has, then one for each field of the book."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from codec.sheet.entry import KINDS, LAP_BY, TEXTS, Entry, SheetError
from codec.sheet.journal import Journal
from codec.sheet.values import Fields, number_text, value_of, value_text
from grammar.exact import exact

VALUE = "value_"
WHOLE = ("seq", "lap", "at", "about")
OWN: Mapping[str, str] = {
    "seq": "number of the entry; this is their order",
    "uid": "name of the entry, the same in every copy",
    "logged": "the computer's clock when it was written, UTC",
    "writer": "who wrote it",
    "kind": "what it is",
    "car": "the car",
    "lap": "the lap it stands against",
    "lap_by": "how the lap is known",
    "at": "milliseconds from the beginning of the recording, or since 1970",
    "speaker": "who said it",
    "heard": "the words as heard",
    "message": "the message of the book, the event, or of a car its driver",
    "string": "the symbols as said",
    "amount": "what an event counts: laps added",
    "refusal": "why it was not accepted; empty if it was",
    "certainty": "0 to 1: how sure it is",
    "about": "number of the entry that it corrects, withdraws, asks about, answers or reads back",
    "note": "anything else",
}
_CALCULATED = (
    "=",
    "+",
    "-",
    "@",
    "\t",
    "\r",
    "'",
)  # a spreadsheet would take such a text for a formula


@dataclass(frozen=True, slots=True)
class Facts:
    """What a sheet tells of its book: its name, its digest, and its text."""

    name: str
    digest: str
    text: str

    @classmethod
    def of(cls, journal: Journal) -> Facts:
        """Return the facts of a journal."""
        return cls(journal.facts["name"], journal.facts["digest"], journal.facts["book"])

    @classmethod
    def read(cls, told: Any, where: str) -> Facts:
        """Return the facts an export holds; raises SheetError."""
        if isinstance(told, Mapping) and all(
            isinstance(told.get(key), str) for key in ("name", "digest", "text")
        ):
            return cls(told["name"], told["digest"], told["text"])
        raise SheetError(
            f"{where}: what it tells of its book is not complete",
            kind="sheet-export",
            hint="export the sheet once more",
        )

    def as_dict(self) -> dict[str, str]:
        """Return the facts as an export holds them."""
        return {"name": self.name, "digest": self.digest, "text": self.text}


def names(fields: Fields) -> list[str]:
    """Return the columns' names."""
    return [*OWN, *(VALUE + name for name in fields)]


def cells(entry: Entry, fields: Fields) -> list[str]:
    """Return an entry as texts, one a column; "" where it has nothing."""
    own = [value_cell(getattr(entry, name)) for name in OWN]
    return [
        *own,
        *(value_text(entry.values[name]) if name in entry.values else "" for name in fields),
    ]


def value_cell(value: Any) -> str:
    """Return one of an entry's own facts as text."""
    if isinstance(value, Decimal):
        return number_text(value)
    return "" if value is None else repr(value) if isinstance(value, float) else str(value)


def entry_from(row: Mapping[str, str], fields: Fields, where: str) -> Entry:
    """Return the entry of a row of texts; raises SheetError that names the place."""
    facts: dict[str, Any] = {name: row.get(name, "") for name in OWN}
    try:
        for name in WHOLE:
            facts[name] = int(facts[name]) if facts[name] else None
        facts["seq"] = facts["seq"] or 0
        facts["amount"] = exact(facts["amount"]) if facts["amount"] else None
        facts["certainty"] = float(facts["certainty"]) if facts["certainty"] else None
        texts = {name: row.get(VALUE + name, "") for name in fields}
        facts["values"] = {
            name: value_of(fields, name, text) for name, text in texts.items() if text
        }
        return Entry(**facts)
    except SheetError as error:
        raise SheetError(
            f"{where}: {error.message}", kind=error.kind, expected=error.expected, hint=error.hint
        ) from None
    except ValueError as error:
        raise SheetError(
            f"{where}: {error}", kind="sheet-export", hint="was the file changed by hand?"
        ) from None


def checked_header(header: Sequence[str], where: str) -> None:
    """Raise SheetError unless a header is an exported sheet's."""
    missing = [name for name in OWN if name not in header]
    if missing:
        raise SheetError(
            f"{where}: no column {missing[0]!r}",
            kind="sheet-export",
            expected=["the columns of an exported sheet"],
        )


def table_schema(fields: Fields, facts: Facts) -> dict[str, Any]:
    """Return the Table Schema of the CSV (Frictionless Standards), with the book beside it."""
    kinds: dict[str, dict[str, Any]] = {
        **{name: {"type": "integer"} for name in WHOLE},
        "seq": {"type": "integer", "constraints": {"required": True, "minimum": 1}},
        "uid": {"type": "string", "constraints": {"required": True, "unique": True}},
        "logged": {
            "type": "datetime",
            "format": "%Y-%m-%dT%H:%M:%S.%fZ",
            "constraints": {"required": True},
        },
        "kind": {"type": "string", "constraints": {"required": True, "enum": list(KINDS)}},
        "lap_by": {"type": "string", "constraints": {"enum": [name for name in LAP_BY if name]}},
        "amount": {"type": "number"},
        "certainty": {"type": "number", "constraints": {"minimum": 0, "maximum": 1}},
    }
    columns = [
        {"name": name, **kinds.get(name, {"type": "string"}), "description": about}
        for name, about in OWN.items()
    ]
    for name, field in fields.items():
        column: dict[str, Any] = {
            "name": VALUE + name,
            "type": "number" if field.numeric else "string",
            "title": field.title,
        }
        if field.unit_text:
            column["unit"] = field.unit_text
        if field.one_of is not None:
            column["constraints"] = {"enum": list(field.one_of)}
        columns.append(column)
    return {
        "fields": columns,
        "missingValues": [""],
        "primaryKey": ["seq"],
        "book": facts.as_dict(),
    }


def guarded(name: str, text: str) -> str:
    """Return a text that no spreadsheet takes for a formula: with an apostrophe before it where it
    might be.
    """
    return "'" + text if name in TEXTS and text.startswith(_CALCULATED) else text


def unguarded(name: str, text: str) -> str:
    """Take the apostrophe of ``guarded`` off again."""
    return text[1:] if name in TEXTS and text.startswith("'") else text


def csv_rows(lines: Iterator[str], where: str) -> Iterator[tuple[int, dict[str, str]]]:
    """Yield (line, row) of an exported CSV; raises SheetError where it is none."""
    reader = csv.reader(lines, strict=True)
    try:
        header = next(reader, [])
        checked_header(header, where)
        for row in reader:
            if len(row) != len(header):
                raise SheetError(
                    f"{where}, line {reader.line_num}: {len(row)} cells for {len(header)} columns",
                    kind="sheet-export",
                )
            yield (
                reader.line_num,
                {name: unguarded(name, text) for name, text in zip(header, row, strict=True)},
            )
    except csv.Error as error:
        raise SheetError(
            f"{where}, line {reader.line_num}: {error}",
            kind="sheet-export",
            hint="RFC 4180 is expected",
        ) from None
