"""No string has two readings, and a book that breaks this is refused with a shortest string that
has.
"""

from __future__ import annotations

from typing import Any

import pytest
from helpers import attempt, unproven
from hypothesis import assume, event, given, reject
from hypothesis import strategies as st
from laws.joins import shortest_join, shortest_join_listed, shortest_twice
from laws.reference import Draft, Reference
from strategies import drafts

from grammar.errors import CodeError
from grammar.message import Message
from grammar.proof import Ambiguity, ambiguity, overlap

pytestmark = pytest.mark.usefixtures("short_proofs")


def built(draft: Draft) -> dict[str, Message]:
    messages = unproven(draft.spec)
    assume(messages is not None)
    assert messages is not None
    return messages


def proven(messages: list[Message], **settings: bool) -> Ambiguity | None:
    """Return the proof's verdict; a book whose proof is refused as too large claims nothing, and is
    passed over.
    """
    found = attempt(ambiguity, messages, **settings)
    if isinstance(found, CodeError):
        assert found.kind == "too-large"
        event("too large")
        reject()
    return found


def holds_two_readings(found: Ambiguity) -> bool:
    """Tell whether both sides of a witness say its string, each in a way of its own."""
    sides = [
        [(match.message.name, match.plan.leaves, match.texts) for match in side]
        for side in (found.one, found.other)
    ]
    strings = ["".join(match.string for match in side) for side in (found.one, found.other)]
    return strings == [found.string] * 2 and sides[0] != sides[1]


@given(drafts() | drafts(checked=True, most_messages=2))
def test_the_proof_agrees_with_listing_every_string(draft: Draft) -> None:
    """Law 2: no string has two readings, within a message and across the messages of one direction;
    the witness is a shortest one.
    """
    messages, reference = built(draft), Reference(draft)
    for direction in ("car", "pit"):
        names = reference.sent_by(direction)
        for chosen in [names, *([name] for name in names if len(names) > 1)]:
            if not chosen:
                continue
            expected = shortest_twice(
                [way.string for name in chosen for way in reference.ways(name)]
            )
            found = proven([messages[name] for name in chosen])
            event(f"ambiguous: {expected is not None}")
            assert (None if found is None else len(found.string)) == expected
            assert found is None or holds_two_readings(found)


@given(drafts(most_fields=2, most_messages=2))
def test_the_proof_across_a_join_agrees_with_the_test_of_sardinas_and_patterson(
    draft: Draft,
) -> None:
    """Law 2, where reports may run together: no string has two readings across their join."""
    join_agrees(draft)


def join_agrees(draft: Draft) -> None:
    """Check the proof across a join of every direction against the reference."""
    messages, reference = built(draft), Reference(draft)
    for direction in ("car", "pit"):
        names = reference.sent_by(direction)
        strings = [way.string for name in names for way in reference.ways(name)]
        if not names or len(strings) > 150:
            continue
        expected = shortest_join(strings)
        found = proven([messages[name] for name in names], run_together=True)
        event(f"ambiguous: {expected is not None}")
        assert (None if found is None else len(found.string)) == expected
        assert found is None or holds_two_readings(found)


@given(drafts(most_fields=2))
def test_a_string_of_both_directions_is_found(draft: Draft) -> None:
    """Law 2: what is both a report and a call is known, with a shortest such string."""
    messages, reference = built(draft), Reference(draft)
    car, pit = (
        [messages[name] for name in reference.sent_by(direction)] for direction in ("car", "pit")
    )
    assume(car and pit)
    reports, calls = (
        {way.string for m in side for way in reference.ways(m.name)} for side in (car, pit)
    )
    expected = min(map(len, reports & calls), default=None)
    found = overlap(car, pit)
    assert (None if found is None else len(found.string)) == expected


@given(st.lists(st.text(alphabet="01", min_size=1, max_size=5), min_size=1, max_size=5))
def test_the_two_references_agree(words: list[str]) -> None:
    """The dangling-suffix test used above finds the same shortest string as listing every text of
    up to eight symbols.
    """
    expected = shortest_join_listed(words, 8)
    found = shortest_join(words)
    assert found == expected if expected is not None else found is None or found > 8


# Sardinas and Patterson 1953; Cover and Thomas, Elements of Information Theory, problems of chapter
# 5. The lengths are computed.
@pytest.mark.parametrize(
    ("words", "shortest"),
    [
        (["1", "011", "01110", "1110", "10011"], 6),
        (["0", "10", "11"], None),
        (["0", "01", "11"], None),
        (["00", "01", "10", "11"], None),
        (["110", "11", "10"], None),
        (["110", "11", "100", "00", "10"], None),
        (["0", "01", "10"], 3),
    ],
)
def test_published_verdicts_on_codes(words: list[str], shortest: int | None) -> None:
    """The reference itself gives the published verdicts, and so does the proof of a book that lists
    these codewords.
    """
    spec = {
        "alphabet": {"symbols": "01"},
        "fields": {"f": {"kind": "wrapped", "modulus": len(words)}},
        "tables": {"f": {"kind": "listed", "words": words}},
        "messages": {"m": {"layout": "f"}},
    }
    messages = unproven(spec)
    assert messages is not None
    found = ambiguity(list(messages.values()), run_together=True)
    assert shortest_join(words) == shortest == (None if found is None else len(found.string))


def test_a_check_counted_from_the_right_may_cover_two_lengths_of_one_string() -> None:
    """000 is "0" k "0" or "0" p k.

    Both begin alike, so the copies of the proof guess different lengths before they part.
    """
    spec = {
        "fields": {"p": {"kind": "wrapped", "modulus": 10}},
        "tables": {"p": {"kind": "digits"}, "k": {"kind": "check", "method": "luhn"}},
        "messages": {"m": {"layout": '"0" ( k "0" | p k )'}},
    }
    messages = unproven(spec)
    assert messages is not None
    found = ambiguity(list(messages.values()))
    assert found is not None
    assert found.string == "000"
    assert holds_two_readings(found)


@pytest.mark.parametrize("other", ["BACD", "ABDC", "ACBD"])
def test_of_the_shortest_witnesses_one_of_unlike_values_is_told(other: str) -> None:
    """Two of the four letters say the same by both tables, two do not."""
    spec = {
        "fields": {"f": {"kind": "wrapped", "modulus": 4}},
        "tables": {
            "f": {"kind": "scale", "symbols": "ABCD"},
            "g": {"kind": "scale", "field": "f", "symbols": other},
        },
        "messages": {"m": {"layout": "f | g"}},
    }
    messages = unproven(spec)
    assert messages is not None
    found = ambiguity(list(messages.values()))
    assert found is not None
    assert not found.alike
    assert holds_two_readings(found)


@pytest.mark.parametrize("count", [40, 200])
def test_messages_that_begin_alike_are_held_against_each_other(count: int) -> None:
    """Three figures begin each message; the last begins as the first but for its second part."""
    spec: dict[str, Any] = {
        "fields": {name: {"kind": "wrapped", "modulus": 10} for name in "fgh"},
        "tables": {name: {"kind": "digits"} for name in "fgh"},
        "messages": {f"m{n}": {"layout": f'"{n:03d}" f "A"'} for n in range(count)},
    }
    messages = unproven(spec)
    assert messages is not None
    assert ambiguity(list(messages.values())) is None
    spec["messages"]["last"] = {"layout": '"0" f g h "A"'}
    messages = unproven(spec)
    assert messages is not None
    found = ambiguity(list(messages.values()))
    assert found is not None
    assert len(found.string) == 5
    assert holds_two_readings(found)
    assert "last" in {found.one[0].message.name, found.other[0].message.name}
