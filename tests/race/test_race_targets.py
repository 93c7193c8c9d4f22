"""Targets to the flag, what a lap of saving buys, the use that keeps a temperature below its limit,
and the fastest laps: closed forms, simulated paths and brute force.
"""

from __future__ import annotations

import itertools
import re
from decimal import Decimal

import numpy
import pytest
from hypothesis import given
from hypothesis import strategies as st
from race.support import CALLS, DELTA, SURE, event, report
from scipy.stats import norm

from codec.race import EventError, follow, outlook
from codec.race.event import LapTimesSpec
from codec.race.schedule import LapTimeCurve, fastest
from codec.sheet import Entry

TIRED = [report(lap, energy=Decimal(-lap) / 20) for lap in range(1, 13)]
LAP_TIMES = "[lap_times]\nenergy = [1.2, 1.3, 1.4, 1.5]\nseconds = [86, 84, 83, 82.5]\n"


def test_targets_for_laps_more_spread_what_is_left() -> None:
    """Closed forms: 28.0 to use, 8 laps and up to five more."""
    rows = outlook(follow(event(SURE, DELTA), TIRED)).targets()
    used = follow(event(SURE, DELTA), TIRED).energy.level().mean
    assert [row.more for row in rows] == [0, 1, 2, 3, 4, 5]
    for row in rows:
        assert row.plain.even == pytest.approx((28.0 - used) / (8 + row.more))
        assert row.plain.safe is not None
        assert row.plain.even is not None
        assert row.plain.safe < row.plain.even
    shorts = [row.plain.short for row in rows]
    assert shorts == sorted(shorts)


def test_a_further_neutralisation_takes_its_energy_and_saves_what_its_laps_do_not_take() -> None:
    """Closed forms: 5 minutes at 0.1 kWh a minute are 0.5 kWh; of 100 s laps they are 3, each of
    half the plan's 1.4 kWh.
    """
    takes = "[neutralisation]\nenergy_per_minute = 0.1\nuse = 0.5\n"
    race = follow(event(SURE, DELTA + takes), TIRED)
    used = race.energy.level().mean
    (row,) = outlook(race).targets(most=0)
    assert row.neutralised.even == pytest.approx((28.0 - 0.5 - used) / 8)
    race = follow(event(SURE, DELTA + takes + "lap_seconds = 100\n"), TIRED)
    (row,) = outlook(race).targets(most=0)
    assert row.neutralised.even == pytest.approx((28.0 - 0.5 - 3 * 0.7 - used) / 5)
    (row,) = outlook(race).targets(10, most=0)
    assert row.neutralised.even == pytest.approx((28.0 - 1.0 - 6 * 0.7 - used) / 2)
    (row,) = outlook(race).targets(60, most=0)
    assert row.neutralised.even is None  # none of the laps left is raced


def test_a_lap_of_saving_buys_what_the_margin_says() -> None:
    """A closed form: the margin is normal, and moves by what is saved."""
    race = follow(event(SURE, DELTA + CALLS + "[advice]\nsaving = 0.2\n"), TIRED)
    look, margin = outlook(race), outlook(race).distance.margin
    assert look.saving.energy == pytest.approx(0.2)
    assert look.saving.laps == pytest.approx(0.2 / look.use.mean)
    assert look.saving.short == pytest.approx(norm.cdf(0, margin.mean + 0.2, margin.deviation))
    tenth = outlook(follow(event(SURE, DELTA), TIRED))
    assert tenth.saving.energy == pytest.approx(tenth.use.mean / 10)


HOT = """
[temperatures.battery]
start = 30
rise = 1.2
rise_spread = 0.6
spread = 0.3
drift = 0.06
settles = 0.98
per_energy = 4.0
"""


def test_the_use_that_keeps_a_limit_keeps_it_in_simulated_races() -> None:
    """Reference: numpy drives 100,000 temperatures at that use, each lap warmer or cooler by 4 °C
    for each kWh; one in ten reaches 58 °C by the flag.
    """
    reports = [report(lap, battery=30 + 2 * lap, energy=0) for lap in range(1, 13)]
    race = follow(event(SURE, DELTA + HOT), reports)
    look = outlook(race)
    (use,) = look.cool.values()
    assert use is not None
    assert use < look.use.mean
    assert look.reaching["battery"].chance > 0.1
    random, count = numpy.random.default_rng(6), 100_000
    (best,) = race.temperatures["battery"].components[:1]
    variance = [
        [best.level_variance, best.covariance],
        [best.covariance, best.slope_variance],
    ]
    level, slope = random.multivariate_normal([best.level, best.slope], variance, count).T
    reached = level >= 58
    for _ in range(8):
        level = level + slope + 4.0 * (use - look.use.mean) + random.normal(0, 0.3, count)
        slope = 0.98 * slope + random.normal(0, 0.06, count)
        reached |= level >= 58
    assert reached.mean() == pytest.approx(0.1, abs=0.03)


