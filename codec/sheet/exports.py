"""The whole sheet as a file for others: CSV with a Table Schema, JSON Lines, a spreadsheet; and
back without loss.

CSV         RFC 4180, UTF-8; beside it ``NAME.schema.json``, a Frictionless Table Schema that also
            holds the book. A text that a spreadsheet would take for a formula gets an apostrophe
            before it.
JSON Lines  one object an entry, behind one that holds the book; empty facts are left out
XLSX        Office Open XML: the entries, the laps for people, the book; numbers are numbers, with
            the field's unit in their format
"""

from __future__ import annotations

import csv
import json
from collections.abc import Callable, Iterator, Mapping
from decimal import Decimal
from pathlib import Path
from typing import IO, Any, Literal

from codec.files import whole, written
from codec.sheet import spreadsheet
from codec.sheet.entry import SheetError
from codec.sheet.exported import Facts, Read, book_of, entries_of
from codec.sheet.journal import Journal
from codec.sheet.table import ENTRIES, VALUE, EntryTable
from grammar.fields import number_text

ExportForm = Literal["csv", "jsonl", "xlsx"]
FORMS: tuple[ExportForm, ...] = ("csv", "jsonl", "xlsx")
_HEADER = "sheet"
_VERSION = 1
_WORKBOOKS, _TABLES = (".xlsx", ".xlsm", ".xls", ".ods"), (".csv", ".tsv")


def export(journal: Journal, path: str | Path, *, replace: bool = False) -> int:
    """Write the sheet to ``path``, in the form its suffix tells, and return the number of entries;
    the file is there whole or not at all.

    Raises SheetError where the suffix is none of csv, jsonl, xlsx, the file is there already
    (unless ``replace``), or can't be written.
    """
    path = Path(path)
    form = path.suffix[1:].casefold()
    if form not in FORMS:
        raise SheetError(
            f"{path.name!r}: can't tell the form of the export",
            kind="sheet-export",
            expected=[f".{f}" for f in FORMS],
        )
    if path.exists() and not replace:
        raise SheetError(
            f"{str(path)!r} is there already",
            kind="sheet-export",
            hint="name another file, or say --replace",
        )
    if form == "xlsx":
        return _whole(path, lambda stream: spreadsheet.write(journal, stream), binary=True)
    if form == "csv":
        described = journal.table.table_schema(journal.book.fields)
        described["book"] = Facts.of(journal).as_dict()
        schema = json.dumps(described, ensure_ascii=False, indent=1)
        _whole(schema_path(path), lambda stream: int(bool(stream.write(schema + "\n"))))
        return _whole(path, lambda stream: _write_csv(journal, stream))
    return _whole(path, lambda stream: _write_json(journal, stream))


def schema_path(path: Path) -> Path:
    """Return the path of the Table Schema beside a CSV."""
    return path.with_suffix(".schema.json")


def _whole(path: Path, write: Callable[[IO[Any]], int], *, binary: bool = False) -> int:
    with written(path, kind="sheet-file", of=SheetError), whole(path, binary=binary) as stream:
        return write(stream)


def read_export(path: Path, table: EntryTable = ENTRIES) -> Read | None:
    """Return the book's facts and the entries of an exported sheet; None if the file is another
    text. Raises SheetError, OSError.

    What is named as a table or a workbook and is no exported sheet is refused: it is no transcript
    either.
    """
    suffix = path.suffix.casefold()
    with path.open("rb") as stream:
        head = stream.read(4096)
    if head.startswith(b"PK\x03\x04"):
        return spreadsheet.read(path, table)
    if suffix in _WORKBOOKS:
        raise SheetError(
            f"{path.name} is no workbook",
            kind="sheet-export",
            expected=["an exported sheet, as .xlsx"],
        )
    if head.removeprefix(b"\xef\xbb\xbf").startswith(b"seq,uid,"):
        return _read_csv(path, table)
    if head.startswith(b'{"' + _HEADER.encode() + b'": '):
        return _read_json(path, table)
    if suffix in _TABLES:
        hint = (
            "an exported .csv needs its columns as they were; a transcript is text, .jsonl, .vtt or"
            " .srt: tell it with --form"
        )
        raise SheetError(
            f"{path.name} is no exported sheet",
            kind="sheet-export",
            expected=["columns seq, uid, …"],
            hint=hint,
        )
    return None


# CSV


