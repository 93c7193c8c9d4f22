"""A recogniser's doubts in JSON Lines: the import hears them, with what is expected."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from radio.unchecked import unchecked

from codec import Book, load_book
from codec.hear import Slots, hear
from codec.radio.crews import crews_of
from codec.radio.doubt import slots_of
from codec.radio.exchange import Draft
from codec.radio.forms import FORMS, LeftOut, Utterance
from codec.radio.listener import Listener

BOOK = load_book(Path(__file__).parents[2] / "examples" / "race" / "race.toml")
FIRST = "4183HZ2"


def slots(string: str, sure: float = 0.9) -> list[dict[str, float]]:
    words = BOOK.alphabet.words
    return [{words[symbol].word: sure, "": 0.02} for symbol in string]


def said(string: str) -> str:
    return " ".join(BOOK.alphabet.words[symbol].word for symbol in string)


def line(text: str, **facts: Any) -> str:
    return json.dumps({"text": text, "speaker": "Ana", **facts})


def utterances(*lines: str) -> list[Utterance | LeftOut]:
    return list(FORMS["jsonl"].utterances(lines, lambda _: False))


def heard(*lines: str, book: Book = BOOK) -> list[Draft | LeftOut]:
    listener = Listener(book, crews_of(["7=Ana"]))
    found: list[Draft | LeftOut] = []
    for utterance in utterances(*lines):
        assert isinstance(utterance, Utterance)
        found += listener.hear(utterance)
    return found


def the_entry(draft: Draft | LeftOut) -> Any:
    assert isinstance(draft, Draft)
    return draft.entry


def test_sure_doubts_are_a_report_as_sure_as_hearing_makes_them() -> None:
    (draft,) = heard(line(said(FIRST), start=10.0, slots=slots(FIRST)))
    entry = the_entry(draft)
    assert (entry.kind, entry.string, entry.refusal, entry.at) == ("report", FIRST, "", 10_000)
    assert entry.certainty == pytest.approx(
        hear(BOOK, Slots([{w or None: p for w, p in s.items()} for s in slots(FIRST)]))
        .candidates[0]
        .probability,
        abs=1e-4,
    )


def test_the_report_before_decides_what_the_sound_alone_can_not() -> None:
    # the next lap's report, its first two symbols in doubt
    later = hear(BOOK, said("5183HZ2"), prior={"lap": 4}).candidates[0].reading.said
    dubious = slots(later)
    for place in (0, 3):
        word = BOOK.alphabet.words[later[place]].word
        other = BOOK.alphabet.words["9" if later[place] != "9" else "8"].word
        dubious[place] = {word: 0.5, other: 0.45}
    first = line(said(FIRST), start=10.0, slots=slots(FIRST))
    together = the_entry(heard(first, line("five", start=100.0, slots=dubious))[-1])
    assert together.string == later
    assert together.refusal == ""
    assert together.lap == 5


def test_the_lap_is_asked_for_where_nobody_knows_how_many_went_by() -> None:
    first, later = "01193P02A", "04183P02A"
    dubious = [{word: 1.0 for word in slot if word} for slot in slots(later)]
    dubious[1] = {"four": 0.5, "three": 0.3, "two": 0.2}
    lines = [
        line(said(first), start=90.0),
        line(said(later), start=356.0, slots=dubious),
    ]
    entry = the_entry(heard(*lines, book=unchecked())[-1])
    assert (entry.string, "ask SAY AGAIN ZERO TO ONE" in entry.note) == ("", True)


def test_what_is_not_sure_is_kept_with_the_question_to_ask() -> None:
    dubious = [dict.fromkeys(("four", "five", "niner"), 0.2) for _ in FIRST]
    (draft,) = heard(line("five five", start=10.0, slots=dubious))
    entry = the_entry(draft)
    assert (entry.kind, entry.refusal, entry.string) == ("report", "doubtful", "")
    assert "ask" in entry.note


def test_talk_is_left_out_whatever_its_text_looks_like() -> None:
    talk = [{"copy": 0.9, "four": 0.02}, {"understood": 0.9, "one": 0.02}]
    (left,) = heard(line("copy understood", slots=talk))
    assert isinstance(left, LeftOut)


def test_scores_of_strings_decide_between_them() -> None:
    even = slots(FIRST)
    other = hear(BOOK, said(FIRST)).candidates[1].reading.said
    assert len(other) == len(FIRST)
    words = BOOK.alphabet.words
    for place, (one, two) in enumerate(zip(FIRST, other, strict=True)):
        if one != two:
            even[place] = {words[one].word: 0.49, words[two].word: 0.49}
    told = line("x", slots=even, scores={FIRST: 0.0, other: -15.0})
    (utterance,) = utterances(told)
    assert isinstance(utterance, Utterance)
    heard_so = slots_of(utterance)
    alone, told_of = hear(BOOK, Slots(heard_so.slots)), hear(BOOK, heard_so)
    assert told_of.candidates[0].reading.said == FIRST
    assert told_of.candidates[0].probability > alone.candidates[0].probability


@pytest.mark.parametrize(
    "facts",
    [
        {"slots": "four"},
        {"slots": [0.5]},
        {"slots": [{"four": 2}]},
        {"slots": [{"four": 0.7, "five": 0.7}]},
        {"slots": [{"four": 0.7}], "gaps": [{}]},
        {"slots": [{"four": 0.7}], "scores": {"4": "much"}},
        {"slots": [{"four": 0.7}], "scores": [1]},
    ],
)
def test_what_are_no_doubts_is_left_out_with_the_reason(facts: dict[str, Any]) -> None:
    (left,) = utterances(line("four", **facts))
    assert isinstance(left, LeftOut)
    assert left.reason
