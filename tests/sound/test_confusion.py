"""What is taken for what: rows of probability, calibrated to published shares, replaceable by a
team's own figures.
"""

from __future__ import annotations

import math
import statistics

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from sound.published import (
    DIGITS,
    HALF_OF_DIGITS,
    HALF_OF_SYLLABLES,
    HARD_PAIRS,
    HEARD_ON_TELEPHONE,
    LETTERS,
)

from grammar import sound
from grammar.data import table
from grammar.errors import CodeError

Words = list[tuple[str, sound.Phones]]

ICAO_LETTERS: Words = [(letter, sound.phones(word)) for letter, (word, _, _) in LETTERS.items()]
ICAO_DIGITS: Words = [(digit, sound.phones(word)) for digit, (word, _, _) in DIGITS.items()]
PLAIN: Words = [
    (symbol, sound.phones(row["word"], plain=True)) for symbol, row in table("plain").items()
]
# The studies of letter names were made in the United States, where Z is zee.
PLAIN_LETTERS: Words = [
    (symbol, sounds) for symbol, sounds in PLAIN if symbol.isalpha() and symbol != "Z"
]
PLAIN_LETTERS += [("Z", sound.phones("zee"))]
PLAIN_DIGITS: Words = [(symbol, sounds) for symbol, sounds in PLAIN if symbol.isdigit()]
GRADES = list(sound.grades())
WORDS = st.lists(
    st.sampled_from(ICAO_LETTERS + ICAO_DIGITS),
    min_size=1,
    max_size=8,
    unique_by=lambda word: word[0],
)
RATIOS = st.one_of(st.sampled_from(GRADES), st.floats(-30, 30))


def heard_right(words: Words, grade: str | float) -> float:
    return statistics.fmean(row[said] for said, row in sound.confusion(words, grade).items())


@given(WORDS, RATIOS)
def test_every_row_sums_to_one_and_nothing_is_impossible(words: Words, grade: str | float) -> None:
    table = sound.confusion(words, grade)
    assert list(table) == [key for key, _ in words]
    for said, row in table.items():
        assert math.fsum(row.values()) == pytest.approx(1)
        assert min(row.values()) > 0
        assert row[said] == max(row.values())


@given(WORDS, st.floats(-30, 30), st.floats(-30, 30))
def test_more_noise_never_helps(words: Words, one: float, other: float) -> None:
    quiet, loud = max(one, other), min(one, other)
    assert heard_right(words, loud) <= heard_right(words, quiet) + 1e-9


def test_the_grades_go_from_clear_to_harsh() -> None:
    assert GRADES == ["clear", "noisy", "harsh"]
    for words in (ICAO_LETTERS, ICAO_DIGITS, PLAIN_LETTERS, PLAIN_DIGITS):
        shares = [heard_right(words, grade) for grade in GRADES]
        assert shares == sorted(shares, reverse=True)
    assert all(meaning.endswith("dB)") for meaning in sound.grades().values())


def test_clear_is_a_telephone_line() -> None:
    assert heard_right(PLAIN_LETTERS, "clear") == pytest.approx(HEARD_ON_TELEPHONE, abs=0.003)


def test_half_of_plain_digits_are_heard_at_the_published_ratio() -> None:
    assert heard_right(PLAIN_DIGITS, HALF_OF_DIGITS) == pytest.approx(0.5, abs=0.005)


def test_half_of_nonsense_syllables_are_heard_at_the_published_ratio() -> None:
    # Consonant, vowel, consonant drawn freely and heard one by one: the shares multiply.
    kinds = table("articulation")
    consonant: Words = [(phone, (phone,)) for phone in kinds["consonant"]]
    vowel: Words = [(phone, (phone,)) for phone in kinds["vowel"]]
    share = heard_right(consonant, HALF_OF_SYLLABLES) ** 2 * heard_right(vowel, HALF_OF_SYLLABLES)
    assert share == pytest.approx(0.5, abs=0.005)


