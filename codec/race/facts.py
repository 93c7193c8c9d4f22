"""What the race is followed by: the entries of one car that tell something, as they stand, and the
facts of the race, whoever's channel they came on.
"""

from __future__ import annotations

from codec.sheet.entry import DOUBTFUL, Entry
from codec.sheet.state import Standing, once


def facts(standing: Standing, car: str) -> list[Entry]:
    """Return what the sheet says of one car, as it stands, in the order in which it was said:
    reports, calls, read-backs and events, each with the moment at which it was said.

    Facts of the race count for every car, and so do events that name none. A report that was
    refused as doubtful counts by its certainty, where that is known; any other refused entry tells
    nothing.
    """
    told: list[Entry] = []
    for row in standing.of(car, "report", "call", "event"):
        if not row.withdrawn:
            told += filter(_tells, [row.entry, *row.readbacks])
    return once(standing.in_order(told))


def _tells(entry: Entry) -> bool:
    doubtful = bool(entry.string) and entry.refusal == DOUBTFUL and entry.certainty is not None
    return entry.kind == "event" or (
        entry.kind in ("report", "call", "readback") and (entry.accepted or doubtful)
    )
