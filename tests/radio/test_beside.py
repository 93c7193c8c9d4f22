"""What stands in a line beside a report is read, or told; reports said twice, in tens, or in
figures as programs write them are read where they can be meant in one way.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest
from radio.test_put_right import starter
from sheet.support import race_book, reasons, utterance

from codec import Book
from codec.radio.crews import crews_of
from codec.radio.exchange import Draft
from codec.radio.listener import Listener
from codec.sheet import Entry

FIRST = "two two one two six"  # lap 2 in the starter book, all of digits
YAE = "one two two one yankee alfa echo"  # lap 1 in the race book


def heard(*said: str, book: Book | None = None) -> tuple[list[Entry], list[str]]:
    """Return the entries of lines, a minute apart, and the reasons of what was left out; the wall's
    lines begin with a colon.
    """
    listener = Listener(book or starter(), crews_of(["4=Kit,Quill"]))
    entries: list[Entry] = []
    left: list[str] = []
    for number, line in enumerate(said, start=1):
        speaker, text = ("Quill", line[1:]) if line.startswith(":") else ("Kit", line)
        found = listener.hear(utterance(text, speaker, 60.0 * number, number))
        entries += [one.entry for one in found if isinstance(one, Draft)]
        left += reasons(found)
    return entries, left


def strings(*said: str, book: Book | None = None) -> list[str]:
    return [entry.string for entry in heard(*said, book=book)[0] if entry.accepted]


@pytest.mark.parametrize("joined", [", and ", " and ", ", ", ". And "])
def test_two_calls_in_a_line_are_both_read(joined: str) -> None:
    said = f":Whiskey tango november two{joined}lima two."
    assert strings(YAE, said, book=race_book())[1:] == ["WTN2", "L2"]


def test_words_of_a_code_beside_what_was_read_are_told_among_what_was_left_out() -> None:
    told = heard(f"{YAE}, sierra tango nine metres", book=race_book())[1]
    assert told == ["not read, beside what was"]
    assert heard(YAE, f":{YAE}. Nine hundred.", book=race_book())[1] == [
        "not read, beside what was"
    ]


def test_talk_beside_a_report_is_not_told_as_a_code() -> None:
    assert heard(f"Okay mate, {YAE}, two more laps please", book=race_book())[1] == []


@pytest.mark.parametrize("between", [" ", ", ", ". ", " … ", " and "])
@pytest.mark.parametrize(("book", "said"), [(starter, FIRST), (race_book, YAE)])
def test_a_report_said_twice_in_one_breath_is_one_report(
    book: Callable[[], Book], said: str, between: str
) -> None:
    entries, _ = heard(f"{said}{between}{said}", book=book())
    assert [entry.accepted for entry in entries] == [True]


@pytest.mark.parametrize("between", [" ", ", ", ". ", " … "])
def test_two_halves_that_differ_are_doubtful(between: str) -> None:
    ((entry,), _) = heard(f"{FIRST}{between}two two one two seven")
    assert (entry.refusal, entry.string) == ("ambiguous", "")
    assert "seven" in entry.heard


@pytest.mark.parametrize(
    ("said", "string"),
    [
        ("three seventeen twenty seven", "31727"), ("three twenty, twenty seven", "32027"),
        ("three hundred twenty one twenty seven", "32127"), ("32,027.", "32027"),
        ("321.27", "32127"), ("$32,127", "32127"), ("3:21:27", "32127"), ("3/21/27", "32127"),
        ("3-21-27", "32127"), ("32127 32127", "32127"), ("Three, twenty, twenty-seven.", "32027"),
        ("3 21 27 %", "32127"), ("copy three two one two seven", "32127"),
    ],
)  # fmt: skip
def test_the_report_expected_is_read_however_a_program_writes_its_figures(
    said: str, string: str
) -> None:
    assert strings(FIRST, said) == ["22126", string]


@pytest.mark.parametrize(
    "said", ["[inaudible] two one two seven", "three two zero two [unintelligible]",
             "three two zero two sevn"],
)  # fmt: skip
def test_a_report_with_a_word_that_nobody_made_out_is_kept(said: str) -> None:
    (_, entry), left = heard(FIRST, said)
    assert (bool(entry.refusal), left) == (True, [])


@pytest.mark.parametrize(
    "said", ["1:32.48", "3:21.27", "3.21.2", "12,026.50", "2.3, 2.1, 1.9", "21.5",
             "gap three twenty one 27", "twenty two seven twenty two we go"],
)  # fmt: skip
def test_lap_times_and_gaps_are_no_reports(said: str) -> None:
    entries, left = heard(FIRST, said)
    assert (len(entries), len(left)) == (1, 1)


def test_numbers_in_tens_that_are_not_the_report_expected_are_kept_for_a_look() -> None:
    (_, entry), _ = heard(FIRST, "seven seventeen sixty three")
    assert (entry.refusal, entry.string, entry.lap) == ("doubtful", "71763", 7)