def test_without_its_keys_nothing_is_said_of_them() -> None:
    look = outlook(follow(event(SURE, DELTA), TIRED))
    assert look.cool == {}
    assert look.schedule is None


@given(
    st.lists(st.integers(800, 900), min_size=2, max_size=6),
    st.integers(1, 4),
    st.integers(0, 30),
)
def test_the_fastest_laps_are_those_of_brute_force(tenths: list[int], laps: int, room: int) -> None:
    """Brute force: every way to give each lap an energy, of any curve, convex or not."""
    times = LapTimeCurve(1.0, 0.1, numpy.array(tenths) / 10)
    energy = laps * 1.0 + room * 0.1 - 0.3
    best = min(
        (
            sum(tenths[steps] for steps in ways) / 10
            for ways in itertools.product(range(len(tenths)), repeat=laps)
            if sum(ways) <= room - 3
        ),
        default=None,
    )
    found = fastest(times, laps, energy)
    assert (found is None) == (best is None)
    if found is not None and best is not None:
        assert found.seconds == pytest.approx(best)
        assert len(found.energies) == laps
        assert sum(found.energies) <= energy + 1e-9


def test_on_a_convex_curve_all_laps_take_the_same() -> None:
    """A closed form (Jensen's inequality)."""
    spec = LapTimesSpec(
        energy=[Decimal("1.0"), Decimal("1.2"), Decimal("1.6")],
        seconds=[Decimal(90), Decimal(86), Decimal(84)],
    )
    schedule = fastest(LapTimeCurve.of(spec), 10, 12.0)
    assert schedule is not None
    assert schedule.runs == [(10, pytest.approx(1.2))]
    assert schedule.seconds == pytest.approx(860)
    steps = fastest(LapTimeCurve.of(spec), 3, 3.32)
    assert steps is not None
    assert steps.runs == [(2, pytest.approx(1.11)), (1, pytest.approx(1.10))]


def test_the_schedule_to_the_flag_keeps_the_safe_target() -> None:
    look = outlook(follow(event(SURE, DELTA + LAP_TIMES), TIRED))
    assert look.schedule is not None
    assert look.distance.safe is not None
    assert len(look.schedule.energies) == 8
    assert 8 * look.distance.safe - 0.01 < sum(look.schedule.energies) <= 8 * look.distance.safe


@pytest.mark.parametrize(
    ("rest", "message"),
    [
        ("[lap_times]\nenergy = [1.2, 1.3]\nseconds = [80]\n", "a list of 2 or more"),
        ("[lap_times]\nseconds = [80, 79]\nenergy = [1.2, 1.3, 1.4]\n", "2 times for 3"),
        ("[lap_times]\nseconds = [80, 79]\nenergy = [1.3, 1.2]\n", "out of order"),
        ("[lap_times]\nenergy = [1, 2]\nseconds = [80, 79]\nstep = 0.001\n", "more than 500"),
        ("[targets]\nkept = 0\n", "targets.kept"),
        ("[neutralisation]\nlap_seconds = -3\n", "neutralisation.lap_seconds"),
        ("[temperatures.battery]\nper_energy = 0\n", "temperatures.battery.per_energy"),
        ("[advice]\nsaving = -1\n", "advice.saving"),
        ("[charging.one]\nenergy = 2\nfirst = 9\nlast = 4\n", "ends before it begins"),
        ("[charging.one]\nenergy = 2\nfirst = 9\nlast = 400\n", "the race has 20 laps"),
        ("[extra_power]\nuses = 2\nminutes = 4\nfact = 'bost'\n", "no fact 'bost'"),
    ],
)
def test_a_bad_value_of_a_new_key_is_told_at_its_place(rest: str, message: str) -> None:
    with pytest.raises(EventError, match=re.escape(message)) as refused:
        event("", DELTA + rest)
    (problem,) = refused.value.problems
    assert f"line {problem.line}, column" in str(refused.value)
    assert "^" in str(refused.value)
    assert problem.line >= 15


def test_doubt_is_limited() -> None:
    with pytest.raises(EventError, match=r"energy\.doubt"):
        event("doubt = 3")


