"""A reading: the values of one report, with units, the places they came from, and warnings."""

from __future__ import annotations

import functools
import re
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from grammar.errors import Span
from grammar.fields import FieldBase, Value, plain_value
from grammar.message import Direction, Found, Match

if TYPE_CHECKING:
    from grammar.book import Book


class Part(NamedTuple):
    """One code table's stretch of a report: its symbols, the fields they give, and their place in
    the text.
    """

    table: str
    string: str
    fields: tuple[str, ...]
    span: Span


class Mark(NamedTuple):
    """What a stretch of the text was taken for: ``symbol``, ``filler``, ``procedure``, ``event``,
    or ``dropped`` (corrected, repeated).
    """

    kind: str
    span: Span
    text: str


WORD = re.compile(r"\S+")


class Reading:
    """The decoded values of one report.

    ``message`` names the message, ``direction`` is "car" or "pit"; ``values`` maps field → value
    (exact decimals, bands, names, sets of flags); ``levels`` maps field → level; ``string`` is the
    canonical string, ``said`` the symbols as they were said; ``warnings`` tells limits passed;
    ``parts`` holds the span of every part; ``implied`` names the fields left unsaid because they
    are as usual. Two readings are equal when message and levels are.

    A field of a part said again has one value for each time, under the field's name with the number
    of the time: ``place_1``, ``place_2``. ``lists`` has them under its own name, ``place``.
    """

    _spans: Sequence[Span] | None = None
    _context: Mapping[str, Any] | None = None

    def __init__(
        self,
        book: Book,
        found: Match | Found,
        text: str = "",
        spans: Sequence[Span] | None = None,
        context: Mapping[str, Any] | None = None,
    ) -> None:
        """Keep what was found; everything else is worked out when it is asked for.

        Without spans the text is one plain word a symbol, or typed.
        """
        self._book = book
        self._found = found
        self.text = text
        if spans is not None:
            self._spans = spans
        if context:
            self._context = context

    @property
    def message(self) -> str:
        """The message's name."""
        return self.match.message.name

    @property
    def title(self) -> str:
        """What people call the message."""
        return self.match.message.title

    @property
    def direction(self) -> Direction:
        """ "car" for a report, "pit" for a call."""
        return self.match.message.direction

    @property
    def said(self) -> str:
        """The symbols as they were said."""
        return "".join(self.match.texts)

    @functools.cached_property
    def levels(self) -> dict[str, int]:
        """The level of every field, said or implied."""
        return self.match.levels()

    @property
    def values(self) -> dict[str, Value]:
        """The value of every field, said or implied, in the order of the layout."""
        return self._found[2] if self._context is None else self._restored

    @functools.cached_property
    def _restored(self) -> dict[str, Value]:
        values = dict(self._found[2])
        for name, near in (self._context or {}).items():
            if name in values:
                field = self.match.message.fields[name]
                values[name] = field.restored(self.levels[name], near)
        return values

    @property
    def lists(self) -> dict[str, list[Value | None]]:
        """The values of the fields of parts said again, one for each time; None where a field was
        not said that time.
        """
        message = self.match.message
        times = message.times(self.match.plan.leaves) if message.lists else {}
        return {
            name: [self.values.get(one) for one in message.lists[name][:count]]
            for name, count in times.items()
        }

    def __getitem__(self, name: str) -> Value | list[Value | None]:
        """Return a field's value, or the list of them; raises KeyError for a field the reading does
        not have.
        """
        if name in self.values:
            return self.values[name]
        return self.lists[name]

    @property
    def warnings(self) -> tuple[str, ...]:
        """Limits passed and flags to warn of, in words."""
        return (*self.match.warnings(), *self._restored_warnings())

    def _restored_warnings(self) -> list[str]:
        found: list[str] = []
        for name in self._context or ():
            if name in self.values:
                field = self.match.message.fields[name]
                found.extend(field.restored_warnings(self.values[name]))
        return found

    @property
    def implied(self) -> tuple[str, ...]:
        """The fields left unsaid because they have their usual value."""
        return tuple(implied.name for implied in self.match.plan.implied)

    def field(self, name: str) -> FieldBase:
        """Return a field of the message."""
        return self.match.message.fields[name]

    def unit(self, name: str) -> str:
        """Return the unit of a field, "" if it has none."""
        return self.match.message.fields[name].unit_text

    def shown(self, name: str) -> str:
        """Return a field's value as people read it, with its unit."""
        field, value = self.match.message.fields[name], self.values[name]
        if self._context and name in self._context:
            return field.restored_text(value)
        return field.text(self.levels[name])

    @functools.cached_property
    def string(self) -> str:
        """The canonical string: the cheapest that says the same."""
        cheapest = self.match.message.cheapest(self.levels, self._book.cost("seconds"), exact=True)
        return self.said if cheapest is None else cheapest

    @functools.cached_property
    def spans(self) -> tuple[Span, ...]:
        """The place in the text of each symbol said."""
        if self._spans is not None:
            return tuple(self._spans)
        words = [(found.start(), found.end()) for found in WORD.finditer(self.text)]
        if len(words) == 1 < len(self.said):
            start = words[0][0]
            return tuple((start + n, start + n + 1) for n in range(len(self.said)))
        return tuple(words)

    @property
    def parts(self) -> tuple[Part, ...]:
        """The stretch of each code table, in order."""
        parts, place = [], 0
        for table, text in zip(self.match.plan.tables, self.match.texts, strict=True):
            covered = self.spans[place : place + len(text)]
            place += len(text)
            span = (min(s[0] for s in covered), max(s[1] for s in covered)) if covered else (0, 0)
            parts.append(Part(table.name, text, tuple(field.name for field in table.fields), span))
        return tuple(parts)

    @functools.cached_property
    def match(self) -> Match:
        """The way through the layout that was read."""
        found = self._found
        return found if isinstance(found, Match) else found[0].match(found)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Reading) and (self.message, self.levels) == (
            other.message,
            other.levels,
        )

    def __hash__(self) -> int:
        return hash((self.message, tuple(self.levels.items())))

    def __repr__(self) -> str:
        return f"<Reading {self}>"

    def __str__(self) -> str:
        shown = ", ".join(f"{self.field(name).title} {self.shown(name)}" for name in self.values)
        return f"{self.title}: {shown}" if shown else self.title

    def as_dict(self) -> dict[str, Any]:
        """Return the reading for ``--json``: exact decimals as strings would lose their kind, so
        they are numbers written exactly.
        """
        return {
            "message": self.message,
            "direction": self.direction,
            "string": self.string,
            "said": self.said,
            "values": self._plain_values(),
            "units": self._units(),
            "implied": list(self.implied),
            "warnings": list(self.warnings),
            "parts": [
                {
                    "table": p.table,
                    "string": p.string,
                    "fields": list(p.fields),
                    "span": list(p.span),
                }
                for p in self.parts
            ],
        }

    def _plain_values(self) -> dict[str, Any]:
        """Return the values in JSON's own kinds, those of parts said again as lists."""
        found: dict[str, Any] = {}
        lists = self.lists
        heads = {times[0]: name for name, times in self.match.message.lists.items()}
        numbered = {one for times in self.match.message.lists.values() for one in times}
        for name in self.match.message.fields:
            if name in heads:
                listed = lists[heads[name]]
                found[heads[name]] = [None if one is None else plain_value(one) for one in listed]
            elif name in self.values and name not in numbered:
                found[name] = plain_value(self.values[name])
        return found

    def _units(self) -> dict[str, str]:
        lists = self.match.message.lists
        of_lists = {name: self.unit(times[0]) for name, times in lists.items()}
        units = of_lists | {name: self.unit(name) for name in self.values}
        return {name: units[name] for name in self._plain_values() if units[name]}
