"""Procedure words do what the procedures say.

Source: ICAO Doc 9432 2.6 and SERA.14075 (read in secondary texts). The worked example is "four
seven delta, correction, four eight delta kilo": the tail replaces what was said from the repeated
group on.
"""

from __future__ import annotations

import pytest
from published.support import book

from codec import Transcript, UnexpectedWord, decode, decode_all

GROUPS = book("groups")


def heard(text: str) -> Transcript:
    return decode_all(GROUPS, text)


def said(text: str) -> list[str]:
    return [reading.said for reading in heard(text).reports]


def test_correction_replaces_from_the_repeated_group_on() -> None:
    reading = decode(GROUPS, "four seven delta, correction, four eight delta kilo")
    assert reading.said == "48DK"
    assert reading.values == {"level": 48, "letter": "D", "mark": "K"}


@pytest.mark.parametrize(
    ("text", "string"),
    [
        ("four seven delta correction seven delta kilo", "47DK"),
        ("four seven delta correction delta juliett", "47DJ"),
        ("four seven correction four eight delta", "48D"),
        (
            "four four delta correction four five delta",
            "45D",
        ),  # which "four" is repeated: only the first leaves a report
        ("four seven correction four eight correction four niner alfa", "49A"),
    ],
)
def test_correction_goes_on_from_the_last_correct_group(text: str, string: str) -> None:
    assert said(text) == [string]


def test_correction_without_a_group_said_before_is_refused() -> None:
    for text in (
        "four seven delta correction juliett",
        "correction four seven delta",
        "four seven delta correction",
    ):
        with pytest.raises(UnexpectedWord) as refused:
            decode(GROUPS, text)
        assert refused.value.kind == "procedure"
        assert text[slice(*refused.value.span or (0, 0))] == "correction"


def test_correction_i_say_again_begins_the_whole_message_anew() -> None:
    assert said("four seven delta, correction, I say again, one two alfa") == ["12A"]
    with pytest.raises(UnexpectedWord):
        decode(GROUPS, "four seven delta correction I say again")


def test_i_say_again_repeats_for_clarity() -> None:
    assert said("four seven delta, I say again, four seven delta") == ["47D"]
    assert said("four seven delta kilo, I say again, delta kilo") == ["47DK"]
    with pytest.raises(UnexpectedWord) as refused:
        decode(GROUPS, "four seven delta, I say again, four eight delta")
    assert refused.value.kind == "procedure"


def test_disregard_is_as_if_not_sent() -> None:
    assert said("four seven delta, disregard") == []
    assert said("four seven delta, disregard, one two alfa") == ["12A"]


@pytest.mark.parametrize(
    ("text", "after", "before"),
    [
        ("say again", "", ""),
        ("say again all after delta", "D", ""),
        ("say again all before delta", "", "D"),
        ("say again four to delta", "4", "D"),
    ],
)
def test_say_again_asks_and_reports_nothing(text: str, after: str, before: str) -> None:
    transcript = heard(text)
    assert not transcript.reports
    assert [(ask.after, ask.before) for ask in transcript.asks] == [(after, before)]


def test_words_twice_is_every_word_or_the_whole_twice() -> None:
    assert said("words twice four four seven seven delta delta") == ["47D"]
    assert said("words twice four seven delta four seven delta") == ["47D"]
    with pytest.raises(UnexpectedWord) as refused:
        decode(GROUPS, "words twice four seven seven delta")
    assert refused.value.kind == "procedure"


def test_break_parts_messages_and_over_and_out_end_them() -> None:
    assert said("four seven delta, break, four eight delta kilo, over") == ["47D", "48DK"]
    assert said("four seven delta, break break, one two alfa, out") == ["47D", "12A"]


@pytest.mark.parametrize("word", ["affirm", "negative", "roger", "standby", "read back", "confirm"])
def test_answers_say_nothing_about_the_report(word: str) -> None:
    transcript = heard(word)
    assert (transcript.reports, [answer for answer, _ in transcript.answers]) == ((), [word])
    transcript = heard(f"{word}, four seven delta")
    assert [reading.said for reading in transcript.reports] == ["47D"]
    assert [answer for answer, _ in transcript.answers] == [word]
