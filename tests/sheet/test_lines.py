"""A line that is written whole and once: its entries stand together or not at all, and sent again
it adds nothing.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from sheet.support import new, report

from codec.sheet import Entry, Journal
from codec.sheet.entry import SheetError

KEY = "5f0a9c"


def test_a_line_stands_whole_and_its_entries_are_named_after_its_key(tmp_path: Path) -> None:
    with new(tmp_path) as journal, Journal(journal.path) as other:
        with journal.line(KEY) as fresh:
            first = journal.append(report())
            journal.append(Entry(kind="question", heard="SAY AGAIN", about=first.seq))
            assert fresh
            assert other.last == 0  # nothing of it is told before all of it is
        assert [entry.uid for entry in other.entries()] == [f"{KEY}.1", f"{KEY}.2"]
        assert journal.of_line(KEY) == list(other.entries())
        assert journal.faults() == []


def test_a_line_that_is_sent_again_adds_nothing(tmp_path: Path) -> None:
    with new(tmp_path) as journal:
        for fresh in (True, False):
            with journal.line(KEY) as found:
                journal.append_all([report(), report()])
            assert found is fresh
        assert len(journal) == 2
        journal.append(report())  # behind it entries have names of their own
        assert len({entry.uid for entry in journal.entries()}) == 3


def _broken_line(journal: Journal) -> None:
    with journal.line(KEY):
        journal.append(report())
        journal.append(Entry(kind="question", heard="SAY AGAIN", about=99))


def test_of_a_line_that_fails_nothing_stays(tmp_path: Path) -> None:
    with new(tmp_path) as journal:
        journal.append(report())
        with pytest.raises(SheetError, match="not in the sheet"):
            _broken_line(journal)
        assert len(journal) == 1
        assert journal.of_line(KEY) == []
        journal.append(report())
        assert journal.faults() == []


def test_others_write_until_a_line_has_its_first_entry(tmp_path: Path) -> None:
    with new(tmp_path) as journal, Journal(journal.path) as other, journal.line(KEY):
        other.append(report())
        assert journal.append(report()).seq == 2
