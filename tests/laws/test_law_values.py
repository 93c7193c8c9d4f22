"""Fields and code tables are one to one: every level has its value and its codeword, and back."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from helpers import attempt, tables_of
from hypothesis import assume, given
from hypothesis import strategies as st
from laws.reference import Draft, Reference, size, usual
from pydantic import TypeAdapter
from strategies import drafts, fields

from codec import CodeError, EncodeError
from grammar.codes import DONE, Check, CodeTable
from grammar.fields import AnyField, Bands, FieldBase, Flags, Quantity, Wrapped, value_text

ADAPTER: TypeAdapter[FieldBase] = TypeAdapter(AnyField)


def field_of(entry: dict[str, Any]) -> FieldBase:
    field = ADAPTER.validate_python(entry)
    field.bind("f")
    return field


@given(fields(40))
def test_every_level_has_a_value_that_leads_back_to_it(entry: dict[str, Any]) -> None:
    """level(value(n)) is n for every level of every kind of field, without rounding."""
    field = field_of(entry)
    assert field.size == size(entry)
    assert field.usual_level == usual(entry)
    assert len(
        {str(field.value(level)) for level in range(field.size)}
    ) == field.size or isinstance(field, Flags)
    for level in range(field.size):
        rounded = field.level(field.value(level))
        assert (rounded.level, rounded.error) == (level, Decimal(0))
        assert field.text(level)
    assert sum(field.shares()) == pytest.approx(1)


@given(fields(40))
def test_what_is_written_and_measured_of_a_level_leads_back_to_it(entry: dict[str, Any]) -> None:
    """The text of a journal, the number of the C and the interval of the race, of every kind."""
    field = field_of(entry)
    for level in range(field.size):
        value, number = field.value(level), field.number_in(level)
        assert field.from_text(value_text(value)) == value
        assert field.decimals is None or field.level(number).level == level
        low, high = field.interval(level) or (None, None)
        assert low is None or low <= number
        assert high is None or number <= high
        assert field.harm(level, level) == 0 <= field.harm(0, level) <= 1


@given(fields(40), st.fractions(-300, 300, max_denominator=40))
def test_a_number_goes_to_the_level_that_holds_it_or_is_refused(
    entry: dict[str, Any], exact: Fraction
) -> None:
    """The level of any number is next to it (or past an open end, or its band); outside the domain
    is an error that names it.
    """
    field = field_of(entry)
    assume(isinstance(field, Quantity | Wrapped | Bands))
    number = Decimal(exact.numerator * 10**6 // exact.denominator) / 10**6
    rounded = attempt(field.level, number)
    if isinstance(rounded, CodeError):
        assert isinstance(rounded, EncodeError)
        assert rounded.expected == (field.domain,)
        low, high = getattr(field, "low", None), getattr(field, "high", None)
        assert (low is not None and number < low) or (high is not None and number > high)
        return
    value = field.value(rounded.level)
    if isinstance(field, Bands):
        assert value.low is None or value.low <= number  # type: ignore[union-attr]
        assert value.high is None or number <= value.high  # type: ignore[union-attr]
        return
    assert isinstance(field, Quantity | Wrapped)
    assert isinstance(value, Decimal)
    assert isinstance(field, Quantity | Wrapped)
    step = Fraction(field.step)
    if isinstance(field, Quantity):
        assert Fraction(value) == Fraction(number) + Fraction(rounded.error)
        assert rounded.beyond or abs(Fraction(rounded.error)) < step
        if field.rounding == "nearest" and not rounded.beyond:
            assert abs(Fraction(rounded.error)) <= step / 2
    else:
        off = (Fraction(number) - Fraction(value)) % Fraction(field.modulus)
        assert min(off, Fraction(field.modulus) - off) <= step / 2
        restored = attempt(field.restored, rounded.level, number)
        if isinstance(restored, CodeError):
            assert restored.kind == "tie"
        else:
            assert field.level(restored).level == rounded.level
            assert isinstance(restored, Decimal)
            assert abs(Fraction(restored) - Fraction(number)) <= Fraction(field.modulus) / 2


def accepted(table: CodeTable, text: str) -> bool:
    """Tell whether the automaton of a table accepts a text."""
    fragment, alphabet, states = table.fragment(), table.alphabet, {0}
    for symbol in text:
        bit = 1 << alphabet.index[symbol]
        states = {
            target
            for state in states
            if state != DONE
            for mask, target in fragment[state]
            if mask & bit
        }
    return DONE in states


@given(drafts(), st.data())
def test_codewords_and_levels_are_one_to_one(draft: Draft, data: st.DataObject) -> None:
    """Every table lists the codewords its specification says, each read back to its levels;
    automaton and pattern hold just them.
    """
    reference = Reference(draft)
    for name, table in tables_of(draft.spec).items():
        listed = list(table.words())
        if not isinstance(table, Check):
            assert sorted(listed) == sorted(reference.words(name))
        words = [word for _, word in listed]
        assert len(set(words)) == len({levels for levels, _ in listed} or words) or isinstance(
            table, Check
        )
        assert len(words) == table.size
        assert table.lengths == (min(map(len, words)), max(map(len, words)))
        for levels, word in data.draw(st.lists(st.sampled_from(listed), max_size=20)):
            assert table.levels(word) == levels
            assert isinstance(table, Check) or table.word(levels) == word
            pairs = zip(table.fields, levels, strict=True)
            assert table.values(word) == tuple(field.value(level) for field, level in pairs)
            assert accepted(table, word)
        for text in data.draw(
            st.lists(
                st.text(alphabet=table.alphabet.symbols, min_size=1, max_size=table.lengths[1] + 1),
                max_size=20,
            )
        ):
            assert (
                (text in set(words))
                == (table.levels(text) is not None)
                == accepted(table, text)
                == (table.values(text) is not None)
            )


@given(
    st.integers(-(10**9), 10**9),
    st.integers(1, 1000),
    st.integers(1, 300),
    st.sampled_from(["value", "level"]),
    st.data(),
)
def test_digits_tables_of_any_stride_hold_just_their_numbers(
    low: int, stride: int, count: int, kind: str, data: st.DataObject
) -> None:
    """Large numbers in large strides: the automaton accepts exactly the numbers of the table."""
    spec = {
        "alphabet": {"symbols": "0123456789-", "words": {"-": "minus"}},
        "fields": {
            "f": {
                "kind": "quantity",
                "low": low,
                "high": low + stride * (count - 1),
                "step": stride,
            }
        },
        "tables": {
            "f": {
                "kind": "digits",
                "count": kind,
                "minus": "-",
                **({"per": 1} if kind == "value" else {}),
            }
        },
        "messages": {"m": {"layout": "f"}},
    }
    table = tables_of(spec)["f"]
    for level in data.draw(st.lists(st.integers(0, count - 1), max_size=5)):
        word = table.word((level,))
        assert word is not None
        assert table.levels(word) == (level,)
        assert accepted(table, word)
        place = data.draw(st.integers(0, len(word) - 1))
        other = word[:place] + data.draw(st.sampled_from("0123456789-")) + word[place + 1 :]
        assert (table.levels(other) is not None) == accepted(table, other)
