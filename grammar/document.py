"""The text of a TOML or JSON file, what it holds (its numbers exact), and where each key stands.

What can't be read, or is no TOML or JSON, is told with its place.
"""

from __future__ import annotations

import ast
import functools
import json
import re
from collections.abc import Callable, Mapping
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from grammar import data
from grammar.errors import BookError, DocumentError, Keys, Problem, Span, visible

if TYPE_CHECKING:
    from lark import Lark

MOST_BYTES = 2_000_000
# of a larger document problems are told by their paths alone; finding the places would take seconds
MOST_PLACED = 250_000
MOST_PARTS = 100  # of a dotted key; a TOML parser takes time in their square
MOST_FIGURES = (
    300  # of a whole number; Python refuses to write out those of thousands, also in its own errors
)
_MOST_EXPONENT = 1000  # of any other number, either way
_ENDLESS = re.compile(rf"(?<![\w.])[0-9][0-9A-Fa-f_xob]{{{MOST_FIGURES},}}")
_SURROGATE = re.compile(r"\\u[dD][89a-fA-F]")
_QUOTED = re.compile(r"""\"[^"]*"|'[^']*'""")
_DOTTED = re.compile(r"[\w-]+(?:\s*\.\s*[\w-]+)*+")
_TOML_PLACE = re.compile(r" \(at (?:line (?P<line>\d+), column (?P<column>\d+)|end of document)\)$")
_MESSAGES = (  # what the TOML parser says, in the words of people who write books, and what to do
    (
        r"Cannot declare (?P<key>\(.*\)) twice",
        "the heading [{key}] stands twice",
        "put all under one of them, or give one another name",
    ),
    (r"Duplicate inline table key (?P<key>.*)", "the key {key} stands twice", "keep one of them"),
    (r"Cannot overwrite a value", "this key stands twice", "keep one of them"),
    (
        r"Cannot (mutate immutable|redefine) namespace .*",
        "this table is complete already",
        "write all its keys in one place",
    ),
    (
        r"Illegal character '\\n'|Unterminated string|Expected \"'+\"",
        "the line ends too soon",
        "close the quotes",
    ),
    (r"Invalid value", "this is no value", "text stands in quotes; a number has a point, no comma"),
    (r"Unclosed array", "a list is not closed", "commas part its items, and ] closes it"),
    (
        r"Unclosed inline table",
        "braces are not closed",
        "commas part the keys, and } closes them on the same line",
    ),
    (r"Expected '=' after a key.*", "no = after the key", "write key = value, or [heading]"),
    (
        r"Expected newline or end of document.*",
        "the line goes on after its value",
        "one key on a line; a number has a point, no comma",
    ),
    (r"Expected '\]+' at the end of .*", "a heading is not closed", "write [section.name]"),
    (
        r"Invalid (statement|initial character for a key part)",
        "no key stands here",
        "write key = value, or [heading]",
    ),
    (
        r"Unescaped '\\' in a string|Invalid hex value|Escaped character .*",
        r"a \ that begins nothing",
        r"write \\, or the text in single quotes",
    ),
    (r"Invalid date or datetime", "no such date", "text stands in quotes"),
)


def read(
    path: Path,
    what: str,
    error: type[DocumentError] = BookError,
    syntax: str = "TOML",
    most: int = MOST_BYTES,
) -> str:
    """Return the text of a file that holds ``what`` ("a book"); raises ``error`` where it can't be
    read.
    """
    hint = f"pass the path of {what} in {syntax}"
    try:
        with path.open("rb") as file:
            content = file.read(most + 1)
        if len(content) > most:
            raise Problem((), f"more than the {most} bytes {what} may have", hint, "file")
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as found:
        problem = Problem((), "not UTF-8 text", "save the file as UTF-8", "file")
        problem.line = content[: found.start].count(b"\n") + 1
    except Problem as found:
        problem = found
    except (OSError, ValueError) as found:
        directory = isinstance(found, IsADirectoryError)
        reason = getattr(found, "strerror", None) or str(found)
        message = f"can't be read: {'it is a directory' if directory else reason}"
        problem = Problem((), message, hint, "file")
    raise error([problem], name=str(path))


