"""The conditions of the radio are learnt from reports whose words are known: from few, a little."""

from __future__ import annotations

import dataclasses
import random
from collections import Counter

import pytest

from codec import load_book
from codec.hear.channel import Channel, Condition, channel
from codec.hear.draw import condition
from codec.hear.learning import learnt
from codec.profile import Profile, channel_of

RACE = load_book("examples/race/race.toml")


def rows(air: Channel, count: int, seed: int) -> Counter[str]:
    """Draw how so many reports of seven words are heard, as the model has it, but written here."""
    chance, right = random.Random(seed), float(air.table.diagonal().mean())
    found: Counter[str] = Counter()
    for _ in range(count):
        radio, marks = condition(air, chance), ""
        bad = chance.random() < radio.bad
        for _ in range(7):
            bad = chance.random() >= radio.ends if bad else chance.random() < radio.begins
            lost = air.bad_deletion if bad else radio.times * air.deletion
            kept = 1 / air.vocabulary if bad else right
            marks += "-" if chance.random() < lost else "=" if chance.random() < kept else "x"
        found[marks] += 1
    return found


def test_a_radio_is_learnt_from_many_reports() -> None:
    book = channel(RACE)
    air = dataclasses.replace(
        book,
        conditions=(Condition(0.5, times=0.05), Condition(0.2), Condition(0.3, 0.1, 0.25)),
        bad_deletion=0.3,
    )
    found = learnt(book, rows(air, 6000, 1))
    assert found.conditions[-1].share == pytest.approx(0.3, abs=0.05)
    assert found.conditions[-1].bad == pytest.approx(air.conditions[-1].bad, abs=0.06)
    assert found.conditions[-1].ends == pytest.approx(0.25, abs=0.06)
    assert found.bad_deletion == pytest.approx(0.3, abs=0.05)
    assert sum(one.share for one in found.conditions) == pytest.approx(1)
    assert not found.conditions[0].begins


def test_few_reports_change_little_and_none_nothing() -> None:
    book = channel(RACE)
    assert learnt(book, {}).conditions == book.conditions
    one = learnt(book, {"==xxx==": 1.0})
    assert one.conditions[-1].share == pytest.approx(book.conditions[-1].share, abs=0.01)
    assert one.conditions[-1].share > book.conditions[-1].share
    clean = learnt(book, {"=======": 30.0})
    assert 0.05 < clean.conditions[-1].share < book.conditions[-1].share


def test_the_more_reports_the_nearer_to_what_is_seen() -> None:
    shares = [
        learnt(channel(RACE), {"=======": 50.0 * n, "=xxx==-": 50.0 * n}).conditions[-1].share
        for n in (0, 1, 4, 16)
    ]
    assert shares == sorted(shares)
    assert shares[-1] > 0.4


def test_a_profile_teaches_the_channel() -> None:
    plain = Profile(read={"five": {"five": 5000.0}}, heard={"five": {"five": 100.0}})
    taught = plain.merged(Profile(swapped=100, reports={"=xx=": 80.0, "====": 100.0}))
    before, after = channel_of(RACE, plain), channel_of(RACE, taught)
    assert after.swapped == pytest.approx(100 / 5400, rel=0.1)
    assert before.swapped < RACE.hearing.swapped < after.swapped
    assert after.conditions[-1].share > before.conditions[-1].share
    assert before.conditions == channel(RACE).conditions
