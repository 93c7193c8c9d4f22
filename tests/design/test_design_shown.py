"""What people look at of many proposals: few of them, those with a name always; and what is to be
learnt of each, counted by hand on a small book.
"""

from __future__ import annotations

import dataclasses
import xml.etree.ElementTree as ET
from collections.abc import Sequence
from pathlib import Path

import pytest
from PIL import Image

from codec.screen.design import plot
from grammar.design import (
    Needs,
    Proposal,
    as_now,
    candidates,
    chosen,
    explained,
    frontier,
    informative,
    learning_of,
    load_needs,
    named,
    needs_of,
    proposals,
    propose,
)
from grammar.loading import load_book
from grammar.parsing import parse_book

NEEDS = "examples/design/needs.toml"


@pytest.fixture(scope="module")
def needs() -> Needs:
    return load_needs(NEEDS)


@pytest.fixture(scope="module")
def found(needs: Needs) -> Sequence[Proposal]:
    families = ["monotone", "variable", "assigned"]
    return proposals(needs, list(candidates(needs, families)), draws=50)


@pytest.mark.slow
def test_at_most_eight_are_shown_and_always_those_with_a_name(
    needs: Needs, found: Sequence[Proposal]
) -> None:
    best, known = frontier(found), named(found, needs, chosen(found, needs))
    shown = informative(best, known.values())
    assert len(shown) <= 8
    assert all(one in shown for one in known.values())
    assert shown == sorted(shown, key=lambda one: one.mean)
    assert informative(best, [], most=3) == sorted(
        informative(best, [], most=3), key=lambda one: one.mean
    )


@pytest.mark.slow
def test_the_one_picked_is_told_in_two_sentences(needs: Needs, found: Sequence[Proposal]) -> None:
    for one in found:
        told = explained(one, needs, found)
        assert told.startswith(f"{one.name}, read from a card by people, takes ")
        assert told.count(". ") == 1
        assert told.endswith(".")
    strict = dataclasses.replace(needs, limits=needs.limits.model_copy(update={"seconds": 0.5}))
    told = explained(found[0], strict, found)
    assert "does not keep the limits: at most 0.5 s for the longest report" in told


@pytest.mark.slow
@pytest.mark.parametrize("form", ["svg", "png"])
def test_the_figure_names_few_points_draws_the_limits_and_tells_the_pick(
    form: str, needs: Needs, found: Sequence[Proposal], tmp_path: Path
) -> None:
    pick = chosen(found, needs)
    assert pick is not None
    path = tmp_path / f"figure.{form}"
    plot(needs, found, named(found, needs, pick), path)
    if form == "png":
        with Image.open(path) as image:
            assert image.size == (1235, 832)
        return
    text = path.read_text("utf-8")
    ET.fromstring(text)  # noqa: S314 - our own
    told = [line.strip(" -<!>") for line in text.splitlines() if line.startswith("    <!--")]
    assert "limit: 1 in 200 wrong" in told
    assert "limit: no report longer than 4 s" in told
    assert sum(pick.name in line and "picked" in line for line in told) == 1
    names = [line for line in told if any(f": {one.name}" in line for one in found)]
    assert 1 <= len(names) <= 5


def test_a_book_is_shown_as_it_is_now_and_never_picked() -> None:
    needs = needs_of(load_book("examples/starter/starter.toml"), "lap")
    made = as_now(needs)
    assert made is not None
    now = propose(needs, made, draws=50)
    assert now.mean == pytest.approx(2.56, abs=0.05)  # as niner book check tells
    assert named([now], needs) == {"as now": now}
    assert chosen([now], needs) is None


SMALL = """
[fields.charge]
kind = "quantity"
low = 0
high = 99
step = 1
[fields.energy]
kind = "quantity"
low = -2
high = 2
step = 1
[fields.mode]
kind = "choice"
options = ["save", "plan", "push"]
[fields.tyres]
kind = "bands"
edges = [50, 70, 90]
[tables.charge]
kind = "digits"
[tables.energy]
kind = "digits"
[tables.mode]
kind = "listed"
words = ["2", "A", "1"]
[tables.tyres]
kind = "scale"
symbols = "ABCD"
[tables.check]
kind = "check"
method = "weighted sum"
weights = [1]
[messages.lap]
layout = "charge energy mode tyres check"
"""


def test_what_is_to_be_learnt_is_counted_on_the_tables() -> None:
    """By hand: charge is what it says (nothing to learn), energy is one rule (its figures count
    from -2), mode three pairs, tyres four; 1 and 2 are figures and modes, A is a mode and tyres.
    """
    found = learning_of(parse_book(SMALL, "small").messages["lap"])
    assert {one.table: one.pairs for one in found.tables} == {
        "charge": 0,
        "energy": 1,
        "mode": 3,
        "tyres": 4,
    }
    assert found.pairs == 8
    assert found.several == {
        "1": ("a figure of a number", "mode"),
        "2": ("a figure of a number", "mode"),
        "A": ("mode", "tyres"),
    }
    assert {one.table: one.regular for one in found.tables} == {
        "charge": 1.0,
        "energy": 1.0,
        "mode": 0.5,  # 2 A 1 stand as 1 2 A: A follows 2, but 1 does not follow A
        "tyres": 1.0,
    }
