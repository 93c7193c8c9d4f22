"""What the tests of the race share: the race book, and events made of a few lines."""

from __future__ import annotations

import functools
from pathlib import Path
from typing import Any

from codec import Book, load_book
from codec.race import Event, load_event, parse_event
from codec.sheet import Entry

ROOT = Path(__file__).parents[2]
RACE = ROOT / "examples" / "race" / "race.toml"
EVENT = ROOT / "examples" / "race" / "event.toml"

TEXT = """
{top}
[distance]
{distance}

[energy]
usable = 28.4
reserve = 0.4
spread = 0.03
drift = 0.006
first = 0.04
{energy}
"""
SURE = "jump = 0\ndoubt = 0\nodd = 0"
CALLS = """
[calls]
pace = { message = "pace", target = "target" }
distance = { message = "distance", added = "added" }
[readbacks]
distance = { message = "entered", added = "added" }
"""
DELTA = '[reports.energy]\nsays = "delta"\n'


@functools.cache
def race_book() -> Book:
    return load_book(RACE)


@functools.cache
def race_event() -> Event:
    return load_event(EVENT, race_book())


def event(energy: str = "", rest: str = "", *, distance: str = "laps = 20", top: str = "") -> Event:
    return parse_event(TEXT.format(energy=energy, distance=distance, top=top) + rest, race_book())


@functools.cache
def plain_event() -> Event:
    return event(SURE, DELTA)


def report(lap: int, certainty: float | None = None, at: int | None = None, **values: Any) -> Entry:
    book = race_book()
    said = {
        name: book.fields[name].value(book.fields[name].level(value).level)
        for name, value in values.items()
    }
    return Entry(
        kind="report", message="lap", lap=lap, values=said, certainty=certainty, at=at, seq=lap * 10
    )


def fact(
    kind: Any,
    message: str,
    lap: int,
    seq: int = 0,
    at: int | None = None,
    amount: Any = None,
    **values: Any,
) -> Entry:
    book = race_book()
    said = {
        name: book.fields[name].value(book.fields[name].level(value).level)
        for name, value in values.items()
    }
    return Entry(
        kind=kind,
        message=message,
        lap=lap,
        values=said,
        seq=seq or lap * 10 + 5,
        at=at,
        amount=amount,
    )
