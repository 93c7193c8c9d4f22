"""One line in, one entry on the disk: what the live sheet does with what an engineer types."""

from __future__ import annotations

import contextlib
import json
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from sheet.support import RACE, REPORT, ROOT, new, race_book

from codec import encode
from codec.log.session import Session
from codec.sheet import Entry, Journal
from codec.sheet.state import laps

VALUES = {"lap": 1, "energy": "0.1", "motor": 95, "inverter": 65, "battery": 44, "alert": []}


@pytest.fixture
def session(tmp_path: Path) -> Session:
    """A session with car 7."""
    session = Session(new(tmp_path))
    session.enter("/car 7 Ana")
    return session


def strings(session: Session) -> dict[int, str]:
    found = laps(session.standing, session.car, session.book)
    return {lap: row.entry.string for lap, row in found.items() if row.counts}


def test_a_line_is_on_the_disk_when_it_is_shown(session: Session) -> None:
    shown = session.enter(REPORT)
    assert shown.tone == "warning"
    assert "! alert: brakes" in shown.lines
    with Journal(session.journal.path) as other:
        assert list(other.entries())[-1].string == "5163JRBT"


def test_what_is_typed_is_read_before_it_is_entered(session: Session) -> None:
    assert "energy against plan -0.4 kWh" in session.look(REPORT).lines[0]
    assert session.look("five one six").tone == "warning"
    assert len(session.journal) == 1


def test_what_can_t_be_read_is_kept_and_asked_for(session: Session) -> None:
    shown = session.enter("five one six lemon kettle romeo static tango")
    assert shown.tone == "bad"
    assert shown.lines[0].startswith("ask: SAY AGAIN")
    kinds = [(entry.kind, entry.refusal) for entry in session.entries[1:]]
    assert kinds == [("report", "unknown-word"), ("question", "")]
    session.enter(REPORT)
    assert strings(session) == {5: "5163JRBT"}
    assert [row.first.heard for row in session.rows] == [
        "five one six lemon kettle romeo static tango"
    ]


def test_the_answer_to_the_question_is_enough(session: Session) -> None:
    words = encode(race_book(), VALUES, "lap").words.split()
    session.enter(encode(race_book(), {**VALUES, "lap": 0, "energy": "0.0"}, "lap").words)
    shown = session.enter(" ".join([*words[:4], "lemon", *words[5:]]))
    if shown.tone == "bad":
        assert session.guess is not None
        part = session.guess.hearing.decision.part
        assert part is not None
        asked = shown.lines[0].removeprefix("ask: SAY AGAIN").lower().split()
        assert asked[:2] in (["all", "after"], ["all", "before"], []) or "to" in asked
        session.enter(" ".join(words))
    assert 1 in strings(session)


def test_a_likely_guess_is_taken_by_hand(session: Session) -> None:
    for lap in range(1, 4):
        session.enter(encode(race_book(), {**VALUES, "lap": lap}, "lap").words)
    words = encode(race_book(), {**VALUES, "lap": 4}, "lap").words.split()
    shown = session.enter(" ".join([*words[:-1], "lemon"]))
    if shown.tone == "bad":
        shown = session.enter("/ok")
        assert shown.tone == "good"
    assert strings(session)[4] == encode(race_book(), {**VALUES, "lap": 4}, "lap").string


def test_an_unlikely_guess_is_not_taken_not_even_by_hand(session: Session) -> None:
    session.enter("five static static static static static")
    assert session.enter("/ok").tone == "bad"
    assert strings(session) == {}


def test_undo_takes_back_and_undo_again_goes_further(session: Session) -> None:
    for lap in (1, 2):
        session.enter(encode(race_book(), {**VALUES, "lap": lap}, "lap").words)
    session.enter("/undo")
    assert list(strings(session)) == [1]
    session.enter("/undo")
    assert strings(session) == {}
    assert session.enter("/undo").tone == "bad"


def test_an_earlier_lap_is_entered_again(session: Session) -> None:
    for lap in (1, 2, 3):
        session.enter(encode(race_book(), {**VALUES, "lap": lap}, "lap").words)
    mended = encode(race_book(), {**VALUES, "lap": 2, "energy": "0.5"}, "lap")
    assert session.enter(f"/lap 2 {mended.words}").tone == "good"
    assert strings(session)[2] == mended.string
    assert session.enter("/lap 9 four").tone == "bad"


def test_a_session_is_taken_up_where_it_was_left(session: Session) -> None:
    session.enter(REPORT)
    session.enter("safety car")
    session.enter("six two one static")
    again = Session(Journal(session.journal.path))
    assert (again.car, again.lap, again.race.neutralised) == ("7", 5, True)
    assert again.waiting is not None
    assert again.heard()[-1] == "six two one static"


