"""A session's end, a programme of weeks, and people beside each other."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any

import pytest
from drill.support import START, answer, race, stamp

from codec.drill import Answer, DrillError, DrillJournal
from codec.drill.closing import closing
from codec.drill.programme import Programme, beside, standing

DAY = datetime.timedelta(days=1)


def _session(day: int, name: str, rows: list[tuple[str, str]], **facts: Any) -> list[Answer]:
    at = START + day * DAY
    return [
        answer(
            shown, said, session=name, kind="report", part_of="lap", first=0.8,
            last=0.8 + 0.5 * len(shown), at=stamp(at + datetime.timedelta(seconds=20 * number)),
            **facts,
        )
        for number, (shown, said) in enumerate(rows)
    ]  # fmt: skip


RIGHT = [("12436TY", "12436TY")]
TAKEN = [("12436TY", "12436TA")]


def test_the_end_tells_what_got_better_what_is_weak_and_nothing_that_was_never_wrong() -> None:
    rows = [
        *_session(0, "a", TAKEN * 3),
        *_session(1, "b", [*RIGHT * 3, ("5211NPJ", "9211NPJ")], exposure=0.7, speed=250.0),
    ]
    told = closing(race(), rows, START + 2 * DAY)
    assert told is not None
    assert told.better == ("no longer wrong: yankee", "75% right, 0% before")
    assert told.weak[0].startswith(("five", "yankee"))
    assert not any("tango" in line or "six" in line for line in told.weak)
    assert any("taken for alfa" in line for line in told.weak)
    # arithmetic: 0.7 s × 250 km/h ÷ 3.6 = 48.6 m
    assert told.cost == ("a glance of 0.70 s is 49 m at 250 km/h",)
    assert [(one.asked, one.right) for one in told.sessions] == [(3, 0), (4, 3)]
    assert told.next.exposure == pytest.approx(0.7)
    assert closing(race(), [], START) is None


def test_the_next_glance_is_shorter_where_it_was_easy_and_longer_where_it_was_hard() -> None:
    def proposed(rows: list[tuple[str, str]]) -> float | None:
        told = closing(race(), _session(0, "a", rows, exposure=0.7, speed=250.0), START)
        assert told is not None
        return told.next.exposure

    assert proposed(RIGHT * 10) == pytest.approx(0.6, abs=0.011)  # a hundredth either way
    assert proposed(TAKEN * 10) == pytest.approx(0.82, abs=0.011)
    assert closing(race(), _session(0, "a", RIGHT), START).next.exposure is None  # type: ignore[union-attr]


def test_wrong_answers_of_which_nobody_knows_what_was_said_blame_no_symbol() -> None:
    told = closing(race(), _session(0, "a", [("12436TY", "")] * 4), START)
    assert told is not None
    assert told.weak == ()


def test_weeks_are_counted_from_their_first_day_and_goals_are_those_of_the_programme() -> None:
    programme = Programme(person="Ana", begins=START.date(), weeks=3, sessions=2, share=0.9)
    rows = [
        answer
        for day, name in ((0, "a"), (6, "b"), (7, "c"), (8, "d"), (14, "e"))
        for answer in _session(day, name, RIGHT * 10, exposure=0.6)
    ]
    told = standing(race(), rows, programme, START + 15 * DAY)
    assert told is not None
    assert [(week.begins.day, week.sessions) for week in told.weeks] == [(2, 2), (9, 2), (16, 1)]
    assert told.in_a_row == 2  # the week that runs may yet have its sessions
    assert told.reached == {"share": True, "exposure": False, "seconds": True}
    assert told.latest.seconds == pytest.approx(3.5)
    assert told.next_due is not None


def test_two_people_are_beside_each_other_by_what_parts_them() -> None:
    rows = beside(race(), _session(0, "a", RIGHT * 4), _session(0, "a", [*TAKEN * 3, *RIGHT]))
    assert rows[0].word == "yankee"
    assert (rows[0].right, rows[0].asked) == ((4, 1), (4, 4))
    assert {row.word for row in rows} == {"one", "two", "four", "three", "six", "tango", "yankee"}


@pytest.mark.parametrize(
    "wrong", [{"weeks": 0}, {"share": 2.0}, {"exposure": 9.0}, {"person": ""}, {"sessions": 99}]
)
def test_what_is_no_programme_is_refused(wrong: dict[str, Any]) -> None:
    with pytest.raises(DrillError):
        Programme(**{"person": "Ana", "begins": START.date(), **wrong})


def test_a_programme_is_kept_and_goes_with_the_person(tmp_path: Path) -> None:
    with DrillJournal(tmp_path / "drills.niner", create=True) as journal:
        with pytest.raises(DrillError, match="no 'Ana'"):
            journal.plan(Programme(person="Ana", begins=START.date()))
        digest = journal.keep_book(race())
        journal.append(answer(book=digest))
        assert journal.programme("Ana") is None
        for weeks in (4, 5):
            journal.plan(Programme(person="Ana", begins=START.date(), weeks=weeks))
        kept = journal.programme("Ana")
        assert kept is not None
        assert kept == Programme(person="Ana", begins=START.date(), weeks=5)
        journal.delete("Ana")
        assert journal.programme("Ana") is None
