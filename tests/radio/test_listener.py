"""Who spoke, for which car, on which lap; repeats, read-backs, corrections and questions stand
where they belong.
"""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from helpers import first_short
from hypothesis import given, settings
from hypothesis import strategies as st
from sheet.support import REPORT, ROOT, new, race_book, reasons, report, utterance

from codec import decode, encode, parse_book
from codec.radio.choices import heard_right
from codec.radio.crews import Crew, crews_of
from codec.radio.exchange import Draft
from codec.radio.finder import Passage
from codec.radio.forms import LeftOut, RecognisedWord
from codec.radio.importing import bounded, import_transcript
from codec.radio.laps import LapTimes
from codec.radio.listener import Listener
from codec.sheet import Entry, Journal
from codec.sheet.state import Standing, correction_of, laps, rows, withdrawal_of

CREWS = [Crew("7", "Ana", ("Quill",)), Crew("61", "Teo", ("Denn",))]
EVENT = Path(__file__).parents[2] / "examples" / "event"
EVENT_CREWS = crews_of(["7=Ilse Marrow,Quill", "61=Teo Vash,Denn"])


def heard(*said: tuple[str, str, float], crews: list[Crew] = CREWS, **facts: Any) -> list[Entry]:
    """Return the entries of (speaker, words, seconds)."""
    listener = Listener(race_book(), crews, **facts)
    return [
        one.entry
        for number, (speaker, text, at) in enumerate(said, start=1)
        for one in listener.hear(utterance(text, speaker, at, number))
        if isinstance(one, Draft)
    ]


def test_a_report_goes_to_the_car_of_its_driver() -> None:
    found = heard(("Teo", REPORT, 1))
    assert [(e.kind, e.car, e.lap, e.lap_by, e.string) for e in found] == [
        ("report", "61", 5, "said", "5163JRBT")
    ]
    assert found[0].certainty is not None
    assert found[0].certainty > 0.99


def test_what_the_wall_repeats_is_a_read_back() -> None:
    assert [
        (e.kind, e.note) for e in heard(("Ana", REPORT, 1), ("Quill", f"copy, {REPORT}", 6))
    ] == [
        ("report", ""),
        ("readback", "agrees"),
    ]


def test_what_the_wall_repeats_wrongly_is_told() -> None:
    values = {
        "lap": 5,
        "energy": "-0.3",
        "motor": 105,
        "inverter": 75,
        "battery": 48,
        "alert": ["brakes"],
    }
    found = heard(("Ana", REPORT, 1), ("Quill", encode(race_book(), values, "lap").words, 6))
    assert [(e.kind, e.note) for e in found] == [("report", ""), ("readback", "differs")]


def test_a_read_back_counts_alone_where_the_driver_was_not_heard() -> None:
    found = heard(("Quill", REPORT, 1))
    assert [(e.kind, e.car, e.string, e.refusal) for e in found] == [
        ("report", "7", "5163JRBT", "")
    ]


def test_a_read_back_of_an_earlier_lap_is_no_report() -> None:
    said = "one two one two eight sierra alfa"
    found = heard(("Ana", REPORT, 400), ("Quill", f"copy, {said}", 485), crews=CREWS[:1])
    assert [(e.kind, e.refusal) for e in found] == [("report", ""), ("readback", "doubtful")]


def test_a_report_said_twice_counts_once() -> None:
    assert len(heard(("Ana", REPORT, 1), ("Ana", REPORT, 5))) == 1


def test_a_report_said_again_mends_the_one_misheard() -> None:
    found = heard(
        ("Ana", "one one seven door x-ray quebec november tangle", 1), ("Quill", "say again", 5),
        ("Ana", "one one seven four x-ray quebec charlie tango", 8),
    )  # fmt: skip
    assert [(e.kind, e.refusal) for e in found] == [
        ("report", "unknown-word"),
        ("question", ""),
        ("correction", ""),
    ]


def test_a_report_of_another_lap_takes_the_place_of_none_that_could_not_be_read() -> None:
    laps = [words_of_lap(lap) for lap in range(1, 6)]
    misheard = laps[3].rsplit(" ", 1)[0] + " zulu"
    found = heard(
        ("Ana", laps[0], 90), ("Ana", laps[1], 180), ("Ana", misheard, 360),
        ("Ana", f"from the lap before, {laps[2]}", 380), ("Ana", laps[4], 450),
        crews=CREWS[:1],
    )  # fmt: skip
    assert [(e.kind, e.lap, e.accepted) for e in found] == [
        ("report", 1, True),
        ("report", 2, True),
        ("report", 4, False),
        ("report", 3, True),
        ("report", 5, True),
    ]


