"""The sheet as an Office Open XML workbook, and back; needs openpyxl."""

from __future__ import annotations

import contextlib
import io
import math
import re
import warnings
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import IO, Any

from codec.sheet import workbook_check
from codec.sheet.columns import json_number
from codec.sheet.entry import SheetError
from codec.sheet.exported import Facts, Read, book_of, entries_of
from codec.sheet.journal import Journal
from codec.sheet.state import Standing, lap_message, laps
from codec.sheet.table import VALUE, EntryTable, is_run
from grammar.fields import number_text, value_text

_MOST_ROWS = 1_048_575
_CHUNK = 30_000
_MOST_FACTS = 16_000_000
_DIGITS = 15  # of a number that a spreadsheet holds exactly
_UNWRITABLE = re.compile("[\x00-\x08\x0b-\x1f\ufffe\uffff]|_(?=x[0-9A-Fa-f]{4}_)")
_ESCAPED = re.compile("_x([0-9A-Fa-f]{4})_")


def write(journal: Journal, stream: IO[bytes]) -> int:
    """Write the workbook; returns the number of entries.

    Raises SheetError where openpyxl is not there or a workbook can't hold them.
    """
    openpyxl = _openpyxl()
    if len(journal) > _MOST_ROWS:
        raise SheetError(
            f"a workbook holds {_MOST_ROWS} rows, the sheet has {len(journal)}",
            kind="sheet-export",
            hint="export CSV",
        )
    book = openpyxl.Workbook(write_only=True)
    _laps(book.create_sheet("laps"), journal)
    count = _entries(book.create_sheet("entries"), journal)
    facts = book.create_sheet("book")
    for key, text in Facts.of(journal).as_dict().items():
        for place in range(0, max(1, len(text)), _CHUNK):
            facts.append([_cell(facts, key), _cell(facts, text[place : place + _CHUNK])])
    packed = io.BytesIO()  # an archive half written to a full disk complains when it is given up
    book.save(packed)
    stream.write(packed.getbuffer())
    return count


def _openpyxl() -> Any:
    try:
        import openpyxl
    except ImportError:
        raise SheetError(
            "workbooks need openpyxl",
            kind="missing-package",
            hint="pip install 'niner[xlsx]', or export CSV",
        ) from None
    return openpyxl


def _cell(sheet: Any, value: Any, unit: str = "", *, bold: bool = False) -> Any:
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Font

    if isinstance(value, str):
        cell = WriteOnlyCell(
            sheet, value=_UNWRITABLE.sub(lambda found: f"_x{ord(found.group()):04X}_", value)
        )
        cell.data_type = "s"  # a text that begins with = stays a text,
        cell.quotePrefix = is_run(value)  # also when somebody edits it (ECMA-376 part 1, 18.8.45)
    else:
        cell = WriteOnlyCell(sheet, value=value)
    if unit:
        places = (
            max(0, -int(Decimal(repr(value)).as_tuple().exponent))
            if isinstance(value, float)
            else 0
        )
        quoted = unit.replace('"', "")
        cell.number_format = f'0{"." + "0" * places if places else ""}" {quoted}"'
    if bold:
        cell.font = Font(bold=True)
    return cell


def _entries(sheet: Any, journal: Journal) -> int:
    fields, table, count = journal.book.fields, journal.table, 0
    columns, numeric = table.names(fields), table.numeric(fields)
    units = {VALUE + name: field.unit_text for name, field in fields.items()}
    sheet.freeze_panes = "A2"
    sheet.append([_cell(sheet, name, bold=True) for name in columns])
    for entry in journal.entries():
        row = []
        for name, text in zip(columns, table.texts(entry, fields), strict=True):
            value = _number_cell(text) if name in numeric and text else text
            row.append(
                _cell(sheet, value, units.get(name, "") if not isinstance(value, str) else "")
                if text
                else None
            )
        sheet.append(row)
        count += 1
    return count


