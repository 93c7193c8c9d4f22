"""The word tables hold what the published alphabets hold."""

from __future__ import annotations

import pytest
from sound.published import DIGITS, FIGURES, LETTERS, MILLISECONDS

from grammar import sound
from grammar.data import table

ICAO, ITU, PLAIN = table("icao"), table("itu"), table("plain")
SAID_AS = {
    "three": "tree",
    "four": "fower",
    "five": "fife",
    "eight": "ait",
}  # spelling on screen -> respelling


@pytest.mark.parametrize("letter", LETTERS)
def test_letter_has_the_published_word_and_syllables(letter: str) -> None:
    word, _, syllables = LETTERS[letter]
    assert (ICAO[letter]["word"], ICAO[letter]["syllables"]) == (word, syllables)


@pytest.mark.parametrize("digit", DIGITS)
def test_digit_has_the_published_word_and_syllables(digit: str) -> None:
    word, _, syllables = DIGITS[digit]
    assert (ICAO[digit]["word"], ICAO[digit]["syllables"]) == (word, syllables)


def test_letters_have_distinct_initials_and_56_syllables() -> None:
    words = [ICAO[letter]["word"] for letter in LETTERS]
    assert [word[0].upper() for word in words] == list(LETTERS)
    assert sum(ICAO[letter]["syllables"] for letter in LETTERS) == 56  # computed from figure 5-1


def test_common_spellings_are_accepted_and_never_emitted() -> None:
    variants = {
        "A": "alpha",
        "J": "juliet",
        "X": "xray",
        "W": "whisky",
        "3": "tree",
        "4": "fower",
        "5": "fife",
        "8": "ait",
    }
    for symbol, variant in (variants | {"1": "wun", "9": "nine"}).items():
        assert variant in ICAO[symbol]["also"]
    emitted = {row["word"] for row in ICAO.values()}
    assert not emitted & {variant for row in ICAO.values() for variant in row["also"]}


def test_everyday_words_that_sound_alike_are_no_variants() -> None:
    accepted = {word for row in ICAO.values() for word in [row["word"], *row["also"]]}
    assert not accepted & {"for", "to", "too", "ate", "won", "oh"}


def test_measured_milliseconds_are_the_published_ones() -> None:
    rows = [row for symbol, row in ICAO.items() if symbol.isalnum()]
    assert len(rows) == len(MILLISECONDS) == 36
    for row in rows:
        assert row["milliseconds"] == MILLISECONDS[SAID_AS.get(row["word"], row["word"])]


def test_figure_words_are_those_of_the_radio_regulations() -> None:
    assert {digit: row["word"] for digit, row in ITU.items()} == {
        digit: word for digit, (word, _) in FIGURES.items()
    }
    for digit, row in ITU.items():
        assert DIGITS[digit][0] in row["also"]


@pytest.mark.parametrize("name", ["icao", "itu", "plain"])
def test_every_word_of_a_table_is_unambiguous_and_has_its_sound(name: str) -> None:
    rows = table(name)
    accepted = [word for row in rows.values() for word in [row["word"], *row["also"]]]
    assert len(accepted) == len(set(accepted))
    assert all(word == word.lower() for word in accepted)
    for row in rows.values():
        assert sound.syllables(sound.phones(row["word"], plain=name == "plain")) == row["syllables"]


def test_milliseconds_not_measured_are_the_duration_model() -> None:
    for row in [*ITU.values(), ICAO["."]]:
        assert row["milliseconds"] == round(1000 * sound.seconds(row["word"]))
    for row in PLAIN.values():
        assert row["milliseconds"] == round(
            1000 * sound.seconds(sound.phones(row["word"], plain=True))
        )
