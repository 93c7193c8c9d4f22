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
from codec.reading import plain_value
from codec.sheet.check_entry import fitting
from codec.sheet.columns import Facts, cells, csv_rows, entry_from, guarded, names, table_schema
from codec.sheet.entry import Entry, SheetError
from codec.sheet.journal import Journal
from codec.sheet.values import number_text
from grammar.book import Book
from grammar.fields import Band
from grammar.loading import parse_book

ExportForm = Literal["csv", "jsonl", "xlsx"]
FORMS: tuple[ExportForm, ...] = ("csv", "jsonl", "xlsx")
_HEADER = "sheet"
_VERSION = 1
_WORKBOOKS, _TABLES = (".xlsx", ".xlsm", ".xls", ".ods"), (".csv", ".tsv")
_SPREADSHEET_DIGITS = 15
Read = tuple[Facts, Iterator[Entry]]


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
        from codec.sheet.spreadsheet import write

        return _whole(path, lambda stream: write(journal, stream), binary=True)
    if form == "csv":
        schema = json.dumps(
            table_schema(journal.book.fields, Facts.of(journal)), ensure_ascii=False, indent=1
        )
        _whole(schema_path(path), lambda stream: int(bool(stream.write(schema + "\n"))))
        return _whole(path, lambda stream: _write_csv(journal, stream))
    return _whole(path, lambda stream: _write_json(journal, stream))


def schema_path(path: Path) -> Path:
    """Return the path of the Table Schema beside a CSV."""
    return path.with_suffix(".schema.json")


def _whole(path: Path, write: Callable[[IO[Any]], int], *, binary: bool = False) -> int:
    with written(path, kind="sheet-file", of=SheetError), whole(path, binary=binary) as stream:
        return write(stream)


def read_export(path: Path) -> Read | None:
    """Return the book's facts and the entries of an exported sheet; None if the file is another
    text. Raises SheetError, OSError.

    What is named as a table or a workbook and is no exported sheet is refused: it is no transcript
    either.
    """
    suffix = path.suffix.casefold()
    with path.open("rb") as stream:
        head = stream.read(4096)
    if head.startswith(b"PK\x03\x04"):
        from codec.sheet.spreadsheet import read

        return read(path)
    if suffix in _WORKBOOKS:
        raise SheetError(
            f"{path.name} is no workbook",
            kind="sheet-export",
            expected=["an exported sheet, as .xlsx"],
        )
    if head.removeprefix(b"\xef\xbb\xbf").startswith(b"seq,uid,"):
        return _read_csv(path)
    if head.startswith(b'{"' + _HEADER.encode() + b'": '):
        return _read_json(path)
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


def book_of(facts: Facts, where: str) -> Book:
    """Return the book an export holds; raises SheetError."""
    try:
        return parse_book(facts.text, facts.name)
    except ValueError as error:
        raise SheetError(f"{where}: its book can't be read: {error}", kind="sheet-export") from None


# CSV


def _write_csv(journal: Journal, stream: IO[str]) -> int:
    fields, count = journal.book.fields, 0
    writer = csv.writer(stream)
    columns = names(fields)
    writer.writerow(columns)
    for entry in journal.entries():
        writer.writerow(
            [guarded(name, text) for name, text in zip(columns, cells(entry, fields), strict=True)]
        )
        count += 1
    return count


def _read_csv(path: Path) -> Read:
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

    def entries() -> Iterator[Entry]:
        with path.open(encoding="utf-8-sig", errors="replace", newline="") as stream:
            for number, row in csv_rows(stream, path.name):
                where = f"{path.name}, line {number}"
                yield fitting(entry_from(row, book.fields, where), book, where)

    return facts, entries()


# JSON Lines


def json_object(entry: Entry) -> dict[str, Any]:
    """Return an entry as JSON: numbers as numbers where a double holds them exactly; empty facts
    are left out.
    """
    facts = {
        name: getattr(entry, name)
        for name in (
            "seq",
            "kind",
            "car",
            "lap",
            "lap_by",
            "at",
            "speaker",
            "heard",
            "message",
            "string",
        )
    }
    facts["values"] = {name: _json_value(value) for name, value in entry.values.items()}
    facts["amount"] = None if entry.amount is None else _number(entry.amount)
    facts |= {
        name: getattr(entry, name)
        for name in ("refusal", "certainty", "about", "note", "uid", "logged", "writer")
    }
    return {name: value for name, value in facts.items() if value not in (None, "", {})}


def _number(number: Decimal) -> int | float | str:
    text = number_text(number)
    if "." not in text:
        return int(text) if abs(number) < 2**53 else text
    return float(text) if number_text(Decimal(repr(float(text)))) == text else text


def _json_value(value: Any) -> Any:
    if isinstance(value, Band):
        return {
            "low": None if value.low is None else _number(value.low),
            "high": None if value.high is None else _number(value.high),
        }
    return _number(value) if isinstance(value, Decimal) else plain_value(value)


def _write_json(journal: Journal, stream: IO[str]) -> int:
    stream.write(
        json.dumps({_HEADER: _VERSION, "book": Facts.of(journal).as_dict()}, ensure_ascii=False)
        + "\n"
    )
    count = 0
    for entry in journal.entries():
        stream.write(json.dumps(json_object(entry), ensure_ascii=False) + "\n")
        count += 1
    return count


def _read_json(path: Path) -> Read:
    with path.open(encoding="utf-8") as stream:
        told = _parsed(stream.readline(), f"{path.name}, line 1")
    if told.get(_HEADER) != _VERSION:
        raise SheetError(
            f"{path.name}: form {str(told.get(_HEADER))[:20]} of the export is not known here",
            kind="sheet-later",
        )
    facts = Facts.read(told.get("book"), path.name)
    book = book_of(facts, path.name)

    def entries() -> Iterator[Entry]:
        with path.open(encoding="utf-8", newline="\n") as lines:
            next(lines)
            for number, line in enumerate(lines, start=2):
                if line.strip():
                    where = f"{path.name}, line {number}"
                    yield fitting(
                        entry_from(_texts(_parsed(line, where), where), book.fields, where),
                        book,
                        where,
                    )

    return facts, entries()


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
    return row | {f"value_{name}": _text(value) for name, value in values.items()}


def _text(value: Any) -> str:
    if isinstance(value, dict):
        return f"{_text(value.get('low'))}…{_text(value.get('high'))}"
    if isinstance(value, list):
        return ", ".join(sorted(str(part) for part in value)) or "none"
    if isinstance(value, Decimal | int) and not isinstance(value, bool):
        return number_text(Decimal(value))
    return "" if value is None else str(value)


def restore(journal: Journal, read: Read) -> Iterator[tuple[Entry, str]]:
    """Yield the entries of an export for ``append_linked``; raises SheetError where they were
    written with another book.
    """
    facts, entries = read
    if facts.digest != journal.facts["digest"]:
        raise SheetError(
            f"the export was written with another book: {facts.name!r} ({facts.digest[:8]}), the"
            f" sheet with {journal.facts['name']!r} ({journal.facts['digest'][:8]})",
            kind="other-book",
            hint="import it into a new sheet",
        )
    uids: dict[int, str] = {}
    for entry in entries:
        uids[entry.seq] = entry.uid
        yield entry, uids.get(entry.about, "") if entry.about is not None else ""


def number_cell(text: str) -> int | float | str:
    """Return a number's text as the number where a spreadsheet holds it exactly (15 digits), else
    as it stands.
    """
    return (
        _number(Decimal(text))
        if len(Decimal(text).as_tuple().digits) <= _SPREADSHEET_DIGITS
        else text
    )
