"""What people stumble over in a book is told, each of its kind, and nothing else."""

from __future__ import annotations

import json

import pytest
from commands import called

from grammar.design.lint import KINDS, MISHEARD, lint
from grammar.display import DISPLAYS, look_alikes, misreadings, patterns, shown, unlike
from grammar.parsing import parse_book

BOOK = """
title = "small"
[alphabet]
symbols = "0123456789ABDSX"
[fields.charge]
kind = "quantity"
low = 0
high = 9
step = 1
[fields.mode]
kind = "choice"
options = ["save", "plan", "push"]
[fields.heat]
kind = "bands"
edges = [50, 70]
[tables.charge]
kind = "digits"
[tables.mode]
kind = "listed"
words = ["5", "S", "B"]
[tables.heat]
kind = "scale"
symbols = "DBA"
[messages.lap]
layout = "charge mode heat"
"""


def test_each_kind_is_told_by_name() -> None:
    """By hand: of the symbols X alone is unused; 5 is a figure and a mode, B a mode and a heat; D B
    A run against the alphabet; alfa and delta are the words most alike (book check).
    """
    every = lint(parse_book(BOOK, "small"), "7 segments")
    found = {kind: [one for one in every if one.kind == kind] for kind in KINDS}
    assert [one.text for one in found["unchecked"]] == [
        "lap: a word misheard, left out or swapped makes another report"
    ]
    assert [one.text for one in found["unused"]] == ["no codeword has X"]
    assert 'retired = "X"' in found["unused"][0].hint
    assert [one.text for one in found["two meanings"]] == [
        "5: a figure of a number, mode, in message lap",
        "B: mode, heat, in message lap",
    ]
    assert [one.text.partition(":")[0] for one in found["out of order"]] == ["heat"]
    assert found["look-alike"][0].text == (
        "5 and S look alike on 7 segments: drawn the same; both stand in mode"
    )
    assert any("D for" in one.text and "A for" in one.text for one in found["confusable"])
    assert all(one.weight >= 0 for several in found.values() for one in several)
    assert MISHEARD == 0.003


def test_a_book_without_any_of_it_is_told_so() -> None:
    told = called(["book", "lint", "examples/starter/starter.toml", "--display", "any"]).stdout
    assert b"look alike" not in told
    lines = called(["book", "lint", "examples/race/race.toml", "--json"]).stdout.splitlines()
    assert {json.loads(line)["kind"] for line in lines} <= set(KINDS)


@pytest.mark.parametrize("display", [one for one in DISPLAYS if one != "any"])
def test_misreadings_are_as_often_as_stated_and_most_often_of_look_alikes(display: str) -> None:
    """Rows of P(read | shown) sum to 1; on average as much is misread as [hearing] says."""
    name = next(one for one in DISPLAYS if one == display)
    symbols, why = shown(name, "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ")
    assert set(symbols) | why.keys() == set("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ")
    rows = misreadings(name, symbols, 0.002)
    assert all(sum(row.values()) == pytest.approx(1) for row in rows.values())
    wrong = sum(1 - row[one] for one, row in rows.items()) / len(symbols)
    assert wrong == pytest.approx(0.002)
    one, other, _ = look_alikes(name, symbols)[0]
    assert rows[one][other] == max(
        share for said, row in rows.items() for read, share in row.items() if said != read
    )
    known = patterns(name)
    assert known is not None
    assert len({known[symbol] for symbol in symbols}) == len(symbols)


def test_patterns_are_those_everybody_knows() -> None:
    """Common practice of seven segments, no source: 8 lights all, 1 two, 6 and 8 differ by one."""
    known = patterns("7 segments")
    assert known is not None
    assert (len(known["8"]), len(known["1"])) == (7, 2)
    assert unlike("7 segments", "6", "8") == pytest.approx(1 / 7)
    assert unlike("7 segments", "O", "0") == 0
    assert unlike("any", "8", "B") is None
    assert shown("7 segments", "5SK8", "")[1].keys() == {"S", "K"}
    assert shown("any", "5SK8", "58")[1].keys() == {"S", "K"}
