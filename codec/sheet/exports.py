"""The whole sheet as a file for others: CSV with a Table Schema, JSON Lines, a spreadsheet; and
back without loss.

CSV         RFC 4180, UTF-8; beside it ``NAME.schema.json``, a Frictionless Table Schema that also
            holds the book. The last two columns name the sheet and the book's digest, as the
            schema does: a CSV beside the schema of another sheet is refused. A text that a
            spreadsheet would take for a formula gets an apostrophe before it.
JSON Lines  one object an entry, behind one that holds the book; empty facts are left out
XLSX        Office Open XML: the entries, the laps for people, the book; numbers are numbers, with
            the field's unit in their format; a text that a spreadsheet would take for a formula is
            marked as text
"""

from __future__ import annotations

import contextlib
import csv
import itertools
import json
import os
import stat
from collections.abc import Callable, Iterator, Mapping, Set
from decimal import Decimal
from pathlib import Path
from typing import IO, Any, Literal

from codec.files import whole, written
from codec.sheet import spreadsheet
from codec.sheet.entry import SheetError
from codec.sheet.exported import Facts, Read, book_of, entries_of
from codec.sheet.journal import Journal
from codec.sheet.table import BOOK, ENTRIES, SHEET, VALUE, EntryTable, guard
from codec.store.table import of_each
from grammar.fields import number_text

ExportForm = Literal["csv", "jsonl", "xlsx"]
FORMS: tuple[ExportForm, ...] = ("csv", "jsonl", "xlsx")
_HEADER = "sheet"
_VERSION = 1
_MOST_LINE = 4_000_000  # characters; the book's own text is one line of JSON
_MOST_SCHEMA = 16_000_000
_WORKBOOKS, _TABLES = (".xlsx", ".xlsm", ".xls", ".ods"), (".csv", ".tsv")


