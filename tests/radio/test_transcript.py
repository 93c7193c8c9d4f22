"""Transcripts of every form give the same utterances; what can't be read is told, and nothing stops
the reading.
"""

from __future__ import annotations

import argparse
import io
import json
import tracemalloc
from collections.abc import Iterable, Iterator
from typing import Any, cast

import pytest
from hypothesis import given
from hypothesis import strategies as st

from codec.cli.sheet import add
from codec.radio.forms import FORMS, Form, IsCode, LeftOut, Utterance, form_of
from codec.radio.importing import bounded
from codec.radio.laps import LapTimes
from codec.sheet.entry import SheetError


def read(text: str, form: str) -> list[Utterance | LeftOut]:
    return list(
        FORMS[form].utterances(
            io.StringIO(text), lambda words: set(words.lower().split()) <= {"lima", "seven", "ait"}
        )
    )


def told(text: str, form: str) -> list[tuple[str, str, int | None]]:
    return [(u.speaker, u.text, u.at) for u in read(text, form) if isinstance(u, Utterance)]


def test_lines_of_text() -> None:
    text = (
        "[00:12:31.5] Ana: lima seven\n\n12:31 Ben: copy\nlima seven: ait\nCharlie: go\n  just"
        " talk\n01:02:03 x\n"
    )
    assert told(text, "text") == [
        ("Ana", "lima seven", 751_500), ("Ben", "copy", 751_000), ("", "lima seven: ait", None),
        ("Charlie", "go", None),
        ("", "  just talk", None), ("", "x", 3_723_000),
    ]  # fmt: skip


def test_web_vtt_of_the_standard() -> None:
    """W3C WebVTT, 1.2 and 6.4: header, notes, identifiers, settings, voice spans, character
    references.
    """
    text = (
        "WEBVTT - race\nKind: captions\n\nNOTE by hand\n\nSTYLE\n::cue { color: red"
        " }\n\nfirst\n00:01.000 --> 00:04.250 align:start\n<v.loud Ana>lima"
        " <i>seven</i></v>\n\n00:00:05.000 --> 00:00:06.000\n<v Ben>say &amp; again\nplease\n<v"
        " Ana>no\n\n01:00:00.000 --> 01:00:01.000\nBen: copy\n"
    )
    assert told(text, "vtt") == [
        ("Ana", "lima seven", 1000), ("Ben", "say & again please", 5000), ("Ana", "no", 5000),
        ("Ben", "copy", 3_600_000),
    ]  # fmt: skip


def test_sub_rip() -> None:
    text = (
        "1\n00:00:01,500 --> 00:00:04,000\nAna: lima\nseven\n\n2\n00:00:05,000 --> 00:00:06,000\n-"
        " Ben: say again\n- Ana: lima\n"
    )
    assert told(text, "srt") == [
        ("Ana", "lima seven", 1500),
        ("Ben", "say again", 5000),
        ("Ana", "lima", 5000),
    ]


def test_json_lines_with_everything() -> None:
    line = {
        "speaker": "Ana", "start": 12.5, "end": 14, "text": "lima seven", "car": "7", "lap": 3,
        "confidence": 0.9,
        "words": [{"word": "lima", "confidence": 0.8,
        "alternatives": [{"word": "lemur", "confidence": 0.1}]}, {"text": "seven"}],
        "alternatives": [{"text": "lima sever", "confidence": 0.05}],
    }  # fmt: skip
    (said,) = read(json.dumps(line) + "\n", "jsonl")
    assert isinstance(said, Utterance)
    assert (said.speaker, said.at, said.until, said.car, said.lap, said.confidence) == (
        "Ana",
        12_500,
        14_000,
        "7",
        3,
        0.9,
    )
    assert said.words[0].alternatives == (("lemur", 0.1),)
    assert said.alternatives == (("lima sever", 0.05),)


