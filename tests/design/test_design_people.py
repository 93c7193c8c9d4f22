"""Simulated people learn a code in which no symbol has two meanings sooner than a short one."""

from __future__ import annotations

import pytest
from design.people import MEMORIES, errors

from grammar.design import Proposal, candidates, load_needs, propose


@pytest.fixture(scope="module")
def proposed() -> dict[str, Proposal]:
    """The rain report without demands, and with letters of its own for each field."""
    needs = load_needs("examples/design/rain.toml")
    found = {}
    for family in ("variable", "single"):
        made = next(iter(candidates(needs, [family])))()
        assert made is not None
        found[family] = propose(needs, made, draws=50)
    return found


@pytest.mark.slow
@pytest.mark.parametrize("memory", MEMORIES)
def test_what_has_one_meaning_is_learnt_sooner(memory: str, proposed: dict[str, Proposal]) -> None:
    assert proposed["single"].learning.pairs < proposed["variable"].learning.pairs
    missed = {
        family: sum(sum(errors(one, memory, 200, seed).values()) for seed in (1, 2))
        for family, one in proposed.items()
    }
    assert missed["single"] < 0.7 * missed["variable"]


@pytest.mark.parametrize("memory", MEMORIES)
def test_people_err_less_the_more_they_have_heard(
    memory: str, proposed: dict[str, Proposal]
) -> None:
    for one in proposed.values():
        told = errors(one, memory, 400, 5)
        assert list(told) == [50, 100, 200, 400]
        assert told[400] < told[50]
