"""The comparison finds each fault that was planted, and nothing else."""

from __future__ import annotations

import os
import subprocess
import sys
from collections import Counter
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from race.story import tell
from race.support import ROOT, race_book

from codec import Encoded, encode
from codec.debrief import Comparison, compare, read_car_file
from codec.debrief.recorded import CarFileError, parse_car_file
from codec.debrief.symbols import heard_symbols, side_by_side, string_of
from codec.hear import channel
from codec.profile import channel_of
from codec.radio.crews import crews_of
from codec.radio.importing import bounded, import_transcript
from codec.sheet import Entry, Journal
from codec.sheet.state import rows
from grammar.fields import Value

EVENT = ROOT / "examples" / "event"


def found(comparison: Comparison) -> list[tuple[int, str]]:
    return sorted((finding.lap, finding.verdict) for finding in comparison.faults)


@pytest.mark.parametrize("seed", [7, 8, 11])
def test_each_planted_fault_is_found_and_nothing_else(seed: int) -> None:
    story = tell(seed)
    comparison = compare(
        story.book, story.entries, parse_car_file(story.car_file(), story.book), car="7"
    )
    assert found(comparison) == sorted(story.planted)
    assert {verdict for _, verdict in found(comparison)} == {"read wrong", "heard wrong", "late"}


def test_word_counts_are_the_planted_ones() -> None:
    story = tell()
    comparison = compare(
        story.book, story.entries, parse_car_file(story.car_file(), story.book), car="7"
    )
    assert (
        Counter({(said, heard): count for said, heard, count in comparison.confused()})
        == story.confused
    )
    assert len(comparison.heard) == story.words
    profile = comparison.profile(story.book, "Ilse Marrow")
    counted = sum(count for row in profile.heard.values() for count in row.values())
    assert counted == story.words
    for (said, heard), count in story.confused.items():
        words = story.book.alphabet.words
        assert (
            profile.heard[words[said].word.replace("-", " ")][words[heard].word.replace("-", " ")]
            == count
        )


def test_what_was_counted_changes_what_is_heard() -> None:
    """The profile goes into the channel: a pair that was confused is likelier than before."""
    story = tell()
    profile = compare(
        story.book, story.entries, parse_car_file(story.car_file(), story.book), car="7"
    ).profile(story.book)
    index, before, after = (
        story.book.alphabet.index,
        channel(story.book).table,
        channel_of(story.book, profile).table,
    )
    for said, heard in story.confused:
        assert after[index[said], index[heard]] > before[index[said], index[heard]]


def test_a_race_without_faults_has_none() -> None:
    story = tell(faults=False)
    comparison = compare(
        story.book, story.entries, parse_car_file(story.car_file(), story.book), car="7"
    )
    assert comparison.faults == []
    assert comparison.confused() == []
    assert {finding.verdict for finding in comparison.findings} == {"rounding only"}


def test_rounding_only_is_told_with_its_size() -> None:
    story = tell(faults=False)
    recorded = parse_car_file(story.car_file(), story.book)
    for finding in compare(story.book, story.entries, recorded, car="7").findings:
        assert all(
            gap <= step
            for gap, step in (
                (finding.largest.get("energy", 0), Decimal("0.05")),
                (finding.largest.get("motor", 0), 5),
            )
        )


def test_without_the_drivers_words_nothing_is_guessed() -> None:
    """Read wrong and heard wrong can't be told apart then; late still can, and so can what stands
    wrong in the sheet.
    """
    story = tell()
    comparison = compare(
        story.book, story.entries, parse_car_file(story.car_file("said"), story.book), car="7"
    )
    assert found(comparison) == sorted(
        (lap, verdict if verdict == "late" else "wrong") for lap, verdict in story.planted
    )
    assert comparison.confused() == []


def test_without_the_dash_it_is_worked_out_from_the_values() -> None:
    story = tell()
    comparison = compare(
        story.book, story.entries, parse_car_file(story.car_file("dash"), story.book), car="7"
    )
    assert found(comparison) == sorted(story.planted)


def test_missing_laps_are_told_on_either_side() -> None:
    story = tell()
    lines = [line for line in story.car_file() if not line.startswith("26,")]
    verdicts = {
        f.lap: f.verdict
        for f in compare(
            story.book, story.entries, parse_car_file(lines, story.book), car="7"
        ).findings
    }
    assert verdicts[13] == "no report"
    assert verdicts[26] == "not recorded"


def event_entries(folder: Path, form: str = "txt") -> list[Entry]:
    with (
        Journal(folder / "event.sheet", race_book()) as journal,
        (EVENT / f"radio.{form}").open("rb") as stream,
    ):
        crews = crews_of(["7=Ilse Marrow,Quill", "61=Teo Vash,Denn"])
        import_transcript(journal, bounded(stream), "text" if form == "txt" else "jsonl", crews)
        return list(journal.entries())


def test_the_example_events_faults_are_found_and_nothing_else(tmp_path: Path) -> None:
    """Misheard is each report whose words stand otherwise in the transcript; the others are planted
    in the car's file.
    """
    recorded = read_car_file(EVENT / "car-7.csv", race_book())
    spoken = {
        line.partition(": ")[2] for line in (EVENT / "radio.txt").read_text("utf-8").splitlines()
    }
    misheard = [
        (lap, "heard wrong")
        for lap, row in recorded.laps.items()
        for words in row.said
        if words not in spoken
    ]
    assert len(misheard) >= 3
    comparison = compare(race_book(), event_entries(tmp_path), recorded, car="7")
    told = set(found(comparison))
    assert {(6, "read wrong"), (18, "read wrong"), (23, "late")} <= told
    rest = told - {(6, "read wrong"), (18, "read wrong"), (23, "late")}
    assert rest <= set(misheard)  # the others were made out at once, and stand right
    assert all(
        finding.caught == (finding.verdict == "heard wrong") for finding in comparison.faults
    )


