"""What the model calls 90 % sure is right nine times in ten; a check and the last laps help; a
mistaken model refuses before it errs.

These are small, seeded runs, with bounds that follow from their sample sizes; the long ones are run
with ``niner book simulate``.
"""

from __future__ import annotations

import functools
import random

import pytest
from helpers import book_of

from codec import Book
from codec.hear import channel
from codec.hear.draw import Source, mistaken, passed_on
from codec.hear.figure import picture
from codec.hear.model import model_of
from codec.hear.priors import Prior, shares
from codec.hear.simulate import Setting, simulate
from codec.hear.tally import Tally

NOISE = -11.0
SIZES = [100, pytest.param(250, marks=pytest.mark.slow)]

SMALL = {
    "alphabet": {"symbols": "0123456789WXYZ"},
    "hearing": {"threshold": 0.95, "wrong": 100},
    "fields": {
        "lap": {"kind": "wrapped", "modulus": 10, "drift": 1, "wander": 0},
        "energy": {
            "kind": "quantity",
            "low": -2,
            "high": 2,
            "step": 0.5,
            "usual": 0,
            "spread": 0.8,
            "wander": 0.4,
        },
        "motor": {
            "kind": "quantity",
            "low": 50,
            "high": 140,
            "step": 10,
            "usual": 90,
            "spread": 20,
            "wander": 10,
        },
        "alert": {"kind": "flags", "flags": ["rain", "damage"], "usual": [], "hold": 0.8},
    },
    "tables": {
        "lap": {"kind": "digits"},
        "energy": {"kind": "digits"},
        "motor": {"kind": "digits"},
        "alert": {"kind": "scale", "symbols": "WXYZ"},
        "check": {"kind": "check", "method": "damm", "over": ["lap", "energy", "motor"]},
    },
}


@functools.cache
def book(check: bool) -> Book:
    return book_of(
        SMALL | {"messages": {"lap": {"layout": "lap energy motor alert?" + " check" * check}}}
    )


@functools.cache
def tally(reports: int, check: bool = True, prior: bool = True, shuffled: float = 0.0) -> Tally:
    truth = mistaken(channel(book(check), NOISE), shuffled, random.Random(4)) if shuffled else None
    return simulate(
        book(check),
        Setting(
            reports,
            7,
            noise=NOISE,
            truth=truth,
            prior=prior,
            hearings=1,
            title=f"{check} {prior} {shuffled}",
        ),
    )


@pytest.mark.slow
@pytest.mark.parametrize("reports", SIZES)
@pytest.mark.parametrize("check", [True, False])
def test_what_is_called_sure_is_right_as_often_as_called(check: bool, reports: int) -> None:
    found = tally(reports, check)
    for row in found.reliability((0.0, 0.5, 0.8, 0.95, 1.0)):
        if row.reports >= 30:
            error = (row.called * (1 - row.called) / row.reports) ** 0.5
            assert abs(row.share - row.called) < 4 * error + 0.01, row
    sure = [p for p, _ in found.first]
    error = sum(p * (1 - p) for p in sure) ** 0.5
    assert sum(right for _, right in found.first) == pytest.approx(sum(sure), abs=3 * error)


@pytest.mark.slow
@pytest.mark.parametrize("reports", SIZES)
def test_a_higher_threshold_refuses_more_and_errs_less(reports: int) -> None:
    refused, wrong = zip(
        *(tally(reports).at_threshold(t) for t in (0.6, 0.8, 0.9, 0.98)), strict=True
    )
    assert list(refused) == sorted(refused)
    assert list(wrong) == sorted(wrong, reverse=True)
    assert wrong[-1] <= 0.02


@pytest.mark.slow
@pytest.mark.parametrize("reports", SIZES)
def test_a_check_symbol_and_the_last_laps_each_leave_less_to_ask(reports: int) -> None:
    doubted = {
        key: tally(reports, *key).given_up for key in ((True, True), (False, True), (True, False))
    }
    assert doubted[True, True] < doubted[False, True]
    assert doubted[True, True] < doubted[True, False]


