"""The scheduler, through our use of it."""

from __future__ import annotations

import datetime
import importlib.metadata

from drill.support import answer

from codec.drill.cards import Cards, grade

# py-fsrs 6.3, tests/test_basic.py: test_review_card, with random changes of the intervals off
PUBLISHED = [0, 2, 11, 46, 163, 498, 0, 0, 2, 4, 7, 12, 21]
GRADES = ["good"] * 6 + ["again"] * 2 + ["good"] * 5


def test_the_published_intervals_come_out() -> None:
    cards, at = Cards(), datetime.datetime(2022, 11, 29, 12, 30, tzinfo=datetime.UTC)
    days = []
    for given in GRADES:
        cards.review("symbol 5", given, at)  # type: ignore[arg-type]
        days.append(cards.interval("symbol 5"))
        at = cards.due("symbol 5") or at
    assert days == PUBLISHED


def test_the_pinned_version_is_in_use() -> None:
    assert importlib.metadata.version("fsrs").split(".")[:2] == ["6", "3"]


def test_what_is_known_fades() -> None:
    cards, at = Cards(), datetime.datetime(2026, 3, 2, tzinfo=datetime.UTC)
    assert cards.recall("symbol 5", at) == 0
    cards.review("symbol 5", "good", at)
    recalls = [
        cards.recall("symbol 5", at + datetime.timedelta(days=days)) for days in (0, 2, 10, 100)
    ]
    assert recalls == sorted(recalls, reverse=True)
    assert recalls[0] == 1
    assert 0 < recalls[-1] < 0.9


def test_marks_become_grades() -> None:
    assert grade(answer("5", "9")) == "again"
    assert grade(answer("5", outcome="caught")) == "again"
    assert grade(answer("5", outcome="corrected")) == "hard"
    assert grade(answer("5", repeats=1)) == "hard"
    assert grade(answer("5", last=3.0), usual=1.0) == "hard"
    assert grade(answer("5", last=1.2), usual=1.0) == "good"
    assert grade(answer("5")) == "good"
