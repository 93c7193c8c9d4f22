"""The file of a journal is brought up to date, believed only where it is ours, and never taken for
another.
"""

from __future__ import annotations

import contextlib
import dataclasses
import errno
import hashlib
import json
import os
import shutil
import sqlite3
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sheet.support import new, other_book, race_book, report
from store.old import old

from codec.drill import DrillError, DrillJournal
from codec.drill.journal import FORMAT
from codec.sheet import Entry, Journal, SheetError
from codec.sheet.journal import check, sheet_format
from codec.sheet.table import ENTRIES, EntryTable
from codec.store.file import FileStore
from codec.store.pages import images
from codec.store.store import JournalFormat
from codec.store.table import DIGEST, digest


def test_a_sheet_of_the_first_version_is_read_and_written_on(tmp_path: Path) -> None:
    path = old("sheet-1", tmp_path / "old.sheet")
    with Journal(path) as journal:
        entries = list(journal.entries())
        assert [entry.uid for entry in entries] == ["a1", "b1", "b2", "c", "d", "e"]
        assert (entries[1].certainty, entries[1].values["battery"]) == (1.0, Decimal(46))
        assert (entries[3].amount, entries[4].note) == (Decimal("2.5"), "Željka said „no“")
        journal.append(Entry(kind="note", heard="and on it goes"))
        journal.append(Entry(kind="note", heard="and on"))
        assert journal.faults() == []
    with Journal(path) as journal:
        assert list(journal.entries())[:6] == entries
        assert len(journal) == 8
    assert check(path) == []


@given(
    st.dictionaries(
        st.text(max_size=5),
        st.none() | st.integers() | st.floats() | st.text(max_size=9) | st.booleans(),
        max_size=6,
    )
)
def test_the_digest_of_a_row_is_that_of_its_json(facts: dict[str, Any]) -> None:
    kept = {name: one for name, one in facts.items() if one not in (None, "") and name != DIGEST}
    text = json.dumps(kept, sort_keys=True).encode()
    assert digest(facts) == hashlib.blake2b(text, digest_size=8).hexdigest()


def test_a_journal_of_drills_of_the_first_version_is_read_and_written_on(tmp_path: Path) -> None:
    path = old("drill-1", tmp_path / "old.drill")
    with DrillJournal(path) as journal:
        assert journal.people() == {"Ana": 1, "Željka Ćosić": 1}
        first = next(journal.answers())
        assert journal.append(first.replace(seq=0)).seq == 3


def with_script(script: str) -> JournalFormat:
    return dataclasses.replace(sheet_format(), scripts=(*ENTRIES.scripts, script))


def test_an_older_file_is_brought_up_to_date_and_keeps_its_rows(tmp_path: Path) -> None:
    with new(tmp_path) as journal:
        before = journal.append(report())
    script = "CREATE INDEX entries_by_car ON entries (car,\n seq);\n"
    table = EntryTable(Entry, (*ENTRIES.scripts, script))
    with Journal(tmp_path / "event.sheet", table=table) as journal:
        assert list(journal.entries()) == [before]
        version = journal._store.execute("PRAGMA user_version").fetchone()
        assert version == (len(table.scripts),)
        assert journal.faults() == []


def test_a_migration_that_fails_changes_nothing(tmp_path: Path) -> None:
    with new(tmp_path) as journal:
        journal.append(report())
    path = tmp_path / "event.sheet"
    with pytest.raises(SheetError):
        FileStore(path, with_script("CREATE TABLE more (x);\nCREATE TABLE entries (x);\n"))
    with Journal(path) as journal:
        assert len(journal) == 1


def test_a_large_file_that_is_no_sheet_is_refused_without_reading_it_all(tmp_path: Path) -> None:
    path = tmp_path / "large"
    path.touch()
    os.truncate(path, 10**10)  # what is not written takes no room on the disk
    with pytest.raises(SheetError) as caught:
        Journal(path)
    assert caught.value.kind == "not-a-sheet"


FOREIGN = {
    "trigger": "CREATE TRIGGER t BEFORE INSERT ON entries BEGIN SELECT RAISE(IGNORE); END",
    "view": "CREATE VIEW v AS SELECT 1",
    "table": "CREATE TABLE t (x)",
    "index": "CREATE INDEX i ON entries (car)",
    "gone": "DROP TRIGGER entries_stay",
}


@pytest.mark.parametrize("what", FOREIGN)
def test_a_file_with_what_is_not_ours_is_refused(tmp_path: Path, what: str) -> None:
    path = tmp_path / "event.sheet"
    new(tmp_path).close()
    with contextlib.closing(sqlite3.connect(path)) as connection:
        connection.execute(FOREIGN[what])
    with pytest.raises(SheetError, match=r"is not ours|is gone or changed") as caught:
        Journal(path)
    assert caught.value.kind == "sheet-damaged"
    assert "niner sheet rescue" in caught.value.hint


