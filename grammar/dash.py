"""The dash: what the driver reads reports from, as a book and as needs declare it; and what a book
that has one must keep: every report can be shown on it, no two are drawn alike, and each glance has
room.
"""

from __future__ import annotations

import math
import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Annotated

from grammar.codes import CodeTable
from grammar.declared import Checked, Declared, takes
from grammar.display import Display, patterns
from grammar.errors import CodeError, Keys, Problem
from grammar.fields import FieldBase
from grammar.hearing import Name, after

if TYPE_CHECKING:
    from grammar.message import Message

USUAL_COLOUR = "#ffb000"  # amber: common practice, no source


def _hexadecimal(colour: str) -> str:
    if not re.fullmatch(r"#[0-9a-fA-F]{6}", colour):
        hint = 'as "#ffb000": red, green and blue, two hexadecimal digits each'
        raise Problem((), f"{colour!r} is no colour", hint)
    return colour.lower()


Colour = Annotated[str, Checked(lambda: after(str, _hexadecimal))]


class DashSpec(Declared):
    """``[dash]``: what the driver reads reports from."""

    display: Display = takes(
        default="any",
        description="How it draws characters; any: as text, of whose shapes nothing is known.",
    )
    characters: str = takes(
        default="",
        max_length=90,
        description="The characters it has; the default is all that such a display can draw.",
    )
    places: int | None = takes(
        default=None, ge=1, le=200, description="How many characters it shows at a glance."
    )
    ground: Colour = takes(default="#000000", description="The colour behind the characters.")
    colours: dict[Name, Colour] = takes(
        default_factory=dict,
        max_length=20,
        description=(
            'The colours that it may use, by name, as "#rrggbb"; what has none of its own is shown'
            " in the first. The default is one, amber."
        ),
    )
    lit: dict[Name, Name] = takes(
        default_factory=dict,
        max_length=1000,
        description=(
            "Which colour a field is shown in: field = colour. Fields of unlike colours are never"
            " joined in a codeword."
        ),
    )
    look_alikes: dict[str, dict[str, float]] = takes(
        default_factory=dict,
        description=(
            "How often a character is read as another: shown = { read = probability }. The default"
            " is computed from what the display lights, and said to be so."
        ),
    )
    source: str = takes(
        default="",
        max_length=500,
        description="Where `look_alikes` come from; needed with them.",
    )

    @property
    def usual(self) -> str:
        """The colour of what has none of its own."""
        return next(iter(self.colours.values()), USUAL_COLOUR)

    def on(self, display: Display) -> DashSpec:
        """Return a dash like this one that has another display, and whatever characters it has."""
        told = {**self.given_keys(), "display": display}
        for key in ("characters", "look_alikes", "source"):
            told.pop(key, None)
        return DashSpec(**told)

    def names(self, fields: Iterable[FieldBase]) -> dict[str, str]:
        """Return the names of the colours of those fields that have one of their own."""
        return {
            one.name: self.lit[one.declared_as] for one in fields if one.declared_as in self.lit
        }

    def colour(self, fields: Iterable[FieldBase]) -> str:
        """Return the colour of a codeword that says these fields."""
        named = next(iter(self.names(fields).values()), None)
        return self.usual if named is None else self.colours[named]

    def problems(self) -> Iterator[Problem]:
        """Yield look-alikes that are none, and colours that are not there."""
        if self.look_alikes and not self.source:
            hint = "say where they come from in `source`"
            yield Problem(("look_alikes",), "they need a source", hint)
        for one, row in self.look_alikes.items():
            for keys in ((one,), *((one, other) for other in row)):
                if len(keys[-1]) != 1:
                    message = f"{keys[-1]!r} is no symbol"
                    yield Problem(("look_alikes", *keys), message, "one character")
            if any(share < 0 for share in row.values()) or math.fsum(row.values()) > 1:
                hint = "each from 0, and 1 at most together"
                yield Problem(("look_alikes", one), "these are no probabilities", hint)
        for name, colour in self.lit.items():
            if colour not in self.colours:
                hint = f"there are: {', '.join(self.colours) or 'none'}; give them in `colours`"
                yield Problem(("lit", name), f"there is no colour {colour!r}", hint)