@pytest.mark.parametrize("grade", GRADES)
def test_letter_names_are_far_worse_than_spelling_words(grade: str) -> None:
    # Fanty, Cole & Roginski 1991: letter names are hard; the alphabet of Annex 10 was designed not
    # to be
    wrong_names, wrong_words = (
        1 - heard_right(words, grade) for words in (PLAIN_LETTERS, ICAO_LETTERS)
    )
    print(f"{grade}: letter names {wrong_names:.2%} wrong, spelling words {wrong_words:.2%} wrong")
    assert wrong_names > 2.5 * wrong_words


@pytest.mark.parametrize("grade", ["noisy", "harsh"])
def test_five_and_nine_are_worse_than_fife_and_niner(grade: str) -> None:
    plain, radio = sound.confusion(PLAIN_DIGITS, grade), sound.confusion(ICAO_DIGITS, grade)
    assert plain["5"]["9"] > 1.5 * radio["5"]["9"]
    assert plain["9"]["5"] > 1.5 * radio["9"]["5"]
    assert heard_right(ICAO_DIGITS, grade) > heard_right(PLAIN_DIGITS, grade)


def test_five_and_nine_are_the_likeliest_pair_of_plain_digits() -> None:
    pair = sound.confusable_pairs(PLAIN_DIGITS, 1)[0]
    assert (pair.first, pair.second) == ("5", "9")


