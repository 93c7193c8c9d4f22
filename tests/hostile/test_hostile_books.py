"""Books written to break things: what they say is shown as it stands, runs nothing and changes no
grammar; what is wrong is told.
"""

from __future__ import annotations

import contextlib
import re
from collections.abc import Iterator, Sequence

import pytest
from hostile.watchdog import BOOK, book_or_error, settled
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from codec import Book, BookError, decode, encode, parse_book

VALUES = (
    "9" * 5000,
    "0x" + "f" * 100_000,
    "1e999999999",
    "-1e-999999999",
    "1e99999999999999999999",
    "0." + "1" * 100_000,
    "inf",
    "-inf",
    "nan",
    "-1",
    "-10000000000",
    "0",
    "-0.0",
    "0.1",
    "1e30",
    "1e31",
    "9" * 31,
    '"x"',
    '""',
    "true",
    "1979-05-27",
    "07:32:00",
    "[]",
    "[1]",
    "[[]]",
    "{}",
    "{ a = 1 }",
)
PLACES = {
    "title": 'title = "hostile"',
    "whole_numbers": 'whole_numbers = "magnitudes"',
    "kind": 'kind = "quantity"',
    "unit": 'unit = "kWh"',
    "low": "low = -3.0",
    "high": "high = 3.0",
    "step": "step = 0.1",
    "open": 'open = "both"',
    "usual": "usual = 0",
    "limits": 'limits = [{ above = 120, say = "motor hot" }]',
    "flags": 'flags = ["rain", "damage", "pit"]',
    "warn": 'warn = ["damage"]',
    "modulus": "modulus = 10",
    "count": 'count = "value"',
    "symbols": 'symbols = "ABCDEFGH"',
    "method": 'method = "iso7064 mod 37,36"',
    "layout": "layout = '\"S\" energy motor'",
    "says": 'says = ["full course", "yellow yellow"]',
}
ADDED = {
    "rate": "[alphabet]\nwords_per_minute = {}\n",
    "in use": "[alphabet]\nsymbols = {}\n",
    "word": "[alphabet.words]\nA = {}\n",
    "milliseconds": "[alphabet.words.A]\nword = 'dog'\nmilliseconds = {}\n",
    "width": "[tables.more]\nkind = 'digits'\nfield = 'energy'\nwidth = {}\n",
    "first": "[tables.more]\nkind = 'digits'\nfield = 'energy'\nfirst = {}\n",
    "per": "[tables.more]\nkind = 'digits'\nfield = 'motor'\ncount = 'value'\nper = {}\n",
    "lowest": "[tables.more]\nkind = 'digits'\nfield = 'motor'\nlowest = {}\n",
    "words": "[tables.more]\nkind = 'listed'\nfield = 'motor'\nwords = {}\n",
    "packed": "[tables.more]\nkind = 'packed'\nfields = {}\n",
    "weights": (
        "[tables.more]\nkind = 'check'\nmethod = 'weighted sum'\nweights = [{},"
        " 1]\n[messages.more]\nlayout = '\"M\" energy more'\n"
    ),
    "modulus of a check": (
        "[tables.more]\nkind = 'check'\nmethod = 'weighted sum'\nweights = [1]\nmodulus = {}\n"
    ),
    "edges": "[fields.more]\nkind = 'bands'\nedges = [{}]\n",
    "edge list": "[fields.more]\nkind = 'bands'\nedges = {}\n",
    "share": "[fields.more]\nkind = 'flags'\nflags = ['a']\nshare = {}\n",
    "options": "[fields.more]\nkind = 'choice'\noptions = {}\n",
    "modulus of a field": "[fields.more]\nkind = 'wrapped'\nmodulus = {}\n",
    "direction": "[messages.more]\nlayout = '\"M\" energy'\ndirection = {}\n",
    "a section": "more = {}\n",
    "fillers": "[speech.more]\nfillers = {}\n",
}
NAMES = (
    "a b",
    "a\\nb",
    "]",
    "[red]",
    "%import x",
    "a: b",
    "(",
    "\\u202e",
    "\\u200b",
    "é",
    "",
    "a" * 61,
    "__class__",
    "../../etc",
    "a.b",
    "{0}",
    "$(id)",
    "energy",
)
TEXTS = (
    "[red]hot[/red]",
    "[link=file:///]x[/link]",
    ":smile:",
    "\\u0007",
    "\\u001b[31m",
    "\\u202eabc",
    "{0}{0.__class__}",
    "%s%n",
    "'\"`\\\\",
    "(?:a+)+$",
    "שלום",
    "e\\u0301",
)


