"""The order in which a book is written down changes nothing: permuting its tables permutes the
answer.
"""

from __future__ import annotations

from typing import Any

import pytest
from hear.books import LAP
from helpers import book_of
from hypothesis import given, settings
from hypothesis import strategies as st

from codec.hear import hear

WORDS = ["seven", "five", "?", "niner", "tree house", "victor", "zulu"]


@pytest.mark.slow
@settings(max_examples=15)
@given(
    st.permutations(list(LAP["fields"])),
    st.permutations(list(LAP["tables"])),
    st.permutations(list(LAP["messages"])),
)
def test_the_order_of_fields_tables_and_messages_changes_nothing(
    fields: Any, tables: Any, messages: Any
) -> None:
    spec = LAP | {
        key: {name: LAP[key][name] for name in names}
        for key, names in (("fields", fields), ("tables", tables), ("messages", messages))
    }
    one, other = hear(book_of(LAP), WORDS), hear(book_of(spec), WORDS)
    assert [c.reading for c in one.candidates] == [c.reading for c in other.candidates]
    assert [c.probability for c in one.candidates] == pytest.approx(
        [c.probability for c in other.candidates], rel=1e-9
    )


@settings(max_examples=15)
@given(st.permutations(["red", "green", "blue", "black"]), st.permutations("ABCD"))
def test_permuting_the_codewords_of_a_table_permutes_its_probabilities(
    options: list[str], symbols: list[str]
) -> None:
    def book(words: dict[str, str]) -> Any:
        return book_of(
            {
                "fields": {"colour": {"kind": "choice", "options": sorted(words)}},
                "tables": {"colour": {"kind": "listed", "words": words}},
                "messages": {"m": {"layout": 'colour "1"'}},
            }
        )

    words = dict(zip(options, symbols, strict=True))
    found = hear(book(words), ["delta", "one"]).marginals["colour"]
    plain = hear(book(dict(zip(sorted(options), "ABCD", strict=True))), ["delta", "one"]).marginals[
        "colour"
    ]
    by_symbol = {
        words[option]: found.probabilities[level] for level, option in enumerate(sorted(words))
    }
    assert [by_symbol[symbol] for symbol in "ABCD"] == pytest.approx(
        list(plain.probabilities), rel=1e-9
    )
