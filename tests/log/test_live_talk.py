"""Talk typed into the live sheet is noted; a report that waits for its repeat waits on, with what
it is likely to be.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from sheet.support import new

from codec.log.session import Session

UNREAD = "two two two two niner golf door"
TALK = [
    "we have rain on the visor",
    "help",
    "?",
    "tyres are cold in sector three",
    "gap is two point five seconds",
    "if there is a safety car we box",
    "I have a lot of vibration",
]


@pytest.fixture
def session(tmp_path: Path) -> Session:
    """A session with a lap, and behind it a report that can't be read."""
    session = Session(new(tmp_path))
    session.enter("/car 7 Ana")
    session.enter("one two one two eight sierra alfa")
    assert session.enter(UNREAD).tone == "bad"
    return session


@pytest.mark.parametrize("text", TALK)
def test_talk_is_noted_and_the_open_report_stays_open(session: Session, text: str) -> None:
    before = session.guess
    assert before is not None
    shown = session.enter(text)
    assert shown.tone in ("plain", "good")
    assert f"still to ask: {before.question}" in shown.lines
    assert any("/ok takes it" in line for line in shown.lines)
    assert session.waiting is not None
    assert (session.waiting.entry.heard, session.guess) == (UNREAD, before)
    assert [row.entry.heard for row in session.rows if row.first.kind == "note"] == [text]
    assert session.enter("/ok").tone == "good"
    assert (session.lap, session.waiting) == (2, None)


@pytest.mark.parametrize("text", TALK)
def test_talk_opens_no_report(tmp_path: Path, text: str) -> None:
    session = Session(new(tmp_path), "7")
    assert session.enter(text).tone in ("plain", "good")
    assert session.waiting is None
    session.enter("/undo")
    session.enter("/undo")
    assert all(row.withdrawn for row in session.rows)


def test_a_phrase_in_talk_is_seen_unless_it_is_only_talked_about(session: Session) -> None:
    assert session.enter("we have rain on the visor").lines[0] == "rain"
    assert (
        "'safety car' is talked about" in session.enter("if there is a safety car we box").lines[0]
    )
    assert [row.entry.message for row in session.rows if row.first.kind == "event"] == ["rain"]


def test_a_phrase_or_a_call_answers_nothing_either(session: Session) -> None:
    for text in ("safety car", "tango three seven", "say again"):
        assert session.enter(text).lines[1].startswith("still to ask: "), text
    assert session.enter("/ok").tone == "good"
    assert session.lap == 2


def test_an_answer_still_answers_behind_talk(session: Session) -> None:
    session.enter("we have rain on the visor")
    session.enter("golf romeo")
    assert (session.lap, session.waiting) == (2, None)


def test_what_tells_less_than_what_stands_is_kept_beside_it(session: Session) -> None:
    shown = session.enter("two two lemon lemon golf lemon")
    assert shown.tone == "bad"
    assert session.waiting is not None
    assert session.waiting.entry.heard == UNREAD
    assert [one.heard for one in session.waiting.answers] == ["two two lemon lemon golf lemon"]


def test_the_next_lap_is_no_answer_to_the_one_that_waits(session: Session) -> None:
    session.enter("three two one two lima five bravo")
    assert [(row.entry.lap, row.entry.heard) for row in session.rows if row.entry.refusal] == [
        (2, UNREAD)
    ]
    assert session.lap == 3


def test_the_next_lap_unread_leaves_the_one_before_as_it_was_heard(session: Session) -> None:
    session.enter("three two one two lima lemon lemon")
    assert [(row.entry.lap, row.entry.heard) for row in session.rows if row.entry.refusal] == [
        (2, UNREAD),
        (3, "three two one two lima lemon lemon"),
    ]


def test_an_earlier_lap_said_again_does_not_answer_for_a_later_one(session: Session) -> None:
    session.enter("three two one two lima lemon lemon")
    session.enter("two two two two niner golf romeo")
    assert session.lap == 2
    assert session.waiting is not None
    assert session.waiting.entry.lap == 3


def test_an_attempt_at_a_report_is_never_talk(tmp_path: Path) -> None:
    for text in (
        UNREAD,
        "five lemon",
        "box box one two one two eight sierra lemon please",
        "correction lemon two",
        "5163JRBX",
    ):
        session = Session(new(tmp_path), "7")
        assert session.enter(text).lines[0].startswith("ask: "), text
        session.enter("/undo")


def test_no_reading_is_told_where_none_is_likely(tmp_path: Path) -> None:
    session = Session(new(tmp_path), "7")
    assert session.enter("romeo").lines == ("ask: SAY AGAIN", "'romeo' can't stand here")


def test_nothing_heard_is_called_certain(session: Session) -> None:
    shown = session.enter("golf romeo")
    assert "(> 99.9 % sure)" in shown.lines[0]
