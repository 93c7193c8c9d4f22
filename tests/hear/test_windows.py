"""Several hearings of one report are summed in windows: what that leaves out is less than a
millionth, whatever was heard.
"""

from __future__ import annotations

import random
from unittest import mock

import pytest

from codec import load_book
from codec.hear import AskedPart, Hearing, hear
from codec.hear.channel import Condition, channel
from codec.hear.draw import Source, answer, passed_on
from codec.hear.model import model_of
from codec.hear.priors import Prior

RACE = load_book("examples/race/race.toml")
BAD = Condition(1.0, 0.3, 0.5)


@pytest.mark.slow
@pytest.mark.parametrize("seed", [1, 2])
def test_hearings_together_are_as_without_windows(seed: int) -> None:
    chance, ears = random.Random(seed), channel(RACE)
    _, said = Source(model_of(RACE, None).weighted(Prior())).draw(chance)
    first = hear(RACE, passed_on(ears, said, chance, BAD))
    part = (first.decision.part or AskedPart()) if seed == 1 else AskedPart()
    heard = passed_on(ears, answer(said, part), chance, BAD)

    def together() -> Hearing:
        return hear(RACE, heard, earlier=[first], part=part)

    with mock.patch("codec.hear.forward_backward.MOST_WHOLE", 0):
        windows = together()
    with mock.patch("codec.hear.forward_backward.MOST_WHOLE", 10**9):
        whole = together()
    assert [c.reading for c in windows.candidates] == [c.reading for c in whole.candidates]
    for one, other in zip(windows.candidates, whole.candidates, strict=True):
        assert one.probability == pytest.approx(other.probability, abs=1e-6)
    for name, marginal in windows.marginals.items():
        assert marginal.probabilities == pytest.approx(
            whole.marginals[name].probabilities, abs=1e-6
        )
    assert windows.conditions == pytest.approx(whole.conditions, abs=1e-6)
