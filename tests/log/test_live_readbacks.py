"""A read-back says what was called, or is told to be wrong at once; a report that does not fit the
race is told to be doubted.

That a read-back is expected to repeat the call, and the reply NEGATIVE I SAY AGAIN, are radio
procedure: ICAO Annex 10, volume II, 5.2 (from memory).
"""

from __future__ import annotations

from pathlib import Path

import pytest
from sheet.support import RACE, new, race_book

from codec import encode
from codec.log.readbacks import ReadBacks
from codec.log.session import Session
from codec.race import facts, follow, load_event
from codec.radio.answering import repeated
from codec.radio.crews import Crew
from codec.radio.importing import import_transcript
from codec.sheet import Entry, Kind
from codec.sheet.state import Standing
from codec.views.laps import sheet_lines
from grammar.fields import Value

EVENT = RACE.parents[1] / "event" / "event.toml"
WHEEL = {"dial": "brake balance", "way": "down", "clicks": 2}


def words(message: str, **changes: object) -> str:
    return encode(race_book(), {**WHEEL, **changes}, message).words


@pytest.fixture(params=[False, True], ids=["no event", "event"])
def session(request: pytest.FixtureRequest, tmp_path: Path) -> Session:
    """A session with a first lap, and a call made."""
    event = load_event(EVENT, race_book()) if request.param else None
    session = Session(new(tmp_path), event=event)
    session.enter("/car 7 Ana")
    session.enter("one two one two eight sierra alfa")
    session.enter(words("wheel"))
    return session


def read_back(session: Session) -> list[str]:
    return [row.entry.string for row in session.rows if row.entry.message == "set" and row.counts]


def test_a_message_from_the_car_reads_back_the_call_with_its_fields() -> None:
    book = race_book()
    assert {name: repeated(book, name) for name in book.messages if repeated(book, name)} == {
        "set": {"wheel"},
        "entered": {"distance"},
    }


def test_a_call_said_again_and_then_read_back_word_for_word_waits_no_more() -> None:
    """As an import writes them: read-backs in the words of the call."""
    called, wrong = (
        dict(encode(race_book(), {**WHEEL, "clicks": clicks}, "wheel").reading.values)
        for clicks in (2, 3)
    )
    said: list[tuple[Kind, dict[str, Value], int | None]] = [
        ("call", called, None), ("readback", wrong, 1), ("call", called, None),
        ("readback", called, 3),
    ]  # fmt: skip
    entries = [
        Entry(kind=kind, car="7", seq=seq, about=about, message="wheel", string="W", values=values)
        for seq, (kind, values, about) in enumerate(said, start=1)
    ]
    states = []
    for count in range(1, 5):
        known = ReadBacks(race_book(), Standing(entries[:count]), "7")
        states.append((known.log[0].state, len(known.waiting)))
    assert states == [("called", 1), ("wrong", 1), ("wrong", 1), ("read back", 0)]


def test_a_read_back_that_says_what_was_called_is_fine(session: Session) -> None:
    assert session.enter(words("set")).tone == "good"
    assert session.notices == []
    assert read_back(session) == ["WBS2S"]


def test_a_read_back_that_says_something_else_is_told_at_once(session: Session) -> None:
    assert "2 called, 3 read back" in session.look(words("set", clicks=3)).lines[0]
    shown = session.enter(words("set", clicks=3))
    assert shown.tone == "bad"
    assert shown.lines[0].startswith("WRONG READ-BACK: ")
    assert shown.lines[1] == f"say: NEGATIVE, I SAY AGAIN {words('wheel')}"
    assert [entry.heard for entry in session.entries if entry.kind == "question"] == [
        f"NEGATIVE, I SAY AGAIN {words('wheel')}"
    ]
    assert [notice.ask for notice in Session(session.journal, "7").notices] == [
        True
    ]  # it stands until it is put right


def test_a_wrong_read_back_is_put_right_by_the_next_one(session: Session) -> None:
    session.enter(words("set", clicks=3))
    assert session.enter(words("set", clicks=3)).tone == "bad"
    assert session.enter(words("set")).tone == "good"
    assert session.notices == []
    assert read_back(session) == ["WBS2S"]


