"""What to do about a report: accept it, ask for a part, ask for all; and nothing is accepted below
the book's threshold.
"""

from __future__ import annotations

import random

import pytest
from hear.books import LAP, lap_book
from helpers import book_of
from hypothesis import given, settings
from hypothesis import strategies as st

from codec import Book, encode
from codec.hear import AskedPart, Hearing, Prior, channel, hear
from codec.hear.decision import question, spoken_seconds
from codec.hear.draw import Source, answer, passed_on
from codec.hear.model import model_of
from codec.hear.words import Words

BOOK = lap_book()
SAID = encode(
    BOOK, {"lap": 7, "energy": -0.4, "motor": 95, "alert": ["rain"]}
)  # 7 16 55 X and a check
WORDS = SAID.words.split()


def test_a_clear_report_is_accepted() -> None:
    found = hear(BOOK, WORDS)
    assert found.decision.kind == "accept"
    assert found.accepted == SAID.reading
    assert not found.decision.question


def test_a_report_is_asked_for_where_another_ends_otherwise_and_nothing_of_the_end_was_heard() -> (
    None
):
    """It is as sure as the book wants by its words, but only what is expected tells that no alert
    stood behind them: where that is as sure, it is accepted.
    """
    values = {"lap": 7, "energy": -0.4, "motor": 94, "alert": []}
    last = Prior.of({**values, "lap": 6, "motor": 93})
    for hold, kind in ((0.8, "ask part"), (0.999, "accept")):
        alert = {**LAP["fields"]["alert"], "hold": hold}
        radio = {"conditions": [{"share": 0.92}, {"share": 0.08, "bad": 0.3}]}
        hearing = {**LAP["hearing"], **radio, "threshold": 0.97, "wrong": 0.001}
        book = book_of(LAP | {"hearing": hearing, "fields": LAP["fields"] | {"alert": alert}})
        words = encode(book, values).words.split()
        cut = hear(book, words[:-1], prior=last, noise="clear")
        assert cut.candidates[0].reading.levels == encode(book, values).reading.levels
        assert cut.candidates[0].probability > 0.97
        assert cut.decision.kind == kind
        quick = hear(book, words[:-1], prior=last, noise="clear", count=1, ask=False)
        assert quick.accepted == cut.accepted
        assert hear(book, words, prior=last, noise="clear").decision.kind == "accept"


@pytest.mark.slow
@settings(max_examples=25)
@given(
    st.lists(st.sampled_from([*WORDS, "?", "kello", "golf", "niner"]), min_size=1, max_size=8),
    st.sampled_from([0.6, 0.9, 0.999]),
)
def test_nothing_is_accepted_below_the_threshold(words: list[str], threshold: float) -> None:
    book = _BOOKS.setdefault(threshold, lap_book(threshold=threshold, wrong=0.001))
    found = hear(book, words, noise="harsh")
    if found.accepted is not None:
        assert found.candidates[0].probability >= threshold
    else:
        assert found.decision.question.startswith("SAY AGAIN")


@pytest.mark.slow
@settings(max_examples=25)
@given(
    st.lists(st.sampled_from([*WORDS, "?", "kello", "golf", "niner"]), min_size=1, max_size=8),
    st.sampled_from([0.6, 0.9, 0.999]),
)
def test_what_nobody_will_ask_about_is_weighed_the_same(words: list[str], threshold: float) -> None:
    book = _BOOKS.setdefault(threshold, lap_book(threshold=threshold, wrong=0.001))
    asked = hear(book, words, noise="harsh")
    quick = hear(book, words, noise="harsh", count=1, ask=False)
    assert quick.accepted == asked.accepted
    assert quick.nothing == asked.nothing
    assert quick.candidates[0].probability == pytest.approx(asked.candidates[0].probability)
    assert quick.messages == asked.messages
    assert sum(quick.messages.values()) + quick.nothing == pytest.approx(1)


_BOOKS: dict[float, Book] = {}


def test_a_high_price_of_a_wrong_reading_asks_where_a_low_one_accepts() -> None:
    words: Words = [*WORDS[:3], {"niner": 0.5, "five": 0.5}, *WORDS[4:6], "?"]
    cheap, dear = (hear(lap_book(threshold=0.9, wrong=price), words) for price in (1, 1000))
    assert cheap.candidates[0].probability == dear.candidates[0].probability > 0.9
    assert (cheap.decision.kind, dear.decision.kind) == ("accept", "ask part")


def _garbled(seed: int, noise: float) -> Hearing:
    """Return a hearing of a report that the book expects, said once through noise."""
    chance = random.Random(seed)
    _, said = Source(model_of(BOOK, None).weighted(Prior())).draw(chance)
    return hear(BOOK, passed_on(channel(BOOK, noise), said, chance) or ["?"], noise=noise, count=12)


