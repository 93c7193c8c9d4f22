"""An export belongs to its sheet: a CSV and the schema of another are never read together, nothing
in it is run by a spreadsheet, and files have the rights they should.
"""

from __future__ import annotations

import contextlib
import csv
import json
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sheet.support import RACE, ROOT, new, race_book, report

from codec import Book, parse_book
from codec.cli import main
from codec.drill.journal import DrillJournal
from codec.files import whole, write
from codec.radio.importing import Summary, import_export
from codec.sheet import Entry, Journal, SheetError
from codec.sheet.exports import export, read_export, schema_path
from codec.sheet.table import ENTRIES

KELVIN = parse_book(RACE.read_text("utf-8").replace('"°C"', '"K"'), "race")
RUN = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")  # a spreadsheet runs them


def exported(folder: Path, book: Book, *, laps: int = 1) -> Path:
    """Export a sheet of its own for this book."""
    folder.mkdir(exist_ok=True)
    with Journal(folder / "event.sheet", book) as journal:
        for lap in range(laps):
            journal.append(Entry(kind="note", lap=lap, heard="said"))
        export(journal, folder / "event.csv", replace=True)
    return folder / "event.csv"


def imported(csv_path: Path, sheet: Path) -> Summary:
    read = read_export(csv_path)
    assert read is not None
    with Journal(sheet, parse_book(read[0].text, read[0].name)) as copy:
        return import_export(copy, read)


def test_a_csv_beside_the_schema_of_another_book_is_refused(tmp_path: Path) -> None:
    """Else degrees Celsius would come back as kelvins."""
    celsius, kelvin = exported(tmp_path / "c", race_book()), exported(tmp_path / "k", KELVIN)
    schema_path(celsius).write_bytes(schema_path(kelvin).read_bytes())
    with pytest.raises(SheetError, match="are not of one sheet"):
        imported(celsius, tmp_path / "copy.sheet")


def test_a_csv_beside_the_schema_of_another_sheet_of_the_book_is_refused(tmp_path: Path) -> None:
    one, other = exported(tmp_path / "1", race_book()), exported(tmp_path / "2", race_book())
    schema_path(one).write_bytes(schema_path(other).read_bytes())
    with pytest.raises(SheetError, match="are not of one sheet"):
        imported(one, tmp_path / "copy.sheet")


def test_a_row_of_another_sheet_is_refused_with_its_line(tmp_path: Path) -> None:
    one, other = exported(tmp_path / "1", race_book()), exported(tmp_path / "2", race_book())
    with one.open("ab") as stream:
        stream.write(other.read_bytes().splitlines(keepends=True)[1])
    with pytest.raises(SheetError, match="line 3: the CSV and its schema are not of one sheet"):
        imported(one, tmp_path / "copy.sheet")


def without_origin(path: Path) -> None:
    with path.open(newline="", encoding="utf-8") as stream:
        rows = [row[:-2] for row in csv.reader(stream)]
    with path.open("w", newline="", encoding="utf-8") as stream:
        csv.writer(stream).writerows(rows)