def test_a_read_back_whose_check_fails_is_never_taken_for_another_call(session: Session) -> None:
    shown = session.enter("whiskey bravo sierra three quebec")
    assert shown.tone == "bad"
    assert shown.lines[0] == "ask: SAY AGAIN"
    assert "! clicks 2 called, 3 read back" in shown.lines
    assert read_back(session) == []
    assert session.enter(words("set")).tone == "good"
    assert read_back(session) == ["WBS2S"]
    assert session.waiting is None


def test_a_read_back_of_which_only_the_kind_is_known_waits_as_one(session: Session) -> None:
    session.enter("whiskey bravo sierra ? ?")
    assert [(row.entry.message, row.entry.lap) for row in session.rows if row.entry.refusal] == [
        ("set", 2)
    ]
    assert session.enter(words("set")).tone == "good"
    assert session.waiting is None
    session.enter("two two two two niner golf romeo")
    assert session.lap == 2


def test_a_repeat_that_can_t_be_read_leaves_the_read_back_wrong(session: Session) -> None:
    session.enter(words("set", clicks=3))
    shown = session.enter("whiskey bravo sierra two tango")
    assert shown.lines[0] == "ask: SAY AGAIN"
    assert any(notice.ask for notice in session.notices)
    session.enter(words("set"))
    assert read_back(session) == ["WBS2S"]


def test_each_read_back_goes_to_its_call(session: Session) -> None:
    session.enter(words("wheel", dial="regeneration"))
    for dial in ("regeneration", "brake balance"):
        assert session.enter(words("set", dial=dial)).tone == "good"
    assert session.enter(words("set", dial="front damping")).tone == "bad"
    assert any("not called" in notice.text for notice in session.notices)


def test_an_unread_read_back_is_not_answered_by_that_of_the_next_call(session: Session) -> None:
    session.enter("whiskey bravo sierra three quebec")
    session.enter(words("wheel", dial="regeneration"))
    assert session.enter(words("set", dial="regeneration")).tone == "good"
    assert [row.entry.refusal for row in session.rows if row.entry.message == "set"] == [
        "check",
        "",
    ]


def test_what_the_race_notices_is_told_when_it_happens(tmp_path: Path) -> None:
    event = load_event(EVENT, race_book())
    session = Session(new(tmp_path), "7", event)
    session.enter("one two one two eight sierra alfa")
    shown = session.enter("three zero eight four yankee foxtrot x-ray x-ray")
    assert shown.tone == "warning"
    assert shown.lines[0].startswith("the report of lap 3 does not fit the laps before it: ")
    assert "motor 125 °C" in shown.lines[0]
    told = follow(event, facts(session.standing, "7")).notices
    assert [(one.seq, one.lap, one.text) for one in session.notices] == [
        (one.seq, one.lap, one.text) for one in told
    ]
    assert session.enter("/undo").tone == "good"
    assert session.notices == []


def test_nothing_else_is_a_read_back() -> None:
    for name in ("lap", "status", "wheel", "pace", "no message"):
        assert repeated(race_book(), name) == frozenset()


def test_a_wrong_read_back_is_told_until_it_is_put_right(session: Session) -> None:
    session.enter(words("set", clicks=3))
    for lap in ("two two two two niner golf romeo", "three two one two lima five bravo"):
        session.enter(lap)
    assert session.lap == 3
    assert [notice.ask for notice in session.mine.looks] == [True]
    session.enter(words("set"))
    assert session.mine.looks == []


@pytest.mark.parametrize("clicks", ["two", "three"])
def test_what_sounds_like_a_read_back_without_its_end_is_no_second_call(
    session: Session, clicks: str
) -> None:
    said = f"whiskey bravo sierra {clicks}"
    for _ in range(2):
        shown = session.enter(said)
        assert shown.tone == "bad"
        assert any(line.startswith("WBS2 waits to be read back") for line in shown.lines)
        assert [call.row.entry.string for call in session.readbacks.log] == ["WBS2"]
    assert session.enter(words("set")).tone == "good"
    assert session.waiting is None
    assert read_back(session) == ["WBS2S"]


