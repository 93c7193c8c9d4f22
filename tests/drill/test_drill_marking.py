"""Marks: what the code makes of an answer, and where it went wrong."""

from __future__ import annotations

import pytest
from drill.support import race
from hypothesis import given
from hypothesis import strategies as st

from codec.drill import Item
from codec.drill.marking import align, closest, mark, ways

REPORT = Item("report", "4223VRBR", 1.0, "lap")


@pytest.mark.parametrize(
    ("said", "outcome"),
    [
        ("four two two three victor romeo bravo romeo", "right"),
        ("4223VRBR", "right"),
        ("fower too double tree", "caught"),  # ends too early
        ("fower double two tree victor romeo bravo romeo", "right"),
        ("uh four two two three victor romeo bravo romeo copy", "right"),
        ("four two niner correction two two three victor romeo bravo romeo", "corrected"),
        ("disregard four two two three victor romeo bravo romeo", "corrected"),
        ("four two two four victor romeo bravo romeo", "caught"),  # the check symbol notices it
        ("four five zero three victor romeo bravo romeo", "caught"),  # beyond the range of the energy
        ("four two two three victor romeo bravo", "caught"),
        ("bananas and cream", "caught"),
        ("", "caught"),
        ("lap=4 energy=0.2 motor=110 inverter=65 battery=38 alert=brakes", "right"),
        ("lap=4, energy=0.2, motor=105, inverter=65, battery=38, alert=brakes", "accepted"),
        ("lap=4 energy=loud", "caught"),
    ],
)
def test_an_answer_to_a_report_has_its_outcome(said: str, outcome: str) -> None:
    assert mark(race(), REPORT, said).outcome == outcome


def test_a_wrong_report_that_the_check_allows_is_accepted() -> None:
    # two mistakes that go together are not noticed by a single check symbol
    fits = next(symbol for symbol in race().alphabet.symbols if mark(race(), REPORT, f"4213VRB{symbol}").outcome == "accepted")
    found = mark(race(), REPORT, f"4213VRB{fits}")
    assert found.wrong_places == (2, 7)
    assert found.said == f"4213VRB{fits}"


def test_where_it_went_wrong_is_told() -> None:
    found = mark(race(), REPORT, "four two two four victor romeo bravo romeo")
    assert (found.wrong_places, found.refusal) == ((3,), "check")
    assert "does not fit" in found.reason


def test_known_words_of_an_answer_with_unknown_ones_are_compared() -> None:
    found = mark(race(), REPORT, "four two two three wibble romeo bravo romeo")
    assert found.outcome == "caught"
    assert found.wrong_places == (4,)


@pytest.mark.parametrize(
    ("said", "outcome"), [("niner", "right"), ("nine", "right"), ("9", "right"), ("five", "accepted"), ("wibble wobble", "caught")]
)
def test_variants_of_a_single_word_count(said: str, outcome: str) -> None:
    assert mark(race(), Item("symbol", "9", 1.0), said).outcome == outcome


def test_number_words_have_every_way_they_may_be_meant() -> None:
    assert "47" in ways(race(), "forty seven")
    assert closest("47", ways(race(), "forty seven")) == "47"


SYMBOLS = st.text("0123AB", max_size=8)


@given(SYMBOLS, SYMBOLS)
def test_an_alignment_has_all_of_both_strings(shown: str, said: str) -> None:
    pairs = align(shown, said)
    assert "".join(pair[0] for pair in pairs) == shown
    assert "".join(pair[1] for pair in pairs) == said
    assert all(any(pair) for pair in pairs)


@pytest.mark.parametrize(
    ("one", "other", "distance"),
    # intention/execution: Jurafsky & Martin, Speech and Language Processing, 2.5; the others from memory
    [("KITTEN", "SITTING", 3), ("INTENTION", "EXECUTION", 5), ("SATURDAY", "SUNDAY", 3), ("", "ABC", 3)],
)
def test_an_alignment_costs_the_least(one: str, other: str, distance: int) -> None:
    assert sum(a != b for a, b in align(one, other)) == distance
