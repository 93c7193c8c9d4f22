"""Layouts: the order of code tables in a message, with optional parts and alternatives.

The notation is parsed with Lark (``tables/layout.lark``) into a tree of four kinds of node. Leaves are numbered from left to right; every
later stage (automaton, regular expression, encoder, grammar) walks this tree.
"""

from __future__ import annotations

import functools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from importlib import resources
from typing import TYPE_CHECKING, Any

from grammar.errors import CodeError, Span

if TYPE_CHECKING:
    from lark import Lark

MOST_NESTED = 40
MOST_LENGTH = 500_000


@dataclass(frozen=True, slots=True)
class Leaf:
    """One code table (or quoted symbols) at one place of a message."""

    number: int
    name: str
    literal: str
    span: Span


@dataclass(frozen=True, slots=True)
class InOrder:
    """Parts one after the other."""

    parts: tuple[Node, ...]


@dataclass(frozen=True, slots=True)
class Maybe:
    """A part that may be left out."""

    part: Node
    span: Span


@dataclass(frozen=True, slots=True)
class Either:
    """One of several parts."""

    parts: tuple[Node, ...]
    span: Span


Node = Leaf | InOrder | Maybe | Either


def leaves(node: Node) -> Iterator[Leaf]:
    """Yield the leaves below a node, from left to right."""
    if isinstance(node, Leaf):
        yield node
    elif isinstance(node, Maybe):
        yield from leaves(node.part)
    else:
        for part in node.parts:
            yield from leaves(part)


def nullable(node: Node) -> bool:
    """Tell whether a node may be empty."""
    if isinstance(node, InOrder):
        return all(nullable(part) for part in node.parts)
    return isinstance(node, Maybe)


def parse_layout(text: str) -> Node:
    """Return the tree of a layout.

    Raises CodeError with the place where the notation is broken, where a part could be left out in two ways, and where the message
    could be empty.
    """
    _guard(text)
    from lark.exceptions import UnexpectedInput

    try:
        tree = _parser().parse(text)
    except UnexpectedInput as error:
        raise _refused(text, error) from None
    node = _Reader(text).choice(tree.children[0])
    if nullable(node):
        raise _problem(
            text,
            (0, len(text)),
            "every part may be left out, so the message could be empty",
            "make one part not optional",
        )
    return node


@functools.cache
def _parser() -> Lark:
    from lark import Lark

    grammar = (resources.files("grammar") / "tables" / "layout.lark").read_text("utf-8")
    return Lark(grammar, parser="lalr", propagate_positions=True, maybe_placeholders=False)


def _guard(text: str) -> None:
    """Refuse a layout too long or too deep before any recursive walk meets it."""
    if len(text) > MOST_LENGTH:
        raise _problem(text, (MOST_LENGTH, len(text)), f"a layout of {len(text)} characters; at most {MOST_LENGTH} are allowed")
    depth, inside = 0, False
    opened: list[int] = []
    for place, character in enumerate(text):
        if character == '"':
            inside = not inside
        elif not inside and character == "(":
            opened.append(place)
            depth = len(opened)
            if depth > MOST_NESTED:
                raise _problem(text, (place, place + 1), f"more than {MOST_NESTED} brackets inside one another")
        elif not inside and character == ")":
            if not opened:
                raise _problem(text, (place, place + 1), "a closing bracket without an opening one")
            opened.pop()
    if inside:
        raise _problem(text, (text.rfind('"'), len(text)), "a quote that is not closed")
    if opened:
        raise _problem(text, (opened[-1], opened[-1] + 1), "a bracket that is not closed")


def _problem(text: str, span: Span, message: str, hint: str = "", expected: Sequence[str] = ()) -> CodeError:
    return CodeError(message, kind="layout", source=text, span=span, hint=hint, expected=expected)


_LABELS = {
    "NAME": "a table's name",
    "QUOTED": 'symbols in "quotes"',
    "LPAR": "(",
    "RPAR": ")",
    "VBAR": "|",
    "OPTIONAL": "?",
    "$END": "the end",
}


def _refused(text: str, error: Any) -> CodeError:
    place = getattr(error, "pos_in_stream", None)
    token = getattr(error, "token", None)
    ended = token is not None and token.type == "$END"
    start = len(text) if ended or place is None or place < 0 else place
    width = 1 if ended or token is None else len(token)
    wanted = sorted({_LABELS.get(name, name) for name in (getattr(error, "accepts", None) or getattr(error, "allowed", None) or ())})
    message = "the layout ends too early" if ended else f"{text[start : start + width]!r} can't stand here"
    return _problem(text, (start, start + width), message, expected=wanted)


class _Reader:
    """Turns the parse tree into nodes, numbering the leaves."""

    def __init__(self, text: str) -> None:
        self.text, self.count = text, 0

    def choice(self, tree: Any) -> Node:
        branches = tuple(self.sequence(child) for child in tree.children)
        if len(branches) == 1:
            return branches[0]
        span = self._span(tree)
        for branch in branches:
            if nullable(branch):
                raise _problem(self.text, span, "one of the alternatives may be empty", "put the ? on the whole: ( a | b )?")
        return Either(branches, span)

    def sequence(self, tree: Any) -> Node:
        parts = tuple(self.item(child) for child in tree.children)
        return parts[0] if len(parts) == 1 else InOrder(parts)

    def item(self, tree: Any) -> Node:
        node = self.atom(tree.children[0])
        if len(tree.children) == 1:
            return node
        span = self._span(tree)
        if nullable(node):
            raise _problem(self.text, span, "this part could be left out in two ways", "drop one of the question marks")
        return Maybe(node, span)

    def atom(self, tree: Any) -> Node:
        if tree.data == "group":
            return self.choice(tree.children[0])
        token = tree.children[0]
        span = (token.start_pos, token.end_pos)
        self.count += 1
        if tree.data == "table":
            return Leaf(self.count - 1, str(token), "", span)
        if len(token) == 2:
            raise _problem(self.text, span, "no symbol between the quotes")
        return Leaf(self.count - 1, str(token), str(token)[1:-1], span)

    def _span(self, tree: Any) -> Span:
        return tree.meta.start_pos, tree.meta.end_pos
