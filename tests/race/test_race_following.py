"""Where the race is heading, against closed forms worked out by hand."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from helpers import book_of
from race.support import (
    CALLS,
    DELTA,
    SURE,
    TEXT,
    event,
    fact,
    plain_event,
    race_book,
    race_event,
    report,
)

from codec.race import follow, outlook, parse_event
from codec.race.clock import Clock, Neutralised
from codec.race.event import DistanceSpec
from codec.screen.race import show_race
from codec.sheet import Entry

ON_PLAN = [report(lap, energy=0) for lap in range(1, 13)]


def test_constant_consumption_at_the_plan_leaves_the_reserve() -> None:
    """28.4 kWh, 0.4 in reserve, 20 laps of 1.4: at the plan the margin at the flag is 0."""
    look = outlook(follow(plain_event(), ON_PLAN))
    assert look.distance.laps_left == {8: 1.0}
    assert look.left.mean == pytest.approx(28.4 - 12 * 1.4, abs=0.02)
    assert look.distance.margin.mean == pytest.approx(0, abs=0.1)
    assert look.distance.even == pytest.approx(1.4, abs=0.003)
    assert look.distance.short == pytest.approx(0.5, abs=0.15)


def test_constant_consumption_above_the_plan_runs_short_by_it() -> None:
    """A twentieth of a kWh a lap too much is 1 kWh in 20 laps; the energy per lap from here spreads
    what is left over the laps left.
    """
    reports = [report(lap, energy=Decimal(-lap) / 20) for lap in range(1, 13)]
    look = outlook(follow(plain_event(), reports))
    assert look.use.mean == pytest.approx(1.45, abs=0.01)
    assert look.distance.margin.mean == pytest.approx(-1.0, abs=0.15)
    assert look.distance.even == pytest.approx((28.0 - 12 * 1.45) / 8, abs=0.01)
    assert look.distance.short > 0.99


def test_one_lap_more_costs_one_lap_of_energy() -> None:
    look = outlook(follow(event(SURE, DELTA + '[plan]\nchanged = "keep"\n'), ON_PLAN))
    assert look.fewer is not None
    assert look.distance.margin.mean - look.more.margin.mean == pytest.approx(
        look.use.mean, abs=1e-6
    )
    assert look.fewer.margin.mean - look.distance.margin.mean == pytest.approx(
        look.use.mean, abs=1e-6
    )
    assert look.more.even == pytest.approx((28.0 - 12 * 1.4) / 9, abs=0.01)


def test_the_laps_due_so_far_are_told_while_the_race_is_neutralised(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """0.6 laps a minute: of 7 minutes and a half until the last report 4.5, the full ones count."""
    rule = "[neutralisation]\nlaps_per_minute = 0.6\n"
    spec = event(SURE, DELTA + rule, distance="laps = 20\nlap_seconds = 75")
    begun = fact("event", "neutralised", 3, seq=32, at=4 * 75_000)
    laps = [report(lap, energy=0, at=lap * 75_000) for lap in (1, 2, 3)]
    race = follow(spec, [*laps, begun, report(4, energy=0, at=10 * 75_000)])
    assert (race.laps_still_due(), race.laps_still_due(4 * 75_000 + 100_000)) == (4, 1)
    show_race(race, [])
    shown = capsys.readouterr().out
    assert "laps due so far by the event file: 4, for 7 min" in shown
    assert [line.split()[0] for line in shown.splitlines() if " due " in line][1:] == ["+4"]
    told = fact("event", "added", 4, seq=45, at=10 * 75_000 + 1000, amount=Decimal(3))
    assert (
        follow(spec, [*laps, begun, report(4, energy=0, at=10 * 75_000), told]).laps_still_due()
        == 1
    )

    ended = fact("event", "resumed", 5, seq=46, at=10 * 75_000 + 2000)
    over = follow(spec, [*laps, begun, report(4, energy=0, at=10 * 75_000), ended])
    assert over.laps_still_due() is None
    assert over.due_in_words() == ""


def test_laps_added_are_pending_until_the_driver_enters_them() -> None:
    spec = event(SURE, DELTA + CALLS)
    called = [
        *ON_PLAN,
        fact("event", "added", 12, amount=Decimal(2)),
        fact("call", "distance", 12, seq=126, added=2),
    ]
    race = follow(spec, called)
    assert (race.laps_added, race.laps_entered, outlook(race).distance.likeliest) == (2, 0, 10)
    entered = follow(spec, [*called, fact("report", "entered", 12, seq=127, added=2)])
    assert (entered.laps_added, entered.laps_entered, outlook(entered).distance.likeliest) == (
        2,
        2,
        10,
    )
    assert entered.plan.planned(13) == Fraction(28 - Fraction("16.8"), 10)
    assert not entered.notices
    differs = follow(spec, [*called, fact("report", "entered", 12, seq=127, added=3)])
    assert [notice.kind for notice in differs.notices] == ["readback-differs"]


def test_energy_removed_is_missing_at_the_flag() -> None:
    """Five minutes neutralised, 0.1 kWh a minute: 0.5 kWh less, known exactly."""
    rest = DELTA + "[neutralisation]\nenergy_per_minute = 0.1\nuse = 1\nuse_spread = 0\n"
    spec = event(SURE, rest, distance="laps = 20\nlap_seconds = 75")
    race = follow(
        spec,
        [
            *ON_PLAN[:2],
            fact("event", "neutralised", 3, at=200_000),
            *ON_PLAN[2:6],
            fact("event", "resumed", 7, at=500_000),
            ON_PLAN[6],
        ],
    )
    assert race.removed == Fraction(1, 2)
    assert outlook(race).left.mean == pytest.approx(28.4 - 0.5 - race.energy.level().mean)
    assert sum(race.plan.per_lap) == 28 - Fraction(1, 2)


@pytest.mark.parametrize(("count", "laps"), [("full", 2), ("begun", 3)])
def test_laps_by_the_minutes_of_a_neutralisation(count: str, laps: int) -> None:
    """From 0:00 to 5:00 with half a lap a minute: two full laps and a half."""
    spec = event(SURE, DELTA + f'[neutralisation]\nlaps_per_minute = 0.5\ncount = "{count}"\n')
    race = follow(
        spec, [fact("event", "neutralised", 3, at=0), fact("event", "resumed", 7, at=300_000)]
    )
    assert race.laps_added == laps
    assert [notice.kind for notice in race.notices] == ["laps-expected"]


def test_what_race_control_announced_counts_more_than_the_parameter() -> None:
    spec = event(SURE, DELTA + "[neutralisation]\nlaps_per_minute = 0.5\n")
    told = [
        fact("event", "neutralised", 3, at=0),
        fact("event", "resumed", 7, at=300_000),
        fact("event", "added", 8, amount=Decimal(4)),
    ]
    race = follow(spec, told)
    assert race.laps_added == 4
    assert [notice.kind for notice in race.notices] == ["laps-differ"]


def test_a_neutralisation_of_unknown_length_is_told() -> None:
    spec = event(SURE, DELTA + "[neutralisation]\nlaps_per_minute = 0.5\n")
    race = follow(spec, [fact("event", "neutralised", 3), fact("event", "resumed", 7)])
    assert [notice.kind for notice in race.notices] == ["no-time"]
    assert race.laps_added == 0


def test_a_new_target_is_driven_from_the_next_lap_on() -> None:
    """Where the driver is known to keep every target."""
    surely = "[targets]\nkept = 1e9\n"
    race = follow(
        event(SURE, DELTA + CALLS + surely),
        [*ON_PLAN, fact("call", "pace", 12, target=Decimal("1.30"))],
    )
    assert race.target == Fraction(13, 10)
    assert outlook(race).use.mean == pytest.approx(1.3)
    assert outlook(race).distance.margin.mean == pytest.approx(0.8, abs=0.1)


BOOK = {
    "fields": {
        "left": {
            "kind": "quantity",
            "unit": "MJ",
            "low": 0,
            "high": 120,
            "step": 1,
            "rounding": "down",
        },
        "drawn": {"kind": "quantity", "unit": "kWh", "low": 0, "high": 50, "step": 0.5},
        "charge": {
            "kind": "quantity",
            "unit": "%",
            "low": 0,
            "high": 100,
            "step": 1,
            "rounding": "down",
        },
    },
    "tables": {
        "left": {"kind": "digits"},
        "drawn": {"kind": "digits"},
        "charge": {"kind": "digits"},
    },
    "messages": {
        "a": {"layout": '"A" left'},
        "b": {"layout": '"B" drawn'},
        "c": {"layout": '"C" charge'},
    },
}
OTHER = """
[distance]
laps = 20
[energy]
usable = 30
regenerated = 0.25
spread = 0.05
drift = 0.01
first = 0.05
jump = 0
[reports.left]
says = "remaining"
[reports.drawn]
says = "used"
counts = "drawn"
[reports.charge]
says = "remaining"
"""


@pytest.mark.parametrize(
    ("name", "value", "used"),
    [
        (
            "left",
            54,
            30 - 54.5 / 3.6,
        ),  # MJ, rounded down: between 54 and 55, so 15 kWh and a little less
        ("drawn", 20, 15.0),  # 20 kWh drawn, a quarter put back: (1 - 0.25) x 20
        ("charge", 50, 30 * 0.495),  # 50 to 51 % left
    ],
)
def test_remaining_drawn_and_percent_tell_the_same_energy(
    name: str, value: int, used: float
) -> None:
    """Closed forms: 3.6 MJ are 1 kWh; net use is (1 - regenerated share) times what is drawn."""
    spec = parse_event(OTHER, book_of(BOOK))
    race = follow(
        spec, [Entry(kind="report", message="x", lap=10, values={name: Decimal(value)}, seq=1)]
    )
    assert race.energy.level().mean == pytest.approx(used, abs=0.02)


def test_a_race_by_time_ends_with_the_lap_that_is_driven_when_it_runs_out() -> None:
    """45 minutes of 75 s laps are 36 laps just, so with 74 s it is the 37th; each further lap is
    one more.
    """
    assert DistanceSpec(minutes=Decimal(45), lap_seconds=Decimal(75)).planned == 36
    assert DistanceSpec(minutes=Decimal(45), lap_seconds=Decimal(74)).planned == 37
    assert DistanceSpec(minutes=Decimal(45), lap_seconds=Decimal(74), further_laps=1).planned == 38
    clock = Clock(
        {}, DistanceSpec(minutes=Decimal(45), lap_seconds=Decimal(74), lap_spread=Decimal(0))
    )
    assert clock.laps_left(10, 74.0, Fraction(0)) == {27: 1.0}
    assert clock.laps_left(10, 74.0, Fraction(1)) == {28: 1.0}


def test_the_laps_of_a_race_by_time_are_as_uncertain_as_the_lap_times() -> None:
    spec = event(SURE, DELTA, distance="minutes = 25\nlap_seconds = 75\nlap_spread = 1.0")
    race = follow(spec, [report(lap, at=lap * 75_000 + 5_000, energy=0) for lap in range(1, 6)])
    left = outlook(race).distance.laps_left
    assert set(left) == {15, 16}
    assert sum(left.values()) == pytest.approx(1)
    assert 0.3 < left[15] < 0.7


def test_slower_laps_leave_fewer_of_them() -> None:
    spec = event(SURE, DELTA, distance="minutes = 25\nlap_seconds = 75\nlap_spread = 0.5")
    race = follow(spec, [report(lap, at=lap * 82_000, energy=0) for lap in range(1, 11)])
    assert outlook(race).distance.likeliest == 9


def test_reports_may_come_in_any_order_and_be_corrected() -> None:
    reports = [report(lap, energy=Decimal("-0.1") * (lap % 3)) for lap in range(1, 9)]
    one, other = follow(plain_event(), reports), follow(plain_event(), [*reports[4:], *reports[:4]])
    assert one.energy.components == other.energy.components
    corrected = follow(plain_event(), [report(3, energy=Decimal("1.5")), *reports])
    assert corrected.energy.components == one.energy.components


def test_missing_reports_widen_the_band() -> None:
    full, sparse = follow(plain_event(), ON_PLAN), follow(plain_event(), [ON_PLAN[0], ON_PLAN[11]])
    assert outlook(sparse).distance.margin.deviation > outlook(full).distance.margin.deviation


def test_a_doubtful_report_counts_for_less() -> None:
    before = [report(lap, energy=0) for lap in range(1, 6)]
    odd = Decimal("0.2")
    sure = follow(plain_event(), [*before, report(6, energy=odd)])
    doubtful = follow(plain_event(), [*before, report(6, certainty=0.3, energy=odd)])
    assert doubtful.doubts()[6] > sure.doubts()[6]
    assert abs(outlook(doubtful).against_plan.mean) < abs(outlook(sure).against_plan.mean)


def test_a_report_that_does_not_fit_is_pointed_out() -> None:
    race = follow(plain_event(), [*ON_PLAN[:8], report(9, energy=Decimal("1.7")), *ON_PLAN[9:]])
    assert [(notice.kind, notice.lap) for notice in race.notices] == [("unlikely-report", 9)]
    assert "energy against plan 1.7 kWh" in race.notices[0].text
    assert "motor" not in race.notices[0].text
    assert [lap for lap, doubt in race.doubts().items() if doubt > 0.5] == [9]


def test_beyond_an_open_end_more_may_have_been_saved() -> None:
    spec = parse_event(
        TEXT.format(energy=SURE, distance="laps = 20", top="").replace(
            "first = 0.04", "first = 0.4"
        )
        + DELTA,
        race_book(),
    )
    race = follow(spec, [report(lap, energy=Decimal("0.4") * lap) for lap in range(1, 8)])
    low, high = outlook(race).against_plan.band()
    assert low > 1.9
    assert high > 2.2


def test_what_does_not_fit_is_a_notice_and_never_an_error() -> None:
    spec = race_event()
    facts = [
        Entry(kind="report", message="lap", lap=None, values={"energy": Decimal(0)}, seq=1),
        fact("event", "resumed", 2, seq=2),
        fact("event", "added", 3, seq=3, amount=Decimal(-30)),
        fact("report", "entered", 3, seq=4, added=2),
        fact("call", "wheel", 3, seq=5, dial="torque map", way="down", clicks=7),
        fact("report", "set", 3, seq=6, dial="torque map", way="down", clicks=7),
        fact("readback", "wheel", 3, seq=7, dial="torque map", way="up", clicks=7),
    ]
    race = follow(spec, facts)
    assert {notice.kind for notice in race.notices} == {"no-lap", "dial-range", "readback-differs"}
    assert outlook(race).distance.laps_left == {0: 1.0}


def test_laps_added_without_a_number_announce_nothing() -> None:
    """Somebody said that there are more laps, and not how many: the event's rule still tells."""
    spec = event(SURE, DELTA + "[neutralisation]\nlaps_per_minute = 0.5\n")
    told = [
        fact("event", "neutralised", 3, at=0),
        fact("event", "resumed", 7, at=300_000),
        fact("event", "added", 7, seq=76),
    ]
    race = follow(spec, told)
    assert (race.laps_expected, race.laps_added) == (2, 2)
    assert [notice.kind for notice in race.notices] == ["laps-expected"]


def test_laps_announced_for_one_neutralisation_leave_those_of_the_next_expected() -> None:
    spec = event(SURE, DELTA + "[neutralisation]\nlaps_per_minute = 0.5\n")
    told = [
        fact("event", "neutralised", 3, at=0),
        fact("event", "added", 5, amount=Decimal(3), at=250_000),
        fact("event", "resumed", 7, seq=76, at=300_000),
        fact("event", "neutralised", 9, seq=96, at=600_000),
        fact("event", "resumed", 12, seq=126, at=840_000),
    ]
    race = follow(spec, told)
    assert (race.laps_expected, race.laps_added) == (2, 5)
    assert [notice.kind for notice in race.notices] == ["laps-differ", "laps-expected"]


def test_a_neutralisation_of_a_recording_does_not_last_until_today() -> None:
    span = Neutralised(first=4, begin=284_400)
    assert Clock.minutes(span, 404_400) == 2
    assert Clock.minutes(span, 1_796_000_000_000) is None
