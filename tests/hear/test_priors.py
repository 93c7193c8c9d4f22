"""What is expected before anything is heard."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hear.books import LAP, PLAIN, lap_book
from helpers import book_of
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from codec import CodeError, EncodeError, encode
from codec.hear import Prior, hear
from codec.hear.priors import shares
from grammar.fields.discrete_normal import folded, over_levels

BOOK = lap_book(**PLAIN)


def normal(value: float, levels: Any, centre: float, width: float) -> float:
    """The share of a level by the density of scipy.stats, 2 % of it (``surprise``) flat."""
    return float(
        0.98 * norm.pdf(value, centre, width) / norm.pdf(levels, centre, width).sum()
        + 0.02 / len(levels)
    )


ENERGY, MOTOR = np.arange(-20, 21) / 10, np.arange(40, 140)


def expected(prior: Any, name: str, book: Any = BOOK) -> Any:
    share = shares(book, Prior.of(prior), [name])[name]
    assert share[-1] == 1.0
    assert float(share[:-1].sum()) == pytest.approx(1)
    return share[:-1]


def test_a_field_the_book_says_nothing_about_is_flat() -> None:
    assert set(expected(None, "mode")) == {0.5}
    assert np.ptp(expected(None, "lap")) == 0


def test_the_first_report_is_near_the_usual_value() -> None:
    energy = expected(None, "energy")
    assert int(energy.argmax()) == 20
    assert energy[24] == pytest.approx(normal(0.4, ENERGY, 0, 0.4))


def test_the_next_report_is_near_the_last_moved_by_the_drift() -> None:
    motor = expected({"motor": 100}, "motor")
    assert int(motor.argmax()) == 100 + 1 - 40
    for value in (95, 101, 107):
        assert motor[value - 40] == pytest.approx(normal(value, MOTOR, 101, 3))


def test_the_longer_ago_the_farther_and_wider() -> None:
    motor = expected(Prior({"motor": 100}, {"motor": 4}), "motor")
    assert int(motor.argmax()) == 104 - 40
    assert motor[104 - 40] == pytest.approx(normal(104, MOTOR, 104, 6))


def test_what_has_a_spread_falls_back_to_it_and_is_in_the_end_as_expected_of_a_first_report() -> (
    None
):
    """Mean and variance of an autoregression of first order, h steps ahead (G.

    Box and G. Jenkins 1970, section 5).
    """
    kept = math.sqrt(1 - (0.2 / 0.4) ** 2)
    for laps in (1, 2, 5):
        energy = expected(Prior({"energy": 1}, {"energy": laps}), "energy")
        centre, width = kept**laps, 0.2 * math.sqrt(sum(kept ** (2 * ago) for ago in range(laps)))
        assert energy[25] == pytest.approx(normal(0.5, ENERGY, centre, width))
    assert expected(Prior({"energy": 1}, {"energy": 200}), "energy") == pytest.approx(
        expected(None, "energy"), abs=1e-9
    )


@pytest.mark.parametrize("wander", [0.05, 0.1, 0.2, 0.39, 5])
def test_values_that_wander_from_lap_to_lap_keep_their_spread(wander: float) -> None:
    """What is expected of the next report, in the mean over what is expected of this one, is what
    is expected of this one.
    """
    fields = LAP["fields"] | {"energy": LAP["fields"]["energy"] | {"wander": wander}}
    book = book_of(LAP | {"hearing": LAP["hearing"] | {"surprise": 1e-9}, "fields": fields})
    first = expected(None, "energy", book)
    later = sum(
        share * expected({"energy": level / 10 - 2}, "energy", book)
        for level, share in enumerate(first)
    )
    assert later == pytest.approx(first, abs=1e-6)


@given(st.floats(0.6, 30), st.floats(-0.5, 0.5))
def test_levels_have_the_mean_and_the_variance_they_are_said_to_have(
    width: float, off: float
) -> None:
    levels, place = np.arange(601), 300 + off
    shares = np.array(over_levels(601, place, width))
    assert shares.sum() == pytest.approx(1)
    assert shares @ levels == pytest.approx(place, abs=0.01)
    assert shares @ (levels - place) ** 2 == pytest.approx(width**2, rel=0.03)
    assert shares == pytest.approx(
        over_levels(601, place, width, low_open=True, high_open=True), abs=1e-12
    )


@given(st.floats(0, 200), st.floats(-50, 100), st.booleans(), st.booleans())
def test_levels_take_all_that_is_expected_wherever_the_centre_lies(
    width: float, place: float, low: bool, high: bool
) -> None:
    shares = over_levels(40, place, width, low, high)
    assert math.fsum(shares) == pytest.approx(1)
    assert min(shares) >= 0
    if low and high and width > 1:
        assert shares[0] == pytest.approx(norm.cdf(0.5, place, width), abs=0.03 / width)
        assert shares[-1] == pytest.approx(norm.sf(38.5, place, width), abs=0.03 / width)


@given(st.floats(0, 20), st.floats(-50, 100))
def test_what_is_wrapped_goes_round_and_round(width: float, place: float) -> None:
    shares = folded(10, place, width)
    assert math.fsum(shares) == pytest.approx(1)
    assert shares == pytest.approx(folded(10, place + 10, width))
    assert int(np.argmax(shares)) in {math.floor(place) % 10, math.ceil(place) % 10} or width > 4


def test_the_newest_reading_that_has_the_field_counts() -> None:
    prior = Prior.of([{"motor": 80, "lap": 5}, {"motor": 90}, {"lap": 7}])
    assert (prior.last["motor"], prior.laps["motor"]) == (90, 2)
    assert (prior.last["lap"], prior.laps["lap"]) == (7, 1)


def test_nothing_within_a_range_is_impossible() -> None:
    assert expected({"motor": 40}, "motor").min() >= 0.02 / 100 * (1 - 1e-12)
    assert expected({"lap": 3}, "lap").min() == pytest.approx(0.02 / 10)


def test_flags_and_choices_hold() -> None:
    alert = expected({"alert": ["rain"]}, "alert")
    assert alert[1] == pytest.approx(0.98 * (0.8 + 0.2 * 0.1 / 3) + 0.02 / 4)


def test_a_wrapped_field_is_restored_by_the_last_lap() -> None:
    said = encode(BOOK, {"lap": 3, "energy": 0, "motor": 90, "alert": []}).words
    assert hear(BOOK, said, prior={"lap": 22}).candidates[0].reading["lap"] == 23
    assert hear(BOOK, said, prior={"lap": 46}).candidates[0].reading["lap"] == 43
    assert hear(BOOK, said).candidates[0].reading["lap"] == 3
    assert hear(BOOK, said, prior={"lap": 22}).marginals["lap"].expected == pytest.approx(
        23, abs=0.01
    )


def test_open_ends_take_what_lies_beyond_them() -> None:
    fields = LAP["fields"] | {"motor": LAP["fields"]["motor"] | {"open": "both"}}
    motor = expected({"motor": 139}, "motor", book_of(LAP | {"fields": fields}))
    assert motor[-1] == pytest.approx(0.98 * norm.sf(138.5, 140, 3) + 0.02 / 100, rel=2e-3)


def test_a_prior_can_decide_between_words_that_sound_alike() -> None:
    words: list[Any] = encode(BOOK, {"lap": 3, "energy": 0, "motor": 91, "alert": []}).words.split()
    words[3], words[-1] = {"five": 0.5, "niner": 0.5}, "?"  # 91 or 131 °C
    cold, hot = (
        hear(BOOK, words, prior={"motor": motor}).marginals["motor"] for motor in (88, 128)
    )
    assert float(cold.value(cold.level)) < 100 < float(hot.value(hot.level))  # type: ignore[arg-type]


def test_a_prior_of_what_the_book_does_not_have_is_refused() -> None:
    with pytest.raises(CodeError, match="no field 'speed'"):
        hear(BOOK, "one", prior={"speed": 3})
    with pytest.raises(EncodeError, match="not a number"):
        hear(BOOK, "one", prior={"motor": "warm"})


@pytest.mark.parametrize("prior", ["4183HZ2", ["4183HZ2"], 7, [None]])
def test_what_is_no_reading_is_no_prior(prior: Any) -> None:
    with pytest.raises(CodeError, match="is no prior") as caught:
        hear(BOOK, "one two", prior=prior)
    assert caught.value.kind == "prior"
    assert "decode a string first" in caught.value.hint


def test_a_display_of_the_lap_before_may_be_read_again() -> None:
    plain = expected({"motor": 100}, "motor")
    again = expected({"motor": 100}, "motor", lap_book(**PLAIN | {"repeated": 0.1}))
    here = np.arange(40, 140) == 100
    assert again == pytest.approx(0.9 * (plain - 0.0002) + 0.098 * here + 0.0002)
