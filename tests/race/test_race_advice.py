"""The answer to give: the shortest calls that put the race right."""

from __future__ import annotations

import itertools
import math
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from helpers import first_short
from race.support import CALLS, DELTA, SURE, event, fact, race_book, report
from scipy.stats import norm

from codec import decode, encode
from codec.race import advise, follow, outlook
from codec.race.advice import quickest
from codec.sheet import Entry
from grammar.fields import Quantity


def tired(laps: int = 10) -> list[Entry]:
    return [report(lap, energy=Decimal(-lap) / 20) for lap in range(1, laps + 1)]


def test_on_plan_there_is_nothing_to_say() -> None:
    spec = event(SURE, DELTA + CALLS + "[advice]\nchange = 0.03\n")
    assert advise(follow(spec, [report(lap, energy=0) for lap in range(1, 11)])) == []


def test_a_target_is_called_that_keeps_the_chance_of_running_short() -> None:
    spec = event(SURE, DELTA + CALLS + "[advice]\nchance = 0.1\n")
    race = follow(spec, tired())
    (advice,) = advise(race)
    target = advice.call.reading.values["target"]
    assert isinstance(target, Decimal)
    safe = outlook(race).distance.safe
    assert safe is not None
    assert float(target) <= safe < float(target) + 0.01
    assert decode(race_book(), advice.call.words, direction="pit").values["target"] == target
    held = follow(spec, [*tired(), fact("call", "pace", 10, seq=106, target=target)])
    assert held.target == Fraction(target)
    assert advise(held) == []


def test_safe_targets_run_short_just_as_often_as_accepted() -> None:
    """Closed forms: with every doubt off, the margin is normal. Corrected each lap, what nobody can
    correct is how much was used, and the last lap: its scatter and the habit about the last call.
    Called once, the habit counts for every lap, and it drifts: variances of sums of a random walk.
    """
    chance, event_of = 0.2, event(SURE, DELTA + CALLS + "[advice]\nchance = 0.2\n")
    race = follow(event_of, tired())
    distance, level = outlook(race).distance, race.energy.level()
    (laps,) = distance.laps_left
    assert distance.safe is not None
    assert distance.safe_once is not None
    spread, drift, first = 0.03**2, 0.006**2, 0.04**2
    walked = drift * sum(left**2 for left in range(1, laps))
    for target, variance in (
        (distance.safe, spread + first),
        (distance.safe_once, laps * spread + laps**2 * first + walked),
    ):
        deviation = math.sqrt(level.deviation**2 + variance)
        short = norm.sf(28.0, level.mean + laps * target, deviation)
        assert short == pytest.approx(chance, abs=1e-3)


def test_laps_added_are_called_first() -> None:
    spec = event(SURE, DELTA + CALLS)
    race = follow(spec, [*tired(), fact("event", "added", 10, amount=Decimal(2))])
    assert [one.call.string[0] for one in advise(race)] == ["L", "T"]
    assert advise(race)[0].call.string == "L2"


def test_while_the_race_is_neutralised_nothing_is_called() -> None:
    assert (
        advise(follow(event(SURE, DELTA + CALLS), [*tired(), fact("event", "neutralised", 10)]))
        == []
    )


@pytest.mark.parametrize(("low", "high"), [(0, 99), (27, 33), (40, 40)])
def test_the_quickest_call_of_a_band_is_found(low: int, high: int) -> None:
    """Brute force: every level of the band encoded."""
    book = race_book()
    field = book.fields["target"]
    assert isinstance(field, Quantity)
    found = quickest(event(SURE, DELTA + CALLS), "pace", field, low, high)
    assert found is not None
    assert found.seconds == pytest.approx(
        min(
            encode(book, {"target": field.value(level)}, "pace").seconds
            for level in range(low, high + 1)
        )
    )


def test_a_tolerance_makes_the_call_no_longer() -> None:
    for laps, tolerance in itertools.product((8, 10), ("0.02", "0.05")):
        plain = advise(follow(event(SURE, DELTA + CALLS), tired(laps)))[0].call
        race = follow(
            event(SURE, DELTA + CALLS + f"[advice]\ntolerance = {tolerance}\n"), tired(laps)
        )
        easy = advise(race)[0].call
        safe, said = outlook(race).distance.safe, easy.reading.values["target"]
        assert safe is not None
        assert isinstance(said, Decimal)
        assert easy.seconds <= plain.seconds
        assert safe - float(tolerance) - 1e-9 <= float(said) <= safe


