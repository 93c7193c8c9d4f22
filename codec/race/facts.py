"""What the race is followed by: the entries of one car that tell something, as they stand."""

from __future__ import annotations

from collections.abc import Iterable

from codec.sheet.entry import DOUBTFUL, Entry
from codec.sheet.state import Row, of_car


def facts(standing: Iterable[Row], car: str) -> list[Entry]:
    """Return what the sheet says of one car, as it stands, in order: reports, calls, read-backs and
    events; events that name no car count for all.

    A report that was refused as doubtful counts by its certainty, where that is known; any other
    refused entry tells nothing.
    """
    found: list[Entry] = []
    for row in of_car(standing, car):
        if not row.withdrawn:
            found += filter(_tells, [row.entry, *row.readbacks])
    return sorted(found, key=lambda entry: entry.seq)


def _tells(entry: Entry) -> bool:
    doubtful = bool(entry.string) and entry.refusal == DOUBTFUL and entry.certainty is not None
    return entry.kind == "event" or (
        entry.kind in ("report", "call", "readback") and (entry.accepted or doubtful)
    )