def test_calls_phrases_and_commands(session: Session) -> None:
    session.enter("lima three")
    assert session.race.added == 3
    session.enter("/neutralised")
    assert session.race.neutralised
    session.enter("green flag")
    assert not session.race.neutralised
    session.enter("/added 2")
    assert session.race.added == 2
    for wrong in ("/lunch", "/added", "/stop now", "/car", "/note", "/lap x y"):
        assert session.enter(wrong).tone == "bad"
    assert session.enter("   ").lines == ()


def test_any_entry_is_put_right_by_its_number(session: Session) -> None:
    session.enter(REPORT)
    number = session.entries[-1].seq
    meant = encode(race_book(), {**VALUES, "lap": 5}, "lap")
    words = meant.words
    assert session.look(f"/fix {number} {words}").tone == "good"
    assert session.look(f"/fix {number} lemon").tone == "warning"
    assert session.enter(f"/fix {number} {words}").tone == "good"
    assert strings(session) == {5: meant.string}
    assert session.enter(f"/withdraw {number}").tone == "good"
    assert strings(session) == {}
    assert session.enter(f"/withdraw {number}").tone == "bad"
    assert session.enter(f"/withdraw {session.entries[-1].seq}").tone == "good"
    assert strings(session) == {5: meant.string}
    for wrong in ("/fix", f"/fix {number}", "/fix 99 x", "/withdraw", "/withdraw 1", "/accept x"):
        assert session.enter(wrong).tone == "bad"


def test_a_doubtful_report_of_no_car_is_taken_for_the_car_spoken_to(session: Session) -> None:
    heard = "five one six three juliett romeo bravo kettle"
    doubtful = session.journal.append(
        Entry(kind="report", lap=5, heard=heard, refusal="unknown-word")
    )
    assert session.enter(f"/accept {doubtful.seq} 5163JRBZ").tone == "bad"  # none of its readings
    assert session.enter(f"/accept {doubtful.seq} 5163JRBT").tone == "good"
    assert strings(session) == {5: "5163JRBT"}
    assert session.entries[-1].heard == heard


@pytest.mark.slow
def test_several_cars_may_be_named_and_the_first_is_spoken_to(tmp_path: Path) -> None:
    sheet = tmp_path / "e.sheet"
    done = piped(sheet, f"{REPORT}\n", "--car", "7=Ana", "--car", "61=Oz", "--json")
    assert json.loads(done.stdout.splitlines()[0])["tone"] == "warning"
    with Journal(sheet) as journal:
        entries = list(journal.entries())
    assert {entry.car for entry in entries if entry.kind == "car"} == {"7", "61"}
    assert [entry.car for entry in entries if entry.kind == "report"] == ["7"]


def test_a_pipe_is_logged_line_by_line(tmp_path: Path) -> None:
    done = piped(tmp_path / "e.sheet", f"{REPORT}\nfive lemon\n", "--car", "7=Ana", "--json")
    told = [json.loads(line) for line in done.stdout.splitlines()]
    assert [line["tone"] for line in told] == ["warning", "bad"]
    assert [[entry["kind"] for entry in line["written"]] for line in told] == [
        ["report"],
        ["report", "question"],
    ]
    assert told[0]["written"][0]["values"]["motor"] == 105
    assert done.returncode == 1
    with Journal(tmp_path / "e.sheet") as journal:
        assert [entry.kind for entry in journal.entries()] == [
            "car",
            "report",
            "report",
            "question",
        ]


def test_a_new_car_is_named_with_its_driver_so_that_a_slip_makes_none(session: Session) -> None:
    for slip in ("/car nonsense name here", "/car 16", "/car =Ana"):
        assert session.enter(slip).tone == "bad"
    assert session.car == "7"
    assert session.enter("/car 61=Teo Vash").lines == ("car 61 Teo Vash",)
    assert session.enter("/car 8 Ida Roe").lines == ("car 8 Ida Roe",)
    assert (
        session.enter("/car 7=Bea").lines[-1]
        == "the sheet has Ana as its driver, not Bea; that stays"
    )
    assert session.cars == {"7": "Ana", "61": "Teo Vash", "8": "Ida Roe"}


def test_speaking_to_another_car_tells_what_waits_there(session: Session) -> None:
    session.enter("/car 61=Teo")
    session.enter("five lemon")
    assert session.next_car().lines == ("car 7 Ana",)
    assert session.next_car().lines == (
        "car 61 Teo",
        "still to ask: SAY AGAIN",
        "doubtful: laps added 5 laps (21.1 %)",
    )


def test_what_the_driver_reports_as_an_alert_comes_first(session: Session) -> None:
    session.enter("three zero eight four yankee foxtrot x-ray x-ray")
    assert session.mine.alerts[0] == "alert: insulation"
    assert len(session.mine.alerts) == 5


def piped(sheet: Path, text: str, *options: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", "import sys, codec.cli as c; sys.exit(c.main())", "log", str(sheet),
        "--book", str(RACE), *options],
        input=text, capture_output=True, text=True, cwd=ROOT, check=False,
    )  # fmt: skip