def test_a_pair_of_an_earlier_version_is_read_and_told_as_unproven(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = exported(tmp_path / "old", race_book())
    assert not imported(path, tmp_path / "proven.sheet").unproven
    without_origin(path)
    with pytest.raises(SheetError, match="are not of one sheet"):
        imported(path, tmp_path / "half.sheet")
    told = json.loads(schema_path(path).read_text("utf-8"))
    del told["book"]["sheet"]
    schema_path(path).write_text(json.dumps(told), "utf-8")
    assert main(["sheet", "import", str(tmp_path / "copy.sheet"), str(path)]) == 0
    assert "does not tell which sheet it is of" in capsys.readouterr().out.replace("\n", " ")


def test_a_book_changed_in_the_schema_is_refused(tmp_path: Path) -> None:
    path = exported(tmp_path / "c", race_book())
    schema = schema_path(path)
    schema.write_text(schema.read_text("utf-8").replace('\\"°C\\"', '\\"K\\"'), "utf-8")
    with pytest.raises(SheetError, match="not as it was written"):
        imported(path, tmp_path / "copy.sheet")


def test_a_schema_that_says_something_else_is_not_written_over(tmp_path: Path) -> None:
    schema = tmp_path / "data.schema.json"
    schema.write_text("mine")
    with new(tmp_path) as journal:
        with pytest.raises(SheetError, match=r"schema\.json' is there already"):
            export(journal, tmp_path / "data.csv")
        assert (schema.read_text(), (tmp_path / "data.csv").exists()) == ("mine", False)
        export(journal, tmp_path / "data.csv", replace=True)
        (tmp_path / "data.csv").unlink()  # as a kill between the two leaves it
        export(journal, tmp_path / "data.csv")


KILLED = """
import sys
from pathlib import Path
from codec.sheet import Journal
from codec.sheet.exports import export
sheets = [Journal(path) for path in sys.argv[2:]]
export(sheets[0], sys.argv[1], replace=True)
print("ready", flush=True)
while True:
    for sheet in sheets:
        export(sheet, sys.argv[1], replace=True)
"""


@pytest.mark.slow
@pytest.mark.parametrize("kills", [6, pytest.param(60, marks=pytest.mark.slow)])
def test_killed_between_csv_and_schema_no_value_changes_its_unit(
    tmp_path: Path, kills: int
) -> None:
    exported(tmp_path / "c", race_book(), laps=3)
    exported(tmp_path / "k", KELVIN, laps=3)
    out = tmp_path / "out" / "e.csv"
    out.parent.mkdir()
    sheets = [tmp_path / "c" / "event.sheet", tmp_path / "k" / "event.sheet"]
    refused = 0
    for number in range(kills):
        with subprocess.Popen(
            [sys.executable, "-c", KILLED, out, *sheets],
            stdout=subprocess.PIPE, env={**os.environ, "PYTHONPATH": str(ROOT)},
        ) as child:  # fmt: skip
            assert child.stdout is not None
            child.stdout.readline()
            time.sleep(0.05 + number % 7 * 0.003)
            child.send_signal(signal.SIGKILL)
        with contextlib.suppress(SheetError):
            refused += 1
            read = read_export(out)
            assert read is not None
            origin = {journal_sheet(path): path for path in sheets}[read[0].sheet]
            assert [entry.uid for entry in read[1]] == uids(origin)
            refused -= 1
    left = [one for one in out.parent.iterdir() if one.name.startswith(".")]
    with Journal(sheets[0]) as journal:
        export(journal, out, replace=True)
    assert sorted(one.name for one in out.parent.iterdir()) == ["e.csv", "e.schema.json"]
    print(f"\n  {kills} kills: {refused} pairs refused, {len(left)} hidden files swept")


def journal_sheet(path: Path) -> str:
    with Journal(path) as journal:
        return journal.sheet


def uids(path: Path) -> list[str]:
    with Journal(path) as journal:
        return [entry.uid for entry in journal.entries()]


def test_what_dead_writers_left_is_swept_and_what_live_ones_write_is_not(tmp_path: Path) -> None:
    code = (
        "import os, sys; from codec.files import whole\n"
        "with whole(sys.argv[1]) as stream:\n os.kill(os.getpid(), 9)"
    )
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    subprocess.run([sys.executable, "-c", code, tmp_path / "a.csv"], check=False, env=env)
    assert len(list(tmp_path.iterdir())) == 1
    mine = tmp_path / ".a.csv.original"
    mine.write_text("mine")
    with whole(tmp_path / "b.csv") as one:
        one.write("b")
        with whole(tmp_path / "c.csv") as other:
            other.write("c")
        assert len(list(tmp_path.iterdir())) == 3
    assert sorted(path.name for path in tmp_path.iterdir()) == [mine.name, "b.csv", "c.csv"]


@contextlib.contextmanager
def umask(mask: int) -> Iterator[None]:
    before = os.umask(mask)
    try:
        yield
    finally:
        os.umask(before)


def mode(path: Path) -> int:
    return path.stat().st_mode & 0o777


def test_files_have_the_rights_that_the_umask_leaves_and_sheets_are_private(
    tmp_path: Path,
) -> None:
    for mask in (0o077, 0o022, 0o002):
        folder = tmp_path / f"{mask:o}"
        folder.mkdir()
        with umask(mask):
            write(folder / "book.toml", "x")
            write(folder / "secret", "x", private=True)
            with new(folder) as journal:
                journal.append(report())
                for form in ("csv", "xlsx", "jsonl"):
                    export(journal, folder / f"e.{form}")
                beside = [mode(path) for path in folder.glob("event.sheet*")]
            DrillJournal(folder / "drills.niner", create=True).close()
        assert set(beside) == {0o600}
        assert {mode(folder / name) for name in ("secret", "drills.niner")} == {0o600}
        others = ("book.toml", "e.csv", "e.schema.json", "e.xlsx", "e.jsonl")
        assert {mode(folder / name) for name in others} == {0o666 & ~mask}


OPTIONS = [f"{one}cmd|calc" for one in RUN if one.isprintable()] + ["'", "''=x", "'=x", "12"]
RUNNING = parse_book(f"""
[fields.mode]
kind = "choice"
options = {json.dumps(OPTIONS, ensure_ascii=False)}
[fields.marks]
kind = "flags"
flags = ["=a", "+b", "'=c"]
[fields.heat]
kind = "bands"
edges = [-5, 5]
[tables.mode]
kind = "digits"
[tables.marks]
kind = "digits"
[tables.heat]
kind = "digits"
[messages.one]
layout = "mode marks heat"
""")
AWKWARD = st.lists(st.sampled_from([*RUN, "'", "a", "1", " "]), max_size=4).map("".join)


@pytest.mark.slow
@pytest.mark.parametrize("form", ["csv", "xlsx"])
@settings(max_examples=30, deadline=None)
@given(data=st.data())
def test_what_a_spreadsheet_would_run_is_guarded_and_comes_back(
    form: str, data: st.DataObject
) -> None:
    texts = data.draw(st.lists(AWKWARD, min_size=1, max_size=4))
    levels = {name: st.integers(0, field.size - 1) for name, field in RUNNING.fields.items()}
    with (
        tempfile.TemporaryDirectory() as name,
        Journal(Path(name) / "event.sheet", RUNNING) as journal,
    ):
        for text in texts:
            drawn = {one: data.draw(level) for one, level in levels.items()}
            values = {one: RUNNING.fields[one].value(level) for one, level in drawn.items()}
            journal.append(Entry(kind="note", heard=text, note=text, car=text[:2], values=values))
        path = Path(name) / f"e.{form}"
        export(journal, path)
        if form == "csv":
            assert_nothing_runs_in_csv(path)
        else:
            assert_nothing_runs_in_workbook(path)
        read = read_export(path)
        assert read is not None
        assert list(read[1]) == list(journal.entries())


def assert_nothing_runs_in_csv(path: Path) -> None:
    numbers = ENTRIES.numeric(RUNNING.fields)
    with path.open(newline="", encoding="utf-8") as stream:
        for row in csv.DictReader(stream):
            for name, text in row.items():
                assert name in numbers or not text.startswith(RUN), (name, text)


def assert_nothing_runs_in_workbook(path: Path) -> None:
    import openpyxl

    for table in openpyxl.load_workbook(path):
        for row in table.iter_rows():
            for cell in row:
                assert cell.data_type in ("s", "n", "inlineStr"), cell
                assert not isinstance(cell.value, str) or (
                    cell.quotePrefix or not cell.value.startswith(RUN)
                )


@pytest.mark.slow
def test_frictionless_finds_guarded_options_in_order_and_another_schema_not(
    tmp_path: Path,
) -> None:
    import warnings

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its own imports warn
        from frictionless import Resource, Schema
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        with Journal(tmp_path / name / "event.sheet", RUNNING) as journal:
            for option in OPTIONS:
                journal.append(Entry(kind="note", values={"mode": option}))
            export(journal, tmp_path / name / "e.csv")

    def valid(schema: str) -> bool:
        described = json.loads((tmp_path / schema / "e.schema.json").read_text("utf-8"))
        resource = Resource(
            path="e.csv", basepath=str(tmp_path / "one"), schema=Schema.from_descriptor(described)
        )
        return bool(resource.validate().valid)

    assert valid("one")
    assert not valid("two")
