"""One line in, one entry on the disk: what the live sheet does with what an engineer types."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from sheet.support import RACE, REPORT, ROOT, new, race_book

from codec import encode
from codec.sheet import Journal
from codec.sheet.live import Session
from codec.sheet.state import laps

VALUES = {"lap": 1, "energy": "0.1", "motor": 95, "inverter": 65, "battery": 44, "alert": []}


@pytest.fixture
def session(tmp_path: Path) -> Session:
    """A session with car 7."""
    session = Session(new(tmp_path))
    session.enter("/car 7 Ana")
    return session


def strings(session: Session) -> dict[int, str]:
    found = laps(session.rows, session.car, "lap")
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
    assert [row.first.heard for row in session.rows] == ["five one six lemon kettle romeo static tango"]


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


def test_a_pipe_is_logged_line_by_line(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", "import sys, codec.cli as c; sys.exit(c.main())", "log", str(tmp_path / "e.sheet"), "--book", str(RACE),
         "--car", "7=Ana", "--json"],
        input=f"{REPORT}\nfive lemon\n", capture_output=True, text=True, cwd=ROOT, check=False,
    )  # fmt: skip
    told = [json.loads(line) for line in done.stdout.splitlines()]
    assert [line["tone"] for line in told] == ["warning", "bad"]
    assert done.returncode == 1
    with Journal(tmp_path / "e.sheet") as journal:
        assert [entry.kind for entry in journal.entries()] == ["car", "report", "report", "question"]
