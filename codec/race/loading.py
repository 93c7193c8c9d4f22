"""Loading an event file against the book it is used with: every problem at once, each at its
place.
"""

from __future__ import annotations

from pathlib import Path

from codec.race.binding import Binding, EnergyField, Event, TemperatureField
from codec.race.event import EventSpec
from grammar.book import Book
from grammar.errors import DocumentError
from grammar.inspection import DocumentFormat

__all__ = ["EnergyField", "Event", "EventError", "TemperatureField", "load_event", "parse_event"]


class EventError(DocumentError):
    """The author of an event file must act; ``problems`` holds every problem found, in file
    order.
    """

    kind_of_file = "event"


# where a section that is needed is wrong, the names in the others are looked up all the same
_STAND_INS = {
    "distance": {"laps": 1},
    "energy": {"usable": 1, "spread": 1, "drift": 0, "first": 1},
}
EVENT = DocumentFormat("an event file", EventSpec, EventError, "event", _STAND_INS)


def load_event(path: str | Path, book: Book) -> Event:
    """Return the event in a TOML file, bound to ``book``; raises EventError with every problem,
    also where the file can't be read.
    """
    return parse_event(EVENT.read(path), book, str(path))


def parse_event(text: str, book: Book, name: str = "event") -> Event:
    """Return the event in a TOML text, bound to ``book``; raises EventError."""
    inspection = EVENT.inspect(text, name)
    event = Binding(inspection.model(), book, inspection, Path(name).parent).event(Path(name).stem)
    inspection.settle()
    return event
