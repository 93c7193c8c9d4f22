"""What is said belongs to the car of whom said it, and to no other: names mistyped are told, and
reports of nobody's car count for none.
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest
from radio.unchecked import standing
from sheet.support import RACE, REPORT, new, race_book

from codec import encode
from codec.race import facts, follow, load_event
from codec.radio.crews import Crew, crews_of
from codec.radio.importing import Summary, import_transcript
from codec.radio.outlook import CarOutlook
from codec.screen.sheet import summary_lines
from codec.sheet import Journal
from codec.sheet.state import Standing, laps
from grammar.errors import CodeError

LINES = [
    f"[00:01:00] Ana: {REPORT}\n",
    "[00:01:01] Teo: five one seven three juliett romeo bravo sierra\n",
    "[00:01:09] Quill: whiskey bravo sierra two\n",
    "[00:03:00] Ana: lima three foxtrot\n",
]


def brought(journal: Journal, *named: str, lines: list[str] = LINES) -> Summary:
    return import_transcript(journal, lines, "text", crews_of(named))


def test_an_import_with_a_mistyped_driver_writes_nothing_and_tells_who_spoke(
    tmp_path: Path,
) -> None:
    with new(tmp_path) as journal:
        with pytest.raises(
            CodeError, match=r"Anna \(car 7\), Denn \(car 61\) never spoke.* Ana \(2\)"
        ):
            brought(journal, "7=Anna,Quill", "61=Teo,Denn")
        assert len(journal) == 0


def test_where_no_car_is_named_and_two_people_report_that_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    twice = [*LINES, *(line.replace("[00:0", "[00:1") for line in LINES)]
    for lines, told in ((twice, True), ([line for line in twice if "Teo" not in line], False)):
        folder = tmp_path / str(told)
        folder.mkdir()
        with new(folder) as journal:
            summary = brought(journal, lines=lines)
        summary_lines(summary)
        shown = " ".join(capsys.readouterr().out.split())
        assert (
            "no car is named, so all count for one, reported by Ana (4), Teo (2)" in shown
        ) is told


def test_with_one_car_the_reports_of_another_driver_are_not_its(tmp_path: Path) -> None:
    with new(tmp_path) as journal:
        summary = brought(journal, "7=Ana")
        cars = [
            entry.car
            for entry in journal.entries()
            if entry.kind == "report" and entry.speaker == "Teo"
        ]
    assert cars == [""]
    assert summary.of_no_car == {"Teo": 1}
    assert summary.supposed == {"Quill": 1}


def test_with_one_car_and_its_wall_named_nobody_else_speaks_to_it(tmp_path: Path) -> None:
    with new(tmp_path) as journal:
        summary = brought(journal, "7=Ana,Denn", lines=[*LINES, "Denn: copy\n"])
    assert summary.of_no_car == {"Teo": 1, "Quill": 1}


def test_who_was_named_and_never_spoke_is_told(tmp_path: Path) -> None:
    with new(tmp_path) as journal:
        summary = brought(journal, "7=Ana,Quill", "61=Teo,Denn")
    assert summary.silent == ["Denn (car 61)"]
    assert summary.of_no_car == {}


def test_a_transcript_that_names_nobody_is_of_the_only_car(tmp_path: Path) -> None:
    with new(tmp_path) as journal:
        summary = brought(journal, "7=Ana", lines=[f"{REPORT}\n"])
        assert [entry.car for entry in journal.entries()] == ["7", "7"]
    assert (summary.silent, summary.of_no_car) == ([], {})


def test_what_stands_before_a_colon_in_a_transcript_without_names_is_no_name(
    tmp_path: Path,
) -> None:
    lines = [f"[00:{minute:02}:00] {REPORT}\n" for minute in range(1, 15)]
    lines.append(f"[00:20:00] That spelling was theirs: {REPORT}\n")
    with new(tmp_path) as journal:
        summary = brought(journal, "7=Ana,Quill", lines=lines)
        cars = {entry.car for entry in journal.entries() if entry.kind == "report"}
    assert cars == {"7"}
    assert (summary.silent, summary.of_no_car) == ([], {})


def test_a_report_of_no_car_counts_in_no_car_and_an_event_of_none_in_all(tmp_path: Path) -> None:
    with new(tmp_path) as journal:
        brought(journal, lines=[f"Zed: {REPORT}\n", "Zed: safety car\n"])
        standing = Standing(journal.entries())
    assert [row.entry.kind for row in standing.of("7")] == ["event"]
    assert [fact.kind for fact in facts(standing, "7")] == ["event"]
    assert not laps(standing, "7", race_book())
    assert [row.entry.kind for row in standing.of("")] == ["report", "event"]


@pytest.mark.parametrize(
    ("named", "said"),
    [
        (["7=Ana", "7=Quill"], "car 7 is named twice"),
        (["7=Ana,Quill", "61=Teo,quill"], "'quill' is named for car 7 and for car 61"),
        (["=Ana"], "'=Ana' names no car"),
    ],
)  # fmt: skip
def test_everybody_is_named_once(named: list[str], said: str) -> None:
    with pytest.raises(CodeError, match=said):
        crews_of(named)


def test_people_are_given_with_commas_between_them() -> None:
    assert crews_of(["7 = Ana Lee , Quill,", "61"]) == [
        Crew("7", "Ana Lee", ("Quill",)),
        Crew("61"),
    ]


def test_race_control_ends_the_neutralisation_of_every_car(tmp_path: Path) -> None:
    """It says no lap, and nobody drives its car: what it says stands where it was said."""
    book = race_book()
    event = load_event(RACE.parents[1] / "event" / "event.toml", book)
    lines: list[str] = []

    def say(seconds: int, speaker: str, words: str) -> None:
        clock = f"00:{seconds // 60:02d}:{seconds % 60:02d}"
        lines.append(f"[{clock}] {speaker}: {words}\n")

    values = {"energy": "0.0", "motor": 95, "inverter": 65, "battery": 44, "alert": []}
    for lap in range(1, 11):
        for place, driver in enumerate(("Ana", "Teo")):
            words = encode(book, {**values, "lap": lap}, "lap").words
            say(82 * lap + 7 * place, driver, words)
        if lap == 4:
            say(82 * lap + 20, "Race Control", "safety car")
        if lap == 7:
            say(82 * lap + 40, "Race Control", "racing again")
    with new(tmp_path) as journal:
        brought(journal, "7=Ana,Quill", "61=Teo,Denn", lines=lines)
        standing = Standing(journal.entries())
    assert not standing.race.neutralised
    for car in ("7", "61"):
        race = follow(event, facts(standing, car))
        (span,) = race.spans
        assert (span.first, span.last, race.neutralised) == (5, 8, False)
        assert race.clock.minutes(span) == Fraction(3 * 82 + 20, 60)
        # a lap began 4 s before its report, that one 20 and 40 s (7 less of car 61) before the call
        assert [round(one.neutralised, 1) for one in race.driven] == [
            0, 0, 0, 0, *((0.7, 1, 1, 0.5) if car == "7" else (0.8, 1, 1, 0.4)), 0, 0
        ]  # fmt: skip


USUAL = {"energy": 0, "motor": 90, "inverter": 60, "battery": 40, "alert": []}


def told(lap: int, energy: str) -> str:
    return encode(race_book(), {**USUAL, "lap": lap, "energy": energy}, "lap").words


@pytest.mark.parametrize(
    ("others_first", "cue", "strings"),
    [(False, "", 2), (True, "", 1), (False, "correction ", 1)],
)
def test_two_reports_of_a_lap_under_one_name_may_be_of_two_cars(
    tmp_path: Path, others_first: bool, cue: str, strings: int
) -> None:
    """Both are doubtful, unless the second puts the first right, or the other car has reported."""
    lines = [f"[00:01:30] Ana: {told(1, '-0.4')}", f"[00:01:58] Ana: {cue}{told(1, '1.3')}"]
    if others_first:
        lines.insert(0, f"[00:01:28] Teo: {told(1, '0.2')}")
    found = standing(tmp_path, lines, "7=Ana", "61=Teo", book=race_book())
    own = [entry for entry in found if entry.car == "7"]
    assert [entry.accepted for entry in own] == ([False, False] if strings == 2 else [True])
    assert len({entry.string for entry in own}) == strings
    assert all(entry.string for entry in own)


@pytest.mark.parametrize("timed", [True, False])
def test_a_late_report_is_of_the_car_whose_lap_it_lacks(tmp_path: Path, *, timed: bool) -> None:
    said = [("Ana", 1, "0.4"), ("Teo", 1, "-0.6"), ("Ana", 2, "0.5"), ("Teo", 2, "-0.7")]
    said += [("Teo", 3, "-0.8"), ("Ana", 4, "0.7"), ("Ana", 3, "0.6"), ("Teo", 4, "-0.9")]
    seconds = (90, 120, 180, 210, 300, 360, 377, 390)
    lines = [
        (f"[00:{at // 60:02}:{at % 60:02}] " if timed else "") + f"{name}: {told(lap, energy)}"
        for at, (name, lap, energy) in zip(seconds, said, strict=True)
    ]
    found = standing(tmp_path, lines, "7=Ana", "61=Teo", book=race_book())
    assert [(one.car, one.lap, one.accepted) for one in found] == [
        ("7" if name == "Ana" else "61", lap, True) for name, lap, _ in said
    ]


def test_the_lap_behind_a_late_report_is_that_behind_the_last_lap() -> None:
    outlook = CarOutlook(race_book(), "7")
    for number, (lap, at) in enumerate([(1, 90), (2, 180), (4, 360), (3, 377)]):
        reading = encode(race_book(), {**USUAL, "lap": lap}, "lap").reading
        outlook.learn(reading, lap, at * 1000, number)
    laps = outlook.laps(450_000, 5)
    assert max(laps, key=laps.__getitem__) == 5


def test_a_car_that_never_reports_makes_no_report_of_another_doubtful(tmp_path: Path) -> None:
    lines = [f"[00:{3 * lap // 2:02}:00] Ana: {told(lap, '0.4')}" for lap in (2, 4, 6)]
    lines.append(f"[00:09:28] Ana: {told(6, '1.3')}")
    found = standing(tmp_path, lines, "7=Ana", "61=Teo", book=race_book())
    assert [(one.lap, one.accepted) for one in found] == [(2, True), (4, True), (6, True)]