def test_a_journal_of_drills_with_a_view_is_refused(tmp_path: Path) -> None:
    DrillJournal(tmp_path / "d", create=True).close()
    with contextlib.closing(sqlite3.connect(tmp_path / "d")) as connection:
        connection.execute("CREATE VIEW v AS SELECT 1")
    with pytest.raises(DrillError, match="its view 'v' is not ours"):
        DrillJournal(tmp_path / "d")


def test_a_row_that_the_file_does_not_keep_is_not_acknowledged(tmp_path: Path) -> None:
    with new(tmp_path) as journal:
        journal.append(report())
        with contextlib.closing(sqlite3.connect(tmp_path / "event.sheet")) as connection:
            connection.execute(FOREIGN["trigger"])
        with pytest.raises(SheetError, match="does not keep entries"):
            journal.append(report())
        assert len(journal) == 1


# the file that was opened


def deleted(path: Path, other: Path) -> None:
    del other
    for name in ("", "-wal", "-shm"):
        path.with_name(path.name + name).unlink(missing_ok=True)


def moved_over(path: Path, other: Path) -> None:
    other.replace(path)


def copied_over(path: Path, other: Path) -> None:
    path.write_bytes(other.read_bytes())


@pytest.mark.parametrize("act", [deleted, moved_over, copied_over])
def test_nothing_is_acknowledged_into_another_file(tmp_path: Path, act: Any) -> None:
    (tmp_path / "other").mkdir()
    with new(tmp_path / "other") as journal:
        theirs = [journal.append(report(lap=lap)) for lap in (11, 12, 13)]
    path, other = tmp_path / "event.sheet", tmp_path / "other" / "event.sheet"
    with new(tmp_path) as journal:
        journal.append(report())
        act(path, other)
        with pytest.raises(SheetError, match="no longer the sheet that was opened") as caught:
            journal.append(report())
        assert caught.value.kind == "sheet-replaced"
        assert "go on in a new file" in caught.value.hint
        if act is not copied_over:
            with pytest.raises(SheetError, match="no longer the sheet"):
                list(journal.entries())
    if act is deleted:
        assert not path.exists()
        return
    with Journal(path) as journal:  # no old log was played over it
        assert list(journal.entries()) == theirs
        assert journal.faults() == []


@pytest.mark.parametrize(("mine", "theirs"), [(0, 3), (3, 0), (3, 3), (40, 3), (3, 40)])
def test_a_log_left_behind_is_not_played_over_another_sheet(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, mine: int, theirs: int
) -> None:
    """The log's owner was killed before its log was put in; then another sheet was moved there."""
    (tmp_path / "other").mkdir()
    with new(tmp_path / "other") as journal:
        kept = journal.append_all(Entry(kind="note", lap=lap) for lap in range(theirs))
    path, log = tmp_path / "event.sheet", tmp_path / "event.sheet-wal"
    with new(tmp_path) as journal:
        journal.append_all(Entry(kind="note", lap=lap) for lap in range(mine))
        monkeypatch.setattr("codec.store.file._empty_log", lambda _: None)
        journal.append(report())
        for name in ("", "-wal"):
            shutil.copyfile(f"{path}{name}", f"{tmp_path / 'killed'}{name}")
    monkeypatch.undo()
    (tmp_path / "other" / "event.sheet").replace(path)
    (tmp_path / "killed-wal").replace(log)
    before = path.read_bytes()
    with pytest.raises(SheetError, match="was left by another sheet of this name") as caught:
        Journal(path)
    assert caught.value.kind == "sheet-log"
    assert (path.read_bytes(), log.exists()) == (before, True)
    log.replace(tmp_path / "killed-wal")
    with Journal(path) as journal:
        assert list(journal.entries()) == kept
    with Journal(tmp_path / "killed") as journal:  # with its own sheet it is played
        assert len(journal) == mine + 1
        assert journal.faults() == []


