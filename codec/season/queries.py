"""What stands of every report and call of a season, in SQL: the same as ``codec.sheet.state`` tells
of one sheet.

A report is followed from as it was first written to as it stands: its last correction that was not
taken back, by the order that all desks have (``codec.sheet.merged``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from codec.season.events import SeasonError, SeasonEvent, Wanted, known
from codec.season.source import Season
from codec.sheet.state import BY_HAND

_WORTH = 50_000  # entries for which another line to the server is worth it
# withdrawals of withdrawals: few, and what they come to can't be summed in SQL
_CHAINS = """
SELECT upper.journal, upper.seq, upper.about
FROM niner.entries AS upper JOIN niner.entries AS lower
ON lower.journal = upper.journal AND lower.seq = upper.about
WHERE upper.kind = 'withdrawal' AND lower.kind = 'withdrawal' AND upper.journal IN ({journals})
"""
# the number that a program puts behind its user is that of one start of it
ENGINEER = (
    "CASE WHEN rtrim({writer}, '0123456789') <> {writer}"
    " AND right(rtrim({writer}, '0123456789'), 1) = '.'"
    " THEN left(rtrim({writer}, '0123456789'), -1) ELSE {writer} END"
)  # a regular expression takes a server ten times as long
# every car with its driver as named last; one that nobody named a driver of is called by its number
_DRIVERS_OF = """
SELECT DISTINCT every.journal,
    CASE WHEN coalesce(named.message, '') <> '' THEN named.message ELSE 'car ' || every.car END
FROM (SELECT DISTINCT journal, car FROM niner.entries WHERE car <> '' AND journal IN ({journals}))
    AS every