def test_most_letter_names_known_to_be_hard_rank_among_the_hardest() -> None:
    # J/K (JH EY, K EY) and T/G (T IY, JH IY) rank near 40th here: the features hold little of what
    # makes listeners
    # take one for the other. A team's counts put that right.
    order = [
        "".join(sorted(pair.first + pair.second))
        for pair in sound.confusable_pairs(PLAIN_LETTERS, 325, "clear")
    ]
    places = {pair: order.index("".join(sorted(pair))) + 1 for pair in HARD_PAIRS}
    print(f"places among 325 pairs: {places}")
    assert all(places[pair] <= 15 for pair in HARD_PAIRS if pair not in ("JK", "TG"))
    assert all(places[pair] <= 325 // 4 for pair in HARD_PAIRS)


def test_pairs_are_ordered_and_limited() -> None:
    pairs = sound.confusable_pairs(ICAO_LETTERS, 7, "harsh")
    assert len(pairs) == 7
    assert [pair.probability for pair in pairs] == sorted(
        (pair.probability for pair in pairs), reverse=True
    )
    assert sound.confusable_pairs(ICAO_LETTERS, 0) == []
    assert len(sound.confusable_pairs(ICAO_DIGITS, 1000)) == 45


@pytest.mark.parametrize(
    "words", [[], [("A", ("AH",)), ("A", ("EH",))], [("A", ())], [("A", ("XX",))]]
)
def test_words_that_make_no_set_are_refused(words: Words) -> None:
    with pytest.raises(CodeError):
        sound.confusion(words)


@pytest.mark.parametrize("grade", ["quiet", "", 31.0, -30.1, math.nan, math.inf])
def test_an_unknown_grade_is_refused(grade: str | float) -> None:
    with pytest.raises(CodeError) as caught:
        sound.confusion(ICAO_DIGITS, grade)
    assert caught.value.kind == "unknown-grade"


DEFAULT = sound.confusion(ICAO_DIGITS, "noisy")
KEYS = st.sampled_from([digit for digit, _ in ICAO_DIGITS])
COUNTS = st.dictionaries(KEYS, st.dictionaries(KEYS, st.integers(0, 500), max_size=5), max_size=5)


@given(COUNTS, st.floats(0.01, 1000))
def test_counts_are_smoothed_never_impossible_and_between_default_and_shares(
    counts: dict[str, dict[str, int]], strength: float
) -> None:
    after = sound.with_counts(DEFAULT, counts, strength)
    for said, row in after.items():
        assert math.fsum(row.values()) == pytest.approx(1)
        assert min(row.values()) > 0
        seen = counts.get(said, {})
        total = sum(seen.values())
        for heard, share in row.items():
            counted = seen.get(heard, 0) / total if total else DEFAULT[said][heard]
            low, high = sorted((counted, DEFAULT[said][heard]))
            assert low - 1e-9 <= share <= high + 1e-9


def test_counts_follow_the_dirichlet_posterior_mean() -> None:
    # (count + strength * prior) / (total + strength), the textbook mean of a Dirichlet posterior
    after = sound.with_counts(DEFAULT, {"5": {"5": 15, "9": 5}}, strength=20)
    assert after["5"]["9"] == pytest.approx((5 + 20 * DEFAULT["5"]["9"]) / 40)
    assert after["5"]["1"] == pytest.approx(20 * DEFAULT["5"]["1"] / 40)
    assert after["9"] == pytest.approx(DEFAULT["9"])


@given(COUNTS)
def test_a_strong_default_outweighs_and_a_weak_one_yields(
    counts: dict[str, dict[str, int]],
) -> None:
    assume(any(sum(row.values()) for row in counts.values()))
    strong, weak = sound.with_counts(DEFAULT, counts, 1e9), sound.with_counts(DEFAULT, counts, 1e-9)
    for said, seen in counts.items():
        total = sum(seen.values())
        if total:
            assert strong[said] == pytest.approx(DEFAULT[said], abs=1e-4)
            assert weak[said] == pytest.approx(
                {key: seen.get(key, 0) / total for key in DEFAULT}, abs=1e-6
            )


@given(COUNTS, COUNTS)
def test_counts_may_come_in_two_lots(
    first: dict[str, dict[str, int]], second: dict[str, dict[str, int]]
) -> None:
    both = {
        said: {
            heard: first.get(said, {}).get(heard, 0) + second.get(said, {}).get(heard, 0)
            for heard in DEFAULT
        }
        for said in DEFAULT
    }
    at_once = sound.with_counts(DEFAULT, both, 10)
    earlier = sound.with_counts(DEFAULT, first, 10)
    for (
        said
    ) in DEFAULT:  # the posterior of the first lot is a default worth 10 plus its own observations
        worth = 10 + sum(first.get(said, {}).values())
        later = sound.with_counts(earlier, {said: second.get(said, {})}, worth)
        assert later[said] == pytest.approx(at_once[said])


def test_a_team_table_stands_in_place_of_the_default() -> None:
    row = dict.fromkeys(DEFAULT, 0.0) | {"5": 0.8, "9": 0.2}
    after = sound.with_table(DEFAULT, {"5": row})
    assert after["5"] == pytest.approx(row)
    assert after["9"] == pytest.approx(DEFAULT["9"])


def test_what_a_team_leaves_out_shares_the_rest_as_the_default_has_it() -> None:
    after = sound.with_table(DEFAULT, {"5": {"9": 0.1}})
    assert after["5"]["9"] == pytest.approx(0.1)
    assert after["5"]["5"] / after["5"]["1"] == pytest.approx(DEFAULT["5"]["5"] / DEFAULT["5"]["1"])
    assert math.fsum(after["5"].values()) == pytest.approx(1)
    assert sound.likeliest(after, 1)[0].probability == pytest.approx((0.1 + DEFAULT["9"]["5"]) / 2)


@pytest.mark.parametrize(
    "stated",
    [
        {"five": {"9": 0.1}},
        {"5": {"nine": 0.1}},
        {"5": {"9": -0.1}},
        {"5": {"9": math.nan}},
        {"5": {"9": 0.7, "5": 0.7}},
        {"5": dict.fromkeys(DEFAULT, 0.05)},
    ],
)
def test_a_table_that_cannot_be_is_refused(stated: dict[str, dict[str, float]]) -> None:
    with pytest.raises(CodeError) as caught:
        sound.with_table(DEFAULT, stated)
    assert caught.value.expected


@pytest.mark.parametrize(
    ("counts", "strength"),
    [
        ({"five": {}}, 1),
        ({"5": {"x": 1}}, 1),
        ({"5": {"9": -1}}, 1),
        ({"5": {"9": math.inf}}, 1),
        ({}, 0),
        ({}, math.nan),
    ],
)
def test_counts_that_cannot_be_are_refused(
    counts: dict[str, dict[str, float]], strength: float
) -> None:
    with pytest.raises(CodeError):
        sound.with_counts(DEFAULT, counts, strength)
