"""Search and score against all ways to place strings in time, listed one by one."""

from __future__ import annotations

import itertools
import math
from collections import defaultdict
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from codec import load_book
from codec.voice.search import HeardSymbols, unheard, words_said

ROOT = Path(__file__).parents[2]
BOOK = load_book(ROOT / "examples" / "race" / "race.toml")
CLASSES = ("", "zero", "one", "two", "copy", "?")
TIMES = 5


def posteriors(seed: int, sharp: float = 1.0) -> Any:
    drawn = np.random.default_rng(seed).standard_normal((TIMES, len(CLASSES))) * sharp
    return drawn - np.log(np.exp(drawn).sum(axis=1, keepdims=True))


def listed(log: Any) -> dict[str, float]:
    """Return the probability of every string of 0, 1 and 2: over all sequences of classes, equal
    neighbours are one word, and what is no symbol is dropped.
    """
    symbol = {1: "0", 2: "1", 3: "2"}
    found: dict[str, float] = defaultdict(float)
    for classes in itertools.product(range(len(CLASSES)), repeat=TIMES):
        said = [symbol.get(number, "") for number in classes]
        merged = [one for one, before in zip(said, ["", *said], strict=False) if one != before]
        found["".join(merged)] += math.exp(sum(log[t, c] for t, c in enumerate(classes)))
    return found


@settings(max_examples=5)
@given(st.integers(0, 10**6))
def test_a_score_is_the_sum_over_all_ways_to_place_a_string(seed: int) -> None:
    log = posteriors(seed)
    heard, everything = HeardSymbols(BOOK, CLASSES, log, 1.0), listed(log)
    strings = ["", *sorted(everything)[:40]]
    for string, score in zip(strings, heard.score(strings), strict=True):
        assert score == pytest.approx(math.log(everything[string]), abs=1e-5), string


@settings(max_examples=5)
@given(st.integers(0, 10**6))
def test_the_search_finds_the_likeliest_string(seed: int) -> None:
    log = posteriors(seed, 3.0)
    heard, everything = HeardSymbols(BOOK, CLASSES, log, 1.0), listed(log)
    best = "".join(BOOK.alphabet.symbols[number] for number in heard.strings[0])
    assert everything[best] == pytest.approx(max(everything.values()), rel=1e-6)


def test_doubts_are_the_shares_of_single_changes() -> None:
    log = posteriors(3, 2.0)
    heard, everything = HeardSymbols(BOOK, CLASSES, log, 1.0), listed(log)
    best = "".join(BOOK.alphabet.symbols[number] for number in heard.strings[0])
    told = heard.slots()
    words = {"zero": "0", "one": "1", "two": "2"}
    for place, slot in enumerate(told.slots):

        def instead(symbol: str, place: int = place) -> float:
            return everything[best[:place] + symbol + best[place + 1 :]]

        whole = sum(instead(symbol) for symbol in "012") + instead("")
        assert slot[None] == pytest.approx(instead("") / whole, abs=1e-5)
        for word, symbol in words.items():
            assert slot.get(word, 0.0) == pytest.approx(instead(symbol) / whole, abs=1e-5)
    for place, gap in enumerate(told.gaps):
        more = {w: everything[best[:place] + s + best[place:]] for w, s in words.items()}
        whole = everything[best] + sum(more.values())
        for word, share in more.items():
            assert gap.get(word, 0.0) == pytest.approx(share / whole, abs=1e-5)


def test_a_temperature_makes_doubts_wider() -> None:
    log = posteriors(3, 2.0)
    cold, warm = (HeardSymbols(BOOK, CLASSES, log, heat).slots() for heat in (1.0, 3.0))
    assert max(warm.slots[0].values()) < max(cold.slots[0].values())


def test_words_are_told_once_and_other_talk_as_such() -> None:
    rows = np.full((6, len(CLASSES)), -9.0)
    for time, number in enumerate((1, 1, 0, 1, 5, 4)):
        rows[time, number] = 0.0
    assert words_said(CLASSES, rows) == "zero zero ? copy"


def test_words_of_a_book_that_nobody_taught_the_model_are_told() -> None:
    assert "four" in unheard(BOOK, CLASSES, {"zero"})
    assert "zero" not in unheard(BOOK, CLASSES, {"zero"})
