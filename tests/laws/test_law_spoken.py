"""However a report is said and written down, it is read as meant or refused; and every word of the
text has its one place.
"""

from __future__ import annotations

from typing import NamedTuple

import pytest
from helpers import attempt
from hypothesis import given
from hypothesis import strategies as st
from laws.reference import Way
from strategies import Drawn, books

from codec import Ambiguous, CodeError, Reading, decode, decode_all
from grammar import data
from grammar.message import Direction
from grammar.speech.kinds import WordKind

pytestmark = pytest.mark.usefixtures("short_proofs")

HOMOPHONES = {"1": "won", "2": "too", "4": "for", "8": "ate", "0": "oh", "2 ": "to"}
SMALL = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]
TEENS = [
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
TENS = ["", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]
FILLERS = ["uh", "um", "er", "okay", "please"]
MULTIPLES = {2: "double", 3: "triple", 4: "quadruple"}


class Told(NamedTuple):
    """One way a report was said: the words as written, and whether they can be taken in one way
    only.
    """

    words: list[str]
    plain: bool


@st.composite
def told(draw: st.DrawFn, drawn: Drawn, string: str) -> Told:
    """Say a string: spelling words, variants, typed symbols, homophones, number words, double and
    triple, fillers, capitals.
    """
    words, plain, place = [], True, 0
    while place < len(string):
        form, taken = draw(_piece(drawn, string[place:]))
        words.append(form)
        plain = plain and _plain(drawn, form)
        place += taken
        if draw(st.integers(0, 5)) == 5:
            words.append(draw(st.sampled_from(FILLERS)))
    ending = draw(st.sampled_from(["", "", ",", "!"]))
    if ending and ending not in drawn.book.alphabet.symbols:
        words[-1] += ending
    return Told(words, plain)


def _plain(drawn: Drawn, form: str) -> bool:
    """Tell whether a form is a spelling word in small letters, which has one meaning only."""
    return (
        form
        in {
            word
            for entry in drawn.book.alphabet.words.values()
            for word in (entry.word, *entry.also)
        }
        and not form.isdigit()
    )


@st.composite
def _piece(draw: st.DrawFn, drawn: Drawn, rest: str) -> tuple[str, int]:
    symbol, entry = rest[0], drawn.book.alphabet.words[rest[0]]
    same = len(rest) - len(rest.lstrip(symbol))
    forms: list[tuple[str, int]] = [(entry.word, 1)] * 4 + [(word, 1) for word in entry.also]
    forms += [(entry.word.capitalize(), 1), (entry.word.upper(), 1), (symbol, 1)]
    forms += [
        (rest[:count], count) for count in (2, 3) if len(rest) >= count and rest[:count].isalnum()
    ]
    if symbol in HOMOPHONES:
        forms.append((HOMOPHONES[symbol], 1))
    forms += [(f"{word} {entry.word}", count) for count, word in MULTIPLES.items() if same >= count]
    digits = rest[:2]
    if len(digits) == 2 and digits.isdigit():
        number = int(digits)
        if 10 <= number < 20:
            forms.append((TEENS[number - 10], 2))
        elif number >= 20:
            forms.append(
                (
                    (
                        f"{TENS[number // 10]} {SMALL[number % 10]}"
                        if number % 10
                        else TENS[number // 10]
                    ),
                    2,
                )
            )
    if rest[:3].isdigit() and rest[1:3] == "00" and symbol != "0":
        forms.append((f"{SMALL[int(symbol)]} hundred", 3))
    return draw(st.sampled_from(forms))


def meant(drawn: Drawn, way: Way, text: str, *, plain: bool) -> Reading | None:
    """Check that a text is read as meant, or refused as a tie that names what was meant; return the
    reading.
    """
    direction = drawn.book.messages[way.message].direction
    wanted = decode(drawn.book, way.string, typed=True, direction=direction)
    reading = attempt(decode, drawn.book, text, direction=direction)
    if isinstance(reading, CodeError):
        assert not plain
        if isinstance(reading, Ambiguous):
            assert len(reading.candidates) > 1
            assert str(wanted) in reading.candidates or len(reading.candidates) == 8
        else:
            assert reading.kind in ("several-reports", "too-many-ways", "procedure")
            assert reading.kind != "several-reports" or drawn.book.rules.run_together
        return None
    assert reading == wanted
    assert (reading.values, reading.string) == (wanted.values, wanted.string)
    return reading


@given(books(), st.data())
def test_a_report_is_read_as_meant_however_it_is_said(drawn: Drawn, data: st.DataObject) -> None:
    """Laws 1 and 4: a wrong reading is worse than a refusal; what can be taken in two ways is a
    tie, and the tie names both.
    """
    for way in data.draw(st.lists(st.sampled_from(drawn.ways), min_size=1, max_size=5)):
        said = data.draw(told(drawn, way.string))
        text = data.draw(st.sampled_from([" ", "  ", "\t"])).join(said.words)
        reading = meant(drawn, way, text, plain=said.plain)
        if reading is not None:
            in_order(reading, text)


def in_order(reading: Reading, text: str) -> None:
    """Check that the places of the symbols and parts lie in the text, in order."""
    assert len(reading.spans) == len(reading.said)
    assert all(0 <= start < end <= len(text) for start, end in reading.spans)
    assert list(reading.spans) == sorted(reading.spans)
    parts = [part.span for part in reading.parts]
    assert parts == sorted(parts)
    place = 0
    for part in reading.parts:
        assert part.span[0] == reading.spans[place][0]
        place += len(part.string)
        assert part.span[1] == reading.spans[place - 1][1]


@given(books(), st.data())
def test_procedure_words_do_what_the_handbooks_say(drawn: Drawn, data: st.DataObject) -> None:
    """Law 4 with corrections: CORRECTION goes on from the repeated group, I SAY AGAIN repeats or
    begins anew, DISREGARD drops.

    ICAO Doc 9432 2.6, SERA.14075.
    """
    way: Way = data.draw(st.sampled_from(drawn.ways))
    say, string = drawn.book.alphabet.say, way.string
    other = data.draw(st.sampled_from(drawn.ways)).string
    cut = data.draw(st.integers(1, len(string)))
    wrong = data.draw(st.text(alphabet=drawn.book.alphabet.symbols, max_size=3))
    back = data.draw(st.integers(0, cut - 1))
    text = data.draw(
        st.sampled_from(
            [
                f"{say(string[:cut])} {say(wrong)} correction {say(string[back:])}",
                f"{say(other)} correction i say again {say(string)}",
                f"{say(string)} i say again {say(string)}",
                f"{say(string)} i say again {say(string[back:cut])}",
                f"{say(string[:cut])} i say again {say(string)}",
                f"{say(other)} disregard {say(string)}",
                f"words twice {say(string)} {say(string)}",
                "words twice " + " ".join(f"{say(symbol)} {say(symbol)}" for symbol in string),
            ]
        )
    )
    reading = meant(drawn, way, text, plain=False)
    if reading is not None:
        in_order(reading, text)


@given(books(), st.data())
def test_every_word_of_a_transcript_has_its_one_place(drawn: Drawn, data: st.DataObject) -> None:
    """Law 3: every word belongs to exactly one span, or there is an error; nothing is dropped in
    silence.
    """
    book = drawn.book
    direction: Direction = data.draw(st.sampled_from(book.directions))
    sent = [way for way in drawn.ways if book.messages[way.message].direction == direction]
    ways = data.draw(st.lists(st.sampled_from(sent), min_size=1, max_size=4))
    said = [data.draw(told(drawn, way.string)) for way in ways]
    extra = data.draw(st.sampled_from(["roger", "uh", "", "read back", "say again all after"]))
    extra += (
        f" {book.alphabet.words[book.alphabet.symbols[0]].word}" if extra.endswith("after") else ""
    )
    text = data.draw(st.sampled_from(["\n", " break ", " over\n", "\nbreak\n"])).join(
        [*(" ".join(one.words) for one in said), extra]
    )
    transcript = attempt(decode_all, book, text, direction=direction)
    if isinstance(transcript, CodeError):
        assert not all(one.plain for one in said)
        return
    covered = [False] * len(text)
    for mark in transcript.marks:
        start, end = mark.span
        assert mark.text == text[start:end]
        assert not any(covered[start:end])
        covered[start:end] = [True] * (end - start)
        assert mark.kind in ("symbol", "filler", "procedure", "event")
    assert (
        "".join(c for c, taken in zip(text, covered, strict=True) if not taken).strip(" \n\t,!")
        == ""
    )
    symbols = [mark.span for mark in transcript.marks if mark.kind == "symbol"]
    for reading in transcript.reports:
        in_order(reading, text)
        for s, e in reading.spans:  # a symbol lies in its word, or (forty seven) takes in several
            assert any(
                (start <= s and e <= end) or (s <= start and end <= e) for start, end in symbols
            )
    if all(one.plain for one in said):
        assert [report.said for report in transcript.reports] == [way.string for way in ways]
    assert len(transcript.asks) == ("say again" in extra)
    assert len(transcript.answers) == (extra in ("roger", "read back"))


@given(books(), st.data())
def test_reports_that_run_together_are_parted_where_the_book_allows_it(
    drawn: Drawn, data: st.DataObject
) -> None:
    """Law 2 in use: several reports said without a pause are read one after the other, or refused
    where the book does not allow it.
    """
    book = drawn.book
    direction = book.directions[0]
    sent = [way for way in drawn.ways if book.messages[way.message].direction == direction]
    ways = data.draw(st.lists(st.sampled_from(sent), min_size=2, max_size=5))
    text = book.alphabet.say("".join(way.string for way in ways))
    if book.rules.run_together:
        transcript = decode_all(book, text, direction=direction)
        assert [report.said for report in transcript.reports] == [way.string for way in ways]
        assert [dict(way.levels) for way in ways] == [
            report.levels for report in transcript.reports
        ]
        return
    found = attempt(decode_all, book, text, direction=direction)
    if isinstance(found, CodeError):
        assert found.span is not None
    else:
        assert len(found.reports) == 1


def test_the_kinds_of_words_are_the_terminals_of_the_speech_grammar() -> None:
    declared = {
        name
        for line in data.text("speech.lark").splitlines()
        if line.startswith("%declare")
        for name in line.split()[1:]
    }
    never_of_a_book = {WordKind.UNKNOWN, WordKind.UNCLEAR, WordKind.CHOICE}
    assert declared == set(WordKind) - never_of_a_book
