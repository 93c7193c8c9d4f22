"""What is expected before anything is heard."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hear.books import LAP, lap_book
from helpers import book_of

from codec import CodeError, EncodeError, encode
from codec.hear import Prior, hear
from codec.hear.priors import shares

BOOK = lap_book()


def normal(low: float, high: float, centre: float, width: float) -> float:
    """P(low < x < high) of a normal distribution, by the error function (any table of it, such as Abramowitz & Stegun table 26.1)."""
    return 0.5 * (math.erf((high - centre) / width / math.sqrt(2)) - math.erf((low - centre) / width / math.sqrt(2)))


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
    density = [math.exp(-(((n - 20) * 0.1) ** 2) / (2 * 0.4**2)) for n in range(41)]
    assert energy[24] == pytest.approx(0.98 * density[24] / sum(density) + 0.02 / 41)


def test_the_next_report_is_near_the_last_moved_by_the_drift() -> None:
    motor = expected({"motor": 100}, "motor")
    assert int(motor.argmax()) == 100 + 1 - 40
    for value in (95, 101, 107):
        near = normal(value - 0.5, value + 0.5, 101, 3)
        assert motor[value - 40] == pytest.approx(0.98 * near / normal(39.5, 139.5, 101, 3) + 0.02 / 100)


def test_the_longer_ago_the_farther_and_wider() -> None:
    motor = expected(Prior({"motor": 100}, {"motor": 4}), "motor")
    assert int(motor.argmax()) == 104 - 40
    assert motor[104 - 40] == pytest.approx(0.98 * normal(103.5, 104.5, 104, 6) / normal(39.5, 139.5, 104, 6) + 0.02 / 100)


def test_what_has_a_spread_falls_back_to_it_and_is_in_the_end_as_expected_of_a_first_report() -> None:
    """Mean and variance of an autoregression of first order, h steps ahead (G. Box and G. Jenkins 1970, section 5)."""
    kept = math.sqrt(1 - (0.2 / 0.4) ** 2)
    for laps in (1, 2, 5):
        energy = expected(Prior({"energy": 1}, {"energy": laps}), "energy")
        centre, width = kept**laps, 0.2 * math.sqrt(sum(kept ** (2 * ago) for ago in range(laps)))
        near = normal(0.45, 0.55, centre, width) / normal(-2.05, 2.05, centre, width)
        assert energy[25] == pytest.approx(0.98 * near + 0.02 / 41)
    assert np.abs(expected(Prior({"energy": 1}, {"energy": 60}), "energy") - expected(None, "energy")).max() < 4e-4


@pytest.mark.parametrize("wander", [0.1, 0.2, 0.39, 5])
def test_values_that_wander_from_lap_to_lap_keep_their_spread(wander: float) -> None:
    """What is expected of the next report, in the mean over what is expected of this one, is what is expected of this one.

    Nearly: the share that is always flat falls back too. A walk that never falls back is off by 0.025 … 0.56.
    """
    book = book_of(LAP | {"fields": LAP["fields"] | {"energy": LAP["fields"]["energy"] | {"wander": wander}}})
    first = expected(None, "energy", book)
    later = sum(share * expected({"energy": level / 10 - 2}, "energy", book) for level, share in enumerate(first))
    assert np.abs(later - first).sum() / 2 < 0.015


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
    assert hear(BOOK, said, prior={"lap": 22}).marginals["lap"].expected == pytest.approx(23, abs=0.01)


def test_open_ends_take_what_lies_beyond_them() -> None:
    fields = LAP["fields"] | {"motor": LAP["fields"]["motor"] | {"open": "both"}}
    motor = expected({"motor": 139}, "motor", book_of(LAP | {"fields": fields}))
    assert motor[-1] == pytest.approx(0.98 * normal(138.5, math.inf, 140, 3) + 0.02 / 100)


def test_a_prior_can_decide_between_words_that_sound_alike() -> None:
    words: list[Any] = encode(BOOK, {"lap": 3, "energy": 0, "motor": 91, "alert": []}).words.split()
    words[3], words[-1] = {"five": 0.5, "niner": 0.5}, "?"  # 91 or 131 °C
    cold, hot = (hear(BOOK, words, prior={"motor": motor}).marginals["motor"] for motor in (88, 128))
    assert float(cold.value(cold.level)) < 100 < float(hot.value(hot.level))  # type: ignore[arg-type]


def test_a_prior_of_what_the_book_does_not_have_is_refused() -> None:
    with pytest.raises(CodeError, match="no field 'speed'"):
        hear(BOOK, "one", prior={"speed": 3})
    with pytest.raises(EncodeError, match="not a number"):
        hear(BOOK, "one", prior={"motor": "warm"})