def test_a_sheet_of_the_first_version_goes_on_behind_a_kill(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its new version and its new entries are still in the log alone."""
    path = old("sheet-1", tmp_path / "old.sheet")
    monkeypatch.setattr("codec.store.file._empty_log", lambda _: None)
    with Journal(path) as journal:
        journal.append(Entry(kind="note", heard="and on it goes"))
        for name in ("", "-wal"):
            shutil.copyfile(f"{path}{name}", f"{tmp_path / 'killed'}{name}")
    with Journal(tmp_path / "killed") as journal:
        assert [entry.heard for entry in journal.entries()][-1] == "and on it goes"
        assert len(journal) == 7


def test_a_journal_of_drills_that_was_deleted_takes_no_answer(tmp_path: Path) -> None:
    path = old("drill-1", tmp_path / "d")
    with DrillJournal(path) as journal:
        first = next(journal.answers())
        deleted(path, path)
        with pytest.raises(DrillError, match="no longer the journal that was opened") as caught:
            journal.append(first.replace(seq=0))
        assert caught.value.kind == "drill-replaced"


def test_the_file_alone_holds_what_was_acknowledged(tmp_path: Path) -> None:
    with new(tmp_path) as journal:
        written = [journal.append(report(lap=lap)) for lap in range(1, 6)]
        shutil.copyfile(tmp_path / "event.sheet", tmp_path / "copy.sheet")
        with Journal(tmp_path / "copy.sheet") as copy:
            assert list(copy.entries()) == written


def test_a_reader_in_the_way_delays_nothing_and_loses_nothing(tmp_path: Path) -> None:
    with new(tmp_path) as journal, Journal(tmp_path / "event.sheet") as other:
        journal.append_all(report(lap=lap) for lap in range(1, 6))
        reading = other.entries()
        next(reading)
        assert journal.append(report(lap=6)).seq == 6
        assert len(list(reading)) == 4
        assert len(other) == 6


def test_a_file_to_be_made_when_needed_is_shared_with_who_made_it_first(tmp_path: Path) -> None:
    path = tmp_path / "event.sheet"
    with Journal(path, race_book(), when_needed=True) as late:
        assert (list(late.entries()), late.append_all([]), path.exists()) == ([], [], False)
        with new(tmp_path) as early:
            early.append(report(lap=1))
            assert late.append(report(lap=2)).seq == 2
            assert [entry.lap for entry in early.entries()] == [1, 2]


def test_a_file_to_be_made_when_needed_that_another_book_has_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "event.sheet"
    with Journal(path, other_book(), when_needed=True) as late:
        new(tmp_path).close()
        with pytest.raises(SheetError) as caught:
            late.append(report())
        assert caught.value.kind == "other-book"
    with Journal(path) as journal:
        assert len(journal) == 0


# a disk that is full, a file that may only be read


def test_the_log_is_put_into_the_file_without_writing_anything(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """SQLite's own reading of the same two files is the check."""
    with new(tmp_path) as journal:
        assert isinstance(journal._store, FileStore)
        connection = journal._store.connection
        monkeypatch.setattr("codec.store.file._empty_log", lambda _: None)
        journal.append_all(Entry(kind="note", lap=lap, note="n" * 3000) for lap in range(29))
        journal.append(report())
        connection.execute("BEGIN")
        connection.execute("INSERT INTO facts VALUES ('never', 'committed')")
        path = tmp_path / "event.sheet"
        assert path.with_name("event.sheet-wal").stat().st_size > 100_000
        for name in ("", "-wal"):
            shutil.copyfile(f"{path}{name}", f"{tmp_path / 'copy'}{name}")
        image = images(path)[1]
        connection.execute("ROLLBACK")
    with (
        contextlib.closing(sqlite3.connect(tmp_path / "copy")) as expected,
        contextlib.closing(sqlite3.connect(":memory:")) as found,
    ):
        found.deserialize(image)
        assert list(found.iterdump()) == list(expected.iterdump())
        assert found.execute("SELECT count(*) FROM entries").fetchone() == (30,)


def test_a_log_that_is_torn_counts_up_to_the_last_whole_transaction(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with new(tmp_path) as journal:
        monkeypatch.setattr("codec.store.file._empty_log", lambda _: None)
        for lap in range(1, 10):
            journal.append(report(lap=lap))
        path = tmp_path / "event.sheet"
        for name in ("", "-wal"):
            shutil.copyfile(f"{path}{name}", f"{tmp_path / 'copy'}{name}")
    log = tmp_path / "copy-wal"
    log.write_bytes(log.read_bytes()[:-3000])
    with contextlib.closing(sqlite3.connect(":memory:")) as found:
        found.deserialize(images(tmp_path / "copy")[1])
        assert found.execute("SELECT count(*) FROM entries").fetchone() == (8,)


@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EIO])
def test_what_the_system_says_is_told(tmp_path: Path, code: int) -> None:
    with new(tmp_path) as journal, pytest.raises(SheetError) as caught, journal._store.telling():
        raise OSError(code, os.strerror(code))
    assert caught.value.kind == ("sheet-full" if code == errno.ENOSPC else "sheet-file")


def test_every_format_has_its_scripts_and_its_words() -> None:
    for form in (sheet_format(), FORMAT):
        assert form.scripts
        assert form.failure("full", "x").kind == f"{form.word}-full"
