"""Any text gives a reading or one of our errors; any book text a book or a BookError.

Never a foreign exception.
"""

from __future__ import annotations

import copy
import json
import pickle
from typing import Any

import pytest
from helpers import attempt, toml_text
from hypothesis import given
from hypothesis import strategies as st
from strategies import Drawn, books

from codec import (
    Ambiguous,
    BookError,
    CodeError,
    EncodeError,
    Reading,
    decode,
    decode_all,
    decode_many,
    encode,
    parse_book,
    readings,
)
from grammar.speech.words import cut

# fmt: off
WORDS = [
    "alfa", "bravo", "kilo", "x-ray", "zero", "one", "niner", "tree", "fife", "for", "to", "ate",
    "won", "oh", "double", "triple",
    "hundred", "thousand", "and", "forty", "seven", "ten", "break", "over", "out", "correction",
    "disregard", "affirm", "roger",
    "read", "back", "say", "again", "i", "all", "after", "before", "words", "twice", "uh", "um",
    "o", "47", "4", "K", "47DK", "?",
    "…", "[unclear]", "minus", "star", "-", "7,", "double-u", "eight.", '"nine"', "KILO", "Kilo",
]
# fmt: on


pytestmark = pytest.mark.usefixtures("short_proofs")


def sound(error: CodeError, text: str) -> None:
    """Check what every error promises."""
    again = pickle.loads(pickle.dumps(error))  # noqa: S301 - our own bytes
    assert type(again) is type(error)
    assert str(again) == str(error) != ""
    assert json.loads(json.dumps(error.as_dict())) == json.loads(json.dumps(again.as_dict()))
    assert error.kind
    assert error.kind == again.kind
    if error.span is not None:
        assert 0 <= error.span[0] <= error.span[1] <= len(text)
        assert error.source == text


def agree(found: list[Reading] | CodeError, reading: Reading | CodeError, text: str) -> None:
    """Check that decode gives the one reading there is, and refuses where there is none, or more
    than one.
    """
    if isinstance(reading, Reading):
        assert found == [reading]
        assert str(reading) in repr(reading)
        json.dumps(reading.as_dict())
        return
    sound(reading, text)
    if isinstance(found, CodeError):
        sound(found, text)
    else:
        assert len(found) > 1
        assert isinstance(reading, Ambiguous)
        assert list(reading.candidates) == [str(one) for one in found[:8]]


def soup(drawn: Drawn) -> st.SearchStrategy[str]:
    spoken = [
        word for entry in drawn.book.alphabet.words.values() for word in (entry.word, *entry.also)
    ]
    word = (
        st.sampled_from(WORDS)
        | st.sampled_from(spoken)
        | st.sampled_from(drawn.book.alphabet.symbols)
    )
    return st.lists(word, max_size=12).map(" ".join) | st.lists(word, max_size=8).map("\n".join)


_ODD = "\x00\x1b\x85\u2028\ud800 \t\r\n-'0AZ²١ß"
ANY = (
    st.text(max_size=60)
    | st.text(st.characters(), max_size=20)
    | st.text(alphabet=_ODD, max_size=20)
)


@given(books(), st.data())
def test_any_text_is_read_or_refused(drawn: Drawn, data: st.DataObject) -> None:
    """Law 7: any input either gives a reading or one of our errors, whole and printable; law 4: a
    tie is refused with its candidates.
    """
    book = drawn.book
    for text in data.draw(st.lists(soup(drawn) | ANY, min_size=1, max_size=8)):
        for direction in (None, *book.directions):
            for typed in (False, True):
                found = attempt(readings, book, text, direction=direction, typed=typed)
                agree(found, attempt(decode, book, text, direction=direction, typed=typed), text)
            everything = attempt(decode_all, book, text, direction=direction)
            if isinstance(everything, CodeError):
                sound(everything, text)
            else:
                json.dumps(everything.as_dicts(book))
        assert len(list(decode_many(book, text.split("\n")))) == text.count("\n") + 1


VALUE: st.SearchStrategy[Any] = (
    st.none()
    | st.integers()
    | st.floats()
    | st.text(max_size=8)
    | st.lists(st.text(max_size=3))
    | st.decimals()
    | st.booleans()
)


@given(books(), st.data())
def test_any_value_is_encoded_or_refused(drawn: Drawn, data: st.DataObject) -> None:
    """Law 7 the other way: any values give a string that reads back, or an EncodeError."""
    book = drawn.book
    names = st.sampled_from([*book.fields, "nothing"])
    values = data.draw(st.dictionaries(names, VALUE, max_size=4))
    for message in (None, data.draw(st.sampled_from([*book.messages, "nothing"]))):
        for by in ("seconds", data.draw(st.text(max_size=4))):
            encoded = attempt(encode, book, values, message, by=by)
            if isinstance(encoded, CodeError):
                assert isinstance(encoded, EncodeError)
                sound(encoded, encoded.source)
            else:
                assert (
                    decode(book, encoded.string, typed=True, direction=encoded.reading.direction)
                    == encoded.reading
                )
                json.dumps(encoded.as_dict())


JUNK: st.SearchStrategy[Any] = (
    st.integers(-3, 10**6)
    | st.integers(10**29, 10**40)
    | st.floats()
    | st.booleans()
    | st.text(max_size=5)
    | st.lists(st.text(max_size=2), max_size=3)
    | st.dictionaries(st.text(max_size=3), st.integers(0, 3), max_size=2)
    | st.decimals(allow_nan=False, allow_infinity=False)
)


