"""Reports are found in ordinary talk, and ordinary talk is not taken for reports."""

from __future__ import annotations

import random

import pytest
from bench.radio_events import talk_lines
from helpers import first_short
from radio.speakers import Labelled, labelled
from sheet.support import race_book

from codec.radio.crews import Crew, crews_of
from codec.radio.exchange import Draft
from codec.radio.forms import LeftOut, Utterance
from codec.radio.listener import Listener

RECALL, PRECISION = 0.98, 0.995


def found_in(lines: list[Labelled]) -> list[set[str]]:
    """Return the strings read in each line: their laps are any, as no car's are, and doubted."""
    listener = Listener(race_book(), [Crew("7", "Ana")])
    heard = [listener.hear(line.said) for line in lines]
    entries = [[one.entry for one in each if isinstance(one, Draft)] for each in heard]
    return [
        {
            e.string
            for e in each
            if (e.accepted or (e.string and " laps " in e.note))
            and e.kind in ("report", "call", "correction")
        }
        for each in entries
    ]


@pytest.mark.parametrize(
    ("seed", "every"),
    first_short([(101, 4), (101, 1), (102, 1), (1, 1)]),
    ids=["a quarter held out", "held out", "held out too", "the set chatter.toml was set by"],
)
def test_reports_and_calls_are_found(
    seed: int, every: int, capsys: pytest.CaptureFixture[str]
) -> None:
    lines = labelled(race_book(), seed)[::every]
    assert len(lines) >= 300 // every
    wanted = [set(line.strings) for line in lines]
    found = found_in(lines)
    found = [f - {line.perhaps} for line, f in zip(lines, found, strict=True)]
    right = sum(len(w & f) for w, f in zip(wanted, found, strict=True))
    recall = right / sum(len(w) for w in wanted)
    precision = right / sum(len(f) for f in found)
    with capsys.disabled():
        print(
            f"\n  {len(lines)} lines, {sum(map(len, wanted))} reports and calls: recall"
            f" {recall:.4f}, precision {precision:.4f}"
        )
    assert recall >= RECALL
    assert precision >= PRECISION


@pytest.mark.slow
@pytest.mark.parametrize("named", first_short([True, False]), ids=["by name", "by nobody"])
@pytest.mark.parametrize("crews", [["5=Ana,Ben"], ["5=Ana,Ben", "33=Cyd,Dee"]])
def test_no_talk_of_other_codes_gaps_and_lap_times_is_taken(crews: list[str], named: bool) -> None:
    talk = talk_lines()
    assert len(talk) >= 250
    listener = Listener(race_book(), crews_of(crews))
    heard: list[Draft | LeftOut] = []
    for number, (driver, text) in enumerate(talk, start=1):
        speaker = ("Ana" if driver else "Ben") if named else ""
        heard += listener.hear(Utterance(number, text, speaker, number * 40_000))
    heard += listener.finish()
    entries = [one.entry for one in heard if isinstance(one, Draft)]
    assert [entry for entry in entries if entry.accepted] == []


NAMES = [
    "Charlie",
    "Victor",
    "Mike",
    "Oscar",
    "Romeo",
    "Juliett",
    "Papa",
    "Lima",
    "Golf",
    "India",
    "Quebec",
    "Tango",
    "Delta",
    "Sierra",
]
NUMBERS = [
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "twelve",
    "twenty two",
    "3",
    "14",
    "forty",
]
TEMPLATES = [
    "{name} is {number} tenths behind {name}", "{name} {number} seconds up, {name} {number} back",
    "car {number} and car {number} at turn {number}",
    "{number} {number} {number} we go", "tell {name} to box in {number} for {number}",
    "{name} {name} {name}",
    "gap {number} point {number}",
    "{number} laps {number} minutes", "no {name}, {number}", "{name} {number}",
    "{name} {number} {number}, {name} is fine",
    "p {number} p {number}, {name}", "{number} or {number}?", "to {name} for {number} to {number}",
    "{name}, {name} {number}, copy",
    "{number} percent to {number} percent, {name}", "{name} at {number} {number} {number} {number}",
]  # fmt: skip


@pytest.mark.parametrize("count", first_short([100, 3000]))
def test_made_up_talk_full_of_names_and_numbers_holds_hardly_a_report(
    count: int, capsys: pytest.CaptureFixture[str]
) -> None:
    """Some of it is a call word for word (Lima three, Tango two two); nothing else may be taken,
    but seven figures by chance.
    """
    chance = random.Random(5)
    lines = []
    for number in range(1, count + 1):
        text = chance.choice(TEMPLATES)
        while "{" in text:
            text = text.replace("{name}", chance.choice(NAMES), 1).replace(
                "{number}", chance.choice(NUMBERS), 1
            )
        lines.append(
            Labelled(
                Utterance(number, text, chance.choice(["car", "pit", ""]), number * 100_000),
                (),
                "talk",
            )
        )
    taken = [string for strings in found_in(lines) for string in strings]
    calls = [string for string in taken if string[0] in "LT" and len(string) <= 3]
    with capsys.disabled():
        print(
            f"\n  {len(lines)} lines of talk: {len(taken) - len(calls)} taken for reports,"
            f" {len(calls)} that are calls word for word"
        )
    assert len(taken) - len(calls) <= len(lines) * 0.001
    assert len(calls) <= len(lines) * 0.01
