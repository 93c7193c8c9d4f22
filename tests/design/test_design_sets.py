"""Largest independent sets, the words that noise can't confuse: published sizes and all sets."""

from __future__ import annotations

import itertools
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from grammar.design import largest_independent_set

Pairs = list[tuple[int, int]]


def _cycles(*sizes: int) -> tuple[int, Pairs]:
    """Return the strong product of cycles: strings of words, each of which may be heard as the one
    before or after it.
    """
    strings = list(itertools.product(*map(range, sizes)))
    pairs = [
        (one, other)
        for one, other in itertools.combinations(range(len(strings)), 2)
        if all(
            (a - b) % size in (0, 1, size - 1)
            for a, b, size in zip(strings[one], strings[other], sizes, strict=True)
        )
    ]
    return len(strings), pairs


@pytest.mark.parametrize(
    ("sizes", "largest"),
    [
        ((5,), 2),
        ((21,), 10),
        ((5, 5), 5),  # Shannon 1956; Lovász 1979 proves that no power does better on average
        ((7, 7), 10),  # L. Baumert and others, "A combinatorial packing problem", 1971
        # R. S. Hales, "Numerical invariants and the strong product of graphs", 1973, from memory:
        # cycles of 2j + 1 and 2k + 1, j ≤ k, give jk + ⌊j/2⌋
        ((5, 7), 7),
        ((5, 9), 9),
        ((5, 11), 11),
        pytest.param((7, 9), 13, marks=pytest.mark.slow),
    ],
)
def test_cycles_give_the_published_size(sizes: tuple[int, ...], largest: int) -> None:
    count, pairs = _cycles(*sizes)
    found = largest_independent_set([1.0] * count, pairs)
    assert len(found) == largest
    assert not set(itertools.combinations(found, 2)) & set(pairs)


@pytest.mark.slow
@given(st.integers(0, 9), st.floats(0, 1), st.randoms(use_true_random=False))
@settings(max_examples=100)
def test_no_set_is_larger_and_none_as_large_costs_less(
    size: int, density: float, chance: random.Random
) -> None:
    pairs = [p for p in itertools.combinations(range(size), 2) if chance.random() < density]
    costs = [chance.randint(1, 5) / 4 for _ in range(size)]
    sets = [
        chosen
        for count in range(size + 1)
        for chosen in itertools.combinations(range(size), count)
        if not set(itertools.combinations(chosen, 2)) & set(pairs)
    ]
    found = largest_independent_set(costs, pairs)
    assert found in sets
    best = min((-len(chosen), sum(costs[place] for place in chosen)) for chosen in sets)
    assert (-len(found), sum(costs[place] for place in found)) == best


@pytest.mark.slow
def test_a_graph_too_large_for_a_proof_gives_a_large_set_all_the_same() -> None:
    # as many words as an alphabet may have, each taken for about ten others; the integer program
    # of scipy, run to its end, finds 25
    chance, size = random.Random(1), 96
    pairs = [pair for pair in itertools.combinations(range(size), 2) if chance.random() < 0.12]
    found = largest_independent_set([1.0] * size, pairs)
    near = {one: {a + b - one for a, b in pairs if one in (a, b)} for one in range(size)}
    assert all((vertex in found) != bool(near[vertex] & set(found)) for vertex in range(size))
    assert len(found) >= 24


def test_an_alphabet_of_hard_pairs_is_done_at_once() -> None:
    # twelve triangles: the graph with most largest sets, 3^(n/3) (J. Moon, L. Moser 1965)
    pairs = [(3 * n + a, 3 * n + b) for n in range(12) for a, b in ((0, 1), (0, 2), (1, 2))]
    costs = [1 + place % 3 for place in range(36)]
    assert largest_independent_set(costs, pairs) == tuple(range(0, 36, 3))
