"""What is said of a report in the live log, short or in its own words, is put together, filed where
it says itself that it belongs, and never dropped.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from log.clock import SetClock
from radio.plain_books import coded_book, figures_book

from codec import Book, encode
from codec.log.session import Session
from codec.sheet import Journal
from codec.sheet.state import laps


@pytest.fixture
def clock() -> SetClock:
    return SetClock()


def begun(folder: Path, clock: SetClock, book: Book, *cars: str) -> Session:
    session = Session(Journal(folder / f"{book.name}.sheet", book, clock=clock))
    for car in (*cars, cars[0].split("=")[0]):
        session.enter(f"/car {car}")
    return session


@pytest.fixture
def figures(tmp_path: Path, clock: SetClock) -> Session:
    """A session with two laps of a book of figures alone."""
    session = begun(tmp_path, clock, figures_book(), "3=Runa")
    for line in ("51041090", "49042090"):
        session.enter(line)
        clock.on(90)
    return session


@pytest.fixture
def coded(tmp_path: Path, clock: SetClock) -> Session:
    """A session with two cars and two laps of the first."""
    session = begun(tmp_path, clock, coded_book(), "3=Runa", "5=Bo Lind")
    for lap in (1, 2):
        session.enter(string(lap))
        clock.on(90)
    return session


def string(lap: int, left: int = 0) -> str:
    values = {"map": "usual", "coolant": 50, "left": left or 96 - 4 * lap, "lap": lap}
    return encode(coded_book(), values, "report").string


def counted(session: Session, car: str = "3") -> dict[int, dict[str, str]]:
    found = laps(session.standing, car, session.book)
    return {
        lap: {name: str(value) for name, value in row.entry.values.items() if name != "lap"}
        for lap, row in found.items()
        if row.counts
    }


@pytest.mark.parametrize(
    "line",
    ["47142 9", "4714 9", "lap 3 charge left 971", "charge left 61", "cells 12 gearbox 90"],
)
def test_a_value_that_there_is_not_is_kept_and_asked_about(figures: Session, line: str) -> None:
    shown = figures.enter(line)
    assert shown.tone == "bad"
    assert shown.lines[0].startswith("ask:")
    assert figures.waiting is not None
    assert figures.waiting.entry.heard == line
    assert list(counted(figures)) == [1, 2]


def test_what_is_told_field_by_field_one_after_the_other_is_one_report(
    figures: Session, clock: SetClock
) -> None:
    for line in ("cells 43", "gearbox 95", "charge left 47.2"):
        assert figures.look(line).lines[0].startswith("part of the report of lap 3")
        figures.enter(line)
        clock.on(8)
    assert counted(figures)[3] == {"cells": "43", "gearbox": "95", "store": "47.2"}
    assert len(counted(figures)) == 3


@pytest.mark.parametrize(("seconds", "again"), [(8, "cells 45"), (90, "gearbox 95")])
def test_what_was_told_already_or_much_later_is_of_the_next_lap(
    figures: Session, clock: SetClock, seconds: int, again: str
) -> None:
    figures.enter("cells 43")
    clock.on(seconds)
    figures.enter(again)
    assert counted(figures)[3] == {"cells": "43"}
    assert list(counted(figures)) == [1, 2, 3, 4]


@pytest.mark.parametrize("line", ["lap 5 450 44 095", "lap 5, 45044095", "Lap 5: 450 44 095"])
def test_a_report_without_a_lap_is_of_the_one_said_before_it(figures: Session, line: str) -> None:
    assert figures.look(line).tone == "good"
    shown = figures.enter(line)
    assert shown.lines[1:] == ("! no report of laps 3 to 4; /undo takes it back",)
    assert counted(figures)[5] == {"store": "45", "cells": "44", "gearbox": "95"}


def test_a_report_that_says_another_lap_than_stands_before_it_is_asked_about(
    coded: Session,
) -> None:
    assert coded.enter(f"lap 3 {string(3)}").tone == "good"
    shown = coded.enter(f"lap 5 {string(4)}")
    assert shown.lines[0].startswith("ask:")
    assert any("says lap …4, and lap 5 was said before it" in line for line in shown.lines)
    assert list(counted(coded)) == [1, 2, 3]


@pytest.mark.parametrize("called", ["car 5 {}", "Bo Lind {}", "bo: {}", "Car 5, {}"])
def test_a_report_behind_a_car_or_its_driver_is_that_car_s(coded: Session, called: str) -> None:
    line = called.format(string(1).casefold())
    assert coded.look(line).lines[0] == "car 5"
    shown = coded.enter(line)
    assert shown.lines[0] == "car 5 Bo Lind"
    assert list(counted(coded, "5")) == [1]
    assert list(counted(coded)) == [1, 2]
    assert coded.car == "3"


def test_talk_about_a_car_is_no_report_of_it_and_one_not_read_is(coded: Session) -> None:
    coded.enter("bo is two seconds behind")
    coded.enter("car 5 is slow")
    assert not coded.standing.of("5", "report", "note")
    coded.enter(f"car 5 {string(1)[:3]}?{string(1)[4:]}")
    [found] = coded.standing.of("5", "report")
    assert found.entry.refusal or found.entry.string == string(1)
    assert coded.waiting is None


def test_names_that_are_words_of_the_code_are_words_of_the_code(
    tmp_path: Path, clock: SetClock
) -> None:
    session = begun(tmp_path, clock, coded_book(), "3=Runa", "5=Uniform")
    session.enter(f"uniform {string(1)[1:]}")
    assert list(counted(session, "3")) == [1]
    assert not counted(session, "5")


@pytest.mark.parametrize("place", [1, 2, 4])
def test_a_string_with_a_symbol_missing_is_an_attempt_at_a_report(
    coded: Session, place: int
) -> None:
    said = string(3).casefold()
    shown = coded.enter(f"{said[:place]}?{said[place + 1 :]}")
    assert "noted as talk" not in shown.lines[0]
    found = coded.standing.of("3", "report")[-1].entry
    assert found.refusal or found.string == string(3)


def test_a_report_filed_with_another_car_stands_on_the_lap_that_it_says(coded: Session) -> None:
    coded.enter("/car 5")
    coded.enter(string(1))
    coded.enter("/car 3")
    for lap in (3, 4, 5, 6):
        coded.enter(string(lap))
    coded.enter("/car 5")
    assert coded.enter(string(7)).lines[0].startswith("ask:")
    assert coded.enter("/of 3").tone == "good"
    assert list(counted(coded)) == [1, 2, 3, 4, 5, 6, 7]
    coded.enter("/car 3")
    assert coded.enter(string(8)).tone == "good"
    assert coded.waiting is None


def test_one_that_fits_neither_car_stays_doubtful(coded: Session) -> None:
    coded.enter("/car 5")
    coded.enter(string(1))
    coded.enter(string(8))
    assert coded.enter("/of 3").tone == "warning"
    assert list(counted(coded)) == [1, 2]
    assert any(row.entry.refusal for row in coded.standing.of("3", "report"))


@pytest.mark.parametrize("line", ["88 %", "88 percent left", "lap 3, 88 per cent"])
def test_a_number_with_the_unit_of_one_field_is_of_it(coded: Session, line: str) -> None:
    assert coded.look(line).tone == "good"
    coded.enter(line)
    assert counted(coded)[3] == {"left": "88"}


@pytest.mark.parametrize("line", ["battery left 88 and a bit", "5 %", "coolant 88 percent"])
def test_what_is_said_by_name_and_not_clear_is_taken_for_no_code(coded: Session, line: str) -> None:
    shown = coded.enter(line)
    assert not any("/ok takes it" in one for one in shown.lines)
    assert list(counted(coded)) == [1, 2]


def test_hints_name_a_car_that_there_is(figures: Session, coded: Session) -> None:
    for session, other in ((figures, ""), (coded, "/of 5 or ")):
        assert session.enter("/of").lines[0].startswith(f"{other}/of lap 3 ")


@pytest.mark.parametrize("words", ["battery left 77", "left 77", "left=77", "battery left is 77 %"])
def test_a_field_of_a_report_is_put_right_by_its_name(coded: Session, words: str) -> None:
    number = coded.standing.of("3", "report")[-1].first.seq
    assert coded.look(f"/fix {number} {words}").tone == "good"
    shown = coded.enter(f"/fix {number} {words}")
    assert shown.tone == "good"
    assert counted(coded)[2] == {"map": "usual", "coolant": "50", "left": "77"}
    assert coded.standing.of("3", "report")[-1].entry.string == string(2, left=77)


def test_a_report_not_read_is_put_right_by_as_much_as_is_known(coded: Session) -> None:
    coded.enter("uniform lemon lemon tree")
    assert coded.waiting is not None
    coded.enter(f"/fix {coded.waiting.first.seq} coolant 52")
    assert counted(coded)[3] == {"coolant": "52"}
