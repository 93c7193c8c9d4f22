"""What the engineer puts right at the live sheet: commands that say what they would undo, and do
what the words say.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from commands import called
from sheet.support import ROOT, race_book

from codec import encode, load_book
from codec.log.session import Session
from codec.sheet import Journal
from codec.sheet.state import laps

STARTER = load_book(ROOT / "examples" / "starter" / "starter.toml")
ONE, TWO = "one two zero two six", "two two one two seven"


@pytest.fixture
def session(tmp_path: Path) -> Session:
    """A session with two laps of the starter book."""
    found = Session(Journal(tmp_path / "e.sheet", STARTER))
    for line in ("/car 4=Kit", ONE, TWO):
        found.enter(line)
    return found


def strings(session: Session) -> dict[int, str]:
    found = laps(session.standing, session.car, session.book)
    return {lap: row.entry.string for lap, row in found.items() if row.counts}


@pytest.mark.parametrize("lap", [1, 3, 11, 99])
def test_a_report_is_filed_with_no_lap_that_it_does_not_say(session: Session, lap: int) -> None:
    shown = session.enter(f"/of lap {lap}")
    assert shown.tone == "bad"
    assert "22127 says lap …2" in shown.lines[0]
    assert strings(session) == {1: "12026", 2: "22127"}


def test_a_lap_far_off_is_told_with_those_between(session: Session) -> None:
    shown = session.enter("/of lap 12")
    assert shown.tone == "warning"
    assert "no report of laps 2 to 11" in shown.lines[-1]
    assert strings(session) == {1: "12026", 12: "22127"}
    session.enter("/undo")
    assert list(strings(session)) == [1, 2]


def test_the_lap_given_is_that_of_what_was_typed_last_though_it_was_not_read(
    session: Session,
) -> None:
    session.enter("three two")
    session.enter("/of lap 4")
    assert session.waiting is not None
    assert session.waiting.entry.lap == 4
    assert strings(session) == {1: "12026", 2: "22127"}


def test_a_line_that_begins_with_correction_puts_the_report_of_its_lap_right(
    session: Session,
) -> None:
    assert session.enter("correction two two one two eight").tone == "good"
    assert strings(session) == {1: "12026", 2: "22128"}
    session.enter("correction three two one two eight")  # of a lap that has no report
    assert strings(session) == {1: "12026", 2: "22128", 3: "32128"}


def test_the_whole_report_behind_its_parts_is_asked_about_only_where_they_differ(
    session: Session,
) -> None:
    session.enter("lap 3 battery 28")
    assert session.enter("three two one two eight").tone == "good"
    session.enter("lap 4 battery 31")
    shown = session.enter("four two zero two niner")
    assert any("has a report already" in line for line in shown.lines)


def test_a_call_put_right_before_it_is_read_back_is_one_call(tmp_path: Path) -> None:
    log = Session(Journal(tmp_path / "e.sheet", race_book()))
    log.enter("/car 4=Kit")
    log.enter("WBS2")
    assert log.enter("correction WBS3").tone == "good"
    assert [call.row.entry.string for call in log.readbacks.log] == ["WBS3"]
    values = {"dial": "brake balance", "way": "down", "clicks": 3}
    assert log.enter(encode(race_book(), values, "set").words).tone == "good"


def test_what_was_said_is_found_by_words_with_its_number(session: Session) -> None:
    (line,) = session.enter("/find energy seven").lines
    assert line.startswith("#3  lap 2")
    assert session.enter("/find lemon").tone == "warning"


@pytest.mark.parametrize("asked", ["/", "/help"])
def test_the_commands_are_told_with_what_they_do(session: Session, asked: str) -> None:
    lines = session.enter(asked).lines
    assert any(line.startswith("/undo: ") for line in lines)
    assert len(lines) == len(session.commands)


def test_there_is_nothing_to_take_where_nothing_waits(session: Session) -> None:
    assert session.enter("/ok").lines == ("nothing waits to be taken",)


def test_from_a_pipe_every_line_tells_the_number_it_is_put_right_by(tmp_path: Path) -> None:
    book = ROOT / "examples" / "starter" / "starter.toml"
    options: list[str | bytes | Path] = [
        "log",
        tmp_path / "e.sheet",
        "--book",
        book,
        "--car",
        "4=Kit",
    ]
    done = called(options, f"{ONE}\n{TWO}\n".encode())
    assert [line[-4:] for line in done.stdout.splitlines()] == [b"  #2", b"  #3"]
