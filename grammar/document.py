"""The text of a TOML file, and what it holds: read whole, its numbers exact, and what is no TOML
told with its place.
"""

from __future__ import annotations

import ast
import re
import tomllib
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Any

from grammar.errors import BookError, Problem, Span, visible

MOST_BYTES = 2_000_000
MOST_PARTS = 100  # of a dotted key; a TOML parser takes time in their square
MOST_FIGURES = (
    300  # of a whole number; Python refuses to write out those of thousands, also in its own errors
)
_MOST_EXPONENT = 1000  # of any other number, either way
_ENDLESS = re.compile(rf"(?<![\w.])[0-9][0-9A-Fa-f_xob]{{{MOST_FIGURES},}}")
_QUOTED = re.compile(r"""\"[^"]*"|'[^']*'""")
_DOTTED = re.compile(r"[\w-]+(?:\s*\.\s*[\w-]+)*+")
_TOML_PLACE = re.compile(r" \(at (?:line (?P<line>\d+), column (?P<column>\d+)|end of document)\)$")
_TOLD = (  # what the TOML parser says, in the words of people who write books, and what to do
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


def read(path: Path, what: str) -> str:
    """Return the text of a TOML file that holds ``what`` ("a book"); raises BookError where it
    can't be read.
    """
    try:
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = (
            "it is a directory"
            if isinstance(error, IsADirectoryError)
            else getattr(error, "strerror", None) or str(error)
        )
        raise BookError(
            [
                Problem(
                    "", 0, f"can't be read: {reason}", f"pass the path of {what} in TOML", "file"
                )
            ],
            name=str(path),
        ) from None
    if len(data) > MOST_BYTES:
        raise BookError(
            [
                Problem(
                    "",
                    0,
                    f"more than the {MOST_BYTES} bytes {what} may have",
                    f"pass the path of {what} in TOML",
                    "file",
                )
            ],
            name=str(path),
        )
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise BookError(
            [Problem("", line, "not UTF-8 text", "save the file as UTF-8", "file")], name=str(path)
        ) from None


def document(text: str, name: str) -> dict[str, Any]:
    """Return what a TOML text holds, its numbers exact; raises BookError where it is not TOML."""
    text = text.replace("\r\n", "\n")
    if len(text) > MOST_BYTES:
        raise BookError(
            [
                Problem(
                    "",
                    0,
                    f"{len(text)} characters are more than the {MOST_BYTES} a book may have",
                    "",
                    "file",
                )
            ],
            name=name,
        )
    for number, line in enumerate(text.split("\n"), start=1):
        if (
            len(line) > MOST_PARTS
            and line.count(".") >= MOST_PARTS
            and _longest_key(line) > MOST_PARTS
        ):
            raise _broken(
                number,
                f"a key of more than {MOST_PARTS} parts",
                "books nest four deep at most",
                name,
            )
        if len(line) > MOST_FIGURES and _ENDLESS.search(line):
            raise _broken(
                number,
                f"a whole number of more than {MOST_FIGURES} digits",
                "numbers have at most 30",
                name,
            )
    try:
        return tomllib.loads(text, parse_float=_number)
    except (ValueError, RecursionError, ArithmeticError) as error:
        raise BookError([_toml_problem(text, error)], name=name) from None


def _broken(line: int, message: str, hint: str, name: str) -> BookError:
    return BookError([Problem("", line, message, hint, "toml")], name=name)


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
        return Problem("", 0, "not TOML: nested too deeply", "books nest four deep at most", "toml")
    said = _TOML_PLACE.sub("", str(error))
    message, hint = said[:200], "toml.io tells how TOML is written"
    for pattern, ours, way_out in _TOLD:
        found = re.fullmatch(pattern, said)
        if found is not None:
            key = found.groupdict().get("key", "")
            message, hint = (
                ours.format(key=".".join(ast.literal_eval(key)) if key.startswith("(") else key),
                way_out,
            )
            break
    return Problem.at(
        "", text, _toml_place(text, str(error)), visible(f"not TOML: {message}"), hint, "toml"
    )


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
