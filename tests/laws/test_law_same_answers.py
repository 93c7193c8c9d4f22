"""The fast paths, the automaton and the generated Lark grammar accept the same strings with the
same readings.
"""

from __future__ import annotations

import gc
import random
from collections import defaultdict
from unittest import mock

import pytest
from helpers import attempt, first_short
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from lark import Lark
from laws.reference import Way
from strategies import Drawn, books

from codec import CodeError, Reading, ReportError, encode, load_book, parse_book, readings
from codec.decoding import decode, decode_many
from grammar.export.lark_grammar import grammar_text, matches
from grammar.message import Direction, Match, Readers, Spelling
from grammar.paths import string_lattice, walk

pytestmark = pytest.mark.usefixtures("short_proofs")
RACE = load_book("examples/race/race.toml")
Answer = tuple[str, tuple[tuple[str, int], ...]]


@st.composite
def near(draw: st.DrawFn, drawn: Drawn) -> str:
    """Draw a string of a book with up to three symbols changed, dropped, added or said twice; or
    two strings run together.
    """
    symbols = list(draw(st.sampled_from(drawn.ways)).string)
    for _ in range(draw(st.integers(0, 3))):
        place = draw(st.integers(0, len(symbols)))
        change = draw(st.sampled_from(["replace", "drop", "add", "twice", "join"]))
        if change == "join":
            symbols += draw(st.sampled_from(drawn.ways)).string
        elif change == "add":
            symbols.insert(place, draw(st.sampled_from(drawn.book.alphabet.symbols)))
        elif place < len(symbols):
            new = {
                "replace": draw(st.sampled_from(drawn.book.alphabet.symbols)),
                "drop": "",
                "twice": symbols[place] * 2,
            }[change]
            symbols[place : place + 1] = new
    return "".join(symbols)


def listed(drawn: Drawn) -> dict[str, set[Answer]]:
    by_string: dict[str, set[Answer]] = defaultdict(set)
    for way in drawn.ways:
        by_string[way.string].add((way.message, way.levels))
    return by_string


@given(books(), st.data())
def test_all_ways_of_reading_a_string_agree(drawn: Drawn, data: st.DataObject) -> None:
    """Law 6: listing, fast path, automaton and Lark grammar accept the same strings with the same
    readings.
    """
    book, every = drawn.book, listed(drawn)
    for string in data.draw(st.lists(near(drawn), min_size=1, max_size=10)):
        for direction in book.directions:
            expected = {
                answer
                for answer in every.get(string, ())
                if book.messages[answer[0]].direction == direction
            }
            walked = [
                (found[0].message.name, tuple(found[0].levels().items()))
                for found, _ in walk(book.automaton(direction), string_lattice(string)).readings()
                if len(found) == 1
            ]
            parsed = [
                (match.message.name, tuple(match.levels().items()))
                for match in matches(book, string, direction)
            ]
            quick = [
                match
                for message in book.sent_by(direction)
                if (match := message.quick(string)) is not None
            ]
            assert len(walked) == len(parsed) == len(expected)
            assert set(walked) == set(parsed) == expected
            assert len(quick) == len(expected)
            assert {
                (match.message.name, tuple(match.levels().items())) for match in quick
            } == expected
            for match in [*quick, *traced(drawn, string, direction, len(expected))]:
                levels = match.levels()
                assert match.string == string
                assert match.values == {
                    name: match.message.fields[name].value(level) for name, level in levels.items()
                }


def traced(drawn: Drawn, string: str, direction: Direction, count: int) -> list[Match]:
    """Return what is read word by word, as in messages with too many ways to be cut."""
    with mock.patch("grammar.message.MOST_CUTS", -1):
        readers = [Readers([message], Spelling(str)) for message in drawn.book.sent_by(direction)]
        found = [read for one in readers if (read := one[len(string)](string)) is not None]
    assert len(found) == count
    return [read[0].match(read) for read in found]


@given(books(), st.data())
def test_the_fast_path_says_what_the_whole_way_says(drawn: Drawn, data: st.DataObject) -> None:
    """Law 6 and law 4: plain words and typed strings are read as with a filler among them; every
    direction, or none told.
    """
    book = drawn.book
    for string in data.draw(st.lists(near(drawn), min_size=1, max_size=8)):
        words = book.alphabet.say(string)
        for direction in (None, *book.directions):
            whole = answers(attempt(readings, book, f"uh {words}", direction=direction))
            fast = answers(attempt(decode, book, words, direction=direction))
            many = next(iter(decode_many(book, [words + "\n"], direction=direction)))
            if len(whole) == 1:
                assert fast == whole
                assert not isinstance(many, CodeError)
            else:
                assert fast == []
                assert isinstance(many, CodeError)
            if len(string) > 1 and string.isalnum():
                assert set(answers(attempt(decode, book, string, direction=direction))) <= set(
                    whole
                )


