"""An exported sheet is read by others' programs, and back by ours without loss."""

from __future__ import annotations

import csv
import json
import tempfile
import warnings
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sheet.support import new, race_book, report

from codec import Book, encode, parse_book
from codec.radio.importing import import_export
from codec.sheet import Entry, Journal, SheetError
from codec.sheet.entry import KINDS, LAP_BY
from codec.sheet.exports import FORMS, export, read_export
from codec.sheet.spreadsheet import _tells_of_laps
from codec.sheet.state import Standing, laps
from codec.sheet.table import ENTRIES
from grammar.errors import CodeError

BANDED = parse_book("""
[fields.tyres]
kind = "bands"
unit = "°C"
edges = [60, 80.5]
names = ["cold", "fair", "hot"]
[fields.odd]
kind = "quantity"
low = -0.0000000000000000001
high = 0.0000000000000000001
step = 0.0000000000000000001
[fields.say]
kind = "choice"
options = ["=1+1", "12", "a,b\\"c"]
[fields.far]
kind = "wrapped"
modulus = 1
step = 0.1
[tables.tyres]
kind = "digits"
[tables.odd]
kind = "digits"
[tables.say]
kind = "digits"
[tables.far]
kind = "digits"
[messages.one]
layout = "tyres odd say far"
""")
BOOKS = [race_book(), BANDED]

TEXT = st.text(max_size=40)
SHORT = st.text(max_size=10)


@st.composite
def entries(draw: st.DrawFn, book: Any) -> list[Entry]:
    found = []
    for number in range(draw(st.integers(0, 6))):
        values = {}
        for name, field in book.fields.items():
            if draw(st.booleans()):
                values[name] = field.value(draw(st.integers(0, field.size - 1)))
        found.append(
            Entry(
                kind=draw(st.sampled_from(KINDS)),
                car=draw(SHORT),
                lap=draw(st.none() | st.integers(-(2**63) + 1, 2**63 - 1)),
                lap_by=draw(st.sampled_from(LAP_BY)),
                at=draw(st.none() | st.integers(0, 2**53)),
                speaker=draw(SHORT),
                heard=draw(TEXT),
                message=draw(SHORT),
                string=draw(SHORT),
                values=values,
                amount=draw(st.none() | st.decimals(-999, 999, places=2)),
                refusal=draw(SHORT),
                certainty=draw(st.none() | st.floats(0, 1)),
                about=draw(st.none() | st.integers(1, number)) if number else None,
                note=draw(TEXT),
            )
        )
    return found


def round_trip(
    journal: Journal, form: str, folder: Path
) -> tuple[list[Entry], list[Entry], dict[str, str]]:
    path = folder / f"sheet.{form}"
    assert export(journal, path) == len(journal)
    read = read_export(path)
    assert read is not None
    with Journal(folder / f"{form}.sheet", parse_book(read[0].text, read[0].name)) as copy:
        import_export(copy, read)
        return list(journal.entries()), list(copy.entries()), copy.facts


@pytest.mark.parametrize("book", BOOKS, ids=lambda book: book.name)
@settings(max_examples=20, deadline=None)
@given(data=st.data())
def test_an_entry_made_of_a_row_is_as_it_was_made_by_keywords(
    book: Book, data: st.DataObject
) -> None:
    for entry in data.draw(entries(book)):
        row = ENTRIES.row(entry)
        assert ENTRIES.of_row(row, book.fields) == entry
        wrong = [("kind", "x"), ("kind", None), ("lap", "7"), ("lap", True), ("certainty", 2.0)]
        for name, cell in [*wrong, ("heard", "x" * 32_001), ("logged", "now"), ("car", b"7")]:
            with pytest.raises(SheetError) as told:
                ENTRIES.of_row({**row, name: cell}, book.fields)
            with pytest.raises(SheetError) as other:
                entry.replace(**{name: cell})
            assert str(told.value) == str(other.value)


@settings(max_examples=6, deadline=None)
@given(data=st.data())
def test_the_laps_of_a_workbook_are_those_of_the_whole_sheet(data: st.DataObject) -> None:
    book = race_book()
    with (
        tempfile.TemporaryDirectory() as name,
        Journal(Path(name) / "event.sheet", book) as journal,
    ):
        journal.append_all(data.draw(entries(book)))
        named = set[str]()
        rows = [row for row in journal.rows() if _tells_of_laps(row["kind"], row["car"], named)]
        told = Standing(journal.table.of_row(row, book.fields) for row in rows)
        whole = Standing(journal.entries())
        assert list(told.cars) == list(whole.cars)
        for car in whole.cars:
            assert laps(told, car, book) == laps(whole, car, book)


