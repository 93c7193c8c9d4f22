"""What a sheet says goes on from where it stood; things stand in the order in which they were said,
each in its lap; of two reports of a lap the fitting one counts.
"""

from __future__ import annotations

from typing import Any

from hypothesis import given
from hypothesis import strategies as st
from sheet.support import race_book

from codec.sheet.entry import Entry
from codec.sheet.fitting import fitting
from codec.sheet.order import Moments, placed, reports_lap
from codec.sheet.state import Standing, lap_rows, laps, rows

_DAY = 24 * 3600 * 1000
_KINDS = ("report", "call", "event", "note", "question", "answer", "readback", "correction")


def report(seq: int, lap: int, *, at: int | None = None, **values: Any) -> Entry:
    book = race_book()
    said = {
        name: book.fields[name].value(book.fields[name].level(v).level)
        for name, v in values.items()
    }
    return Entry(
        kind="report", seq=seq, car="7", lap=lap, lap_by="said", at=at, message="lap", string="X",
        values=said,
    )  # fmt: skip


def event(seq: int, message: str, *, at: int | None = None, car: str = "7", **more: Any) -> Entry:
    return Entry(kind="event", seq=seq, car=car, at=at, message=message, **more)


@st.composite
def journals(draw: st.DrawFn) -> list[Entry]:
    """Entries of two cars, each about an earlier one where it needs to be."""
    entries: list[Entry] = []
    for seq in range(1, draw(st.integers(1, 25)) + 1):
        kind = draw(st.sampled_from(_KINDS if seq > 1 else _KINDS[:4]))
        about = draw(st.integers(1, seq - 1)) if kind not in _KINDS[:4] else None
        if seq > 1 and draw(st.integers(0, 3)) == 0:
            kind, about = "withdrawal", draw(st.integers(1, seq - 1))
        car = draw(st.sampled_from(("7", "61", "")))
        message = draw(st.sampled_from(("neutralised", "marker", "lap")))
        entries.append(
            Entry(kind=kind, seq=seq, car=car, about=about, message=message, heard=str(seq))
        )
    return entries


@given(journals())
def test_what_stands_for_a_car_is_the_same_while_it_tells_no_change_of_it(
    entries: list[Entry],
) -> None:
    grown, before = Standing(), dict[str, tuple[object, ...]]()
    for entry in entries:
        grown.take([entry])
        for car in ("7", "61"):
            stands = repr((grown.of(car), grown.conflicts, grown.moments.steps))
            now = grown.changes(car), stands
            if car in before and before[car][0] == now[0]:
                assert before[car] == now
            before[car] = now


@given(journals())
def test_taken_up_one_by_one_it_stands_as_taken_up_at_once(entries: list[Entry]) -> None:
    grown = Standing()
    for entry in entries:
        grown.take([entry])
    whole = Standing(entries)
    assert grown.rows == whole.rows
    for car in ("7", "61", ""):
        mine, others = grown.of(car), whole.of(car)
        assert [row.first.seq for row in mine] == [row.first.seq for row in others]
        assert grown.undoable(car) == whole.undoable(car)
    assert grown.race == whole.race


@given(journals())
def test_withdrawing_the_last_entry_brings_back_what_was_before_it(entries: list[Entry]) -> None:
    """And withdrawing the withdrawal takes that back."""
    seq = len(entries)
    once = Entry(kind="withdrawal", seq=seq + 1, about=seq)
    twice = Entry(kind="withdrawal", seq=seq + 2, about=seq + 1)
    before, after = rows(entries[:-1]), rows([*entries, once])
    kept = [row for row in after if row.first.seq != seq]
    assert kept == before
    assert rows([*entries, once, twice]) == rows(entries)


def test_a_fact_of_the_race_stands_for_every_car_and_one_of_a_car_for_it() -> None:
    standing = Standing([event(1, "neutralised", car="4"), event(2, "stop", car="4")])
    assert [row.entry.message for row in standing.of("23", "event")] == ["neutralised"]
    assert [row.entry.message for row in standing.of("4", "event")] == ["neutralised", "stop"]


def test_things_stand_in_the_order_in_which_they_were_said() -> None:
    """Two cars' radio brought one after the other, and an entry without a time where it was."""
    entries = [
        report(1, 1, at=60_000, energy=0), report(2, 2, at=140_000, energy=0),
        event(3, "resumed", at=150_000, car="61", writer="b"), event(4, "yellow", car="61"),
        event(5, "neutralised", at=100_000, car="61", writer="c"),
    ]  # fmt: skip
    standing = Standing(entries)
    said = standing.in_order(row.entry for row in standing.of("7"))
    assert [entry.seq for entry in said] == [1, 5, 2, 3, 4]
    assert standing.moments.steps == []


