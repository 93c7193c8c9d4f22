"""Capacity and optimal codewords, against published values, exhaustive search, and the bounds of
information theory.
"""

from __future__ import annotations

import heapq
import itertools
import math
import random
import time
from collections.abc import Iterator

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from grammar.design import ChannelSymbol, capacity, constrained_capacity, entropy, optimal
from grammar.design.greedy_tree import estimated, grown
from grammar.errors import CodeError

TIMES = st.lists(st.floats(0.3, 1.0), min_size=2, max_size=12)
WEIGHTS = st.lists(st.floats(1e-6, 1.0), min_size=2, max_size=60)


def test_the_telegraph_has_the_capacity_shannon_gave() -> None:
    # Shannon 1948, I.1: dot 2, dash 4, letter space 3, word space 6, no two spaces together: C =
    # 0.539
    dots = [ChannelSymbol(state, 0, time) for state in (0, 1) for time in (2, 4)]
    spaces = [ChannelSymbol(0, 1, 3), ChannelSymbol(0, 1, 6)]
    assert constrained_capacity(dots + spaces) == pytest.approx(0.5389360518, abs=1e-10)


def test_equal_letters_carry_the_logarithm_of_their_number() -> None:
    # Shannon 1948, I.1: 32 equal letters carry 5 bits each
    assert capacity([1.0] * 32) == pytest.approx(5)


def test_costs_one_and_two_give_the_golden_ratio() -> None:
    # the largest root of X^-1 + X^-2 = 1
    assert capacity([1, 2]) == pytest.approx(math.log2((1 + math.sqrt(5)) / 2))
    free = [ChannelSymbol(0, 0, 1), ChannelSymbol(0, 0, 2)]
    assert constrained_capacity(free) == pytest.approx(capacity([1, 2]))


FIVE = [0.25, 0.25, 0.2, 0.15, 0.15]
SEVEN = [0.49, 0.26, 0.12, 0.04, 0.04, 0.03, 0.02]


@pytest.mark.parametrize(
    ("weights", "letters", "mean"),
    [
        (
            FIVE,
            2,
            2.3,
        ),  # MacKay, Information Theory, exercise 5.15; Cover & Thomas example 5.6.1 (from memory)
        (FIVE, 3, 1.5),  # Cover & Thomas, the same example in three letters (from memory)
        ([0.5, 0.25, 0.125, 0.125], 2, 1.75),  # equals its entropy (from memory)
        (SEVEN, 2, 2.02),  # Cover & Thomas, problems of chapter 5 (from memory)
        (SEVEN, 3, 1.34),
    ],
)
def test_equal_times_give_huffmans_code(weights: list[float], letters: int, mean: float) -> None:
    code = optimal(weights, [1.0] * letters)
    assert code.proven
    assert code.cost == pytest.approx(mean)


@pytest.mark.parametrize(
    ("times", "mean"),
    # exact least costs of 0.25 0.25 0.2 0.15 0.15, computed by exhaustive search: no published
    # table was found
    [((1, 2), 3.3), ((1, 3), 4.2), ((2, 3), 5.65), ((1, 1, 2), 1.9), ((1, 2, 3), 2.65)],
)
def test_unequal_times_give_the_least_cost(times: tuple[int, ...], mean: float) -> None:
    code = optimal(FIVE, times)
    assert code.proven
    assert code.cost == pytest.approx(mean)


def prefix_free(words: tuple[tuple[int, ...], ...]) -> bool:
    ordered = sorted(words)
    return not any(after[: len(before)] == before for before, after in itertools.pairwise(ordered))


def trees(leaves: int, times: tuple[float, ...]) -> Iterator[tuple[float, ...]]:
    """Yield the sorted times of the leaves of every tree with so many leaves, each opened node
    having two children or more.
    """
    seen: set[tuple[float, ...]] = {(0.0,)}
    waiting: list[tuple[float, ...]] = [(0.0,)]
    while waiting:
        tree = waiting.pop()
        if len(tree) == leaves:
            yield tree
            continue
        for place, node in enumerate(tree):
            for children in range(2, min(len(times), leaves - len(tree) + 1) + 1):
                after = tuple(
                    sorted(
                        [
                            *tree[:place],
                            *tree[place + 1 :],
                            *(node + time for time in sorted(times)[:children]),
                        ]
                    )
                )
                if after not in seen:
                    seen.add(after)
                    waiting.append(after)


def exhaustive(weights: list[float], times: tuple[float, ...]) -> float:
    likely = sorted(weights, reverse=True)
    return min(
        sum(w * t for w, t in zip(likely, leaves, strict=True))
        for leaves in trees(len(likely), times)
    )


