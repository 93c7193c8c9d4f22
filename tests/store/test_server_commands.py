"""The commands take a place on a server wherever a sheet's or a journal's file stands."""

from __future__ import annotations

import csv
import io
import json
import sys
import uuid
from pathlib import Path

import pytest
from commands import ROOT, Done, called
from drill.support import answer, race
from helpers import first_short
from servers import Server

from codec.drill import DrillJournal

BOOK = ROOT / "examples" / "race" / "race.toml"
EVENT = ROOT / "examples" / "event"
REPORT = b"five one six three juliett romeo bravo tango\n"
MADE = {"uid", "logged", "writer", "sheet"}  # what two sheets of the same never have alike


@pytest.fixture
def place(served: str) -> str:
    return f"{served}#{uuid.uuid4().hex}"


def done(*arguments: str | Path, given: bytes = b"") -> Done:
    found = called(arguments, given)
    assert found.returncode == 0, found.stderr.decode()
    return found


def rows(path: Path) -> list[dict[str, str]]:
    table = csv.DictReader(io.StringIO(path.read_text("utf-8-sig")))
    return [{name: text for name, text in row.items() if name not in MADE} for row in table]


def test_a_sheet_goes_on_where_another_command_left_it(place: str) -> None:
    logged = done("log", place, "--book", BOOK, "--car", "7=Ilse Marrow", given=REPORT)
    assert b"lap 5" in logged.stdout
    assert b"Ilse Marrow" in done("sheet", "show", place).stdout
    assert b"#2 is now: withdrawn" in done("sheet", "withdraw", place, "2").stdout
    assert b"nothing is wrong" in done("sheet", "check", place).stdout
    assert done("race", "show", place, EVENT / "event.toml", "--car", "7").stdout


@pytest.mark.parametrize("lines", first_short([60, 400]))
def test_an_import_on_a_server_is_that_of_a_file(place: str, tmp_path: Path, lines: int) -> None:
    talk = tmp_path / "radio.jsonl"
    whole = (EVENT / "radio.jsonl").read_text("utf-8").splitlines(keepends=True)
    talk.write_text("".join(whole[:lines]), "utf-8")
    crews = "--car", "7=Ilse Marrow,Quill", "--car", "61=Teo Vash,Denn"
    tables = []
    for where in (place, str(tmp_path / "race.sheet")):
        done("sheet", "import", where, talk, "--book", BOOK, *crews)
        done("sheet", "export", where, tmp_path / "sheet.csv", "--replace")
        tables.append(rows(tmp_path / "sheet.csv"))
    assert tables[0] == tables[1]
    assert len(tables[0]) > lines // 4


def test_an_exported_sheet_is_imported_on_a_server(place: str, tmp_path: Path) -> None:
    path = tmp_path / "race.sheet"
    done("log", path, "--book", BOOK, "--car", "7=Ilse Marrow", given=REPORT * 2)
    done("sheet", "export", path, tmp_path / "a.jsonl")
    done("sheet", "import", place, tmp_path / "a.jsonl")
    done("sheet", "export", place, tmp_path / "b.csv")
    done("sheet", "export", path, tmp_path / "a.csv")
    assert rows(tmp_path / "b.csv") == rows(tmp_path / "a.csv")


def test_a_journal_of_drills_is_told_of_and_taken_from(place: str, tmp_path: Path) -> None:
    with DrillJournal(place, create=True) as journal:
        digest = journal.keep_book(race())
        for shown in ("5", "9"):
            journal.append(answer(shown, person="Ana", book=digest, first=0.5, last=1.0))
    assert len(done("drill", "export", place, "Ana").stdout.splitlines()) == 2
    assert b"Ana" in done("drill", "progress", place, "--person", "Ana").stdout
    done("drill", "profile", place, tmp_path / "ana.json", "--person", "Ana")
    assert b"2 answers" in done("drill", "delete", place, "Ana", "--yes").stdout


def test_what_does_not_stand_on_a_server_is_told(served: str, place: str) -> None:
    for arguments, told in (
        (["sheet", "show", place], b"there is no sheet"),
        (["log", place], b"there is no sheet"),
        (["desk", place], b"there is no sheet"),
        (["drill", "export", place, "Ana"], b"there is no journal"),
        (["sheet", "show", served], b"does not say which sheet"),
        (["sheet", "rescue", place, "new.sheet"], b"a rescue reads a damaged file"),
    ):
        found = called(arguments)
        assert (found.returncode, told in found.stderr) == (2, True), found.stderr


def test_a_server_is_set_up_and_then_up_to_date(server: Server) -> None:
    address = server.database("init")
    assert b"lap sheet: made, version" in done("server", "init", address).stdout
    told = json.loads(done("server", "init", address, "--json").stdout)
    assert told["versions"]["sheet"]["before"] == told["versions"]["sheet"]["now"] > 1
    assert told["roles"] == ["niner_drill", "niner_reader", "niner_writer"]
    assert called(["server", "init", "race.sheet"]).returncode == 2


def test_a_password_is_taken_from_the_environment_and_told_nowhere(
    server: Server, tmp_path: Path
) -> None:
    address = f"postgresql://nobody@127.0.0.1:9/db?host={server.folder}"
    found = called(["sheet", "show", f"{address}#e"], environment={"PGPASSWORD": "quite-secret"})
    assert found.returncode == 2
    assert b"quite-secret" not in found.stdout + found.stderr
    service = tmp_path / "service.conf"
    service.write_text(f"[team]\nhost={server.folder}\ndbname=served\nuser=postgres\npassword=x\n")
    known = {"PGSERVICEFILE": str(service)}
    found = called(["sheet", "show", "postgresql://?service=team#none"], environment=known)
    assert b"there is no sheet" in found.stderr


def test_without_its_library_a_server_is_refused_in_words(
    place: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "psycopg", None)
    found = called(["sheet", "show", place])
    assert found.returncode == 2
    assert b"pip install 'niner[server]'" in found.stderr
