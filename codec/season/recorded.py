"""Readings of a season held against what cars recorded: how sure each was said to be, and whether
its words were those said, as ``codec.debrief`` tells.

A report that the driver read wrong off the dash and that was heard as said is right here. Where the
driver's words are not known, one that differs from the dash is wrong, whoever erred.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

from codec.debrief.compare import compare
from codec.debrief.findings import Verdict
from codec.debrief.recorded import read_car_file
from codec.season.beside import beside
from codec.season.calibration import PUT_RIGHT, STANDS, Stated, ranges
from codec.season.events import Wanted
from codec.season.source import Season
from codec.sheet.entry import DOUBTFUL, Entry
from codec.sheet.state import BY_HAND
from codec.store.place import Place

_WRONG: frozenset[Verdict] = frozenset(("heard wrong", "wrong"))
_RIGHT: frozenset[Verdict] = frozenset(("as recorded", "rounding only", "read wrong"))


def against_record(
    season: Season, place: Place, wanted: Wanted, folder: Path
) -> tuple[list[Stated], list[str]]:
    """Return what was stated and how much of it was right by what cars recorded: of each event the
    files ``EVENT.CAR.csv`` of a folder; with the names of those used.

    Raises SeasonError where there is no such file, and CodeError for one that can't be read.
    """
    judged: list[tuple[Entry, bool]] = []
    used: list[str] = []
    for path, car, book, entries in beside(season, place, wanted, folder, ".csv"):
        found = compare(book, entries, read_car_file(path, book), car=car)
        judged += _judged(entries, ((one.seq, one.verdict) for one in found.findings))
        used.append(path.name)
    rows = (
        (one.certainty, not one.refusal, STANDS if right else PUT_RIGHT)
        for one, right in judged
        if one.certainty is not None
    )
    return ranges((*row, 1) for row in rows), used


def _judged(
    entries: list[Entry], findings: Iterable[tuple[int, Verdict]]
) -> Iterator[tuple[Entry, bool]]:
    """Yield the readings of which it is known whether they were right."""
    by_number = {entry.seq: entry for entry in entries}
    verdicts: dict[int, set[Verdict]] = {}
    for seq, verdict in findings:
        verdicts.setdefault(seq, set()).add(verdict)
    for seq, told in verdicts.items():
        entry = by_number.get(seq)
        if entry is None or not entry.string or entry.note == BY_HAND:
            continue
        if entry.refusal in ("", DOUBTFUL) and told & (_WRONG | _RIGHT):
            yield entry, not told & _WRONG
