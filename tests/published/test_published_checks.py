"""Check characters: published values, python-stdnum on random strings, exhaustive counts, and the
same methods in books.

Vectors and their sources: ``checks.toml``.
"""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest
from helpers import first_short
from published.support import book, book_text, vectors
from stdnum import damm, luhn, verhoeff
from stdnum.iso7064 import mod_11_2, mod_11_10, mod_37_2, mod_37_36

from codec import Book, BookError, UnexpectedWord, decode, encode, parse_book
from grammar.codes.checks import PUBLISHED, CheckMethod, CheckRule, published
from grammar.codes.detection import missed

CHECKS = vectors("checks")["check"]
IDS = [f"{row['method']} {row['text']}" for row in CHECKS]
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
# python-stdnum has MOD 37,36 over any alphabet of M characters, so MOD 27,26 as well.
REFERENCE: dict[str, Callable[[str], str]] = {
    "iso7064 mod 11-2": mod_11_2.calc_check_digit,
    "iso7064 mod 37-2": mod_37_2.calc_check_digit,
    "iso7064 mod 11,10": mod_11_10.calc_check_digit,
    "iso7064 mod 27,26": lambda text: mod_37_36.calc_check_digit(text, LETTERS),
    "iso7064 mod 37,36": mod_37_36.calc_check_digit,
    "damm": damm.calc_check_digit,
    "verhoeff": verhoeff.calc_check_digit,
    "luhn": luhn.calc_check_digit,
}


def compute(method: CheckMethod, text: str) -> str | None:
    """Return the check character of a text."""
    return CheckRule(method, "", None).wanted(text)


@pytest.mark.parametrize("row", CHECKS, ids=IDS)
def test_published_check_character(row: dict[str, str]) -> None:
    assert (
        compute(published(row["method"]), row["text"])
        == row["check"]
        == REFERENCE[row["method"]](row["text"])
    )


def test_every_method_has_a_reference() -> None:
    assert set(REFERENCE) == set(PUBLISHED)


@pytest.mark.parametrize("name", REFERENCE)
def test_check_character_is_that_of_python_stdnum(name: str) -> None:
    method, chance = published(name), random.Random(7)
    for _ in range(400):
        text = "".join(chance.choices(method.values, k=chance.randint(1, 20)))
        assert compute(method, text) == REFERENCE[name](text), text


# (substitutions missed, swaps of neighbours missed) of all over 4 covered digits and the check.
# Computed here by trying every one;
# regression values, not published. Damm and Verhoeff miss nothing; Luhn confuses 09 with 90, MOD
# 11,10 some swaps.
MISSED = {
    "damm": (0, 0),
    "verhoeff": (0, 0),
    "luhn": (0, 800),
    "iso7064 mod 11,10": (0, 800),
    "iso7064 mod 11-2": (0, 0),
}


def tried(name: str) -> tuple[int, int, int, int]:
    """Return substitutions missed and all, swaps missed and all, by trying every change of every
    string.
    """
    method = published(name)
    valid = {
        f"{text}{compute(method, text)}" for text in (f"{number:04d}" for number in range(10_000))
    }
    counts = [0, 0, 0, 0]
    for text in valid:
        for place in range(5):
            for other in (method.values, method.checks)[place == 4]:
                if other != text[place]:
                    counts[0] += text[:place] + other + text[place + 1 :] in valid
                    counts[1] += 1
        for place in range(4):
            a, b = tuple(text[place : place + 2])
            if a != b:
                counts[2] += text[:place] + b + a + text[place + 2 :] in valid
                counts[3] += 1
    return counts[0], counts[1], counts[2], counts[3]


@pytest.mark.parametrize("name", first_short(sorted(MISSED, key=lambda name: name != "luhn")))
def test_changes_that_go_unnoticed_are_counted_exactly(name: str) -> None:
    counted = (*missed(published(name), 4, "substitution"), *missed(published(name), 4, "swap"))
    assert counted == tried(name)
    assert (counted[0], counted[2]) == MISSED[name]


def test_swaps_of_unlike_neighbours_over_four_digits_are_36000() -> None:
    assert missed(published("luhn"), 4, "swap") == (800, 36_000)