def test_a_report_of_other_words_takes_the_place_of_none_that_could_not_be_read() -> None:
    """What was heard before it was another team's."""
    found = heard(
        ("Ana", words_of_lap(1), 90), ("", "seven three one niner golf four tango", 165),
        ("Ana", words_of_lap(2), 178), crews=CREWS[:1],
    )  # fmt: skip
    assert [(e.kind, e.lap, e.accepted) for e in found][::2] == [
        ("report", 1, True),
        ("report", 2, True),
    ]


def test_a_correction_in_a_second_transmission() -> None:
    found = heard(
        ("Ana", "seven two five two eight x-ray", 1),
        ("Ana", "correction two six two ait x-ray charlie", 4),
    )
    assert found[-1].accepted
    assert found[-1].string == "72628XC"


def test_a_report_cut_in_two_by_a_pause() -> None:
    found = heard(("Ana", "five one six three", 1), ("Ana", "juliett romeo bravo tango", 4))
    assert [e.string for e in found if e.accepted] == ["5163JRBT"]


def test_two_halves_far_apart_are_no_report() -> None:
    assert not any(
        e.accepted
        for e in heard(("Ana", "five one six three", 1), ("Ana", "juliett romeo bravo tango", 40))
    )


def test_two_halves_of_two_drivers_are_no_report() -> None:
    assert not any(
        e.accepted
        for e in heard(("Ana", "five one six three", 1), ("Teo", "juliett romeo bravo tango", 4))
    )


@pytest.mark.parametrize(
    ("said", "names"),
    [
        ("safety car", ["neutralised"]),
        ("Safety car, safety car.", ["neutralised"]),
        ("if there is a safety car we box", []),
        ("did you see the safety car?", []),
        ("the safety car yesterday was much slower than the one we had in the rain last year", []),
        ("coming in, coming in", ["stop"]),
        ("safety car... sorry, disregard", []),
    ],
)
def test_phrases_are_events_unless_they_are_talked_about(said: str, names: list[str]) -> None:
    assert [e.message for e in heard(("Ana", said, 1)) if e.kind == "event"] == names


@pytest.mark.parametrize(
    ("said", "names"),
    [
        ("safety car has ended", ["resumed"]),
        ("safety car is over", ["resumed"]),
        ("safety car is over, green green green", ["resumed"]),
        ("okay safety car is now lifted", ["resumed"]),
        ("safety car, it's over", ["resumed"]),
        ("safety car, over", ["neutralised"]),
        ("safety car, lap five finished", ["neutralised"]),
        ("safety car ending", []),
        ("safety car in this lap", []),
        ("safety car is about to be lifted", []),
        ("safety car will be over soon", []),
        ("end of the safety car", []),
        ("we are out of safety car", []),
        ("coming in coming in", ["stop"]),
    ],
)
def test_a_state_of_the_race_that_is_said_to_be_over_does_not_begin(
    said: str, names: list[str]
) -> None:
    assert [e.message for e in heard(("Ana", said, 1)) if e.kind == "event"] == names


def test_a_phrase_that_both_ends_say_is_one_event_a_car() -> None:
    found = heard(
        ("Quill", "safety car", 1),
        ("Ana", "safety car", 4),
        ("Denn", "safety car", 5),
        ("Ana", "safety car", 90),
    )
    assert [(e.car, e.at) for e in found] == [("7", 1000), ("61", 5000), ("7", 90000)]


def test_a_phrase_parts_two_reports() -> None:
    found = heard(("Ana", f"{REPORT} safety car", 1))
    assert [e.kind for e in found] == ["report", "event"]


def words_of_lap(lap: int) -> str:
    values = {"lap": lap, "energy": 0, "motor": 90, "inverter": 60, "battery": 40, "alert": []}
    return encode(race_book(), values, "lap").words


def test_the_lap_said_is_restored_forwards() -> None:
    said = [words_of_lap(lap) for lap in (9, 10, 11, 17, 25)]
    at = (0.0, 100.0, 200.0, 800.0, 1600.0)
    lines = [("Ana", words, when) for when, words in zip(at, said, strict=True)]
    found = heard(*lines, crews=CREWS[:1])
    assert [e.lap for e in found] == [9, 10, 11, 17, 25]


def test_laps_from_lap_times() -> None:
    times = LapTimes.read(io.StringIO("car,lap,start\n7,1,0\n7,2,80\n7,3,161.5\n"), "times.csv")
    found = heard(
        ("Quill", "whiskey bravo november two", 100), ("Ana", "marking now", 170), times=times
    )
    assert [(e.lap, e.lap_by) for e in found] == [(2, "time"), (3, "time")]


