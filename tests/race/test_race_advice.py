"""The answer to give: the shortest calls that put the race right."""

from __future__ import annotations

import itertools
import math
from decimal import Decimal
from fractions import Fraction

import pytest
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
    found = quickest(book, "pace", field, low, high)
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
