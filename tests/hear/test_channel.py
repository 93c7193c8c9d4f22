"""P(heard | said): from the sounds, then the team's table, then counts."""

from __future__ import annotations

import numpy as np
import pytest
from hear.books import LAP, lap_book

from codec import BookError, CodeError
from codec.hear import channel, hear
from codec.hear.channel import from_rows


def test_noisier_grades_hear_fewer_words_right() -> None:
    book = lap_book()
    right = [
        float(np.diag(channel(book, grade).table).mean())
        for grade in ("clear", "noisy", "harsh", -18.0)
    ]
    assert right == sorted(right, reverse=True)


def test_the_teams_table_stands_before_the_sounds_and_counts_before_the_table() -> None:
    plain, stated = channel(lap_book()), channel(lap_book(confusions={"5": {"9": 0.3}}))
    five, nine = plain.alphabet.index["5"], plain.alphabet.index["9"]
    assert stated.table[five, nine] == pytest.approx(0.3)
    assert stated.table[five].sum() == pytest.approx(1)
    counted = channel(
        lap_book(confusions={"5": {"9": 0.3}}, counts={"5": {"9": 50, "5": 50}}, strength=10)
    )
    assert counted.table[five, nine] == pytest.approx((50 + 10 * 0.3) / 110)
    assert counted.table[five].min() > 0


def test_counts_of_this_driver_change_what_is_believed() -> None:
    words = ["seven", "one", "six", "niner", "five", "x-ray", "?"]
    plain = hear(lap_book(), words).marginals["motor"]
    driver = hear(lap_book(counts={"5": {"9": 80, "5": 20}}), words).marginals["motor"]
    said_fifty = slice(50, 60)
    assert driver.probabilities[said_fifty].sum() > 5 * plain.probabilities[said_fifty].sum()


@pytest.mark.parametrize(
    ("hearing", "message"),
    [
        ({"noise": "loud"}, "unknown grade"),
        ({"noise": 99}, "out of range"),
        ({"threshold": 0.4}, "greater than 0.5"),
        ({"wrong": 0}, "greater than 0"),
        ({"confusions": {"5": {"ß": 0.1}}}, "no symbol in use"),
        ({"confusions": {"5": {"9": 0.7, "6": 0.7}}}, "sums to 1.4"),
        ({"counts": {"5": {"9": -1}}}, "a number of 0 or more"),
        ({"messages": {"laps": 2}}, "no message 'laps'"),
        ({"volume": 3}, "unknown key"),
    ],
)
def test_a_books_hearing_is_checked_when_it_is_loaded(
    hearing: dict[str, object], message: str
) -> None:
    with pytest.raises(BookError, match=message):
        lap_book(**hearing)


def test_a_table_that_is_none_is_refused() -> None:
    book = lap_book()
    with pytest.raises(CodeError, match="does not sum to 1"):
        from_rows(book.alphabet, {"5": {"5": 1.0}}, 0.01, 0.01)


def test_messages_sent_more_often_are_more_probable() -> None:
    words = ["mike", "?", "?"]
    often, seldom = (
        hear(lap_book(messages={"mode": share}), words).marginals["mode"].absent
        for share in (100, 0.01)
    )
    assert often < seldom


def test_a_book_without_hearing_has_the_defaults() -> None:
    assert LAP["hearing"]["messages"] == {"lap": 9}
    assert lap_book().spec.hearing.threshold == 0.98
