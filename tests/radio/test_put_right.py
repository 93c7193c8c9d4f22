"""A driver who puts a report right, or takes it back, is heard whatever the words; what is not
plain is kept as doubtful, and never left as it was.
"""

from __future__ import annotations

import contextlib
import functools
from pathlib import Path

import pytest
from sheet.support import ROOT, utterance

from codec import Book, load_book, parse_book
from codec.radio.by_hand import accept, doubtful_rows
from codec.radio.crews import crews_of
from codec.radio.exchange import Draft
from codec.radio.listener import Listener
from codec.sheet import Entry, Journal
from codec.sheet.state import Standing
from grammar.errors import CodeError

FIRST = "three two one two eight"  # lap 3 in the starter book, all of digits
EXTRAS = """
[alphabet]
retired = "IOU"
[fields.lap]
kind = "wrapped"
modulus = 10
[fields.charge]
kind = "quantity"
low = 0
high = 99
step = 1
[fields.slide]
kind = "choice"
options = ["none", "entry", "exit", "everywhere"]
[tables.lap]
kind = "digits"
[tables.charge]
kind = "digits"
[tables.slide]
kind = "listed"
partial = true
words = { entry = "E", exit = "X", everywhere = "EX" }
[messages.lap]
layout = '"N" lap charge slide?'
"""
NO_LAP = """
[fields.charge]
kind = "quantity"
low = 0
high = 99
step = 1
[fields.motor]
kind = "quantity"
low = 0
high = 99
step = 1
[tables.charge]
kind = "digits"
[tables.motor]
kind = "digits"
[messages.report]
layout = '"N" charge motor'
"""


@functools.cache
def starter() -> Book:
    return load_book(ROOT / "examples" / "starter" / "starter.toml")


def standing(*said: str, seconds: float | None = 4, book: Book | None = None) -> list[Entry]:
    """Return how the rows of a sheet stand after these lines of one driver (another speaker's
    begin with a colon), so many seconds apart.
    """
    listener, entries = Listener(book or starter(), crews_of(["4=Kit,Quill"])), list[Entry]()
    for number, line in enumerate(said, start=1):
        speaker, text = ("Quill", line[1:]) if line.startswith(":") else ("Kit", line)
        at = None if seconds is None else 60 + seconds * number
        for one in listener.hear(utterance(text, speaker, at, number)):
            if isinstance(one, Draft):
                seqs = {entry.uid: entry.seq for entry in entries}
                about = seqs.get(one.about)
                entries.append(one.entry.replace(seq=len(entries) + 1, about=about))
    return [row.entry for row in Standing(entries).rows]


@pytest.mark.parametrize(
    "words", ["no", "No,", "scratch that,", "no wait,", "that was wrong, it is", "disregard,",
              "sorry,", "disregard my last,", "make that",
              "that was wrong, it should be"],
)  # fmt: skip
def test_the_whole_report_said_again_behind_such_words_takes_the_place_of_the_first(
    words: str,
) -> None:
    (entry,) = standing(FIRST, f"{words} three two one three niner")
    assert (entry.string, entry.accepted) == ("32139", True)


@pytest.mark.parametrize("apart", [True, False])
def test_a_part_put_right_is_read_where_both_ways_to_read_it_say_the_same(*, apart: bool) -> None:
    """It repeats the last correct group and goes on, and it stands in place of the last words."""
    said = (FIRST, "no, two niner") if apart else (f"{FIRST} no two niner",)
    (entry,) = standing(*said)
    assert (entry.string, entry.accepted) == ("32129", True)


@pytest.mark.parametrize(
    "said",
    [
        (f"{FIRST} no three one",), (FIRST, "no, three one"),
        (FIRST, "scratch that, seven"), (f"{FIRST}, scratch that",), (FIRST, "disregard"),
        (FIRST, "disregard my last"), (FIRST, "uh that was wrong, sorry"),
        (FIRST, "correction, seven"), (FIRST, "correction, motor one oh five"),
        (FIRST, "that was wrong, disregard"), (f"{FIRST}, disregard my last",),
    ],
)  # fmt: skip
def test_where_it_is_not_plain_what_was_meant_the_report_is_doubtful_with_all_its_words(
    said: tuple[str, ...],
) -> None:
    (entry,) = standing(*said)
    assert entry.refusal
    assert all(one in entry.heard for one in said)


@pytest.mark.parametrize("words", ["scratch that,", "correction,"])
def test_behind_such_words_a_report_of_another_lap_replaces_none_and_both_are_doubtful(
    words: str,
) -> None:
    first, second = standing(FIRST, f"{words} four two one two eight")
    assert (first.refusal, second.refusal) == ("doubtful", "doubtful")


def test_the_drivers_no_counts_against_what_the_wall_supposed() -> None:
    (entry,) = standing(
        ":You should be seeing three two one two eight", "nope, three two one three one"
    )
    assert (entry.string, entry.speaker) == ("32131", "Kit")


@pytest.mark.parametrize("words", ["correction,", "correction", "scratch that,"])
def test_a_field_that_is_named_is_put_right_in_the_report_just_said(words: str) -> None:
    (entry,) = standing(FIRST, f"{words} battery two niner")
    assert (entry.string, entry.accepted, entry.lap) == ("32129", True, 3)


def test_in_a_code_that_says_no_lap_a_correction_is_of_the_same_lap() -> None:
    book = parse_book(NO_LAP, "no lap")
    said = (
        "november three niner four eight",
        "correction motor five zero",
        "november three eight five zero",
    )
    first, second = standing(*said, book=book, seconds=20)
    assert [(one.string, one.lap) for one in (first, second)] == [("N3950", 1), ("N3850", 2)]


def test_what_is_changed_behind_a_report_and_can_t_be_read_makes_it_doubtful() -> None:
    book = parse_book(NO_LAP, "no lap")
    (entry,) = standing("november three niner four eight, correction motor five", book=book)
    assert (entry.refusal, entry.heard) == ("doubtful", "november three niner four eight")


@pytest.mark.parametrize(
    "said", ["No, box in two laps.", "no grip at all", "sorry, two tenths", "wait for six seconds",
             "no, two", "no problem, three more"],
)  # fmt: skip
def test_talk_behind_a_report_leaves_it_as_it_is(said: str) -> None:
    (entry,) = standing(FIRST, said)
    assert (entry.string, entry.accepted) == ("32128", True)


def test_a_report_is_no_correction_of_one_said_long_before() -> None:
    first, second = standing(FIRST, "no, four two one two niner", seconds=80)
    assert (first.accepted, second.accepted) == (True, True)


@pytest.mark.parametrize("tail", ["eco", "echo exray", "exray"])
def test_words_that_may_belong_to_a_report_are_never_cut_off_it(tmp_path: Path, tail: str) -> None:
    """Nothing shorter than what was said is offered or taken."""
    book = parse_book(EXTRAS, "extras")
    said = f"november three eight eight {tail}"
    (entry,) = standing(said, book=book)
    assert (entry.refusal, entry.heard, entry.string) == ("doubtful", said, "")
    with Journal(tmp_path / "a.sheet", book) as journal:
        written = journal.append(entry.replace(seq=0, uid="a"))
        rows = Standing(journal.entries())
        for doubtful in doubtful_rows(book, rows):
            assert all(len(one.said) > 4 for one, _ in doubtful.readings if "echo" in tail)
        with contextlib.suppress(CodeError):  # where nothing is likely there is nothing to take
            assert len(accept(journal, rows, written.seq)[0].string) > 4
