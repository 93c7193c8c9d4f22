"""What is said like a report and is none: denied, asked, supposed, or of another car or another
time.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from sheet.support import ROOT, new, race_book

from codec import encode, load_book, parse_book
from codec.radio.crews import crews_of
from codec.radio.importing import import_transcript
from codec.radio.named import NamedReports
from codec.sheet import Entry, Journal
from codec.sheet.state import rows

CREWS = crews_of(["7=Ana,Quill", "61=Teo,Denn"])


def said(lap: int, motor: int = 90) -> str:
    values = {"lap": lap, "energy": 0, "motor": motor, "inverter": 60, "battery": 40}
    return encode(race_book(), {**values, "alert": []}, "lap").words


def standing(folder: Path, *lines: str) -> list[Entry]:
    """Return the entries that count of a transcript."""
    with new(folder) as journal:
        import_transcript(journal, [f"{line}\n" for line in lines], "text", CREWS)
        return [row.entry for row in rows(journal.entries()) if row.counts]


@pytest.mark.parametrize(
    "talk",
    [
        "not {}",
        "that is not {}",
        "yesterday's code was {}",
        "practice code: {}",
        "I will read {} if it stays like this",
        "is my teammate at {} or what?",
        "should it be {}",
        "either that or {}",
    ],
)
def test_a_code_that_nobody_reports_is_kept_for_a_look_and_changes_nothing(
    tmp_path: Path, talk: str
) -> None:
    report, other = said(2), said(2, motor=100)
    lines = (f"[00:01:00] Ana: {report}", f"[00:01:12] Ana: {talk.format(other)}")
    counted = standing(tmp_path, *lines)
    assert [entry.string for entry in counted] == [encode_string(2)]


def encode_string(lap: int) -> str:
    values = {"lap": lap, "energy": 0, "motor": 90, "inverter": 60, "battery": 40}
    return encode(race_book(), {**values, "alert": []}, "lap").string


def test_what_an_engineer_supposes_is_no_report_and_the_answer_is(tmp_path: Path) -> None:
    lines = (
        f"[00:01:00] Quill: you should be seeing {said(2, motor=100)}",
        f"[00:01:04] Ana: nope, {said(2)}",
    )
    assert [entry.string for entry in standing(tmp_path, *lines)] == [encode_string(2)]


@pytest.mark.parametrize(
    "around",
    ["okay, {}", "so that is {}", "{} okay", "right, lap report, {}", "um {}, how are the others"],
)
def test_talk_around_a_report_does_not_make_it_less(tmp_path: Path, around: str) -> None:
    line = f"[00:01:00] Ana: {around.format(said(2))}"
    assert [entry.string for entry in standing(tmp_path, line)] == [encode_string(2)]


def values(text: str) -> Mapping[str, Any]:
    found = NamedReports(race_book()).find(text)
    assert found is not None
    return {} if found.missing or found.astray else found.values


PLAIN = "lap 5, energy {}, motor 105, inverter 75, battery 48{}"


@pytest.mark.parametrize(
    "text",
    [
        PLAIN.format("0.4 under", ""),
        PLAIN.format("0.4 kWh down", ""),
        PLAIN.format("0.4", ", no brakes"),
        PLAIN.format("0.4", ", brakes gone"),
        f"the other car, {PLAIN.format('0.4', '')}",
        f"is it {PLAIN.format('0.4', '')}",
        f"laps 7 to go, {PLAIN.format('0.4', '').removeprefix('lap 5, ')}",
    ],
)
def test_a_value_that_is_turned_denied_asked_or_of_another_car_is_not_believed(text: str) -> None:
    assert values(text) == {}


@pytest.mark.parametrize(
    ("text", "alert"),
    [
        (PLAIN.format("0.4", ", no alert"), []),
        (PLAIN.format("0.4", ", alert none"), []),
        (PLAIN.format("0.4", ", alert brakes"), ["brakes"]),
        (f"no, {PLAIN.format('0.4', ', alert brakes')}", ["brakes"]),
    ],
)
def test_alerts_in_plain_words_are_those_said(text: str, alert: list[str]) -> None:
    assert values(text)["alert"] == alert
    assert values(text)["energy"] == Decimal("0.4")


@pytest.mark.parametrize("figure", ["²", "①", "٣", "½"])
def test_a_figure_of_any_writing_breaks_nothing(figure: str) -> None:
    NamedReports(race_book()).find(PLAIN.format(figure, f" {figure}"))


def test_a_field_in_bands_is_told_by_its_number_or_its_name() -> None:
    qualifying = load_book(ROOT / "examples" / "qualifying" / "qualifying.toml")
    named = parse_book(
        qualifying.source.replace(
            "edges = [25, 30, 34, 38, 42, 46, 50, 54, 58]",
            'edges = [30, 50]\nnames = ["cold", "fine", "hot"]',
        )
    )
    for book, told in ((qualifying, "55"), (qualifying, "fifty five"), (named, "hot")):
        finder = NamedReports(book)
        found = finder.find(f"charge twenty two, battery {told}")
        assert found is not None
        assert not found.missing
        reading = finder.reading(found, None, "", {})
        assert reading is not None
        field = book.fields["battery"]
        given = told if told == "hot" else Decimal(55)
        assert reading.levels["battery"] == field.level(given).level


def test_a_lap_said_by_its_last_figure_is_the_one_expected(tmp_path: Path) -> None:
    """As a code says it; with its name all of it was said."""
    book = load_book(ROOT / "examples" / "starter" / "starter.toml")
    codes = (encode(book, {"lap": n, "energy": 0, "battery": 46}).words for n in range(1, 17))
    lines = [f"[00:{minute:02}:00] Ana: {words}\n" for minute, words in enumerate(codes, start=1)]
    with Journal(tmp_path / "event.sheet", book) as journal:
        talk = "[00:17:00] Ana: seven, energy minus point one, battery forty six\n"
        import_transcript(journal, [*lines, talk], "text", CREWS)
        last = [row.entry for row in rows(journal.entries())][-1]
    assert last.lap == 17
