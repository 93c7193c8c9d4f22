"""A copy is the same sheet, wherever it stands: nothing is lost on the way there and back."""

from __future__ import annotations

import json
import sqlite3
import tracemalloc
import uuid
from pathlib import Path

import pytest
from commands import called
from hypothesis import given
from hypothesis import strategies as st
from sheet.support import new, race_book, report
from store.old import old

from codec.sheet import Entry, Journal, SheetError
from codec.sheet.copying import copy
from codec.sheet.listing import sheets_in
from codec.sheet.table import ENTRIES
from codec.store.copying import Copied
from codec.store.place import place_of

TEXTS = st.text(st.characters(codec=None), max_size=40)
NOTES = st.builds(
    Entry,
    kind=st.just("note"),
    heard=TEXTS,
    note=TEXTS,
    at=st.none() | st.integers(-(2**63) + 1, 2**63 - 1),
    lap=st.none() | st.integers(0, 2**31),
    certainty=st.none() | st.floats(0, 1),
    amount=st.none() | st.decimals(-1000, 1000, places=3),
)


@pytest.fixture
def elsewhere(served: str) -> str:
    return f"{served}#{uuid.uuid4().hex}"


def rows(place: object) -> list[object]:
    with Journal(place) as journal:  # type: ignore[arg-type]
        assert journal.faults() == []
        return [journal.origin, *journal.rows()]


@pytest.mark.slow
@given(entries=st.lists(NOTES, max_size=6), at_once=st.integers(1, 7))
def test_there_and_back_nothing_is_lost(
    entries: list[Entry], at_once: int, served: str, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder, there = tmp_path_factory.mktemp("copies"), place_of(f"{served}#{uuid.uuid4().hex}")
    with pytest.MonkeyPatch.context() as patch, new(folder) as journal:
        patch.setattr("codec.sheet.copying.AT_ONCE", at_once)
        journal.append_all(entries)
        assert copy(journal, there) == Copied(len(entries), 0)
        with Journal(there) as copied:
            copy(copied, folder / "back.sheet")
    assert rows(folder / "back.sheet") == rows(there) == rows(folder / "event.sheet")


def test_a_copy_is_finished_and_brought_up_to_date(
    tmp_path: Path, elsewhere: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("codec.sheet.copying.AT_ONCE", 4)
    place = place_of(elsewhere)

    def broken_off(count: int, _: int) -> None:
        if count == 8:
            raise KeyboardInterrupt

    with new(tmp_path) as journal:
        journal.append_all(Entry(kind="note", heard=str(number)) for number in range(11))
        with pytest.raises(KeyboardInterrupt):
            copy(journal, place, broken_off)
        assert copy(journal, place) == Copied(3, 8)
        journal.append(report())
        assert copy(journal, place) == Copied(1, 11)
        assert copy(journal, place) == Copied(0, 12)
    assert rows(elsewhere) == rows(tmp_path / "event.sheet")


def test_sheets_that_went_on_by_themselves_stay_as_they_are(tmp_path: Path, elsewhere: str) -> None:
    place = place_of(elsewhere)
    with new(tmp_path) as journal:
        journal.append(report())
        copy(journal, place)
        with Journal(elsewhere) as copied:
            copied.append(report())
            with pytest.raises(SheetError, match="1 entry more") as caught:
                copy(journal, place)
            assert (caught.value.kind, caught.value.hint) == ("sheet-apart", "copy the other way")
            journal.append(report())
            for one, to in ((journal, place), (copied, tmp_path / "event.sheet")):
                with pytest.raises(SheetError, match="both went on by themselves"):
                    copy(one, to)
            assert (journal.last, copied.last) == (2, 2)
        with new(tmp_path.parent) as other, pytest.raises(SheetError, match="another sheet is at"):
            copy(other, place)


def test_a_sheet_of_the_first_version_is_copied_with_its_name(
    tmp_path: Path, elsewhere: str
) -> None:
    with Journal(old("sheet-1", tmp_path / "old.sheet")) as journal:
        copy(journal, place_of(elsewhere))
        with Journal(elsewhere) as copied:
            assert copied.faults() == []
            assert copied.origin == journal.origin
            assert list(copied.entries()) == list(journal.entries())
        assert copy(journal, place_of(elsewhere)).copied == 0


def test_a_copied_file_keeps_two_copies_of_what_it_tells_of_itself(tmp_path: Path) -> None:
    with new(tmp_path) as journal:
        copy(journal, tmp_path / "copy.sheet")
        origin = journal.origin
    connection = sqlite3.connect(tmp_path / "copy.sheet")
    kept = connection.execute("SELECT name, text FROM copies").fetchall()
    connection.close()
    assert len(kept) == len(origin)
    assert dict(kept) == origin


@pytest.mark.parametrize("count", [600, pytest.param(40_000, marks=pytest.mark.slow)])
def test_a_copy_takes_no_more_memory_for_a_longer_sheet(
    count: int, tmp_path: Path, elsewhere: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("codec.sheet.copying.AT_ONCE", 100)
    monkeypatch.setattr(ENTRIES.stored, "together", 100)
    with new(tmp_path) as journal:
        journal.append_all(Entry(kind="note", heard="x" * 500) for _ in range(count))
        for one, to in ((tmp_path / "event.sheet", elsewhere), (elsewhere, tmp_path / "b.sheet")):
            with Journal(one) as source:
                tracemalloc.start()
                copy(source, place_of(to))
                peak = tracemalloc.get_traced_memory()[1]
                tracemalloc.stop()
            assert peak < 2_000_000


@pytest.fixture
def listed(tmp_path: Path) -> Path:
    for name, day in (("one", "2026-05-01"), ("two", "2026-06-02")):
        with Journal(tmp_path / f"{name}.sheet", race_book()) as journal:
            for hour in ("10", "12"):
                journal.append(Entry(kind="note", logged=f"{day}T{hour}:00:00.000Z"))
    Journal(tmp_path / "empty.sheet", race_book()).close()
    return tmp_path


def test_the_sheets_of_a_folder_and_of_a_server_are_listed_alike(listed: Path, served: str) -> None:
    name = uuid.uuid4().hex
    assert called(["sheet", "copy", listed / "two.sheet", f"{served}#{name}"]).returncode == 0
    found = {one.name: one for one in sheets_in(listed)}
    assert [(one.name, one.entries, one.first[:10]) for one in found.values()] == [
        ("empty", 0, ""),
        ("one", 2, "2026-05-01"),
        ("two", 2, "2026-06-02"),
    ]
    there = {one.name: one for one in sheets_in(place_of(served))}
    assert (there[name].last, there[name].book) == (found["two"].last, found["two"].book)
    done = called(["sheet", "list", listed, "--json"])
    assert [json.loads(line)["name"] for line in done.stdout.splitlines()] == list(found)
    assert b"2026-06-02" in called(["sheet", "list", listed]).stdout
    assert called(["sheet", "list", listed / "one.sheet"]).returncode == 2


def test_a_copy_on_a_server_has_the_name_of_its_file(tmp_path: Path, served: str) -> None:
    name = uuid.uuid4().hex
    with Journal(tmp_path / f"{name}.sheet", race_book()) as journal:
        journal.append(report())
    done = called(["sheet", "copy", tmp_path / f"{name}.sheet", served])
    assert done.stdout.decode() == f"1 entry copied to {served}#{name}\n"
    done = called(["sheet", "copy", f"{served}#{name}", tmp_path])
    assert (done.returncode, b"is a folder" in done.stderr) == (2, True)
