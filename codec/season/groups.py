"""Seconds and questions over a season, of each driver, engineer, book or event, and of all."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, get_args

from codec.drill.timing import share
from codec.season.events import Wanted
from codec.season.queries import HEARD, reports
from codec.season.source import Season
from codec.sheet.order import SINCE_1970

By = Literal["driver", "engineer", "book", "event"]
BY: tuple[By, ...] = get_args(By)
LONGEST = 600_000  # milliseconds from a first hearing to what stands: longer is another matter
_STRETCH = "^.*#t=[0-9.]+,[0-9.]+$"  # as codec.sheet.stretch writes it
_SPOKEN = f"""
, {HEARD}, spoken AS (
    SELECT {{by}} AS name, length(read_as) AS words,
        CAST(regexp_replace(stretch, '^.*,', '') AS double precision)
        - CAST(regexp_replace(stretch, '^.*#t=([0-9.]+),.*$', '\\1') AS double precision) AS seconds
    FROM hearing WHERE counts AND read_as <> '' AND read_as = string AND stretch ~ '{_STRETCH}'
), settled AS (
    SELECT {{by}} AS name, ("at" - first_at) / 1000.0 AS seconds
    FROM report WHERE kind = 'report' AND questions > 0 AND counts
    AND "at" - first_at BETWEEN 1 AND {LONGEST}
    AND ("at" < {SINCE_1970}) = (first_at < {SINCE_1970})
)
SELECT 'spoken', grouping(name), name, count(*),
    percentile_cont(0.5) WITHIN GROUP (ORDER BY seconds),
    percentile_cont(0.9) WITHIN GROUP (ORDER BY seconds),
    CAST(sum(seconds) AS double precision), CAST(sum(words) AS bigint)
FROM spoken WHERE seconds > 0 GROUP BY GROUPING SETS ((name), ())
UNION ALL
SELECT 'settled', grouping(name), name, count(*),
    percentile_cont(0.5) WITHIN GROUP (ORDER BY seconds),
    percentile_cont(0.9) WITHIN GROUP (ORDER BY seconds),
    CAST(sum(seconds) AS double precision), CAST(0 AS bigint)
FROM settled GROUP BY GROUPING SETS ((name), ())
"""  # noqa: S608 - texts that the program declares
_ASKED = """
SELECT grouping({by}), {by}, count(*), count(*) FILTER (WHERE first_refusal <> ''),
    count(*) FILTER (WHERE questions > 0), CAST(sum(questions) AS bigint),
    count(*) FILTER (WHERE questions > 0 AND counts)
FROM report WHERE kind = 'report' AND NOT withdrawn GROUP BY GROUPING SETS (({by}), ())
"""
_WORDINGS = """
SELECT part.heard, count(*) FROM part
JOIN report ON report.journal = part.journal AND report.seq = part.root
WHERE part.kind = 'question' AND NOT part.taken_back AND part.heard <> ''
AND report.kind = 'report' AND NOT report.withdrawn
GROUP BY part.heard ORDER BY 2 DESC, 1 LIMIT 200
"""
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
    found: dict[str | None, dict[str, Seconds]] = {}
    for what, every, name, count, median, most, total, words in reports(season, wanted).ask(
        _SPOKEN.format(by=by)
    ):
        if count:
            seconds = Seconds(count, float(median), float(most), float(total), words)
            found.setdefault(None if every else name, {})[what] = seconds
    return [
        GroupTimes(name, found[name].get("spoken"), found[name].get("settled"))
        for name in _in_order(found)
    ]


def questions(season: Season, wanted: Wanted, by: By) -> list[GroupQuestions]:
    """Return what was asked of each group, all of them together last; raises CodeError."""
    rows = reports(season, wanted).ask(_ASKED.format(by=by))
    found = {
        None if every else name: GroupQuestions(None if every else name, *counts)
        for every, name, *counts in rows
        if counts[0]
    }
    return [found[name] for name in _in_order(found)]


def wordings(season: Season, wanted: Wanted) -> list[tuple[str, int]]:
    """Return the questions asked most, each with how often; raises CodeError."""
    found: Counter[str] = Counter()
    for text, count in reports(season, wanted).ask(_WORDINGS):
        found[text.upper()] += count
    return sorted(found.items(), key=lambda one: (-one[1], one[0]))[:_MOST]


def _in_order(found: Iterable[str | None]) -> list[str | None]:
    return sorted(found, key=lambda name: (name is None, name or ""))