def _write_csv(journal: Journal, stream: IO[str]) -> int:
    fields, table, count = journal.book.fields, journal.table, 0
    writer = csv.writer(stream)
    columns = table.names(fields)
    writer.writerow(columns)
    for entry in journal.entries():
        texts = zip(columns, table.texts(entry, fields), strict=True)
        writer.writerow([table.guarded(name, text) for name, text in texts])
        count += 1
    return count


def _read_csv(path: Path, table: EntryTable) -> Read:
    schema = schema_path(path)
    try:
        told = json.loads(schema.read_text("utf-8"))
    except (OSError, ValueError) as error:
        raise SheetError(
            f"{str(schema)!r} can't be read: {getattr(error, 'strerror', None) or error}",
            kind="sheet-export",
            hint="the schema written beside the CSV belongs to it",
        ) from None
    facts = Facts.read(told.get("book") if isinstance(told, dict) else None, schema.name)
    book = book_of(facts, schema.name)

    return facts, entries_of(_csv_rows(path, table), book, table)


def _csv_rows(path: Path, table: EntryTable) -> Iterator[tuple[str, dict[str, str]]]:
    """Yield (place, row) of an exported CSV; raises SheetError where it is none."""
    where = path.name
    with path.open(encoding="utf-8-sig", errors="replace", newline="") as stream:
        reader = csv.reader(stream, strict=True)
        try:
            header = next(reader, [])
            table.check_header(header, where)
            for row in reader:
                place = f"{where}, line {reader.line_num}"
                if len(row) != len(header):
                    raise SheetError(
                        f"{place}: {len(row)} cells for {len(header)} columns", kind="sheet-export"
                    )
                cells = zip(header, row, strict=True)
                yield place, {name: table.unguarded(name, text) for name, text in cells}
        except csv.Error as error:
            raise SheetError(
                f"{where}, line {reader.line_num}: {error}",
                kind="sheet-export",
                hint="RFC 4180 is expected",
            ) from None


# JSON Lines


def _write_json(journal: Journal, stream: IO[str]) -> int:
    stream.write(
        json.dumps({_HEADER: _VERSION, "book": Facts.of(journal).as_dict()}, ensure_ascii=False)
        + "\n"
    )
    count = 0
    for entry in journal.entries():
        stream.write(json.dumps(journal.table.as_json(entry), ensure_ascii=False) + "\n")
        count += 1
    return count


def _read_json(path: Path, table: EntryTable) -> Read:
    with path.open(encoding="utf-8") as stream:
        told = _parsed(stream.readline(), f"{path.name}, line 1")
    if told.get(_HEADER) != _VERSION:
        raise SheetError(
            f"{path.name}: form {str(told.get(_HEADER))[:20]} of the export is not known here",
            kind="sheet-later",
        )
    facts = Facts.read(told.get("book"), path.name)
    book = book_of(facts, path.name)

    return facts, entries_of(_json_rows(path), book, table)


def _json_rows(path: Path) -> Iterator[tuple[str, dict[str, str]]]:
    """Yield (place, row) of exported JSON Lines, behind the line of the book."""
    with path.open(encoding="utf-8", newline="\n") as lines:
        next(lines)
        for number, line in enumerate(lines, start=2):
            if line.strip():
                where = f"{path.name}, line {number}"
                yield where, _texts(_parsed(line, where), where)


def _parsed(line: str, where: str) -> dict[str, Any]:
    try:
        told = json.loads(line, parse_float=Decimal)
    except (ValueError, RecursionError) as error:
        raise SheetError(
            f"{where}: not JSON: {getattr(error, 'msg', 'nested too deeply')}", kind="sheet-export"
        ) from None
    if not isinstance(told, dict):
        raise SheetError(f"{where}: a JSON object is expected", kind="sheet-export")
    return told


def _texts(told: Mapping[str, Any], where: str) -> dict[str, str]:
    """Return a JSON object as the texts of a row."""
    values = told.get("values", {})
    if not isinstance(values, Mapping):
        raise SheetError(f"{where}: values must be an object", kind="sheet-export")
    row = {name: _text(value) for name, value in told.items() if name != "values"}
    return row | {VALUE + name: _text(value) for name, value in values.items()}


def _text(value: Any) -> str:
    if isinstance(value, dict):
        return f"{_text(value.get('low'))}…{_text(value.get('high'))}"
    if isinstance(value, list):
        return ", ".join(sorted(str(part) for part in value)) or "none"
    if isinstance(value, Decimal | int) and not isinstance(value, bool):
        return number_text(Decimal(value))
    return "" if value is None else str(value)
