"""Cases the laws once found broken, each in its smallest form."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from helpers import book_of

from codec import Ambiguous, BookError, CodeError, EncodeError, decode, decode_all, encode, readings
from grammar.fields import Quantity


def choice(*options: str, usual: str | None = None) -> dict[str, Any]:
    return {"kind": "choice", "options": list(options), **({"usual": usual} if usual else {})}


def test_a_reading_is_never_said_by_a_way_that_implies_more() -> None:
    """Law 1: "A" says x alone, "BA" says x and leaves y as usual: the shorter to say is not the
    same reading.
    """
    book = book_of(
        {
            "alphabet": {"symbols": "ZGY", "words": {"Z": {"word": "zulu", "milliseconds": 5000}}},
            "fields": {"x": choice("one"), "y": choice("low", "high", usual="high")},
            "tables": {
                "long": {"kind": "listed", "field": "x", "words": ["Z"]},
                "short": {"kind": "listed", "field": "x", "words": ["G"]},
                "y": {"kind": "listed", "words": ["YY", "YG"]},
            },
            "messages": {"m": {"layout": "long | short y?"}},
        }
    )
    alone = decode(book, "Z", typed=True)
    assert alone.levels == {"x": 0}
    assert alone.string == encode(book, alone).string == "Z"
    assert (
        encode(book, {"x": "one"}).string == "G"
    )  # a caller who leaves y open takes the cheaper way, and is told what it says
    assert encode(book, {"x": "one"}).reading.levels == {"x": 0, "y": 1}


def test_a_string_that_joins_differently_in_the_two_directions_needs_its_direction() -> None:
    """Law 4: "AB" is a report, and two calls run together: without direction it is refused on every
    path.
    """
    book = book_of(
        {
            "alphabet": {"symbols": "AB"},
            "speech": {"run_together": True},
            "fields": {"f": choice("x")},
            "tables": {"f": {"kind": "listed", "words": ["B"]}},
            "messages": {
                "r": {"layout": '"A" f'},
                "a": {"direction": "pit", "layout": '"A"'},
                "b": {"direction": "pit", "layout": '"B"'},
            },
        }
    )
    assert decode(book, "alfa bravo", direction="car").message == "r"
    for text in ("alfa bravo", "uh alfa bravo", "AB"):
        with pytest.raises(CodeError):
            decode(book, text)


ONE = {
    "fields": {"f": choice("x", "y")},
    "tables": {"f": {"kind": "listed", "words": ["AK9", "KB"]}},
    "messages": {"m": {"layout": "f"}},
}


def test_a_line_end_is_not_passed_over_by_the_fast_path() -> None:
    """Law 6: two lines are two stretches."""
    book = book_of(ONE)
    assert decode(book, "kilo bravo\n").string == "KB"
    with pytest.raises(CodeError):
        decode(book, "kilo\nbravo")


def test_an_own_word_that_could_be_typed_symbols_is_a_tie_on_every_path() -> None:
    """Law 4: the team's word "k9" for A, where K and 9 are in use, may be A or K and 9."""
    book = book_of(
        {
            "alphabet": {"symbols": "AK9B", "words": {"A": {"word": "k9", "sound": "KAY nine"}}},
            "fields": {"f": choice("x", "y")},
            "tables": {"f": {"kind": "listed", "words": ["AB", "K9B"]}},
            "messages": {"m": {"layout": "f"}},
        }
    )
    for text in ("k9 bravo", "uh k9 bravo", "K9 bravo"):
        assert len(readings(book, text)) == 2
        with pytest.raises(Ambiguous):
            decode(book, text)
    with pytest.raises(EncodeError):
        encode(book, {"f": "x"})


