"""Calibration over a season: how sure each reading was said to be, and what came of it.

Each reading of a report is judged once, at how sure it was when it was first written. Stated are
probabilities of the posterior, of the listener, or 1 for what was decoded as it was typed; what
somebody put right by hand states none.
"""

from __future__ import annotations

import bisect
from collections.abc import Iterable
from dataclasses import dataclass, field

from codec.drill.timing import share
from codec.season.events import Wanted
from codec.season.queries import named, reports
from codec.season.source import Season
from codec.sheet.entry import DOUBTFUL
from codec.sheet.state import BY_HAND

EDGES = (0.5, 0.8, 0.98, 0.995, 0.999, 1.0)  # where the next range of what is stated begins
STANDS, PUT_RIGHT, TAKEN_BACK, OPEN = "stand", "other", "back", "open"
OUTCOMES = {
    STANDS: "the report stands with this reading",
    PUT_RIGHT: "it stands with another reading: put right, or heard anew",
    TAKEN_BACK: "taken back, for whatever reason",
    OPEN: "nothing stands: nobody knows",
}
_RANGES = " ".join(f"WHEN stated < {edge} THEN {place}" for place, edge in enumerate(EDGES))
_OUTCOME = f"""
CASE WHEN withdrawn THEN '{TAKEN_BACK}' WHEN NOT counts OR string = '' THEN '{OPEN}'
    WHEN {{string}} = string OR {{told}} = told THEN '{STANDS}' ELSE '{PUT_RIGHT}' END
"""
_STATED = f"""
, stated AS (
    SELECT journal, car, writer, first_certainty AS stated, first_refusal AS refusal,
        {_OUTCOME.format(string="first_string", told="first_told")} AS outcome
    FROM stands WHERE kind = 'report' AND first_string <> '' AND first_note <> '{BY_HAND}'
    UNION ALL
    SELECT journal, car, writer, again_certainty, again_refusal,
        CASE WHEN again_taken_back THEN '{TAKEN_BACK}'
        ELSE {_OUTCOME.format(string="again_string", told="again_told")} END
    FROM (
        SELECT touched.*, part.certainty AS again_certainty, part.refusal AS again_refusal,
            part.string AS again_string, part.told AS again_told, part.note AS again_note,
            part.taken_back AS again_taken_back, row_number() OVER (
                PARTITION BY part.journal, part.root, part.string
                ORDER BY part.made, part.desk, part.uid
            ) AS time
        FROM part JOIN touched ON touched.journal = part.journal AND touched.seq = part.root
        WHERE part.kind = 'correction' AND touched.kind = 'report'
        AND part.string NOT IN ('', touched.first_string)
    ) AS again
    WHERE time = 1 AND again_note <> '{BY_HAND}'
),
outcomes AS (
    SELECT journal, car, writer, CASE {_RANGES} ELSE {len(EDGES)} END AS place,
        refusal = '' AS accepted, outcome, count(*) AS times, sum(stated) AS stated
    FROM stated WHERE stated IS NOT NULL AND refusal IN ('', '{DOUBTFUL}')
    GROUP BY 1, 2, 3, 4, 5, 6
)
SELECT place, accepted, outcome, CAST(sum(times) AS bigint), CAST(sum(stated) AS double precision)
FROM ({named("outcomes")}) AS told GROUP BY 1, 2, 3
"""  # noqa: S608 - texts that the program declares


@dataclass(slots=True)
class Stated:
    """The readings said to be from ``low`` to below ``high`` sure (1 and above: just that), of
    those ``accepted`` or of those doubted; ``outcomes`` counts what came of them.
    """

    low: float
    high: float
    accepted: bool
    outcomes: dict[str, int] = field(default_factory=lambda: dict.fromkeys(OUTCOMES, 0))
    total: float = 0.0

    @property
    def count(self) -> int:
        """How many there are."""
        return sum(self.outcomes.values())

    @property
    def mean(self) -> float:
        """How sure they were said to be in the mean."""
        return self.total / self.count

    @property
    def known(self) -> int:
        """How many are known to stand, or not to."""
        return self.outcomes[STANDS] + self.outcomes[PUT_RIGHT]

    @property
    def right(self) -> tuple[float, float, float] | None:
        """The share that stands of those of which it is known, with its interval at 95 %; None
        where nothing is known.
        """
        if not self.known:
            return None
        low, high = share(self.outcomes[STANDS], self.known)
        return self.outcomes[STANDS] / self.known, low, high

    def as_dict(self) -> dict[str, object]:
        """Return the facts for JSON."""
        right = None if self.right is None else [round(one, 6) for one in self.right]
        return {
            "from": self.low,
            "to": self.high,
            "accepted": self.accepted,
            "stated": round(self.mean, 6),
            "right": right,
            **self.outcomes,
        }


def calibration(season: Season, wanted: Wanted) -> list[Stated]:
    """Return what was stated and what came of it, by ranges; accepted readings first. Raises
    CodeError.
    """
    return _put_together(reports(season, wanted).ask_apart(_STATED))


def ranges(stated: Iterable[tuple[float, bool, str, int]]) -> list[Stated]:
    """Return what was stated (how sure, whether it was accepted, what came of it, how often) by
    ranges; accepted readings first.
    """
    return _put_together(
        (bisect.bisect_right(EDGES, sure), accepted, outcome, count, sure * count)
        for sure, accepted, outcome, count in stated
    )


def _put_together(rows: Iterable[tuple[int, bool, str, int, float]]) -> list[Stated]:
    found: dict[tuple[bool, int], Stated] = {}
    for place, accepted, outcome, count, total in rows:
        one = found.setdefault((accepted, place), _range(place, accepted=accepted))
        one.outcomes[outcome] += count
        one.total += total
    return [found[key] for key in sorted(found, key=lambda key: (not key[0], key[1]))]


def _range(place: int, *, accepted: bool) -> Stated:
    low, high = (0.0, *EDGES)[place], (*EDGES, 1.0)[place]
    return Stated(low, high, accepted)
