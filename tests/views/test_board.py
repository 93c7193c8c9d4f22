"""What a wall shows of one car, as data: use against target, the clock, the wheel, the calls."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from pathlib import Path

import pytest
from sheet.support import RACE, race_book

from codec import encode
from codec.log.session import Session
from codec.race import load_event
from codec.sheet import Journal
from codec.views.board import board
from codec.views.laps import OTHER, sheet_lines

EVENT = RACE.parents[1] / "event" / "event.toml"
REPORT = {"motor": 95, "inverter": 65, "battery": 44, "alert": []}


class Day:
    """A clock that a test sets, in seconds from the start."""

    def __init__(self) -> None:
        self.seconds = 0.0

    def __call__(self) -> datetime.datetime:
        start = datetime.datetime(2026, 5, 2, 14, tzinfo=datetime.UTC)
        return start + datetime.timedelta(seconds=self.seconds)


@pytest.fixture
def day() -> Day:
    return Day()


@pytest.fixture
def session(tmp_path: Path, day: Day) -> Iterator[Session]:
    """A session with a car and its event."""
    with Journal(tmp_path / "event.sheet", race_book(), clock=day) as journal:
        session = Session(journal, event=load_event(EVENT, race_book()))
        session.enter("/car 7=Ana")
        yield session


def say(session: Session, lap: int, energy: str, **more: object) -> None:
    session.enter(
        encode(race_book(), {**REPORT, "lap": lap, "energy": energy, **more}, "lap").words
    )


def test_a_lap_s_use_stands_against_the_target_in_force(session: Session, day: Day) -> None:
    """Ten laps on a plan of 1.64 kWh, then 1.40 is called and 0.3 more than that is driven."""
    for lap in range(1, 11):
        day.seconds += 81
        say(session, lap, "0")
    session.enter("T40")
    for lap, energy in ((11, "-0.1"), (12, "-0.2")):
        day.seconds += 81
        say(session, lap, energy)
    uses = board(session).uses
    assert list(uses) == list(range(1, 13))
    assert (uses[9].target, uses[12].target) == (1.64, 1.40)
    assert uses[9].gap == pytest.approx(0, abs=0.05)
    assert uses[12].gap == pytest.approx(0.3, abs=0.1)


def test_a_neutralised_lap_has_no_gap(session: Session, day: Day) -> None:
    for lap in range(1, 4):
        day.seconds += 81
        say(session, lap, "0")
        if lap == 2:
            session.enter("safety car")
    shown = board(session)
    assert [lap for lap, use in shown.uses.items() if use.gap is None] == [3]
    assert shown.state.neutralised
    assert shown.driving == 4


def test_wheel_and_calls_are_told(session: Session, day: Day) -> None:
    day.seconds += 81
    say(session, 1, "0")
    session.enter("WRN2")
    session.enter("T40")
    shown = board(session)
    regeneration = next(dial for dial in shown.dials if dial.name == "regeneration")
    assert (regeneration.position, regeneration.heading) == (4, 6)
    assert [(call.string, call.state) for call in shown.calls] == [
        ("T40", "called"),
        ("WRN2", "called"),
    ]
    assert session.enter("/calls").lines[0].startswith("T40  energy target: energy per lap 1.4 kWh")


def test_a_report_that_does_not_count_and_a_missing_one_are_told(session: Session) -> None:
    for lap, motor in ((1, 95), (2, 95), (2, 60), (4, 95)):
        say(session, lap, "0", motor=motor)
    lines = sheet_lines(session.standing, "7", race_book())
    assert [(line.lap, line.kind, line.counts, line.other) for line in lines] == [
        (1, "report", True, False),
        (2, "report", True, False),
        (2, "report", False, True),
        (3, "missing", False, False),
        (4, "report", True, False),
    ]
    assert OTHER in lines[2].said


def test_the_lap_s_clock_tells_when_a_report_is_overdue(session: Session, day: Day) -> None:
    """Laps of 81.5 s: a report is overdue behind 1.15 of one and 5 s, 98.7 s; twice as much while
    the race is neutralised.
    """
    assert board(session).clock.into is None
    day.seconds += 81
    say(session, 1, "0")
    day.seconds += 60
    assert (board(session).clock.into, board(session).clock.overdue) == (60_000, 0)
    day.seconds += 60
    shown = board(session)
    assert shown.clock.into == 120_000
    assert shown.clock.overdue == pytest.approx(21_300, abs=500)
    session.enter("safety car")
    assert board(session).clock.overdue == 0
