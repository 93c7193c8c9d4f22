"""Where nothing checks a report, a value too far from those before is asked about and not taken."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from radio.unsaid import MOVES, book_that, counted, imported, race
from sheet.support import race_book

from codec import Book, encode
from codec.log.session import Session
from codec.radio.by_hand import accept, doubtful_rows
from codec.radio.crews import Crew
from codec.radio.importing import import_transcript
from codec.sheet import Journal
from codec.sheet.entry import DOUBTFUL
from codec.sheet.state import Standing, laps


def words(book: Book, charge: str, coolant: int) -> str:
    values = {"charge": Decimal(charge), "coolant": Decimal(coolant)}
    return encode(book, values, "report").words


@pytest.mark.parametrize(("charge", "coolant"), [("41.5", 55), ("89", 91), ("21", 20)])
@pytest.mark.parametrize("timed", [True, False])
def test_a_reading_far_from_those_beside_it_is_offered_and_not_taken(
    tmp_path: Path, charge: str, coolant: int, *, timed: bool
) -> None:
    book = book_that(MOVES)
    said = race(book, 9)
    said[5] = said[5][0], words(book, charge, coolant)
    found = imported(tmp_path, book, said, timed=timed)
    assert counted(found) == [1, 2, 3, 4, 5, 7, 8, 9]
    (odd,) = (entry for entry in found if not entry.accepted)
    assert (odd.refusal, odd.lap, odd.string) == (DOUBTFUL, 6, "".join(odd.string))
    assert "would be far from" in odd.note


@pytest.mark.parametrize("timed", [True, False])
def test_a_value_that_goes_against_its_drift_is_doubted_and_those_behind_it_are_taken(
    tmp_path: Path, *, timed: bool
) -> None:
    """It is little further from the last one than from where it was before that."""
    book = book_that(MOVES)
    said = [(lap * 97, words(book, str(98 - lap * Decimal("1.5")), 55)) for lap in range(1, 8)]
    said[4] = said[4][0], words(book, "94", 55)  # 90.5 % was to come behind 92 %
    found = imported(tmp_path, book, said, timed=timed)
    assert counted(found) == [1, 2, 3, 4, 6, 7]
    assert [entry.note for entry in found if not entry.accepted] == [
        "charge 94.0 % would be far from 92.0 %"
    ]


def test_a_value_that_stays_where_it_was_is_believed(tmp_path: Path) -> None:
    """In a neutralised lap hardly any energy is used."""
    book = book_that(MOVES)
    said = [(lap * 97, words(book, str(98 - min(lap, 3) * 1.5), 55)) for lap in range(1, 7)]
    assert counted(imported(tmp_path, book, said)) == [1, 2, 3, 4, 5, 6]


def test_what_was_doubted_for_its_values_is_taken_by_hand_as_it_was_read(tmp_path: Path) -> None:
    book = book_that(MOVES)
    said = race(book, 6)
    said[3] = said[3][0], words(book, "41.5", 55)
    lines = [f"Rune: {one}\n" for _, one in said]
    with Journal(tmp_path / "x.sheet", book) as journal:
        import_transcript(journal, lines, "text", [Crew("5", "Rune")])
        standing = Standing(journal.entries())
        (one,) = doubtful_rows(book, standing)
        accept(journal, standing, one.row.first.seq)
        kept = laps(Standing(journal.entries()), "5", book)[4].entry
    assert kept.values["charge"] == Decimal("41.5")


def test_values_that_go_on_from_one_that_was_doubted_are_believed(tmp_path: Path) -> None:
    """One report of them was wrong, and not all behind it."""
    book = book_that(MOVES)
    said = race(book, 8)
    said[2:] = [(at, words(book, str(60 - lap * 1.5), 56)) for lap, (at, _) in enumerate(said[2:])]
    found = imported(tmp_path, book, said)
    assert counted(found) == [1, 2, 4, 5, 6, 7, 8]


def test_a_field_of_which_the_book_tells_no_movement_may_be_anything(tmp_path: Path) -> None:
    book = book_that("")
    said = race(book, 6)
    said[3] = said[3][0], words(book, "12.5", 56)
    assert counted(imported(tmp_path, book, said)) == [1, 2, 3, 4, 5, 6]


def test_two_reports_lost_leave_the_next_one_believed(tmp_path: Path) -> None:
    book = book_that(MOVES)
    said = race(book, 10)
    del said[4:6]
    assert counted(imported(tmp_path, book, said, timed=False)) == [1, 2, 3, 4, 7, 8, 9, 10]


def test_the_live_log_asks_about_a_leap_of_values_and_takes_it_said_again(tmp_path: Path) -> None:
    book, clock = book_that(MOVES), [datetime(2026, 5, 1, 14, tzinfo=UTC)]
    log = Session(Journal(tmp_path / "e.sheet", book, clock=lambda: clock[0]))
    log.enter("/car 5=Rune")
    for lap in range(1, 4):
        clock[0] += timedelta(seconds=97)
        assert log.enter(words(book, str(98 - lap * 1.5), 55)).tone == "good"
    clock[0] += timedelta(seconds=97)
    shown = log.enter(words(book, "41", 55))
    assert (shown.tone, shown.lines[0]) == ("bad", "ask: SAY AGAIN")
    assert any("charge 41.0 % would be far from 93.5 %" in line for line in shown.lines)
    clock[0] += timedelta(seconds=9)
    assert log.enter(words(book, "41", 55)).tone == "good"
    clock[0] += timedelta(seconds=90)
    assert log.enter(words(book, "39.5", 55)).tone == "good"
    assert [lap for lap, row in laps(log.standing, "5", book).items() if row.counts] == [
        1, 2, 3, 4, 5
    ]  # fmt: skip


def test_what_a_check_speaks_for_is_taken(tmp_path: Path) -> None:
    """A check was made to find what was misheard: what it lets pass is no mishearing."""
    book = race_book()
    log = Session(Journal(tmp_path / "e.sheet", book))
    log.enter("/car 7=Ana")
    for lap, motor in ((1, 60), (2, 125), (3, 60)):
        values = {"lap": lap, "energy": 0, "motor": motor, "inverter": 60, "battery": 40}
        string = encode(book, {**values, "alert": []}, "lap").words
        assert log.enter(string).tone in ("good", "warning")
    assert all(row.counts for row in laps(log.standing, "7", book).values())
