"""The filter agrees with closed forms, with other people's filters, and with brute force over
simulated paths.
"""

from __future__ import annotations

import math

import numpy
import pytest
from filterpy.kalman import KalmanFilter
from hypothesis import given
from hypothesis import strategies as st
from race.support import event, plain_event
from scipy.stats import norm, truncnorm

from codec.race import energy
from codec.race.energy import NeutralisedShare, transition, used_after
from codec.race.kalman import Distribution, GaussianMixture, Transition
from codec.race.truncated_normal import truncated, truncated_standard

INFINITE = math.inf


@pytest.mark.parametrize("low", [-INFINITE, -9.0, -3.0, -0.5, 0.0, 0.01, 1.0, 4.0, 7.9, 20.0, 24.0])
@pytest.mark.parametrize("width", [0.02, 0.3, 1.0, 6.0, INFINITE])
def test_a_cut_normal_is_that_of_scipy(low: float, width: float) -> None:
    """Reference: scipy.stats.truncnorm (mean, variance) and scipy.stats.norm (mass)."""
    high = low + width if low > -INFINITE else width - 3
    part, reference = truncated_standard(numpy.array(low), numpy.array(high)), truncnorm(low, high)
    assert part.mean == pytest.approx(
        reference.mean(), abs=1e-6 * max(1, abs(low) if low > -INFINITE else 1)
    )
    assert part.variance == pytest.approx(reference.var(), rel=2e-3, abs=1e-9)
    mass = norm.sf(low) - norm.sf(high) if low > 0 else norm.cdf(high) - norm.cdf(low)
    assert part.log_mass == pytest.approx(math.log(mass), abs=1e-6)


@given(st.floats(-60, 60), st.floats(1e-9, 50), st.floats(-5, 5), st.floats(1e-6, 100))
def test_a_cut_normal_lies_in_its_interval_and_knows_more(
    low: float, width: float, mean: float, variance: float
) -> None:
    high = low + width
    if high <= low:
        return
    part = truncated(numpy.array([mean]), numpy.array([variance]), low, high)
    slack = 1e-6 * max(1.0, abs(low), abs(high))
    assert low - slack <= part.mean <= high + slack
    assert 0 <= part.variance <= min(variance * (1 + 1e-9), width * width / 4 + slack)
    assert math.isfinite(float(part.log_mass[0]))
    assert part.log_mass <= 1e-9


def test_fine_rounding_gives_the_kalman_filter_of_filterpy() -> None:
    """Reference: filterpy.kalman.KalmanFilter on the same reports, the rounding taken as noise of
    variance step²/12.
    """
    step, noise, drift, laps = 0.01, 0.03, 0.006, 30
    random = numpy.random.default_rng(3)
    reference = KalmanFilter(dim_x=2, dim_z=1)
    reference.x, reference.P = numpy.array([0.0, 0.0]), numpy.diag([0.0, 0.04**2])
    reference.F, reference.H = numpy.array([[1.0, 1.0], [0.0, 1.0]]), numpy.array([[1.0, 0.0]])
    reference.Q, reference.R = numpy.diag([noise**2, drift**2]), numpy.array([[step**2 / 12]])
    state, habit, used = GaussianMixture.start(0.0, 0.0, 0.0, 0.04), random.normal(0, 0.04), 0.0
    for lap in range(laps):
        used += habit + random.normal(0, noise)
        habit += random.normal(0, drift)
        reference.predict()
        state = state.advance(Transition(level_variance=noise**2, slope_variance=drift**2))
        if lap % 7 == 3:
            continue
        said = round(used / step) * step
        reference.update(numpy.array([said]))
        state = state.observe(said - step / 2, said + step / 2)
        way = state.components[0]
        assert way.level == pytest.approx(float(reference.x[0]), abs=5e-4)
        assert way.slope == pytest.approx(float(reference.x[1]), abs=2e-4)
        assert way.slope_variance == pytest.approx(float(reference.P[1, 1]), rel=0.02)
    assert len(state.components) == 1


