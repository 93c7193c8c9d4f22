"""What is encoded is decoded to the same, and no other string of a reading costs less."""

from __future__ import annotations

from collections import defaultdict

import pytest
from hypothesis import given
from hypothesis import strategies as st
from laws.reference import Way
from strategies import Drawn, books

from codec import decode, encode
from grammar.message import Direction

pytestmark = pytest.mark.usefixtures("short_proofs")


def direction_of(drawn: Drawn, way: Way) -> Direction:
    return drawn.book.messages[way.message].direction


@given(books(), st.data())
def test_every_string_is_decoded_to_what_it_says(drawn: Drawn, data: st.DataObject) -> None:
    """Law 1, second half of the way: typed and spoken, a string gives the levels that the
    specification gives it.
    """
    for way in data.draw(st.lists(st.sampled_from(drawn.ways), min_size=1, max_size=12)):
        for text, typed in ((way.string, True), (drawn.book.alphabet.say(way.string), False)):
            reading = decode(drawn.book, text, direction=direction_of(drawn, way), typed=typed)
            assert (reading.message, reading.levels, reading.said) == (
                way.message,
                dict(way.levels),
                way.string,
            )
            assert [part.string for part in reading.parts] == [
                symbols for _, _, symbols in way.pieces
            ]
            assert set(reading.values) == set(reading.levels)


@given(books(), st.data())
def test_what_is_encoded_is_decoded_to_the_same(drawn: Drawn, data: st.DataObject) -> None:
    """Law 1: decode(encode(r)) == r for every reading; encode(decode(s)) is the canonical string,
    and that of itself.
    """
    book = drawn.book
    for way in data.draw(st.lists(st.sampled_from(drawn.ways), min_size=1, max_size=12)):
        direction = direction_of(drawn, way)
        reading = decode(book, way.string, direction=direction, typed=True)
        encoded = encode(book, reading)
        assert encoded.reading == reading
        assert decode(book, encoded.words, direction=direction) == reading
        assert decode(book, encoded.string, direction=direction, typed=True) == reading
        assert encoded.string == reading.string
        assert encode(book, encoded.reading).string == encoded.string
        numbered = {one for times in book.lists.values() for one in times}
        single = {n: value for n, value in reading.values.items() if n not in numbered}
        for values in (reading.values, single | reading.lists):
            again = encode(book, values, reading.message).reading
            assert again.levels.items() >= reading.levels.items()


def price(drawn: Drawn, way: Way, by: str) -> float:
    """Price a way from the words of the alphabet: in its digits tables whole hundreds and thousands
    may be said as such.
    """
    book = drawn.book
    total = 0.0
    for _, table, symbols in way.pieces:
        kind = drawn.draft.spec["tables"].get(table, {}).get("kind")
        words: list[str] = list(symbols)
        if kind == "digits" and book.rules.whole_numbers == "magnitudes" and symbols.isdigit():
            number = int(symbols)
            if 100 <= number < 100_000 and number % 100 == 0 and len(str(number)) == len(symbols):
                words = [*str(number // 1000), "thousand"] if number >= 1000 else []
                words += [str(number // 100 % 10), "hundred"] if number // 100 % 10 else []
        for word in words:
            entry = book.alphabet.words.get(word)
            if entry is None:
                total += book.alphabet.magnitudes(by)[word]
            else:
                total += entry.seconds if by == "seconds" else entry.syllables
    return total if by != "symbols" else float(len(way.string))


@given(books(), st.sampled_from(["seconds", "symbols", "syllables"]))
def test_no_other_string_of_a_reading_costs_less(drawn: Drawn, by: str) -> None:
    """Law 5: encode is optimal; listing every string of a reading finds none that costs less."""
    book = drawn.book
    least: dict[tuple[str, tuple[tuple[str, int], ...]], list[tuple[float, int]]] = defaultdict(
        list
    )
    for way in drawn.ways:
        least[way.message, way.levels].append((price(drawn, way, by), len(way.string)))
    several = sorted(least.items(), key=lambda item: -len(item[1]))[:10]  # those said in most ways
    for (message, levels), prices in several:
        string = book.messages[message].cheapest(dict(levels), book.cost(by))
        assert string is not None
        told = [way for way in drawn.ways if (way.message, way.string) == (message, string)]
        assert [way.levels for way in told] == [levels]
        assert price(drawn, told[0], by) == pytest.approx(min(prices)[0])
        reading = decode(book, string, direction=direction_of(drawn, told[0]), typed=True)
        encoded = encode(book, reading, by=by)
        assert encoded.string == string
        if by == "seconds":
            assert encoded.string == reading.string
