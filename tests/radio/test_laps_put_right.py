"""Laps are put right behind an import: one by one by hand, or all by a file of lap times; nothing
that was recorded is written over.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from radio.unsaid import MOVES, book_that, race
from sheet.support import REPORT, new, report

from codec.radio.by_hand import fix
from codec.radio.crews import Crew
from codec.radio.importing import Summary, import_transcript
from codec.radio.laps import LapTimes
from codec.sheet import Entry, Journal
from codec.sheet.state import Standing
from grammar.errors import CodeError

SAID = race(book_that(MOVES), 8)
LINES = [f"[00:{at // 60:02}:{at % 60:02}] Rune: {words}\n" for at, words in SAID]
TIMES = LapTimes({"5": [(at * 1000 - 50_000, lap + 3) for lap, (at, _) in enumerate(SAID)]})


def brought(journal: Journal, times: LapTimes | None = None) -> Summary:
    return import_transcript(journal, LINES, "text", [Crew("5", "Rune")], times=times)


def stands(journal: Journal) -> list[int | None]:
    return [row.entry.lap for row in Standing(journal.entries()).of("5", "report")]


def test_imported_again_with_lap_times_reports_are_filed_by_them(tmp_path: Path) -> None:
    with Journal(tmp_path / "x.sheet", book_that(MOVES)) as journal:
        brought(journal)
        before = list(journal.entries())
        assert stands(journal) == list(range(1, 9))
        again = brought(journal, TIMES)
        assert (again.written, again.there) == ({"correction": 8}, 8)
        assert stands(journal) == list(range(3, 11))
        assert list(journal.entries())[: len(before)] == before
        assert brought(journal, TIMES).written == {}
        assert brought(journal).written == {}


def test_a_lap_that_was_given_by_hand_stays_whatever_lap_times_tell(tmp_path: Path) -> None:
    with Journal(tmp_path / "x.sheet", book_that(MOVES)) as journal:
        brought(journal)
        row = Standing(journal.entries()).of("5", "report")[2]
        fix(journal, Standing(journal.entries()), row.first.seq, "lap=20")
        assert stands(journal)[2] == 20
        brought(journal, TIMES)
        assert stands(journal) == [3, 4, 20, 6, 7, 8, 9, 10]


@pytest.mark.parametrize("words", ["lap=12", "LAP = 12"])
def test_any_entry_is_filed_on_another_lap_with_nothing_else_changed(
    tmp_path: Path, words: str
) -> None:
    with new(tmp_path) as journal:
        journal.append(Entry(kind="car", car="7", message="Ana"))
        event = journal.append(Entry(kind="event", car="7", lap=4, message="neutralised"))
        _, told = fix(journal, Standing(journal.entries()), event.seq, words)
        row = Standing(journal.entries()).row_of(event)
        assert row is not None
    assert told == "lap 12"
    assert (row.entry.lap, row.entry.lap_by, row.entry.message) == (12, "given", "neutralised")
    assert row.first.lap == 4


def test_a_report_that_says_its_lap_is_filed_on_none_that_it_can_not_be_of(
    tmp_path: Path,
) -> None:
    with new(tmp_path) as journal:
        kept = journal.append(report(REPORT, lap=5))
        standing = Standing(journal.entries())
        with pytest.raises(CodeError, match="can't be of lap 6"):
            fix(journal, standing, kept.seq, "lap=6")
        with pytest.raises(CodeError):
            fix(journal, standing, kept.seq, "lap=twelve")
