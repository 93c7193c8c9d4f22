"""The posterior is exact: it equals the sum over all readings and all alignments, listed one by
one, on small random books.
"""

from __future__ import annotations

from typing import Any
from unittest import mock

import pytest
from hear import brute
from helpers import book_of, first_short
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from laws.reference import Draft, Reference, Tree, notation, tables_of
from strategies import Drawn, books

from codec.hear import AskedPart, Hearing, Prior, hear
from codec.hear.priors import shares
from grammar.message import Direction

FEW = settings(max_examples=15)


def heard_words(draw: Any, drawn: Drawn, string: str) -> list[str]:
    """Draw what may have been written down for a string: words changed, lost, added, unclear or of
    no table.
    """
    words = drawn.book.alphabet.words
    symbols = drawn.book.alphabet.symbols
    found: list[str] = []
    for symbol in string:
        kind = draw(
            st.sampled_from(
                ["right", "right", "right", "wrong", "lost", "unclear", "foreign", "added"]
            )
        )
        if kind == "right":
            found.append(words[symbol].word)
        elif kind == "wrong":
            found.append(words[draw(st.sampled_from(symbols))].word)
        elif kind == "unclear":
            found.append("?")
        elif kind == "foreign":
            found.append(draw(st.sampled_from(["kello", "tree house", "wombat"])))
        elif kind == "added":
            found += [words[symbol].word, words[draw(st.sampled_from(symbols))].word]
    return found[:4] or ["?"]


def as_listed(drawn: Drawn, words: list[str]) -> list[brute.Word]:
    symbol_of = {entry.word: symbol for symbol, entry in drawn.book.alphabet.words.items()}
    return [
        (
            brute.word(drawn.book, symbol_of[w])
            if w in symbol_of
            else brute.unclear(drawn.book)
            if w == "?"
            else brute.foreign(drawn.book, w)
        )
        for w in words
    ]


def assert_same(hearing: Hearing, listed: brute.Posterior) -> None:
    assert hearing.nothing == pytest.approx(listed.nothing, rel=1e-9, abs=1e-12)
    for candidate in hearing.candidates:
        key = (candidate.reading.message, tuple(candidate.reading.levels.items()))
        assert candidate.probability == pytest.approx(listed.readings[key], rel=1e-9, abs=1e-12)
    best = sorted(listed.readings.values(), reverse=True)[: len(hearing.candidates)]
    assert [c.probability for c in hearing.candidates] == pytest.approx(best, rel=1e-9, abs=1e-12)
    assert hearing.unlisted == pytest.approx(1 - listed.nothing - sum(best), abs=1e-9)
    for name, marginal in hearing.marginals.items():
        for level, probability in enumerate(marginal.probabilities):
            assert probability == pytest.approx(
                listed.levels[name].get(level, 0.0), rel=1e-9, abs=1e-12
            )
        assert float(marginal.probabilities.sum()) + marginal.absent == pytest.approx(1, abs=1e-9)


def small(drawn: Drawn, direction: Direction) -> list[str]:
    reference = Reference(drawn.draft)
    names = reference.sent_by(direction)
    strings = [way for way in drawn.ways if way.message in names]
    assume(names and len(strings) <= 80 and max(len(way.string) for way in strings) <= 7)
    return names


@FEW
@given(books(), st.data())
def test_the_posterior_is_the_sum_over_all_readings_and_all_alignments(
    drawn: Drawn, data: Any
) -> None:
    direction: Direction = "car" if drawn.book.sent_by("car") else "pit"
    names = small(drawn, direction)
    way = data.draw(st.sampled_from([way for way in drawn.ways if way.message in names]))
    words = heard_words(data.draw, drawn, way.string)
    flat = data.draw(st.booleans())
    hearing = hear(drawn.book, words, prior=Prior(flat=flat), direction=direction, count=4)
    expected = shares(drawn.book, Prior(flat=flat), list(drawn.book.fields))
    listed = brute.posterior(
        Reference(drawn.draft), names, expected, [brute.Hearing([as_listed(drawn, words)])]
    )
    assert_same(hearing, listed)


METHODS = ["damm", "verhoeff", "luhn", "iso7064 mod 11,10", "weighted sum"]
CHECKED: dict[str, Tree] = {
    "behind an optional part": (
        "order",
        (("table", "a"), ("maybe", ("table", "b")), ("table", "check")),
    ),
    "in an optional part": (
        "order",
        (
            ("table", "a"),
            ("maybe", ("order", (("literal", "A"), ("table", "b"), ("table", "check")))),
        ),
    ),
    "in one alternative, not in the other": (
        "order",
        (
            ("table", "a"),
            (
                "either",
                (
                    ("order", (("table", "check"), ("literal", "AA"))),
                    ("order", (("table", "b"), ("literal", "A"))),
                ),
            ),
        ),
    ),
    "in both alternatives": (
        "order",
        (
            ("table", "a"),
            (
                "either",
                (
                    ("order", (("table", "check"), ("literal", "A"))),
                    ("order", (("table", "b"), ("table", "check"))),
                ),
            ),
        ),
    ),
}


def checked(method: str, tree: Tree) -> Drawn:
    before = list(tables_of(tree))
    check: dict[str, Any] = {
        "kind": "check",
        "method": method,
        "over": before[: before.index("check")],
    }
    if method == "weighted sum":
        check |= {"weights": [1, 3, 2], "symbols": "0123456789", "modulus": 7}
    spec = {
        "alphabet": {"symbols": "0123456789A"},
        "fields": {
            "a": {"kind": "quantity", "low": 0, "high": 5, "step": 1},
            "b": {"kind": "flags", "flags": ["rain", "pit"], "usual": [], "share": 0.6},
        },
        "tables": {"a": {"kind": "digits"}, "b": {"kind": "digits", "first": 3}, "check": check},
        "messages": {"m": {"layout": notation(tree)}},
    }
    draft = Draft(spec, {"m": tree})
    return Drawn(book_of(spec), draft, tuple(Reference(draft).ways("m")))


