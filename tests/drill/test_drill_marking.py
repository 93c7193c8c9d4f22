"""Marks: what the code makes of an answer, and where it went wrong."""

from __future__ import annotations

import pytest
from drill.support import race
from hypothesis import given
from hypothesis import strategies as st

from codec.drill import DrillError, Item
from codec.drill.marking import align, closest, mark, ways
from grammar.speech.words import cut

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
        (
            "four five zero three victor romeo bravo romeo",
            "caught",
        ),  # beyond the range of the energy
        ("four two two three victor romeo bravo", "caught"),
        ("four two two ? victor romeo bravo romeo", "caught"),  # a word that nobody made out
        ("?", "caught"),
        ("correction", "caught"),  # with nothing before it to correct
        ("lap=4 energy=0.2 motor=110 inverter=65 battery=38 alert=brakes", "right"),
        ("lap=4, energy=0.2, motor=105, inverter=65, battery=38, alert=brakes", "accepted"),
    ],
)
def test_an_answer_to_a_report_has_its_outcome(said: str, outcome: str) -> None:
    assert mark(race(), REPORT, said).outcome == outcome


def test_a_wrong_report_that_the_check_allows_is_accepted() -> None:
    # two mistakes that go together are not noticed by a single check symbol
    fits = next(
        symbol
        for symbol in race().alphabet.symbols
        if mark(race(), REPORT, f"4213VRB{symbol}").outcome == "accepted"
    )
    found = mark(race(), REPORT, f"4213VRB{fits}")
    assert found.wrong_places == (2, 7)
    assert found.said == f"4213VRB{fits}"


def test_where_it_went_wrong_is_told() -> None:
    found = mark(race(), REPORT, "four two two four victor romeo bravo romeo")
    assert (found.wrong_places, found.refusal) == ((3,), "check")
    assert "does not fit" in found.reason


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ("xyz foo", "unknown word 'xyz'"),
        ("four two two three wibble romeo bravo romeo", "unknown word 'wibble'"),
        ("422?VRBR", "unknown word '422?VRBR'"),
        ("", "no word of a report"),
        ("uh copy", "no word of a report"),
        ("say again", "no word of a report"),
        (
            "laap=7 energy=0.2 motor=110 inverter=65 battery=38 alert=brakes",
            "there is no field 'laap'",
        ),
        ("lap=4 energy=0.2", "can't be said without motor"),
        ("lap=4 energy=loud", "loud"),
        ("lap=4 energy=0.2 motor=110 inverter=65 battery=38 alert=wibble", "wibble"),
        (
            "lap=4 lap=5 energy=0.2 motor=110 inverter=65 battery=38 alert=brakes",
            "'lap' is given twice",
        ),
        ("xyz lap=4 energy=0.2 motor=110 inverter=65 battery=38 alert=brakes", "'xyz' is no value"),
    ],
)
def test_a_slip_of_the_typist_s_is_no_mistake_of_the_driver_s(typed: str, told: str) -> None:
    with pytest.raises(DrillError) as caught:
        mark(race(), REPORT, typed)
    assert caught.value.kind == "not-understood"
    assert told in caught.value.message
    assert ("? stands for a word that nobody made out" in caught.value.hint) == ("=" not in typed)


def test_words_around_one_that_nobody_made_out_are_compared() -> None:
    found = mark(race(), REPORT, "four two two three ? romeo bravo romeo")
    assert (found.outcome, found.wrong_places) == ("caught", (4,))
    assert "not heard" in found.reason


@pytest.mark.parametrize(
    ("said", "outcome"),
    [("niner", "right"), ("nine", "right"), ("9", "right"), ("five", "accepted"), ("?", "caught")],
)
def test_variants_of_a_single_word_count(said: str, outcome: str) -> None:
    assert mark(race(), Item("symbol", "9", 1.0), said).outcome == outcome


@pytest.mark.parametrize("typed", ["wibble wobble", "motor=5", "", "uh"])
def test_a_single_word_that_is_not_understood_is_not_marked(typed: str) -> None:
    with pytest.raises(DrillError, match=r"unknown word|no word"):
        mark(race(), Item("symbol", "9", 1.0), typed)


def test_number_words_have_every_way_they_may_be_meant() -> None:
    assert "47" in ways(race(), cut(race().lexicon, "forty seven"))
    assert closest("47", ways(race(), cut(race().lexicon, "forty seven"))) == "47"


SYMBOLS = st.text("0123AB", max_size=8)


@given(SYMBOLS, SYMBOLS)
def test_an_alignment_has_all_of_both_strings(shown: str, said: str) -> None:
    pairs = align(shown, said)
    assert "".join(pair[0] for pair in pairs) == shown
    assert "".join(pair[1] for pair in pairs) == said
    assert all(any(pair) for pair in pairs)


@pytest.mark.parametrize(
    ("one", "other", "distance"),
    # intention/execution: Jurafsky & Martin, Speech and Language Processing, 2.5; the others from
    # memory
    [
        ("KITTEN", "SITTING", 3),
        ("INTENTION", "EXECUTION", 5),
        ("SATURDAY", "SUNDAY", 3),
        ("", "ABC", 3),
    ],
)
def test_an_alignment_costs_the_least(one: str, other: str, distance: int) -> None:
    assert sum(a != b for a, b in align(one, other)) == distance
