"""Conservation: what was used and what is left is what there was; deltas add; units convert
exactly; a lap added and removed is none.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from race.support import DELTA, SURE, event, fact, plain_event, race_book, report

from codec import CodeError
from codec.race import follow, outlook, units
from codec.race.interval import interval
from codec.race.plan import EnergyPlan
from grammar.fields import Quantity

FIGURES = st.decimals("0.5", "3", places=2).map(Fraction)
PLANS = st.lists(FIGURES, min_size=2, max_size=40)
WAYS = st.sampled_from(["spread", "keep"])


@given(PLANS, WAYS, st.data())
def test_adding_then_removing_a_lap_restores_the_plan(
    base: list[Fraction], changed: str, data: st.DataObject
) -> None:
    after, laps = data.draw(st.integers(0, len(base) - 1)), data.draw(st.integers(1, 9))
    plan = EnergyPlan(base, changed)  # type: ignore[arg-type]
    assert plan.change(after, laps=laps).change(after, laps=-laps).per_lap == plan.per_lap


@given(PLANS, st.data())
def test_spreading_neither_makes_nor_loses_energy(
    base: list[Fraction], data: st.DataObject
) -> None:
    plan = EnergyPlan(base)
    for _ in range(data.draw(st.integers(1, 4))):
        after = data.draw(st.integers(0, plan.laps - 1))
        plan = plan.change(after, laps=data.draw(st.integers(max(1 - plan.laps + after, -3), 5)))
    assert sum(plan.per_lap) == sum(base)


@given(PLANS, WAYS, st.data())
def test_what_is_removed_is_gone_and_what_was_driven_stays(
    base: list[Fraction], changed: str, data: st.DataObject
) -> None:
    after, removed = (
        data.draw(st.integers(0, len(base) - 1)),
        data.draw(st.decimals("0", "0.4", places=2).map(Fraction)),
    )
    plan = EnergyPlan(base, changed).change(after, removed=removed)  # type: ignore[arg-type]
    assert sum(plan.per_lap) == sum(base) - removed
    assert list(plan.per_lap[:after]) == base[:after]


@given(PLANS, st.integers(0, 60), st.integers(0, 60))
def test_deltas_add(base: list[Fraction], first: int, more: int) -> None:
    """The plan of some laps and of the laps behind them is the plan of all of them, so a delta is
    the sum of the deltas of its laps.
    """
    plan = EnergyPlan(base)
    assert plan.used(first + more) == plan.used(first) + sum(
        (plan.planned(lap) for lap in range(first + 1, first + more + 1)), Fraction(0)
    )


def test_a_plan_that_cannot_be_is_refused() -> None:
    plan = EnergyPlan([Fraction(1)] * 5)
    with pytest.raises(CodeError, match="leaves no plan"):
        plan.change(3, laps=-3)
    with pytest.raises(CodeError, match="nothing is planned that could be spread"):
        plan.change(5, laps=1)
    assert EnergyPlan([Fraction(1)] * 5, "keep").change(5, laps=1).laps == 6


@given(
    st.decimals("-1e6", "1e6", places=6).map(Fraction),
    st.sampled_from(units.energy_units()),
    st.sampled_from(units.energy_units()),
)
def test_energies_convert_exactly_there_and_back(amount: Fraction, unit: str, other: str) -> None:
    assert units.energy(units.energy(amount, unit, other), other, unit) == amount


@given(st.decimals("-270", "2000", places=3).map(Fraction))
def test_temperatures_convert_exactly_there_and_back(reading: Fraction) -> None:
    assert units.temperature(units.temperature(reading, "°C", "K"), "K", "°C") == reading


def test_units_are_those_of_the_si() -> None:
    """Source: BIPM, SI Brochure, 9th edition: 1 h = 3600 s, so 1 kWh = 3.6 MJ; 0 °C = 273.15 K."""
    assert units.energy(1, "kWh", "MJ") == Fraction(18, 5)
    assert units.temperature(0, "°C", "K") == Fraction("273.15")
    with pytest.raises(CodeError, match="no unit of energy"):
        units.energy(1, "hp", "kWh")


@given(st.lists(st.decimals("-2", "2", places=1), min_size=1, max_size=15))
def test_used_and_left_is_what_there_was(deltas: list[Decimal]) -> None:
    """Whatever is reported, on every lap."""
    race = follow(
        plain_event(),
        [report(lap, energy=delta) for lap, delta in enumerate(deltas, start=1)],
        history=True,
    )
    for look in map(outlook, race.history):
        planned = float(race.plan.used(look.lap))
        assert look.left.mean + (planned - look.against_plan.mean) == pytest.approx(28.4)
    assert outlook(race).left.mean + race.energy.level().mean == pytest.approx(28.4)


@pytest.mark.parametrize("name", ["energy", "motor", "battery", "target"])
def test_a_level_is_said_of_just_the_values_that_are_rounded_to_it(name: str) -> None:
    quantity = race_book().fields[name]
    assert isinstance(quantity, Quantity)
    tiny = Decimal("0.0001")
    for level in range(1, quantity.size - 1):
        low, high = (Decimal(str(round(end, 6))) for end in interval(quantity, level))
        assert quantity.level(low + tiny).level == level == quantity.level(high - tiny).level
        assert quantity.level(low - tiny).level == level - 1
        assert quantity.level(high + tiny).level == level + 1


def test_an_open_end_is_one_sided() -> None:
    quantity = race_book().fields["energy"]
    assert isinstance(quantity, Quantity)
    assert interval(quantity, 0) == (float("-inf"), pytest.approx(-1.95))
    assert interval(quantity, quantity.size - 1) == (pytest.approx(1.95), float("inf"))


@given(st.integers(1, 15), st.integers(1, 5))
def test_a_race_with_a_lap_added_and_taken_back_is_the_race_without(after: int, laps: int) -> None:
    spec = event(SURE, DELTA)
    reports = [report(lap, energy=Decimal("-0.1")) for lap in range(1, after + 1)]
    added = [
        fact("event", "added", after, seq=after * 10 + n, amount=Decimal(count))
        for n, count in enumerate((laps, -laps), start=5)
    ]
    one, other = follow(spec, reports), follow(spec, reports + added)
    assert one.plan.per_lap == other.plan.per_lap
    assert outlook(one).distance.margin.mean == pytest.approx(outlook(other).distance.margin.mean)