def test_laps_in_order_where_the_book_has_no_lap_field() -> None:
    text = race_book().source.replace(
        'layout = "lap energy temperatures', 'layout = "energy temperatures'
    )
    book = parse_book(text, "no lap")
    values = {"energy": 0, "motor": 90, "inverter": 60, "battery": 40, "alert": []}
    listener = Listener(book, [Crew("7", "Ana")])
    found = []
    for n in range(3):
        words = encode(book, {**values, "energy": n / 10}, "lap").words
        found += [
            d.entry
            for d in listener.hear(utterance(words, "Ana", 100.0 * n))
            if isinstance(d, Draft)
        ]
    assert [(e.lap, e.lap_by) for e in found] == [(1, "order"), (2, "order"), (3, "order")]


def test_a_recogniser_that_is_not_sure_makes_a_doubtful_report() -> None:
    listener = Listener(race_book(), CREWS)
    words = tuple(RecognisedWord(word, 0.5) for word in REPORT.split())
    entries = [
        d.entry
        for d in listener.hear(utterance(REPORT, "Ana", 1, words=words))
        if isinstance(d, Draft)
    ]
    assert [(e.refusal, e.accepted) for e in entries] == [("doubtful", False)]
    right = 0.5**8  # of seldom right words hardly any report is, though its check symbol fits
    several = 1 - right - 8 * 0.5**8
    alone = Passage("reading", (0, len(REPORT)), (decode(race_book(), REPORT),))
    sure = heard_right(utterance(REPORT, "Ana", 1, words=words), alone)
    assert sure == pytest.approx(right / (right + several / 31), abs=0.001)


SHARES = st.floats(0.5, 1) | st.sampled_from((0.9, 0.97, 0.99, 0.999, 1.0))


@settings(max_examples=5)
@given(st.lists(st.tuples(SHARES, SHARES, st.booleans()), min_size=3, max_size=3), st.data())
def test_what_nobody_confirmed_counts_only_from_the_threshold_of_its_book_on(
    told: list[tuple[float, float, bool]], data: st.DataObject
) -> None:
    book = race_book()
    listener, threshold = Listener(book, CREWS), book.spec.hearing.threshold
    said = ["five one six three juliett romeo bravo tango", "lap 6 energy -0.2 motor 105"]
    said[1] += " inverter 75 battery 48"
    for number, (sure, other, cut) in enumerate(told):
        text = data.draw(st.sampled_from((*said, "six one six two juliett romeo bravo")))
        shares = {} if cut else {"confidence": sure, "alternatives": ((said[0], 1 - sure),)}
        doubts = data.draw(st.sampled_from(("words", "slots", "")))
        if doubts == "words":
            shares["words"] = tuple(
                RecognisedWord(word, other, (("niner", 1 - other),)) for word in text.split()
            )
        elif doubts == "slots" and "lap" not in text:
            shares["slots"] = tuple({word: other} for word in text.split())
        turn = utterance(text, "Ana", 90.0 * number + (number == 2) * -80, number + 1, **shares)
        for draft in [*listener.hear(turn), *(listener.finish() if number == 2 else ())]:
            if isinstance(draft, Draft) and draft.entry.accepted:
                assert draft.entry.certainty is not None
                assert draft.entry.certainty >= threshold


def test_an_alternative_that_is_a_report_is_taken_when_it_is_the_likely_one() -> None:
    listener = Listener(race_book(), CREWS)
    said = utterance(
        "five won six free july romeo bravo tango",
        "Ana",
        1,
        alternatives=((REPORT, 0.9),),
        confidence=0.05,
    )
    entries = [d.entry for d in listener.hear(said) if isinstance(d, Draft)]
    assert [(e.string, e.accepted) for e in entries] == [("5163JRBT", True)]
    assert entries[0].heard == said.text
    assert entries[0].note == f"taken for: {REPORT}"


def test_two_likely_alternatives_make_a_doubtful_report() -> None:
    listener = Listener(race_book(), CREWS)
    values = {
        "lap": 5,
        "energy": "-0.3",
        "motor": 105,
        "inverter": 75,
        "battery": 48,
        "alert": ["brakes"],
    }
    other = encode(race_book(), values, "lap").words
    said = utterance(REPORT, "Ana", 1, alternatives=((other, 0.48),), confidence=0.5)
    entries = [d.entry for d in listener.hear(said) if isinstance(d, Draft)]
    assert [e.refusal for e in entries] == ["doubtful"]


def test_what_is_left_out_is_told_with_the_reason() -> None:
    listener = Listener(race_book(), CREWS)
    assert reasons(listener.hear(utterance("the tyres are cold here", "Quill", 1))) == [
        "ordinary talk"
    ]
    assert reasons(listener.hear(utterance("if there is a safety car we box", "Quill", 2))) == [
        "'safety car' is talked about"
    ]
    assert reasons(listener.hear(utterance("we went to lima eight times", "Quill", 3))) != []
    assert reasons(listener.hear(utterance("x" * 30_000, "Quill", 4))) == [
        "too long to be one utterance"
    ]