def dash_problems(
    dash: DashSpec, messages: Sequence[Message], tables: Mapping[str, CodeTable]
) -> Iterator[Problem]:
    """Yield what the ``messages`` that a dash shows do not keep: fields that it colours and that
    are not there, codewords of two colours, characters that it can't show, reports drawn alike, and
    glances that have too many characters.
    """
    yield from _of_colours(dash, tables)
    alphabet = messages[0].alphabet if messages else None
    if alphabet is None:
        return
    said = {table.name: alphabet.unmask(table.symbols) for one in messages for table in one.tables}
    known = patterns(dash.display)
    missing = False
    for symbol in alphabet.symbols:
        why, key = _why_not(symbol, dash, known)
        by = [name for name, symbols in said.items() if symbol in symbols]
        if why and by:
            missing = True
            hint = f"retire {symbol}, say other codewords, or change the dash"
            yield Problem(("dash", key), f"{why} {symbol}, which is said in {_all(by)}", hint)
    if known is not None and not missing:
        yield from _alike(dash, messages, known)
    for one in messages if dash.places is not None else ():
        most = most_at_a_glance(one)
        if most > (dash.places or 0):
            hint = f"places = {most}, shorter codewords, or a second `glance` in the message"
            message = f"message {one.name} has up to {most} characters at a glance"
            yield Problem(("dash", "places"), message, hint)


def _why_not(
    symbol: str, dash: DashSpec, known: Mapping[str, frozenset[str]] | None
) -> tuple[str, str]:
    """Return why a dash can't show a symbol, "" where it can, and the key that says so."""
    if dash.characters and symbol not in dash.characters:
        return "the dash does not have", "characters"
    if known is not None and symbol not in known:
        return f"{dash.display} have no usual pattern for", "display"
    return "", ""


def _of_colours(dash: DashSpec, tables: Mapping[str, CodeTable]) -> Iterator[Problem]:
    several = {
        table.name: {field.declared_as for field in table.fields} for table in tables.values()
    }
    every = set().union(*several.values())
    for name in dash.lit:
        if name not in every:
            hint = f"said are: {', '.join(sorted(every))}"
            rests: list[Keys] = [("fields", name), ("tables",)]
            yield Problem(("dash", "lit", name), f"{name!r} is not said", hint, rests_on=rests)
    for table, fields in several.items():
        colours = {dash.lit.get(name, "") for name in fields}
        if len(colours) > 1:
            name = next(name for name in dash.lit if name in fields)
            message = f"table {table} says {_all(sorted(fields))}, which are not of one colour"
            hint = "a codeword has one colour: give them the same, or tables of their own"
            yield Problem(("dash", "lit", name), message, hint)


def _alike(
    dash: DashSpec, messages: Sequence[Message], known: Mapping[str, frozenset[str]]
) -> Iterator[Problem]:
    """Yield that two reports are drawn alike, where some symbols in use are."""
    from grammar.proof import drawn_alike

    groups: dict[frozenset[str], str] = defaultdict(str)
    for symbol in messages[0].alphabet.symbols:
        groups[known.get(symbol, frozenset(symbol))] += symbol
    same = {symbol: group for group in groups.values() for symbol in group if len(group) > 1}
    if not same:
        return
    try:
        found = drawn_alike(messages, same)
    except CodeError as error:
        yield Problem(("dash", "display"), error.message, error.hint, error.kind)
        return
    if found is not None:
        one, other = found
        pairs = {tuple(sorted((a, b))) for a, b in zip(one, other, strict=True) if a != b}
        told = ", ".join(" and ".join(pair) for pair in sorted(pairs))
        message = f"{dash.display} draw {told} alike: nobody can tell {one!r} from {other!r}"
        hint = "retire one of them, or give the values other codewords"
        yield Problem(("dash", "display"), message, hint, "ambiguous")


def _all(names: Sequence[str]) -> str:
    return " and ".join(filter(None, (", ".join(names[:-1]), names[-1])))


def most_at_a_glance(message: Message) -> int:
    """Return the most symbols that any string of a message shows at one glance."""
    from grammar.automaton import build, edges

    automaton = build([message])
    first, second = {automaton.starts[0]: 0}, dict[int, int]()
    for edge in edges(automaton):
        leaf, before = (automaton.owner[state][1] for state in (edge.target, edge.source))
        begins = message.tables[leaf].name == message.glance and leaf != before
        if begins or edge.source in second:
            reached = 1 if begins and edge.source not in second else second[edge.source] + 1
            second[edge.target] = max(second.get(edge.target, 0), reached)
        if not begins and edge.source in first:
            first[edge.target] = max(first.get(edge.target, 0), first[edge.source] + 1)
    return max([*first.values(), *second.values()])
