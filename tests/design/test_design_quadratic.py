"""The quadratic assignment: exact where it is small, never below its bound, and as published."""

from __future__ import annotations

import itertools
import random

import pytest
from helpers import first_short
from hypothesis import given, settings
from hypothesis import strategies as st

from grammar.design.quadratic import QuadraticAssignment

# Flows of C. Nugent, T. Vollmann and J. Ruml (1968), those of the first n facilities, and the
# optima that QAPLIB (R. Burkard, S. Karisch and F. Rendl, 1997) lists for them on grids of so many
# columns; the Gilmore–Lawler bound of NUG12 is 493 there. Figures from memory.
FLOWS = [
    [0, 5, 2, 4, 1, 0, 0, 6, 2, 1, 1, 1],
    [5, 0, 3, 0, 2, 2, 2, 0, 4, 5, 0, 0],
    [2, 3, 0, 0, 0, 0, 0, 5, 5, 2, 2, 2],
    [4, 0, 0, 0, 5, 2, 2, 10, 0, 0, 5, 5],
    [1, 2, 0, 5, 0, 10, 0, 0, 0, 5, 1, 1],
    [0, 2, 0, 2, 10, 0, 5, 1, 1, 5, 4, 0],
    [0, 2, 0, 2, 0, 5, 0, 10, 5, 2, 3, 3],
    [6, 0, 5, 10, 0, 1, 10, 0, 0, 0, 5, 0],
    [2, 4, 5, 0, 0, 1, 5, 0, 0, 0, 10, 10],
    [1, 5, 2, 0, 5, 5, 2, 0, 0, 0, 5, 0],
    [1, 0, 2, 5, 1, 4, 3, 5, 10, 5, 0, 2],
    [1, 0, 2, 5, 1, 0, 3, 0, 10, 0, 2, 0],
]
Square = list[list[float]]


def nugent(size: int, columns: int) -> QuadraticAssignment:
    flows = [row[:size] for row in FLOWS[:size]]
    spots = [divmod(place, columns) for place in range(size)]
    grid = [[abs(a - c) + abs(b - d) for c, d in spots] for a, b in spots]
    return QuadraticAssignment([[0] * size] * size, [(flows, grid)])


@pytest.mark.parametrize(
    ("size", "columns", "optimum"), first_short([(8, 4, 214), (6, 3, 86), (12, 4, 578)])
)
def test_published_instances_reach_their_optimum_and_it_is_proven(
    size: int, columns: int, optimum: int
) -> None:
    found = nugent(size, columns).best()
    assert found.cost == optimum
    assert found.proven


def test_the_bound_is_the_published_one() -> None:
    assert nugent(12, 4).bound == pytest.approx(493)


def squares(size: int) -> st.SearchStrategy[Square]:
    row = st.lists(st.integers(0, 9).map(float), min_size=size, max_size=size)
    return st.lists(row, min_size=size, max_size=size)


@pytest.mark.slow
@settings(deadline=None)
@given(st.integers(1, 5).flatmap(lambda n: st.tuples(*[squares(n)] * 5)), st.integers(0, 5))
def test_no_assignment_costs_less_than_the_one_found(
    given_squares: tuple[Square, ...], most: int
) -> None:
    linear, *terms = given_squares
    problem = QuadraticAssignment(linear, [(terms[0], terms[1]), (terms[2], terms[3])])

    def cost(places: tuple[int, ...]) -> float:
        """As defined, and nothing saved."""
        pairs = itertools.product(range(len(places)), repeat=2)
        return sum(row[places[item]] for item, row in enumerate(linear)) + sum(
            flow[i][k] * distance[places[i]][places[k]]
            for i, k in pairs
            for flow, distance in (terms[:2], terms[2:])
        )

    every = list(itertools.permutations(range(problem.size)))
    few = [one for one in every if sum(p != i for i, p in enumerate(one)) <= most]
    found = problem.best(most_moved=most)
    assert found.places in few
    assert found.cost == pytest.approx(cost(found.places)) == pytest.approx(min(map(cost, few)))
    assert problem.bound <= min(map(cost, every)) + 1e-9
    whole = problem.best()
    assert whole.proven
    assert whole.cost == pytest.approx(min(map(cost, every)))


def test_without_a_search_the_bound_tells_how_far_from_the_best_it_may_be() -> None:
    draw = random.Random(1)
    a, b = ([[draw.random() for _ in range(20)] for _ in range(20)] for _ in range(2))
    found = QuadraticAssignment([[0] * 20] * 20, [(a, b)]).best(most_nodes=0, starts=1)
    assert found.bound < found.cost
    assert 0 < found.gap < 0.5