def test_the_example_event_is_what_its_script_makes(tmp_path: Path) -> None:
    subprocess.run(
        [sys.executable, EVENT / "generate.py", tmp_path],
        check=True,
        capture_output=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    made = sorted(path.name for path in tmp_path.iterdir())
    assert made == [
        "lap-times.csv",
        "radio.jsonl",
        "radio.srt",
        "radio.txt",
        "radio.vtt",
        "truth.jsonl",
    ]
    for name in made:
        assert (tmp_path / name).read_bytes() == (EVENT / name).read_bytes(), (
            f"{name}: run examples/event/generate.py"
        )


@pytest.mark.parametrize("form", first_short(["txt", "jsonl", "vtt", "srt"]))
def test_the_example_event_is_read_whole_from_every_form(tmp_path: Path, form: str) -> None:
    truth = [json.loads(line) for line in (EVENT / "truth.jsonl").read_text("utf-8").splitlines()]
    with new(tmp_path) as journal, (EVENT / f"radio.{form}").open("rb") as stream:
        kind = "text" if form == "txt" else form
        summary = import_transcript(journal, bounded(stream), kind, EVENT_CREWS)
        standing = Standing(journal.entries())
        for car in ("7", "61"):
            wanted = {row["lap"]: row["string"] for row in truth if row["car"] == car}
            found = {
                lap: row.entry.string
                for lap, row in laps(standing, car, journal.book).items()
                if row.counts
            }
            assert found == wanted
        assert standing.race.added == 3
        assert not standing.race.neutralised
        assert summary.written["question"] >= 6
        assert [
            r.entry.message for r in standing.rows if r.first.kind == "event" and r.entry.car == "7"
        ] == ["neutralised", "resumed", "marker"]
        with (EVENT / f"radio.{form}").open("rb") as again:
            second = import_transcript(journal, bounded(again), kind, EVENT_CREWS)
        assert (second.written, second.there) == ({}, sum(summary.written.values()))


@pytest.mark.slow
def test_a_transcript_that_has_grown_adds_only_what_is_new(tmp_path: Path) -> None:
    lines = (EVENT / "radio.txt").read_text("utf-8").splitlines(keepends=True)
    with new(tmp_path) as journal, Journal(tmp_path / "whole.sheet", race_book()) as whole:
        for count in (40, 90, len(lines)):
            import_transcript(journal, lines[:count], "text", EVENT_CREWS)
        import_transcript(whole, lines, "text", EVENT_CREWS)
        assert [e.uid for e in journal.entries() if e.kind != "car"] == [
            e.uid for e in whole.entries() if e.kind != "car"
        ]


def test_corrections_keep_the_first_version(tmp_path: Path) -> None:
    with new(tmp_path) as journal:
        first = journal.append(report())
        journal.append(correction_of(first, lap=6, lap_by="given"))
        mend = journal.append(correction_of(first, lap=7))
        (row,) = rows(journal.entries())
        assert (row.first, row.entry.lap, len(row.corrections)) == (first, 7, 2)
        undone = journal.append(withdrawal_of(mend))
        assert rows(journal.entries())[0].entry.lap == 6
        journal.append(withdrawal_of(undone))
        assert rows(journal.entries())[0].entry.lap == 7


def test_undo_takes_back_one_entry_after_the_other(tmp_path: Path) -> None:
    with new(tmp_path) as journal:
        for lap in (1, 2):
            journal.append(report(lap=lap))
        undone = []
        while (last := Standing(journal.entries()).undoable("7")) is not None:
            journal.append(withdrawal_of(last))
            undone.append(last.lap)
        assert undone == [2, 1]
        assert all(row.withdrawn for row in rows(journal.entries()))


WORDS = [
    *list(race_book().lexicon.meanings)[::3],
    "the",
    "lemon",
    "47",
    "4K",
    "KILO",
    "cab",
    ",",
    ".",
    "?",
    "-",
    "[unclear]",
    "’",
    "1:32.4",
]


@given(
    st.lists(st.lists(st.sampled_from(WORDS), max_size=14).map(" ".join), max_size=5),
    st.sampled_from(["Ana", "Quill", "", "Zed"]),
)
def test_any_words_give_entries_or_a_reason(lines: list[str], speaker: str) -> None:
    listener = Listener(race_book(), CREWS)
    for number, line in enumerate(lines, start=1):
        heard = listener.hear(utterance(line, speaker, number * 3.0, number))
        assert all(isinstance(one, Draft | LeftOut) for one in heard)
        assert heard
