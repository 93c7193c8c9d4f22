"""The journal keeps what it was given, in order, for ever, and says plainly what is wrong with its
file.
"""

from __future__ import annotations

import datetime
import sqlite3
from decimal import Decimal
from pathlib import Path

import pytest
from sheet.support import new, other_book, race_book, report

from codec.sheet import Entry, Journal, SheetError
from codec.sheet.journal import sheet_format
from codec.store import file as store_module


def test_an_entry_comes_back_as_it_was_written(tmp_path: Path) -> None:
    with new(tmp_path, writer="ana") as journal:
        written = journal.append(report(certainty=0.97, at=61_500, speaker="car"))
        assert written.values["energy"] == Decimal("-0.4")
        assert written.values["alert"] == frozenset({"brakes"})
        assert (written.seq, written.writer) == (1, "ana")
    with Journal(tmp_path / "event.sheet") as again:
        assert list(again.entries()) == [written]
        assert again.faults() == []


def test_the_sheet_holds_its_book(tmp_path: Path) -> None:
    new(tmp_path).close()
    with Journal(tmp_path / "event.sheet") as journal:
        assert journal.book.spec == race_book().spec


def test_a_sheet_opened_with_another_book_says_so(tmp_path: Path) -> None:
    new(tmp_path).close()
    with pytest.raises(SheetError) as caught:
        Journal(tmp_path / "event.sheet", other_book())
    assert caught.value.kind == "other-book"
    assert "another book" in str(caught.value)
    assert "hint: open it without naming a book" in str(caught.value)


def test_comments_and_spacing_make_no_other_book(tmp_path: Path) -> None:
    from codec import parse_book

    new(tmp_path).close()
    same = parse_book("# a new comment\n" + race_book().source.replace(" = ", "  =  "), "race")
    Journal(tmp_path / "event.sheet", same).close()


def test_entries_can_be_neither_changed_nor_deleted(tmp_path: Path) -> None:
    with new(tmp_path) as journal:
        journal.append(report())
    connection = sqlite3.connect(tmp_path / "event.sheet")
    for statement in (
        "UPDATE entries SET heard = ''",
        "DELETE FROM entries",
        "UPDATE facts SET text = ''",
        "DELETE FROM facts",
    ):
        with pytest.raises(sqlite3.IntegrityError, match="never"):
            connection.execute(statement)
    connection.close()


def test_the_same_entry_given_twice_is_written_once(tmp_path: Path) -> None:
    with new(tmp_path) as journal:
        first = journal.append(report(uid="one"))
        assert journal.append(report(uid="one")) == first
        assert len(journal) == 1


def test_all_or_nothing(tmp_path: Path) -> None:
    with new(tmp_path) as journal:
        with pytest.raises(SheetError, match="not in the sheet"):
            journal.append_all([report(), Entry(kind="withdrawal", about=9)])
        assert len(journal) == 0
        journal.append(report())


def test_a_clock_that_goes_backwards_changes_no_order(tmp_path: Path) -> None:
    from codec.sheet.state import Standing

    noon = datetime.datetime(2026, 5, 2, 12, tzinfo=datetime.UTC)
    times = iter(
        [noon, noon - datetime.timedelta(hours=1), noon - datetime.timedelta(minutes=59), noon]
    )
    with new(tmp_path, clock=lambda: next(times)) as journal:
        for lap in (1, 2, 3, 4):
            journal.append(Entry(kind="note", lap=lap))
        entries = list(journal.entries())
    assert [entry.lap for entry in entries] == [1, 2, 3, 4]
    assert entries[1].logged == "2026-05-02T11:00:00.000Z"
    assert [step.seq for step in Standing(entries).moments.steps] == [2]


def test_two_writers_share_a_sheet(tmp_path: Path) -> None:
    with new(tmp_path, writer="one") as one, new(tmp_path, writer="two") as two:
        for number in range(20):
            (one, two)[number % 2].append(Entry(kind="note", heard=str(number)))
        assert [entry.heard for entry in one.entries()] == [str(number) for number in range(20)]
        assert [entry.writer for entry in two.entries()] == ["one", "two"] * 10


def test_a_writer_that_keeps_the_sheet_to_itself_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with new(tmp_path) as journal:
        other = sqlite3.connect(tmp_path / "event.sheet", isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        journal._store.execute("PRAGMA busy_timeout = 20")
        monkeypatch.setattr(store_module, "WAIT", 0.05)
        with pytest.raises(SheetError) as caught:
            journal.append(report())
        other.execute("ROLLBACK")
        other.close()
        assert caught.value.kind == "sheet-busy"
        assert journal.append(report()).seq == 1


@pytest.mark.parametrize(
    ("content", "kind"),
    [(b"lap 1 four seven delta", "not-a-sheet"), (b"", "sheet-missing"), (None, "sheet-missing")],
    ids=["text", "empty", "absent"],
)
def test_a_file_that_is_no_sheet(tmp_path: Path, content: bytes | None, kind: str) -> None:
    path = tmp_path / "event.sheet"
    if content is not None:
        path.write_bytes(content * 400)
    with pytest.raises(SheetError) as caught:
        Journal(path)
    assert caught.value.kind == kind
    assert caught.value.hint


def test_a_database_of_another_program_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "event.sheet"
    other = sqlite3.connect(path)
    other.execute("CREATE TABLE entries (x)")
    other.commit()
    other.close()
    before = path.read_bytes()
    with pytest.raises(SheetError) as caught:
        Journal(path, race_book())
    assert caught.value.kind == "not-a-sheet"
    assert path.read_bytes() == before


def test_a_folder_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(SheetError) as caught:
        Journal(tmp_path / "no" / "event.sheet", race_book())
    assert caught.value.kind == "sheet-file"


def test_a_sheet_of_a_later_version_is_refused(tmp_path: Path) -> None:
    new(tmp_path).close()
    connection = sqlite3.connect(tmp_path / "event.sheet")
    connection.execute("PRAGMA user_version = 99")
    connection.close()
    with pytest.raises(SheetError) as caught:
        Journal(tmp_path / "event.sheet")
    assert caught.value.kind == "sheet-later"
    assert "version 99" in str(caught.value)


@pytest.mark.parametrize(
    "facts",
    [
        {"kind": "lunch"},
        {"kind": "note", "lap": 1.5},
        {"kind": "note", "lap_by": "guess"},
        {"kind": "note", "certainty": 1.2},
        {"kind": "note", "heard": "x" * 32_001},
        {"kind": "note", "car": "x" * 201},
        {"kind": "note", "logged": "noon"},
        {"kind": "note", "at": 2**63},
    ],
)
def test_what_no_reader_could_tell_is_no_entry(facts: dict[str, object]) -> None:
    with pytest.raises(SheetError) as caught:
        Entry(**facts)  # type: ignore[arg-type]
    assert caught.value.kind == "sheet-entry"
    assert caught.value.expected


def test_words_that_were_not_text_become_text(tmp_path: Path) -> None:
    with new(tmp_path) as journal:
        assert (
            journal.append(Entry(kind="note", heard="a\udcffb\ud800")).heard
            == "a\N{REPLACEMENT CHARACTER}b\N{REPLACEMENT CHARACTER}"
        )


def test_the_hint_of_a_damaged_sheet_names_the_way_out() -> None:
    assert "niner sheet rescue" in sheet_format().damaged(Path("x"), "y").hint
