"""Entries as rows of the journal's table and back, each row with a digest of its own."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any

from codec.sheet.entry import Entry, SheetError
from codec.sheet.values import Fields, number_text, value_of, value_text

COLUMNS = (
    "seq", "uid", "logged", "writer", "kind", "car", "lap", "lap_by", "at", "speaker", "heard",
    "message", "string", "values",
    "amount", "refusal", "certainty", "about", "note", "digest",
)  # fmt: skip
_NAMES = ", ".join(f'"{name}"' for name in COLUMNS)
SELECT = f"SELECT {_NAMES} FROM entries"  # noqa: S608 - the columns are the tuple above
INSERT = f"INSERT INTO entries ({_NAMES}) VALUES ({', '.join('?' * len(COLUMNS))})"  # noqa: S608
_VALUES = COLUMNS.index("values")


def row_of(entry: Entry) -> tuple[Any, ...]:
    """Return an entry as a row."""
    facts = {name: getattr(entry, name) for name in COLUMNS if name != "digest"}
    values = {name: value_text(value) for name, value in entry.values.items()}
    facts["values"] = (
        json.dumps(values, ensure_ascii=False, separators=(",", ":")) if values else ""
    )
    facts["amount"] = None if entry.amount is None else number_text(entry.amount)
    facts["certainty"] = None if entry.certainty is None else float(entry.certainty)
    return (*facts.values(), digest(facts))


def digest(facts: Mapping[str, Any]) -> str:
    """Return the digest of a row; empty columns don't count, so that a later version may add
    some.
    """
    told = {
        name: value for name, value in facts.items() if value not in (None, "") and name != "digest"
    }
    return hashlib.blake2b(json.dumps(told, sort_keys=True).encode(), digest_size=8).hexdigest()


def sound(row: Sequence[Any]) -> bool:
    """Tell whether a row is as it was written."""
    facts = dict(zip(COLUMNS, row, strict=True))
    try:
        return bool(digest(facts) == facts["digest"])
    except (TypeError, ValueError):
        return False


def entry_of(row: Sequence[Any], fields: Fields) -> Entry:
    """Return the entry of a row; raises SheetError where the row is damaged."""
    if not sound(row):
        raise damaged(f"entry {row[0]} is not as it was written")
    facts = dict(zip(COLUMNS, row, strict=True))
    del facts["digest"]
    texts = json.loads(facts["values"]) if facts["values"] else {}
    facts["values"] = {name: value_of(fields, name, text) for name, text in texts.items()}
    facts["amount"] = None if facts["amount"] is None else Decimal(facts["amount"])
    return Entry(**facts)


def damaged(message: str, path: Path | None = None) -> SheetError:
    """Return the error for a file that is not as it was written."""
    return SheetError(
        f"{'the sheet' if path is None else repr(str(path))} is damaged: {message}",
        kind="sheet-damaged",
        hint=(
            "keep a copy of the file, then save what can be read: niner sheet rescue SHEET"
            " NEW-SHEET"
        ),
    )