# Limits together

HEAT = "[temperatures.battery]\nstart = 30\nrise = {rise}\nrise_spread = 0.5\n"
HEAT += "spread = 0.3\ndrift = 0.05\nsettles = 0.98\n"
STOPS = "[charging.one]\nfirst = {first}\nlast = 19\nenergy = {energy}\n"
EXTRA = "[extra_power]\nuses = {uses}\nminutes = 4\nenergy_per_minute = 0.05\nfact = 'marker'\n"
ENERGIES = {"short": -0.05, "even": 0.0, "more than enough": 0.1}  # left against plan, a lap more
HEATS = {
    "none": ("", 0.0),
    "cool": (HEAT.format(rise=0.5) + "per_energy = 4\n", 0.5),
    "warm": (HEAT.format(rise=1.5) + "per_energy = 4\n", 1.5),
    "hot whatever is used": (HEAT.format(rise=2.6) + "per_energy = 0.2\n", 2.6),
    "warm, nobody knows of what": (HEAT.format(rise=1.8), 1.8),
}
CHARGING = {
    "none": "",
    "soon": STOPS.format(first=13, energy=3),
    "late and large": STOPS.format(first=18, energy=9),
}


@pytest.mark.parametrize("extra", first_short([2, 0]))
@pytest.mark.parametrize("charging", CHARGING)
@pytest.mark.parametrize("heat", first_short(sorted(HEATS, key=lambda heat: "warm" not in heat), 3))
@pytest.mark.parametrize("energy", ENERGIES)
def test_no_call_breaks_another_limit(energy: str, heat: str, charging: str, extra: int) -> None:
    """Whatever limits come together: what is called lies below each of them, tells which one it is
    for, and more is called only where nothing forbids it.
    """
    limit, rise = HEATS[heat]
    rest = limit + CHARGING[charging] + (EXTRA.format(uses=extra) if extra else "")
    spec = event(SURE, DELTA + CALLS + rest, distance="laps = 20\nlap_seconds = 80")
    left = ENERGIES[energy]
    warm: list[dict[str, Any]] = [
        {"battery": 30 + rise * lap} if rise else {} for lap in range(1, 11)
    ]
    said = [Decimal(repr(round(left * lap, 2))) for lap in range(1, 11)]
    reports = [
        report(lap, energy=said[lap - 1], **values) for lap, values in enumerate(warm, start=1)
    ]
    race = follow(spec, reports)
    look, accepted = outlook(race), float(spec.spec.advice.chance)
    lowest, now = look.limits[0], look.use.mean
    risky = any(reached.chance > accepted for reached in look.reaching.values())
    if lowest.holds == "temperature":
        assert lowest.use == look.cool["battery"]
    stop = [one for one in look.limits if one.holds == "stop"]
    assert bool(stop) == (charging != "none")
    calls = advise(race)
    if not calls:
        assert abs(lowest.use - now) < 0.01 or (risky and lowest.use > now)
        return
    (call,) = calls
    target = call.call.reading.values["target"]
    assert isinstance(target, Decimal)
    assert float(target) <= lowest.use + 1e-9 or "not enough" in call.reason
    assert ("more to use" in call.reason) == (lowest.use > now)
    assert not (risky and "more to use" in call.reason)
    named = {"temperature": "battery", "stop": "charging stop one", "reserve": "running short"}
    for one in look.limits:
        over = one.use < now if lowest.use < now else one is lowest and one.holds != "reserve"
        assert (named[one.holds] in call.reason) == over


def test_more_is_called_only_as_far_as_a_temperature_allows() -> None:
    spec = event(SURE, DELTA + CALLS + HEATS["warm"][0], distance="laps = 20")
    heat = Decimal("1.4")
    reports = [report(lap, energy=Decimal(lap) / 10, battery=30 + heat * lap) for lap in range(11)]
    race = follow(spec, reports[1:])
    (call,) = advise(race)
    assert "there is more to use, as far as battery stays below its limit" in call.reason
    assert [one.holds for one in outlook(race).limits] == ["temperature", "reserve"]