def test_json_lines_by_other_names() -> None:
    text = (
        '{"from": "car", "heard": "a", "at": "12.5"}\n{"channel": 2, "transcript": "b", "time":'
        ' "1970-01-01T00:00:02Z"}\n'
    )
    assert told(text, "jsonl") == [("car", "a", 12_500), ("2", "b", 2000)]


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        ("{", "not JSON"), ("[1]", "a JSON object is expected"), ('{"say": 1}', "no text"),
        ('{"text": "a", "lap": "x"}', "'lap' must be"),
        ('{"text": "a", "start": "noon"}', "'noon' is no time"),
        ('{"text": "a", "confidence": 2}', "a confidence of 0 … 1"),
        ('{"text": "a", "words": [3]}', "each of 'words'"),
        ('{"text": "a", "start": 1e300}', "is no time: seconds, 0 or more"),
        ("[" * 100_000, "not JSON"), ('{"text": "a", "words": 5}', "'words' must be a list"),
        ('{"text": "a", "start": -3}', "'-3' is no time"),
        ('{"text": "a", "alternatives": "b"}', "'alternatives' must be a list"),
    ],
)  # fmt: skip
def test_a_line_that_is_no_utterance_is_told_and_passed(line: str, reason: str) -> None:
    bad, good = read(line + '\n{"text": "fine"}\n', "jsonl")
    assert isinstance(bad, LeftOut)
    assert reason in bad.reason
    assert isinstance(good, Utterance)


def test_a_cue_that_is_none_is_told_and_passed() -> None:
    bad, good = read("WEBVTT\n\n00:99 --> soon\nx\n\n00:01.000 --> 00:02.000\ny\n", "vtt")
    assert isinstance(bad, LeftOut)
    assert isinstance(good, Utterance)


@pytest.mark.parametrize("line", ["[00:99:56] Ana: lima", "00:12:60.5 Ana: lima", "12:75 lima"])
def test_a_line_at_a_time_that_is_none_is_told_and_passed(line: str) -> None:
    bad, good = read(line + "\n[100:56] Ana: lima\n", "text")
    assert isinstance(bad, LeftOut)
    assert "is no time: hours:minutes:seconds" in bad.reason
    assert isinstance(good, Utterance)
    assert good.at == 6_056_000


def test_a_line_of_times_begins_a_cue_without_a_blank_line_before_it() -> None:
    """W3C WebVTT, 6.1, "collect a WebVTT block"; the header ends at one as well."""
    text = (
        "WEBVTT\n00:01.000 --> 00:02.000\nAna: lima\n00:05.000 --> 00:06.000\nBen: seven\nseven\n"
    )
    assert told(text, "vtt") == [("Ana", "lima", 1000), ("Ben", "seven seven", 5000)]


@pytest.mark.parametrize("form", ["vtt", "srt"])
def test_the_number_of_the_next_cue_is_no_word_of_the_one_before(form: str) -> None:
    text = (
        "1\n00:00:01,000 --> 00:00:02,000\nAna: lima\n7\n2\n00:00:05,000 --> 00:00:06,000\nBen:"
        " seven\n"
    )
    text = "WEBVTT\n\n" + text.replace(",", ".") if form == "vtt" else text
    assert told(text, form) == [("Ana", "lima 7", 1000), ("Ben", "seven", 5000)]


def test_text_that_belongs_to_no_cue_is_told() -> None:
    bad, good = read("1\n00:00:01,000 --> 00:00:02,000\nAna: lima\n\nand seven\n", "srt")[::-1]
    assert isinstance(bad, LeftOut)
    assert "no line of times" in bad.reason
    assert isinstance(good, Utterance)


