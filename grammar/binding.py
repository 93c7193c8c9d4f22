"""Binding a book's parts to each other: tables to fields, layouts to tables; every misfit is a
problem with its path.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping

from grammar.codes import Check, CodeTable, Literal
from grammar.codes.base import MOST_WIDTH, AlphabetTrouble, Trouble, in_use
from grammar.errors import CodeError, caret_lines
from grammar.layout import Either, InOrder, Leaf, Maybe, Node, leaves, parse_layout
from grammar.message import Message
from grammar.models import BookSpec, MessageSpec
from grammar.partial_book import ALPHABET
from grammar.symbols import Alphabet

Add = Callable[..., None]
MOST_CHECKS = 8


def bind_tables(
    spec: BookSpec, alphabet: Alphabet, add: Add, broken: set[str]
) -> dict[str, CodeTable]:
    """Return the tables that can be built; what can't is noted, unless it only refers to what is
    broken already.
    """
    tables: dict[str, CodeTable] = {}
    for name, table in spec.tables.items():
        try:
            tables[name] = table.build(name, spec.fields, alphabet)
        except Trouble as trouble:
            blameless = isinstance(trouble, AlphabetTrouble) and ALPHABET in broken
            if not blameless and not any(
                f"fields.{field}" in broken for field in table.needs(name)
            ):
                add(
                    ("tables", name, *([trouble.where] if trouble.where else [])),
                    trouble.message,
                    trouble.hint,
                )
            broken.add(f"tables.{name}")
    return tables


def bind_messages(
    spec: BookSpec, alphabet: Alphabet, tables: Mapping[str, CodeTable], add: Add, broken: set[str]
) -> dict[str, Message]:
    """Return the messages that can be built; what can't is noted."""
    messages: dict[str, Message] = {}
    for name, message in spec.messages.items():
        path = ("messages", name, "layout")
        try:
            node = parse_layout(message.layout)
            bound = _bound_leaves(message, node, alphabet, tables, broken)
            if bound is not None:
                messages[name] = Message(
                    name, message.direction, node, bound, alphabet, message.label
                )
                _check_message(message.layout, messages[name])
        except CodeError as error:
            place = (
                "\n" + caret_lines(error.source, error.span) if error.span and error.source else ""
            )
            expected = f"; expected {' or '.join(error.expected)}" if error.expected else ""
            add(path, error.message + expected + place, error.hint)
            messages.pop(name, None)
    return messages


def _bound_leaves(
    message: MessageSpec,
    node: Node,
    alphabet: Alphabet,
    tables: Mapping[str, CodeTable],
    broken: set[str],
) -> list[CodeTable] | None:
    """Return the table of each leaf, None if one of them is broken already; raises CodeError for
    the first that does not exist.
    """
    bound: list[CodeTable] = []
    spoilt = False
    for leaf in leaves(node):
        if leaf.literal:
            if len(leaf.literal) > MOST_WIDTH:
                raise _at(
                    message.layout,
                    leaf,
                    f"{len(leaf.literal)} symbols in quotes; at most {MOST_WIDTH} are allowed",
                )
            try:
                bound.append(Literal(in_use(leaf.literal, alphabet, ""), alphabet))
            except Trouble as trouble:
                if ALPHABET not in broken:
                    raise _at(message.layout, leaf, trouble.message, trouble.hint) from None
                spoilt = True
        elif leaf.name in tables:
            bound.append(tables[leaf.name])
        elif f"tables.{leaf.name}" in broken:
            spoilt = True
        else:
            known = ", ".join(itertools.islice(tables, 12)) or "none"
            raise _at(
                message.layout,
                leaf,
                f"there is no table {leaf.name!r}",
                f"the book's tables are: {known}",
            )
    return None if spoilt else bound


def _at(layout: str, leaf: Leaf, message: str, hint: str = "") -> CodeError:
    return CodeError(message, kind="layout", source=layout, span=leaf.span, hint=hint)


