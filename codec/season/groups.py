"""Seconds and questions over a season, of each driver, engineer, book or event, and of all."""

from __future__ import annotations

import bisect
import itertools
import math
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, get_args

from codec.drill.timing import share
from codec.season.events import Wanted
from codec.season.queries import HEARD, named, reports
from codec.season.source import Season
from codec.sheet.order import SINCE_1970

By = Literal["driver", "engineer", "book", "event"]
BY: tuple[By, ...] = get_args(By)
LONGEST = 600_000  # milliseconds from a first hearing to what stands: longer is another matter
# the ends of a stretch (codec.sheet.stretch), believed where they are numbers
_SPOKEN = """
spoken AS (
    SELECT * FROM (
        SELECT stretches.*, {ended} - {begun} AS seconds
        FROM (
            SELECT hearing.*, split_part(stretch, ',', -1) AS ended,
                split_part(split_part(stretch, '#t=', -1), ',', 1) AS begun
            FROM hearing WHERE counts AND stretch <> '' AND read_as <> '' AND read_as = string
            {apart}
        ) AS stretches {apart}
    ) AS timed
    WHERE seconds > 0 AND seconds < 100000
)
"""


def spoken(season: Season) -> str:
    """Return what makes ``spoken`` of ``hearing``: with the seconds of each, worked out once."""
    ended, begun = season.number.format("ended"), season.number.format("begun")
    return _SPOKEN.format(ended=ended, begun=begun, apart=season.apart)


# times as they are written, in hundredths of a second, are few different ones
_TIMES = f"""
, {HEARD}, {{spoken}}, lasted AS (
    SELECT 'spoken' AS what, journal, car, writer, CAST(round(seconds * 100) AS bigint) AS time,
        count(*) AS times, sum(length(read_as)) AS words
    FROM spoken GROUP BY 2, 3, 4, 5
    UNION ALL
    SELECT 'settled', journal, car, writer,
        CAST(round(("at" - first_at) / 10.0) AS bigint), count(*), 0
    FROM touched WHERE kind = 'report' AND questions > 0 AND counts
    AND "at" - first_at BETWEEN 1 AND {LONGEST}
    AND ("at" < {SINCE_1970}) = (first_at < {SINCE_1970}) GROUP BY 2, 3, 4, 5
)
SELECT what, {{by}}, time, CAST(sum(times) AS bigint), CAST(sum(words) AS bigint)
FROM ({named("lasted")}) AS told GROUP BY 1, 2, 3
"""  # noqa: S608 - texts that the program declares
_ASKED = f"""
, asked AS (
    SELECT journal, car, writer, count(*) AS reports,
        count(*) FILTER (WHERE first_refusal <> '') AS refused,
        count(*) FILTER (WHERE questions > 0) AS asked, sum(questions) AS questions,
        count(*) FILTER (WHERE questions > 0 AND counts) AS settled
    FROM stands WHERE kind = 'report' AND NOT withdrawn GROUP BY 1, 2, 3
)
SELECT {{by}}, CAST(sum(reports) AS bigint), CAST(sum(refused) AS bigint),
    CAST(sum(asked) AS bigint), CAST(sum(questions) AS bigint), CAST(sum(settled) AS bigint)
FROM ({named("asked")}) AS told GROUP BY 1
"""  # noqa: S608 - texts that the program declares
_WORDINGS = f"""
, worded AS (
    SELECT part.heard, touched.journal, touched.car, touched.writer, count(*) AS times FROM part
    JOIN touched ON touched.journal = part.journal AND touched.seq = part.root
    WHERE part.kind = 'question' AND NOT part.taken_back AND part.heard <> ''
    AND touched.kind = 'report' AND NOT touched.withdrawn
    GROUP BY 1, 2, 3, 4
)
SELECT heard, CAST(sum(times) AS bigint) FROM ({named("worded")}) AS told
GROUP BY heard ORDER BY 2 DESC, 1 LIMIT 200
"""  # noqa: S608 - texts that the program declares
_MOST = 12  # wordings of questions that are told


