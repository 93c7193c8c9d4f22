"""What the listener of the designer finds in few hearings, ``simulate`` finds in many."""

from __future__ import annotations

import math
import random
from pathlib import Path

import pytest

from codec.hear.channel import channel
from codec.hear.draw import Source, passed_on
from codec.hear.model import model_of
from codec.hear.priors import Prior
from codec.hear.scoring import Scorer, as_said, mean_seconds
from codec.hear.simulate import Setting, simulate
from grammar.book import Book
from grammar.design import candidates, load_needs, one_in, written
from grammar.design.frontier import heard, propose
from grammar.parsing import parse_book

NEEDS = Path("examples/design")


def designed(needs_file: str, name: str) -> Book:
    """Return the book of a proposal as it is written."""
    needs = load_needs(NEEDS / needs_file)
    for make in candidates(needs, [name.partition("-")[0]]):
        candidate = make()
        if candidate is not None and candidate.name == name:
            return parse_book(written(needs, propose(needs, candidate, draws=50), 1)[0], name)
    raise AssertionError(name)


def agree(book: Book, reports: int, least: int) -> None:
    """Both figures have standard errors: they may be two of them apart, each at its worst guess."""
    (message,) = book.messages.values()
    met = Scorer(reports)(book, message, "tool", 5)
    tally = simulate(book, Setting(least, 11)).as_dict()
    asked = tally["asked_part"] + tally["asked_all"]
    few = 2 / least  # a rate that was not seen, or once, is known no better
    for mine, error, seen, spread in (
        (met.ask, met.ask_error, asked, math.sqrt(asked * (1 - asked) / least)),
        (met.wrong, met.wrong_error, tally["accepted_wrong"],
         math.sqrt(max(tally["accepted_wrong"], met.wrong) / least)),
        (met.seconds, met.seconds_error, tally["seconds"],
         math.sqrt(0.3**2 + asked * (1 - asked) * 5.0**2) / math.sqrt(least)),
    ):  # fmt: skip
        assert abs(mine - seen) <= 2 * math.hypot(error, spread) + few, (book.name, met, tally)


@pytest.mark.slow
@pytest.mark.parametrize(("needs_file", "name"), [("needs.toml", "variable-all-quick")])
def test_a_simulation_finds_what_the_listener_said(needs_file: str, name: str) -> None:
    agree(designed(needs_file, name), 15, 90)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("needs_file", "name"),
    [
        ("needs.toml", "packed-all"),
        ("needs.toml", "packed-all-check"),
        ("rain.toml", "variable-all"),
        ("rain.toml", "packed-30-check"),
    ],
)
def test_a_longer_simulation_finds_what_the_listener_said(needs_file: str, name: str) -> None:
    agree(designed(needs_file, name), 80, 800)


def test_a_report_is_heard_as_said_as_often_as_that_is_summed() -> None:
    book, chance = designed("needs.toml", "variable-all-quick"), random.Random(3)
    air = channel(book)
    _, said = Source(model_of(book, None).weighted(Prior())).draw(chance)
    words = [book.alphabet.words[symbol].word for symbol in said]
    share = as_said(book, air, words, said)
    seen = sum(passed_on(air, said, chance) == words for _ in range(6000)) / 6000
    assert seen == pytest.approx(share, abs=3 * math.sqrt(share * (1 - share) / 6000))


def test_mean_seconds_are_those_of_all_reports() -> None:
    book, chance = designed("needs.toml", "variable-all-quick"), random.Random(4)
    source = Source(model_of(book, None).weighted(Prior()))
    drawn = [book.alphabet.seconds(source.draw(chance)[1]) for _ in range(600)]
    mean = sum(drawn) / len(drawn)
    spread = math.sqrt(sum((one - mean) ** 2 for one in drawn)) / len(drawn)
    assert mean_seconds(book) == pytest.approx(mean, abs=3 * spread)


@pytest.mark.slow
def test_people_with_a_card_are_wrong_more_often_without_a_check() -> None:
    needs = load_needs(NEEDS / "needs.toml")
    plain, quick = (
        propose(needs, candidate, draws=50)
        for make in list(candidates(needs, ["variable"]))[::2][:2]
        if (candidate := make()) is not None
    )
    assert not plain.checked
    assert quick.checked
    (tool, bare), (_, checked) = (heard(needs, one, Scorer(10), 1) for one in (plain, quick))
    assert (tool.ear, bare.ear) == ("tool", "card")
    assert bare.wrong > 3 * tool.wrong  # which weighs, and asks about what it doubts
    assert bare.wrong > 3 * checked.wrong


@pytest.mark.parametrize(
    ("share", "error", "told"),
    [
        (1e-4, 0, "1 in 10,000"),
        (0.25, 0, "1 in 4.0"),
        (0.0, 0, "none"),
        (7e-5, 2e-5, "1 in 14,000 ±29%"),
    ],
)
def test_rare_shares_are_told_as_people_say_them(share: float, error: float, told: str) -> None:
    assert one_in(share, error) == told
