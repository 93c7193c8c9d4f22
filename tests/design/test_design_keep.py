"""A message designed anew leaves the rest of the team's book as it was, where the two can stand
together; what can't is named.
"""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest

from codec import decode, encode, load_book
from codec.cli import main
from grammar.design import Needs, Proposal, candidates, needs_of, propose, written
from grammar.document import document
from grammar.parsing import parse_book

BOOK = """
title = "Two reports and a call"
[alphabet]
symbols = "0123456789ABCDEF"
[hearing]
messages = { lap = 9, pit = 2 }
[fields.battery]
kind = "quantity"
low = 20
high = 60
step = 10
usual = 40
spread = 10
[fields.mode]
kind = "choice"
options = ["save", "plan", "push"]
[fields.clicks]
kind = "quantity"
low = 0
high = 9
step = 1
[tables.battery]
kind = "digits"
count = "value"
[tables.mode]
kind = "scale"
symbols = "ABC"
[tables.clicks]
kind = "digits"
[tables.check]
kind = "check"
method = "weighted sum"
weights = [1, 3]
over = ["battery", "mode"]
[messages.lap]
label = "lap report"
layout = "battery mode"
[messages.pit]
layout = '"D" "E" battery mode check'
[messages.short]
layout = "clicks"
[messages.wheel]
direction = "pit"
layout = '"C" clicks'
[phrases.rain]
says = ["drops on the visor"]
"""
TEAM = parse_book(BOOK, "team")


@pytest.fixture(scope="module")
def designed() -> tuple[Needs, Proposal]:
    needs = needs_of(TEAM, "lap")
    (make,) = (one for one in list(candidates(needs, ["variable"]))[:1])
    candidate = make()
    assert candidate is not None
    return needs, propose(needs, candidate, draws=50)


def test_other_messages_phrases_and_settings_go_on_as_they_were(
    designed: tuple[Needs, Proposal],
) -> None:
    text, left_out = written(*designed, 1)
    book = parse_book(text, "new")
    assert set(book.messages) | set(left_out) == set(TEAM.messages)
    assert {"lap", "wheel", "pit"} <= set(book.messages)
    assert (book.messages["lap"].title, book.messages["wheel"].direction) == ("lap report", "pit")
    assert book.spec.phrases == TEAM.spec.phrases
    assert book.hearing.messages == TEAM.hearing.messages
    for battery in (20, 30, 60):
        for message, values in (
            ("pit", {"battery": battery, "mode": "push"}),
            ("wheel", {"clicks": battery // 10}),
        ):
            said = encode(TEAM, values, message)
            assert encode(book, values, message).string == said.string
            assert (
                decode(book, said.words, direction=book.messages[message].direction).values
                == said.reading.values
            )


def test_a_table_whose_name_the_new_message_takes_goes_on_under_another(
    designed: tuple[Needs, Proposal],
) -> None:
    raw = document(written(*designed, 1)[0], "new")
    assert raw["tables"]["battery"] != document(BOOK, "team")["tables"]["battery"]
    assert raw["tables"]["battery_before"] == {
        "kind": "digits",
        "count": "value",
        "field": "battery",
    }
    assert raw["tables"]["check"]["over"] == ["battery_before", "mode_before"]
    assert raw["messages"]["pit"]["layout"] == '"D" "E" battery_before mode_before check'


ANY_TWO = """
[fields.any]
kind = "quantity"
low = 0
high = 15
step = 1
[tables.any]
kind = "packed"
fields = ["any"]
[messages.short]
layout = "clicks any"
"""


def test_a_message_that_could_be_taken_for_the_new_one_is_left_out_by_name(
    designed: tuple[Needs, Proposal],
) -> None:
    """The new report is a symbol for each of two fields; a message of a digit and any symbol can't
    stand beside it.
    """
    needs, proposal = designed
    lap_apart = BOOK.replace('layout = "battery mode"', 'layout = \'"F" "F" battery mode\'')
    team = parse_book(lap_apart.replace('[messages.short]\nlayout = "clicks"\n', ANY_TWO), "team")
    text, left_out = written(
        dataclasses.replace(needs, rest=needs_of(team, "lap").rest), proposal, 1
    )
    assert "has two readings, in messages" in left_out["short"]
    assert "Left out of the book it comes from: message short." in text
    assert "short" not in parse_book(text, "new").messages


@pytest.mark.slow
@pytest.mark.usefixtures("hardly_heard")
def test_the_command_tells_what_was_left_out(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    source, out = tmp_path / "team.toml", tmp_path / "new.toml"
    source.write_text(BOOK, "utf-8")
    assert (
        main(
            [
                "design",
                str(source),
                "--message",
                "lap",
                "--family",
                "variable",
                "--draws",
                "50",
                "--out",
                str(out),
            ]
        )
        == 0
    )
    new = load_book(out)
    shown = capsys.readouterr().out
    for name in TEAM.messages:
        assert (name in new.messages) != (f"left out: message {name}." in shown)
