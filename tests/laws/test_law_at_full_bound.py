"""Laws whose other tests let a proof give up early, here at its whole bound: minutes."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from laws.reference import Draft
from laws.test_law_any_text import spoil
from laws.test_law_unambiguous import join_agrees
from strategies import Drawn, books, drafts

pytestmark = pytest.mark.slow


@given(drafts(most_fields=2, most_messages=2))
def test_the_proof_across_a_join_agrees_with_the_test_of_sardinas_and_patterson(
    draft: Draft,
) -> None:
    join_agrees(draft)


@given(books(), st.data())
def test_a_spoilt_book_is_refused_with_lines_or_still_compiles(
    drawn: Drawn, data: st.DataObject
) -> None:
    spoil(drawn, data)