def _moments(*times: int | None, writer: str = "", logged: str = "") -> Moments:
    found = Moments()
    for seq, at in enumerate(times, start=1):
        found.take(Entry(kind="note", seq=seq, at=at, writer=writer, logged=logged))
    return found


def test_times_that_begin_anew_at_midnight_go_on() -> None:
    found = _moments(_DAY - 20_000, _DAY - 5_000, 4_000, 60_000)
    assert found.at(3) == _DAY + 4_000
    assert [(step.seq, step.kind) for step in found.steps] == [(3, "midnight")]


def test_a_recording_set_back_is_told_and_ordered_by_entry() -> None:
    found = _moments(600_000, 700_000, 300_000, 310_000)
    assert [step.kind for step in found.steps] == ["back"]
    assert sorted(range(1, 5), key=found.key) == [1, 2, 3, 4]
    assert found.at(4) == 710_000  # what it lasted from there on is known


def test_a_transcript_a_little_out_of_order_is_put_in_order() -> None:
    found = _moments(10_000, 30_000, 20_000)
    assert found.steps == []
    assert sorted(range(1, 4), key=found.key) == [1, 3, 2]


def test_times_of_day_and_times_of_a_recording_are_not_compared() -> None:
    found = _moments(60_000, 1_795_000_000_000, None)
    assert [step.kind for step in found.steps] == ["mixed"]
    assert found.at(2) is None
    assert sorted(range(1, 4), key=found.key) == [1, 2, 3]


def _lap_of(entries: list[Entry]) -> list[tuple[int, int]]:
    found = placed(entries, lambda entry: reports_lap(entry, "lap"))
    return [(one.lap, one.entry.seq) for one in found]


def test_the_lap_is_the_one_being_driven_and_a_report_tells_which_it_is_of() -> None:
    entries = [
        event(1, "marker"), report(2, 1, energy=0), event(3, "marker"), report(4, 3, energy=0),
        report(5, 2, energy=0), event(6, "marker"),
    ]  # fmt: skip
    assert _lap_of(entries) == [(1, 1), (1, 2), (2, 3), (2, 5), (3, 4), (4, 6)]


def test_where_reports_are_missing_the_clock_tells_the_lap() -> None:
    """Behind lap 2 at 160 s the next report is of lap 6 at 480 s: at 330 s lap 5 is driven."""
    entries = [
        report(1, 2, at=160_000, energy=0), event(2, "marker", at=330_000),
        report(3, 6, at=480_000, energy=0),
    ]  # fmt: skip
    assert _lap_of(entries)[1] == (5, 2)


def test_a_lap_without_a_report_has_a_line_and_a_late_one_stands_at_its_lap() -> None:
    standing = Standing([report(1, 1, energy=0), report(2, 5, energy=0), report(3, 3, energy=0)])
    lines = lap_rows(standing, "7", race_book())
    assert [(line.lap, line.row is None) for line in lines] == [
        (1, False),
        (2, True),
        (3, False),
        (4, True),
        (5, False),
    ]


def test_of_two_reports_of_a_lap_the_fitting_one_counts() -> None:
    book = race_book()
    cool, hot = {"motor": 85, "battery": 38}, {"motor": 115, "battery": 52}
    entries = [
        report(1, 1, **cool), report(2, 2, **hot), report(3, 2, **cool), report(4, 3, **cool),
    ]  # fmt: skip
    for order in (entries, [entries[0], entries[2], entries[1], entries[3]]):
        renumbered = [entry.replace(seq=n) for n, entry in enumerate(order, start=1)]
        best = laps(Standing(renumbered), "7", book)
        assert best[2].entry.values["motor"] == 85


def test_without_a_word_of_how_a_field_wanders_the_straight_line_tells() -> None:
    """An energy left that falls by 1.6 a lap: 27 lies on the line of its neighbours, 29 off it."""
    from helpers import book_of

    book = book_of(
        {
            "fields": {
                "left": {"kind": "quantity", "unit": "kWh", "low": 0, "high": 50, "step": 0.2}
            },
            "tables": {"left": {"kind": "digits"}},
            "messages": {"a": {"layout": "left"}},
        }
    )
    field = book.fields["left"]

    def said(*values: float) -> list[dict[str, Any]]:
        return [{"left": field.value(field.level(str(value)).level)} for value in values]

    reports = {1: said(30.2), 2: said(28.6), 3: said(29.0, 27.0), 5: said(23.8)}
    assert fitting(book, reports)[3] == 1
