"""Times against scipy (scipy.stats: t.interval, median_abs_deviation, binomtest)."""

from __future__ import annotations

import math
import random
import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from codec.drill.timing import outliers, share, timing, word_times

TIMES = st.lists(st.floats(0.2, 5.0), min_size=2, max_size=40)


@given(TIMES)
def test_mean_and_interval_are_those_of_student_above_0(times: list[float]) -> None:
    found = timing(times)
    assert found is not None
    kept = [time for time, out in zip(times, outliers(times), strict=True) if not out]
    assert (found.count, found.set_aside) == (len(kept), len(times) - len(kept))
    assert found.mean == pytest.approx(statistics.fmean(kept))
    if len(kept) > 1 and statistics.stdev(kept) > 1e-9:
        low, high = stats.t.interval(
            0.95, len(kept) - 1, loc=statistics.fmean(kept), scale=stats.sem(kept)
        )
        assert (found.low, found.high) == pytest.approx((max(0.0, low), high), rel=1e-6, abs=1e-9)


@given(TIMES)
def test_outliers_are_those_of_the_modified_z_score(times: list[float]) -> None:
    logs = [math.log(time) for time in times]
    width = stats.median_abs_deviation(logs)
    if len(times) < 3 or width < math.log(1.1):
        return
    scores = [0.6745 * abs(one - statistics.median(logs)) / width for one in logs]
    assert outliers(times) == [score > 3.5 for score in scores]


def test_a_coffee_break_is_set_aside_and_told() -> None:
    generator = random.Random(1)
    times = [math.exp(generator.gauss(0, 0.1)) for _ in range(30)]
    plain, broken = timing(times), timing([*times, 340.0])
    assert plain is not None
    assert broken is not None
    assert broken.set_aside == plain.set_aside + 1
    assert broken.mean == pytest.approx(plain.mean)


def test_times_within_a_tenth_are_never_outliers() -> None:
    assert not any(outliers([1.0, 1.0, 1.0, 1.0, 1.09]))


def test_a_single_time_has_no_interval() -> None:
    found = timing([0.8])
    assert found is not None
    assert found.mean == 0.8
    assert math.isinf(found.high)
    assert found.as_dict()["high"] is None
    assert timing([]) is None


@given(st.integers(0, 60), st.integers(1, 60))
def test_the_interval_of_a_share_is_wilson_s(right: int, more: int) -> None:
    count = right + more
    wanted = stats.binomtest(right, count).proportion_ci(0.95, method="wilson")
    assert share(right, count) == pytest.approx((wanted.low, wanted.high), abs=1e-9)
    assert share(0, 0) == (0.0, 1.0)


def test_word_times_without_prior_weight_are_least_squares() -> None:
    # weighted least squares by numpy as the reference: with very many measurements the prior no
    # longer counts
    import numpy as np

    generator = random.Random(5)
    true = {"1": 0.4, "2": 0.5, "3": 0.7}
    said = []
    for _ in range(2000):
        text = "".join(generator.choices("123", k=generator.randint(1, 6)))
        said.append(
            (
                text,
                0.05
                + sum(true[symbol] for symbol in text)
                + generator.gauss(0, 0.05 * math.sqrt(2 + len(text))),
            )
        )
    found = word_times(said, dict.fromkeys("123", 0.6))
    assert found is not None
    rows = np.array(
        [[*(text.count(symbol) for symbol in "123"), 1] for text, _ in said], dtype=float
    )
    scale = np.sqrt(rows[:, :3].sum(axis=1) + 2)
    wanted = np.linalg.lstsq(
        rows / scale[:, None], np.array([seconds for _, seconds in said]) / scale, rcond=None
    )[0]
    assert [found.words[symbol].seconds for symbol in "123"] == pytest.approx(
        list(wanted[:3]), abs=0.003
    )
    assert found.noise == pytest.approx(0.05, rel=0.1)


def test_word_times_set_breaks_aside() -> None:
    generator = random.Random(2)
    said = [
        (text, 0.5 * len(text) + generator.gauss(0, 0.03))
        for text in ("1", "12", "121", "22", "2211")
        for _ in range(10)
    ]
    found = word_times([*said, ("12", 90.0)], {"1": 0.6, "2": 0.6})
    assert found is not None
    assert found.set_aside >= 1
    assert found.words["1"].seconds == pytest.approx(0.5, abs=0.05)
    assert word_times(said[:2], {"1": 0.6, "2": 0.6}) is None
