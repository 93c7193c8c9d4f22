"""Whether a code can be cut in one way only, and the shortest string where it cannot.

Sets and their sources: ``decodability.toml``. Here a plain count of all ways to cut a string stands
beside the proof.
"""

from __future__ import annotations

import functools
import itertools

import pytest
from published.support import book_text, vectors

from codec import BookError, decode_all, parse_book

SETS = vectors("decodability")["set"]
IDS = [" ".join(row["words"]) for row in SETS]
DECODABLE = [row for row in SETS if not row["ambiguous"]]
AMBIGUOUS = [row for row in SETS if row["ambiguous"]]


def text_of(words: list[str]) -> str:
    listed = ", ".join(f'"{word}"' for word in words)
    return book_text(
        "run_together", ('["0", "10", "11"]', f"[{listed}]"), ("high = 3", f"high = {len(words)}")
    )


def cuts(string: str, words: tuple[str, ...]) -> int:
    """Count the ways to cut a string into codewords."""

    @functools.cache
    def from_place(place: int) -> int:
        if place == len(string):
            return 1
        return sum(
            from_place(place + len(word)) for word in words if string.startswith(word, place)
        )

    return from_place(0)


def strings(length: int) -> list[str]:
    return ["".join(symbols) for symbols in itertools.product("01", repeat=length)]


@pytest.mark.parametrize("row", DECODABLE, ids=lambda row: " ".join(row["words"]))
def test_decodable_set_compiles_and_no_string_up_to_ten_symbols_has_two_cuts(
    row: dict[str, list[str]],
) -> None:
    book = parse_book(text_of(row["words"]))
    counts = {
        string: cuts(string, tuple(row["words"]))
        for length in range(1, 11)
        for string in strings(length)
    }
    assert set(counts.values()) == {0, 1}
    for string in [string for string, count in counts.items() if count][:200]:
        assert "".join(reading.said for reading in decode_all(book, string).reports) == string


@pytest.mark.parametrize("row", AMBIGUOUS, ids=lambda row: " ".join(row["words"]))
def test_ambiguous_set_is_refused_with_a_shortest_string_and_both_readings(
    row: dict[str, str],
) -> None:
    words = tuple(row["words"])
    with pytest.raises(BookError) as refused:
        parse_book(text_of(list(words)))
    (problem,) = refused.value.problems
    assert problem.kind == "ambiguous"
    assert problem.message.startswith(
        f"{row['ambiguous']!r} has two readings, in reports that run together"
    )
    assert problem.message.count("; then ") >= 2
    shortest = len(row["ambiguous"])
    assert cuts(row["ambiguous"], words) >= 2
    assert all(
        cuts(string, words) <= 1 for length in range(1, shortest) for string in strings(length)
    )


@pytest.mark.parametrize("row", SETS, ids=IDS)
def test_any_of_the_sets_compiles_where_reports_are_parted(row: dict[str, list[str]]) -> None:
    text = text_of(row["words"]).replace("run_together = true", "run_together = false")
    book = parse_book(text)
    assert [r.said for r in decode_all(book, " break ".join(row["words"])).reports] == row["words"]
