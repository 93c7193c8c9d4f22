"""A season as partitioned Parquet: a folder for each event, whose name says which it is, as Hive's
partitions are named; every entry as it was written, with what is known of it since.
"""

from __future__ import annotations

import dataclasses
import tempfile
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote

from codec.files import written
from codec.season.events import SeasonError, SeasonEvent, Wanted
from codec.season.groups import spoken
from codec.season.parquet import COLUMNS, copy_out, facts_in, literal
from codec.season.queries import ENGINEER, HEARD, reports
from codec.season.source import FilesSeason, Season, Told, duckdb_connection

PART = "part.parquet"
_PLAIN = " !$&'()+,-.;@[]^_`{}~"  # signs of a name that stand as they are in that of a folder
# columns beside those of a sheet (codec.sheet.entry), and what they mean
DERIVED = {
    "date": "the event's day, UTC",
    "book": "the name of its book",
    "digest": "and its digest",
    "driver": "who drives the car, by the car's last entry; the car where nobody was named",
    "engineer": "who wrote the entry, without the number of the program's start",
    "report": "the seq of the report or call that the entry is of, or a part of",
    "withdrawn": "whether it was taken back",
    "corrected": "of a report or call: whether it was put right",
    "counts": "of a report or call: whether its values count, as it stands",
    "stands": "of a report or call: its symbols as it stands",
    "questions": "of a report or call: how often it was asked about",
    "spoken": "of a report: seconds of the recording it was heard in, where it stands as heard",
}
_EXPORTED = f"""
, {HEARD}, {{spoken}}
SELECT {{sheet}} AS sheet, {", ".join(f'entries."{name}"' for name in COLUMNS)},
    {{date}} AS date, {{book}} AS book, {{digest}} AS digest,
    CASE WHEN coalesce(driven.driver, '') <> '' THEN driven.driver
        WHEN entries.car <> '' THEN 'car ' || entries.car ELSE '' END AS driver,
    {ENGINEER.format(writer="entries.writer")} AS engineer,
    coalesce(stands.seq, of.root) AS report,
    taken_back.seq IS NOT NULL AS withdrawn,
    CASE WHEN stands.seq IS NOT NULL THEN stands.fixed IS NOT NULL END AS corrected,
    stands.counts AS counts, stands.string AS stands,
    CAST(stands.questions AS bigint) AS questions, spoken.seconds AS spoken
FROM niner.entries
LEFT JOIN driven ON driven.car = entries.car
LEFT JOIN stands ON stands.seq = entries.seq
LEFT JOIN (
    SELECT part.seq, part.root FROM part JOIN stands ON stands.seq = part.root
) AS of ON of.seq = entries.seq
LEFT JOIN taken_back ON taken_back.seq = entries.seq
LEFT JOIN (SELECT seq, max(seconds) AS seconds FROM spoken GROUP BY seq) AS spoken
    ON spoken.seq = entries.seq
ORDER BY entries.seq
"""  # noqa: S608 - texts that the program declares


def export(
    season: Season,
    wanted: Wanted,
    folder: Path,
    *,
    replace: bool = False,
    told: Told = lambda *_: None,
) -> Iterator[Path]:
    """Write each event that counts, whole or not at all, and yield its file.

    Raises SeasonError before anything is written where a file is there already and is not to be
    replaced, and CodeError where one can't be written.
    """
    events = wanted.events(season.events)
    if not events:
        raise SeasonError("no event of the season is asked for", kind="season-empty")
    targets = [folder / _folder_name(one.event) / PART for one in events]
    for event, target in zip(events, targets, strict=True):
        if target.exists() and not replace:
            raise SeasonError(
                f"{str(target)!r} is there already",
                kind="usage",
                hint="name another folder, or pass --replace",
            )
        if targets.count(target) > 1:
            raise SeasonError(f"two events are called {event.event!r}", kind="season-names")
    for number, (event, target) in enumerate(zip(events, targets, strict=True)):
        told(number, len(events))
        with written(target):
            target.parent.mkdir(parents=True, exist_ok=True)
            with tempfile.TemporaryDirectory(dir=target.parent, prefix=".") as within:
                made = Path(within) / "made.parquet"
                _export(season, event, Path(within), made)
                made.replace(target)
        yield target
    told(len(events), len(events))


def _folder_name(event: str) -> str:
    """Return the name of an event's partition: signs that a file system or a reader of partitions
    may take for others are written as in addresses (RFC 3986, 2.1).
    """
    plain = "".join(sign for sign in event if not sign.isascii()) + _PLAIN
    return "event=" + "".join(sign if sign in plain else quote(sign, safe="") for sign in event)


def _export(season: Season, event: SeasonEvent, within: Path, made: Path) -> None:
    duck = duckdb_connection()
    try:
        raw = season.part(event, within)
        facts = facts_in(duck, [raw])[str(raw)] | {"event": event.event}
        alone = FilesSeason(duck, [dataclasses.replace(event, number=1)], {event.sheet: raw})
        begin, values = reports(alone, Wanted()).begin()
        rest = _EXPORTED.format(
            date=literal(event.date),
            book=literal(event.book),
            digest=literal(event.digest),
            sheet=literal(event.sheet),
            spoken=spoken(alone),
        )
        copy_out(duck, begin + rest, made, facts, values)
    finally:
        duck.close()