def document(text: str, name: str, error: type[DocumentError] = BookError) -> dict[str, Any]:
    """Return what a TOML text holds, its numbers exact; raises ``error`` where it is not TOML."""
    try:
        return TOML.parse(text.replace("\r\n", "\n"))
    except Problem as problem:
        raise error([problem], name=name) from None


class Syntax(NamedTuple):
    """How a file is written: ``parse`` returns what a text holds, or raises the Problem with its
    place; ``outline`` names the Lark grammar of its keys, ``part`` reads one of them.
    """

    name: str
    parse: Callable[[str], dict[str, Any]]
    outline: str
    part: Callable[[str], str]

    def places(self, text: str) -> dict[Keys, Span]:
        """Return where each table's heading, each key with its value, and each element of a list
        stands in a valid document; empty where it can't be told.
        """
        if len(text) > MOST_PLACED:
            return {}
        from lark.exceptions import LarkError

        try:
            tree: Any = _parser(self.outline).parse(text)
        except (LarkError, RecursionError):
            return {}
        places: dict[Keys, Span] = {}
        counts: dict[Keys, int] = {}
        here: Keys = ()
        for statement in tree.children:
            if statement.data in ("pair", "inline"):
                self._place(statement, here, places)
                continue
            here = _absolute(self._key(statement.children[0]), counts)
            if statement.data == "tables":
                counts[here] = counts.get(here, -1) + 1
                here = (*here, counts[here])
            places.setdefault(here, _span(statement))
        return places

    def _place(self, node: Any, here: Keys, places: dict[Keys, Span]) -> None:
        """Note where a key with its value stands, and all that is in the value."""
        kind = getattr(node, "data", None)
        if kind == "pair":
            here = here + self._key(node.children[0])
            places.setdefault(here, _span(node))
            self._place(node.children[1], here, places)
        elif kind == "inline":
            for pair in node.children:
                self._place(pair, here, places)
        elif kind == "array":
            for number, element in enumerate(node.children):
                places.setdefault((*here, number), _span(element))
                self._place(element.children[0], (*here, number), places)

    def _key(self, tree: Any) -> Keys:
        return tuple(self.part(str(part.children[0])) for part in tree.children)


def place_of(places: Mapping[Keys, Span], keys: Keys) -> Span | None:
    """Return the place of a path of keys, or of its nearest ancestor that is in the document; None
    if there is none.
    """
    for length in range(len(keys), 0, -1):
        place = places.get(keys[:length])
        if place is not None:
            return place
    return min((place for key, place in places.items() if keys and key[0] == keys[0]), default=None)


@functools.cache
def _parser(grammar: str) -> Lark:
    from lark import Lark

    return Lark(
        data.text(grammar), parser="lalr", propagate_positions=True, maybe_placeholders=False
    )


def _absolute(key: Keys, counts: Mapping[Keys, int]) -> Keys:
    """Return a table's path with the index of the last element of each array of tables on its
    way.
    """
    path: Keys = ()
    for part in key[:-1]:
        path = (*path, part)
        if path in counts:
            path = (*path, counts[path])
    return (*path, key[-1])


def _span(tree: Any) -> Span:
    return tree.meta.start_pos, tree.meta.end_pos


# TOML


def _toml(text: str) -> dict[str, Any]:
    if len(text) > MOST_BYTES:
        message = f"{len(text)} characters are more than the {MOST_BYTES} a book may have"
        raise Problem((), message, "", "file")
    for number, line in enumerate(text.split("\n"), start=1):
        problem = None
        if (
            len(line) > MOST_PARTS
            and line.count(".") >= MOST_PARTS
            and _longest_key(line) > MOST_PARTS
        ):
            message = f"a key of more than {MOST_PARTS} parts"
            problem = Problem((), message, "books nest four deep at most", "toml")
        elif len(line) > MOST_FIGURES and _ENDLESS.search(line):
            message = f"a whole number of more than {MOST_FIGURES} digits"
            problem = Problem((), message, "numbers have at most 30", "toml")
        if problem is not None:
            problem.line = number
            raise problem
    import tomllib

    try:
        return tomllib.loads(text, parse_float=_number)
    except (ValueError, RecursionError, ArithmeticError) as error:
        raise _toml_problem(text, error) from None


