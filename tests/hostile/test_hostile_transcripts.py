"""Transcripts nobody said: read or refused, in bounded time, and shown without anything that could
forge output.
"""

from __future__ import annotations

from functools import partial
from pathlib import Path

import pytest
from helpers import first_short
from hostile.watchdog import BOOK, TOGETHER, printable, settled, some_long
from hypothesis import given, settings
from hypothesis import strategies as st
from sheet.support import race_book

from codec import CodeError, ReportError, decode, decode_all, decode_many, parse_book, readings
from codec.hear import hear
from codec.log.session import Session
from codec.radio.crews import crews_of
from codec.radio.importing import drafts
from codec.radio.listener import Listener
from codec.sheet import Journal

PLAIN, JOINED = parse_book(BOOK), parse_book(TOGETHER)
BOOKS = {"alone": PLAIN, "run together": JOINED}
MANY = 99_990  # just within the length that is read at once

UNITS = (
    "4 ",
    "4",
    "forty seven ",
    "for to ",
    "FOR TO ",
    "double four ",
    "double triple ",
    "one hundred and twenty ",
    "nine thousand nine hundred ",
    "CORRECTION ",
    "4 CORRECTION ",
    "4 4 CORRECTION ",
    "i say again ",
    "4 i say again ",
    "words twice ",
    "disregard ",
    "say again ",
    "uh ",
    "niner-",
    "- ",
    "\n",
    "4\n",
    "break ",
    "full ",
    "full course ",
    "S 3 0 1 2 0 ",
    "S 30 one twenty ",
    "S30120 ",
    "S30120",
    "K4 ",
    "[",
    "ﷺ",
)
LONG = (
    "S 3 0 1 2 0 ",
    "S30120",
    "\ufdfa",
    "4 ",
    "for to ",
    "one hundred and twenty ",
    "CORRECTION ",
    "4 CORRECTION ",
    "i say again ",
    "say again ",
    "uh ",
    "4\n",
    "full ",
    "S 30 one twenty ",
    "S30120 ",
    "K4 ",
    "forty seven ",
    "4 4 CORRECTION ",
    "double four ",
    "disregard ",
    "4 i say again ",
)
STRANGE = {
    "right-to-left override": "S 3 0 \u202e1 2 0",
    "Hebrew": "S 3 0 אחת 2 0",
    "zero-width joiner": "S 3 0 1\u200d 2 0",
    "combining": "S 3 0 1\u0301 2 0",
    "surrogate": "S 3 0 \ud800 2 0",
    "NUL": "S 3 0 1\0 2 0",
    "escape": "S 3 0 \x1b[31m1 2 0",
    "quotes": "S '3' \"0\" `1` 2 0",
    "pattern": "S 3 0 (?:1+)+$ 2 0",
    "grammar": "S 3 0 %ignore /1/ 2 0",
    "markup": "S 3 0 [red]1[/red] 2 0",
    "a letter that grows": "S 3 0 \u0130 2 0",
    "another alphabet's digits": "S 3 0 ١ 2 0",
    "nothing": "",
    "white space": " \t\r\n\v\f\u2003",
}


