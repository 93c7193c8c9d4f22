"""Loading an event file against the book it is used with: every problem at once, each with its
line.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from codec.race.binding import Binding, EnergyField, Event, TemperatureField
from codec.race.event import EventSpec, schema
from grammar.book import Book
from grammar.document import document, read
from grammar.errors import BookError
from grammar.loading import Collector
from grammar.pydantic_faults import told

__all__ = ["EnergyField", "Event", "EventError", "TemperatureField", "load_event", "parse_event"]


_SECTIONS = ("reports", "temperatures", "dials")


class EventError(BookError):
    """The author of an event file must act; ``problems`` holds every problem found, in file
    order.
    """


def load_event(path: str | Path, book: Book) -> Event:
    """Return the event in a TOML file, bound to ``book``; raises EventError with every problem,
    also where the file can't be read.
    """
    with _as_event_error():
        text = read(Path(path), "an event file")
    return parse_event(text, book, str(path))


def parse_event(text: str, book: Book, name: str = "event") -> Event:
    """Return the event in a TOML text, bound to ``book``; raises EventError."""
    with _as_event_error():
        raw = document(text, name)
    problems = Collector(text, name)
    spec = _validated(raw, problems)
    event = None if spec is None else Binding(spec, book, problems).event(Path(name).stem)
    if event is None or problems.found:
        raise EventError(problems.error().problems, name=name)
    return event


def _validated(raw: dict[str, Any], problems: Collector) -> EventSpec | None:
    """Return the model of the event; where entries of its sections are wrong, of the event without
    them: the rest is checked too.
    """
    try:
        return EventSpec.model_validate(raw)
    except ValidationError as error:
        faults = error.errors(include_url=False)
    for fault in faults:
        problems.add(*told(fault, raw, _keys), kind="event")
    if any(len(fault["loc"]) < 2 or fault["loc"][0] not in _SECTIONS for fault in faults):
        return None
    for section, name in {(str(fault["loc"][0]), fault["loc"][1]) for fault in faults}:
        raw = {**raw, section: {key: entry for key, entry in raw[section].items() if key != name}}
    try:
        return EventSpec.model_validate(raw)
    except ValidationError:
        return None


class _as_event_error:  # noqa: N801 - it reads as a word
    """Turn a book's error into an event's: the file is read by the same functions."""

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: object, error: BaseException | None, trace: object) -> None:
        if isinstance(error, BookError):
            raise EventError(error.problems, name=error.name) from None


def _keys(location: Sequence[str | int]) -> list[str]:
    """Return the keys allowed where an unknown one was found."""
    told_by = schema()
    node, definitions = told_by, told_by["$defs"]
    for part in location[:-1]:
        inner = node.get("properties", {}).get(part) or node.get("additionalProperties") or {}
        choices = [inner, *inner.get("anyOf", ()), *inner.get("allOf", ())]
        reference = next(
            (choice["$ref"] for choice in choices if isinstance(choice, dict) and "$ref" in choice),
            "",
        )
        node = definitions.get(reference.rpartition("/")[2], inner)
    return list(node.get("properties", ()))
