"""The wheel: where each dial stands, and the fewest clicks to where it should."""

from __future__ import annotations

import itertools
from decimal import Decimal
from pathlib import Path

import pytest
from helpers import book_of
from hypothesis import given
from hypothesis import strategies as st
from race.story import tell
from race.support import fact, race_book, race_event

from codec import Encoded, encode
from codec.race import check_call, facts, follow, parse_event, settings_calls
from codec.race.dials import Ledger, Move, SettingError, fewest_clicks, move
from codec.race.event import DialSpec
from codec.sheet import Entry, Journal
from codec.sheet.state import Standing

DIALS = st.builds(
    lambda low, size, start,
    wraps: DialSpec(low=low, high=low + size, start=low + start % (size + 1), wraps=wraps),
    st.integers(-3, 3), st.integers(1, 7), st.integers(0, 7), st.booleans(),
)  # fmt: skip
ALLOWED = st.sets(st.integers(1, 9), min_size=1, max_size=4)


def exhaustive(dial: DialSpec, start: int, goal: int, allowed: set[int]) -> tuple[int, int] | None:
    """Return the least (clicks, calls) by trying every sequence of calls, longer and longer, each
    position once.
    """
    best: tuple[int, int] | None = None
    ways: list[tuple[tuple[int, ...], int]] = [((start,), 0)]
    while ways:
        following = []
        for seen, clicks in ways:
            if seen[-1] == goal:
                best = min(filter(None, (best, (clicks, len(seen) - 1))))
                continue
            for count, sign in itertools.product(allowed, (1, -1)):
                moved = move(dial, seen[-1], count * sign)
                if moved is not None and moved not in seen:
                    following.append(((*seen, moved), clicks + count))
        ways = following
    return best


@given(DIALS, st.integers(0, 7), ALLOWED)
def test_fewest_clicks_is_what_exhaustive_search_finds(
    dial: DialSpec, wanted: int, allowed: set[int]
) -> None:
    goal = dial.low + wanted % (dial.high - dial.low + 1)
    best = exhaustive(dial, dial.start, goal, allowed)
    ledger = Ledger({"balance": dial}, read_back=False)
    if best is None:
        with pytest.raises(SettingError, match="can't be reached"):
            fewest_clicks(ledger, {"balance": goal}, allowed)
        return
    found = fewest_clicks(ledger, {"Balance": goal}, allowed)
    assert (sum(abs(one.clicks) for one in found), len(found)) == best
    for one in found:
        ledger.call(one.dial, one.clicks)
    assert ledger.positions["balance"] == goal


def test_a_rotary_that_wraps_takes_the_short_way() -> None:
    wraps, ends = DialSpec(low=0, high=11, start=10, wraps=True), DialSpec(low=0, high=11, start=10)
    ledger = Ledger({"a": wraps, "b": ends})
    assert fewest_clicks(ledger, {"a": 1, "b": 1}, range(1, 10)) == [Move("a", 3), Move("b", -9)]


@given(DIALS, st.lists(st.integers(-4, 4).filter(bool), max_size=12))
def test_a_dial_never_leaves_its_range_and_a_refused_call_changes_nothing(
    dial: DialSpec, calls: list[int]
) -> None:
    ledger = Ledger({"balance": dial})
    for clicks in calls:
        before = ledger.heading("balance")
        try:
            ledger.call("balance", clicks)
        except SettingError:
            assert ledger.heading("balance") == before
        assert dial.low <= ledger.heading("balance") <= dial.high


def test_a_call_moves_the_dial_when_it_is_read_back() -> None:
    ledger = Ledger({"balance": DialSpec(start=5)})
    assert ledger.call("balance", 2) == 7
    assert (ledger.positions["balance"], ledger.heading("balance")) == (5, 7)
    assert ledger.answer("balance", 2) == ""
    assert (ledger.positions["balance"], ledger.heading("balance")) == (7, 7)


def test_a_read_back_that_differs_is_flagged_and_believed() -> None:
    ledger = Ledger({"balance": DialSpec(start=5)})
    ledger.call("balance", 2)
    assert ledger.answer("balance", 3) == "balance: 2 up called, 3 up read back; it stands at 8 now"
    assert (
        ledger.answer("balance", -1)
        == "balance: 1 down read back, but not called; it stands at 7 now"
    )
    assert "cannot be from 7" in ledger.answer("balance", 9)
    assert ledger.doubtful == {"balance"}


def test_a_call_that_would_leave_the_range_is_refused_before_it_is_said() -> None:
    race = follow(
        race_event(), [fact("call", "wheel", 1, dial="brake balance", way="up", clicks=4)]
    )
    check_call(
        race,
        "wheel",
        {"dial": "brake balance", "way": "up", "clicks": race_book().fields["clicks"].value(0)},
    )
    with pytest.raises(SettingError, match="2 up from 9 would leave 1 … 10"):
        check_call(
            race,
            "wheel",
            {"dial": "brake balance", "way": "up", "clicks": race_book().fields["clicks"].value(1)},
        )
    assert race.ledger.heading("brake balance") == 9


