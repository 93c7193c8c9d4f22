"""The sheet as an Office Open XML workbook, and back; reading one needs openpyxl."""

from __future__ import annotations

import contextlib
import math
import re
import warnings
from collections.abc import Iterator, Sequence
from decimal import Decimal
from pathlib import Path
from typing import IO, Any

from codec.lap_report import lap_message
from codec.sheet import workbook_check
from codec.sheet.columns import json_number
from codec.sheet.entry import Entry, Kind, SheetError
from codec.sheet.exported import Facts, Read, book_of, entries_of
from codec.sheet.journal import Journal
from codec.sheet.state import Standing, laps
from codec.sheet.table import VALUE, EntryTable, is_run
from codec.sheet.workbook import PLAIN, CellStyle, TableWriter, WorkbookWriter
from codec.store.table import of_each
from grammar.book import Book
from grammar.fields import number_text, value_text

_MOST_ROWS = 1_048_575
_CHUNK = 30_000
_MOST_FACTS = 16_000_000
_DIGITS = 15  # of a number that a spreadsheet holds exactly
_MOST_KEPT = 20_000  # numbers of a column
# of what can't change which report counts for a lap
_TALK: frozenset[Kind] = frozenset(("event", "note", "question", "answer", "readback"))
_BOLD, _QUOTED = CellStyle(bold=True), CellStyle(quoted=True)
_ESCAPED = re.compile("_x([0-9A-Fa-f]{4})_")


def write(journal: Journal, stream: IO[bytes]) -> int:
    """Write the workbook; returns the number of entries. Raises SheetError where a workbook can't
    hold them.
    """
    if len(journal) > _MOST_ROWS:
        raise SheetError(
            f"a workbook holds {_MOST_ROWS} rows, the sheet has {len(journal)}",
            kind="sheet-export",
            hint="export CSV",
        )
    with WorkbookWriter(stream, ("laps", "entries", "book")) as book:
        with book.table("entries", frozen="A2") as table:
            count, told = _entries(table, journal)
        with book.table("laps", frozen="C2") as table:
            _laps(table, journal.book, Standing(told))
        with book.table("book") as table:
            for key, text in Facts.of(journal).as_dict().items():
                for place in range(0, max(1, len(text)), _CHUNK):
                    part = text[place : place + _CHUNK]
                    table.append([(key, PLAIN), (part, _style(part))])
    return count


def _style(text: str) -> CellStyle:
    """Return the style of a text: one that begins with = stays a text, also when somebody edits it
    (ECMA-376 part 1, 18.8.45).
    """
    return _QUOTED if is_run(text) else PLAIN


class _Column:
    """A column of numbers, or of texts, of one unit, in a table."""

    def __init__(self, table: TableWriter, unit: str = "", *, numeric: bool = False) -> None:
        self._table, self._unit, self._numeric = table, unit.replace('"', ""), numeric
        self._kept: dict[str, str] = {}

    def cells(self, texts: Sequence[str]) -> list[str]:
        """Return texts as cells of the table."""
        return of_each(texts, self._number if self._numeric else self._text)

    def _text(self, text: str) -> str:
        return self._table.cell(text, _style(text)) if text else ""

    def _number(self, text: str) -> str:
        found = self._kept.get(text)
        if found is None:
            if len(self._kept) > _MOST_KEPT:
                self._kept.clear()
            found = self._kept[text] = self._read(text)
        return found

    def _read(self, text: str) -> str:
        if not text:
            return ""
        value = _number_cell(text)
        if isinstance(value, str):
            return self._text(value)
        places = (
            max(0, -int(Decimal(repr(value)).as_tuple().exponent))
            if isinstance(value, float)
            else 0
        )
        form = f'0{"." + "0" * places if places else ""}" {self._unit}"' if self._unit else ""
        return self._table.cell(value, CellStyle(form))


def _entries(sheet: TableWriter, journal: Journal) -> tuple[int, list[Entry]]:
    """Write the entries; return how many there are, and those that laps rest on."""
    fields, table, count = journal.book.fields, journal.table, 0
    named, told = set[str](), list[Entry]()
    names, numeric = table.names(fields), table.numeric(fields)
    units = {VALUE + name: field.unit_text for name, field in fields.items()}
    sheet.append([(name, _BOLD) for name in names])
    columns = [_Column(sheet, units.get(name, ""), numeric=name in numeric) for name in names]
    for rows in journal.together():
        cells = table.cells(rows)
        texts = table.texts(cells, fields)
        sheet.extend([column.cells(one) for column, one in zip(columns, texts, strict=True)])
        count += len(rows)
        pairs = zip(rows, cells["kind"], cells["car"], strict=True)
        tell = [row for row, kind, car in pairs if _tells_of_laps(kind, car, named)]
        if tell:
            told += table.of_cells(table.cells(tell), fields)
    return count, told


def _laps(sheet: TableWriter, book: Book, standing: Standing) -> None:
    """Write the laps of every car as people read them: the report of each that counts."""
    reported = book.messages[lap_message(book)].fields if lap_message(book) else {}
    fields = {name: field for name, field in book.fields.items() if name in reported}
    titles = [
        f"{field.title}{' in ' + field.unit_text if field.unit_text else ''}"
        for field in fields.values()
    ]
    heads = ["car", "lap", "message", "string", *titles, "refusal", "heard"]
    sheet.append([(head, _BOLD) for head in heads])
    plain = _Column(sheet)
    columns = {
        name: _Column(sheet, one.unit_text if one.numeric else "", numeric=one.numeric)
        for name, one in fields.items()
    }
    for car in standing.cars:
        best = laps(standing, car, book)
        entries = [row.entry for row in best.values()]
        values = [row.entry.values if row.counts else {} for row in best.values()]
        sheet.extend(
            [
                plain.cells([car] * len(best)),
                [sheet.cell(lap) for lap in best],
                plain.cells([entry.message for entry in entries]),
                plain.cells([entry.string for entry in entries]),
                *(
                    column.cells([value_text(one[name]) if name in one else "" for one in values])
                    for name, column in columns.items()
                ),
                plain.cells([entry.refusal for entry in entries]),
                plain.cells([entry.heard for entry in entries]),
            ]
        )


def _tells_of_laps(kind: str, car: str, named: set[str]) -> bool:
    """Tell whether laps rest on an entry, or it names a car first, which is then added to those
    ``named``: a sheet may hold far more talk.
    """
    tells = kind not in _TALK or car not in named
    named.add(car)
    return tells


def _openpyxl() -> Any:
    try:
        import openpyxl
    except ImportError:
        raise SheetError(
            "reading a workbook needs openpyxl",
            kind="missing-package",
            hint="pip install 'niner[xlsx]', or use its CSV",
        ) from None
    return openpyxl


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
    if len(text) <= _DIGITS and text.isascii() and text.isdigit():
        return int(text)
    number = Decimal(text)
    return json_number(number) if len(number.as_tuple().digits) <= _DIGITS else text


def _plain(value: Any) -> str:
    """Return a cell as text."""
    if value is None or isinstance(value, str):
        return _ESCAPED.sub(lambda found: chr(int(found.group(1), 16)), value or "")
    if isinstance(value, bool) or not isinstance(value, int | float):
        return str(value)
    if isinstance(value, int):  # as long as may be: no float holds every one, nor does text
        return number_text(Decimal(value))
    return number_text(Decimal(repr(value))) if math.isfinite(value) else str(value)