@pytest.mark.parametrize("ends", ["closed", "open"])
def test_coarse_rounding_gives_what_brute_force_gives(ends: str) -> None:
    """Reference: numpy draws a million races and keeps those whose rounded energies are the ones
    reported: the exact posterior.

    Matching moments is no more than an approximation of it: means within 3 Wh, deviations within a
    tenth.
    """
    noise, drift, first, laps = 0.03, 0.01, 0.05, 4
    random = numpy.random.default_rng(11)
    count = 1_000_000
    habit = random.normal(0, first, count)
    used, kept = numpy.zeros(count), numpy.ones(count, bool)
    intervals = [
        (-0.05, 0.05),
        (0.05, 0.15),
        (0.05, 0.15),
        (0.15, INFINITE if ends == "open" else 0.25),
    ]
    state = GaussianMixture.start(0.0, 0.0, 0.0, first)
    assert len(intervals) == laps
    for low, high in intervals:
        used += habit + random.normal(0, noise, count)
        habit += random.normal(0, drift, count)
        kept &= (low <= used) & (used < high)
        state = state.advance(Transition(level_variance=noise**2, slope_variance=drift**2)).observe(
            low, high
        )
    assert kept.sum() > 20_000
    level, slope = state.level(), state.slope()
    assert level.mean == pytest.approx(used[kept].mean(), abs=0.003)
    assert level.deviation == pytest.approx(used[kept].std(), rel=0.1)
    assert slope.mean == pytest.approx(habit[kept].mean(), abs=0.002)
    assert slope.deviation == pytest.approx(habit[kept].std(), rel=0.1)


def test_a_wrong_report_is_found_out_by_the_next_ones() -> None:
    state = GaussianMixture.start(0.0, 0.0, 0.0, 0.04)
    move = Transition(level_variance=0.03**2, slope_variance=0.006**2)
    for lap, said in enumerate([0.0, 0.0, 0.0, 0.8, 0.0, 0.1], start=1):
        state = state.advance(move).observe(
            said - 0.05, said + 0.05, wrong=0.02, chance=1 / 41, mark=lap
        )
    assert state.doubt(4) > 0.999
    assert all(state.doubt(lap) < 0.01 for lap in (1, 2, 3, 5, 6))
    assert abs(state.level().mean - 0.07) < 0.05


def test_a_lap_that_no_habit_tells_is_not_held_for_wrong_reports() -> None:
    """After a spin every report lies far off what was expected; the filter follows within three
    laps instead of refusing them all.
    """
    spec = event("jump = 0.005")
    state = energy.begin(spec)
    for lap in range(1, 10):
        state = state.advance(transition(spec, 1.4))
        used = 1.4 * lap + (0.6 if lap >= 5 else 0.0)
        state = state.observe(used - 0.05, used + 0.05, wrong=0.02, chance=1 / 41, mark=lap)
    assert state.level().mean == pytest.approx(1.4 * 9 + 0.6, abs=0.06)
    assert max(state.doubt(lap) for lap in (6, 7, 8, 9)) < 0.1


@given(st.integers(1, 40), st.floats(-0.1, 0.1), st.floats(0.001, 0.1))
def test_the_forecast_in_closed_form_is_the_filter_driven_on(
    laps: int, slope: float, deviation: float
) -> None:
    spec = plain_event()
    state = GaussianMixture.start(10.0, slope, 0.05, deviation)
    forecast = used_after(spec, state, laps * 1.4, laps)
    for _ in range(laps):
        state = state.advance(transition(spec, 1.4))
    assert forecast.mean == pytest.approx(state.level().mean)
    assert forecast.deviation == pytest.approx(state.level().deviation)


def test_a_neutralised_lap_takes_its_share() -> None:
    spec = event("", "[neutralisation]\nuse = 0.4\nuse_spread = 0\n")
    start = GaussianMixture.start(0.0, 0.2, 0.0, 0.01)
    state = start.advance(transition(spec, 1.4, NeutralisedShare(1.0)))
    assert state.level().mean == pytest.approx(0.4 * 1.4)
    halved = start.advance(transition(spec, 1.4, NeutralisedShare(0.5)))
    assert halved.level().mean == pytest.approx(1.4 - 0.5 * 0.6 * 1.4 + 0.1)


@given(
    st.lists(
        st.tuples(st.floats(0.1, 1), st.floats(-3, 3), st.floats(0.01, 2)), min_size=1, max_size=4
    ),
    st.floats(0.01, 0.99),
)
def test_a_quantile_is_where_the_probability_lies_below(
    parts: list[tuple[float, float, float]], share: float
) -> None:
    total = sum(weight for weight, _, _ in parts)
    spread = Distribution.of((weight / total, mean, variance) for weight, mean, variance in parts)
    assert spread.below(spread.quantile(share)) == pytest.approx(share, abs=1e-6)
