"""``niner sheet`` from the command line."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from sheet.support import RACE, ROOT

from codec.sheet import Journal

EVENT = ROOT / "examples" / "event"
CREWS = ["--car", "7=Ilse Marrow,Quill", "--car", "61=Teo Vash,Denn"]


def niner(*arguments: str | Path, stdin: str = "") -> subprocess.CompletedProcess[str]:
    """Run the command as a user does."""
    code = "import sys, codec.cli as c; sys.exit(c.main())"
    return subprocess.run(
        [sys.executable, "-c", code, "sheet", *map(str, arguments)], capture_output=True, text=True, input=stdin, cwd=ROOT, check=False
    )


@pytest.fixture(scope="module")
def sheet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A sheet of the example event."""
    path = tmp_path_factory.mktemp("event") / "port-tessel.sheet"
    done = niner("import", path, EVENT / "radio.vtt", "--book", RACE, *CREWS)
    assert done.returncode == 0, done.stderr
    assert "written: 60 reports" in done.stdout
    assert "left out:" in done.stdout
    return path


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


@pytest.mark.parametrize("form", ["csv", "jsonl", "xlsx"])
def test_export_and_back(sheet: Path, tmp_path: Path, form: str) -> None:
    assert niner("export", sheet, tmp_path / f"e.{form}").returncode == 0
    assert niner("import", tmp_path / "copy.sheet", tmp_path / f"e.{form}").returncode == 0
    with Journal(sheet) as one, Journal(tmp_path / "copy.sheet") as two:
        assert list(one.entries()) == list(two.entries())


def test_import_from_standard_input_with_what_was_left_out(tmp_path: Path) -> None:
    text = (EVENT / "radio.txt").read_text("utf-8")
    done = niner("import", tmp_path / "e.sheet", "-", "--book", RACE, *CREWS, "--left-out", stdin=text)
    assert "line 1: ordinary talk: Gap ahead" in done.stdout


def test_import_tells_programs_what_it_brought(tmp_path: Path) -> None:
    done = niner("import", tmp_path / "e.sheet", EVENT / "radio.srt", "--book", RACE, *CREWS, "--json")
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
        (["import", "none.sheet", "-", "--after", "7=x", "--book", str(RACE)], "is no lap"),
    ],
)
def test_what_can_not_be_done_is_said(tmp_path: Path, arguments: list[str], said: str) -> None:
    done = subprocess.run(
        [sys.executable, "-c", "import sys, codec.cli as c; sys.exit(c.main())", "sheet", *arguments],
        capture_output=True, text=True, cwd=tmp_path, check=False, env={"PYTHONPATH": str(ROOT)}, input="",
    )  # fmt: skip
    assert done.returncode == 2
    assert said in done.stderr
    assert "Traceback" not in done.stderr


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
