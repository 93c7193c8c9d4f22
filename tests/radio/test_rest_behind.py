"""A report whose last part may be left out, and what is said behind it: the rest of it in the next
line, a word that may be more of it, another car's words under its speaker's name.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from radio.plain_books import calls_book
from radio.unchecked import BOOK, standing, unchecked

from codec import Book, encode, parse_book
from codec.radio.wording import RadioWords
from codec.sheet import Entry

CARS = ("12=Odile Varga,Pask", "88=Jorn Hale,Mirre")


def words(lap: int, charge: float, **more: object) -> str:
    values = {"lap": lap, "charge": charge, "delta": 0.4, "cells": "fair", **more}
    return encode(unchecked(), values, "lap").words


def reports(folder: Path, *lines: tuple[float, str, str], book: Book | None = None) -> list[Entry]:
    """Return what stands after a lap of each car and some lines: second, speaker, words."""
    before = [(60.0, "Odile Varga", words(1, 96)), (66.0, "Jorn Hale", words(1, 91.5))]
    before += [(30.0, "Pask", "radio check"), (33.0, "Mirre", "radio check")]
    said = sorted([*before, *lines])
    texts = [f"[00:{at // 60:02.0f}:{at % 60:04.1f}] {name}: {text}" for at, name, text in said]
    return standing(folder, texts, *CARS, book=book)


def of(entries: list[Entry], car: str, lap: int) -> Entry:
    (found,) = [one for one in entries if (one.car, one.lap) == (car, lap)]
    return found


@pytest.mark.parametrize("pause", ["", "uh ", "er uh "])
def test_the_part_left_out_may_be_said_in_the_next_line(tmp_path: Path, pause: str) -> None:
    whole = words(2, 93.5, grip="good")
    *most, last = whole.split()
    found = reports(
        tmp_path, (144.0, "Odile Varga", " ".join(most)), (147.0, "Odile Varga", f"{pause}{last}")
    )
    entry = of(found, "12", 2)
    assert (str(entry.values["grip"]), entry.refusal) == ("good", "")


@pytest.mark.parametrize(
    ("behind", "doubted"),
    [("hotal alfa", True), ("hotel halfa", True), ("Thanks.", False), ("four", False)],
)
def test_what_may_be_the_rest_misheard_makes_a_report_doubtful(
    tmp_path: Path, behind: str, doubted: bool
) -> None:
    book = parse_book(BOOK.replace('["L", "H", "G"]', '["LA", "HA", "GA"]'), "two words")
    lines = (144.0, "Odile Varga", words(2, 93.5)), (147.0, "Odile Varga", behind)
    entry = of(reports(tmp_path, *lines, book=book), "12", 2)
    assert (entry.refusal == "doubtful") is doubted
    assert not doubted or entry.note == f"what is said behind it may belong to it: {behind}"


@pytest.mark.parametrize("apart", [" ", ", "])
def test_a_word_beside_a_report_is_not_left_off_however_words_are_parted(
    tmp_path: Path, apart: str
) -> None:
    said = apart.join(words(2, 93.5).split())
    entry = of(reports(tmp_path, (144.0, "Odile Varga", f"{said}{apart}hotal")), "12", 2)
    assert entry.refusal == "doubtful" or entry.string.endswith("H")
    (other := tmp_path / "other").mkdir()
    entry = of(reports(other, (144.0, "Odile Varga", f"{said}. Now box?")), "12", 2)
    assert (entry.refusal, entry.string[-1]) == ("", "B")


def test_a_report_read_back_by_another_cars_wall_is_doubtful(tmp_path: Path) -> None:
    said = words(2, 89.5)
    found = reports(tmp_path, (148.0, "Jorn Hale", said), (152.0, "Pask", f"copy, {said}"))
    assert {one.refusal for one in found if one.lap == 2} == {"doubtful"}


@pytest.mark.parametrize(
    ("together", "parts"),
    [
        ("ateone", ["ate", "one"]),
        ("alfagoal", ["alfa", "goal"]),
        ("twothreegulf", ["two", "three", "gulf"]),
        ("fivesixhotel", ["five", "six", "hotel"]),
    ],
)
def test_words_written_together_are_taken_apart_with_one_misheard(
    together: str, parts: list[str]
) -> None:
    cut = RadioWords(calls_book().lexicon).cut(f"right {together}")
    assert [word.text for word in cut[1:]] == parts


TALK = (
    "someone everyone telephone stone victoria threesome golfers quebecois seventies fourteenth"
    " wonder forever tonight weight platform onto atone papaya fortune"
)


@pytest.mark.parametrize("word", TALK.split())
def test_words_of_talk_are_not_taken_apart(word: str) -> None:
    assert len(RadioWords(calls_book().lexicon).cut(f"the {word}")) == 2
