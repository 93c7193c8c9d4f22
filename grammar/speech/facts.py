"""The facts of a race that a phrase may mean, a line of the log may tell, and a forecast counts by.

A fact of the race holds for every car, whoever's channel it came on; a fact of a car for that car.
Names are those of the trade (common practice, no source).
"""

from __future__ import annotations

from typing import Literal, get_args

RaceFact = Literal["neutralised", "resumed", "stopped", "added", "yellow", "rain", "dry"]
CarFact = Literal["stop", "marker"]
Fact = RaceFact | CarFact

TITLES: dict[str, str] = {
    "neutralised": "race neutralised",
    "resumed": "race resumed",
    "stopped": "race stopped",
    "added": "laps added",
    "yellow": "yellow flag",
    "rain": "rain",
    "dry": "dry again",
    "stop": "stop",
    "marker": "marker pressed",
}
OF_THE_RACE: frozenset[str] = frozenset(get_args(RaceFact))
