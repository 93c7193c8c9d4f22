"""Binding a book's parts to each other: tables to fields, layouts to tables; what does not fit is a
problem with its keys.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence, Set
from typing import Any

from grammar.codes import CodeTable, Literal
from grammar.codes.base import MOST_WIDTH, in_use
from grammar.errors import CodeError, Keys, Problem, caret_lines
from grammar.fields import with_members
from grammar.inspection import Inspection
from grammar.layout import Leaf, Node, leaves, parse_layout
from grammar.message import Message
from grammar.models import BookSpec
from grammar.problems import nearest
from grammar.symbols import Alphabet

MOST_CHECKS = 8
_MOST_TOLD = 20  # problems of one layout


def bind_tables(
    spec: BookSpec, alphabet: Alphabet, inspection: Inspection[Any]
) -> dict[str, CodeTable]:
    """Return the tables that can be built; of the others the problems are noted."""
    tables: dict[str, CodeTable] = {}
    fields = with_members(spec.fields)
    for name, table in spec.tables.items():
        try:
            tables[name] = table.build(name, fields, alphabet)
        except* Problem as found:
            for problem in found.exceptions:
                if isinstance(problem, Problem):
                    inspection.note(problem.below("tables", name))
            inspection.leave_out(("tables", name))
    return tables


def bind_messages(
    spec: BookSpec,
    alphabet: Alphabet,
    tables: Mapping[str, CodeTable],
    inspection: Inspection[Any],
) -> dict[str, Message]:
    """Return the messages that can be built; of the others the problems are noted."""
    messages: dict[str, Message] = {}
    families = {name: table.family for name, table in tables.items() if table.family}
    names = with_members(spec.fields).keys()
    written = inspection.raw.get("tables")  # also those that can't be built
    named = list(written) if isinstance(written, Mapping) else list(tables)
    for name, one in spec.messages.items():
        keys = ("messages", name, "layout")
        try:
            node = parse_layout(one.layout, families)
            problems, bound = _bound_leaves(one.layout, node, tables, alphabet, named)
            if not problems:
                message = Message(
                    name, one.direction, node, bound, alphabet, one.label, one.pauses, one.glance
                )
                # what is wrong with a part said again is wrong each time
                checks = _Checks(one.layout, message, names)
                found = {problem.message: problem for problem in checks.problems()}
                problems = list(found.values())[:_MOST_TOLD]
            if not problems:
                messages[name] = message
                inspection.note(*_unsaid(one.unsaid, message))
        except CodeError as error:
            problems = [_of_syntax(error)]
        inspection.note(*(problem.at(keys) for problem in problems))
    return messages


def _unsaid(declared: Sequence[str], message: Message) -> Iterator[Problem]:
    """Yield the fields declared to be said in part that the message does not have."""
    known = {*message.fields, *(field.declared_as for field in message.fields.values())}
    for number, name in enumerate(declared):
        if name not in known:
            yield Problem(
                ("messages", message.name, "unsaid", number),
                f"message {message.name} has no field {name!r}",
                nearest(name, message.fields, "name fields of the message"),
            )


def _of_syntax(error: CodeError) -> Problem:
    """Return an error of a layout's notation as a problem, with the place in the layout."""
    place = "\n" + caret_lines(error.source, error.span) if error.span and error.source else ""
    expected = f"; expected {' or '.join(error.expected)}" if error.expected else ""
    return Problem((), error.message + expected + place, error.hint)


def _at(
    layout: str, leaf: Leaf, message: str, hint: str = "", rests_on: Sequence[Keys] = ()
) -> Problem:
    """Return a problem with a leaf, with the place in the layout."""
    shown = f"{message}\n{caret_lines(layout, leaf.span)}"
    return Problem((), shown, hint, rests_on=rests_on)


def _bound_leaves(
    layout: str,
    node: Node,
    tables: Mapping[str, CodeTable],
    alphabet: Alphabet,
    named: Sequence[str],
) -> tuple[list[Problem], list[CodeTable]]:
    """Return the problems of a layout's leaves, each name told once, and the tables they stand
    for; ``named`` are all tables of the file.
    """
    problems: dict[str, Problem] = {}
    bound: list[CodeTable] = []
    for leaf in leaves(node):
        if len(problems) == _MOST_TOLD:
            break
        if leaf.literal and len(leaf.literal) > MOST_WIDTH:
            message = f"{len(leaf.literal)} symbols in quotes; at most {MOST_WIDTH} are allowed"
            problems[leaf.literal] = _at(layout, leaf, message)
        elif leaf.literal:
            try:
                bound.append(Literal(in_use(leaf.literal, alphabet), alphabet))
            except Problem as found:
                problems[leaf.literal] = _at(
                    layout, leaf, found.message, found.hint, found.rests_on
                )
        elif leaf.name in tables:
            bound.append(tables[leaf.name].at(leaf.member, leaf.repetition))
        elif leaf.name not in problems:
            known = ", ".join(itertools.islice(named, 12)) or "none"
            problems[leaf.name] = _at(
                layout,
                leaf,
                f"there is no table {leaf.name!r}",
                f"the book's tables are: {known}",
                [("tables", leaf.name)],
            )
    return list(problems.values()), bound