@pytest.mark.slow
@pytest.mark.parametrize("form", FORMS)
@settings(max_examples=20, deadline=None)
@given(data=st.data())
def test_any_journal_comes_back_from_any_export(form: str, data: st.DataObject) -> None:
    book = data.draw(st.sampled_from(BOOKS))
    with (
        tempfile.TemporaryDirectory() as name,
        Journal(Path(name) / "event.sheet", book) as journal,
    ):
        journal.append_all(data.draw(entries(book)))
        before, after, facts = round_trip(journal, form, Path(name))
        assert after == before
        assert facts == journal.facts


def filled(tmp_path: Path) -> Journal:
    journal = new(tmp_path)
    book = race_book()
    journal.append(Entry(kind="car", car="7", message="Ana"))
    for lap in range(1, 6):
        values = {
            "lap": lap,
            "energy": Decimal(lap) / 10,
            "motor": 90 + 5 * lap,
            "inverter": 65,
            "battery": 44,
            "alert": [],
        }
        journal.append(
            report(encode(book, values, "lap").words, lap=lap, certainty=0.99, at=lap * 80_000)
        )
    journal.append(report("whiskey bravo november two niner", lap=5).replace(heard="=cmd()"))
    journal.append(
        Entry(
            kind="report", car="7", lap=6, heard='six "two", one\r\nlemon', refusal="unknown-word"
        )
    )
    journal.append(Entry(kind="event", car="7", lap=6, message="added", amount=Decimal(3)))
    return journal


def test_frictionless_finds_the_csv_in_order(tmp_path: Path) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its own imports warn
        from frictionless import Resource, Schema
        from frictionless.resources import TableResource
    with filled(tmp_path) as journal:
        export(journal, tmp_path / "event.csv")
        count = len(journal)
    schema = Schema.from_descriptor(json.loads((tmp_path / "event.schema.json").read_text("utf-8")))
    resource = Resource(path="event.csv", basepath=str(tmp_path), schema=schema)
    told = resource.validate()
    assert told.valid, told.flatten(["rowNumber", "fieldName", "note"])
    assert told.tasks[0].stats["rows"] == count
    table = TableResource(path="event.csv", basepath=str(tmp_path), schema=schema)
    rows = table.read_rows()
    assert rows[1]["value_energy"] == Decimal("0.1")
    assert rows[1]["value_motor"] == 95
    assert rows[1]["logged"].year >= 2024
    assert {field.name: field.custom.get("unit") for field in schema.fields}["value_motor"] == "°C"


def test_frictionless_finds_a_csv_changed_by_hand_out_of_order(tmp_path: Path) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from frictionless import Resource, Schema
    with filled(tmp_path) as journal:
        export(journal, tmp_path / "event.csv")
    path = tmp_path / "event.csv"
    path.write_bytes(path.read_bytes().replace(b",report,", b",rumour,", 1))
    schema = Schema.from_descriptor(json.loads((tmp_path / "event.schema.json").read_text("utf-8")))
    assert not Resource(path="event.csv", basepath=str(tmp_path), schema=schema).validate().valid


def test_the_csv_keeps_to_rfc_4180(tmp_path: Path) -> None:
    """RFC 4180, 2.1 and 2.4-2.7: CRLF ends, as many fields in every record, quotes doubled."""
    with filled(tmp_path) as journal:
        export(journal, tmp_path / "event.csv")
    raw = (tmp_path / "event.csv").read_bytes()
    assert raw.endswith(b"\r\n")
    assert b'"six ""two"", one\r\nlemon"' in raw
    assert raw.count(b"\n") == raw.count(b"\r\n")
    assert len({len(row) for row in csv.reader(raw.decode().splitlines(keepends=True))}) == 1


def test_no_text_of_the_csv_is_taken_for_a_formula(tmp_path: Path) -> None:
    with filled(tmp_path) as journal:
        export(journal, tmp_path / "event.csv")
    with (tmp_path / "event.csv").open(newline="", encoding="utf-8") as stream:
        assert "'=cmd()" in [row["heard"] for row in csv.DictReader(stream)]


