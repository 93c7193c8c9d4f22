"""What the engineer types by hand at the live log: a lap that there is, values as they are kept,
calls in plain words, and corrections that say what they did.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from pathlib import Path

import pytest
from log.clock import SetClock
from radio.plain_books import calls_book

from codec import encode
from codec.debrief.summary import certainties, summarise
from codec.log.session import Session
from codec.radio.by_hand import accept, doubtful_rows, lines
from codec.sheet import Journal
from codec.sheet.state import BY_HAND, laps
from codec.views.laps import sheet_lines


@pytest.fixture
def clock() -> SetClock:
    return SetClock()


@pytest.fixture
def session(tmp_path: Path, clock: SetClock) -> Session:
    """A session with two cars and the first lap of one."""
    found = Session(Journal(tmp_path / "e.sheet", calls_book(), clock=clock))
    for line in ("/car 44=Runa", "/car 9=Bo Lind", "/car 44", string(1)):
        found.enter(line)
    return found


def string(lap: int, **changes: object) -> str:
    values = {"lap": lap, "left": 40 - lap, "motor": 90, "coolant": 7, "fault": []} | changes
    return encode(calls_book(), values, "lap").string


def kept(session: Session, lap: int, car: str = "44") -> Mapping[str, str]:
    entry = laps(session.standing, car, session.book)[lap].entry
    return {name: str(value) for name, value in entry.values.items() if name != "lap"}


def test_a_line_that_is_asked_about_stays_on_the_lap_it_names(session: Session) -> None:
    session.enter("lap 5 motor 90")
    assert session.enter("lap 3 left 99").lines[0].startswith("ask:")
    assert session.waiting is not None
    assert (session.waiting.entry.lap, session.waiting.entry.lap_by) == (3, "given")


def test_what_is_put_right_past_an_open_end_is_told_as_beyond(session: Session) -> None:
    assert "motor ≥ 140 °C" in session.enter("/fix 3 motor 1000").lines[0]
    assert session.enter("/fix 3 left 99").lines == ("energy left: 99 kWh is too high",)
    assert "motor ≥ 140 °C" in session.enter("motor=1000").lines[0]


def test_a_wrapped_value_told_whole_is_kept_whole(session: Session) -> None:
    assert "coolant …7 °C" in session.enter("/find lap").lines[0]
    assert "coolant 61 °C" in session.enter("/fix 3 coolant 61").lines[0]
    assert kept(session, 1)["coolant"] == "61"
    session.enter("/fix 3 motor 95")
    assert kept(session, 1)["coolant"] == "61"


def test_a_slip_in_the_name_of_a_field_keeps_the_rest_until_a_key_takes_it(
    session: Session,
) -> None:
    line = "lap 2 33.9 motr 105"
    assert session.look(line).lines[0] == "motr: motor?"
    assert session.enter(line).lines[0] == "motr: motor?"
    assert session.lap == 1
    assert session.spoken_to().lines[1] == "still to ask: motr: motor?"
    assert session.enter("/ok").tone == "good"
    assert kept(session, 2) == {"left": "33.9", "motor": "105"}


def test_what_stands_beside_a_word_that_means_nothing_is_offered_too(session: Session) -> None:
    assert session.enter("lap 2 left 37.2, brakes 95, coolant 8").lines[0].startswith("brakes:")
    session.enter("lap 2 left 37.2, motor 95, coolant 8")
    assert kept(session, 2) == {"left": "37.2", "motor": "95", "coolant": "8"}
    assert session.waiting is None


def test_what_waits_by_a_field_is_taken_by_its_number_too(session: Session) -> None:
    session.enter("lap 2 33.9 motr 105")
    number = session.entries[-1].seq
    journal, standing = session.journal, session.standing
    shown = list(lines(session.book, doubtful_rows(session.book, standing), "e.sheet"))
    assert "as told  lap report: energy left 33.9 kWh, motor 105 °C" in shown[1]
    assert shown[2].strip().startswith(f"niner sheet accept e.sheet {number}  or  ")
    written, told = accept(journal, standing, number)
    assert told == "lap report: energy left 33.9 kWh, motor 105 °C"
    assert (written.car, written.lap, written.refusal, written.note) == ("44", 2, "", BY_HAND)
    session.refresh()
    assert kept(session, 2) == {"left": "33.9", "motor": "105"}
    assert not list(doubtful_rows(session.book, session.standing))


def test_fix_tells_where_a_number_is_no_remainder_and_where_a_lap_lies_behind(
    session: Session,
) -> None:
    told = "coolant: no remainder, kept as the whole number 61 °C, said …1 °C"
    assert session.look("/fix 3 coolant 61").lines[0].endswith(told)
    assert session.enter("/fix 3 coolant 61").lines[0].endswith(told)
    assert "remainder" not in session.enter("/fix 3 coolant 6").lines[0]
    assert "remainder" not in session.enter("/fix 3 motor 95").lines[0]
    session.enter("lap 2 motor 90")
    number = session.entries[-1].seq
    assert session.enter(f"/fix {number} lap=3").lines[0].endswith("; no report of lap 2")


@pytest.mark.parametrize("said", ["box this lap", "lap 2 box", "radio check please"])
def test_ordinary_talk_is_no_report_with_a_slip(session: Session, said: str) -> None:
    session.enter(said)
    assert [entry.kind for entry in session.entries[3:]] == ["note"]


@pytest.mark.parametrize("fault", ["fault fan", "fan fault", "fan fault, pump fault", "no fault"])
def test_a_flag_may_stand_before_the_name_of_its_field(session: Session, fault: str) -> None:
    session.enter(f"lap 2 left 37.2, motor 95, coolant 8, {fault}")
    flags = {name for name in ("fan", "pump") if name in fault}
    assert laps(session.standing, "44", session.book)[2].entry.values["fault"] == flags


def test_a_lap_said_in_a_word_does_not_run_into_the_number_behind_it(session: Session) -> None:
    session.enter("lap five thirty two point eight motor ninety five")
    assert kept(session, 5) == {"left": "32.8", "motor": "95"}
    session.enter("lap six thirty two motor ninety five")  # or lap 632
    assert session.lap == 5


def test_undo_takes_back_the_filing_with_another_car_before_the_report(session: Session) -> None:
    session.enter("/car 9")
    session.enter("left 31.1 motor 100")
    session.enter("/of 44")
    assert "correction car 44" in session.enter("/undo").lines[0]
    assert kept(session, 1, "9") == {"left": "31.1", "motor": "100"}
    assert kept(session, 1)["left"] == "39"
    assert "report lap 1: energy left 31.1 kWh" in session.enter("/undo").lines[0]
    assert laps(session.standing, "9", session.book) == {}


def test_what_was_taken_back_moves_no_other_line_and_counts_in_no_debrief(
    session: Session, clock: SetClock
) -> None:
    for line in ("/car 44", "lap 44 left 22", "/undo"):
        session.enter(line)
        clock.on(90)
    session.enter("/neutralised")
    session.enter("lap 2 left 99")
    session.enter("/fix 7 left 38 motor 95")
    facts = [line.lap for line in sheet_lines(session.standing, "44", session.book)]
    assert facts == [1, 2, 2, 44]
    debrief = summarise(session.book, session.entries, car="44")
    assert [line.lap for line in debrief.lines] == [1, 2]
    assert certainties(debrief) == {1: 1.0, 2: 1.0}
    assert not debrief.doubted


@pytest.mark.parametrize("answer", ["golf seven {}", "seven {}", "I say again, golf seven {}"])
def test_an_answer_may_say_the_word_asked_behind_also_of_a_typed_report(
    session: Session, answer: str
) -> None:
    report = string(2, coolant=7)
    session.enter(report[:6])
    session.enter("say again all after golf")
    session.enter(answer.format(report[6:]))
    assert session.mine.reports[2].entry.string == report


@pytest.mark.parametrize(
    ("said", "string"),
    [
        ("energy per lap 1.28", "P128"),
        ("energy target one point two eight", "P128"),
        ("laps added 2", "L2"),
        ("lift 120 m", "F12"),
    ],
)
def test_a_call_may_be_typed_in_plain_words(session: Session, said: str, string: str) -> None:
    assert session.look(said).tone == "good"
    assert session.enter(said).tone == "good"
    assert [(one.row.entry.string, one.row.entry.heard) for one in session.readbacks.log] == [
        (string, said)
    ]


def test_a_note_in_the_words_of_a_fact_does_not_look_like_one(session: Session) -> None:
    session.enter("/note laps added 2")
    session.enter("/added 2")
    said = [line.said for line in sheet_lines(session.standing, "44", session.book)]
    assert said[1:] == ["note: laps added 2", "laps added 2"]


def test_a_lap_is_put_right_by_what_the_log_takes(session: Session) -> None:
    assert session.enter("/lap 2 left 38.1 motor 95").lines[0].startswith("part of the report")
    number = session.rows[-1].first.seq
    session.enter("/lap 2 37.9")
    assert kept(session, 2) == {"left": "37.9", "motor": "95"}
    session.enter(f"/fix {number} 37.5 motor 100")
    session.enter(f"/fix {number} lap=3 motor 105")
    assert list(laps(session.standing, "44", session.book)) == [1, 3]
    assert kept(session, 3) == {"left": "37.5", "motor": "105"}


def test_a_lap_given_far_off_tells_the_laps_between(session: Session) -> None:
    session.enter("left 38 motor 95")
    assert "no report of laps 2 to 49" in session.enter("/fix 4 lap=50").lines[0]


def test_a_call_that_another_follows_waits_no_more(session: Session, clock: SetClock) -> None:
    for line in ("papa 128", "papa 130"):
        session.enter(line)
        clock.on(90)
    states = [(one.row.entry.string, one.state) for one in session.readbacks.log]
    assert states == [("P128", "not answered"), ("P130", "called")]


def test_a_car_alone_is_spoken_to(session: Session) -> None:
    assert session.enter("car 9").lines == ("car 9 Bo Lind",)
    assert session.car == "9"


def test_without_dials_the_wheel_command_says_what_is_missing(session: Session) -> None:
    assert "--event" in session.enter("/wheel regen 5").lines[0]


def test_a_reading_taken_as_it_was_is_no_correction(session: Session) -> None:
    session.enter(f"/accept 3 {string(1)}")
    assert [line.said for line in sheet_lines(session.standing, "44", session.book)] == [""]


def test_a_second_reading_of_a_lap_that_says_something_else_is_doubtful(session: Session) -> None:
    first = session.rows[0].entry
    values = {**first.values, "left": Decimal(30)}
    session.write(first.replace(seq=0, uid="", values=values, refusal="doubtful", certainty=0.6))
    session.refresh()
    found = [one.row.first.seq for one in doubtful_rows(session.book, session.standing)]
    assert found == [4]
