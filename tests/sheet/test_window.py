"""A sheet of which only the last entries are held says the same as one that is held as a whole."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sheet.drawn import older, sheets
from sheet.support import race_book, report

from codec.log.session import Session
from codec.sheet import Entry, Journal, SheetError
from codec.sheet.entry import PlainNote, Said
from codec.sheet.state import Standing, lap_rows, laps
from codec.sheet.table import ENTRIES
from codec.sheet.window import EntryWindow, Sought

LOGGED = "2026-05-01T12:00:00.000Z"


@pytest.fixture(autouse=True, scope="module")
def _few_together() -> Iterator[None]:
    """Read few entries together, so that short sheets are read in several pieces."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("codec.sheet.window.TOGETHER", 3)
        yield


def as_read(entry: Entry) -> Said:
    """Return an entry as a journal yields it."""
    row = ENTRIES.row(entry)
    return PlainNote(row, lambda _: entry) if PlainNote.is_one(row) else entry


def same(windowed: Standing, whole: Standing) -> None:
    """Hold that two say the same, whatever is asked."""
    count = len(whole.entries)
    assert windowed.cars == whole.cars
    assert windowed.spoken == whole.spoken
    assert windowed.rows == whole.rows
    assert list(windowed.newest_first()) == whole.rows[::-1]
    assert windowed.every("report", "call") == whole.every("report", "call")
    assert windowed.conflicts == whole.conflicts
    assert windowed.race == whole.race
    assert windowed.moments.steps == whole.moments.steps
    for number in range(count + 2):
        assert windowed.moments.at(number) == whole.moments.at(number)
        assert windowed.moments.key(number) == whole.moments.key(number)
    for entry in whole.entries:
        assert windowed.row_of(entry) == whole.row_of(entry)
        assert windowed.stands(entry) == whole.stands(entry)
        assert windowed.taken_back_by(entry) == whole.taken_back_by(entry)
    for car in ("7", "61", "", "other"):
        assert windowed.undoable(car) == whole.undoable(car)
        for most in (None, 1, 3):
            assert windowed.of(car, most=most) == whole.of(car, most=most)
        assert lap_rows(windowed, car, race_book()) == lap_rows(whole, car, race_book())


@given(sheets(), st.integers(1, 4), st.data())
def test_what_is_held_in_part_says_what_is_held_as_a_whole(
    entries: list[Entry], held: int, data: st.DataObject
) -> None:
    windowed, whole = Standing(older=older(entries), held=held), Standing()
    changes = dict[str, tuple[tuple[int, ...], str]]()
    done = 0
    while done < len(entries):
        end = data.draw(st.integers(done + 1, len(entries)))
        anew = windowed.take(map(as_read, entries[done:end]))
        whole.take(entries[done:end])
        same(windowed, whole)
        for car in ("7", "61"):  # the same is told while nothing tells that it is another
            now = windowed.changes(car), repr((windowed.of(car), windowed.conflicts))
            if not anew and car in changes and changes[car][0] == now[0]:
                assert changes[car] == now
            changes[car] = now
        done = end


@given(sheets(), st.integers(1, 4))
def test_what_stood_is_not_changed_by_what_comes_later(entries: list[Entry], held: int) -> None:
    """And tells all but notes as they stood."""
    half = len(entries) // 2
    windowed = Standing(entries[:half], older=older(entries), held=held)
    stood, then = windowed.as_it_stands(), Standing(entries[:half])
    windowed.take(entries[half:])
    for car in ("7", "61", ""):
        assert stood.of(car, "report", "call", "event") == then.of(car, "report", "call", "event")
        assert laps(stood, car, race_book()) == laps(then, car, race_book())
        said = [row.entry for row in then.of(car, "report", "call", "event")]
        assert stood.in_order(said) == then.in_order(said)
    assert stood.every("report", "call", "event") == then.every("report", "call", "event")
    assert stood.cars == then.cars


@given(sheets(), st.integers(1, 4), st.data())
def test_a_window_is_the_whole_list(entries: list[Entry], held: int, data: st.DataObject) -> None:
    window = EntryWindow(older(entries), held)
    for entry in entries:
        window.append(as_read(entry))
    places = st.none() | st.integers(-50, 50)
    begin, end = data.draw(places), data.draw(places)
    step = data.draw(st.sampled_from((None, 1, 2, -1)))
    assert window[begin:end:step] == entries[begin:end:step]
    assert window == entries
    assert list(window) == entries
    assert list(reversed(window)) == entries[::-1]
    assert [window[place] for place in range(-len(entries), len(entries))] == entries * 2
    place = data.draw(st.integers(0, len(entries)))
    assert list(window.before(place)) == entries[:place][::-1]
    odd = [one for one in entries[:place][::-1] if one.seq % 2]
    found = window.before(place, Sought((), lambda number: bool(number % 2)))
    assert [one for one in found if one.seq % 2] == odd
    with pytest.raises(IndexError):
        window[len(entries)]


def test_an_old_note_is_put_right_taken_back_and_brought_back(tmp_path: Path) -> None:
    """As one that was written just now is."""
    with Journal(tmp_path / "race.sheet", race_book()) as journal:
        journal.append(Entry(kind="car", car="7", message="Ilse Marrow"))
        journal.append_all(Entry(kind="note", car="7", heard=f"note {n}") for n in range(2, 3000))
        session = Session(journal, "7")
        assert session.entries[41].heard == "note 42"
        session.enter("/fix 42 rain is near")
        session.enter("/withdraw 43")
        rows = {row.first.seq: row for row in session.rows}
        assert (rows[42].entry.heard, rows[43].withdrawn) == ("rain is near", True)
        assert rows[44].entry.heard == "note 44"
        assert "#42  rain is near" in session.enter("/find near").lines
        assert session.enter("/find note 2044").lines == ("#2044  note 2044",)
        session.enter(f"/withdraw {session.entries[-1].seq}")
        assert not {row.first.seq: row for row in session.rows}[43].withdrawn
        for _ in range(3):
            session.enter("/undo")
        assert session.rows == Standing(journal.entries()).rows


@pytest.mark.parametrize("wrong", [{"at": "soon"}, {"logged": "today"}, {"car": "7" * 300}])
def test_a_note_whose_row_holds_what_no_entry_can_is_told(
    wrong: dict[str, object], tmp_path: Path
) -> None:
    """Though it fits its digest: somebody has made it so."""
    with Journal(tmp_path / "race.sheet", race_book()) as journal:
        row = ENTRIES.row(Entry(kind="note", car="7", heard="rain", uid="u", logged=LOGGED, seq=1))
        journal.bring([({**row, **wrong}, "")])
        with pytest.raises(SheetError, match="entry"):
            Session(journal)


def test_what_is_held_does_not_grow_with_the_notes_of_a_sheet(tmp_path: Path) -> None:
    import tracemalloc

    def held() -> int:
        with Journal(path) as journal:
            tracemalloc.start()
            session = Session(journal, "7")
            try:
                assert session.entries[-1].heard == f"note {count - 1}"
                return tracemalloc.get_traced_memory()[0]
            finally:
                tracemalloc.stop()

    path, count, sizes = tmp_path / "race.sheet", 0, list[int]()
    with Journal(path, race_book()) as journal:
        for _ in range(2):
            notes = [Entry(kind="note", car="7", heard=f"note {count + n}") for n in range(1500)]
            journal.append_all([report(car="7"), *notes] if not count else notes)
            count += 1500
            sizes.append(held())
    assert (sizes[1] - sizes[0]) / 1500 < 40  # bytes a note: when it was said
