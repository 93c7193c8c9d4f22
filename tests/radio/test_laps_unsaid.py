"""Where a book has no lap to say, a lost report moves none behind it, and nothing doubtful does.

How much of a charge goes in a lap, and that the same lap takes much the same time, is common
practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from radio.unsaid import MOVES, book_that, counted, imported, race

from codec.radio.laps import LapTimes


def without(told: Sequence[tuple[int, str]], lost: set[int]) -> Iterator[tuple[int, str]]:
    return (one for lap, one in enumerate(told, start=1) if lap not in lost)


@pytest.mark.parametrize("lost", [{8}, {8, 9}, {3}, {5, 11}, {12}], ids=str)
def test_a_report_that_is_lost_moves_no_lap_behind_it(tmp_path: Path, lost: set[int]) -> None:
    book = book_that(MOVES)
    found = imported(tmp_path, book, list(without(race(book, 16), lost)))
    assert counted(found) == [lap for lap in range(1, 17) if lap not in lost]
    assert all((entry.lap_certainty or 0) > 0.9 for entry in found)


@settings(max_examples=8, deadline=None)
@given(st.sets(st.integers(2, 13), max_size=4), st.integers(50, 140), st.integers(0, 99))
def test_whatever_reports_are_lost_each_is_on_its_lap(
    tmp_path_factory: pytest.TempPathFactory,
    lost: set[int],
    lap_seconds: int,
    seed: int,
) -> None:
    book = book_that(MOVES)
    said = list(without(race(book, 14, lap_seconds, seed), lost))
    found = imported(tmp_path_factory.mktemp("race"), book, said)
    assert counted(found) == [lap for lap in range(1, 15) if lap not in lost]


@pytest.mark.parametrize(
    ("moves", "timed"), [("", True), (MOVES, False)], ids=["by the clock alone", "by what is used"]
)
def test_times_tell_where_the_book_does_not_and_the_book_where_there_are_no_times(
    tmp_path: Path, moves: str, *, timed: bool
) -> None:
    book = book_that(moves)
    found = imported(tmp_path, book, list(without(race(book, 16), {8})), timed=timed)
    assert counted(found) == [lap for lap in range(1, 17) if lap != 8]


def test_what_is_told_of_the_laps_is_not_forgotten_in_a_long_race(tmp_path: Path) -> None:
    book, lost = book_that(MOVES), {9, 30, 31, 52}
    found = imported(tmp_path, book, list(without(race(book, 64), lost)))
    assert counted(found) == [lap for lap in range(1, 65) if lap not in lost]


def test_laps_of_a_neutralised_race_are_longer_and_not_several(tmp_path: Path) -> None:
    book = book_that(MOVES)
    said = race(book, 14)
    slow = [(at + 70 * min(3, max(0, lap - 6)), words) for lap, (at, words) in enumerate(said, 1)]
    slow[6:6] = [(slow[5][0] + 20, "slow zone now")]
    slow[10:10] = [(slow[9][0] + 15, "racing again")]
    found = imported(tmp_path, book, slow)
    assert counted(found) == list(range(1, 15))


def test_where_nobody_can_know_the_lap_of_the_first_report_all_laps_say_so(tmp_path: Path) -> None:
    book = book_that(MOVES)
    found = imported(tmp_path, book, list(without(race(book, 10), {1})))
    assert {entry.lap_certainty is not None and entry.lap_certainty < 0.9 for entry in found} == {
        True
    }
    laps = counted(found)
    assert [lap - (laps[0] or 0) for lap in laps if lap is not None] == list(range(9))


@pytest.mark.parametrize("timed", [True, False])
def test_what_is_doubtful_moves_no_lap_of_what_is_certain(tmp_path: Path, *, timed: bool) -> None:
    book = book_that(MOVES)
    said = race(book, 8)
    talk = "at the test I had charge 41.5, coolant 93 at this place"
    said[2:2] = [(said[1][0] + 41, talk)]
    found = imported(tmp_path, book, said, timed=timed)
    assert counted(found) == list(range(1, 9))
    assert [entry.refusal for entry in found if not entry.accepted] == ["doubtful"]


def _said_behind(said: Sequence[tuple[int, str]], seconds: int) -> LapTimes:
    """Return when laps began, where each report was said so long behind the line."""
    starts = [(0, 1)] + [((at - seconds) * 1000, lap + 1) for lap, (at, _) in enumerate(said, 1)]
    return LapTimes({"5": starts})


@pytest.mark.parametrize("seconds", [0, 3, -2])
def test_reports_said_as_the_line_is_crossed_are_of_the_lap_just_ended(
    tmp_path: Path, seconds: int
) -> None:
    book = book_that(MOVES)
    said = race(book, 9)
    jittered = [(at + (1 if n % 3 else -1), words) for n, (at, words) in enumerate(said)]
    found = imported(tmp_path, book, jittered, times=_said_behind(said, seconds))
    assert counted(found) == list(range(1, 10))
    assert all(0.5 < (entry.lap_certainty or 0) < 1 for entry in found)


def test_reports_said_well_into_a_lap_are_of_the_lap_that_is_driven(tmp_path: Path) -> None:
    book = book_that(MOVES)
    said = race(book, 9)
    found = imported(tmp_path, book, said, times=_said_behind(said, 45))
    assert counted(found) == list(range(2, 11))
    assert all((entry.lap_certainty or 0) > 0.99 for entry in found)


@pytest.mark.parametrize("timed", [True, False])
def test_what_is_no_lap_report_takes_no_lap(tmp_path: Path, *, timed: bool) -> None:
    book = book_that(MOVES)
    said = race(book, 8)
    for lap in (6, 3):  # a call read back, of which only the driver is heard
        said[lap:lap] = [(said[lap - 1][0] + 40, "charlie three five")]
    found = imported(tmp_path, book, said, timed=timed)
    assert [one.lap for one in found if one.message == "report"] == list(range(1, 9))


def test_a_report_that_cannot_be_read_is_on_the_lap_between(tmp_path: Path) -> None:
    book = book_that(MOVES)
    said = race(book, 8)
    at, words = said[4]
    said[4] = at, f"{words} five"
    found = imported(tmp_path, book, said)
    assert counted(found) == [1, 2, 3, 4, 6, 7, 8]
    assert [entry.lap for entry in found if not entry.accepted] == [5]
