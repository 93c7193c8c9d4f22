"""A column that the declaration of an entry has is in the journal, in every export, and back."""

from __future__ import annotations

import json
import sqlite3
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import pytest
from sheet.support import new, race_book, report

from codec.radio.importing import import_export
from codec.sheet import Entry, Journal
from codec.sheet.columns import Number, Share, Text
from codec.sheet.exports import FORMS, export, read_export
from codec.sheet.rescue import rescue
from codec.sheet.table import ENTRIES, EntryTable


@dataclass(frozen=True, slots=True, kw_only=True)
class Weathered(Entry):
    """An entry with two columns more, a text and a number."""

    weather: Annotated[str, Text("the weather, as the wall saw it", since=6)] = ""
    rain: Annotated[float | None, Share("how much of the lap was wet", since=6)] = None


WEATHERED = EntryTable(
    Weathered,
    (
        *ENTRIES.scripts,
        "ALTER TABLE entries ADD COLUMN weather TEXT;\nALTER TABLE entries ADD COLUMN rain REAL;\n",
    ),
)


def weathered(entry: Entry, **facts: object) -> Weathered:
    own = {name: getattr(entry, name) for name in ENTRIES.columns}
    return Weathered(**own, **facts)  # type: ignore[arg-type]


@pytest.fixture
def journal(tmp_path: Path) -> Journal:
    """A sheet of today's version, opened by one that knows two columns more."""
    with new(tmp_path) as before:
        before.append(report(lap=4))
    return Journal(tmp_path / "event.sheet", table=WEATHERED)


def test_the_entries_of_an_older_sheet_stand_beside_new_ones(journal: Journal) -> None:
    with journal:
        written = journal.append(weathered(report(), weather="=rain", rain=1.0))
        first, second = journal.entries()
        assert (first.lap, second) == (4, written)
        assert first == weathered(first, weather="", rain=None)
        assert journal.faults() == []


@pytest.mark.parametrize("form", FORMS)
def test_a_new_column_comes_back_from_every_export(
    journal: Journal, tmp_path: Path, form: str
) -> None:
    path = tmp_path / f"e.{form}"
    with journal:
        journal.append(weathered(report(), weather="=rain", rain=0.25))
        export(journal, path)
        read = read_export(path, WEATHERED)
        assert read is not None
        with Journal(tmp_path / "copy.sheet", race_book(), table=WEATHERED) as copy:
            import_export(copy, read)
            assert list(copy.entries()) == list(journal.entries())


def test_its_type_and_meaning_stand_in_the_table_schema(journal: Journal, tmp_path: Path) -> None:
    with journal:
        export(journal, tmp_path / "e.csv")
    described = json.loads((tmp_path / "e.schema.json").read_text("utf-8"))["fields"]
    assert {
        "name": "rain",
        "type": "number",
        "constraints": {"minimum": 0, "maximum": 1},
        "description": "how much of the lap was wet",
    } in described


def test_a_damaged_sheet_gives_it_back(journal: Journal, tmp_path: Path) -> None:
    """Also a real number that is whole, which the file keeps as a whole one."""
    with journal:
        written = journal.append(weathered(report(), weather="dry", rain=1.0))
        first = journal[1]
    path = tmp_path / "event.sheet"
    path.write_bytes(b"\0" * 4096 + path.read_bytes()[4096:])
    assert rescue(path, race_book().fields, WEATHERED).entries == (first, written)


@pytest.mark.parametrize("form", FORMS)
def test_an_export_without_it_is_still_read(tmp_path: Path, form: str) -> None:
    with new(tmp_path) as journal:
        journal.append(report())
        export(journal, tmp_path / f"e.{form}")
        read = read_export(tmp_path / f"e.{form}", WEATHERED)
        assert read is not None
        assert list(read[1]) == [weathered(entry) for entry in journal.entries()]


def test_the_declaration_has_the_columns_that_the_scripts_make(tmp_path: Path) -> None:
    new(tmp_path).close()
    connection = sqlite3.connect(tmp_path / "event.sheet")
    made = connection.execute("SELECT name, type FROM pragma_table_info('entries')").fetchall()
    connection.close()
    assert [name for name, _ in made] == list(ENTRIES.stored.names)
    kinds = dict(made)
    for name, column in ENTRIES.columns.items():
        assert (kinds[name] == "REAL") == column.real
        if column.numeric and not column.real and not isinstance(column, Number):
            assert kinds[name] == "INTEGER"