def _laps(sheet: Any, journal: Journal) -> None:
    """Write the laps of every car as people read them: the report of each that counts."""
    reported = (
        journal.book.messages[lap_message(journal.book)].fields if lap_message(journal.book) else {}
    )
    fields = {name: field for name, field in journal.book.fields.items() if name in reported}
    standing = Standing(journal.entries())
    sheet.freeze_panes = "C2"
    titles = [
        f"{field.title}{' in ' + field.unit_text if field.unit_text else ''}"
        for field in fields.values()
    ]
    sheet.append(
        [
            _cell(sheet, title, bold=True)
            for title in ("car", "lap", "message", "string", *titles, "refusal", "heard")
        ]
    )
    for car in standing.cars:
        for lap, row in laps(standing, car, journal.book).items():
            line: list[Any] = [
                _cell(sheet, car),
                lap,
                _cell(sheet, row.entry.message),
                _cell(sheet, row.entry.string),
            ]
            for name, field in fields.items():
                text = (
                    value_text(row.entry.values[name])
                    if row.counts and name in row.entry.values
                    else ""
                )
                value = _number_cell(text) if text and field.numeric else text
                line.append(
                    _cell(sheet, value, field.unit_text if not isinstance(value, str) else "")
                    if text
                    else None
                )
            sheet.append([*line, _cell(sheet, row.entry.refusal), _cell(sheet, row.entry.heard)])


def read(path: Path, table: EntryTable) -> Read:
    """Return the book's facts and the entries of a workbook that is an exported sheet; raises
    SheetError for any other.
    """
    openpyxl = _openpyxl()
    workbook_check.check(path)
    with _told(path):
        book = openpyxl.load_workbook(path, read_only=True, data_only=True, keep_links=False)
        names = set(book.sheetnames)
    if not {"entries", "book"} <= names:
        expected = ["the sheets 'entries' and 'book' of an exported one"]
        raise SheetError(
            f"{path.name}: a workbook with other sheets", kind="sheet-export", expected=expected
        )
    told: dict[str, list[str]] = {}
    size = 0
    for key, text in _cells(path, book, "book", max_col=2):
        told.setdefault(_plain(key), []).append(_plain(text))
        size += len(told[_plain(key)][-1])
        if size > _MOST_FACTS:
            workbook_check.refuse(path, f"more than {_MOST_FACTS} characters tell of its book")
    facts = Facts.read({key: "".join(texts) for key, texts in told.items()}, path.name)
    kept = book_of(facts, path.name)

    return facts, entries_of(_rows(path, book, table), kept, table)


def _rows(path: Path, book: Any, table: EntryTable) -> Iterator[tuple[str, dict[str, str]]]:
    """Yield (place, row) of the entries of a workbook."""
    first = next(_cells(path, book, "entries", max_row=1), ())
    header = [_plain(name) for name in first]
    table.check_header(header, path.name)
    listed = _cells(path, book, "entries", min_row=2, max_col=len(header))
    for number, row in enumerate(listed, start=2):
        texts = {name: _plain(value) for name, value in zip(header, row, strict=False)}
        if any(texts.get(name) for name in table.own):
            yield f"{path.name}, row {number}", texts
    book.close()


def _cells(path: Path, book: Any, name: str, **part: int) -> Iterator[Any]:
    """Yield the rows of a table; raises SheetError where it is not one."""
    with _told(path):
        rows = book[name].iter_rows(values_only=True, **part)
    while True:
        with _told(path):
            row = next(rows, None)
        if row is None:
            return
        yield row


@contextlib.contextmanager
def _told(path: Path) -> Iterator[None]:
    """Tell in our words what openpyxl makes of a broken workbook: any error of a wrong kind,
    number or name; its warnings are about looks, and are dropped.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    except (
        *workbook_check.BROKEN,
        ArithmeticError,
        AssertionError,
        AttributeError,
        LookupError,
        SyntaxError,  # of XML
        TypeError,
        ValueError,
    ) as error:
        said = str(error).strip().partition("\n")[0][:200] or type(error).__name__
        workbook_check.refuse(path, f"no workbook that can be read: {said}")


def _number_cell(text: str) -> int | float | str:
    """Return a number's text as the number where a spreadsheet holds it exactly, else as it
    stands.
    """
    number = Decimal(text)
    return json_number(number) if len(number.as_tuple().digits) <= _DIGITS else text


def _plain(value: Any) -> str:
    """Return a cell as text."""
    if value is None or isinstance(value, str):
        return _ESCAPED.sub(lambda found: chr(int(found.group(1), 16)), value or "")
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        return str(value)
    return number_text(Decimal(repr(value)))
