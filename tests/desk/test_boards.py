"""The boards of a wall are drawn anew only where something of them is: they always show what they
would if all of it were drawn at once.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from pathlib import Path

import pytest
from desk.support import sheet_at
from sheet.support import ROOT

from codec.desk.boards import Boards
from codec.desk.parts import Desk
from codec.desk.shelf import Shelf
from codec.log.session import Session
from codec.race import load_event
from codec.sheet import Journal

EVENT = ROOT / "examples" / "race" / "event.toml"
CARS = ("7", "61")
LINES = (
    "one two zero one yankee alfa quebec", "T40", "/note box", "two one six one yankee alfa one",
    "/right", "/added 2", "lap 2 motor 97", "/withdraw 3", "/neutralised", "/of 61", "/undo",
)  # fmt: skip


@pytest.fixture
def session(tmp_path: Path) -> Iterator[Session]:
    """A session with two cars and an event."""
    with Journal(sheet_at(tmp_path)) as journal:
        yield Session(journal, event=load_event(EVENT, journal.book))


def new() -> Boards:
    desk = Desk(Shelf({}))
    return Boards(desk.template("board.html"), desk.template("lap.html"))


def drawn(boards: Boards, session: Session) -> dict[tuple[str, bool], str]:
    return {
        (car, writes): boards.drawn(session, car, writes=writes).html
        for car in CARS
        for writes in (True, False)
    }


def check(session: Session, said: list[tuple[str, str]]) -> None:
    boards = new()
    for car, line in said:
        session.car = car
        session.enter(line)
        at_once = Session(session.journal, event=session.event)
        assert drawn(boards, session) == drawn(new(), at_once), (car, line)


def test_boards_that_go_on_from_before_are_as_those_drawn_at_once(session: Session) -> None:
    check(session, [(CARS[number % 3 == 1], line) for number, line in enumerate(LINES)])


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(5))
def test_so_are_they_whatever_is_said(session: Session, seed: int) -> None:
    draw = random.Random(seed)
    check(session, [(draw.choice(CARS), draw.choice(LINES)) for _ in range(20)])


def test_a_board_of_which_nothing_is_new_is_not_drawn_again(session: Session) -> None:
    boards = new()
    session.enter(LINES[0])
    before = {car: boards.drawn(session, car, writes=True) for car in CARS}
    session.car = "7"
    session.enter("/note only of this car")
    after = {car: boards.drawn(session, car, writes=True) for car in CARS}
    assert after["61"] is before["61"]
    assert "only of this car" in after["7"].html


def test_a_neutralised_race_shows_the_laps_due_and_what_may_be_added(session: Session) -> None:
    session.enter(LINES[0])
    assert "laps due" not in new().drawn(session, "7", writes=False).html
    session.enter("/neutralised")
    html = new().drawn(session, "7", writes=False).html
    assert "laps due so far by the event file: 0, for 0 min" in html
    assert "5 laps more" in html