@pytest.mark.slow
@pytest.mark.parametrize("reports", SIZES)
def test_asking_again_gets_more_reports_right_and_takes_radio_time(reports: int) -> None:
    asked, once = simulate(book(True), Setting(reports // 2, 7, noise=NOISE)), tally(reports)
    assert asked.right / asked.reports > once.right / once.reports
    assert asked.seconds > asked.plain_seconds
    assert asked.asked_part > 0
    assert asked.asked_all > 0
    assert asked.right + asked.wrong + asked.given_up == asked.reports


@pytest.mark.slow
@pytest.mark.parametrize("reports", SIZES)
def test_asking_costs_about_what_it_was_expected_to(reports: int) -> None:
    asked = simulate(book(True), Setting(reports, 7, noise=NOISE, hearings=3))
    assert asked.doubted >= 0.12 * reports
    assert (
        asked.wrong * 100 < asked.cost / 2
    )  # the price of wrong readings is part of both, and must not be most of it
    assert asked.expected_cost / asked.doubted == pytest.approx(asked.cost / asked.doubted, rel=0.4)


@pytest.mark.slow  # fewer reports tell nothing here
def test_a_mistaken_model_refuses_more_before_it_errs_more() -> None:
    """Words are really taken for other words than assumed, or missed more often: doubt rises by far
    more than wrong readings do.
    """
    at, right = book(True).spec.hearing.threshold, tally(250)
    shuffled = tally(250, shuffled=1.0)
    noisier = simulate(book(True), Setting(250, 7, noise=NOISE, truth=NOISE - 3, hearings=1))
    for wrong, least in ((shuffled, 0.0), (noisier, 0.1)):
        more_refused, more_wrong = (
            after - before
            for after, before in zip(wrong.at_threshold(at), right.at_threshold(at), strict=True)
        )
        assert more_refused > least
        assert more_refused > 3 * more_wrong


@pytest.mark.slow
def test_the_same_seed_gives_the_same_reports() -> None:
    first, again, other = (
        simulate(book(True), Setting(10, seed, noise=NOISE)) for seed in (3, 3, 4)
    )
    assert first.as_dict() == again.as_dict()
    assert first.first != other.first


def test_strings_are_drawn_as_often_as_the_prior_has_them() -> None:
    chance, plain = random.Random(1), book(True)
    source = Source(model_of(plain, None).weighted(Prior()))
    drawn = [plain.messages["lap"].quick(source.draw(chance)[1]) for _ in range(2000)]
    expected = shares(plain, Prior(), ["energy"])["energy"]
    found = [
        sum(match is not None and match.levels()["energy"] == level for match in drawn) / 2000
        for level in range(9)
    ]
    for level in range(9):
        assert found[level] == pytest.approx(
            expected[level], abs=4 * (expected[level] / 2000) ** 0.5
        )


def test_words_are_passed_on_as_the_channel_has_it() -> None:
    chance, ears = random.Random(2), channel(book(True), "harsh")
    heard = [passed_on(ears, "5", chance) for _ in range(3000)]
    lost = sum(not words for words in heard) / 3000
    assert lost == pytest.approx(ears.deletion, abs=0.008)
    five = sum(words == ["five"] for words in heard) / 3000
    index = ears.alphabet.index["5"]
    assert five == pytest.approx(
        ears.table[index, index] * (1 - ears.deletion) * (1 - ears.insertion) ** 2, abs=0.04
    )


@pytest.mark.slow
@pytest.mark.parametrize(("form", "start"), [("svg", b"<?xml"), ("png", b"\x89PNG")])
def test_the_figures_are_drawn(form: str, start: bytes) -> None:
    image = picture([tally(100), tally(100, False)], 0.98, form)
    assert image.startswith(start)
    assert form == "png" or b"Date" not in image