@pytest.mark.parametrize("cases", [20, pytest.param(500, marks=pytest.mark.slow)])
def test_no_code_costs_less_on_random_small_cases(cases: int) -> None:
    generator = random.Random(4)
    for case in range(cases):
        times = tuple(
            generator.choice([generator.randint(1, 5), round(generator.uniform(1, 5), 2)])
            for _ in range(generator.choice([2, 2, 3]))
        )
        weights = [generator.random() for _ in range(generator.randint(2, 6))]
        total = sum(weights)
        weights = [weight / total for weight in weights]
        code = optimal(weights, times)
        assert code.proven, case
        assert code.cost == pytest.approx(exhaustive(weights, times), rel=1e-8), (weights, times)


@pytest.mark.slow
@given(WEIGHTS, TIMES)
@settings(max_examples=40)
def test_a_code_keeps_the_bounds_of_information_theory(
    weights: list[float], times: list[float]
) -> None:
    # Shannon 1948 (below), Krause 1962 (above): H/C ≤ cost < H/C + dearest letter
    code = optimal(weights, times, exact=len(weights) <= 8)
    assert prefix_free(code.words)
    share = [weight / sum(weights) for weight in weights]
    assert code.cost == pytest.approx(
        sum(
            s * sum(times[letter] for letter in word)
            for s, word in zip(share, code.words, strict=True)
        )
    )
    least = entropy(weights) / capacity(times)
    assert least * (1 - 1e-9) <= code.bound <= code.cost * (1 + 1e-9)
    assert code.cost < least + max(times) + 1e-12


@pytest.mark.slow
@given(st.permutations(range(7)))
@settings(max_examples=8)
def test_the_order_of_levels_does_not_matter(order: list[int]) -> None:
    code = optimal([SEVEN[place] for place in order], (1, 2))
    assert code.cost == pytest.approx(optimal(SEVEN, (1, 2)).cost)


@pytest.mark.slow
@pytest.mark.parametrize("times", [(1, 2), (1, 1, 2), (1, 2, 3)])
def test_two_thousand_levels_are_proven_within_a_hundred_thousandth(times: tuple[int, ...]) -> None:
    generator = random.Random(1)
    start = time.process_time()
    code = optimal([generator.random() ** 2 for _ in range(2000)], times)
    assert code.proven
    assert code.cost <= code.entropy_bound * 1.01
    assert time.process_time() - start < 20  # 5 s on an idle machine; a shared one is allowed more


def test_two_thousand_levels_of_thirty_one_words_come_near_the_bound() -> None:
    generator = random.Random(1)
    times = [generator.uniform(0.39, 0.88) for _ in range(31)]
    code = optimal([generator.random() ** 2 for _ in range(2000)], times, exact=False)
    assert code.cost <= code.entropy_bound * 1.02


def test_alike_levels_get_varns_code() -> None:
    # B. Varn 1971: for levels all alike, opening the cheapest node again and again is optimal (for
    # trees without gaps)
    times, count = (0.4, 0.5, 0.7), 27
    nodes = [0.0]
    while len(nodes) < count:
        node = heapq.heappop(nodes)
        for each in times:
            heapq.heappush(nodes, node + each)
    assert optimal([1.0] * count, times, exact=False).cost <= sum(nodes) / len(nodes) + 1e-12


@pytest.mark.parametrize(
    ("weights", "times"),
    [([], [1, 2]), ([0, 0], [1, 2]), ([1, -1], [1, 2]), ([1, 1], [1]), ([1, 1], [1, 0])],
)
def test_what_is_no_code_is_refused(weights: list[float], times: list[float]) -> None:
    with pytest.raises(CodeError):
        optimal(weights, times)


def test_a_single_level_gets_the_shortest_word() -> None:
    assert optimal([3.0], [2, 1]).words == ((1,),)


def test_a_tree_is_that_of_growing_every_threshold_to_its_end() -> None:
    generator = random.Random(7)
    for levels in (2, 9, 60, 300):
        for letters in (2, 5, 20):
            likely = sorted((generator.random() ** 4 for _ in range(levels)), reverse=True)
            total = math.fsum(likely)
            shares = [share / total for share in likely]
            times = [generator.uniform(0.3, 0.9) for _ in range(letters)]
            words, best = grown(shares, times)
            mean = estimated(shares, times)
            assert len(set(words)) == levels
            assert best <= mean * (1 + 1e-12)
            whole = [_whole_tree(shares, times, 10 ** (step / 16)) for step in range(-32, 9, 6)]
            assert mean == pytest.approx(min(whole), rel=1e-12)


def _whole_tree(shares: list[float], times: list[float], threshold: float) -> float:
    """Return the mean time of the greedy tree of one threshold, grown without any bound."""
    rate, closed, nodes = capacity(times), list[float](), [(0.0, 0)]
    while len(nodes) + len(closed) < len(shares):
        cost, depth = heapq.heappop(nodes)
        share = shares[min(len(closed), len(shares) - 1)]
        if depth and nodes and share >= threshold * 2.0 ** (-rate * cost):
            closed.append(cost)
            continue
        for time_ in times:
            heapq.heappush(nodes, (cost + time_, depth + 1))
    costs = sorted([*closed, *(cost for cost, _ in nodes)])
    return math.fsum(share * cost for share, cost in zip(shares, costs, strict=False))
