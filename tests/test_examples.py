"""The example books read what their files say, and nothing else."""

from __future__ import annotations

import json
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from codec import CodeError, decode, encode, load_book
from grammar.exact import exact

EXAMPLES = Path(__file__).parents[1] / "examples"
FILES = sorted(EXAMPLES.glob("*/reports.jsonl"))
CASES: dict[str, tuple[Path, dict[str, Any]]] = {
    f"{path.parent.name}-{number}": (
        path.with_name(path.parent.name + ".toml"),
        json.loads(line, parse_float=Decimal),
    )
    for path in FILES
    for number, line in enumerate(path.read_text("utf-8").splitlines(), start=1)
}
READ = {name: pair for name, pair in CASES.items() if "error" not in pair[1]}


def test_there_are_example_books() -> None:
    assert {path.parent.name for path in FILES} >= {"starter", "race", "qualifying"}


@pytest.mark.parametrize(("book", "case"), CASES.values(), ids=CASES.keys())
def test_a_transcript_gives_the_reading_beside_it(book: Path, case: dict[str, Any]) -> None:
    loaded = load_book(book)
    if "error" in case:
        with pytest.raises(CodeError) as refused:
            decode(loaded, case["heard"], direction=case.get("direction"))
        assert refused.value.kind == case["error"]
        return
    reading = decode(loaded, case["heard"], direction=case.get("direction"))
    assert reading.message == case["message"]
    assert reading.as_dict()["values"] == {n: _plain(v) for n, v in case["values"].items()}
    if "warnings" in case:
        assert list(reading.warnings) == case["warnings"]


def _plain(value: Any) -> Any:
    if isinstance(value, Decimal):
        return float(value)
    return {end: _plain(v) for end, v in value.items()} if isinstance(value, dict) else value


@pytest.mark.parametrize(("book", "case"), READ.values(), ids=READ.keys())
def test_its_canonical_string_says_the_same(book: Path, case: dict[str, Any]) -> None:
    loaded = load_book(book)
    reading = decode(loaded, case["heard"], direction=case.get("direction"))
    encoded = encode(loaded, reading)
    assert encoded.string == reading.string
    assert decode(loaded, encoded.words, direction=reading.direction) == reading


@pytest.mark.parametrize(
    ("name", "string", "energy"),
    [
        ("race", "4 18 3HZ 2", "energy 0.2 kWh under plan"),
        ("starter", "7 16 46", "energy 0.4 kWh under plan"),
    ],
)
def test_a_report_a_book_explains_means_what_it_says(name: str, string: str, energy: str) -> None:
    book = load_book(EXAMPLES / name / f"{name}.toml")
    explained = next(line for line in book.source.splitlines() if string in line)
    reading = decode(book, string)
    assert energy in explained
    assert energy == f"energy {-exact(reading['energy'])} kWh under plan"
    assert f"lap {'…' * (name == 'race')}{reading['lap']}" in explained


def test_the_race_book_uses_every_kind_of_field_and_table() -> None:
    book = load_book(EXAMPLES / "race" / "race.toml")
    assert {type(field).__name__ for field in book.fields.values()} == {
        "Quantity",
        "Bands",
        "Choice",
        "Flags",
        "Wrapped",
    }
    assert {table.kind for table in book.tables.values()} == {
        "digits",
        "scale",
        "listed",
        "packed",
        "check",
    }
    assert set(book.directions) == {"car", "pit"}


def test_a_report_of_the_race_is_never_a_call() -> None:
    assert load_book(EXAMPLES / "race" / "race.toml").crossing is None