def _longest_key(line: str) -> int:
    return max(
        (found.group().count(".") + 1 for found in _DOTTED.finditer(_QUOTED.sub("q", line))),
        default=0,
    )


def _number(text: str) -> Decimal:
    """Return a number of a TOML text; one that is out of all proportion becomes "not a number", for
    whole numbers are made of these.
    """
    try:
        number = Decimal(text)
    except InvalidOperation:  # an exponent that no decimal can hold
        return Decimal("NaN")
    return (
        number
        if len(text) <= _MOST_EXPONENT and abs(number.adjusted()) <= _MOST_EXPONENT
        else Decimal("NaN")
    )


def _toml_problem(text: str, error: Exception) -> Problem:
    if isinstance(error, RecursionError):
        return Problem((), "not TOML: nested too deeply", "books nest four deep at most", "toml")
    said = _TOML_PLACE.sub("", str(error))
    message, hint = said[:200], "toml.io tells how TOML is written"
    for pattern, ours, way_out in _MESSAGES:
        found = re.fullmatch(pattern, said)
        if found is not None:
            key = found.groupdict().get("key", "")
            message, hint = (
                ours.format(key=".".join(ast.literal_eval(key)) if key.startswith("(") else key),
                way_out,
            )
            break
    problem = Problem((), visible(f"not TOML: {message}"), hint, "toml")
    return problem.placed(text, _toml_place(text, str(error)))


def _toml_place(text: str, message: str) -> Span | None:
    """Return the character that a message of the TOML parser is about."""
    found = _TOML_PLACE.search(message)
    if found is None:
        return None
    if found["line"] is None:
        return len(text.rstrip()), len(text.rstrip())
    start = 0
    for _ in range(int(found["line"]) - 1):
        start = text.index("\n", start) + 1
    place = start + int(found["column"]) - 1
    return place, place


def _toml_part(text: str) -> str:
    """Return a part of a key as TOML reads it."""
    import tomllib

    return next(iter(tomllib.loads(f"{text} = 0"))) if text[0] in "\"'" else text


# JSON


_JSON_MESSAGES = {  # how what the JSON parser says begins, in plain words, and what to do
    "Expecting value": ("no value stands here", "text stands in quotes; no comma ends a list"),
    "Expecting property name": ("no key stands here", "keys stand in double quotes"),
    "Expecting ':'": ("no : after the key", 'write "key": value'),
    "Expecting ','": ("no comma stands here", "commas part keys and the items of a list"),
    "Extra data": ("more follows the end", "a file is one table in braces"),
    "Unterminated string": ("a text is not closed", "close the quotes"),
    "Invalid control character": ("a line break or the like in a text", "write it as an escape"),
    "Invalid \\": (r"a \ that begins nothing", r"write \\"),
    "Illegal trailing comma": ("a comma that nothing follows", "remove it"),
}


def _json(text: str) -> dict[str, Any]:
    """Return what a JSON text holds: a table."""
    try:
        tree = json.loads(text, parse_constant=_no_number)
        if _SURROGATE.search(text):  # half a character, which no file can hold
            json.dumps(tree, ensure_ascii=False).encode("utf-8")
    except Problem:
        raise
    except json.JSONDecodeError as error:
        message, hint = next(
            (told for begins, told in _JSON_MESSAGES.items() if error.msg.startswith(begins)),
            (error.msg, "RFC 8259 tells how JSON is written"),
        )
        problem = Problem((), f"not JSON: {message}", hint, "json")
        raise problem.placed(text, (error.pos, error.pos)) from None
    except UnicodeEncodeError:
        raise Problem((), "half of a character stands in a text", "remove it", "json") from None
    except RecursionError:
        raise Problem((), "not JSON: nested too deeply", "", "json") from None
    except ValueError:  # Python refuses to read whole numbers of thousands of digits
        raise Problem((), "a whole number of thousands of digits", "", "json") from None
    if not isinstance(tree, dict):
        raise Problem((), "not a table of keys", "put the keys in braces", "json")
    return tree


def _no_number(word: str) -> float:
    raise Problem((), f"not JSON: {word} is no number", "write a number, or leave it out", "json")


TOML = Syntax("TOML", _toml, "toml.lark", _toml_part)
JSON = Syntax("JSON", _json, "json.lark", json.loads)