@pytest.mark.parametrize(
    "times", ["00:99:01,000 --> 00:99:02,000", "00:00:75,000 --> 00:00:76,000"]
)
def test_a_cue_at_a_time_that_is_none_is_told(times: str) -> None:
    (bad,) = read(f"1\n{times}\nlima\n", "srt")
    assert isinstance(bad, LeftOut)


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ("7,1,0\n7,2,soon\n", "line 3: 'soon' is no time"),
        ("7,first,0\n", "line 2: no lap: 'first' is no whole number from 0 to 10000"),
        ("7,1,\n", "line 2: a time is missing"),
        ("7,2,10\n7,1,90\n", "car 7 begins lap 2 at 10 s and lap 1 at 90 s"),
        ("7,1,9\n7,2,9\n", "at 9 s"), ("7,1\n", "a time is missing"),
    ],
)  # fmt: skip
def test_lap_times_that_can_not_be_are_refused(rows: str, said: str) -> None:
    with pytest.raises(SheetError, match=said):
        LapTimes.read(io.StringIO("car,lap,start\n" + rows), "times.csv")


def test_lap_times_may_stand_in_any_order() -> None:
    times = LapTimes.read(io.StringIO("car,lap,start\n7,2,90\n7,1,0\n"), "times.csv")
    assert [times.at("7", moment) for moment in (0, 89_999, 90_000)] == [1, 1, 2]


@pytest.mark.parametrize(
    ("name", "head", "form"),
    [
        ("a.vtt", "", "vtt"), ("a.srt", "", "srt"), ("a.jsonl", "", "jsonl"),
        ("-", "\ufeffWEBVTT\n", "vtt"),
        ("-", '{"text": ""}', "jsonl"),
        ("-", "1\n00:00:01,000 --> 00:00:02,000\n", "srt"), ("a.txt", "Ana: x", "text"),
        ("a.txt", "", "text"),
    ],
)  # fmt: skip
def test_the_form_is_told_by_name_or_beginning(name: str, head: str, form: str) -> None:
    assert form_of(name, head).name == form


class Turns(Form):
    """A made-up form: turns between bars."""

    name, suffixes, signature = "turns", ("trn",), "TURNS|"

    def utterances(self, lines: Iterable[str], is_code: IsCode, /) -> Iterator[Utterance | LeftOut]:
        for number, line in enumerate(lines, start=1):
            yield from (Utterance(number, turn) for turn in line.split("|") if is_code(turn))


def test_a_new_form_is_a_class_and_its_name_in_the_list(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(cast("dict[str, Form]", FORMS), "turns", Turns())
    assert form_of("a.trn", "").name == form_of("-", "TURNS|x").name == "turns"
    assert told("lima seven|talk|ait", "turns") == [("", "lima seven", None), ("", "ait", None)]
    parser = argparse.ArgumentParser()
    add(parser.add_subparsers())
    args = parser.parse_args(["sheet", "import", "a.sheet", "a.trn", "--form", "turns"])
    assert args.form == "turns"


@given(st.text(), st.sampled_from(sorted(FORMS)))
def test_any_text_is_read_without_an_error(text: str, form: str) -> None:
    for said in read(text, form):
        assert isinstance(said, Utterance | LeftOut)


def test_a_line_without_end_fills_no_memory() -> None:
    class Endless(io.RawIOBase):
        left = 60_000_000

        def readable(self) -> bool:
            return True

        def readinto(self, buffer: Any, /) -> int:
            count = min(len(buffer), self.left)
            buffer[:count] = b"x" * count
            self.left -= count
            return count

    tracemalloc.start()
    sizes = [len(line) for line in bounded(io.BufferedReader(Endless()))]
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert sizes == [400_000]
    assert peak < 10_000_000


@pytest.mark.slow
def test_a_long_transcript_takes_no_more_memory_than_a_short_one() -> None:
    from sheet.support import race_book

    from codec.radio.crews import Crew
    from codec.radio.listener import Listener

    def lines(count: int) -> Iterator[str]:
        for number in range(count):
            yield f"Ana: turn {number % 17} is slippery, gap {number} tenths\n"

    def peak(count: int) -> int:
        listener = Listener(race_book(), [Crew("7", "Ana")])
        tracemalloc.start()
        for said in FORMS["text"].utterances(lines(count), lambda _: False):
            assert isinstance(said, Utterance)
            listener.hear(said)
        top = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return top

    peak(300)  # whatever is loaded once
    assert peak(4_500) < peak(1_500) + 1_000_000