def places(node: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """List the paths of all entries below a node."""
    inner = (
        node.items()
        if isinstance(node, dict)
        else enumerate(node)
        if isinstance(node, list)
        else ()
    )
    return [found for key, value in inner for found in ((*path, key), *places(value, (*path, key)))]


@st.composite
def spoilt(draw: st.DrawFn, spec: dict[str, Any]) -> dict[str, Any]:
    """Draw a book with a few entries dropped, replaced, renamed or exchanged."""
    spec = copy.deepcopy(spec)
    for _ in range(draw(st.integers(1, 3))):
        paths = places(spec)
        *where, key = draw(st.sampled_from(paths))
        node: Any = spec
        for part in where:
            node = node[part]
        change = draw(st.sampled_from(["drop", "junk", "rename", "copy", "text"]))
        if change == "drop":
            del node[key]
        elif change == "junk":
            node[key] = draw(JUNK)
        elif change == "rename" and isinstance(node, dict):
            node[
                draw(
                    st.text(min_size=1, max_size=4)
                    | st.sampled_from(["kind", "f0", "usual", "open"])
                )
            ] = node.pop(key)
        elif change == "copy":
            other: Any = spec
            for part in draw(st.sampled_from(paths)):
                if not isinstance(other, dict | list) or (
                    isinstance(other, dict) and part not in other
                ):
                    break
                if isinstance(other, list) and not (isinstance(part, int) and part < len(other)):
                    break
                other = other[part]
            node[key] = copy.deepcopy(other)
        elif isinstance(node[key], str):
            text = list(node[key] or " ")
            text[draw(st.integers(0, len(text) - 1))] = draw(
                st.sampled_from([*'()?|"\\ AZ09é,\n', "", "a b"])
            )
            node[key] = "".join(text)
    return spec


def compiles_or_says_why(text: str) -> None:
    refused = attempt(parse_book, text)
    if isinstance(refused, CodeError):
        assert isinstance(refused, BookError)
        lines = text.replace("\r\n", "\n").split("\n")
        assert refused.problems
        for problem in refused.problems:
            assert 0 <= problem.line <= len(lines)
            assert 0 <= problem.column <= (len(lines[problem.line - 1]) + 1 if problem.line else 0)
            assert (problem.column > 0) == bool(problem.excerpt)
            assert problem.message
        again = pickle.loads(pickle.dumps(refused))  # noqa: S301 - our own bytes
        assert str(again) == str(refused)
        json.dumps(refused.as_dict())


@given(books(), st.data())
def test_a_spoilt_book_is_refused_with_lines_or_still_compiles(
    drawn: Drawn, data: st.DataObject
) -> None:
    """Law 7 for books: a BookError whose places lie in the file, or a book; never anything else."""
    spoil(drawn, data)


def spoil(drawn: Drawn, data: st.DataObject) -> None:
    """Compile a drawn book three times spoilt, and the text of each with junk in it."""
    for _ in range(3):
        text = toml_text(data.draw(spoilt(drawn.draft.spec)))
        compiles_or_says_why(text)
        place = data.draw(st.integers(0, len(text)))
        junk = data.draw(
            st.sampled_from(["[", "]", "=", '"', "\n", "\x00", "'''", "{", "1e9999", "#"])
        )
        compiles_or_says_why(text[:place] + junk + text[place:])


@given(ANY)
def test_any_text_is_a_book_or_refused(text: str) -> None:
    """Law 7 for books: text that is no book at all."""
    compiles_or_says_why(text)


@pytest.mark.parametrize(
    "number",
    [
        "1e30",
        "1.00000000000000000000000000001",
        "-1e-30",
        "9e30",
        "inf",
        "nan",
        "1e-9999999999",
        "0x10",
    ],
)
def test_numbers_at_the_edge_of_what_is_held_exactly(number: str) -> None:
    """Sums of very large and very small numbers stay exact, or are refused by name."""
    for low, high, step in (
        (number, "1e30", "1"),
        ("0", number, "1e-30"),
        ("-1e30", "1e-30", number),
    ):
        text = (
            f'[fields.f]\nkind="quantity"\nlow={low}\nhigh={high}\nstep={step}\n'
            '[tables.f]\nkind="digits"\n[messages.m]\nlayout="f"\n'
        )
        compiles_or_says_why(text)


@given(books(), st.lists(st.sampled_from([*WORDS, "\n"]), max_size=12), st.data())
def test_words_cut_once_are_read_as_their_text(
    drawn: Drawn, words: list[str], data: st.DataObject
) -> None:
    book, text = drawn.book, " ".join(words)
    whole = cut(book.lexicon, text)
    assert [word.text for word in whole] == [text[slice(*word.span)] for word in whole]
    first = data.draw(st.integers(0, len(whole)))
    part = whole[first : data.draw(st.integers(first, len(whole)))]
    for read in (decode, decode_all):
        of_words, of_text = attempt(read, book, whole), attempt(read, book, text)
        if isinstance(of_text, CodeError):
            assert isinstance(of_words, CodeError)
            assert of_words.as_dict() == of_text.as_dict()
        else:
            assert of_words == of_text
    if len(part.said.split()) > 1:  # alone, small letters may be symbols that are a word in talk
        apart, alone = attempt(decode, book, part), attempt(decode, book, part.said)
        if isinstance(apart, Reading) and isinstance(alone, Reading):
            start = part.span[0]
            assert apart == alone
            assert apart.spans == tuple((a + start, b + start) for a, b in alone.spans)
        else:
            assert getattr(apart, "message", apart) == getattr(alone, "message", alone)