def test_wanted_positions_become_calls_of_the_book() -> None:
    race = follow(race_event(), [])
    calls = settings_calls(race, {"brake balance": 2, "front damping": 0})
    quicker = min(
        (
            encode(race_book(), {"dial": "front damping", "way": way, "clicks": 6}, "wheel")
            for way in ("up", "down")
        ),
        key=_seconds,
    )
    assert [(one.call.string, one.reason) for one in calls] == [
        ("WBS3", "brake balance 3 down"),
        (quicker.string, f"front damping 6 {quicker.reading['way']}"),
    ]
    assert settings_calls(race, {"brake balance": 5}) == []
    with pytest.raises(SettingError, match="there is no position 11"):
        settings_calls(race, {"brake balance": 11})
    with pytest.raises(SettingError, match="no dial 'seat'"):
        settings_calls(race, {"seat": 1})


def test_a_ledger_rebuilt_from_the_journal_is_the_live_one(tmp_path: Path) -> None:
    """Live: calls and read-backs as they are said.

    Rebuilt: from the file, closed and opened again.
    """
    said = [("call", "up", 2, "brake balance"), ("set", "up", 2, "brake balance"),
    ("call", "down", 5, "front damping"),
            ("call", "up", 1, "regeneration"), ("set", "down", 4, "front damping"),
            ("set", "up", 1, "regeneration"),
            ("call", "down", 3, "brake balance")]  # fmt: skip
    live = Ledger(race_event().spec.dials)
    book = race_book()
    with Journal(tmp_path / "sheet", book) as journal:
        for number, (kind, way, clicks, dial) in enumerate(said, start=1):
            signed = clicks if way == "up" else -clicks
            live.call(dial, signed) if kind == "call" else live.answer(dial, signed)
            message = "wheel" if kind == "call" else "set"
            told = fact(
                "call" if kind == "call" else "report",
                message,
                number,
                dial=dial,
                way=way,
                clicks=clicks,
            )
            journal.append(
                Entry(
                    kind=told.kind,
                    car="7",
                    lap=number,
                    message=message,
                    string="W",
                    values=told.values,
                )
            )
    with Journal(tmp_path / "sheet") as journal:
        rebuilt = follow(race_event(), facts(Standing(journal.entries()), "7"))
    assert (rebuilt.ledger.positions, rebuilt.ledger.waiting, rebuilt.ledger.doubtful) == (
        live.positions, live.waiting, live.doubtful,
    )  # fmt: skip
    assert [notice.kind for notice in rebuilt.notices] == ["readback-differs"]


def _seconds(call: Encoded) -> float:
    return call.seconds


PLACES = {
    "fields": {
        "dial": {"kind": "choice", "options": ["bias", "map"]},
        "place": {"kind": "quantity", "low": 0, "high": 9, "step": 1},
        "charge": {"kind": "quantity", "unit": "kWh", "low": 0, "high": 49, "step": 0.5},
    },
    "tables": {
        "dial": {"kind": "listed", "words": ["B", "M"]},
        "place": {"kind": "digits"},
        "charge": {"kind": "digits"},
    },
    "messages": {
        "lap": {"layout": "charge"},
        "done": {"layout": '"W" dial place "W"'},
        "turn": {"layout": '"W" dial place', "direction": "pit"},
    },
}
TO_PLACES = """
[distance]
laps = 20
[energy]
usable = 30
spread = 0.05
drift = 0.01
first = 0.05
[calls]
wheel = { message = "turn", dial = "dial", position = "place" }
[readbacks]
wheel = { message = "done", dial = "dial", position = "place" }
[dials]
bias = { low = 1, high = 8, start = 5 }
map = { low = 1, high = 4, start = 2 }
"""


def test_a_wheel_that_is_called_by_positions_is_followed_and_called() -> None:
    event = parse_event(TO_PLACES, book_of(PLACES))

    def said(kind: str, message: str, place: int, seq: int) -> Entry:
        values = {"dial": "bias", "place": Decimal(place)}
        return Entry(kind=kind, message=message, lap=1, values=values, seq=seq)  # type: ignore[arg-type]  # of the kinds

    called = [said("call", "turn", 7, 1)]
    race = follow(event, called)
    assert (race.ledger.positions["bias"], race.ledger.heading("bias")) == (5, 7)
    wrong = follow(event, [*called, said("report", "done", 6, 2)])
    assert [notice.text for notice in wrong.notices] == [
        "bias: position 7 called, position 6 read back; it stands at 6 now"
    ]
    right = follow(event, [*called, said("report", "done", 6, 2), said("report", "done", 7, 3)])
    assert (right.ledger.positions["bias"], right.notices) == (7, [])
    assert [one.call.string for one in settings_calls(right, {"bias": 7, "map": 4})] == ["WM4"]
    with pytest.raises(SettingError, match="there is no position 9"):
        settings_calls(right, {"bias": 9})


def test_a_wrong_read_back_is_closed_by_the_right_one() -> None:
    ledger = Ledger({"balance": DialSpec(start=5)})
    ledger.call("balance", 2)
    assert "2 up called, 3 up read back" in ledger.answer("balance", 3)
    assert ledger.call("balance", 2) == 7  # NEGATIVE, I SAY AGAIN: no new call
    assert ledger.waiting["balance"] == []
    assert ledger.answer("balance", 2) == ""
    assert ledger.positions["balance"] == 7


def test_the_story_leaves_the_wheel_where_it_was_set() -> None:
    story = tell()
    race = follow(story.event, facts(Standing(story.entries), "7"))
    assert race.ledger.positions["brake balance"] == 7