def test_a_word_with_a_hyphen_is_understood_where_the_hyphen_is_a_symbol() -> None:
    """Law 1: what is given out to be said is read back."""
    book = book_of(
        {
            "alphabet": {"symbols": "0123456789X-", "words": {"-": "minus"}},
            "fields": {"f": {"kind": "quantity", "low": -1, "high": 1, "step": 1}},
            "tables": {"f": {"kind": "digits", "count": "value", "minus": "-"}},
            "messages": {"m": {"layout": '"X" f'}},
        }
    )
    encoded = encode(book, {"f": -1})
    assert encoded.string == "X-1"
    assert "x-ray" in encoded.words
    assert decode(book, encoded.words).values == {"f": -1}


def test_a_number_word_for_a_digit_out_of_use_is_refused() -> None:
    """Law 7: no foreign exception."""
    book = book_of({**ONE, "alphabet": {"symbols": "AK9B"}})
    for text in ("ten", "kilo ten", "uh ten bravo", "kilo ten correction kilo ten"):
        with pytest.raises(CodeError):
            decode(book, text)
    assert (
        decode(book, "kilo ten correction kilo bravo").string == "KB"
    )  # what was said in error need not make sense


def test_the_words_of_a_question_and_fillers_in_capitals_are_not_dropped() -> None:
    """Law 3: the symbols of SAY AGAIN ALL AFTER are part of the question; UM may be U and M, and
    was none.
    """
    book = book_of({**ONE, "alphabet": {"symbols": "AK9BUM"}})
    kinds = [
        mark.kind for mark in decode_all(book, "kilo UM bravo\nsay again all after kilo").marks
    ]
    assert kinds == [
        "symbol",
        "filler",
        "symbol",
        "procedure",
        "procedure",
        "procedure",
        "procedure",
    ]


def test_more_ways_than_are_held_against_each_other_are_refused() -> None:
    """Law 4: a tie must not hide behind the bound on ways."""
    book = book_of(
        {
            "alphabet": {"symbols": "UMKB"},
            "fields": {"f": choice("x", "y")},
            "tables": {"f": {"kind": "listed", "words": ["KUMB", "KUMUMB"]}},
            "messages": {"m": {"layout": "f"}},
        }
    )
    assert decode(book, "kilo UM bravo").levels == {"f": 0}
    for count in (2, 3, 70):
        with pytest.raises(CodeError) as caught:
            decode(book, f"kilo {'UM ' * count}bravo")
        assert caught.value.kind in ("ambiguous", "too-many-ways")


def test_time_is_told_for_the_words_that_are_given() -> None:
    """Where "eight hundred" would be a tie, the digits are said one by one, and timed so."""
    spec = {
        "speech": {"whole_numbers": "magnitudes"},
        "fields": {
            "f": {"kind": "quantity", "low": 0, "high": 999, "step": 1},
            "g": {"kind": "quantity", "low": 0, "high": 9, "step": 1},
        },
        "tables": {"f": {"kind": "digits"}, "g": {"kind": "digits"}},
        "messages": {"m": {"layout": "f g?"}, "n": {"direction": "pit", "layout": "f g"}},
    }
    book = book_of(spec)
    for values, message in (({"f": 800}, "m"), ({"f": 800, "g": 4}, "n")):
        encoded = encode(book, values, message)
        spoken = encoded.words.split()
        prices = {
            entry.word: entry.seconds for entry in book.alphabet.words.values()
        } | book.alphabet.magnitudes("seconds")
        assert encoded.seconds == pytest.approx(sum(prices[word] for word in spoken))


@pytest.mark.parametrize(
    "value", ["1.23456789012345678901234567891e-30", "-9.87654321098765432109876543219e-29"]
)
def test_numbers_far_apart_are_held_exactly(value: str) -> None:
    """Thirty digits on either side of the point: sums stay exact."""
    far = Decimal("1e20")
    field = Quantity.read({"kind": "quantity", "low": 0, "high": far, "step": far, "open": "both"})
    rounded = field.level(value)
    assert rounded.level == 0
    with pytest.raises((BookError, ValueError)):
        Quantity.read(
            {"kind": "quantity", "low": Decimal(value), "high": Decimal("1e30"), "step": 1}
        )