def test_the_car_file_is_what_its_script_makes(tmp_path: Path) -> None:
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    subprocess.run(
        [sys.executable, EVENT / "car.py", tmp_path],
        check=True,
        capture_output=True,
        env=environment,
    )
    assert (tmp_path / "car-7.csv").read_bytes() == (EVENT / "car-7.csv").read_bytes(), (
        "run examples/event/car.py"
    )


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("", "there is no column 'lap'"),
        ("dash\n1201", "there is no column 'lap'"),
        ("lap,lap\n1,1\n", "stands twice"),
        ("lap,energy\n1\n", "line 2: not as many cells"),
        ("lap,energy\n1,2,3\n", "line 2: not as many cells"),
        ("lap,energy\nx,0\n", "line 2: lap can't be 'x'"),
        ("lap,energy\n1,much\n", "line 2: energy can't be 'much'"),
        ("lap,alert\n1,fire\n", "line 2: alert can't be 'fire'"),
        ("lap,dash\n1,12O\n", "line 2: dash can't be '12O'"),
        ("lap,dash\n1,12128SX\n", "line 2: dash '12128SX' is no message of the book"),
        ("lap,time\n1,noon\n", "line 2: time can't be 'noon'"),
        ("lap,energy\n1,0\n1,0.1\n", "line 3: lap 1 was recorded before"),
        ('lap,energy\n1,"0\n', "CSV as in RFC 4180"),
    ],
)
def test_a_bad_car_file_tells_the_line_and_what_was_expected(text: str, what: str) -> None:
    with pytest.raises(CarFileError) as refused:
        parse_car_file(text.splitlines(keepends=True), race_book())
    assert what in str(refused.value)


@pytest.mark.parametrize(
    "text", ["lap,energi\n3,0.1\n", "lap,said\n3,blah blah\n", "lap,time\n3,240\n"]
)
def test_a_lap_of_which_nothing_was_recorded_is_not_called_as_recorded(text: str) -> None:
    story = tell(1)
    recorded = parse_car_file(text.splitlines(keepends=True), story.book)
    verdicts = {
        finding.lap: finding.verdict
        for finding in compare(story.book, story.entries, recorded, car="7").findings
    }
    assert verdicts[3] == "not recorded"


def test_columns_of_no_use_are_told() -> None:
    assert parse_car_file(["lap,gear,energy\n", "1,3,0\n"], race_book()).unused == ("gear",)


def test_a_file_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(CarFileError, match="can't be read"):
        read_car_file(tmp_path / "none.csv", race_book())


@given(st.integers(0, 40), st.integers(50, 130), st.integers(20, 64), st.integers(0, 9))
def test_words_of_any_report_are_its_symbols(
    energy: int, motor: int, battery: int, lap: int
) -> None:
    encoded: Encoded = encode(
        race_book(),
        {
            "lap": lap,
            "energy": Decimal(energy - 20) / 10,
            "motor": motor,
            "inverter": 70,
            "battery": battery,
        },
        "lap",
    )
    assert string_of(race_book(), encoded.words) == encoded.string
    assert string_of(race_book(), f"uh {encoded.words}") == encoded.string


def test_numbers_and_doubles_are_symbols_too() -> None:
    assert (
        string_of(race_book(), "twenty one double four fourteen thirty x-ray")
        == "2144" + "14" + "30X"
    )
    assert string_of(race_book(), "one two i say again three four") == "34"
    assert [(one.symbol, one.word) for one in heard_symbols(race_book(), "four kello")] == [
        ("4", "four"),
        ("", "kello"),
    ]


@given(st.text("ABC", max_size=8), st.text("ABC", max_size=8))
def test_aligning_loses_no_symbol(said: str, heard: str) -> None:
    aligned = side_by_side(said, list(heard))
    assert Counter(said) == Counter([a for a, _ in aligned.pairs]) + Counter(aligned.lost)
    assert Counter(heard) == Counter([b for _, b in aligned.pairs]) + Counter(aligned.added)


def test_a_report_of_another_car_is_not_compared(tmp_path: Path) -> None:
    entries = event_entries(tmp_path, "jsonl")
    comparison = compare(
        race_book(), entries, read_car_file(EVENT / "car-7.csv", race_book()), car="7"
    )
    seven = {row.first.seq for row in rows(entries) if row.entry.car == "7"} | {
        entry.seq for entry in entries if entry.car == "7"
    }
    assert {finding.seq for finding in comparison.findings} <= seven


def test_a_part_of_a_report_is_held_against_the_car_field_by_field() -> None:
    """Of lap 7 only the motor was made out, rightly; of lap 8 only the energy, wrongly."""
    story = tell()
    recorded = parse_car_file(story.car_file(), story.book)
    motor = next(e for e in story.entries if e.lap == 7 and e.message == "lap").values["motor"]
    parts: dict[int, dict[str, Value]] = {7: {"motor": motor}, 8: {"energy": Decimal("-1.9")}}
    entries = [
        Entry(
            kind="report", car="7", lap=lap, seq=lap, message="lap", heard="by field", values=said
        )
        for lap, said in parts.items()
    ]
    found = compare(story.book, entries, recorded, car="7").findings
    verdicts = {one.lap: (one.verdict, one.fields) for one in found if one.lap in parts}
    assert verdicts[7][0] in ("as recorded", "rounding only")
    assert verdicts[8] == ("wrong", ("energy",))