@contextlib.contextmanager
def named(value: str) -> Iterator[None]:
    """Name the value that a failure is about."""
    try:
        yield
    except BaseException as error:
        error.add_note(f"with {value[:100]!r}")
        raise


def some(place: str, every: int) -> Sequence[str]:
    """Return every third value, or so: other values at one place than at the next."""
    return VALUES[[*PLACES, *ADDED].index(place) % every :: every]


EVERY = pytest.mark.parametrize("every", [22, pytest.param(1, marks=pytest.mark.slow)])


@EVERY
@pytest.mark.parametrize("place", PLACES)
def test_a_wrong_value_anywhere_is_told_or_right(place: str, every: int) -> None:
    key = PLACES[place]
    assert BOOK.count(key) >= 1
    for value in some(place, every):
        with named(value):
            book_or_error(BOOK.replace(key, f"{key.split(' ')[0]} = {value}", 1))


@EVERY
@pytest.mark.parametrize("place", ADDED)
def test_a_wrong_value_in_an_added_entry_is_told_or_right(place: str, every: int) -> None:
    for value in some(place, every):
        text = ADDED[place].format(value)
        with named(value):
            book_or_error(text + BOOK if place == "a section" else BOOK + text)


@pytest.mark.parametrize("value", VALUES[:6], ids=lambda value: value[:14])
def test_a_number_out_of_all_proportion_is_named_at_its_line(value: str) -> None:
    found = book_or_error(BOOK.replace("low = -3.0", f"low = {value}"))
    assert isinstance(found, BookError)
    assert found.problems[0].line == BOOK.split("\n").index("low = -3.0") + 1


@pytest.mark.parametrize("section", ["fields", "tables", "messages", "phrases"])
@pytest.mark.parametrize("name", NAMES)
def test_a_name_is_a_plain_name_or_told(section: str, name: str) -> None:
    body = {
        "fields": "kind = 'flags'\nflags = ['a']",
        "tables": "kind = 'digits'\nfield = 'energy'",
        "messages": "layout = '\"M\" energy'",
        "phrases": "says = ['slow car']",
    }
    found = book_or_error(f'{BOOK}["{section}"."{name}"]\n{body[section]}\n')
    plain = re.fullmatch(r"[A-Za-z_][A-Za-z0-9_]{0,59}", name) is not None and not (
        name == "energy" and section in ("fields", "tables")
    )
    assert isinstance(found, Book) == plain


@pytest.mark.parametrize("text", TEXTS)
def test_labels_titles_units_and_options_may_be_any_text_and_decoding_goes_on(text: str) -> None:
    book = BOOK.replace('title = "hostile"', f'title = "{text}"').replace(
        'unit = "kWh"', f'unit = "{text}"\nlabel = "{text}"'
    )
    found = book_or_error(
        book.replace('flags = ["rain",', f'flags = ["{text}",').replace(
            'say = "motor hot"', f'say = "{text}"'
        )
    )
    if isinstance(found, Book):
        reading = settled(lambda: decode(found, "S 3 0 1 2 1"))
        assert reading.said == "S30121"
        assert encode(found, reading).string == "S30121"


@pytest.mark.parametrize(
    "word",
    [
        "(?:a+)+$",
        "alfa|bravo",
        "/alfa/",
        "%ignore",
        "alfa\\nbravo",
        "[red]",
        "\\u202e",
        "a\\u0301\\u0302b",
        "a" * 61,
        "",
        " ",
        "'",
        "one",
        "to",
        "correction",
        "break",
        "uh",
    ],
)
def test_a_spelling_word_is_letters_and_digits_of_its_own_or_told(word: str) -> None:
    found = book_or_error(f'{BOOK}[alphabet.words]\nB = "{word}"\n')
    assert isinstance(found, BookError) or word == "uh"
    found = book_or_error(BOOK.replace('"yellow yellow"', f'"{word}"'))
    assert isinstance(found, BookError)