@pytest.mark.parametrize("unit", some_long(UNITS, LONG))
def test_a_long_transcript_is_read_or_refused_in_bounded_time(unit: str) -> None:
    text = unit * (MANY // len(unit))
    settled(lambda: decode_all(JOINED, text))
    settled(lambda: decode_all(PLAIN, text[:20_000]))
    settled(lambda: next(decode_many(PLAIN, [text[:20_000]])))


@pytest.mark.parametrize("unit", UNITS)
def test_a_megabyte_in_one_line_is_refused_at_once(unit: str) -> None:
    text = unit * (1_000_000 // len(unit))
    for typed in (False, True):
        error = settled(partial(decode, JOINED, text, typed=typed), seconds=1)
        assert isinstance(error, CodeError)
        assert len(str(error)) < 2000


@pytest.mark.slow
@pytest.mark.parametrize("symbols", [pytest.param(1000, marks=pytest.mark.slow), 50_000])
@pytest.mark.parametrize(
    "between",
    some_long(
        ["CORRECTION", "i say again", "words twice", "disregard", "correction i say again"],
        ["CORRECTION", "words twice", "i say again"],
    ),
)
def test_long_runs_around_a_procedure_word_are_bounded(symbols: int, between: str) -> None:
    run = "0 " * (symbols // 2)
    settled(lambda: decode_all(JOINED, f"{run}{between} {run}"[:MANY]))
    settled(lambda: decode_all(JOINED, f"{'0' * symbols} {between} 0 1"))


@pytest.mark.parametrize(
    "text",
    [
        "S 3 0 1 2 0 " + "CORRECTION 0 1 2 0 " * 500,
        "4 4 4 4 4 4 4 4 CORRECTION 4 " * 15,
        "FOR TO FOR TO FOR TO FOR TO FOR i say again " * 15,
        "FOR TO " * 16 + "CORRECTION " + "FOR TO " * 16,
        "KILO " * 12 + "CORRECTION KILO",
    ],
)
def test_corrections_that_leave_much_open_are_bounded(text: str) -> None:
    error = settled(lambda: decode_all(PLAIN, text))
    assert isinstance(error, ReportError)


def test_a_correction_still_corrects() -> None:
    assert decode(PLAIN, "S 3 0 1 2 0 CORRECTION 1 2 1").said == "S30121"


def test_thousands_of_reports_run_together_are_all_read() -> None:
    with_words = settled(lambda: decode_all(JOINED, "S 3 0 1 2 0 " * 3000))
    typed = settled(lambda: decode_all(JOINED, "S30120" * 3000))
    assert (
        [r.said for r in with_words.reports] == [r.said for r in typed.reports] == ["S30120"] * 3000
    )
    assert {mark.kind for mark in with_words.marks} == {"symbol"}


@pytest.mark.parametrize("name", STRANGE)
def test_what_a_strange_text_is_refused_for_prints_plainly(name: str) -> None:
    text = STRANGE[name]
    for work in (
        lambda: decode(PLAIN, text),
        lambda: decode(PLAIN, text, typed=True),
        lambda: readings(JOINED, text),
    ):
        found = settled(work)
        assert printable(str(found)), name


def test_invisible_characters_never_make_or_hide_a_symbol() -> None:
    for character in "\u200b\u200d\u202e\u2066\ufeff\0\x1b\u0301":
        error = settled(partial(decode, PLAIN, f"S 3 0 1{character} 2 0"))
        assert isinstance(error, CodeError), repr(character)


@settings(max_examples=2 * settings().max_examples, deadline=None)
@given(
    st.lists(
        st.sampled_from([*UNITS, *STRANGE.values(), "sierra", "lima", "\ud83d", "triple", "and"]),
        max_size=25,
    ),
    st.sampled_from(sorted(BOOKS)),
)
def test_any_mixture_is_read_or_refused(pieces: list[str], kind: str) -> None:
    found = settled(lambda: decode_all(BOOKS[kind], " ".join(pieces)))
    assert not isinstance(found, CodeError) or printable(str(found))


@settings(max_examples=2 * settings().max_examples, deadline=None)
@given(st.text(max_size=60))
def test_any_text_is_read_or_refused(text: str) -> None:
    for work in (lambda: decode_all(JOINED, text), lambda: decode(PLAIN, text, typed=True)):
        found = settled(work)
        assert not isinstance(found, CodeError) or printable(str(found))


@pytest.mark.parametrize("unit", first_short(["7", "[", "7a", "7/", "7=", "K"], 2))
def test_thirty_thousand_characters_without_a_space_are_answered_at_once(
    unit: str, tmp_path: Path
) -> None:
    text = (unit * 30_000)[:30_000]
    with Journal(tmp_path / "a.sheet", race_book()) as journal:
        session = Session(journal, "7")
        session.enter("one two zero one yankee alfa quebec")  # what takes long the first time
        hear(journal.book, "one two zero one yankee alfa quebec")
        settled(lambda: decode_all(journal.book, text[:100]))
        settled(lambda: decode_all(journal.book, text), seconds=1)
        settled(lambda: hear(journal.book, text), seconds=1)
        settled(lambda: session.enter(text), seconds=1)
        settled(lambda: session.look(text), seconds=1)
        listener = Listener(journal.book, crews_of(["7=Ana"]))
        found = settled(lambda: list(drafts(listener, [text], "text")), seconds=1)
        assert len(found) <= 1
        assert len(list(journal.entries())) <= 3
