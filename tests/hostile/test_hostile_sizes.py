"""Books far too large or too deep are read or refused, in bounded time."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import pytest
from hostile.large import ACCEPTED, REFUSED
from hostile.watchdog import BOOK, LONG, book_or_error, niner, settled, some_long

from codec import Book, BookError, decode, decode_all, parse_book
from grammar.message import MOST_KEPT, Spelling

REPORTS = (
    "4 7 D K",
    "S 3 0 1 2 0",
    "AAA0Z",
    "0" * 300,
    "0 " * 10_000,
    "AAA0" * 100 + "Z",
    "A",
    "9 niner for to " * 50,
)
LONG_REFUSED = (
    "10,000 codewords alike",
    "10,000 messages",
    "700 optional parts, run together",
    "5,000 keys of 64 parts",
    "120,000 codewords of eight symbols",
    "10,000 checks",
    "20,000 optional symbols",
    "26,000 codewords of forty symbols",
    "100,000 unknown keys",
    "40 optional parts alike and a check",
    "10,000 fields with an unknown key",
    "10,000 tables without field",
    "10,000 fields with nothing",
    "10,000 optional parts",
    "1,400 optional parts",
    "700 optional parts",
    "10,000 alternatives",
    "3,000 headers of 64 parts",
    "10,000 unknown sections",
    "700 messages, run together",
    "10,000 tables with an unknown key",
    "four tables of 40,000 codewords of eight symbols",
)
LONG_ACCEPTED = (
    "1 MB of comments",
    "100 optional parts and a check",
    "10,000 phrases",
    "10,000 parts",
    "700 alternatives",
    "100,000 listed codewords",
    "100 optional parts",
    "100 optional parts, run together",
    "300 messages",
    "10,000 listed codewords",
    "10,000 listed codewords by option",
    "10,000 bands with names",
    "100,000 listed codewords by value",
    "25,000 codewords of forty symbols",
    "30,000 codewords of eight symbols",
)


@pytest.mark.parametrize("name", some_long(REFUSED, LONG_REFUSED))
def test_a_book_out_of_all_proportion_is_refused_with_what_is_wrong(name: str) -> None:
    found = book_or_error(REFUSED[name]())
    assert isinstance(found, BookError)


@pytest.mark.parametrize("name", some_long(ACCEPTED, LONG_ACCEPTED))
def test_a_large_book_is_read_and_reads_reports_in_bounded_time(name: str) -> None:
    book = book_or_error(ACCEPTED[name]())
    assert isinstance(book, Book), str(book)[:500]
    for report in REPORTS:
        settled(partial(decode_all, book, report))
        settled(partial(decode, book, report))


@pytest.mark.slow
@pytest.mark.parametrize("name", ACCEPTED)
def test_a_large_book_is_checked_in_bounded_time(name: str, tmp_path: Path) -> None:
    path = tmp_path / "large.toml"
    path.write_text(ACCEPTED[name](), "utf-8")
    assert niner(["book", "check", path], seconds=LONG).returncode == 0


def test_what_is_kept_of_codewords_stays_bounded() -> None:
    table = parse_book(BOOK).tables["motor"]
    kept, symbols = Spelling(str).codewords(table, 3), table.alphabet.symbols
    most = 0
    for n in range(MOST_KEPT * 2):
        word = [symbols[n // place % len(symbols)] for place in (1, 31, 907)]
        found = kept[word[0]][word[1]][word[2]]
        assert bool(found) == (table.levels("".join(word)) is not None)
        if n % 5000 == 0:
            most = max(most, sum(len(child) for one in kept.values() for child in one.values()))
    assert 1000 < most <= MOST_KEPT
    assert not kept["~"]["~"]["~"]
    assert "~" not in kept


def test_the_first_problem_of_a_deep_key_names_its_line() -> None:
    found = book_or_error('title = "x"\na' + ".a" * 1000 + " = 1")
    assert isinstance(found, BookError)
    assert found.problems[0].line == 2


def test_many_decimals_in_a_row_are_no_deep_key() -> None:
    found = book_or_error(
        "[fields.f]\nkind = 'bands'\nedges = ["
        + ", ".join(f"{n}.5" for n in range(200))
        + "]\n[tables.f]\nkind = 'digits'\n[messages.m]\nlayout = 'f'\n"
    )
    assert isinstance(found, Book)