@pytest.mark.slow
@settings(max_examples=40)
@given(st.integers(0, 10**9), st.sampled_from([-8.0, -11.0, -14.0]))
def test_the_choice_is_the_cheapest_and_an_answer_to_it_makes_surer(
    seed: int, noise: float
) -> None:
    """A question is not asked because it is short: heard as it is most probably said again, its
    answer makes the report surer. One answer need not settle it: another part may stay in doubt.
    """
    found = _garbled(seed, noise)
    decision, best = found.decision, found.candidates[0]
    assert decision.costs[decision.kind] == min(decision.costs.values())
    if decision.part is not None and decision.kind == "ask part":
        again = [
            BOOK.alphabet.words[symbol].word for symbol in answer(best.reading.said, decision.part)
        ]
        surest = hear(BOOK, again, noise=noise, earlier=[found]).candidates[0]
        assert surest.reading == best.reading
        assert surest.probability > best.probability


@pytest.mark.slow
def test_hopeless_words_are_asked_for_as_a_whole_at_a_believable_cost() -> None:
    """When nothing is known the whole report is said again, perhaps twice: not a short part, and
    not a minute's talk.
    """
    once = (
        spoken_seconds(BOOK, "")
        + BOOK.hearing.turnaround
        + BOOK.alphabet.seconds(SAID.reading.said)
    )
    found = hear(BOOK, ["?"] * len(WORDS), prior=Prior(flat=True))
    assert found.decision.kind == "ask all"
    assert once / 2 < found.decision.costs["ask all"] < 3 * once


def test_the_part_in_doubt_is_asked_for() -> None:
    end = hear(BOOK, [*WORDS[:4], "?", "?", *WORDS[6:]])
    assert end.decision.kind == "ask part"
    assert end.decision.question == "SAY AGAIN FIVE TO SIERRA"
    assert end.decision.tables == ("motor", "alert")
    unchecked = book_of(LAP | {"messages": {"lap": {"layout": "lap energy motor alert?"}}})
    start = hear(unchecked, ["?", *WORDS[1:6]])
    assert start.decision.kind == "ask part"
    assert start.decision.question.startswith("SAY AGAIN ALL BEFORE")
    assert start.decision.tables[0] == "lap"


def test_a_report_in_doubt_all_over_is_asked_for_as_a_whole() -> None:
    found = hear(BOOK, ["?"] * len(WORDS))
    assert (found.decision.kind, found.decision.question) == ("ask all", "SAY AGAIN")


def test_questions_are_worded_with_standard_procedure_words() -> None:
    """ICAO Doc 9432 2.6: SAY AGAIN, SAY AGAIN ALL AFTER w, SAY AGAIN ALL BEFORE w, SAY AGAIN w TO
    w.
    """
    assert question(BOOK, AskedPart()) == "SAY AGAIN"
    assert question(BOOK, AskedPart(after="7")) == "SAY AGAIN ALL AFTER SEVEN"
    assert question(BOOK, AskedPart(before="X")) == "SAY AGAIN ALL BEFORE X-RAY"
    assert question(BOOK, AskedPart("7", "K")) == "SAY AGAIN SEVEN TO KILO"


@pytest.mark.parametrize(
    ("part", "again"),
    [
        (AskedPart(), "71657X"),
        (AskedPart(after="1"), "657X"),
        (AskedPart(before="6"), "71"),
        (AskedPart("1", "X"), "657"),
        (AskedPart(after="K"), "71657X"),
    ],
)
def test_what_a_question_asks_for(part: AskedPart, again: str) -> None:
    assert answer("71657X", part) == again


def test_an_answer_is_not_judged_alone() -> None:
    first = hear(BOOK, [*WORDS[:4], "?", "?", *WORDS[6:]])
    assert first.decision.part is not None
    again = answer(SAID.string, first.decision.part)
    words = [BOOK.alphabet.words[symbol].word for symbol in again]
    both = hear(BOOK, words, earlier=[first])
    assert both.accepted == SAID.reading
    assert both.candidates[0].probability > hear(BOOK, words).candidates[0].probability


def test_an_answer_may_repeat_the_words_at_its_borders() -> None:
    first = hear(BOOK, [*WORDS[:4], "?", "?", *WORDS[6:]])
    assert first.decision.part is not None
    again = first.decision.part.after + answer(SAID.string, first.decision.part)
    assert (
        hear(BOOK, [BOOK.alphabet.words[symbol].word for symbol in again], earlier=[first]).accepted
        == SAID.reading
    )


def test_two_unsure_hearings_make_a_surer_one() -> None:
    unsure = ["seven", "?", "six", "five", "?", "x-ray", "?"]
    other = ["?", "one", "?", "?", "five", "?", WORDS[6]]
    one, two = hear(BOOK, unsure), hear(BOOK, other)
    both = hear(BOOK, other, earlier=[one], part=AskedPart())
    assert both.candidates[0].reading == SAID.reading
    assert both.candidates[0].probability > max(
        one.candidates[0].probability, two.candidates[0].probability
    )


def test_words_that_are_no_report_are_not_taken_for_one() -> None:
    found = hear(
        BOOK, ["golf", "hotel", "whiskey", "golf", "tango", "bravo", "echo", "lima", "papa", "golf"]
    )
    assert found.nothing > 0.5
    assert found.accepted is None
