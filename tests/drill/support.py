"""Books, pools and answers that the drill tests share."""

from __future__ import annotations

import datetime
import functools
from pathlib import Path
from typing import Any

from codec import Book, load_book
from codec.drill import Answer, Pool

ROOT = Path(__file__).parents[2]
RACE = ROOT / "examples" / "race" / "race.toml"
DRILL = ROOT / "examples" / "drill" / "drill.toml"
START = datetime.datetime(2026, 3, 2, 9, 0, tzinfo=datetime.UTC)


@functools.cache
def race() -> Book:
    return load_book(RACE)


@functools.cache
def drill_book() -> Book:
    return load_book(DRILL)


@functools.cache
def lap_pool() -> Pool:
    return Pool(race(), ["lap"])


def stamp(at: datetime.datetime) -> str:
    return at.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def answer(shown: str = "5", said: str | None = None, **facts: Any) -> Answer:
    said = shown if said is None else said
    told: dict[str, Any] = {
        "person": "Ana", "drill": "read", "session": "s", "book": "b",
        "kind": "symbol" if len(shown) == 1 else "report",
        "part_of": "" if len(shown) == 1 else "lap", "shown": shown, "said": said,
        "outcome": "right" if said == shown else "accepted",
        "at": stamp(START),
    }  # fmt: skip
    return Answer(**(told | facts))