def checked_book(name: str, length: int) -> Book:
    """Return a book of ``length`` characters of a method's alphabet and its check symbol."""
    method = published(name)
    symbols = method.checks if len(method.checks) >= len(method.values) else method.values
    head, tail = length - length // 2, length // 2
    star = '\n[alphabet.words]\n"*" = "star"' if "*" in symbols else ""
    base = len(method.values)
    return book(
        "check",
        ('[alphabet]\nsymbols = "0123456789"', f'[alphabet]\nsymbols = "{symbols}"{star}'),
        ("# head\nhigh = 99", f"high = {base**head - 1}"),
        ("# tail\nhigh = 99", f"high = {base**tail - 1}"),
        ('symbols = "0123456789"\nwidth = 4', f'symbols = "{method.values}"\nwidth = {length}'),
        ('method = "luhn"', f'method = "{name}"'),
    )


@pytest.mark.parametrize("row", CHECKS, ids=IDS)
def test_published_string_is_read_by_a_book_with_the_method(row: dict[str, str]) -> None:
    checked = checked_book(row["method"], len(row["text"]))
    reading = decode(checked, row["text"] + row["check"], typed=True)
    assert encode(checked, reading).string == row["text"] + row["check"]
    assert decode(checked, checked.alphabet.say(reading.said)) == reading


@pytest.mark.parametrize("row", CHECKS, ids=IDS)
def test_any_other_check_symbol_is_refused(row: dict[str, str]) -> None:
    checked = checked_book(row["method"], len(row["text"]))
    for symbol in set(published(row["method"]).checks) - {row["check"]}:
        with pytest.raises(UnexpectedWord) as refused:
            decode(checked, row["text"] + symbol, typed=True)
        assert refused.value.kind == "check"


@pytest.mark.parametrize("name", REFERENCE)
def test_book_gives_the_check_symbol_of_python_stdnum(name: str) -> None:
    checked, chance = checked_book(name, 8), random.Random(11)
    for _ in range(30):
        text = "".join(chance.choices(published(name).values, k=8))
        reading = decode(checked, text + REFERENCE[name](text), typed=True)
        assert encode(checked, reading).string == text + REFERENCE[name](text)


@pytest.mark.parametrize(
    ("method", "missing"),
    [
        ("iso7064 mod 11-2", "'X'"),
        ("iso7064 mod 37-2", "'A', 'B'"),
        ("iso7064 mod 27,26", "'A', 'B'"),
    ],
)
def test_method_whose_check_symbols_are_not_in_use_is_refused(method: str, missing: str) -> None:
    with pytest.raises(BookError) as refused:
        parse_book(book_text("check", ('method = "luhn"', f'method = "{method}"')))
    (problem,) = refused.value.problems
    assert problem.path == "tables.check.method"
    assert problem.message.startswith(f"{method} may give {missing}")
    assert problem.line > 0
    assert "put the symbols in use" in problem.hint


def test_method_that_cannot_cover_what_stands_before_it_is_refused() -> None:
    change = [
        ('[alphabet]\nsymbols = "0123456789"', f'[alphabet]\nsymbols = "0123456789{LETTERS}"'),
        ('method = "luhn"', 'method = "iso7064 mod 27,26"'),
    ]
    with pytest.raises(BookError) as refused:
        parse_book(book_text("check", *change))
    (problem,) = refused.value.problems
    assert problem.path == "messages.checked.layout"
    assert "covers body, which may say '0', '1'" in problem.message
    assert LETTERS in problem.hint


def test_method_with_two_check_characters_is_no_method_of_a_book() -> None:
    # ISO/IEC 7064 MOD 97-10 gives two characters (794 -> 44, published): a check table is one
    # symbol, so there is none.
    with pytest.raises(BookError) as refused:
        parse_book(book_text("check", ('method = "luhn"', 'method = "iso7064 mod 97-10"')))
    (problem,) = refused.value.problems
    assert problem.path == "tables.check.method"
    assert all(f"'{name}'" in problem.message for name in PUBLISHED)
