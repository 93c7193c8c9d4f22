"""When a temperature reaches its limit, against simulated paths."""

from __future__ import annotations

import numpy
import pytest
from race.support import event, race_event, report

from codec.race import follow, outlook, temperature
from codec.race.kalman import GaussianMixture


@pytest.mark.parametrize(
    ("start", "rise", "deviation"),
    [(44.0, 1.2, 0.3), (50.0, 0.3, 0.4), (57.5, 0.1, 0.2), (40.0, 0.2, 0.1)],
)
def test_the_lap_of_the_limit_is_that_of_simulated_paths(
    start: float, rise: float, deviation: float
) -> None:
    """Reference: numpy drives 200,000 temperatures and notes when each first reaches 58 °C."""
    bound = race_event().temperatures["battery"]
    spec, laps, count = bound.spec, 20, 200_000
    random = numpy.random.default_rng(5)
    level, slope = random.normal(start, 0.6, count), random.normal(rise, deviation, count)
    reached = level >= 58
    shares = [reached.mean()]
    for _ in range(laps):
        level = level + slope + random.normal(0, float(spec.spread), count)
        slope = float(spec.settles) * slope + random.normal(0, float(spec.drift), count)
        reached |= level >= 58
        shares.append(reached.mean())
    found = temperature.reaching(bound, GaussianMixture.start(start, rise, 0.6, deviation), 7, laps)
    assert found.by == pytest.approx(shares, abs=0.03)
    assert list(found.by) == sorted(found.by)


def test_the_lap_is_told_with_its_band() -> None:
    reached = temperature.Reaching(7, (0.0, 0.05, 0.2, 0.6, 0.95))
    assert [reached.quantile(share) for share in (0.1, 0.5, 0.9)] == [9, 10, 11]
    assert reached.quantile(0.99) is None
    assert reached.chance == 0.95


def test_a_battery_that_rises_a_degree_a_lap_is_at_its_limit_when_arithmetic_says() -> None:
    """From 32 °C on lap 1 to 44 °C on lap 13, rounded up to even degrees: 58 °C about fourteen laps
    later, were it a straight line.
    """
    spec = event(
        "",
        "[temperatures.battery]\nstart = 31\nrise = 1\nspread = 0.1\ndrift = 0.01\nsettles = 1\n",
        distance="laps = 40",
    )
    race = follow(spec, [report(lap, battery=31 + lap) for lap in range(1, 14)])
    reaching = outlook(race).reaching["battery"]
    assert reaching.quantile(0.5) in (27, 28)
    early, late = reaching.quantile(0.1), reaching.quantile(0.9)
    assert early is not None
    assert late is not None
    assert early <= 27 <= late


def test_a_cool_battery_does_not_reach_it() -> None:
    race = follow(race_event(), [report(lap, battery=30) for lap in range(1, 13)])
    assert outlook(race).reaching["battery"].quantile(0.5) is None
    assert outlook(race).reaching["battery"].chance < 0.05
