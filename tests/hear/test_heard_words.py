"""What was written down of a report: every word counts, whatever it is."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hear.books import lap_book
from hypothesis import example, given, settings
from hypothesis import strategies as st

from codec import CodeError, ReportError, UnexpectedWord, encode
from codec.hear import channel, hear
from codec.hear.words import listen

BOOK = lap_book()
SAID = encode(BOOK, {"lap": 7, "energy": -0.4, "motor": 95, "alert": ["rain"]})


def slots(heard: Any) -> list[Any]:
    ways = listen(BOOK, channel(BOOK), heard)[0].ways
    assert len(ways) == 1
    return ways[0]


def test_a_word_of_the_book_is_a_column_of_the_confusions() -> None:
    (slot,) = slots("niner")
    table = channel(BOOK).table
    np.testing.assert_array_equal(slot.likelihood, table[:, BOOK.alphabet.index["9"]])
    np.testing.assert_allclose(table.sum(axis=1), 1)


@pytest.mark.parametrize("written", ["?", "[unclear]", "??", "(unclear)", "[not heard at all]"])
def test_an_unclear_word_may_be_anything(written: str) -> None:
    (slot,) = slots(written)
    assert set(slot.likelihood) == {1.0}


def test_an_unclear_word_says_only_that_a_word_was_there() -> None:
    words = SAID.words.split()
    with_mark = hear(BOOK, [*words[:3], "?", *words[4:]])
    assert with_mark.candidates[0].reading == SAID.reading
    assert with_mark.candidates[0].probability < hear(BOOK, words).candidates[0].probability


@pytest.mark.parametrize(
    ("written", "symbol"),
    [
        ("kello", "K"),
        ("tree house", "3"),
        ("seben", "7"),
        ("sulu", "Z"),
        ("delda", "D"),
        ("oskar", "O"),
        ("brafo", "B"),
    ],
)
def test_a_word_of_no_table_is_placed_by_its_sound(written: str, symbol: str) -> None:
    (slot,) = slots([written])
    assert BOOK.alphabet.symbols[int(slot.likelihood.argmax())] == symbol


def test_for_tea_is_heard_as_forty_or_as_two_words() -> None:
    (heard,) = listen(BOOK, channel(BOOK), "for tea")
    assert [[slot.symbol for slot in way] for way in heard.ways].count(["4", "0"]) == 1
    assert any(len(way) == 2 and way[1].label == "tea" for way in heard.ways)


def test_number_words_are_their_digits() -> None:
    (heard,) = listen(BOOK, channel(BOOK), "forty seven double five")
    readings = {"".join(slot.symbol for slot in way) for way in heard.ways}
    assert "4755" in readings


def test_typed_symbols_count_one_by_one() -> None:
    assert [slot.symbol for slot in slots("716D")] == ["7", "1", "6", "D"]


def test_alternatives_mix_by_their_confidence() -> None:
    (mixed,), (five,), (nine,) = slots("five=0.6/niner=0.4"), slots("five"), slots("niner")
    np.testing.assert_allclose(mixed.likelihood, 0.6 * five.likelihood + 0.4 * nine.likelihood)
    (listed,) = slots([{"five": 0.6, "niner": 0.4}])
    (paired,) = slots([[("five", 0.6), ("niner", 0.4)]])
    np.testing.assert_allclose(mixed.likelihood, listed.likelihood)
    np.testing.assert_allclose(mixed.likelihood, paired.likelihood)


def test_confidence_left_over_is_any_word_and_too_much_is_scaled_down() -> None:
    (half,), (five,) = slots([{"five": 0.5}]), slots("five")
    np.testing.assert_allclose(half.likelihood, 0.5 * five.likelihood + 0.5 / 36)
    (double,) = slots([{"five": 0.8, "fife": 0.8}])
    np.testing.assert_allclose(double.likelihood, five.likelihood)


@pytest.mark.parametrize(
    "heard",
    [
        "one five=2/nine=0.3",
        "one five=-0.6/nine=0.3",
        [{"five": 1.5}],
        [1, 2],
        [["five"]],
        [{"five": None}],
    ],
)
def test_what_is_no_word_and_no_confidence_is_refused_with_its_place(heard: Any) -> None:
    with pytest.raises(CodeError) as refused:
        hear(BOOK, heard)
    assert refused.value.kind == "alternatives"
    assert refused.value.expected
    if isinstance(heard, str):
        assert refused.value.source[slice(*refused.value.span)] == heard.split()[1]  # type: ignore[misc]


def test_a_doubtful_word_leaves_more_doubt_than_a_plain_one() -> None:
    words: list[Any] = SAID.words.split()
    sure = hear(BOOK, words).candidates[0].probability
    words[1] = {words[1]: 0.5, "niner": 0.5}
    assert hear(BOOK, words).candidates[0].probability < sure


def test_lost_and_added_words_are_bridged() -> None:
    words = SAID.words.split()
    for heard in ([*words[:2], *words[3:]], [*words[:2], "golf", *words[2:]]):
        found = hear(BOOK, heard)
        assert any(candidate.reading == SAID.reading for candidate in found.candidates)


def test_fillers_carry_nothing() -> None:
    plain, filled = hear(BOOK, SAID.words), hear(BOOK, "uh " + SAID.words.replace(" ", " um ", 1))
    assert plain.candidates[0].probability == pytest.approx(filled.candidates[0].probability)


def test_i_say_again_is_a_second_hearing_of_the_same_report() -> None:
    once = hear(BOOK, SAID.words, noise="harsh")
    twice = hear(BOOK, f"{SAID.words} I say again {SAID.words}", noise="harsh")
    assert len(twice.heard) == 2
    assert twice.candidates[0].probability > once.candidates[0].probability


def test_disregard_drops_what_came_before() -> None:
    assert hear(BOOK, f"golf golf disregard {SAID.words}").candidates[0].reading == SAID.reading


def test_a_correction_goes_on_from_the_repeated_word() -> None:
    words = SAID.words.split()
    wrong = [*words[:2], "zero", *words[3:5]]
    heard = " ".join([*wrong, "correction", *words[1:]])
    assert hear(BOOK, heard).candidates[0].reading == SAID.reading
    with pytest.raises(UnexpectedWord, match="does not begin with a word"):
        hear(BOOK, "one two correction kilo")


@pytest.mark.parametrize("heard", ["", "   ", [], "uh um", "disregard"])
def test_hearing_nothing_is_refused(heard: Any) -> None:
    with pytest.raises(ReportError):
        hear(BOOK, heard)


def test_two_reports_at_once_are_refused() -> None:
    with pytest.raises(UnexpectedWord, match="more than one report"):
        hear(BOOK, f"{SAID.words} break {SAID.words}")


@pytest.mark.parametrize(
    "item", [{"five": -1}, {"five": "x"}, [("five",)], [(3, 0.5)], {"five": float("nan")}]
)
def test_alternatives_that_are_none_are_refused(item: Any) -> None:
    with pytest.raises(CodeError, match="alternative"):
        hear(BOOK, [item])


@pytest.mark.slow
@settings(max_examples=40)
@example("MM")  # a hesitation, or twice the letter
@given(st.text(max_size=40))
def test_any_text_is_heard_or_refused_by_an_error_of_ours(text: str) -> None:
    try:
        found = hear(BOOK, text)
    except CodeError:
        return
    total = sum(c.probability for c in found.candidates) + found.unlisted + found.nothing
    assert total == pytest.approx(1, abs=1e-9)


def test_long_reports_do_not_vanish_below_the_smallest_number() -> None:
    found = hear(BOOK, ["seven"] * 80)
    assert found.decision.kind != "accept"
    assert sum(
        c.probability for c in found.candidates
    ) + found.unlisted + found.nothing == pytest.approx(1, abs=1e-9)
    with pytest.raises(ReportError, match="too many for one report"):
        hear(BOOK, ["seven"] * 91)