def _check_message(layout: str, message: Message) -> None:
    order = list(leaves(message.node))
    if len(message.check_leaves) > MOST_CHECKS:
        raise _at(
            layout,
            order[message.check_leaves[MOST_CHECKS]],
            f"more than {MOST_CHECKS} check symbols in one message",
        )
    _no_field_twice(layout, message, message.node, order)
    for number in message.check_leaves:
        _check_covers(layout, message, order, number)


def _no_field_twice(layout: str, message: Message, node: Node, order: list[Leaf]) -> set[str]:
    """Return the fields said below a node; raises CodeError where one way through it says a field
    twice.
    """
    if isinstance(node, Leaf):
        return {field.name for field in message.tables[node.number].fields}
    if isinstance(node, Maybe):
        return _no_field_twice(layout, message, node.part, order)
    said: set[str] = set()
    for part in node.parts:
        inner = _no_field_twice(layout, message, part, order)
        if isinstance(node, InOrder) and inner & said:
            name = min(inner & said)
            leaf = next(
                leaf
                for leaf in leaves(part)
                if any(field.name == name for field in message.tables[leaf.number].fields)
            )
            raise _at(
                layout,
                leaf,
                f"the field {name!r} is said twice",
                "say it once, or in alternatives only: a | b",
            )
        said |= inner
    return said


def _check_covers(layout: str, message: Message, order: list[Leaf], number: int) -> None:
    """Check that a check symbol covers something, all of it before it, and only symbols its method
    knows.
    """
    table, leaf = message.tables[number], order[number]
    if not isinstance(table, Check):
        return
    names = {before.name for before in order[:number]}
    for name in sorted(table.over or ()):
        if name not in names:
            raise _at(
                layout,
                leaf,
                f"{table.name} covers {name!r}, which does not stand before it",
                "move the check behind it, or change `over`",
            )
    covered = message.covered(number)
    if not covered:
        raise _at(layout, leaf, f"{table.name} has nothing to cover", "put it behind other tables")
    for other in sorted(covered):
        mask = 0
        for edges in message.tables[other].fragment():
            for symbols, _ in edges:
                mask |= symbols
        foreign = [
            symbol for symbol in message.alphabet.unmask(mask) if symbol not in table.value_of
        ]
        if foreign:
            hint = (
                f"{table.title} is defined over {table.method.values}; name other tables in `over`,"
                " or choose another method"
            )
            raise _at(
                layout,
                leaf,
                f"{table.name} covers {order[other].name}, which may say"
                f" {', '.join(map(repr, foreign[:6]))}",
                hint,
            )
    _always_covers(layout, message, leaf, covered)


def _always_covers(layout: str, message: Message, leaf: Leaf, covered: frozenset[int]) -> None:
    """Refuse a check all of whose parts may be left out, so that it would stand for nothing."""

    def certain(node: Node) -> bool:
        if isinstance(node, Leaf):
            return node.number in covered
        if isinstance(node, Maybe):
            return False
        return (all if isinstance(node, Either) else any)(certain(part) for part in node.parts)

    def beside(node: Node) -> bool:
        """Tell whether whatever stands beside the check in its own brackets, or around them, is
        certain to be covered.
        """
        if isinstance(node, Leaf):
            return node.number in covered
        if isinstance(node, InOrder):
            return any(certain(part) for part in node.parts) or any(
                beside(part) for part in node.parts if _holds(part, leaf)
            )
        parts = (node.part,) if isinstance(node, Maybe) else node.parts
        return any(beside(part) for part in parts if _holds(part, leaf))

    if not beside(message.node):
        raise _at(
            layout,
            leaf,
            "everything this check covers may be left out",
            "let it cover at least one part that is always said",
        )


def _holds(node: Node, leaf: Leaf) -> bool:
    return any(other.number == leaf.number for other in leaves(node))
