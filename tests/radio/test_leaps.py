"""A code that says a lap far off is asked about and not taken, and the laps after it find back.

That missed reports come one or two at a time and never eight in a few seconds is common practice,
no source.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from sheet.support import ROOT, race_book

from codec import Book, encode, load_book
from codec.log.session import Session
from codec.radio.by_hand import doubtful_rows
from codec.radio.crews import Crew
from codec.radio.importing import import_transcript
from codec.radio.leaps import Leaps
from codec.sheet import Journal
from codec.sheet.entry import DOUBTFUL
from codec.sheet.state import Standing, laps

STARTER = load_book(ROOT / "examples" / "starter" / "starter.toml")
USUAL = {"energy": 0, "motor": 90, "inverter": 60, "battery": 40, "alert": []}


def words(book: Book, lap: int) -> str:
    values = {name: value for name, value in USUAL.items() if name in book.fields}
    return encode(book, {"lap": lap, **values}, "lap").words


def session(path: Path, book: Book) -> Session:
    found = Session(Journal(path / "e.sheet", book))
    found.enter("/car 4=Kit")
    return found


def reported(session: Session) -> list[int]:
    return [lap for lap, row in laps(session.standing, "4", session.book).items() if row.counts]


@pytest.mark.parametrize("book", [STARTER, race_book()], ids=["digits", "check symbols"])
@pytest.mark.parametrize("stray", [9, 10, 11])
def test_a_stray_code_is_asked_about_and_the_laps_after_it_are_their_own(
    tmp_path: Path, book: Book, stray: int
) -> None:
    log = session(tmp_path, book)
    for lap in (1, 2, 3):
        assert log.enter(words(book, lap)).tone == "good"
    shown = log.enter(words(book, stray))
    assert (shown.tone, shown.lines[0]) == ("bad", "ask: SAY AGAIN")
    assert any(f"lap {stray} would be {stray - 3} laps after lap 3" in one for one in shown.lines)
    assert reported(log) == [1, 2, 3]
    for lap in (4, 5, 6):
        assert log.enter(words(book, lap)).tone == "good"
    assert reported(log) == [1, 2, 3, 4, 5, 6]


@pytest.mark.parametrize("again", ["/ok", words(STARTER, 11)], ids=["by hand", "said again"])
def test_a_doubted_lap_is_taken_by_hand_or_where_it_is_said_again(
    tmp_path: Path, again: str
) -> None:
    log = session(tmp_path, STARTER)
    for lap in (1, 2, 3, 11):
        log.enter(words(STARTER, lap))
    assert log.enter(again).tone == "good"
    assert reported(log) == [1, 2, 3, 11]
    assert log.enter(words(STARTER, 12)).tone == "good"
    assert reported(log) == [1, 2, 3, 11, 12]


def test_in_a_transcript_without_times_a_stray_code_moves_no_lap(tmp_path: Path) -> None:
    said = [f"Kit: {words(STARTER, lap)}\n" for lap in (1, 2, 3, 11, 4, 5, 6)]
    with Journal(tmp_path / "e.sheet", STARTER) as journal:
        import_transcript(journal, said, "text", [Crew("4", "Kit")])
        found = laps(Standing(journal.entries()), "4", STARTER)
        doubted = [entry for entry in journal.entries() if entry.refusal == DOUBTFUL]
    assert [lap for lap, row in found.items() if row.counts] == [1, 2, 3, 4, 5, 6]
    assert [entry.string[0] for entry in doubted] == ["1"]


@pytest.mark.parametrize("stray", [9, 10, 11])
@pytest.mark.parametrize("seconds", [12, 75])
def test_a_stray_code_between_laps_on_the_clock_is_asked_about(
    tmp_path: Path, stray: int, seconds: int
) -> None:
    moments = [n * seconds for n in (1, 2, 3)]
    said = dict(zip(moments, (1, 2, 3), strict=True)) | {moments[2] + 4: stray}
    said |= {n * seconds: n for n in (4, 5)}
    clock = [datetime(2026, 5, 2, 12, 0, tzinfo=UTC)]
    log = Session(Journal(tmp_path / "e.sheet", STARTER, clock=lambda: clock[0]))
    log.enter("/car 4=Kit")
    tones = []
    for at, lap in sorted(said.items()):
        clock[0] = datetime(2026, 5, 2, 12, 0, tzinfo=UTC) + timedelta(seconds=at)
        tones.append(log.enter(words(STARTER, lap)).tone)
    assert tones == ["good", "good", "good", "bad", "good", "good"]
    assert reported(log) == [1, 2, 3, 4, 5]


@given(
    missed=st.lists(st.integers(1, 4), max_size=20),
    length=st.integers(20_000, 200_000),
)
@example(missed=[4], length=None)
@example(missed=[1, 3, 1, 4, 1, 1, 4, 1, 2, 1, 3], length=None)  # not one after the other
def test_one_two_or_three_reports_missed_are_no_leap(missed: list[int], length: int | None) -> None:
    leaps, lap = Leaps(STARTER), 1
    for count in [1, *missed]:
        lap += count
        leap = leaps.take(lap, length and lap * length, length)
        assert (leap.lap, leap.doubted) == (lap, False)


@given(before=st.integers(1, 20), count=st.integers(5, 8), seconds=st.none() | st.integers(1, 10))
def test_five_laps_and_more_in_no_time_always_are(
    before: int, count: int, seconds: int | None
) -> None:
    leaps, length = Leaps(STARTER), None if seconds is None else 90_000
    at = [None if length is None else lap * length for lap in range(1, before + 4)]
    for lap in range(1, before + 1):
        leaps.take(lap, at[lap - 1], length)
    soon = None if seconds is None else (at[before - 1] or 0) + seconds * 1000
    assert leaps.take(before + count, soon, length).doubted
    for lap in range(before + 1, before + 4):
        leap = leaps.take(lap, at[lap - 1], length)
        assert (leap.lap, leap.doubted) == (lap, False)


def test_laps_that_were_driven_unheard_are_no_leap_where_the_time_is_long_enough() -> None:
    """And without times the second of two laps that follow each other is believed."""
    timed, untimed = Leaps(STARTER), Leaps(STARTER)
    driven = [1, 2, 3, 10, 11, 12]
    assert not any(timed.take(lap, lap * 90_000, 90_000).doubted for lap in driven)
    found = [untimed.take(lap, None, None).doubted for lap in driven]
    assert found == [False, False, False, True, False, False]


@pytest.mark.parametrize("cue", ["I say again", "correction", "say again, I say again"])
def test_a_correction_that_says_another_lap_replaces_nothing(tmp_path: Path, cue: str) -> None:
    """A driver says again the report that was not read, and none before it."""
    said = [words(STARTER, 3), "four seventeen thirty", f"{cue} {words(STARTER, 4)}"]
    with Journal(tmp_path / "e.sheet", STARTER) as journal:
        import_transcript(journal, [f"{line}\n" for line in said], "text", [])
        found = laps(Standing(journal.entries()), "", STARTER)
    assert [(lap, row.entry.string[:1]) for lap, row in found.items() if row.counts] == [
        (3, "3"),
        (4, "4"),
    ]


def test_a_correction_of_the_lap_reported_replaces_it(tmp_path: Path) -> None:
    said = [words(STARTER, 3), "correction three one niner three one"]
    with Journal(tmp_path / "e.sheet", STARTER) as journal:
        import_transcript(journal, [f"{line}\n" for line in said], "text", [])
        (row,) = laps(Standing(journal.entries()), "", STARTER).values()
    assert (row.first.kind, row.entry.string) == ("report", "31931")


def test_a_lap_reported_once_more_is_no_leap_whenever_it_is() -> None:
    leaps = Leaps(STARTER)
    assert not any(leaps.take(2, at, 90_000).doubted for at in (0, 30_000, 55_000, 300_000))


def test_a_code_before_the_first_lap_leaves_the_laps_behind_it_likely(tmp_path: Path) -> None:
    """It belongs to no lap, and the others are as sure as they follow each other."""
    said = [f"[00:00:50] Kit: {words(STARTER, 2)}\n"]
    said += [
        f"[00:{75 * n // 60:02}:{75 * n % 60:02}] Kit: {words(STARTER, n)}\n" for n in range(1, 9)
    ]
    with Journal(tmp_path / "e.sheet", STARTER) as journal:
        import_transcript(journal, said, "text", [Crew("4", "Kit")])
        found = laps(Standing(journal.entries()), "4", STARTER)
    assert list(found) == [1, 2, 3, 4, 5, 6, 7, 8]
    assert all((found[lap].entry.lap_certainty or 0) > 0.9 for lap in range(3, 9))


@pytest.mark.parametrize("lap", [1, 2])
def test_no_lap_below_nought_is_offered(tmp_path: Path, lap: int) -> None:
    log = session(tmp_path, STARTER)
    log.enter("seven one niner three lemon")
    seq = log.entries[-2].seq
    log.enter(f"/of lap {lap}")
    found = [
        one.readings for one in doubtful_rows(STARTER, log.standing) if one.row.first.seq == seq
    ]
    assert any(found)
    assert all(reading.values["lap"] >= 0 for readings in found for reading, _ in readings)  # type: ignore[operator]
