"""How many readings a message has, which combinations of levels it can't say, and the nearest it
can: exactly as listing every string finds, also where alternatives say part of a field each.
"""

from __future__ import annotations

import itertools
from typing import Any

import pytest
from helpers import unproven
from hypothesis import assume, event, given
from hypothesis import strategies as st
from laws.reference import Draft, Reference, size
from strategies import drafts

from grammar.figures import readings, unsaid
from grammar.message import Message
from grammar.reading_sets import ReadingSets

Levels = tuple[tuple[str, int], ...]


def built(draft: Draft) -> dict[str, Message]:
    messages = unproven(draft.spec)
    assume(messages is not None)
    assert messages is not None
    return messages


def missing(draft: Draft, given_levels: set[Levels], declared: set[str]) -> list[Levels]:
    """List the combinations of levels that no reading gives, of fields that some reading gives
    together.
    """
    found, reference = set(), Reference(draft)
    for names in {tuple(name for name, _ in reading) for reading in given_levels}:
        alike = [r for r in given_levels if tuple(name for name, _ in r) == names]
        said = {name: {level for r in alike for n, level in r if n == name} for name in names}
        ranges = [
            sorted(said[name]) if name in declared else range(size(reference.field(name)))
            for name in names
        ]
        for levels in itertools.product(*ranges):
            found.add(tuple(zip(names, levels, strict=True)))
    return sorted(found - given_levels)


@given(drafts() | drafts(checked=True))
def test_readings_are_counted_as_listing_them_does(draft: Draft) -> None:
    reference = Reference(draft)
    for name, message in built(draft).items():
        listed = {way.levels for way in reference.ways(name)}
        event(f"said in several ways: {len(listed) < reference.count(draft.trees[name])}")
        assert readings(message) == len(listed)


@given(drafts())
def test_what_can_not_be_said_is_found_with_its_lowest_levels(draft: Draft) -> None:
    reference = Reference(draft)
    for name, message in built(draft).items():
        listed = {way.levels for way in reference.ways(name)}
        expected = missing(draft, listed, set())
        found = unsaid(message)
        event(f"something is unsaid: {bool(expected)}")
        assert (0 if found is None else found.combinations) == len(expected)
        if found is not None:
            assert tuple(found.smallest.items()) in expected
            alike = [one for one in expected if [n for n, _ in one] == [*found.smallest]]
            assert min(alike) == tuple(found.smallest.items())
            together = set(found.together.items())
            assert found.alone == any(together <= set(reading) for reading in listed)


@given(drafts(), st.data())
def test_the_nearest_that_can_be_said_is_a_reading_and_none_is_nearer(
    draft: Draft, data: st.DataObject
) -> None:
    reference = Reference(draft)
    for name, message in built(draft).items():
        listed = {way.levels for way in reference.ways(name)}
        wanted = {
            field: data.draw(st.integers(0, size(reference.field(field)) - 1))
            for field in data.draw(st.sampled_from([tuple(n for n, _ in r) for r in listed]))
        }
        sets = ReadingSets(message)
        found = sets.nearest(sets.all, wanted)
        prices = [
            sum(_away(message, n, level, wanted) for n, level in reading)
            for reading in listed
            if wanted.keys() <= {n for n, _ in reading}
        ]
        assert found is not None
        assert tuple(found.items()) in listed
        assert sum(_away(message, n, level, wanted) for n, level in found.items()) == pytest.approx(
            min(prices)
        )


def _away(message: Message, name: str, level: int, wanted: dict[str, int]) -> float:
    field = message.fields[name]
    if name not in wanted:
        return 0.0 if level == field.usual_level else float("inf")
    away = abs(level - wanted[name]) / field.size
    return away if field.numeric or not away else 1.0


def book(layout: str, tables: dict[str, Any]) -> Message:
    fields = {name: {"kind": "quantity", "low": 0, "high": 9, "step": 1} for name in ("a", "b")}
    spec = {"fields": fields, "tables": tables, "messages": {"m": {"layout": layout}}}
    messages = unproven(spec)
    assert messages is not None
    return messages["m"]


LOW = {"kind": "digits", "highest": 0}
HALVES = {
    "a": {"kind": "digits", "field": "a"},
    "a0": LOW | {"field": "a"},
    "b": {"kind": "digits", "field": "b"},
    "b0": LOW | {"field": "b"},
}


def test_alternatives_that_say_part_of_a_field_are_not_counted_for_the_whole() -> None:
    """Counted by hand: 10 readings of (a, 0) and 10 of (0, b) share one."""
    message = book('"A" a b0 | "B" a0 b', HALVES)
    assert readings(message) == 19
    found = unsaid(message)
    assert found is not None
    assert (found.combinations, found.smallest) == (81, {"a": 1, "b": 1})
    assert unsaid(book('"A" a b', HALVES)) is None
    partly = book('"A" a b0', HALVES)
    assert readings(partly) == 10
    assert unsaid(partly) is not None
    assert unsaid(partly, ["b"]) is None


def test_readings_of_any_number_are_counted_without_listing_them() -> None:
    spec = {
        "fields": {
            f"f{n}": {"kind": "quantity", "low": 0, "high": 10**12, "step": 1} for n in range(5)
        },
        "tables": {f"f{n}": {"kind": "digits"} for n in range(5)},
        "messages": {"m": {"layout": "f0 (f1 | f2) f3 | f4"}},
    }
    messages = unproven(spec)
    assert messages is not None
    many = 10**12 + 1
    assert readings(messages["m"]) == 2 * many**3 + many
    assert unsaid(messages["m"]) is None