def test_openpyxl_finds_numbers_with_their_units(tmp_path: Path) -> None:
    import openpyxl

    with filled(tmp_path) as journal:
        export(journal, tmp_path / "event.xlsx")
    book = openpyxl.load_workbook(tmp_path / "event.xlsx")
    laps = book["laps"]
    head = [cell.value for cell in laps[1]]
    assert head[:6] == ["car", "lap", "message", "string", "lap", "energy against plan in kWh"]
    energy = laps.cell(2, 6)
    assert (energy.value, energy.data_type, energy.number_format) == (0.1, "n", '0.0" kWh"')
    motor = laps.cell(2, 7)
    assert (motor.value, motor.number_format) == (95, '0" °C"')
    entries_sheet = book["entries"]
    heard = [
        cell
        for cell in next(entries_sheet.iter_cols(min_col=11, max_col=11))
        if cell.value == "=cmd()"
    ]
    assert [cell.data_type for cell in heard] == ["s"]


def test_an_export_read_twice_adds_nothing(tmp_path: Path) -> None:
    with filled(tmp_path) as journal:
        count = len(journal)
        export(journal, tmp_path / "event.jsonl")
        read = read_export(tmp_path / "event.jsonl")
        assert read is not None
        summary = import_export(journal, read)
        assert (summary.there, len(journal)) == (count, count)


def test_an_export_of_another_book_is_refused(tmp_path: Path) -> None:
    with filled(tmp_path) as journal:
        export(journal, tmp_path / "event.jsonl")
    read = read_export(tmp_path / "event.jsonl")
    assert read is not None
    with Journal(tmp_path / "other.sheet", BANDED) as other, pytest.raises(SheetError) as caught:
        import_export(other, read)
    assert caught.value.kind == "other-book"
    assert len(other_entries(tmp_path / "other.sheet")) == 0


def other_entries(path: Path) -> list[Entry]:
    with Journal(path) as journal:
        return list(journal.entries())


def test_a_file_that_is_there_is_not_written_over(tmp_path: Path) -> None:
    with filled(tmp_path) as journal:
        (tmp_path / "event.csv").write_text("mine")
        with pytest.raises(SheetError, match="is there already"):
            export(journal, tmp_path / "event.csv")
        assert (tmp_path / "event.csv").read_text() == "mine"
        export(journal, tmp_path / "event.csv", replace=True)
        assert (tmp_path / "event.csv").read_text("utf-8").startswith("seq,uid")


def test_a_form_that_is_not_known(tmp_path: Path) -> None:
    with filled(tmp_path) as journal, pytest.raises(SheetError) as caught:
        export(journal, tmp_path / "event.doc")
    assert caught.value.expected == (".csv", ".jsonl", ".xlsx")


def broken_csv(path: Path) -> None:
    path.write_bytes(path.read_bytes().replace(b",7,1,said", b",7,one,said"))


def broken_jsonl(path: Path) -> None:
    lines = path.read_text("utf-8").splitlines()
    lines[2] = lines[2][:40]
    path.write_text("\n".join(lines), "utf-8")


def broken_schema(path: Path) -> None:
    path.with_suffix(".schema.json").unlink()


def short_row(path: Path) -> None:
    with path.open("ab") as stream:
        stream.write(b"1,2,3\r\n")


@pytest.mark.parametrize(
    ("form", "breaks", "said"),
    [
        ("csv", broken_csv, "event.csv, line 3: "),
        ("csv", broken_schema, "event.schema.json"),
        ("csv", short_row, "3 cells for"),
        ("jsonl", broken_jsonl, "event.jsonl, line 3: not JSON"),
    ],
)
def test_an_export_changed_by_hand_is_refused_with_the_place(
    tmp_path: Path, form: str, breaks: Callable[[Path], None], said: str
) -> None:
    with filled(tmp_path) as journal:
        export(journal, tmp_path / f"event.{form}")
    breaks(tmp_path / f"event.{form}")
    with pytest.raises(CodeError) as caught:
        copied(tmp_path, tmp_path / f"event.{form}")
    assert said in str(caught.value)


def copied(tmp_path: Path, path: Path) -> None:
    read = read_export(path)
    assert read is not None
    with Journal(tmp_path / "copy.sheet", race_book()) as copy:
        import_export(copy, read)


def test_a_band_is_exported_with_its_name(tmp_path: Path) -> None:
    values = {"tyres": "fair", "odd": 0, "say": "12", "far": 0}
    read = encode(BANDED, values).reading
    with Journal(tmp_path / "a.sheet", BANDED) as journal:
        journal.append(
            Entry(kind="report", message="one", string=read.said, values=dict(read.values))
        )
        export(journal, tmp_path / "a.jsonl")
    told = json.loads((tmp_path / "a.jsonl").read_text("utf-8").splitlines()[-1])
    assert told["values"]["tyres"] == {"low": 60, "high": 80.5, "name": "fair"}
    back = read_export(tmp_path / "a.jsonl")
    assert back is not None
    _, entries = back
    assert [entry.values for entry in entries] == [read.values]
