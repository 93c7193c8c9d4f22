"""The 80 % bands hold what comes in 80 % of simulated races.

The full table, of 2,000 races, is printed by ``simulated.py``.
"""

from __future__ import annotations

import pytest
from race.simulated import CASES, coverage, overall


@pytest.mark.slow
@pytest.mark.parametrize("races", [60, pytest.param(150, marks=pytest.mark.slow)])
def test_the_bands_hold_what_comes_as_often_as_they_say(races: int) -> None:
    """Laps of one race go together, so of 150 races the share is known to about 3 %; of 2,000 it
    lies within 76 … 84 %.
    """
    counts = coverage(CASES[0], races, seed=4)
    assert 0.72 <= overall(counts.margin, counts.races) <= 0.88
    assert 0.76 <= overall(counts.used, counts.races) <= 0.84
    assert 0.76 <= overall(counts.battery, counts.races) <= 0.88
    assert counts.reached / counts.reach >= 0.8


@pytest.mark.slow
def test_bands_narrow_as_the_flag_comes_near() -> None:
    counts = coverage(CASES[0], 20, seed=5)
    widths = [counts.width[lap] / counts.races for lap in sorted(counts.width)]
    assert widths[-1] < widths[len(widths) // 2] < widths[0]
