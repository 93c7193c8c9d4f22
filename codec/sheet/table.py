"""What follows from the columns that an entry declares: the table of the journal, its rows, the
texts of an export, JSON, the Table Schema, and entries from all of these.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Set
from importlib import resources
from typing import Any

from codec.sheet.columns import Column, Fields, Kept, Values, value_of
from codec.sheet.entry import Entry, SheetError, columns, refused
from codec.store.store import scripts_in
from codec.store.table import NUMBER, Stored, Table
from grammar.errors import CodeError

_MOST_KEPT = 2_000
VALUE = "value_"  # begins the column of a field in an export
_BEGINS = frozenset(
    (  # a spreadsheet would take a text that begins so for a formula
        "=",
        "+",
        "-",
        "@",
        "\t",
        "\r",
        "\n",
        "＝",  # and their wide forms
        "＋",
        "－",
        "＠",
        "'",
    )
)
SHEET, BOOK = "sheet", "book"  # the columns of a CSV that tell which sheet and book it is of


class EntryTable:
    """The table of a class of entries; ``scripts`` make its file, one a version."""

    def __init__(self, entry: type[Entry], scripts: tuple[str, ...]) -> None:
        """Derive the tables of the journal and of the exports."""
        self.entry, self.scripts, self.columns = entry, scripts, columns(entry)
        self.own = {
            name: column for name, column in self.columns.items() if not isinstance(column, Values)
        }
        self._texts = [  # the last: "" where that is a sound value, as most are
            (name, column, column.plain, "" if column.plain("") else None)
            for name, column in self.own.items()
        ]
        self._converted = {  # those whose values the journal keeps in another form
            name: column
            for name, column in self.columns.items()
            if type(column).cell is not Column.cell
        }
        stored = [
            Stored(name, since=column.since, real=column.real)
            for name, column in self.columns.items()
        ]
        self.stored = Table("entries", stored, row="entry", rows="entries", chained=2)
        order = [  # what the engineer meant stands before what the journal adds
            NUMBER,
            *(name for name, column in self.columns.items() if not column.written),
            *(name for name, column in self.own.items() if column.written and name != NUMBER),
        ]
        self._in_json = {name: self.columns[name] for name in order}
        # by what the journal keeps of them the values of a book's fields: laps are much alike
        self._kept: dict[Any, tuple[Fields, Mapping[str, Kept]]] = {}

    # the journal

    def row(self, entry: Entry) -> dict[str, Any]:
        """Return an entry as a row of the journal."""
        facts = {name: getattr(entry, name) for name in self.columns}
        for name, column in self._converted.items():
            facts[name] = column.cell(facts[name])
        return facts

    def of_row(self, facts: Mapping[str, Any], fields: Fields) -> Entry:
        """Return the entry of a row that is sound; raises SheetError where the book has no such
        values.
        """
        cells = dict(facts)
        try:
            for name, column in self._converted.items():
                cell = cells[name]
                empty = cell is None or cell == ""
                cells[name] = None if empty else column.of_cell(cell, fields)
            return self.entry.of_cells(cells)
        except CodeError as error:
            raise _sheet_error(error) from None

    # exports

    def names(self, fields: Fields) -> list[str]:
        """Return the columns of an export: what every entry has, then one for each field."""
        return [*self.own, *(VALUE + name for name in fields)]

    def numeric(self, fields: Fields) -> set[str]:
        """Return the columns of an export that hold numbers."""
        of_fields = {VALUE + name for name, field in fields.items() if field.numeric}
        return {name for name, column in self.own.items() if column.numeric} | of_fields

    def texts(self, facts: Mapping[str, Any], fields: Fields) -> list[str]:
        """Return a row of the journal as texts, one a column; "" where it has nothing. Raises
        SheetError where the row is none of an entry.
        """
        found = []
        for name, column, plain, blank in self._texts:
            cell = facts[name]
            if cell is None or cell == blank:
                found.append("")
            elif plain(cell):
                found.append(str(cell))
            else:
                found.append(column.text(_sound(column, name, cell, fields)))
        values = self._values(facts, fields)
        if not values:
            return found + [""] * len(fields)
        return found + [values[name].text if name in values else "" for name in fields]

    def _values(self, facts: Mapping[str, Any], fields: Fields) -> Mapping[str, Kept]:
        cell = facts["values"]
        known = self._kept.get(cell)
        if known is not None and known[0] is fields:
            return known[1]
        try:
            kept = Values.kept(cell, fields)
        except CodeError as error:
            raise _sheet_error(error) from None
        if len(self._kept) > _MOST_KEPT:
            self._kept.clear()
        self._kept[cell] = fields, kept
        return kept

    def of_texts(self, row: Mapping[str, str], fields: Fields, where: str) -> Entry:
        """Return the entry of a row of texts; raises SheetError that names the place."""
        try:
            facts = {
                name: column.of_text(text)
                for name, column in self.own.items()
                if (text := row.get(name, "")) or column.required
            }
            facts["values"] = {
                name: value_of(fields, name, text)
                for name in fields
                if (text := row.get(VALUE + name, ""))
            }
            return self.entry(**facts)
        except CodeError as error:
            raise _sheet_error(error, f"{where}: ") from None
        except ValueError as error:
            raise SheetError(
                f"{where}: {error}", kind="sheet-export", hint="was the file changed by hand?"
            ) from None

    def check_header(self, header: Iterable[str], where: str) -> None:
        """Raise SheetError unless a header is an exported sheet's; a column that came later than
        the first version may be missing.
        """
        there = set(header)
        for name, column in self.own.items():
            if name not in there and column.since == 1:
                raise SheetError(
                    f"{where}: no column {name!r}",
                    kind="sheet-export",
                    expected=["the columns of an exported sheet"],
                )

    def as_json(self, entry: Entry, fields: Fields) -> dict[str, Any]:
        """Return an entry as JSON: as its row."""
        return self.row_as_json(self.row(entry), fields)

    def row_as_json(self, facts: Mapping[str, Any], fields: Fields) -> dict[str, Any]:
        """Return a row of the journal as JSON: numbers as numbers where a double holds them
        exactly; empty facts are left out. Raises SheetError where the row is none of an entry.
        """
        values = self._values(facts, fields)
        found: dict[str, Any] = {}
        for name, column in self._in_json.items():
            cell = facts[name]
            if cell is None or cell == "":
                continue
            if isinstance(column, Values):
                if values:
                    found[name] = {field: kept.in_json for field, kept in values.items()}
            elif column.plain(cell):
                found[name] = cell
            else:
                found[name] = column.as_json(_sound(column, name, cell, fields))
        return found

    def unguarded(self, name: str, text: str, numeric: Set[str]) -> str:
        """Take the apostrophe of ``guard`` off again."""
        guarded = name not in numeric and text.startswith("'") and is_run(text[1:])
        return text[1:] if guarded else text

    def table_schema(self, fields: Fields) -> dict[str, Any]:
        """Return the Table Schema of an export (Frictionless Standards)."""
        described = [
            {"name": name, **column.schema(), "description": column.about}
            for name, column in self.own.items()
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
                enum = [guard(one) for one in field.one_of]
                column["constraints"] = {"enum": enum}
            described.append(column)
        return {"fields": described, "missingValues": [""], "primaryKey": [NUMBER]}


def guard(text: str) -> str:
    """Return a text that is no number as no spreadsheet takes it for a formula: with an apostrophe
    before it where it might be.
    """
    return "'" + text if is_run(text) else text


def guarded(texts: Iterable[str], might: Iterable[bool]) -> list[str]:
    """Return texts, those guarded that ``might`` be no numbers."""
    pairs = zip(texts, might, strict=True)
    return [guard(text) if one else text for text, one in pairs]


def is_run(text: str) -> bool:
    """Tell whether a spreadsheet would run a text, or take it for one that is guarded."""
    return text[:1] in _BEGINS


def _sound(column: Column, name: str, cell: Any, fields: Fields) -> Any:
    """Return the value of a cell of the journal; raises SheetError."""
    try:
        return column.sound(cell, fields)
    except ValueError as error:
        raise refused(name, cell, str(error)) from None


def _sheet_error(error: CodeError, where: str = "") -> SheetError:
    return SheetError(
        f"{where}{error.message}", kind=error.kind, expected=error.expected, hint=error.hint
    )


ENTRIES = EntryTable(Entry, scripts_in(resources.files("codec.sheet") / "schema"))
