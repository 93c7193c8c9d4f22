"""What follows from the columns that an entry declares: the table of the journal, its rows, the
texts of an export, JSON, the Table Schema, and entries from all of these.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence, Set
from importlib import resources
from typing import Any

from codec.sheet.columns import Column, Fields, Kept, KeptValues, Values
from codec.sheet.entry import Entry, SheetError, columns, refused
from codec.store.store import scripts_in
from codec.store.table import NUMBER, Stored, Table, of_each
from grammar.errors import CodeError
from grammar.fields import Value

Cells = Mapping[str, Sequence[Any]]  # the cells of rows of the journal, column by column
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
_json = json.JSONEncoder(ensure_ascii=False).encode
SHEET, BOOK = "sheet", "book"  # the columns of a CSV that tell which sheet and book it is of


class EntryTable:
    """The table of a class of entries; ``scripts`` make its file, one a version."""

    def __init__(self, entry: type[Entry], scripts: tuple[str, ...]) -> None:
        """Derive the tables of the journal and of the exports."""
        self.entry, self.scripts, self.columns = entry, scripts, columns(entry)
        self.own = {
            name: column for name, column in self.columns.items() if not isinstance(column, Values)
        }
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
        self._known = KeptValues({})

    # the journal

    def row(self, entry: Entry) -> dict[str, Any]:
        """Return an entry as a row of the journal."""
        facts = {name: getattr(entry, name) for name in self.columns}
        for name, column in self._converted.items():
            facts[name] = column.cell(facts[name])
        return facts

    def cells(self, rows: Sequence[Sequence[Any]]) -> Cells:
        """Return rows of the journal, one at least, column by column."""
        return dict(zip(self.stored.names, zip(*rows, strict=True), strict=True))

    def of_row(self, facts: Mapping[str, Any], fields: Fields) -> Entry:
        """Return the entry of a row that is sound; raises SheetError where the book has no such
        values.
        """
        return self.of_cells({name: (cell,) for name, cell in facts.items()}, fields)[0]

    def of_cells(self, cells: Cells, fields: Fields) -> list[Entry]:
        """Return the entries of rows given by column, in a fifth of the time that it takes one by
        one; raises SheetError.
        """
        columns = dict(cells)
        try:
            for name, column in self._converted.items():
                if isinstance(column, Values):
                    told = self._values(cells[name], fields)
                    columns[name] = [_plainly(values) for values in told]
                else:
                    columns[name] = [
                        None if cell is None or cell == "" else column.of_cell(cell, fields)
                        for cell in cells[name]
                    ]
            return self.entry.of_cells(columns)
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

    def texts(self, cells: Cells, fields: Fields) -> list[list[str]]:
        """Return rows of the journal, given by column, as texts, a list a column of an export; ""
        where they have nothing. Raises SheetError where a row is none of an entry.
        """
        found = []
        for name, column in self.own.items():

            def told(cell: Any, name: str = name, column: Column = column) -> str:
                if cell is None or (cell == "" and column.plain("")):
                    return ""
                if column.plain(cell):
                    return str(cell)
                return column.text(_sound(column, name, cell, fields))

            found.append(of_each(cells[name], told))
        values = self._values(cells["values"], fields)
        return found + [
            [one[name].text if name in one else "" for one in values] for name in fields
        ]

    def _values(self, cells: Sequence[Any], fields: Fields) -> list[dict[str, Kept]]:
        """Return the values of cells of the journal; raises SheetError."""
        try:
            return of_each(cells, self._known_of(fields).of_cell)
        except CodeError as error:
            raise _sheet_error(error) from None

    def _known_of(self, fields: Fields) -> KeptValues:
        if self._known.fields is not fields:
            self._known = KeptValues(fields)
        return self._known

    def of_texts(self, row: Mapping[str, str], fields: Fields, where: str) -> Entry:
        """Return the entry of a row of texts; raises SheetError that names the place."""
        try:
            facts = {
                name: column.of_text(text)
                for name, column in self.own.items()
                if (text := row.get(name, "")) or column.required
            }
            known = self._known_of(fields)
            facts["values"] = {
                name: known[name][text].value
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
        cells = {name: (cell,) for name, cell in facts.items()}
        found: dict[str, Any] = json.loads(self.json_lines(cells, fields)[0])
        return found

    def json_lines(self, cells: Cells, fields: Fields) -> list[str]:
        """Return rows of the journal, given by column, as JSON, an object each; raises the same."""
        parts = []
        for name, column in self._in_json.items():
            if isinstance(column, Values):
                values = self._values(cells[name], fields)
                members = [", ".join([kept.member for kept in one.values()]) for one in values]
                parts.append([f', "{name}": {{{one}}}' if one else "" for one in members])
                continue

            def told(cell: Any, name: str = name, column: Column = column) -> str:
                if cell is None or cell == "":
                    return ""
                if not column.plain(cell):
                    cell = column.as_json(_sound(column, name, cell, fields))
                return f', "{name}": {cell if cell.__class__ is int else _json(cell)}'

            parts.append(of_each(cells[name], told))
        return [f"{{{''.join(line)[2:]}}}" for line in zip(*parts, strict=True)]

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


def is_run(text: str) -> bool:
    """Tell whether a spreadsheet would run a text, or take it for one that is guarded."""
    return text[:1] in _BEGINS


def _plainly(values: Mapping[str, Kept]) -> Mapping[str, Value] | None:
    return {name: one.value for name, one in values.items()} if values else None


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
