"""What the race is followed by: reports, calls, read-backs and events of one car, in order.

The sheet's rows are turned into these.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from types import MappingProxyType
from typing import Literal

from codec.sheet.entry import DOUBTFUL, Entry
from codec.sheet.state import Row, of_car
from grammar.fields import Value

FactKind = Literal["report", "call", "readback", "event"]
_NOTHING: Mapping[str, Value] = MappingProxyType({})


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """One thing known of the race.

    ``lap`` is the lap it stands against: of a report the lap it tells of, else the lap being
    driven. ``at`` is in milliseconds. ``message`` is the message of the book, or the event's name;
    ``certainty`` (0 … 1) tells how sure its words are, None if nobody knows.
    """

    kind: FactKind
    message: str
    lap: int | None = None
    at: int | None = None
    values: Mapping[str, Value] = field(default_factory=lambda: _NOTHING)
    amount: Decimal | None = None
    certainty: float | None = None
    seq: int = 0


def facts(standing: Iterable[Row], car: str) -> list[Fact]:
    """Return what the sheet says of one car, as it stands, in order; events that name no car count
    for all.

    A report that was refused as doubtful counts by its certainty, where that is known; any other
    refused entry tells nothing.
    """
    found: list[Fact] = []
    for row in of_car(standing, car):
        if not row.withdrawn:
            entries = [row.entry, *row.readbacks]
            found += [fact for entry in entries if (fact := _fact(entry))]
    return sorted(found, key=lambda fact: fact.seq)


def _fact(entry: Entry) -> Fact | None:
    doubtful = bool(entry.string) and entry.refusal == DOUBTFUL and entry.certainty is not None
    if entry.kind not in ("report", "call", "readback", "event") or not (
        entry.kind == "event" or entry.accepted or doubtful
    ):
        return None
    return Fact(
        kind=entry.kind,
        message=entry.message,
        lap=entry.lap,
        at=entry.at,
        values=entry.values,
        amount=entry.amount,
        certainty=entry.certainty,
        seq=entry.seq,
    )