def answers(found: Reading | list[Reading] | CodeError) -> list[Answer]:
    """Return message and levels of what is read, nothing where it is refused."""
    if isinstance(found, CodeError):
        return []
    return [
        (reading.message, tuple(reading.levels.items()))
        for reading in (found if isinstance(found, list) else [found])
    ]


@pytest.mark.slow
@settings(max_examples=25)
@given(books(), st.data())
def test_the_exported_grammar_accepts_what_is_said(drawn: Drawn, data: st.DataObject) -> None:
    """Law 6: plain Lark, given the generated grammar, accepts the words of every report."""
    book = drawn.book
    text = grammar_text(book)
    for direction in book.directions:
        sent = [way for way in drawn.ways if book.messages[way.message].direction == direction]
        parser = Lark(text, start=direction, parser="earley")
        for way in data.draw(st.lists(st.sampled_from(sent), min_size=1, max_size=5)):
            parser.parse(book.alphabet.say(way.string))
            parser.parse(book.alphabet.say(way.string).upper().replace(" ", "  "))


@given(books(), st.data())
def test_a_line_end_parts_reports(drawn: Drawn, data: st.DataObject) -> None:
    """Law 6: words on two lines are never one report, on whatever path they are read."""
    way: Way = data.draw(st.sampled_from(drawn.ways))
    words = [drawn.book.alphabet.words[symbol].word for symbol in way.string]
    if len(words) < 2:
        return
    cut = data.draw(st.integers(1, len(words) - 1))
    halves = " ".join(words[:cut]) + "\n" + " ".join(words[cut:])
    found = attempt(decode, drawn.book, halves)
    assert isinstance(found, CodeError) or found.said != way.string


@given(st.text("".join(RACE.alphabet.symbols), min_size=2, max_size=9))
def test_a_string_typed_as_one_word_is_refused_for_the_same_symbol_as_typed_apart(
    string: str,
) -> None:
    """Where the two can be told apart from words: "FOR" may be the word for 4."""
    assume(string.lower() not in RACE.lexicon.meanings)
    one, apart = (
        attempt(decode, RACE, text, direction="car") for text in (string, " ".join(string))
    )
    assert type(one) is type(apart)
    if isinstance(one, ReportError) and isinstance(apart, ReportError):
        place, spaced = one.span or (-1, -1), apart.span or (-1, -1)
        assert one.kind == apart.kind
        assert one.source[slice(*place)] == apart.source[slice(*spaced)]
        assert one.source[: place[0]] == apart.source[: spaced[0]].replace(" ", "")


@pytest.mark.parametrize(("check", "count"), first_short([(" c", 20), (" c", 100), ("", 100)]))
def test_a_message_of_many_optional_parts_is_read_by_look_ups(check: str, count: int) -> None:
    """Law 6, where there are dozens of ways to cut a string, or hundreds."""
    parts = [
        f"[fields.f{n}]\nkind = 'quantity'\nlow = 0\nhigh = 9\nstep = 1\nusual = 0\n"
        f"[tables.f{n}]\nkind = 'listed'\nwords = {[f'{letter}{digit}' for digit in range(10)]}\n"
        for n, letter in enumerate("ABCDEFGHIJ")
    ]
    layout = " ".join(f"f{n}?" for n in range(len(parts)))
    closing = "[tables.c]\nkind = 'check'\nmethod = 'iso7064 mod 37,36'\n"
    book = parse_book(f"{''.join(parts)}{closing}[messages.m]\nlayout = '\"ZY\" {layout}{check}'\n")
    message, generator = book.messages["m"], random.Random(4)
    for _ in range(count):
        values = {f"f{n}": generator.choice([0, 0, n, 9]) for n in range(len(parts))}
        string = encode(book, values).string
        assert decode(book, string, typed=True).values == values
        place = generator.randrange(len(string))
        other = string[:place] + generator.choice("AB01") + string[place + 1 :]
        walked = walk(book.automaton("car"), string_lattice(other)).readings()
        match = message.quick(other)
        assert [one.levels() for (one,), _ in walked] == ([match.levels()] if match else [])
    assert message.settles
    string = encode(book, {f"f{n}": 9 if n < 5 else 0 for n in range(len(parts))}).string
    known = _places()
    for number in range(1000):  # what leads nowhere is not kept
        assert message.quick(f"ZY{chr(0x4E00 + number)}{string[3:]}") is None
    assert _places() == known


def _places() -> int:
    """Count what is kept of where words lead, in all messages."""
    return sum(len(one) for one in gc.get_objects() if type(one).__name__ == "_Place")
