"""Reports in plain words: a number is read whole or not at all, and a doubt does not outlive what
it was about.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from radio.plain_books import coded_book, figures_book, remainders_book

from codec import Book
from codec.radio.by_hand import doubtful_rows
from codec.radio.crews import crews_of
from codec.radio.doubt import LIKELY
from codec.radio.importing import import_transcript
from codec.radio.named import NamedReports
from codec.sheet import Entry, Journal
from codec.sheet.state import Standing, rows

BOOK = figures_book()


def brought(folder: Path, *lines: str, book: Book = BOOK) -> list[Entry]:
    """Return how the reports of a transcript stand."""
    with Journal(folder / "plain.sheet", book) as journal:
        crews = crews_of(["12=Runa,Falk"])
        import_transcript(journal, [f"{line}\n" for line in lines], "text", crews)
        return [row.entry for row in rows(journal.entries()) if row.first.kind == "report"]


@pytest.mark.parametrize("point", ["point", "decimal", "dot", "comma"])
@pytest.mark.parametrize(
    ("before", "behind"), [("44", "7"), ("44", "seven"), ("forty four", "7"), ("four four", "7")]
)
def test_figures_and_the_words_of_a_point_make_one_number(
    tmp_path: Path, before: str, behind: str, point: str
) -> None:
    number = f"{before} {point} {behind}"
    lines = (f"cells 41, gearbox 85, charge left {number}", f"charge left {number} cells 41")
    [found] = brought(tmp_path, f"Runa: {lines[0]}")
    assert (found.string, found.refusal) == ("44741085", "")
    assert str(NamedReports(BOOK).parts(lines[1])["store"]) == "44.7"


@pytest.mark.parametrize(
    ("said", "string"),
    [
        ("forty four and a half, cells 41, gearbox one fifteen", "44541115"),
        ("44 and a half, cells 41, gearbox one thirty five", "44541135"),
        ("forty four point five, cells forty one, gearbox one oh five", "44541105"),
    ],
)
def test_halves_and_hundreds_that_are_not_said_are_part_of_a_number(
    tmp_path: Path, said: str, string: str
) -> None:
    [found] = brought(tmp_path, f"Runa: charge left {said}")
    assert (found.string, found.refusal) == (string, "")


@pytest.mark.parametrize(
    "store", ["four four five", "445", "charge left 445", "charge left is 445"]
)
def test_figures_by_name_may_be_those_of_the_code_where_no_value_is_so_high(
    tmp_path: Path, store: str
) -> None:
    [found] = brought(tmp_path, f"Runa: {store}, cells 41, gearbox 85")
    assert (found.string, found.refusal) == ("44541085", "")


@pytest.mark.parametrize("store", ["charge left 645", "charge left 445 kWh", "charge left 4455"])
def test_a_value_that_is_too_high_is_none(tmp_path: Path, store: str) -> None:
    [found] = brought(tmp_path, f"Runa: {store}, cells 41, gearbox 85")
    assert found.refusal


def test_a_number_of_nobody_knows_what_leaves_the_rest_to_be_taken(tmp_path: Path) -> None:
    line = "seven, charge left 44.5, cells 41, gearbox 85"
    [found] = brought(tmp_path, f"Runa: {line}")
    assert found.refusal
    with Journal(tmp_path / "plain.sheet") as journal:
        [doubtful] = doubtful_rows(BOOK, Standing(journal.entries()))
    assert [(reading.said, sure) for reading, sure in doubtful.readings] == [("44541085", LIKELY)]


@pytest.mark.parametrize(
    "number",
    ["44 point", "44 and a bit", "44 poynt 7", "44 pound 7", "44. 7", "44.1 point 7", "44 7"],
)
@pytest.mark.parametrize("place", ["{0} cells 41 gearbox 85", "cells 41, gearbox 85, {0}"])
def test_a_number_is_never_cut_where_more_of_it_may_have_been_said(
    tmp_path: Path, number: str, place: str
) -> None:
    text = place.format(f"charge left {number}")
    for entry in brought(tmp_path, f"Runa: {text}"):
        assert entry.refusal, (text, entry.string)
    assert "store" not in NamedReports(BOOK).parts(text)


LAPS = [
    "charge left 51.0, cells 40, gearbox 85",
    "charge left 49.1, cells 40, gearbox 85",
    "charge left 42.9, cells 42, gearbox 90",
    "charge left 41.0, cells 43, gearbox 90",
    "charge left 39.1, cells 43, gearbox 90",
]


def test_a_report_behind_laps_of_which_none_was_heard_may_have_gone_so_many_laps_on(
    tmp_path: Path,
) -> None:
    at = (90, 180, 450, 540, 630)
    times = [f"[00:{seconds // 60:02}:{seconds % 60:02}]" for seconds in at]
    found = brought(tmp_path, *(f"{t} Runa: {s}" for t, s in zip(times, LAPS, strict=True)))
    assert [one.refusal for one in found] == [""] * 5


def test_a_report_is_believed_that_goes_on_from_one_that_was_doubted(tmp_path: Path) -> None:
    """Without times nobody knows how many laps there were between."""
    found = brought(tmp_path, *(f"Runa: {said}" for said in LAPS))
    assert [bool(one.refusal) for one in found] == [False, False, True, False, False]


def test_what_is_unlike_all_before_stays_doubtful(tmp_path: Path) -> None:
    odd = ["charge left 33.2, cells 41, gearbox 85", "charge left 14.8, cells 41, gearbox 85"]
    found = brought(tmp_path, *(f"Runa: {said}" for said in (*LAPS[:2], *odd)))
    assert [bool(one.refusal) for one in found] == [False, False, True, True]


@pytest.mark.parametrize(
    "text",
    [
        "forty four kilowatt hours, cells 41, gearbox 85",
        "cells 41, gearbox 85, 44.0 kWh",
        "gearbox 85, 44.0 kWh left, cells 41 degrees",
        "44.0 charge left, cells 41, gearbox 85",
        "44.0 kWh charge left, 41 cells, 85 gearbox",
    ],
)
def test_a_number_may_stand_before_its_name_or_have_the_only_unit_of_its_kind(
    tmp_path: Path, text: str
) -> None:
    [found] = brought(tmp_path, f"Runa: {text}")
    assert (found.string, found.refusal) == ("44041085", "")


@pytest.mark.parametrize(
    ("text", "known"),
    [
        ("8 left, cells 41, gearbox 85", {"cells": 41, "gearbox": 85}),
        ("charge left 44.0, cells 41 percent, gearbox 85", {"store": 44, "gearbox": 85}),
        ("charge left 44.0, cells 41, gearbox", {"store": 44, "cells": 41}),
        ("44 degrees, charge left 44.0, cells 41", {"store": 44, "cells": 41}),
    ],
)
def test_what_may_be_of_something_else_is_not_read_nor_taken_for_it(
    tmp_path: Path, text: str, known: dict[str, int]
) -> None:
    path = tmp_path / "plain.sheet"
    assert all(entry.refusal for entry in brought(tmp_path, f"Runa: {text}"))
    with Journal(path) as journal:
        for one in doubtful_rows(BOOK, Standing(journal.entries())):
            for reading, _ in one.readings:
                assert {name: int(str(reading.values[name])) for name in known} == known


def test_a_report_may_be_said_field_by_field_in_several_lines(tmp_path: Path) -> None:
    lines = (
        "[00:01:00] Runa: cells 41", "[00:01:02] Runa: gearbox 85",
        "[00:01:05] Runa: charge left 44.0", "[00:02:30] Runa: 42.1 kilowatt hours",
        "[00:02:33] Runa: cells 42 degrees, gearbox 90",
    )  # fmt: skip
    found = brought(tmp_path, *lines)
    assert [(one.string, one.refusal) for one in found] == [("44041085", ""), ("42142090", "")]


@pytest.mark.parametrize(
    ("line", "left"), [("51 %", "51"), ("51 per cent left", "51"), ("lap 2, 51 percent", "51")]
)
def test_a_unit_that_one_field_has_names_it(line: str, left: str) -> None:
    assert str(NamedReports(coded_book()).parts(line)["left"]) == left


@pytest.mark.parametrize("line", ["5 %", "51 percent more", "not 51 percent", "51 degrees"])
def test_a_unit_names_none_that_it_may_not_be_of(line: str) -> None:
    """Also 5 % of saving may be said, and read back, in that book."""
    assert "left" not in NamedReports(coded_book()).parts(line)


@pytest.mark.parametrize(
    "figures", ["471 42 90", "471 420 090", "471 42 09", "4714290", "471 042 090", "47 142 90"]
)
def test_figures_alone_of_which_one_was_dropped_or_added_are_kept(
    tmp_path: Path, figures: str
) -> None:
    before = ("510 41 090", "490 42 090")
    found = brought(tmp_path, *(f"Runa: {one}" for one in (*before, figures)))
    assert len(found) == 3
    assert found[2].heard == figures
    assert found[2].refusal or found[2].string == "47142090"


@pytest.mark.parametrize("line", ["1:32.456, 1:33.001", "42 90", "12 and 14", "turn 471 42 90"])
def test_a_few_figures_times_and_numbers_of_something_are_none(tmp_path: Path, line: str) -> None:
    assert len(brought(tmp_path, "Runa: 510 41 090", f"Runa: {line}")) == 1


def test_figures_that_somebody_else_says_are_no_report(tmp_path: Path) -> None:
    assert len(brought(tmp_path, "Runa: 510 41 090", "Falk: 471 42 90")) == 1


def test_a_number_of_which_the_remainder_is_coded_may_be_said_in_full(tmp_path: Path) -> None:
    """Said in full it must be near what was said before: as its remainder, and as it is."""
    said = "[{}] Runa: charge left {}, cells {}, gearbox 85"
    first = brought(
        tmp_path,
        said.format("00:01:30", "44.7", "fifty seven"),
        said.format("00:03:00", "42.7", "58"),
        said.format("00:04:30", "40.7", "seven"),
        said.format("00:06:00", "38.7", "sixty eight"),
        book=remainders_book(),
    )
    assert [(one.string, one.accepted) for one in first] == [
        ("4477085", True), ("4278085", True), ("4077085", True), ("3878085", False),
    ]  # fmt: skip
    assert first[3].note == "cells 68 °C would be far from 58 °C"
    assert all((one.certainty or 0) > 0.98 for one in first[:3])


@pytest.mark.parametrize(("sure", "taken"), [(0.99, True), (0.6, False)])
def test_words_a_recogniser_is_not_sure_of_make_a_report_in_plain_words_doubtful(
    tmp_path: Path, sure: float, taken: bool
) -> None:
    words = "charge left 44.7 cells 41 gearbox 85"
    told = [{"word": word, "confidence": sure} for word in words.split()]
    line = json.dumps({"speaker": "Runa", "text": words, "words": told})
    with Journal(tmp_path / "plain.sheet", BOOK) as journal:
        import_transcript(journal, [line], "jsonl", crews_of(["12=Runa,Falk"]))
        [found] = [row.entry for row in rows(journal.entries()) if row.first.kind == "report"]
    assert found.accepted is taken