def test_grammar_characters_as_symbols_reach_no_grammar() -> None:
    from grammar.export.lark_grammar import grammar_text

    signs = "!#$%&()*+,-./:;<=>?@[]^_`{|}~\\"
    words = "".join(
        f"'{sign}' = 'sign{chr(97 + n // 26)}{chr(97 + n % 26)}'\n" for n, sign in enumerate(signs)
    )
    levels = len(signs) - 1
    book = parse_book(
        f"[alphabet]\nsymbols = '0123456789{signs}'\n[alphabet.words]\n{words}"
        f"[fields.f]\nkind = 'quantity'\nlow = 0\nhigh = {levels}\nstep = 1\n"
        f"[tables.f]\nkind = 'scale'\nsymbols = '{signs}'\n[messages.m]\nlayout = 'f'\n"
    )
    from lark import Lark

    lark = Lark(grammar_text(book), parser="lalr", start="car")
    for level, sign in enumerate(signs):
        assert decode(book, sign, typed=True).values["f"] == level
        assert decode(book, book.alphabet.words[sign].word).values["f"] == level
        assert lark.parse(book.alphabet.words[sign].word)


@pytest.mark.parametrize(
    "layout",
    [
        "energy motor",
        '"S" energy "',
        "energy)(",
        "energy ** motor",
        "?energy",
        "energy??",
        "(energy?)?",
        "energy | motor?",
        "",
        "  ",
        '""',
        '"s"',
        '"\\u0000"',
        "energy\\u200bmotor",
        "energy \\u202emotor",
        "énergie",
        "energy:motor",
        "%import",
        "energy;motor",
        '"S" energy energy',
        '"S" nothing',
    ],
)
def test_a_broken_layout_is_told_with_its_place(layout: str) -> None:
    found = book_or_error(
        BOOK.replace(
            "layout = '\"S\" energy motor'", 'layout = "' + layout.replace('"', '\\"') + '"'
        )
    )
    assert isinstance(found, Book) == (layout == "energy motor")
    if isinstance(found, BookError):
        assert found.problems[0].path.startswith("messages.short")


def test_overlapping_codewords_are_told_with_both_readings() -> None:
    words = 'kind = "listed"\nwords = ["A", "AB", "B", "BA", "C", "D", "E", "F"]'
    found = book_or_error(
        BOOK.replace('kind = "scale"\nsymbols = "ABCDEFGH"', words).replace(
            "alert? sum", "alert energy2"
        )
        + '[fields.energy2]\nkind = "choice"\noptions = ["x", "y"]\n[tables.energy2]\nkind ='
        ' "listed"\nwords = ["BC", "C"]\n'
    )
    assert isinstance(found, BookError)
    assert "two readings" in str(found)


@pytest.mark.parametrize(
    "words",
    [
        '["A", "A"]',
        '["A", "AB", "A"]',
        '{ a = "A", A = "B" }',
        '["", "A"]',
        '["AÀ", "B"]',
        '["a", "b"]',
    ],
)
def test_codewords_that_stand_twice_or_are_none_are_told(words: str) -> None:
    text = (
        '[fields.f]\nkind = "choice"\noptions = ["a", "b"]\n[tables.f]\nkind = "listed"\nwords ='
        f' {words}\n[messages.m]\nlayout = "f"\n'
    )
    assert isinstance(book_or_error(text), BookError)


@pytest.mark.parametrize("section", ["fields", "tables", "messages"])
def test_a_section_without_entries_is_told(section: str) -> None:
    whole = re.sub(rf"(?ms)^\[{section}\..*?(?=^\[(?!{section}\.)|\Z)", "", BOOK)
    for text in (
        whole,
        f"{section} = {{}}\n{whole}",
        f"{section} = []\n{whole}",
        f"{section} = 1\n{whole}",
    ):
        found = book_or_error(text)
        assert isinstance(found, BookError)
        assert any(
            section in problem.path or section in problem.message for problem in found.problems
        )


PIECES = sorted(
    {line for line in BOOK.split("\n") if line}
    | {
        '"',
        "'",
        "[",
        "]",
        "{",
        "}",
        "=",
        "\\u0000",
        "\x00",
        "\ufeff",
        "[[fields.energy]]",
        "[fields]",
        "é",
    }
)


@settings(
    max_examples=2 * settings().max_examples,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
)
@given(
    st.integers(0, len(BOOK)),
    st.integers(0, 40),
    st.one_of(st.text(max_size=8), st.sampled_from(PIECES)),
)
@example(0, len(BOOK), "")
def test_a_book_changed_anywhere_is_read_or_told(place: int, length: int, new: str) -> None:
    book_or_error(BOOK[:place] + new + BOOK[place + length :])


@settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.sampled_from(PIECES), max_size=40))
def test_the_lines_of_a_book_in_any_order_are_read_or_told(lines: list[str]) -> None:
    book_or_error("\n".join(lines))
