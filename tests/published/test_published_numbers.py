"""Numbers as they are said on the radio, and as people write them in words.

Vectors: ``figures.toml`` (ICAO Annex 10 Volume II, CAP 413). Reference for number words: the
general-purpose reader text2num.
"""

from __future__ import annotations

import random
from decimal import Decimal

import pytest
from helpers import first_short
from published.support import book, vectors
from text_to_num import text2num

from codec import Ambiguous, decode, encode, readings

DIGITS = book("figures")
MAGNITUDES = book("figures", ('whole_numbers = "digits"', 'whole_numbers = "magnitudes"'))
NUMBERS = book("numbers")
SPOKEN = vectors("figures")["spoken"]
IDS = [row["string"] for row in SPOKEN]


@pytest.mark.parametrize("row", SPOKEN, ids=IDS)
def test_published_example_is_heard_whatever_the_books_own_rule(row: dict[str, str]) -> None:
    assert decode(DIGITS, row["words"]).said == row["string"]
    assert decode(MAGNITUDES, row["words"]).said == row["string"]


@pytest.mark.parametrize("row", SPOKEN, ids=IDS)
def test_published_example_is_said_so_in_a_book_of_magnitudes(row: dict[str, str]) -> None:
    assert (
        encode(MAGNITUDES, decode(MAGNITUDES, row["string"], typed=True)).words.replace(
            "niner", "nine"
        )
        == row["words"]
    )


@pytest.mark.parametrize("row", SPOKEN, ids=IDS)
def test_a_book_of_digits_says_every_digit_by_itself(row: dict[str, str]) -> None:
    encoded = encode(DIGITS, decode(DIGITS, row["string"], typed=True))
    assert encoded.words == DIGITS.alphabet.say(row["string"])
    assert (encoded.words == row["words"]) == (row["rule"] == "digits")


def test_2400_is_said_digit_by_digit_or_as_a_whole_number_as_the_book_has_it() -> None:
    # Annex 10 Volume II 5.2.1.4.1.1 has 2400 digit by digit (found), as a transponder code (from
    # memory), beside 3400 as a magnitude. So
    # digits tables follow the book's rule, and a code in a packed table is always said digit by
    # digit.
    assert encode(DIGITS, {"four": 2400}).words == "two four zero zero"
    assert encode(MAGNITUDES, {"four": 2400}).words == "two thousand four hundred"
    assert encode(book("transponder"), {"code": 0o2400}, "number").words == "two four zero zero"
    for said in ("two four zero zero", "two thousand four hundred"):
        assert decode(DIGITS, said)["four"] == decode(MAGNITUDES, said)["four"] == 2400


def test_leading_zeros_are_digits_like_any_other() -> None:
    assert decode(DIGITS, "zero eight zero").said == "080"
    assert decode(DIGITS, "zero zero eight zero").said == "0080"


def test_a_frequency_is_its_figures_and_the_word_decimal() -> None:
    reading = decode(DIGITS, "one two two decimal one")
    assert reading.values == {"megahertz": 122, "tenths": Decimal("0.1")}
    assert decode(DIGITS, "one two two point one") == reading


def test_a_number_that_may_be_two_is_refused_where_both_have_a_place() -> None:
    # "twenty four hundred": 2400 as people say it (text2num agrees), or 20 and 400 one after the
    # other.
    found = readings(DIGITS, "twenty four hundred")
    assert text2num("twenty four hundred", "en") == 2400
    assert {reading.said for reading in found} == {"2400", "20400"}
    with pytest.raises(Ambiguous):
        decode(DIGITS, "twenty four hundred")


UNITS = [
    "zero",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
    "thirteen",
    "fourteen",
    "fifteen",
    "sixteen",
    "seventeen",
    "eighteen",
    "nineteen",
]
TENS = ["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]


def in_words(number: int, *, hyphen: str, link: str) -> str:
    """Write a whole number below a hundred thousand in English words."""
    if number < 20:
        return UNITS[number]
    if number < 100:
        tens, unit = divmod(number, 10)
        return TENS[tens - 2] + (hyphen + UNITS[unit] if unit else "")
    power, name = (1000, "thousand") if number >= 1000 else (100, "hundred")
    head, rest = divmod(number, power)
    before = link if rest and (rest < 100 or power == 100) else " "
    return f"{in_words(head, hyphen=hyphen, link=link)} {name}" + (
        before + in_words(rest, hyphen=hyphen, link=link) if rest else ""
    )


SAMPLE = [*range(120), *random.Random(9).sample(range(120, 100_000), 800), 99_999]


@pytest.mark.parametrize(("hyphen", "link"), first_short([("-", " and "), (" ", " ")]))
def test_number_words_have_the_reading_that_text2num_gives(hyphen: str, link: str) -> None:
    for number in SAMPLE:
        words = in_words(number, hyphen=hyphen, link=link)
        reference = text2num(words, "en")
        assert reference == number
        assert reference in [reading["number"] for reading in readings(NUMBERS, words)], words


@pytest.mark.slow
def test_number_words_with_one_reading_are_decoded_to_it() -> None:
    decided = 0
    for number in SAMPLE:
        words = in_words(number, hyphen=" ", link=" and ")
        found = readings(NUMBERS, words)
        if len(found) == 1:
            decided += 1
            assert decode(NUMBERS, words)["number"] == text2num(words, "en")
        else:
            with pytest.raises(Ambiguous):
                decode(NUMBERS, words)
    assert (
        decided == 789
    )  # computed, a regression value; "forty seven" may be 47, or 40 and 7 one after the other: 407
    print(f"{decided} of {len(SAMPLE)} numbers in words have one reading without a fixed width")


@pytest.mark.parametrize("number", [0, 9, 10, 99, 100, 999, 1000, 9999, 10_000, 99_999])
def test_a_number_of_any_width_is_said_with_the_digits_it_has(number: int) -> None:
    assert encode(NUMBERS, {"number": number}).string == str(number)
    assert decode(NUMBERS, str(number))["number"] == number
