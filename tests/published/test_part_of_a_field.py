"""A digits table may say part of a field's levels, so that a number takes only the digits it needs,
as people and METAR write it.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from published.support import book, book_text

from codec import BookError, EncodeError, decode, encode, parse_book
from codec.cli import main
from grammar.codes import DONE, CodeTable
from grammar.figures import readings

NUMBERS = book("numbers")

TEMPERATURE = """
[fields.temperature]
kind = "quantity"
unit = "°C"
low = -20
high = 40
step = 5

[tables.temperature]
kind = "digits"
count = "value"
per = 1
minus = "M"
{part}

[messages.temperature]
layout = "temperature"
"""


def codewords(table: CodeTable) -> set[str]:
    """Return what the table's automaton accepts."""
    fragment, found, open_ends = table.fragment(), set(), [("", 0)]
    while open_ends:
        word, state = open_ends.pop()
        for mask, target in fragment[state]:
            for symbol in table.alphabet.unmask(mask):
                if target == DONE:
                    found.add(word + symbol)
                else:
                    open_ends.append((word + symbol, target))
    return found


@pytest.mark.parametrize(
    ("part", "expected"),
    [
        ("lowest = 5\nhighest = 20", {"05": 5, "10": 10, "15": 15, "20": 20}),
        ("highest = -10", {"M20": -20, "M15": -15, "M10": -10}),
        ("lowest = -5\nhighest = 5", {"M5": -5, "0": 0, "5": 5}),
        ("lowest = 40", {"40": 40}),
    ],
)
def test_only_the_levels_named_have_codewords(part: str, expected: dict[str, int]) -> None:
    part_book = parse_book(TEMPERATURE.format(part=part))
    table = part_book.tables["temperature"]
    assert [word for _, word in table.words()] == list(expected)
    assert codewords(table) == set(expected)
    for word, value in expected.items():
        assert decode(part_book, word, typed=True)["temperature"] == value
        assert encode(part_book, {"temperature": value}).string == word
        assert table.levels(word) is not None
    outside = next(value for value in range(-20, 45, 5) if value not in expected.values())
    with pytest.raises(EncodeError) as refused:
        encode(part_book, {"temperature": outside})
    assert refused.value.kind == "no-codeword"


def test_tables_of_parts_say_the_whole_field_between_them() -> None:
    said: dict[Any, str] = {}
    for table in NUMBERS.tables.values():
        for levels, word in table.words():
            assert levels not in said
            said[levels] = word
    assert said == {(number,): str(number) for number in range(100_000)}


@pytest.mark.parametrize(
    ("old", "new", "path", "message"),
    [
        (
            "highest = 99\n",
            "highest = 9\n",
            "tables.tens.highest",
            "the highest value lies before the lowest",
        ),
        ("highest = 99\n", "highest = 99.5\n", "tables.tens.highest", "99.5 is no level of number"),
        (
            "highest = 99\n",
            "highest = 100000\n",
            "tables.tens.highest",
            "number: 100000 is too high",
        ),
        ("lowest = 10\n", 'lowest = "ten"\n', "tables.tens.lowest", "'ten' is not a number"),
    ],
)
def test_part_that_is_none_of_the_field_is_refused(
    old: str, new: str, path: str, message: str
) -> None:
    with pytest.raises(BookError) as refused:
        parse_book(book_text("numbers", (old, new)))
    (problem,) = refused.value.problems
    assert (problem.path, problem.message) == (path, message)
    assert problem.line > 0


def test_the_readings_of_parts_that_leave_a_gap_are_counted_without_it() -> None:
    """What is expected is counted here, by listing what the tables say."""
    text = """
[fields.number]
kind = "quantity"
low = 0
high = 99
step = 1
[tables.small]
field = "number"
kind = "digits"
highest = 14
[tables.some]
field = "number"
kind = "listed"
partial = true
words = { 12 = "A", 13 = "B", 14 = "C", 20 = "D", 22 = "E" }
[tables.large]
field = "number"
kind = "digits"
lowest = 90
width = 3
[messages.number]
layout = "small | some | large"
"""
    made = parse_book(text)
    said = {levels for table in made.tables.values() for levels, _ in table.words()}
    assert readings(made.messages["number"]) == len(said) == 15 + 2 + 10


def test_parts_that_overlap_in_one_width_are_refused_with_the_string_they_share() -> None:
    with pytest.raises(BookError) as refused:
        parse_book(book_text("numbers", ("highest = 9\n", "highest = 12\nwidth = 2\n")))
    (problem,) = refused.value.problems
    assert problem.kind == "ambiguous"
    assert problem.message.startswith("'10' has two readings")


def test_levels_that_can_not_be_said_are_told_unless_that_is_meant(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "part.toml"
    path.write_text(TEMPERATURE.format(part="lowest = 5"), "utf-8")
    assert main(["book", "check", str(path), "--json"]) == 0
    note, *_ = json.loads(capsys.readouterr().out)["notes"]
    assert note == (
        "message temperature can't say temperature -20 °C; in all it lacks words for 5 combinations"
        ' of levels; unsaid = ["temperature"] says that this is meant'
    )
    path.write_text(f'{path.read_text("utf-8")}unsaid = ["temperature"]\n', "utf-8")
    assert main(["book", "check", str(path), "--json"]) == 0
    assert not any("lacks" in note for note in json.loads(capsys.readouterr().out)["notes"])
    path.write_text(path.read_text("utf-8").replace('["temperature"]', '["temperatur"]'), "utf-8")
    assert main(["book", "check", str(path)]) == 2
    assert "did you mean 'temperature'?" in capsys.readouterr().err


def test_the_nearest_that_can_be_said_is_offered() -> None:
    part_book = parse_book(TEMPERATURE.format(part="lowest = 5"))
    with pytest.raises(EncodeError) as refused:
        encode(part_book, {"temperature": -10})
    assert "the nearest that can be said has temperature 5 °C" in refused.value.hint
