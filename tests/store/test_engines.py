"""A sheet is the same in a file and on a server: what holds of one holds of the other."""

from __future__ import annotations

import threading
from decimal import Decimal
from pathlib import Path

import pytest
from sheet.support import other_book, race_book, report

from codec.sheet import Entry, Journal, SheetError
from codec.sheet.journal import check
from codec.sheet.table import ENTRIES
from codec.store.table import digest


def sheet(place: str, **facts: object) -> Journal:
    return Journal(place, race_book(), **facts)  # type: ignore[arg-type]


def test_an_entry_comes_back_as_it_was_written(place: str) -> None:
    with sheet(place, writer="ana") as journal:
        written = [
            journal.append(report(certainty=0.97, at=2**62, speaker="car", lap_certainty=1.0)),
            journal.append(
                Entry(kind="event", message="laps", amount=Decimal(2), note="ž\0\x1a0\n")
            ),
        ]
        assert [entry.seq for entry in written] == [1, 2]
    with Journal(place) as again:
        assert list(again.entries()) == written
        assert again[2] == written[1] == again.find(written[1].uid)
        assert (again.faults(), again.last, len(again), again.writable) == ([], 2, 2, True)
        assert again.book.spec == race_book().spec
        assert again.facts["name"] == "race"
    assert check(place) == []


def test_a_sheet_that_is_not_there_is_missing_and_another_books_is_left_alone(place: str) -> None:
    with pytest.raises(SheetError) as caught:
        Journal(place)
    assert caught.value.kind == "sheet-missing"
    sheet(place).close()
    with pytest.raises(SheetError, match="another book"):
        Journal(place, other_book())


def test_all_or_nothing(place: str) -> None:
    with sheet(place) as journal:
        with pytest.raises(SheetError, match="not in the sheet"):
            journal.append_all([report(), Entry(kind="withdrawal", about=9)])
        assert len(journal) == 0
        assert journal.append_linked([(report(uid="a"), ""), (Entry(kind="withdrawal"), "a")])
        assert [entry.about for entry in journal.entries()] == [None, 1]


def test_a_line_sent_again_appears_once(place: str) -> None:
    with sheet(place) as one, sheet(place) as two:
        with one.line("5f0a9c") as new:
            first = one.append(report())
            one.append(Entry(kind="question", heard="SAY AGAIN", about=first.seq))
            assert (new, two.last) == (True, 0)  # nothing of it is told before all of it is
        with two.line("5f0a9c") as new:
            assert two.append(report()) == first
            assert not new
        assert one.append(report(uid="x")) == two.append(report(uid="x"))
        assert [entry.uid for entry in two.entries()] == ["5f0a9c.1", "5f0a9c.2", "x"]


def test_four_writers_at_once_share_no_number(place: str) -> None:
    sheet(place).close()

    def write(name: str) -> None:
        with Journal(place, writer=name) as journal:
            for number in range(5):
                journal.append_all([Entry(kind="note", heard=str(number)), Entry(kind="note")])

    writers = [threading.Thread(target=write, args=(f"w{number}",)) for number in range(4)]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    with Journal(place) as journal:
        entries = list(journal.entries())
        assert [entry.seq for entry in entries] == list(range(1, 41))
        for name in ("w0", "w1", "w2", "w3"):
            mine = [entry.heard for entry in entries if entry.writer == name]
            assert mine[::2] == ["0", "1", "2", "3", "4"]
        assert [one.writer for one in entries[::2]] == [one.writer for one in entries[1::2]]
        assert journal.faults() == []


def test_a_sheet_to_be_made_when_needed_is_shared_with_who_made_it_first(place: str) -> None:
    with Journal(place, race_book(), when_needed=True) as late:
        assert (list(late.entries()), late.append_all([]), late.last) == ([], [], 0)
        with pytest.raises(SheetError, match="there is no sheet"):
            Journal(place)
        with sheet(place) as early:
            early.append(report(lap=1))
            assert late.append(report(lap=2)).seq == 2
            assert [entry.lap for entry in early.entries()] == [1, 2]


def test_rows_are_read_behind_any_number_and_in_any_amount(
    place: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ENTRIES.stored, "together", 7)
    with sheet(place) as journal:
        journal.append_all(Entry(kind="note", lap=lap) for lap in range(21))
        for after in (0, 1, 7, 20, 21):
            assert [entry.seq for entry in journal.entries(after)] == list(range(after + 1, 22))
        with pytest.raises(SheetError, match="entry 22 is missing"):
            list(journal.entries(22))


def test_the_same_entries_have_the_same_digests_wherever_they_stand(
    tmp_path: Path, served: str
) -> None:
    facts = {"logged": "2026-05-01T12:00:00.000Z", "lap_certainty": 1.0}
    found = []
    for place in (str(tmp_path / "a.sheet"), f"{served}#{tmp_path.name}"):
        with sheet(place, writer="w") as journal:
            journal.append_all(report(uid=str(number)).replace(**facts) for number in range(3))
            rows = [dict(row) for row in journal.rows()]
        assert [row["digest"] for row in rows] == [digest(row) for row in rows]
        # the first covers the sheet, which has a name of its own
        found.append([digest({**row, "before": ""}) for row in rows])
    assert found[0] == found[1]