LEFT JOIN (
    SELECT DISTINCT ON (journal, car) journal, car, message FROM niner.entries
    WHERE kind = 'car' AND journal IN ({journals})
    ORDER BY journal, car, coalesce(made, seq) DESC, coalesce(desk, '') DESC, uid DESC
) AS named ON named.journal = every.journal AND named.car = every.car
ORDER BY 1, 2
"""
_ENGINEERS = f"""
SELECT DISTINCT {ENGINEER.format(writer="writer")}
FROM niner.entries WHERE journal IN ({{journals}})
"""  # noqa: S608 - names that the program declares
# Whatever is about a report is little beside the reports, and looked up again and again. The
# reports are gone through once: of those that nothing is about stands what was first written, so
# that nothing is looked up for them; the few others are looked up. Tables count by car and writer,
# which costs little, and name driver and engineer of what they counted (``named``).
_REPORTS = """
WITH RECURSIVE event (journal, event, book, date, code) AS (VALUES {events}),
asked_driver (name) AS ({drivers}),
asked_engineer (name) AS ({engineers}),
minor AS MATERIALIZED (
    SELECT journal, seq, coalesce(made, seq) AS made, coalesce(desk, '') AS desk, uid, kind, about,
        car, "at", heard, message, string, "values" AS told, refusal, certainty, note, sound
    FROM niner.entries
    WHERE kind <> 'report' AND kind <> 'note' AND journal IN ({journals})
    AND kind IN ('car', 'correction', 'question', 'answer', 'readback', 'withdrawal')
),
driven AS MATERIALIZED (
    SELECT DISTINCT ON (journal, car) journal, car, message AS driver FROM minor
    WHERE kind = 'car' ORDER BY journal, car, made DESC, desk DESC, uid DESC
),
taken_back AS MATERIALIZED (
    SELECT DISTINCT journal, about AS seq FROM minor
    WHERE kind = 'withdrawal' AND about IS NOT NULL {void}
),
up (journal, seq, above) AS (
    SELECT journal, seq, about FROM minor
    WHERE kind IN ('correction', 'question', 'answer', 'readback') AND about IS NOT NULL
    UNION ALL
    SELECT up.journal, up.seq, minor.about FROM up JOIN minor
    ON minor.journal = up.journal AND minor.seq = up.above
    WHERE minor.kind IN ('correction', 'question', 'answer', 'readback')
    AND minor.about IS NOT NULL
),
part AS MATERIALIZED (
    SELECT minor.*, up.above AS root, taken_back.seq IS NOT NULL AS taken_back
    FROM up JOIN minor ON minor.journal = up.journal AND minor.seq = up.seq
    LEFT JOIN taken_back ON taken_back.journal = minor.journal AND taken_back.seq = minor.seq
),
fix AS (
    SELECT DISTINCT ON (journal, root) * FROM part
    WHERE kind = 'correction' AND NOT taken_back
    ORDER BY journal, root, made DESC, desk DESC, uid DESC
),
parts AS (
    SELECT journal, root, count(*) FILTER (WHERE kind = 'question' AND NOT taken_back) AS questions
    FROM part GROUP BY journal, root
),
since AS MATERIALIZED (
    SELECT coalesce(parts.journal, taken_back.journal) AS journal,
        coalesce(parts.root, taken_back.seq) AS root, fix.seq, fix.car, fix."at",
        fix.message, fix.string, fix.told, fix.refusal, parts.questions,
        taken_back.seq IS NOT NULL AS withdrawn
    FROM parts LEFT JOIN fix ON fix.journal = parts.journal AND fix.root = parts.root
    FULL JOIN taken_back ON taken_back.journal = parts.journal AND taken_back.seq = parts.root
),
touched AS MATERIALIZED (
    SELECT found.*, NOT withdrawn AND refusal = '' AND (string <> '' OR told <> '') AS counts
    FROM (
        SELECT first.journal, first.seq, first.kind, coalesce(since.car, first.car) AS car,
            first.writer, first."at" AS first_at, first.heard AS first_heard,
            first.string AS first_string, first.refusal AS first_refusal,
            first.certainty AS first_certainty, first."values" AS first_told,
            first.note AS first_note, first.sound AS first_sound,
            since.seq AS fixed, since.seq IS NULL AS as_first,
            coalesce(since."at", first."at") AS "at",
            coalesce(since.message, first.message) AS message,
            coalesce(since.string, first.string) AS string,
            coalesce(since.told, first."values") AS told,
            coalesce(since.refusal, first.refusal) AS refusal,
            coalesce(since.questions, 0) AS questions, since.withdrawn
        FROM since JOIN LATERAL (
            SELECT * FROM niner.entries
            WHERE entries.journal = since.journal AND entries.seq = since.root {apart}
        ) AS first ON true
        WHERE first.kind IN ('report', 'call')
    ) AS found
),
stands AS NOT MATERIALIZED (
    SELECT first.journal, first.seq, first.kind, first.car, first.writer,
        first."at" AS first_at, first.heard AS first_heard, first.string AS first_string,
        first.refusal AS first_refusal, first.certainty AS first_certainty,
        first."values" AS first_told, first.note AS first_note, first.sound AS first_sound,
        CAST(NULL AS bigint) AS fixed, true AS as_first,
        first."at", first.message, first.string, first."values" AS told, first.refusal,
        CAST(0 AS bigint) AS questions, false AS withdrawn,
        first.refusal = '' AND (first.string <> '' OR first."values" <> '') AS counts
    FROM niner.entries AS first
    WHERE first.journal IN ({journals}) AND first.kind IN ('report', 'call') AND NOT EXISTS (
        SELECT 1 FROM since WHERE since.journal = first.journal AND since.root = first.seq
    )
    UNION ALL SELECT * FROM touched
)
"""
_DRIVER = (
    "CASE WHEN coalesce(driven.driver, '') <> '' THEN driven.driver"
    " WHEN counted.car <> '' THEN 'car ' || counted.car ELSE '' END"
)


def named(counted: str) -> str:
    """Return a query for what was counted by journal, car and writer, of those whose reports count:
    with event, book, date, code, driver and engineer.
    """
    return f"""
    SELECT * FROM (
        SELECT counted.*, event.event, event.book, event.date, event.code, {_DRIVER} AS driver,
            {ENGINEER.format(writer="counted.writer")} AS engineer
        FROM {counted} AS counted JOIN event ON event.journal = counted.journal
        LEFT JOIN driven ON driven.journal = counted.journal AND driven.car = counted.car
    ) AS every
    WHERE (NOT EXISTS (SELECT 1 FROM asked_driver)
        OR driver IN (SELECT name FROM asked_driver))
    AND (NOT EXISTS (SELECT 1 FROM asked_engineer)
        OR engineer IN (SELECT name FROM asked_engineer))
    """  # noqa: S608 - names that the program declares


# every time a report was heard, with whether that is what stands; what somebody typed who looked at
# it is no hearing, and the same words twice are one
HEARD = f"""
put_right AS MATERIALIZED (
    SELECT * FROM touched WHERE kind = 'report' AND NOT as_first
),
hearing AS (
    SELECT stands.*, first_heard AS words, first_string AS read_as, first_note AS how,
        first_sound AS stretch, true AS last
    FROM stands WHERE kind = 'report' AND as_first
    UNION ALL
    SELECT put_right.*, one.heard, one.string, one.note, one.sound, one.seq = put_right.fixed
    FROM (
        SELECT journal, root, seq, heard, string, note, sound,
            row_number() OVER (PARTITION BY journal, root, heard ORDER BY made, desk, uid) AS time
        FROM (
            SELECT journal, root, seq, heard, string, note, sound, made, desk, uid FROM part
            WHERE kind = 'correction' AND NOT taken_back
            UNION ALL
            SELECT journal, seq, seq, first_heard, first_string, first_note, first_sound,
                0, '', '' FROM put_right
        ) AS every
    ) AS one
    JOIN put_right ON put_right.journal = one.journal AND put_right.seq = one.root
    WHERE one.time = 1 AND one.note <> '{BY_HAND}'
)
"""  # noqa: S608 - names that the program declares


@dataclass(frozen=True, slots=True)
class Query:
    """What asks of the reports and calls that count: those of ``events``, of these drivers and
    engineers as they are written in the season, all where none are named; ``digests`` are those of
    the books, each at the place that is its ``code``.
    """

    season: Season
    events: Sequence[SeasonEvent]
    drivers: tuple[str, ...]
    engineers: tuple[str, ...]
    digests: tuple[str, ...]

    @property
    def people(self) -> tuple[str, ...]:
        """The people whose reports count, where not all do."""
        return tuple(dict.fromkeys((*self.drivers, *self.engineers)))

    def of(self, events: Sequence[SeasonEvent]) -> Query:
        """Return the same of some of the events."""
        return replace(self, events=events)

    def ask(self, rest: str) -> list[Any]:
        """Return what the rest of the query finds, behind ``begin``."""
        begin, values = self.begin()
        return self.season.ask(f"{begin}{rest}", values)

    def ask_apart(self, rest: str) -> list[Any]:
        """Return what the rest of the query finds of the events in some groups: what it counts may
        come in as many rows.
        """
        worth = sum(one.entries for one in self.events) // _WORTH
        lines = max(1, min(self.season.lines, worth, len(self.events)))
        by_length = sorted(self.events, key=lambda one: -one.entries)
        begins = [self.of(by_length[line::lines]).begin() for line in range(lines)]
        return self.season.ask_at_once([(f"{begin}{rest}", values) for begin, values in begins])

    def begin(self) -> tuple[str, tuple[Any, ...]]:
        """Return the beginning of a query, which makes ``stands`` of what stands of every report
        and call, with its values.
        """
        journals = _numbers(self.events)
        rows = ", ".join(
            f"({one.number}, {', '.join(['CAST(? AS text)'] * 3)},"
            f" {self.digests.index(one.digest)})"
            for one in self.events
        )
        begin = _REPORTS.format(
            events=rows,
            journals=journals,
            drivers=_texts(self.drivers),
            engineers=_texts(self.engineers),
            void=_void(self.season, journals),
            apart=self.season.apart,
        )
        told = [text for one in self.events for text in (one.event, one.book, one.date)]
        return begin, (*told, *self.drivers, *self.engineers)


def reports(season: Season, wanted: Wanted) -> Query:
    """Return what asks of the reports and calls that count; raises SeasonError where nobody of a
    name, or no event, is there.
    """
    events = wanted.events(season.events)
    if not events:
        raise SeasonError(
            "no event of the season is asked for",
            kind="season-empty",
            expected=[f"{one.event}, {one.date}, {one.book}" for one in season.events[:5]],
        )
    drivers = known(_all_drivers(season, events, wanted), wanted.drivers, "driver")
    engineers = known(_all_engineers(season, events, wanted), wanted.engineers, "engineer")
    digests = tuple(dict.fromkeys(one.digest for one in events))
    return Query(season, events, drivers, engineers, digests)


def _texts(texts: Sequence[str]) -> str:
    """Return a table of so many texts, which may be none."""
    if not texts:
        return "SELECT CAST('' AS text) WHERE false"
    return f"VALUES {', '.join(['(CAST(? AS text))'] * len(texts))}"


def _numbers(events: Sequence[SeasonEvent]) -> str:
    return ", ".join(str(one.number) for one in events)


def _all_drivers(season: Season, events: Sequence[SeasonEvent], wanted: Wanted) -> list[str]:
    if not wanted.drivers:
        return []
    named = drivers_of(season, events).values()
    return sorted({name for listed in named for name in listed})


def _all_engineers(season: Season, events: Sequence[SeasonEvent], wanted: Wanted) -> list[str]:
    if not wanted.engineers:
        return []
    return [name for (name,) in season.ask(_ENGINEERS.format(journals=_numbers(events)))]


def _void(season: Season, journals: str) -> str:
    """Return what leaves out withdrawals that were taken back themselves."""
    children: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for journal, seq, about in season.ask(_CHAINS.format(journals=journals)):
        children.setdefault((journal, about), []).append((journal, seq))
    alive: dict[tuple[int, int], bool] = {}
    # whatever takes an entry back stands behind it
    every = {one for listed in children.values() for one in listed} | children.keys()
    for one in sorted(every, reverse=True):
        alive[one] = not any(alive[child] for child in children.get(one, ()))
    dead = ", ".join(f"({journal}, {seq})" for (journal, seq), is_so in alive.items() if not is_so)
    return f"AND (journal, seq) NOT IN ({dead})" if dead else ""


def drivers_of(season: Season, events: Sequence[SeasonEvent]) -> dict[int, list[str]]:
    """Return the drivers of each event, by its number."""
    found: dict[int, list[str]] = {one.number: [] for one in events}
    ask = _DRIVERS_OF.format(journals=_numbers(events))
    for journal, driver in season.ask(ask) if events else []:
        found[journal].append(driver)
    return found


def listed_events(season: Season, wanted: Wanted) -> list[tuple[SeasonEvent, list[str]]]:
    """Return the events that count, each with its drivers; raises SeasonError."""
    events = wanted.events(season.events)
    drivers = drivers_of(season, events)
    names = sorted({name for listed in drivers.values() for name in listed})
    asked = set(known(names, wanted.drivers, "driver"))
    return [
        (one, drivers[one.number])
        for one in events
        if not asked or asked & set(drivers[one.number])
    ]