@dataclass(frozen=True, slots=True)
class Seconds:
    """Times of one kind: how many, their median, what nine in ten take at most, and their sum;
    ``words`` are those that were said in them.
    """

    count: int
    median: float
    most: float
    total: float
    words: int

    def as_dict(self) -> dict[str, object]:
        """Return the facts for JSON."""
        facts: dict[str, object] = {
            "count": self.count,
            "median": round(self.median, 3),
            "nine_in_ten": round(self.most, 3),
        }
        if self.words:
            facts |= {"words": self.words, "per_word": round(self.total / self.words, 3)}
        return facts


@dataclass(frozen=True, slots=True)
class GroupTimes:
    """The times of one group, None for all: ``spoken`` are the stretches of recordings in which
    reports were heard as they stand, ``settled`` is from the first hearing of a report that was
    asked about to what was said later and stands; None where no times are known.
    """

    name: str | None
    spoken: Seconds | None
    settled: Seconds | None


@dataclass(frozen=True, slots=True)
class GroupQuestions:
    """The reports of one group, None for all: how many, how many of them were ``refused`` when they
    were first heard, and ``asked`` about; the ``questions``, and how many asked about stand now.
    """

    name: str | None
    reports: int
    refused: int
    asked: int
    questions: int
    settled: int

    @property
    def share(self) -> tuple[float, float, float]:
        """The share of reports asked about, with its interval at 95 %."""
        return self.asked / self.reports, *share(self.asked, self.reports)

    def as_dict(self) -> dict[str, object]:
        """Return the facts for JSON."""
        facts = {"reports": self.reports, "refused": self.refused, "asked": self.asked}
        more = {"questions": self.questions, "settled": self.settled}
        return {"name": self.name, **facts, **more, "share": [round(one, 6) for one in self.share]}


def times(season: Season, wanted: Wanted, by: By) -> list[GroupTimes]:
    """Return the seconds of each group, all of them together last; raises CodeError."""
    rows = reports(season, wanted).ask_apart(_TIMES.format(by=by, spoken=spoken(season)))
    found: dict[str | None, dict[str, list[tuple[int, int, int]]]] = {}
    for what, name, hundredths, count, words in rows:
        for of in (name, None):
            found.setdefault(of, {}).setdefault(what, []).append((hundredths, count, words))
    return [
        GroupTimes(name, _seconds(found[name].get("spoken")), _seconds(found[name].get("settled")))
        for name in _in_order(found)
    ]


def _seconds(times: list[tuple[int, int, int]] | None) -> Seconds | None:
    """Return what times (hundredths of a second, how often, the words in them) come to."""
    if times is None:
        return None
    times.sort()
    ends = list(itertools.accumulate(count for _, count, _ in times))
    total = sum(hundredths * count for hundredths, count, _ in times)
    return Seconds(
        ends[-1],
        _quantile(times, ends, 0.5) / 100,
        _quantile(times, ends, 0.9) / 100,
        total / 100,
        sum(words for *_, words in times),
    )


def _quantile(times: list[tuple[int, int, int]], ends: list[int], share: float) -> float:
    """Return the time that a share of all is below, between two where it falls there."""
    place = share * (ends[-1] - 1)
    low, high = (
        times[bisect.bisect_right(ends, number)][0] for number in (int(place), math.ceil(place))
    )
    return low + (high - low) * (place - int(place))


def questions(season: Season, wanted: Wanted, by: By) -> list[GroupQuestions]:
    """Return what was asked of each group, all of them together last; raises CodeError."""
    found: dict[str | None, list[int]] = {}
    for name, *counts in reports(season, wanted).ask_apart(_ASKED.format(by=by)):
        for of in (name, None):
            known = found.setdefault(of, [0] * len(counts))
            known[:] = map(sum, zip(known, counts, strict=True))
    return [GroupQuestions(name, *found[name]) for name in _in_order(found)]


def wordings(season: Season, wanted: Wanted) -> list[tuple[str, int]]:
    """Return the questions asked most, each with how often; raises CodeError."""
    found: Counter[str] = Counter()
    for text, count in reports(season, wanted).ask(_WORDINGS):
        found[text.upper()] += count
    return sorted(found.items(), key=lambda one: (-one[1], one[0]))[:_MOST]


def _in_order(found: Iterable[str | None]) -> list[str | None]:
    return sorted(found, key=lambda name: (name is None, name or ""))
