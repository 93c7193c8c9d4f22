"""The exposure at which nine in ten are read right: by the published equations, and by observers
of other psychometric forms than the one assumed.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable

import pytest
from drill.support import answer
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize, stats

from codec.drill.staircase import EXPOSURES, SHARE, Exposure, Staircase, exposures, metres

Observer = Callable[[float], float]
# the chance of a right answer by exposure, with two slips in a hundred
OBSERVERS: dict[str, Callable[[float, float], float]] = {
    "normal in the logarithm": lambda x, at: float(stats.norm.cdf(math.log(x / at) / 0.35)),
    "logistic in seconds": lambda x, at: 1 / (1 + math.exp(-(x - at) / (0.22 * at))),
    "Gumbel in the logarithm": lambda x, at: float(stats.gumbel_r.cdf(math.log(x / at) / 0.3)),
    "each symbol a time of its own": lambda x, at: (1 - math.exp(-(3.2 * x / at))) ** 7,
}


def _measured(form: str, at: float, flashes: int, seed: int) -> tuple[Exposure, float]:
    """Return what is found of an observer, and the truth."""
    generator, found = random.Random(f"{form} {at} {seed}"), Staircase()

    def chance(exposure: float) -> float:
        return 0.98 * OBSERVERS[form](exposure, at)

    for _ in range(flashes):
        shown = found.next()
        found.note(shown, right=generator.random() < chance(shown))
    told = found.found()
    assert told is not None
    return told, float(optimize.brentq(lambda x: chance(x) - SHARE, 0.01, 20))


@pytest.mark.parametrize("form", OBSERVERS)
def test_an_observer_is_found_after_sixty_flashes(form: str) -> None:
    told, true = _measured(form, 0.4, 60, 1)
    assert told.low * 0.9 < true < told.high * 1.1
    assert told.seconds == pytest.approx(true, rel=0.35)


@pytest.mark.slow
@pytest.mark.parametrize("form", OBSERVERS)
@pytest.mark.parametrize("at", [0.25, 0.4, 0.6])
def test_intervals_hold_observers_of_other_forms(form: str, at: float) -> None:
    found = [_measured(form, at, 60, seed) for seed in range(30)]
    inside = sum(told.low <= true <= told.high for told, true in found) / len(found)
    off = [abs(told.seconds / true - 1) for told, true in found]
    widths = [told.high / told.low for told, _ in found]
    print(
        f"{form}, {found[0][1]:.2f} s: {inside:.0%} inside, off by"
        f" {sum(off) / len(off):.0%}, high / low {sum(widths) / len(widths):.2f}"
    )
    assert inside >= 0.85


def test_the_next_flash_is_where_entropy_is_expected_least() -> None:
    # the expected entropy of the psi method, written out (L. L. Kontsevich and C. W. Tyler 1999,
    # equations 1 to 5; marginal: N. Prins 2013), of a staircase after some answers
    found = Staircase()
    for exposure, right in [(0.5, True), (0.3, False), (0.4, True)]:
        found.note(exposure, right=right)

    def entropy(joint: list[float]) -> float:
        whole, size = sum(joint), len(joint) // len(found.sought)
        margin = [sum(joint[n : n + size]) / whole for n in range(0, len(joint), size)]
        return -sum(one * math.log(one) for one in margin if one > 0)

    told = found.expected_entropies()
    for place in (0, 9, 24):
        rows = [float(one) for one in found.chances[place]]
        before = [float(one) for one in found.posterior]
        hits = [p * c for p, c in zip(before, rows, strict=True)]
        misses = [p * (1 - c) for p, c in zip(before, rows, strict=True)]
        expected = sum(hits) * entropy(hits) + sum(misses) * entropy(misses)
        assert told[place] == pytest.approx(expected)
    assert found.next() == EXPOSURES[int(told.argmin())]


@given(st.lists(st.tuples(st.sampled_from(EXPOSURES), st.booleans()), max_size=12))
def test_the_order_of_answers_does_not_matter(rows: list[tuple[float, bool]]) -> None:
    one, other = Staircase(), Staircase()
    for exposure, right in rows:
        one.note(exposure, right=right)
    for exposure, right in reversed(rows):
        other.note(exposure, right=right)
    assert one.posterior == pytest.approx(other.posterior)


def test_flashes_are_in_the_range_promised_and_every_point_is_where_nine_in_ten_are_right() -> None:
    assert (EXPOSURES[0], EXPOSURES[-1]) == (0.2, 1.5)
    found = Staircase()
    shown = min(range(25), key=lambda n: abs(EXPOSURES[n] - 0.5))
    near = [
        float(chance)
        for at, chance in zip(
            [at for at in found.sought for _ in range(36)], found.chances[shown], strict=True
        )
        if abs(at / EXPOSURES[shown] - 1) < 0.05
    ]
    assert near
    assert all(abs(chance - SHARE) < 0.06 for chance in near)


def test_metres_are_those_of_the_check_value() -> None:
    # arithmetic: 0.7 s × 250 km/h ÷ 3.6
    assert metres(0.7, 250) == pytest.approx(48.6, abs=0.02)


def test_only_flashes_drawn_to_measure_count() -> None:
    rows = [
        answer("1234567", exposure=0.5, measured=True),
        answer("1234567", exposure=0.2),
        answer("5", exposure=0.3, measured=True),
        answer("1234567", measured=True),
    ]
    found = exposures(rows)
    assert {kind: one.answers for kind, one in found.items()} == {"report": 1, "symbol": 1}
    assert found["report"].as_dict()["answers"] == 1
    assert exposures([]) == {}
