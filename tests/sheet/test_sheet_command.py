"""``niner sheet`` from the command line."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import NamedTuple

import pytest
from commands import called, started
from helpers import first_short
from sheet.support import RACE, ROOT

from codec import load_book
from codec.sheet import Entry, Journal

EVENT = ROOT / "examples" / "event"
CREWS = ["--car", "7=Ilse Marrow,Quill", "--car", "61=Teo Vash,Denn"]


class Told(NamedTuple):
    """How a command ended, and the text that it printed."""

    returncode: int
    stdout: str
    stderr: str


def niner(*arguments: str | Path, stdin: str = "", where: Path = ROOT) -> Told:
    """Run ``niner sheet`` in a terminal of 80 columns."""
    done = called(["sheet", *arguments], stdin.encode(), where=where, environment={"COLUMNS": "80"})
    return Told(done.returncode, done.stdout.decode(), done.stderr.decode())


@pytest.fixture(scope="module")
def sheet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A sheet of the example event."""
    path = tmp_path_factory.mktemp("event") / "port-tessel.sheet"
    done = niner("import", path, EVENT / "radio.vtt", "--book", RACE, *CREWS)
    assert done.returncode == 0, done.stderr
    assert "written: 60 reports" in done.stdout
    assert "left out:" in done.stdout
    return path


@pytest.mark.slow
def test_the_command_in_a_process_of_its_own_prints_the_same(sheet: Path) -> None:
    for more in ([], ["--car", "8"]):
        arguments: list[str | bytes | Path] = ["sheet", "show", sheet, *more]
        environment = {"COLUMNS": "80"}
        one = started(arguments, environment=environment)
        assert one == called(arguments, environment=environment)


def test_show_draws_each_car(sheet: Path) -> None:
    done = niner("show", sheet)
    assert done.returncode == 0
    assert "car 7  Ilse Marrow  30 reports" in done.stdout
    assert "car 61  Teo Vash  30 reports" in done.stdout
    assert "race neutralised" in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80


def test_show_all_has_every_entry(sheet: Path) -> None:
    with Journal(sheet) as journal:
        count = len(journal)
    assert f"{count}" in niner("show", "--all", sheet).stdout
    assert len(niner("show", "--json", sheet).stdout.splitlines()) == count


def test_show_one_car_only(sheet: Path) -> None:
    done = niner("show", sheet, "--car", "61")
    assert "Teo Vash" in done.stdout
    assert "Ilse Marrow" not in done.stdout
    wrong = niner("show", sheet, "--car", "8")
    assert (wrong.returncode, "expected: 7 or 61" in wrong.stderr) == (2, True)


@pytest.mark.parametrize("form", first_short(["csv", "jsonl", "xlsx"]))
def test_export_and_back(sheet: Path, tmp_path: Path, form: str) -> None:
    assert niner("export", sheet, tmp_path / f"e.{form}").returncode == 0
    assert niner("import", tmp_path / "copy.sheet", tmp_path / f"e.{form}").returncode == 0
    with Journal(sheet) as one, Journal(tmp_path / "copy.sheet") as two:
        assert list(one.entries()) == list(two.entries())


def test_import_from_standard_input_with_what_was_left_out(tmp_path: Path) -> None:
    text = (EVENT / "radio.txt").read_text("utf-8")
    done = niner(
        "import", tmp_path / "e.sheet", "-", "--book", RACE, *CREWS, "--left-out", stdin=text
    )
    assert "line 1: ordinary talk: Gap ahead" in done.stdout


def test_import_tells_programs_what_it_brought(tmp_path: Path) -> None:
    done = niner(
        "import", tmp_path / "e.sheet", EVENT / "radio.srt", "--book", RACE, *CREWS, "--json"
    )
    facts = json.loads(done.stdout)
    assert facts["written"]["report"] == 60
    assert facts["there_already"] == 0


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["show", "none.sheet"], "there is no sheet 'none.sheet'"),
        (["import", "none.sheet", str(EVENT / "radio.vtt")], "there is no sheet"),
        (["import", "none.sheet", "none.vtt", "--book", str(RACE)], "'none.vtt' can't be read"),
        (["export", "none.sheet", "x.csv"], "there is no sheet"),
        (["rescue", "none.sheet", "x.sheet"], "no longer tells which book"),
        (["import", "none.sheet", "-", "--after", "7=x", "--book", str(RACE)], "is no whole"),
        (
            ["import", "none.sheet", "-", "--car", "7=Ana", "--after", "8=11", "--book", str(RACE)],
            "--after names car 8",
        ),
        (
            ["import", "none.sheet", "-", "--car", "7=Ana", "--car", "7=Ben", "--book", str(RACE)],
            "car 7 is named twice",
        ),
    ],
)
def test_what_can_not_be_done_is_said(tmp_path: Path, arguments: list[str], said: str) -> None:
    done = niner(*arguments, where=tmp_path)
    assert done.returncode == 2
    assert said in done.stderr


