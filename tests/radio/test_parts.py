"""The part of a report that was asked for makes the report whole, however few words it has.

The questions and how they are answered: ICAO Doc 9432, 2.6 (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from radio.unchecked import standing
from sheet.support import ROOT, new, race_book

from codec import Book, encode, load_book
from codec.log.session import Session
from codec.radio.crews import Crew
from codec.radio.importing import import_transcript
from codec.radio.parts import asked_for, put_together, said_twice
from codec.sheet import Journal
from codec.sheet.state import Standing, laps
from grammar.speech.spoken import Ask
from grammar.speech.words import cut

STARTER = load_book(ROOT / "examples" / "starter" / "starter.toml")
USUAL = {"energy": 0, "motor": 95, "inverter": 65, "battery": 42, "alert": []}
CUES = ["", "I say again "]


def words(lap: int) -> str:
    return encode(race_book(), {"lap": lap, **USUAL}, "lap").words


def live(path: Path, book: Book, *lines: str) -> list[str]:
    """Return the strings that count, by lap."""
    with Journal(path / "e.sheet", book) as journal:
        session = Session(journal)
        session.enter("/car 4=Kit")
        for line in lines:
            session.enter(line)
        found = laps(session.standing, "4", book)
        return [row.entry.string for row in found.values() if row.counts]


def imported(path: Path, *lines: str) -> list[str]:
    """Return the same of ``Speaker: words``, four seconds from one to the next."""
    with new(path) as journal:
        said = [f"[00:10:{4 * n:02}] {line}\n" for n, line in enumerate(lines)]
        import_transcript(journal, said, "text", [Crew("4", "Kit", ("Eng",))])
        found = laps(Standing(journal.entries()), "4", race_book())
        return [row.entry.string for row in found.values() if row.counts]


@pytest.mark.parametrize("cue", CUES)
@pytest.mark.parametrize("answer", ["whiskey charlie", "x-ray whiskey charlie"])
def test_an_answer_of_one_word_or_two_makes_the_report_whole(
    tmp_path: Path, cue: str, answer: str
) -> None:
    first = "nine two zero two x-ray"
    assert live(tmp_path, race_book(), words(8), first, cue + answer)[1:] == ["9202XWC"]
    said = ["Eng: Say again all after x-ray.", f"Kit: {cue}{answer}"]
    assert imported(tmp_path, f"Kit: {first}", *said) == ["9202XWC"]


def test_an_answer_that_makes_no_report_is_not_taken(tmp_path: Path) -> None:
    said = ["Kit: nine two zero two x-ray", "Eng: say again all after x-ray", "Kit: whiskey delta"]
    assert imported(tmp_path, *said) == []


def test_a_report_of_the_next_lap_is_no_answer(tmp_path: Path) -> None:
    said = ["nine two zero two x-ray", words(10)]
    ten = encode(race_book(), {"lap": 10, **USUAL}, "lap").string
    assert live(tmp_path, race_book(), words(8), *said)[1:] == [ten]
    asked = [f"Kit: {said[0]}", "Eng: say again all after x-ray", f"Kit: {said[1]}"]
    assert imported(tmp_path, *asked) == [ten]


def test_what_goes_on_in_the_next_line_and_what_is_said_twice_in_one_is_read(
    tmp_path: Path,
) -> None:
    lines = [
        "four two zero two niner",
        "five one niner",
        "three zero",
        *["six one niner three one"] * 2,
    ]
    assert live(tmp_path, STARTER, *lines[:3], f"{lines[3]} {lines[4]}") == [
        "42029", "51930", "61931",
    ]  # fmt: skip


@given(
    lap=st.integers(1, 60),
    energy=st.integers(-8, 8),
    place=st.integers(2, 5),
    border=st.booleans(),
    cue=st.sampled_from(CUES),
)
def test_the_part_behind_any_word_makes_it_whole_or_nothing(
    lap: int, energy: int, place: int, border: bool, cue: str
) -> None:
    book = race_book()
    values = {"lap": lap, **USUAL, "energy": f"{energy / 10}"}
    report = encode(book, values, "lap")
    said = report.words.split()
    question = f"SAY AGAIN ALL AFTER {said[place - 1].upper()}"
    part = asked_for(book, question)
    assert part is not None
    answer = cue + " ".join(said[place - border :])
    first, rest = (cut(book.lexicon, text) for text in (" ".join(said[:place]), answer))
    found = put_together(book, first, rest, part, {"lap": lap})
    assert found is None or found.said == report.string
    if said[place - 1] not in said[: place - 1] + said[place:]:
        assert found is not None


def test_between_two_words_and_before_one() -> None:
    book = STARTER
    for heard, part, answer in [
        ("five one", Ask(before="1"), "five"),
        ("three zero", Ask(before="3"), "five one niner"),
        ("five one zero", Ask("1", "0"), "niner three"),
    ]:
        first, rest = (cut(book.lexicon, text) for text in (heard, answer))
        found = put_together(book, first, rest, part, {})
        assert (None if found is None else found.said) in ("51930", None)
    assert asked_for(book, "say again") is None


def test_what_is_said_twice_is_known_by_its_halves() -> None:
    lexicon = STARTER.lexicon
    for text, half in [
        ("five one niner three zero five one nine three zero", "five one niner three zero"),
        ("five one niner three zero five one niner three one", None),
        ("one one", None),
    ]:
        found = said_twice(cut(lexicon, text))
        assert (None if found is None else " ".join(word.text for word in found)) == half


def cues(lap: int, parts: Sequence[str], *, timed: bool) -> list[str]:
    """Return the lines of a report said in parts, three seconds from one to the next."""
    starts = [f"[00:{1 + lap * 3 // 2:02}:{3 * n:02}] " if timed else "" for n in range(len(parts))]
    return [f"{start}Ana: {part}" for start, part in zip(starts, parts, strict=True)]


@pytest.mark.parametrize("timed", [True, False])
@pytest.mark.parametrize(
    "parts",
    [
        ("zero two one", "eight eight papa", "zero three alfa"),
        ("zero two one eight eight", "papa zero", "three alfa"),
        ("zero two", "one eight", "eight papa", "zero three alfa"),
        ("zero two", "zero two one eight eight", "papa zero three alfa"),
    ],
)
def test_a_report_in_three_parts_or_more_is_one(
    tmp_path: Path, parts: tuple[str, ...], *, timed: bool
) -> None:
    lines = cues(1, ["zero one one niner three papa zero two alfa"], timed=timed)
    lines += cues(2, parts, timed=timed)
    lines += cues(3, ["zero three one eight three papa zero two alfa"], timed=timed)
    found = standing(tmp_path, lines, "7=Ana")
    assert [(one.lap, one.string, one.accepted) for one in found] == [
        (1, "01193P02A", True),
        (2, "02188P03A", True),
        (3, "03183P02A", True),
    ]


@pytest.mark.parametrize("lead", ["", "that was lap nine, "])
def test_a_late_report_in_three_parts_is_one_of_its_own(tmp_path: Path, lead: str) -> None:
    late = words(9).split()
    said = [lead + " ".join(late[:2]), " ".join(late[2:4]), " ".join(late[4:])]
    lines = [f"[00:{minute:02}:00] Ana: {words(lap)}" for minute, lap in ((4, 7), (6, 8), (9, 10))]
    lines += [line.replace("[00:14", "[00:09") for line in cues(9, ["", *said], timed=True)[1:]]
    found = standing(tmp_path, lines, "7=Ana", book=race_book())
    assert sorted((one.lap or 0, one.accepted) for one in found) == [
        (7, True), (8, True), (9, True), (10, True),
    ]  # fmt: skip


@pytest.mark.parametrize("pause", ["{}, wait|{}", "{}|sorry, {}", "{} hang on|sorry {}"])
def test_a_pause_in_words_between_two_lines_parts_no_report_that_a_check_speaks_for(
    tmp_path: Path, pause: str
) -> None:
    """Where nothing checks it, what follows may stand in place of the last words."""
    for name, book, report in (
        ("checked", race_book(), words(2)),
        ("unchecked", None, "zero two one eight eight papa zero three alfa"),
    ):
        (tmp_path / name).mkdir()
        said = report.split()
        parts = pause.format(" ".join(said[:4]), " ".join(said[4:])).split("|")
        (found,) = standing(tmp_path / name, cues(2, parts, timed=True), "7=Ana", book=book)
        assert (found.lap, found.accepted) == (2, book is not None)
        assert found.string


def test_reports_in_parts_of_two_drivers_at_once_are_each_whole(tmp_path: Path) -> None:
    first, second = (words(lap).rsplit(" ", 2) for lap in (2, 4))
    lines = [
        f"[00:03:00] Ana: {first[0]}",
        f"[00:03:02] Teo: {second[0]}",
        f"[00:03:05] Ana: {' '.join(first[1:])}",
        f"[00:03:07] Teo: {' '.join(second[1:])}",
    ]
    found = standing(tmp_path, lines, "7=Ana", "61=Teo", book=race_book())
    assert [(one.car, one.lap, one.accepted) for one in found if one.string] == [
        ("7", 2, True),
        ("61", 4, True),
    ]