class _Checks:
    """What is wrong with a message as a whole: fields said twice, and check symbols that can't do
    their work.
    """

    def __init__(self, layout: str, message: Message, names: Set[str]) -> None:
        self.layout, self.message, self.names = layout, message, names
        self.order = list(leaves(message.node))

    def problems(self) -> Iterator[Problem]:
        """Yield every problem."""
        checks = self.message.check_leaves
        if len(checks) > MOST_CHECKS:
            message = f"more than {MOST_CHECKS} check symbols in one message"
            yield _at(self.layout, self.order[checks[MOST_CHECKS]], message)
            return
        yield from self._said_twice()
        yield from self._named_alike()
        for number in checks:
            yield from self._of_check(number)

    def _said_twice(self) -> Iterator[Problem]:
        """Yield each leaf that says a field again on some way to it."""
        bit = {name: 1 << number for number, name in enumerate(self.message.fields)}
        said = [0] * self.message.course.points  # on any way to each point
        for step in self.message.course.steps:
            fields = self.message.tables[step.leaf].fields if step.leaf >= 0 else ()
            for field in fields:
                if said[step.source] & bit[field.name]:
                    message = f"the field {field.name!r} is said twice"
                    hint = "say it once, or in alternatives only: a | b"
                    yield _at(self.layout, self.order[step.leaf], message, hint)
            own = sum(bit[field.name] for field in fields)
            said[step.target] |= said[step.source] | own

    def _named_alike(self) -> Iterator[Problem]:
        """Yield the fields of parts said again whose names are those of other fields."""
        for name, times in self.message.lists.items():
            taken = [
                one for one in (name, *times) if one in self.message.fields and one in self.names
            ]
            first = self.message.fields[times[0]]
            place = next(n for n, one in enumerate(self.message.tables) if first in one.fields)
            if name in taken:
                message = (
                    f"the field {name!r} is said again and again here, and by itself elsewhere"
                )
                hint = "a message has one value of a field, or a list of them"
                yield _at(self.layout, self.order[place], message, hint)
            elif taken:
                message = (
                    f"{name!r} at each time is {taken[0]!r}, which is another field of the book"
                )
                yield _at(
                    self.layout, self.order[place], message, "name one of the fields otherwise"
                )

    def _of_check(self, number: int) -> Iterator[Problem]:
        """Yield where a check symbol covers nothing, or not what stands before it, or symbols that
        its method doesn't know.
        """
        table, leaf, message = self.message.tables[number], self.order[number], self.message
        check = table.check
        if check is None:
            return
        names = {before.name for before in self.order[:number]}
        foreign_names = [name for name in sorted(check.over or ()) if name not in names]
        for name in foreign_names:
            yield _at(
                self.layout,
                leaf,
                f"{table.name} covers {name!r}, which does not stand before it",
                "move the check behind it, or change `over`",
            )
        covered = message.covered(number)
        if foreign_names or not covered:
            if not foreign_names:
                nothing = f"{table.name} has nothing to cover"
                yield _at(self.layout, leaf, nothing, "put it behind other tables")
            return
        for other in sorted(covered):
            said = message.alphabet.unmask(message.tables[other].symbols)
            foreign = [symbol for symbol in said if symbol not in check.value_of]
            if foreign:
                yield _at(
                    self.layout,
                    leaf,
                    f"{table.name} covers {self.order[other].name}, which may say"
                    f" {', '.join(map(repr, foreign[:6]))}",
                    f"{check.title} is defined over {check.method.values}; name other tables in"
                    " `over`, or choose another method",
                )
        if self._may_stand_alone(number, covered):
            yield _at(
                self.layout,
                leaf,
                "everything this check covers may be left out",
                "let it cover at least one part that is always said",
            )

    def _may_stand_alone(self, number: int, covered: frozenset[int]) -> bool:
        """Tell whether some way to a check says nothing that it covers."""
        alone = {0}  # the points on such ways
        for step in self.message.course.steps:
            if step.source in alone and step.leaf not in covered:
                if step.leaf == number:
                    return True
                alone.add(step.target)
        return False
