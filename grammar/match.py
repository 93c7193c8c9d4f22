"""A reading of one string: the way through a message's layout, and what each part of it means."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from grammar.codes import Check, CodeTable, Entry
from grammar.fields import Value

if TYPE_CHECKING:
    from grammar.message import Message


class Implied(NamedTuple):
    """A field left unsaid because it has its usual value."""

    name: str
    level: int
    value: Value
    warnings: tuple[str, ...]


class PlannedCheck(NamedTuple):
    """A check to verify: its place among the parts said, its table, and the places it covers."""

    place: int
    table: Check
    covers: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """What one way through a layout says: which leaves, which fields they give, which are implied,
    which checks must hold.

    ``entries`` looks codewords up, one for each table; ``order`` is the order of the fields in the
    message where it is not that of the names said and then implied.
    """

    leaves: tuple[int, ...]
    tables: tuple[CodeTable, ...]
    entries: tuple[Callable[[str], Entry | None], ...]
    names: tuple[str, ...]
    implied: tuple[Implied, ...]
    checks: tuple[PlannedCheck, ...]
    order: tuple[str, ...] | None
    implied_values: Mapping[str, Value]


class Match(NamedTuple):
    """One reading of a string: the message, the way through it, and for each part its symbols and
    what they mean.
    """

    message: Message
    plan: Plan
    texts: tuple[str, ...]
    entries: tuple[Entry, ...]

    def levels(self) -> dict[str, int]:
        """Return the level of every field, said or implied."""
        said = [level for entry in self.entries for level in entry.levels]
        found = dict(zip(self.plan.names, said, strict=True))
        found.update((implied.name, implied.level) for implied in self.plan.implied)
        return found if self.plan.order is None else {name: found[name] for name in self.plan.order}

    def values(self) -> dict[str, Value]:
        """Return the value of every field, said or implied; what a wrapped field's value leaves
        open stays open.
        """
        plan = self.plan
        found: dict[str, Value] = {}
        for entry in self.entries:
            found.update(entry.named)
        found.update(plan.implied_values)
        return found if plan.order is None else {name: found[name] for name in plan.order}

    @property
    def string(self) -> str:
        """The symbols, as said."""
        return "".join(self.texts)

    def text(self) -> str:
        """Return the reading in words: the message, and each field with its value and unit."""
        said = ", ".join(
            f"{self.message.fields[name].title} {self.message.fields[name].text(level)}"
            for name, level in self.levels().items()
        )
        return f"{self.message.title}: {said}" if said else self.message.title
