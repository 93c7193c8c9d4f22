"""Laws whose other tests let a proof give up early, here at its whole bound: minutes."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st
from laws import test_law_round_trip, test_law_same_answers, test_law_spoken
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


@pytest.mark.parametrize(
    "law",
    [
        test_law_round_trip.test_every_string_is_decoded_to_what_it_says,
        test_law_round_trip.test_what_is_encoded_is_decoded_to_the_same,
        test_law_same_answers.test_all_ways_of_reading_a_string_agree,
        test_law_same_answers.test_the_fast_path_says_what_the_whole_way_says,
        test_law_same_answers.test_a_line_end_parts_reports,
        test_law_spoken.test_a_report_is_read_as_meant_however_it_is_said,
        test_law_spoken.test_procedure_words_do_what_the_handbooks_say,
        test_law_spoken.test_every_word_of_a_transcript_has_its_one_place,
        test_law_spoken.test_reports_that_run_together_are_parted_where_the_book_allows_it,
    ],
)
def test_books_of_long_proofs_keep_the_other_laws(law: Callable[[], None]) -> None:
    law()