@pytest.mark.slow
def test_quit_ends_the_reading_of_a_pipe(tmp_path: Path) -> None:
    done = piped(tmp_path / "e.sheet", f"/quit\n{REPORT}\n", "--car", "7=Ana")
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
    with Journal(tmp_path / "e.sheet") as journal:
        assert [entry.kind for entry in journal.entries()] == ["car"]


@pytest.mark.slow
def test_a_command_that_can_t_be_done_ends_no_pipe(tmp_path: Path) -> None:
    done = piped(tmp_path / "e.sheet", f"{REPORT}\n/lap 5 lemon\n{REPORT}\n", "--car", "7=Ana")
    assert done.returncode == 1
    assert "unknown word 'lemon'" in done.stdout
    assert done.stdout.count("lap report: lap 5") == 2


@pytest.mark.slow
@pytest.mark.parametrize("options", [(), ("--json",)], ids=["words", "json"])
def test_a_line_that_can_not_be_written_is_told_and_the_next_is_tried(
    tmp_path: Path, options: tuple[str, ...]
) -> None:
    """Another program holds the sheet for longer than the first line waits."""
    path = tmp_path / "e.sheet"
    with new(path.parent) as journal:
        journal.append(Entry(kind="car", car="7", message="Ana"))
    (tmp_path / "event.sheet").rename(path)
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with subprocess.Popen(
            [sys.executable, "-c", BRIEF, "log", str(path), *options],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            cwd=ROOT,
        ) as log:
            assert log.stdin is not None
            said = log.stdout if options else log.stderr
            assert said is not None
            log.stdin.write("/note first\n")
            log.stdin.flush()
            refused = said.readline()
            other.execute("ROLLBACK")
            told, _ = log.communicate("/note second\n")
    assert "another writer held the sheet" in refused
    assert "/note first" in refused
    assert "second" in told
    assert log.returncode == 2
    with Journal(path) as journal:
        assert [entry.heard for entry in journal.entries()] == ["", "second"]


# the command, with half a second of patience
BRIEF = (
    "import sys, codec.cli as c, codec.store.file as s; s.WAIT = 0.5; sys.stdout.reconfigure("
    "line_buffering=True); sys.exit(c.main())"
)


@pytest.mark.slow
def test_lines_for_a_sheet_on_a_full_disk_are_told_one_by_one(tmp_path: Path) -> None:
    new(tmp_path).close()
    done = subprocess.run(
        [sys.executable, "-c", FULL, "log", str(tmp_path / "event.sheet")],
        input="/note first\n/note second\n", capture_output=True, text=True, cwd=ROOT, check=False,
    )  # fmt: skip
    assert done.returncode == 2
    assert done.stdout == ""
    for line in ("/note first: not written", "/note second: not written"):
        assert line in done.stderr
    assert "Traceback" not in done.stderr


# the command, where no file gets any room
FULL = (
    "import sys, codec.cli as c, resource as r; r.setrlimit(r.RLIMIT_FSIZE, (1, 1));"
    " sys.exit(c.main())"
)


@pytest.mark.slow
def test_a_pipe_follows_the_race_too(tmp_path: Path) -> None:
    event = RACE.parents[1] / "event" / "event.toml"
    text = "one two one two eight sierra alfa\nthree zero eight four yankee foxtrot x-ray x-ray\n"
    assert (
        "does not fit the laps before it"
        in piped(tmp_path / "e.sheet", text, "--car", "7=Ana", "--event", str(event)).stdout
    )
    wrong = piped(tmp_path / "new.sheet", text, "--car", "7=Ana", "--event", "nowhere.toml")
    assert (wrong.returncode, wrong.stdout) == (2, "")
    assert "nowhere.toml" in wrong.stderr
    assert not (tmp_path / "new.sheet").exists()


@pytest.mark.slow
def test_a_car_that_is_not_there_is_told_at_the_start(tmp_path: Path) -> None:
    piped(tmp_path / "e.sheet", "/quit\n", "--car", "7=Ana")
    wrong = piped(tmp_path / "e.sheet", f"{REPORT}\n", "--car", "71")
    assert wrong.returncode == 2
    assert "there is no car '71' in the sheet; its cars: 7" in wrong.stderr


def test_a_report_being_typed_tells_the_fields_it_has(session: Session) -> None:
    """As many as every way to go on has in common; the check and what may be unsaid are not yet."""
    typed = ["five", "one", "six", "three", "juliett", "romeo"]
    told = [session.look(" ".join(typed[:count])).lines[0] for count in (3, 4, 6)]
    assert told[0] == told[1] == "lap …5, energy against plan -0.4 kWh"
    assert told[2] == f"{told[0]}, motor 105 °C, inverter 75 °C, battery 48 °C"
    assert session.look("5163JR").lines[0] == told[2]
