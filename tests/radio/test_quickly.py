"""What passes over most of a transcript quickly never passes over a report."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from radio.speakers import spoken, strings
from sheet.support import race_book

from codec.decoding import readings
from codec.radio.edits import ReportBound
from codec.radio.evidence import Evidence, Prefilter
from codec.radio.finder import Finder
from codec.radio.wording import RadioWords
from grammar.errors import CodeError
from grammar.message import Direction
from grammar.speech import spoken as grammar_of_speech
from grammar.speech.kinds import SPOKEN, WordKind
from grammar.speech.words import cut

BOOK = race_book()
FINDER, PREFILTER, BOUND = Finder(BOOK), Prefilter(Evidence(BOOK)), ReportBound(BOOK)
CUT = RadioWords(BOOK.lexicon).cut
WORDS = sorted(
    form
    for form, meaning in BOOK.lexicon.meanings.items()
    if meaning.kind in SPOKEN | {WordKind.FILLER} and form != "\n"
)
TALK = ["the", "gap", "is", "turn", "psh", "x-ray", "fourfive", "5,1,6", "47DK", "Mike,", "1.8"]
CUES = ["turn", "lap", "laps", "of", "seconds", "p", "P5", "twenty", "plus", "or", "lap,", "more."]


@given(st.integers(0, 10**6), st.sampled_from(["car", "pit"]))
def test_a_report_is_never_beyond_the_bound(seed: int, direction: Direction) -> None:
    chance = random.Random(seed)
    text = spoken(BOOK, next(strings(BOOK, direction, chance)), chance)
    words = CUT(text)
    assert BOUND.may_be(words, direction)
    assert BOUND.may_be(words, None)
    assert PREFILTER.glance(text).code


@given(st.lists(st.sampled_from(WORDS), min_size=1, max_size=9).map(" ".join))
def test_what_is_beyond_the_bound_can_not_be_read(text: str) -> None:
    words = CUT(text)
    if not BOUND.may_be(words, None):
        with pytest.raises(CodeError):
            readings(BOOK, words)


@given(st.lists(st.sampled_from([*WORDS, *TALK, *CUES]), min_size=1, max_size=12).map(" ".join))
def test_a_line_passed_over_holds_nothing(text: str) -> None:
    if not PREFILTER.glance(text).code:
        found = FINDER.find(CUT(text)).listed
        assert [one for one in found if one.kind in ("reading", "refused")] == []


HALVES = st.lists(st.sampled_from([*WORDS, *TALK, *CUES]), min_size=1, max_size=7).map(" ".join)


@given(HALVES, HALVES)
def test_what_stands_across_two_lines_is_what_stands_in_both_as_one(begun: str, rest: str) -> None:
    both, border = f"{begun} {rest}", len(begun) + 1
    across = [
        one
        for one in FINDER.find(CUT(both)).listed
        if one.kind in ("reading", "refused") and one.span[0] < border < one.span[1]
    ]
    assert str(FINDER.across(CUT(both), border, unread=True)) == str(across)
    if across:
        assert PREFILTER.across(begun, rest)


@given(st.lists(st.sampled_from([word for word in WORDS if " " not in word]), min_size=1))
def test_plain_words_are_heard_as_the_grammar_hears_them(said: list[str]) -> None:
    words = cut(BOOK.lexicon, " ".join(said))
    if any(word.kind is WordKind.MULTIPLE for word in words):
        return
    (quick,) = grammar_of_speech.listen(BOOK.lexicon, words)
    (tree,) = grammar_of_speech._parse(words).children
    assert quick == grammar_of_speech._stretch(tree, words)
