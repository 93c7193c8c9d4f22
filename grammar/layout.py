"""Layouts: the order of code tables in a message, with optional parts and alternatives.

    energy motor battery     one after the other
    ( alert code )?          an optional part; also  alert?
    a | b                    one or the other
    "V"                      symbols that always stand there
    ( place state ){0..4}    said again and again, none to four times; also  state{2}

The notation becomes a tree, its leaves numbered from left to right; the tree becomes a course:
points, and steps from point to point, each of which says one leaf or decides something. Every way
through the layout is one way along the course.

What is said again and what stands for several tables is written out in the tree, so whoever walks
it need not know: a table of a family of fields is one leaf a member, a part said again stands there
as often as it may be said, each time after the first ones inside the optional time before it.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import NamedTuple, TypeVar

from grammar.errors import CodeError, Span

_TOKEN = re.compile(
    r'(?P<name>[A-Za-z_][A-Za-z0-9_]*)|(?P<quoted>"[^"\n]*")|(?P<sign>[()|?])'
    r"|(?P<times>\{[^{}\n]*\})|(?P<other>\S)|\s+"
)
_TIMES = re.compile(r"\{\s*(?:([0-9]{1,4})\s*\.\.\s*)?([0-9]{1,4})\s*\}")
MOST_NESTED = 40
MOST_LENGTH = 100_000
MOST_TIMES = 50
MOST_AGAIN = 2_000  # leaves that parts said again are written out as, in one layout
Result = TypeVar("Result")


class Leaf(NamedTuple):
    """One code table (or quoted symbols) at one place of a message.

    Of a table of a family of fields it says the one of this ``member`` (from 0). In a part said
    again it stands for one ``repetition`` (from 1; 0 for none) of the part number ``again``.
    """

    number: int
    name: str
    literal: str
    span: Span
    member: int | None = None
    again: int = 0
    repetition: int = 0


class InOrder(NamedTuple):
    """Parts one after the other."""

    parts: tuple[Node, ...]


class Repetition(InOrder):
    """One time of a part that is said again, and behind it the times that may follow.

    Where it is left out, nothing was said: that implies no usual value.
    """

    __slots__ = ()


class Maybe(NamedTuple):
    """A part that may be left out."""

    part: Node
    span: Span


class Either(NamedTuple):
    """One of several parts."""

    parts: tuple[Node, ...]
    span: Span


Node = Leaf | InOrder | Maybe | Either


def bottom_up(
    node: Node,
    leaf: Callable[[Leaf], Result],
    in_order: Callable[[list[Result]], Result],
    maybe: Callable[[Result], Result],
    either: Callable[[list[Result]], Result],
    repetition: Callable[[list[Result]], Result] | None = None,
) -> Result:
    """Return what a tree comes to, from its leaves up: each kind of node makes one result of those
    of its parts; a time of a part said again as parts in order, where nothing else is given.
    """

    def result(node: Node) -> Result:
        if isinstance(node, Leaf):
            return leaf(node)
        if isinstance(node, Maybe):
            return maybe(result(node.part))
        parts = [result(part) for part in node.parts]
        if isinstance(node, Either):
            return either(parts)
        return repetition(parts) if repetition and isinstance(node, Repetition) else in_order(parts)

    return result(node)


def leaves(node: Node) -> Iterator[Leaf]:
    """Yield the leaves below a node, from left to right."""
    if isinstance(node, Leaf):
        yield node
    else:
        for part in (node.part,) if isinstance(node, Maybe) else node.parts:
            yield from leaves(part)


def nullable(node: Node) -> bool:
    """Tell whether a node may be empty."""
    return bottom_up(node, lambda _: False, all, lambda _: True, any)


class CourseStep(NamedTuple):
    """A step from one point of a layout to a later one.

    It says the leaf of that number; or it says nothing (leaf -1) and decides at ``node`` which part
    is ``taken``: one of several, the optional one, or None where that is left out.
    """

    source: int
    target: int
    leaf: int = -1
    node: Maybe | Either | None = None
    taken: Node | None = None

    @property
    def left_out(self) -> Node | None:
        """The optional part that it leaves out."""
        return self.node.part if self.taken is None and isinstance(self.node, Maybe) else None


class Course(NamedTuple):
    """All ways through a layout: from point 0 to ``end``; steps into a point come before those out
    of it.
    """

    steps: tuple[CourseStep, ...]
    end: int
    points: int

    def onward(self) -> list[list[CourseStep]]:
        """Return the steps out of each point: one that says a leaf, or what is to be decided
        there.
        """
        onward: list[list[CourseStep]] = [[] for _ in range(self.points)]
        for step in self.steps:
            onward[step.source].append(step)
        return onward


def course(root: Node) -> Course:
    """Return all ways through a layout."""
    steps: list[CourseStep] = []
    numbers = itertools.count(1)

    def lay(node: Node, begin: int, end: int) -> None:
        if isinstance(node, Leaf):
            steps.append(CourseStep(begin, end, node.number))
        elif isinstance(node, InOrder):
            for part in node.parts[:-1]:
                here = next(numbers)
                lay(part, begin, here)
                begin = here
            lay(node.parts[-1], begin, end)
        else:
            for part in (node.part,) if isinstance(node, Maybe) else node.parts:
                inside = next(numbers)
                steps.append(CourseStep(begin, inside, node=node, taken=part))
                lay(part, inside, end)
            if isinstance(node, Maybe):
                steps.append(CourseStep(begin, end, node=node))

    end = next(numbers)
    lay(root, 0, end)
    return Course(tuple(steps), end, next(numbers))


def parse_layout(text: str, families: Mapping[str, int] | None = None) -> Node:
    """Return the tree of a layout; ``families`` tells how many fields each table of a family says.

    Raises CodeError with the place where the notation is broken, where a part could be left out in
    two ways, and where the message could be empty.
    """
    _guard(text)
    node = _Reader(text, families or {}).layout()
    if nullable(node):
        raise _problem(
            text,
            (0, len(text)),
            "every part may be left out, so the message could be empty",
            "make one part not optional",
        )
    return node


def _guard(text: str) -> None:
    """Refuse a layout too long or too deep before any recursive walk meets it."""
    if len(text) > MOST_LENGTH:
        raise _problem(
            text,
            (MOST_LENGTH, len(text)),
            f"a layout of {len(text)} characters; at most {MOST_LENGTH} are allowed",
        )
    depth, inside = 0, False
    opened: list[int] = []
    for place, character in enumerate(text):
        if character == '"':
            inside = not inside
        elif not inside and character == "(":
            opened.append(place)
            depth = len(opened)
            if depth > MOST_NESTED:
                raise _problem(
                    text, (place, place + 1), f"more than {MOST_NESTED} brackets inside one another"
                )
        elif not inside and character == ")":
            if not opened:
                raise _problem(text, (place, place + 1), "a closing bracket without an opening one")
            opened.pop()
    if inside:
        raise _problem(text, (text.rfind('"'), len(text)), "a quote that is not closed")
    if opened:
        raise _problem(text, (opened[-1], opened[-1] + 1), "a bracket that is not closed")


def _problem(
    text: str, span: Span, message: str, hint: str = "", expected: Sequence[str] = ()
) -> CodeError:
    return CodeError(message, kind="layout", source=text, span=span, hint=hint, expected=expected)


_OF_OTHERS = {  # signs of other notations
    "*": "say how often at most: ( a b ){0..4}",
    "+": "say how often at most: ( a b ){1..4}",
}
_ITEM = ("a table's name", 'symbols in "quotes"', "(")
_BEHIND = ("?", "{0..4}")


class _Reader:
    """Reads the notation from left to right, numbering the leaves; each method is one rule of
    it.
    """

    def __init__(self, text: str, families: Mapping[str, int]) -> None:
        self.text, self.families, self.count, self.place = text, families, 0, 0
        self.again = self.repetition = 0  # of the part that is read
        self.repeated = 0  # leaves in parts said again
        self.tokens = [found for found in _TOKEN.finditer(text) if found.lastgroup]
        self.ends = 0  # where the last token taken ends

    def layout(self) -> Node:
        """layout: choice"""
        node = self.choice()
        if self.kind:
            raise self.refused(*_ITEM, "|", *_BEHIND, "the end")
        return node

    def choice(self) -> Node:
        """choice: sequence ("|" sequence)*"""
        start = self.here
        branches = [self.sequence()]
        while self.kind == "|":
            self.take()
            branches.append(self.sequence())
        if len(branches) == 1:
            return branches[0]
        span = (start, self.ends)
        if any(nullable(branch) for branch in branches):
            raise _problem(
                self.text,
                span,
                "one of the alternatives may be empty",
                "put the ? on the whole: ( a | b )?",
            )
        return Either(tuple(branches), span)

    def sequence(self) -> Node:
        """sequence: item+"""
        parts = [self.item()]
        while self.kind in ("name", "quoted", "("):
            parts.append(self.item())
        return parts[0] if len(parts) == 1 else InOrder(tuple(parts))

    def item(self) -> Node:
        """item: atom times? "?"?"""
        start, place = self.here, self.place
        node = self.atom()
        if self.kind == "times":
            node = self.times(node, start, place)
        if self.kind != "?":
            return node
        self.take()
        if nullable(node):
            raise _problem(
                self.text,
                (start, self.ends),
                "this part could be left out in two ways",
                "drop one of the question marks",
            )
        return Maybe(node, (start, self.ends))

    def times(self, node: Node, start: int, place: int) -> Node:
        """times: "{" (NUMBER "..")? NUMBER "}"

        What stands before it, from the token ``place`` on, is read once for each time.
        """
        times, behind, span = self.span, self.place + 1, (start, self.span[1])
        found = _TIMES.fullmatch(self.text, *times)
        least, most = (int(number or found[2]) for number in found.groups()) if found else (0, 0)
        if not 0 <= least <= most or not 1 <= most <= MOST_TIMES:
            message = f"this does not say how often: at most {MOST_TIMES} times"
            raise _problem(self.text, times, message, "from least to most", ["{0..4}", "{2}"])
        if any(leaf.repetition for leaf in leaves(node)):
            hint = "write the inner part out, or say it in a message of its own"
            raise _problem(self.text, span, "a part said again holds another one", hint)
        if nullable(node):
            message = "a part said again could be empty"
            raise _problem(self.text, span, message, "make one part of it not optional")
        self.repeated += sum(1 for _ in leaves(node)) * most
        if self.repeated > MOST_AGAIN:
            message = f"parts said again are more than {MOST_AGAIN} places in all"
            raise _problem(self.text, span, message, "fewer times, or shorter parts")
        self.count = next(leaves(node)).number
        parts = []
        for self.repetition in range(1, most + 1):
            self.place = place
            parts.append(self.atom())
        self.again, self.repetition, self.place, self.ends = self.again + 1, 0, behind, times[1]
        more: tuple[Node, ...] = ()
        for part in reversed(parts[least:]):
            more = (Maybe(Repetition((part, *more)), span),)
        more = (*(Repetition((part,)) for part in parts[:least]), *more)
        return more[0] if len(more) == 1 else InOrder(more)

    def atom(self) -> Node:
        """atom: NAME | QUOTED | "(" choice ")" """
        kind, span = self.kind, self.span
        if kind == "(":
            self.take()
            node = self.choice()
            if self.kind != ")":
                raise self.refused(*_ITEM, "|", *_BEHIND, ")")
            self.take()
            return node
        if kind not in ("name", "quoted"):
            raise self.refused(*_ITEM)
        text = self.take()
        if text == '""':
            raise _problem(self.text, span, "no symbol between the quotes")
        literal = text[1:-1] if kind == "quoted" else ""
        members = range(self.families[text]) if text in self.families else [None]
        said = [self.leaf(text, literal, span, member) for member in members]
        return said[0] if len(said) == 1 else InOrder(tuple(said))

    def leaf(self, name: str, literal: str, span: Span, member: int | None) -> Leaf:
        """Return the next leaf."""
        self.count += 1
        return Leaf(self.count - 1, name, literal, span, member, self.again, self.repetition)

    @property
    def kind(self) -> str:
        """The kind of the next token: name, quoted, a sign itself, other, or "" at the end."""
        if self.place == len(self.tokens):
            return ""
        found = self.tokens[self.place]
        return found.group() if found.lastgroup == "sign" else str(found.lastgroup)

    @property
    def span(self) -> Span:
        """Where the next token stands."""
        return (
            self.tokens[self.place].span()
            if self.place < len(self.tokens)
            else (len(self.text), len(self.text))
        )

    @property
    def here(self) -> int:
        """Where the next token begins."""
        return self.span[0]

    def take(self) -> str:
        """Go on to the next token and return this one."""
        found = self.tokens[self.place]
        self.place, self.ends = self.place + 1, found.end()
        return found.group()

    def refused(self, *expected: str) -> CodeError:
        """Return the error for the next token."""
        ended = not self.kind
        message = (
            "the layout ends too early"
            if ended
            else f"{self.tokens[self.place].group()!r} can't stand here"
        )
        hint = "" if ended else _OF_OTHERS.get(self.tokens[self.place].group(), "")
        return _problem(self.text, self.span, message, hint, expected)