def test_export_tells_programs_what_it_wrote(sheet: Path, tmp_path: Path) -> None:
    done = niner("export", sheet, tmp_path / "e.csv", "--json")
    with Journal(sheet) as journal:
        assert json.loads(done.stdout) == {"file": str(tmp_path / "e.csv"), "entries": len(journal)}


def test_show_tells_programs_where_the_race_of_each_car_is_heading(sheet: Path) -> None:
    facts = [
        json.loads(line)
        for line in niner(
            "show", sheet, "--json", "--event", EVENT / "event.toml"
        ).stdout.splitlines()
    ]
    assert [(one["race_of"], one["lap"]) for one in facts if "race_of" in one] == [
        ("7", 27),
        ("61", 27),
    ]


def test_an_event_file_that_is_none_is_told_before_anything_is_shown(sheet: Path) -> None:
    for extra in ([], ["--json"]):
        done = niner("show", sheet, "--event", "none.toml", *extra)
        assert (
            done.returncode,
            done.stdout.replace("\n", " ").startswith('{"error"') or not done.stdout,
        ) == (2, True)


def test_a_sheet_with_reports_of_no_car_shows_them_apart(tmp_path: Path) -> None:
    lines = "Ana: one two one two eight sierra alfa\nTeo: two two two two niner golf romeo\n"
    done = niner("import", tmp_path / "e.sheet", "-", "--book", RACE, "--car", "7=Ana", stdin=lines)
    assert "counted for none, are said by Teo (1)" in done.stdout.replace("\n", " ")
    shown = niner("show", tmp_path / "e.sheet").stdout
    assert "car 7  Ana  1 report\n" in shown
    assert "of no car  1 report\n" in shown


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("a.xlsx", b"x", "a.xlsx is no workbook"),
        ("a.csv", b"lap,energy\n1,2\n", "a.csv is no exported sheet"),
        ("a.txt", b"", "is empty"), ("a.txt", b" \n\n", "is empty"),
        ("a.txt", b"\x7fELF\0\0\1", "is no text"),
        ("a.xlsx", b"PK\3\4", "a.xlsx: no workbook that can be read"),
    ],
)  # fmt: skip
def test_a_file_that_is_no_transcript_and_no_sheet_is_refused(
    tmp_path: Path, name: str, data: bytes, said: str
) -> None:
    (tmp_path / name).write_bytes(data)
    done = niner("import", tmp_path / "e.sheet", tmp_path / name, "--book", RACE)
    assert (done.returncode, said in done.stderr) == (2, True)
    assert not (tmp_path / "e.sheet").exists()