@pytest.mark.parametrize("method", first_short(METHODS, 2))
@pytest.mark.parametrize("where", CHECKED)
@settings(max_examples=2)
@given(data=st.data())
def test_check_symbols_are_summed_exactly_wherever_they_stand(
    method: str, where: str, data: Any
) -> None:
    drawn = checked(method, CHECKED[where])
    words = heard_words(data.draw, drawn, data.draw(st.sampled_from(drawn.ways)).string)
    hearing = hear(drawn.book, words, count=4)
    expected = shares(drawn.book, Prior(), list(drawn.book.fields))
    assert_same(
        hearing,
        brute.posterior(
            Reference(drawn.draft), ["m"], expected, [brute.Hearing([as_listed(drawn, words)])]
        ),
    )


@st.composite
def packed(draw: Any) -> Drawn:
    """Draw a packed table behind a digit and before a check, with sizes that do not fit its
    figures.
    """
    sizes = draw(st.lists(st.integers(1, 7), min_size=2, max_size=4))
    names = [f"p{n}" for n in range(len(sizes))]
    fields = {
        name: {"kind": "quantity", "low": 0, "high": size - 1, "step": 1}
        for name, size in zip(names, sizes, strict=True)
    }
    fields |= {
        names[0]: fields[names[0]] | {"usual": 0, "spread": 1},
        "lap": {"kind": "wrapped", "modulus": 3},
    }
    figures = draw(st.sampled_from(["01", "210", "0123456"]))
    check = {
        "kind": "check",
        "method": "weighted sum",
        "weights": [1, 2],
        "modulus": 3,
        "symbols": "0123456",
    }
    tree: Tree = ("order", (("table", "lap"), ("table", "packed"), ("table", "check")))
    spec = {
        "alphabet": {"symbols": "0123456"},
        "fields": fields,
        "tables": {
            "packed": {"kind": "packed", "fields": names, "symbols": figures},
            "lap": {"kind": "scale", "symbols": "345"},
            "check": check,
        },
        "messages": {"m": {"layout": notation(tree)}},
    }
    draft = Draft(spec, {"m": tree})
    return Drawn(book_of(spec), draft, tuple(Reference(draft).ways("m")))


@pytest.mark.slow
@pytest.mark.parametrize(
    "dense", first_short([1, 10**9]), ids=["by matrix, in pieces", "edge by edge, at once"]
)
@FEW
@given(drawn=packed(), data=st.data())
def test_packed_tables_are_summed_exactly_without_being_listed(
    drawn: Drawn, data: Any, dense: int
) -> None:
    assume(len(drawn.ways) <= 200)
    with (
        mock.patch("codec.hear.lattice._DENSE", dense),
        mock.patch("codec.hear.alignment._LARGE", dense),
        mock.patch("codec.hear.forward_backward.MOST_HELD", 5 * dense),
    ):
        words = heard_words(data.draw, drawn, data.draw(st.sampled_from(drawn.ways)).string)[:3]
        hearing = hear(drawn.book, words, count=4)
    expected = shares(drawn.book, Prior(), list(drawn.book.fields))
    assert_same(
        hearing,
        brute.posterior(
            Reference(drawn.draft), ["m"], expected, [brute.Hearing([as_listed(drawn, words)])]
        ),
    )


@pytest.mark.slow
@settings(max_examples=12)
@given(books(most_fields=2), st.data())
def test_an_answer_is_weighed_together_with_what_was_heard_before(drawn: Drawn, data: Any) -> None:
    direction: Direction = "car" if drawn.book.sent_by("car") else "pit"
    names = small(drawn, direction)
    way = data.draw(st.sampled_from([way for way in drawn.ways if way.message in names]))
    symbol = st.sampled_from(["", *way.string])
    asked = AskedPart(data.draw(symbol), data.draw(symbol))
    first, again = (
        heard_words(data.draw, drawn, text)[:3]
        for text in (way.string, brute.part(way.string, asked.after, asked.before))
    )
    one = hear(drawn.book, first, direction=direction)
    with mock.patch(
        "codec.hear.forward_backward.MOST_WHOLE", 10**9
    ):  # windows have a test of theirs
        both = hear(drawn.book, again, earlier=[one], part=asked, direction=direction, count=4)
    expected = shares(drawn.book, Prior(), list(drawn.book.fields))
    answers = with_borders(as_listed(drawn, again), again, asked, drawn)
    hearings = [
        brute.Hearing([as_listed(drawn, first)]),
        brute.Hearing(answers, asked.after, asked.before),
    ]
    assert_same(both, brute.posterior(Reference(drawn.draft), names, expected, hearings))


def with_borders(
    listed: list[brute.Word], words: list[str], asked: AskedPart, drawn: Drawn
) -> list[list[brute.Word]]:
    """Return the answers as they may be meant: with the words at the borders of the part said
    again, or not.
    """
    said = {entry.word: symbol for symbol, entry in drawn.book.alphabet.words.items()}
    found = [(listed, words)]
    if asked.after:
        found += [(x[1:], w[1:]) for x, w in found if len(w) > 1 and said.get(w[0]) == asked.after]
    if asked.before:
        found += [
            (x[:-1], w[:-1]) for x, w in found if len(w) > 1 and said.get(w[-1]) == asked.before
        ]
    return [x for x, _ in found]
