"""Laps added that are entered on the wheel: a dash that was told none, or twice as many, is found
out by the next lap reports.
"""

from __future__ import annotations

from decimal import Decimal

import pytest
from race.support import CALLS, DELTA, SURE, event, fact, report
from race.test_race_following import ON_PLAN

from codec.race import advise, follow
from codec.sheet import Entry

SPEC = event(SURE, DELTA + CALLS)
ADDED = [fact("event", "added", 12, amount=Decimal(2)), fact("call", "distance", 12, 126, added=2)]
ENTERED = fact("report", "entered", 12, 127, added=2)
TARGET = fact("call", "pace", 12, 128, target=Decimal("1.12"))  # (28 − 12 · 1.4) / 10
USED = Decimal("1.4") * 12


def told(facts: list[Entry]) -> list[str]:
    return [one.text for one in follow(SPEC, facts).notices if one.kind == "laps-entry"]


def driven(per_lap: str, laps: int, known: int) -> list[Entry]:
    """Return reports of so many laps from the 13th on, by a dash that knows of so many added."""
    planned = (28 - USED) / (8 + known)
    off = planned - Decimal(per_lap)
    return [report(12 + lap, energy=round(off * lap, 1)) for lap in range(1, laps + 1)]


@pytest.mark.parametrize("call", [[], [TARGET]], ids=["no target", "a target"])
def test_nothing_is_told_where_the_dash_has_them(call: list[Entry]) -> None:
    for use in ("1.12", "1.4"):  # as it should be, and as before
        facts = [*ON_PLAN, *ADDED, ENTERED, *call, *driven(use, 4, known=2)]
        assert not told(facts)
        assert follow(SPEC, facts).laps_entered == 2


def test_a_dash_that_was_told_nothing_is_told_within_one_lap() -> None:
    facts = [*ON_PLAN, *ADDED, ENTERED, TARGET, *driven("1.12", 1, known=0)]
    assert "were the 2 laps entered?" in told(facts)[0]
    race = follow(SPEC, facts)
    assert race.laps_entered == 0
    assert race.energy.level().mean == pytest.approx(float(USED) + 1.12, abs=0.1)
    assert "not entered yet" in advise(race)[0].reason


def test_laps_entered_twice_are_asked_about_within_one_lap_and_not_taken_for_sure() -> None:
    """They look like a target that is half kept."""
    facts = [*ON_PLAN, *ADDED, ENTERED, TARGET, *driven("1.12", 3, known=4)]
    assert "entered twice?" in told(facts[:-2])[0]
    assert len(told(facts)) == 1
    assert follow(SPEC, facts).laps_entered == 2


def test_laps_entered_without_a_read_back_are_seen() -> None:
    facts = [*ON_PLAN, *ADDED, TARGET, *driven("1.12", 1, known=2)]
    assert "no read-back was heard" in told(facts)[0]


def test_a_dash_that_tells_what_is_left_says_nothing_of_laps() -> None:
    spec = event(SURE, '[reports.energy]\nsays = "remaining"\n' + CALLS)
    facts = [*ADDED, ENTERED, report(13, energy=Decimal("1.5"))]
    assert "laps-entry" not in [one.kind for one in follow(spec, facts).notices]