def test_a_table_that_is_called_a_transcript_is_read_as_one(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("Ana: one two one two eight sierra alfa\n")
    done = niner(
        "import", tmp_path / "e.sheet", tmp_path / "a.csv", "--book", RACE, "--form", "text"
    )
    assert "written: 1 report" in done.stdout


def test_what_is_not_printed_of_the_lines_left_out_is_counted(tmp_path: Path) -> None:
    lines = "Ana: Golf and Sierra are here\n" * 5
    done = niner("import", tmp_path / "e.sheet", "-", "--book", RACE, stdin=lines)
    assert "line 2: " in done.stdout
    assert "and 3 more: --left-out prints them all" in done.stdout


def test_talk_alone_makes_no_sheet(tmp_path: Path) -> None:
    done = niner(
        "import", tmp_path / "e.sheet", "-", "--book", RACE, stdin="Ana: the rear is sliding\n"
    )
    assert "nothing new" in done.stdout
    assert not (tmp_path / "e.sheet").exists()


@pytest.mark.slow
def test_an_import_that_brings_nothing_leaves_the_sheet_that_a_log_has_made_meanwhile(
    tmp_path: Path,
) -> None:
    path = tmp_path / "e.sheet"
    code = "import sys, codec.cli as c; sys.exit(c.main())"
    arguments = ["sheet", "import", str(path), "-", "--form", "text", "--book", str(RACE)]
    with subprocess.Popen(
        [sys.executable, "-c", code, *arguments],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=ROOT,
    ) as slow:
        assert slow.stdin is not None
        slow.stdin.write("hi\n" * 1000)
        slow.stdin.flush()
        with Journal(path, load_book(RACE)) as log:
            log.append(Entry(kind="note", heard="important"))
            told, _ = slow.communicate("hi\n")
            assert "nothing new" in told
            log.append(Entry(kind="note", heard="and more"))
    with Journal(path) as journal:
        assert [entry.heard for entry in journal.entries()] == ["important", "and more"]


def test_check_tells_all_that_is_wrong(sheet: Path, tmp_path: Path) -> None:
    assert niner("check", sheet).stdout == f"{sheet}: nothing is wrong with it\n"
    broken = tmp_path / "broken.sheet"
    with Journal(sheet) as journal:
        uids = [entry.uid.encode() for entry in journal.entries()]
    data = sheet.read_bytes()
    for uid in (uids[4], uids[20]):
        data = data.replace(uid, b"----" + uid[4:])
    broken.write_bytes(data)
    done = niner("check", broken)
    assert done.returncode == 1
    assert "entry 5 is not as it was written\nentry 21 is not as it was written" in done.stdout
    assert "niner sheet rescue" in done.stderr
    faults = json.loads(niner("check", broken, "--json").stdout)["faults"]
    assert faults == done.stdout.splitlines()
    none = niner("check", RACE)
    assert (none.returncode, "is no lap sheet" in none.stderr) == (2, True)


@pytest.mark.parametrize("name", ["race.toml", "a.csv"])
def test_a_file_that_is_no_sheet_is_not_called_a_damaged_one(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    path.write_text("seq,uid,logged\n" * 500)
    done = niner("show", path)
    assert (done.returncode, f"{str(path)!r} is no lap sheet" in done.stderr) == (2, True)
    assert "rescue" not in done.stderr


def test_a_sheet_whose_beginning_is_damaged_is_still_known_for_one(
    sheet: Path, tmp_path: Path
) -> None:
    broken = tmp_path / "broken.sheet"
    with Journal(sheet):
        broken.write_bytes(b"----" + sheet.read_bytes()[4:])
    done = niner("show", broken)
    assert f"{str(broken)!r} is damaged" in done.stderr
    assert "niner sheet rescue" in done.stderr


@pytest.mark.parametrize(
    ("was", "is_now", "said"),
    [
        (",38,", ",9999,", "line 4: battery is 9999, but 12128SA says 38"),
        (",38,", ",40,", "line 4: battery is 40, but 12128SA says 38"),
        ("12128SA", "12128SB", "line 4: '12128SB' is no lap report"),
    ],
)  # fmt: skip
def test_values_that_are_not_what_their_string_says_are_refused(
    sheet: Path, tmp_path: Path, was: str, is_now: str, said: str
) -> None:
    niner("export", sheet, tmp_path / "e.csv")
    lines = (tmp_path / "e.csv").read_text("utf-8").splitlines(keepends=True)
    lines[3] = lines[3].replace(was, is_now)
    (tmp_path / "e.csv").write_text("".join(lines), "utf-8")
    done = niner("import", tmp_path / "copy.sheet", tmp_path / "e.csv")
    assert (done.returncode, said in done.stderr) == (2, True), done.stderr
    assert not (tmp_path / "copy.sheet").exists()


def test_rescue_saves_the_rest(sheet: Path, tmp_path: Path) -> None:
    with Journal(sheet) as journal:
        entries = list(journal.entries())
    broken = tmp_path / "broken.sheet"
    uid = entries[20].uid.encode()
    broken.write_bytes(sheet.read_bytes().replace(uid, b"----" + uid[4:]))
    assert "niner sheet rescue" in niner("show", broken).stderr
    done = niner("rescue", broken, tmp_path / "saved.sheet")
    assert done.returncode == 1
    assert f"{len(entries) - 1} entries saved" in done.stdout
    assert "missing: 21" in done.stdout
