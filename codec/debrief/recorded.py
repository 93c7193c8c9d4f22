"""What the car recorded, lap by lap, from a CSV file (RFC 4180).

Columns: ``lap``; any field of the book, with the value as recorded, not rounded; and, where they
are known, ``time`` (when the lap ended: seconds in the time of the sheet, or ISO 8601), ``dash``
(the symbols that the dash showed) and ``said`` (the driver's words, as listened to afterwards on
the recording in the car). A report that was repeated may have more rows of its lap, which need only
``said``.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path

from codec.decoding import readings
from codec.radio.forms import milliseconds
from codec.sheet.state import MOST_LAP
from grammar.book import Book
from grammar.errors import CodeError, EncodeError, ReportError, visible
from grammar.exact import whole
from grammar.fields import FieldBase

_OWN = ("lap", "time", "dash", "said")


class CarFileError(CodeError):
    """The car's file can't be used: which line, which column, what was expected."""


Recorded = Decimal | str


@dataclass(slots=True)
class RecordedLap:
    """What the car recorded of a lap: field → value (a number, or text for a field that names),
    when it ended (milliseconds), what the dash showed and what was said, one text for each time.
    """

    lap: int
    values: dict[str, Recorded] = field(default_factory=dict)
    time: int | None = None
    dash: str = ""
    said: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class CarFile:
    """The laps of a car's file, and the columns that mean nothing to the book."""

    laps: Mapping[int, RecordedLap]
    unused: tuple[str, ...] = ()

    def lap(self, lap: int | None) -> RecordedLap | None:
        """Return a lap, None if it was not recorded."""
        return None if lap is None else self.laps.get(lap)


def read_car_file(path: str | Path, book: Book) -> CarFile:
    """Return what a car recorded; raises CarFileError."""
    try:
        text = Path(path).read_text("utf-8-sig")
    except (OSError, ValueError) as error:
        reason = (
            "not UTF-8 text"
            if isinstance(error, UnicodeDecodeError)
            else getattr(error, "strerror", None) or str(error)
        )
        raise CarFileError(
            f"{visible(str(path))!r} can't be read: {reason}",
            kind="car-file",
            hint="pass the path of a CSV file",
        ) from None
    return parse_car_file(text.splitlines(keepends=True), book, str(path))


def parse_car_file(lines: Iterable[str], book: Book, name: str = "car file") -> CarFile:
    """Return what the lines of a CSV hold; raises CarFileError."""
    reader = csv.DictReader(lines, strict=True)
    laps: dict[int, RecordedLap] = {}
    try:
        columns = list(reader.fieldnames or ())
        _check_columns(columns, book, name)
        for row in reader:
            _add(laps, row, columns, book, f"{name}, line {reader.line_num}")
    except csv.Error as error:
        raise CarFileError(
            f"{name}, line {reader.line_num}: {error}",
            kind="car-file",
            expected=["CSV as in RFC 4180"],
        ) from None
    return CarFile(
        dict(sorted(laps.items())),
        tuple(column for column in columns if column not in _OWN and column not in book.fields),
    )


def _check_columns(columns: Sequence[str], book: Book, name: str) -> None:
    if "lap" not in columns:
        expected = list(dict.fromkeys([*_OWN, *book.fields]))
        raise CarFileError(
            f"{visible(name)}: there is no column 'lap'",
            kind="car-file",
            expected=expected,
            hint="line 1 names the columns",
        )
    twice = next((column for column in columns if columns.count(column) > 1), None)
    if twice is not None:
        raise CarFileError(f"{visible(name)}: the column {twice!r} stands twice", kind="car-file")


def _add(
    laps: dict[int, RecordedLap],
    row: Mapping[str, str | None],
    columns: Sequence[str],
    book: Book,
    place: str,
) -> None:
    if None in row or any(row[column] is None for column in columns):
        raise CarFileError(
            f"{place}: not as many cells as columns",
            kind="car-file",
            expected=[f"{len(columns)} cells"],
        )
    cells = {column: (row[column] or "").strip() for column in columns}
    lap = _whole(cells["lap"], place)
    first = lap not in laps
    recorded = laps.setdefault(lap, RecordedLap(lap))
    if cells.get("said"):
        recorded.said.append(cells["said"])
    rest = {
        column: cell for column, cell in cells.items() if cell and column not in ("lap", "said")
    }
    if rest and not first:
        column = next(iter(rest))
        raise CarFileError(
            f"{place}: lap {lap} was recorded before, with its {column}",
            kind="car-file",
            hint="give only `said` here",
        )
    if "time" in rest:
        try:
            recorded.time = milliseconds(rest["time"])
        except ValueError:
            raise _bad(place, "time", rest["time"], "seconds, or ISO 8601") from None
    recorded.dash = _dash(rest.get("dash", ""), book, place)
    for column, cell in rest.items():
        if column in book.fields:
            recorded.values[column] = _value(book.fields[column], cell, place)


def _whole(cell: str, place: str) -> int:
    try:
        return whole(cell, 1, MOST_LAP)
    except ValueError:
        raise _bad(place, "lap", cell, f"a whole number from 1 to {MOST_LAP}") from None


def _dash(cell: str, book: Book, place: str) -> str:
    string = "".join(cell.split())
    for symbol in string:
        if symbol not in book.alphabet.index:
            raise _bad(place, "dash", cell, f"symbols of the book ({symbol!r} is none)")
    if string:
        try:
            readings(book, string, typed=True)
        except ReportError as error:
            raise CarFileError(
                f"{visible(place)}: dash {visible(cell[:60])!r} is no message of the book:"
                f" {error.message}",
                kind="car-file",
                source=error.source,
                span=error.span,
                hint="leave the cell empty where what the dash showed is not known",
            ) from None
    return string


def _value(field: FieldBase, cell: str, place: str) -> Recorded:
    try:
        return field.given(cell)
    except EncodeError:
        raise _bad(place, field.name, cell, field.given_as) from None


def _bad(place: str, column: str, cell: str, expected: str) -> CarFileError:
    return CarFileError(
        f"{visible(place)}: {column} can't be {visible(cell[:60])!r}",
        kind="car-file",
        expected=[expected],
    )
