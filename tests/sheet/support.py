"""What the tests of the sheet share."""

from __future__ import annotations

import functools
from pathlib import Path
from typing import Any

from codec import Book, decode, load_book, parse_book
from codec.radio.forms import LeftOut, Utterance
from codec.sheet import Entry, Journal

ROOT = Path(__file__).parents[2]
RACE = ROOT / "examples" / "race" / "race.toml"
REPORT = "five one six three juliett romeo bravo tango"


@functools.cache
def race_book() -> Book:
    return load_book(RACE)


@functools.cache
def other_book() -> Book:
    return parse_book(
        RACE.read_text("utf-8")
        .replace("high = 130", "high = 135")
        .replace("width = 3", "width = 3"),
        "other",
    )


def report(text: str = REPORT, car: str = "7", lap: int = 5, **facts: Any) -> Entry:
    reading = decode(race_book(), text, context={"lap": lap})
    return Entry(
        kind="report", car=car, lap=lap, lap_by="said", heard=text, message=reading.message,
        string=reading.said,
        values=dict(reading.values), **facts,
    )  # fmt: skip


def new(path: Path, **facts: Any) -> Journal:
    return Journal(path / "event.sheet", race_book(), **facts)


def utterance(
    text: str, speaker: str = "car", at: float | None = None, number: int = 1, **facts: Any
) -> Utterance:
    return Utterance(number, text, speaker, None if at is None else round(at * 1000), **facts)


def reasons(heard: list[Any]) -> list[str]:
    return [one.reason for one in heard if isinstance(one, LeftOut)]
