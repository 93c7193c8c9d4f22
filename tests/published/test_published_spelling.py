"""The spelling alphabet and the figure words, one by one, in both directions.

Sources are named in ``sound/published.py``: ICAO Annex 10 Volume II figure 5-1 and 5.2.1.4.3.1,
SERA.14020, CAP 413; ITU Radio Regulations appendix 14.
"""

from __future__ import annotations

from typing import Any, get_args

import pytest
from published.support import book
from sound.published import DIGITS, FIGURES, LETTERS

from codec import ReportError, decode, encode, parse_book
from grammar import symbols
from grammar.data import table
from grammar.sound import respelled
from grammar.symbols import Alphabet, AlphabetSpec, Letters, sayable

ICAO = book("spelling")
ITU = book("spelling", ("[alphabet]", '[alphabet]\nfigures = "itu"'))
WORDS = {symbol: row[0] for symbol, row in (LETTERS | DIGITS).items()} | {".": "decimal"}
# Common spellings that are accepted and not emitted; the numerals as CAP 413 chapter 2 table 2
# respells them.
VARIANTS = [
    ("A", "alpha"), ("J", "juliet"), ("X", "xray"), ("X", "x ray"), ("W", "whisky"), ("1", "wun"),
    ("3", "tree"), ("4", "fower"),
    ("4", "fow-er"), ("5", "fife"), ("7", "sev-en"), ("8", "ait"), ("9", "nine"), ("9", "nin-er"),
    (".", "day-see-mal"),
]  # fmt: skip


@pytest.mark.parametrize("symbol", WORDS)
def test_spelling_word_is_decoded_and_emitted(symbol: str) -> None:
    reading = decode(ICAO, WORDS[symbol])
    assert reading["symbol"] == symbol
    assert encode(ICAO, reading).words == WORDS[symbol]


@pytest.mark.parametrize(("symbol", "variant"), VARIANTS)
def test_variant_is_decoded_and_never_emitted(symbol: str, variant: str) -> None:
    for written in (variant, variant.capitalize(), variant.upper()):
        reading = decode(ICAO, written)
        assert reading["symbol"] == symbol
        assert encode(ICAO, reading).words == WORDS[symbol] != variant


@pytest.mark.parametrize("name", get_args(Letters))
def test_a_table_of_words_has_every_letter_and_digit(name: str) -> None:
    rows = table(name)
    assert rows.keys() >= set(AlphabetSpec.declared["symbols"].default)
    for row in rows.values():
        assert sayable(row["word"])
        assert row["syllables"] > 0
        assert row["milliseconds"] > 0


def test_words_of_another_language_are_one_table(monkeypatch: pytest.MonkeyPatch) -> None:
    """Invented words."""
    own = {"A": ("anker", "AN ker"), "B": ("birke", "BEER keh"), "1": ("eins", "EYENS")}
    rows = {
        symbol: {"word": word, "also": [], "syllables": 2, "milliseconds": 500, "sound": sound}
        for symbol, (word, sound) in own.items()
    }
    monkeypatch.setattr(symbols, "table", lambda name: rows if name == "made up" else table(name))
    made_up: Any = "made up"
    spec = AlphabetSpec(letters=made_up, figures=made_up, symbols="AB1", retired="B")
    assert not list(spec.problems())
    alphabet = Alphabet(spec)
    assert alphabet.say("A1") == "anker eins"
    assert alphabet.spoken == {"anker": "A", "eins": "1"}
    assert alphabet.standard_symbol("birke") == "B"
    assert alphabet.words["A"].phones() == respelled("AN ker")
    (problem,) = AlphabetSpec(letters=made_up, symbols="A1C").problems()
    assert problem.message == "'C' has no published word"


@pytest.mark.parametrize("symbol", WORDS)
def test_symbol_typed_as_it_stands_is_decoded(symbol: str) -> None:
    assert decode(ICAO, symbol, typed=True)["symbol"] == symbol


@pytest.mark.parametrize("digit", FIGURES)
def test_figure_word_of_the_telecommunication_union_is_decoded_and_emitted(digit: str) -> None:
    word = FIGURES[digit][0]
    assert decode(ITU, word)["symbol"] == digit
    assert encode(ITU, {"symbol": digit}).words == word


@pytest.mark.parametrize("digit", FIGURES)
def test_plain_digits_are_heard_beside_figure_words_but_not_the_other_way_round(digit: str) -> None:
    assert decode(ITU, WORDS[digit])["symbol"] == digit
    with pytest.raises(ReportError):
        decode(ICAO, FIGURES[digit][0])


def test_letters_keep_their_words_beside_figure_words() -> None:
    assert all(decode(ITU, WORDS[letter])["symbol"] == letter for letter in LETTERS)


def test_every_word_begins_with_its_letter_and_the_alphabet_takes_56_syllables() -> None:
    # The initials are the point of the alphabet; 56 is computed from the published sounds, a
    # regression value.
    encoded = {letter: encode(ICAO, {"symbol": letter}) for letter in LETTERS}
    assert all(e.words[0].upper() == letter for letter, e in encoded.items())
    assert sum(e.syllables for e in encoded.values()) == 56


def test_a_word_takes_six_tenths_of_a_second_at_the_published_rate() -> None:
    # ICAO Doc 9432 2.2.1: at most 100 words a minute. Over all 36 letters and digits the mean is 60
    # / 100 s.
    seconds = [encode(ICAO, {"symbol": symbol}).seconds for symbol in LETTERS | DIGITS]
    assert sum(seconds) / len(seconds) == pytest.approx(0.6)


def test_a_word_that_the_book_has_another_for_is_told_with_its_own() -> None:
    """In the alphabet that ICAO publishes D is *delta* (Annex 10, volume II)."""
    text = """
title = "own words"
[alphabet.words]
D = "dog"
[fields.mode]
kind = "choice"
options = ["a", "b", "c", "d", "e"]
[tables.mode]
kind = "scale"
[messages.mode]
layout = "mode"
"""
    with pytest.raises(ReportError) as told:
        decode(parse_book(text), "dog delta")
    assert told.value.hint == "in this book D is 'dog'"
