"""Needs files: what is wrong with them is told with lines; what is known of values and times
counts.
"""

from __future__ import annotations

import tomllib
from decimal import Decimal
from pathlib import Path

import pytest
from helpers import first_short

from grammar.design import (
    FAMILIES,
    Needs,
    Proposal,
    analyse,
    candidates,
    load_needs,
    needs_of,
    parse_needs,
    proposals,
    written,
)
from grammar.design.write import book_text, value_text
from grammar.errors import BookError, CodeError
from grammar.loading import load_book
from grammar.parsing import parse_book

NEEDS = Path("examples/design/needs.toml")


def test_the_example_is_read() -> None:
    needs = load_needs(NEEDS)
    assert needs.order == ("lap", "energy", "battery", "mode")
    assert needs.expected["mode"] == pytest.approx([0.25, 0.6, 0.15], abs=1e-4)
    assert needs.shares["mode"] == pytest.approx(
        [0.98 * share + 0.02 / 3 for share in (0.25, 0.6, 0.15)], abs=1e-4
    )  # surprises
    assert (
        needs.alphabet.words["N"].seconds
        < load_book("examples/starter/starter.toml").alphabet.words["N"].seconds
    )


@pytest.mark.parametrize(
    ("good", "bad", "marked", "told"),
    [
        ("modulus = 10", "modulo = 10", "modulo = 10", "unknown key 'modulo'"),
        ("[values.mode]", "[values.modes]", "[values.modes]", "'modes' is not said"),
        ("plan = 60", "plain = 60", "plain = 60", "no option 'plain'"),
        ("plan = 60", "plan = -60", "plan = -60", "a number of 0 or more"),
        ("N = 690", "N = 6", "N = 6", "6 ms for one word"),
        ("F = 655", "f = 655", "f = 655", "'f' is no symbol in use"),
        ('message = "lap"', 'say = ["lap", "speed"]', '"speed"', "there is no field 'speed'"),
        ("wrong = 0.005", "wrong = 5", "wrong = 5", "less than 1"),
        ('kind = "wrapped" ', 'kind = "warped" ', 'kind = "warped"', "kind 'warped' is unknown"),
        ("[fields.lap]", "[fields.lap", "", "not TOML"),
    ],
)
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_a_problem_is_told_with_its_place(
    good: str, bad: str, marked: str, told: str, end: str
) -> None:
    """The line, and a caret under the key with its value, the heading, the element, or the end of
    what TOML can't read.
    """
    text = NEEDS.read_text("utf-8").replace(good, bad, 1)
    at = text.index(marked, text.index(bad)) if marked else text.index(bad) + len(bad)
    with pytest.raises(BookError) as refused:
        parse_needs(text.replace("\n", end))
    (problem,) = [problem for problem in refused.value.problems if told in problem.message]
    assert (problem.line, problem.column) == (
        1 + text[:at].count("\n"),
        at - text.rfind("\n", 0, at),
    )
    shown, marks = problem.excerpt.splitlines()
    assert f"  {text.splitlines()[problem.line - 1]}".startswith(shown.removesuffix("…"))
    assert marks == f"  {' ' * (problem.column - 1)}^{'~' * (len(marked) - 1)}"
    assert f"line {problem.line}, column {problem.column}: " in str(refused.value)


def test_needs_may_come_from_a_book(tmp_path: Path) -> None:
    path = tmp_path / "needs.toml"
    path.write_text(
        f'book = "{Path("examples/race/race.toml").resolve()}"\nmessage = "lap"\n', "utf-8"
    )
    needs = load_needs(path)
    same = needs_of(load_book("examples/race/race.toml"), "lap")
    assert (needs.order, needs.shares) == (same.order, same.shares)
    path.write_text(
        f'book = "{Path("examples/race/race.toml").resolve()}"\nmessage = "laps"\n', "utf-8"
    )
    with pytest.raises(BookError, match="no message 'laps'"):
        load_needs(path)


def test_past_reports_teach_what_is_usual() -> None:
    needs = load_needs(NEEDS)
    learned = needs.with_reports([{"mode": "push", "energy": "0.3"}] * 80)
    assert learned.shares["mode"][2] > 0.7
    assert sum(learned.shares["energy"]) == pytest.approx(1)
    assert min(learned.shares["energy"]) > 0
    with pytest.raises(CodeError, match="report 1"):
        needs.with_reports([{"mode": "sprint"}])


@pytest.mark.slow
def test_the_same_needs_and_seed_give_the_same_books() -> None:
    needs = load_needs(NEEDS)
    first, second = (
        [(one.as_dict(), one.candidate.sections) for one in _few(needs)] for _ in range(2)
    )
    assert first == second


def _few(needs: Needs) -> list[Proposal]:
    return proposals(
        needs, list(candidates(needs, ["monotone", "assigned", "apart"]))[:8], draws=120
    )


@pytest.mark.parametrize("family", first_short(FAMILIES, 2))
def test_every_family_gives_books_that_compile_and_never_beats_the_bound(family: str) -> None:
    needs = load_needs(NEEDS)
    found = proposals(needs, list(candidates(needs, [family])), draws=150)
    assert {one.family for one in found} == {family}
    for one in found:
        assert one.mean + 4 * one.error >= one.bound.seconds, one.name
        assert one.worst >= one.mean


def test_an_unknown_family_is_refused() -> None:
    with pytest.raises(CodeError, match="family"):
        list(candidates(load_needs(NEEDS), ["tidy"]))


def test_what_is_written_is_read_back() -> None:
    for name in ("starter", "race", "qualifying"):
        source = Path(f"examples/{name}/{name}.toml").read_text("utf-8")
        raw = tomllib.loads(source, parse_float=Decimal)
        text = book_text(raw, ["a title with a\nbreak"], {"tables.lap": "note"})
        assert tomllib.loads(text, parse_float=Decimal) == raw
        assert parse_book(text).fields.keys() == parse_book(source).fields.keys()


def test_every_text_is_escaped() -> None:
    text = 'quote " back \\ bell \x07 line \n é 🏁'
    assert tomllib.loads(f"a = {value_text(text)}")["a"] == text


def test_a_designed_book_expects_what_it_was_designed_for() -> None:
    """How often values occur, as the needs say or as was learned, stands in the book: its own
    figures are those of the design.
    """
    stated = load_needs(NEEDS)
    for needs in (stated, stated.with_reports([{"mode": "push", "energy": "0.3"}] * 50)):
        (one,) = proposals(needs, list(candidates(needs, ["variable"]))[:1], draws=400)
        book = parse_book(written(needs, one, 1)[0], "designed")
        again = needs_of(book, "lap")
        for name, shares in needs.shares.items():
            assert again.shares[name] == pytest.approx(shares, rel=2e-3, abs=2e-6)
        assert analyse(book, "lap", draws=400).mean == pytest.approx(one.mean, abs=0.001)


@pytest.mark.parametrize(
    ("often", "told"),
    [
        ("{ push = 1, pus = 2 }", "no option 'pus'"),
        ("[1, 2]", "2 weights for 3 levels"),
        ("[0, 0, 0]", "nothing ever occurs"),
    ],
)
def test_a_book_tells_what_is_wrong_with_how_often_values_occur(often: str, told: str) -> None:
    text = NEEDS.read_text("utf-8").replace('"push"]', f'"push"]\noften = {often}')
    with pytest.raises(BookError) as refused:
        parse_needs(text[: text.index("# How often")])
    (problem,) = refused.value.problems
    assert problem.path == "fields.mode.often"
    assert told in problem.message