def test_it_is_a_call_where_somebody_says_so(session: Session) -> None:
    session.enter("whiskey bravo sierra three")
    assert session.enter("/ok").tone != "bad"
    assert [call.row.entry.string for call in session.readbacks.log] == ["WBS2", "WBS3"]


def test_a_call_unlike_the_one_that_waits_is_a_call(session: Session) -> None:
    shown = session.enter("whiskey romeo november three")
    assert any(line.startswith("WBS2 waits to be read back") for line in shown.lines)
    assert session.enter("tango three seven").tone == "good"
    assert len(session.readbacks.log) == 3


def test_another_number_right_behind_a_call_is_its_wrong_read_back(session: Session) -> None:
    """The book has no message to read a target back: a driver never calls."""

    def targets() -> list[tuple[str, str]]:
        calls = [one for one in session.readbacks.log if one.row.entry.message == "pace"]
        return [(one.row.entry.string, one.state) for one in calls]

    session.enter("tango three zero")
    shown = session.enter("tango three one")
    assert shown.lines[0].startswith("WRONG READ-BACK: ")
    assert shown.lines[1] == "say: NEGATIVE, I SAY AGAIN tango three zero"
    assert targets() == [("T30", "wrong")]
    assert session.enter("tango three zero").tone == "good"
    assert (targets(), session.notices) == ([("T30", "read back")], [])
    session.enter("tango three two")
    assert session.enter("correction, tango three three").tone == "good"
    assert targets() == [("T30", "read back"), ("T33", "called")]


def test_in_a_transcript_a_driver_who_says_another_call_reads_it_back_wrong(tmp_path: Path) -> None:
    said = ["[00:05:02] Eng: tango three zero\n", "[00:05:08] Kit: copy, tango three one\n"]
    with new(tmp_path) as journal:
        import_transcript(journal, said, "text", [Crew("4", "Kit", ("Eng",))])
        [call] = ReadBacks(race_book(), Standing(journal.entries()), "4").log
    assert (call.row.entry.string, call.state) == ("T30", "wrong")


@pytest.mark.parametrize(
    ("answer", "shown"),
    [
        ("whiskey tango november three yankee", "read back, not understood: whiskey tango"),
        ("whiskey tango november two zulu", "read back, not understood: whiskey tango"),
        (words("set", dial="torque map", way="up", clicks=3), "clicks 2 called, 3 read back"),
        (words("set", dial="regeneration", way="up"), "torque map called, regeneration read back"),
        (words("set", dial="torque map", way="up"), ""),
    ],
)
@pytest.mark.parametrize("live", [True, False], ids=["typed", "imported"])
def test_a_call_that_was_read_back_wrong_is_marked_with_what_was_said(
    tmp_path: Path, answer: str, shown: str, live: bool
) -> None:
    lines = ["four two one two juliett delta papa", "whiskey tango november two", answer]
    with new(tmp_path) as journal:
        if live:
            session = Session(journal, "4")
            for line in lines:
                session.enter(line)
        else:
            said = [
                f"[00:05:{2 + 6 * n:02}] {who}: {line}\n"
                for n, (who, line) in enumerate(zip(("Kit", "Eng", "Kit"), lines, strict=True))
            ]
            import_transcript(journal, said, "text", [Crew("4", "Kit", ("Eng",))])
        marks = [
            line.said
            for line in sheet_lines(Standing(journal.entries()), "4", race_book())
            if line.kind == "call"
        ]
    if live and "not understood" in shown:
        assert session.waiting is not None  # asked for, and not taken for another
    else:
        assert (shown in marks[0], "read back" in marks[0]) == (True, bool(shown))


def test_a_call_without_a_message_to_read_it_back_is_read_back_by_its_words(
    session: Session,
) -> None:
    """The race book has none for a target: the driver says what was called once more."""
    assert session.enter("tango three zero").tone == "good"
    said = session.enter("tango three zero")
    assert "read back right" in said.lines[0]

    def targets() -> list[str]:
        return [one.state for one in session.readbacks.log if one.row.entry.message == "pace"]

    assert targets() == ["read back"]
    session.enter("/undo")
    assert targets() == ["called"]
    assert "read back" not in session.enter("correction, tango three one").lines[0]
    assert targets() == ["called"]
