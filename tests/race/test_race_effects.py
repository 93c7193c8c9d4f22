"""What settings do to the energy of a lap: against scipy, closed forms and simulated races."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import numpy
import pytest
from helpers import book_of
from scipy.stats import t

from codec.race import Event, EventError, follow, parse_event
from codec.race.effects import effects, regression, student_quantile
from codec.sheet import Entry


@pytest.mark.parametrize("freedom", [1, 2, 4, 7, 30, 200])
@pytest.mark.parametrize("share", [0.6, 0.9, 0.995])
def test_quantiles_are_those_of_scipy(share: float, freedom: int) -> None:
    """Reference: scipy.stats.t."""
    assert student_quantile(share, freedom) == pytest.approx(t.ppf(share, freedom), rel=1e-5)


def test_with_noise_of_single_laps_it_is_least_squares_of_their_differences() -> None:
    """Reference: numpy.linalg.lstsq: with nothing but scatter, each lap is independent."""
    random = numpy.random.default_rng(3)
    design = numpy.column_stack([numpy.ones(20), numpy.repeat([3.0, 5.0], 10)])
    uses = design @ [1.5, -0.03] + random.normal(0, 0.02, 20)
    driven = numpy.tri(20)
    found = regression(range(1, 21), list(numpy.cumsum(uses)), design, driven @ driven.T)
    (plain, rest, *_) = numpy.linalg.lstsq(design, uses)
    assert found is not None
    assert [each for each, _ in found] == pytest.approx(list(plain))
    inverse = numpy.linalg.inv(design.T @ design)
    half = t.ppf(0.995, 18) * numpy.sqrt(inverse[1, 1] * rest[0] / 18)
    assert found[1][1] == pytest.approx(half, rel=1e-4)


LIFTING = {
    "fields": {
        "energy": {"kind": "quantity", "unit": "kWh", "low": -2, "high": 2, "step": 0.05},
        "lift": {"kind": "quantity", "unit": "m", "low": 0, "high": 200, "step": 10},
    },
    "tables": {"energy": {"kind": "digits"}, "lift": {"kind": "digits"}},
    "messages": {
        "lap": {"layout": '"A" energy'},
        "lift": {"layout": '"L" lift', "direction": "pit"},
    },
}
TEXT = """
settings = ["lift"]
[distance]
laps = 30
[energy]
usable = 45
spread = 0.03
drift = 0.004
first = 0.04
[plan]
per_lap = 1.4
[reports.energy]
says = "delta"
"""


def lifted(effect: float, seed: int, event: Event) -> list[Any]:
    """Return the facts of a race in which each metre of lift takes so much: 40 m, then 100 m from
    lap 9 on, then 60 m from lap 17 on.
    """
    random, used, facts = numpy.random.default_rng(seed), 0.0, []
    habit, field = random.normal(0, 0.04), event.book.fields["energy"]
    metres = 40
    for lap in range(1, 25):
        if lap in (1, 9, 17):
            metres = {1: 40, 9: 100, 17: 60}[lap]
            values = {"lift": Decimal(metres)}
            facts.append(Entry(kind="call", message="lift", seq=lap * 10, values=values))
        used += 1.4 + habit + effect * (metres - 60) + random.normal(0, 0.03)
        habit += random.normal(0, 0.004)
        delta = max(-2.0, min(2.0, 1.4 * lap - used))
        level = field.level(Decimal(repr(round(float(delta), 6)))).level
        values = {"energy": Decimal(str(field.value(level)))}
        report = Entry(kind="report", message="lap", lap=lap, seq=lap * 10 + 5, values=values)
        facts.append(report.replace(lap_by="given"))
    return facts


def test_metres_of_lift_are_learned() -> None:
    event = parse_event(TEXT, book_of(LIFTING))
    (found,) = effects(follow(event, lifted(-0.002, 1, event)))
    assert (found.setting, found.unit) == ("lift", "m")
    assert found.low < -0.002 < found.high < 0


@pytest.mark.slow
@pytest.mark.parametrize("races", [30, pytest.param(400, marks=pytest.mark.slow)])
def test_what_does_nothing_is_hardly_ever_told(races: int) -> None:
    """One race in a hundred by chance: of 30 more than 3, of 400 more than 12 would be rarer than
    one run in 200.
    """
    event = parse_event(TEXT, book_of(LIFTING))
    told = sum(bool(effects(follow(event, lifted(0.0, seed, event)))) for seed in range(races))
    assert told <= {30: 3, 400: 12}[races]


def test_a_setting_that_never_moved_tells_nothing() -> None:
    event = parse_event(TEXT, book_of(LIFTING))
    facts = [fact for fact in lifted(-0.002, 1, event) if fact.kind != "call" or fact.seq == 10]
    assert effects(follow(event, facts)) == []


def test_a_setting_that_is_no_field_is_told_at_its_place() -> None:
    with pytest.raises(EventError, match="the book has no field 'lifts'") as refused:
        parse_event(TEXT.replace('["lift"]', '["lifts"]'), book_of(LIFTING))
    assert "^" in str(refused.value)