CHARGING = "[charging.one]\nfirst = 8\nlast = 14\nenergy = 3.0\nseconds = 30\n"
STOP = Entry(kind="event", message="stop", car="7", seq=125)


def test_a_charging_stop_to_come_is_counted_on_and_one_made_is_there() -> None:
    plain = outlook(follow(event(SURE, DELTA), TIRED))
    look = outlook(follow(event(SURE, DELTA + CHARGING), TIRED))
    (stop,) = look.charging
    assert (stop.name, stop.made, stop.open) == ("one", None, True)
    # before it, what there is must last to lap 14
    assert stop.even == pytest.approx(look.left.mean / 2)
    assert look.left.mean == pytest.approx(plain.left.mean)
    assert look.distance.margin.mean == pytest.approx(plain.distance.margin.mean + 3.0)
    made = outlook(follow(event(SURE, DELTA + CHARGING), [*TIRED, STOP]))
    (stop,) = made.charging
    assert (stop.made, stop.open) == (13, False)
    assert made.left.mean == pytest.approx(plain.left.mean + 3.0)
    assert made.distance.margin.mean == pytest.approx(look.distance.margin.mean)


def test_a_window_that_closed_without_a_stop_is_counted_on_no_more() -> None:
    early = CHARGING.replace("14", "10")
    look = outlook(follow(event(SURE, DELTA + early), TIRED))
    (stop,) = look.charging
    assert (stop.made, stop.open) == (None, False)
    plain = outlook(follow(event(SURE, DELTA), TIRED))
    assert look.distance.margin.mean == pytest.approx(plain.distance.margin.mean)


def test_extra_power_still_to_be_used_keeps_its_energy_and_its_laps() -> None:
    """Closed forms: two uses of 4 minutes are 8 minutes, of 80 s laps 6; the race has 20."""
    extra = "[extra_power]\nuses = 2\nminutes = 4\nenergy_per_minute = 0.05\nfact = 'marker'\n"
    long = "laps = 20\nlap_seconds = 80"
    plain = outlook(follow(event(SURE, DELTA, distance=long), TIRED))
    look = outlook(follow(event(SURE, DELTA + extra, distance=long), TIRED))
    assert look.extra is not None
    assert (look.extra.left, look.extra.minutes, look.extra.latest) == (2, 8.0, 15)
    assert look.extra.energy == pytest.approx(0.4)
    assert look.distance.margin.mean == pytest.approx(plain.distance.margin.mean - 0.4)
    used = Entry(kind="event", message="marker", car="7", seq=125)
    once = outlook(follow(event(SURE, DELTA + extra, distance=long), [*TIRED, used]))
    assert once.extra is not None
    assert (once.extra.left, once.extra.latest) == (1, 18)


def test_extra_power_is_no_habit_of_the_driver() -> None:
    """One use of 4 minutes, from the middle of lap 13 on, is 3 laps of 80 s: what it takes beside
    the plan, 0.2 kWh a minute, is neither expected of later laps nor forgotten while it lasts.
    """
    extra = "[extra_power]\nuses = 1\nminutes = 4\nenergy_per_minute = 0.2\nfact = 'marker'\n"
    spec = event(SURE, DELTA + extra, distance="laps = 20\nlap_seconds = 80")
    takes = {13: 0.8 / 6, 14: 0.8 / 3, 15: 0.8 / 3, 16: 0.8 / 6}

    def over(lap: int) -> Decimal:
        return Decimal(str(round(-sum(takes.get(one, 0.0) for one in range(lap + 1)), 4)))

    used = Entry(kind="event", message="marker", car="7", lap=13, seq=125, at=1_000_000)
    reports = [report(lap, energy=over(lap), at=lap * 80_000) for lap in range(1, 17)]
    facts = sorted([*reports, used], key=lambda one: one.at or 0)
    race = follow(spec, facts, history=True)
    for lap in (12, 13, 14, 15, 16):
        look = outlook(race.history[lap])
        assert look.use.mean == pytest.approx(1.4, abs=0.015)
        assert look.distance.margin.mean == pytest.approx(-0.8, abs=0.1)
    extra_by_lap = [round(lap.extra, 3) for lap in race.driven[11:]]
    assert extra_by_lap == [0, 0.133, 0.267, 0.267, 0.133]
    gap = race.uses()[14].gap
    assert gap == pytest.approx(0, abs=0.06)
    assert not race.notices
    assert follow(spec, reports).notices  # where nobody told, its laps are none that can be