def export(journal: Journal, path: str | Path, *, replace: bool = False) -> int:
    """Write the sheet to ``path``, in the form its suffix tells, and return the number of entries;
    the file is there whole or not at all.

    Raises SheetError where the suffix is none of csv, jsonl, xlsx, the file is there already
    (unless ``replace``), or can't be written. A schema beside a CSV counts as the file, unless it
    says the same.
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
        raise _there_already(path)
    if form == "xlsx":
        return _whole(path, lambda stream: spreadsheet.write(journal, stream), binary=True)
    if form == "csv":
        return _export_csv(journal, path, replace=replace)
    return _whole(path, lambda stream: _write_json(journal, stream))


def _there_already(path: Path) -> SheetError:
    return SheetError(
        f"{str(path)!r} is there already",
        kind="sheet-export",
        hint="name another file, or say --replace",
    )


def schema_path(path: Path) -> Path:
    """Return the path of the Table Schema beside a CSV."""
    return path.with_suffix(".schema.json")


def _whole(path: Path, write: Callable[[IO[Any]], int], *, binary: bool = False) -> int:
    with _written(path), whole(path, binary=binary) as stream:
        return write(stream)


def _written(path: Path) -> contextlib.AbstractContextManager[None]:
    return written(path, kind="sheet-file", of=SheetError)


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


def _export_csv(journal: Journal, path: Path, *, replace: bool) -> int:
    """Write a CSV and its schema; both are complete before the first of them takes its place."""
    described, schema = _described(journal), schema_path(path)
    with _written(schema):
        if not replace and schema.is_file() and schema.read_text("utf-8", "replace") != described:
            raise _there_already(schema)
    with _written(path), whole(path) as rows:
        count = _write_csv(journal, rows)
        rows.flush()
        if stat.S_ISREG(os.fstat(rows.fileno()).st_mode):
            os.fsync(rows.fileno())  # what the disk refuses, it refuses before a schema is replaced
        with _written(schema), whole(schema) as stream:
            stream.write(described)
    return count


def _described(journal: Journal) -> str:
    """Return the Table Schema beside a CSV."""
    facts = Facts.of(journal)
    described = journal.table.table_schema(journal.book.fields)
    described["fields"] += [
        {
            "name": name,
            "type": "string",
            "constraints": {"required": True, "enum": [text]},
            "description": about,
        }
        for (name, text), about in zip(
            _origin(facts).items(), ("the sheet it is of", "the digest of its book"), strict=True
        )
    ]
    described["book"] = facts.as_dict()
    return json.dumps(described, ensure_ascii=False, indent=1) + "\n"


def _origin(facts: Facts) -> dict[str, str]:
    """Return the columns of a CSV that tell which sheet and book it is of, and what they hold."""
    return {SHEET: facts.sheet, BOOK: facts.digest}


def _write_csv(journal: Journal, stream: IO[str]) -> int:
    fields, table, count = journal.book.fields, journal.table, 0
    origin = _origin(Facts.of(journal))
    writer = csv.writer(stream)
    columns, numeric = table.names(fields), table.numeric(fields)
    writer.writerow([*columns, *origin])
    told = [itertools.repeat(text) for text in origin.values()]
    for rows in journal.together():
        texts = table.texts(table.cells(rows), fields)
        cells = [
            texts if name in numeric else of_each(texts, guard)
            for name, texts in zip(columns, texts, strict=True)
        ]
        writer.writerows(zip(*cells, *told))  # noqa: B905 - the last ones never end
        count += len(rows)
    return count


def _read_csv(path: Path, table: EntryTable) -> Read:
    schema = schema_path(path)
    try:
        with schema.open(encoding="utf-8") as stream:
            text = stream.read(_MOST_SCHEMA + 1)
        if len(text) > _MOST_SCHEMA:
            raise ValueError(f"more than {_MOST_SCHEMA} characters")
        told = json.loads(text)
    except (OSError, ValueError, RecursionError) as error:
        raise SheetError(
            f"{str(schema)!r} can't be read: {getattr(error, 'strerror', None) or error}",
            kind="sheet-export",
            hint="the schema written beside the CSV belongs to it",
        ) from None
    facts = Facts.read(told.get("book") if isinstance(told, dict) else None, schema.name)
    book = book_of(facts, schema.name)
    numeric = table.numeric(book.fields)
    if not facts.sheet:  # an earlier version did not guard values
        numeric |= {VALUE + name for name in book.fields}

    return facts, entries_of(_csv_rows(path, table, facts, numeric), book, table)


def _of_another(place: str, facts: Facts) -> SheetError:
    schema = f"{facts.sheet[:8]}, book {facts.digest[:8]}" if facts.sheet else "an earlier version"
    return SheetError(
        f"{place}: the CSV and its schema are not of one sheet (the schema is of {schema})",
        kind="sheet-export",
        hint="put the schema that was written with it beside it, or export the sheet once more",
    )


def _csv_rows(
    path: Path, table: EntryTable, facts: Facts, numeric: Set[str]
) -> Iterator[tuple[str, dict[str, str]]]:
    """Yield (place, row) of an exported CSV; raises SheetError where it is none, or where a row is
    of another sheet or book than its schema.
    """
    where, origin = path.name, _origin(facts) if facts.sheet else {}
    with path.open(encoding="utf-8-sig", errors="replace", newline="") as stream:
        reader = csv.reader(_lines(stream, where), strict=True)
        try:
            header = next(reader, [])
            table.check_header(header, where)
            if {SHEET, BOOK} & set(header) != origin.keys():
                raise _of_another(where, facts)
            for row in reader:
                place = f"{where}, line {reader.line_num}"
                if len(row) != len(header):
                    raise SheetError(
                        f"{place}: {len(row)} cells for {len(header)} columns", kind="sheet-export"
                    )
                cells = dict(zip(header, row, strict=True))
                if any(cells[name] != text for name, text in origin.items()):
                    raise _of_another(place, facts)
                yield (
                    place,
                    {n: table.unguarded(n, text, numeric) for n, text in cells.items()},
                )
        except csv.Error as error:
            raise SheetError(
                f"{where}, line {reader.line_num}: {error}",
                kind="sheet-export",
                hint="RFC 4180 is expected",
            ) from None


def _lines(stream: IO[str], where: str) -> Iterator[str]:
    """Yield the lines of an export, none of them longer than one can be."""
    for number, line in enumerate(iter(lambda: stream.readline(_MOST_LINE), ""), start=1):
        if len(line) == _MOST_LINE:
            raise SheetError(
                f"{where}, line {number}: more than {_MOST_LINE} characters", kind="sheet-export"
            )
        yield line


# JSON Lines


def _write_json(journal: Journal, stream: IO[str]) -> int:
    stream.write(
        json.dumps({_HEADER: _VERSION, "book": Facts.of(journal).as_dict()}, ensure_ascii=False)
        + "\n"
    )
    count = 0
    table, fields = journal.table, journal.book.fields
    for rows in journal.together():
        stream.writelines(f"{line}\n" for line in table.json_lines(table.cells(rows), fields))
        count += len(rows)
    return count


def _read_json(path: Path, table: EntryTable) -> Read:
    with path.open(encoding="utf-8", errors="replace", newline="\n") as stream:
        told = _parsed(next(_lines(stream, path.name)), f"{path.name}, line 1")
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
    with path.open(encoding="utf-8", errors="replace", newline="\n") as stream:
        for number, line in enumerate(_lines(stream, path.name), start=1):
            if number > 1 and line.strip():
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
