"""What commands share: text from arguments or standard input, JSON lines, values from the command
line.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from grammar.errors import CodeError


def add_command(actions: Any, name: str, about: str) -> argparse.ArgumentParser:
    """Add a command that one line tells all about, in the list of commands and in its own help."""
    parser: argparse.ArgumentParser = actions.add_parser(
        name, help=about, description=f"{about[0].upper()}{about[1:]}."
    )
    return parser


def add_book(parser: argparse.ArgumentParser) -> None:
    """Add the code book argument."""
    parser.add_argument("book", metavar="BOOK", help="the code book, a TOML file")


def add_json(parser: argparse.ArgumentParser) -> None:
    """Add ``--json``."""
    parser.add_argument("--json", action="store_true", help="print one JSON object a line")


def lines(words: Sequence[str]) -> Iterator[str]:
    """Yield the text of the arguments as one line, or the lines of standard input that are not
    blank.
    """
    if words:
        yield " ".join(words)
        return
    if sys.stdin.isatty():
        print("one report a line; end with Ctrl-D", file=sys.stderr)
    for raw in sys.stdin.buffer:
        line = raw.decode("utf-8", "surrogateescape").rstrip("\r\n")
        if line.strip():
            yield line


def given(pairs: Sequence[str], what: str = "value") -> dict[str, str]:
    """Return name=value arguments as a dictionary; raises CodeError for anything else."""
    found: dict[str, str] = {}
    for pair in pairs:
        name, equals, value = pair.partition("=")
        if not equals or not name:
            raise CodeError(f"{pair[:60]!r} is no {what}", kind="usage", expected=["name=value"])
        if name in found:
            raise CodeError(f"{name!r} is given twice", kind="usage")
        found[name] = value
    return found


def emit(facts: Mapping[str, Any]) -> None:
    """Print one JSON object on a line of its own."""
    print(json.dumps(facts, ensure_ascii=False))


def report(error: CodeError, *, as_json: bool) -> int:
    """Print an error, on stdout as one JSON object or on stderr for people; return its exit
    code.
    """
    if as_json:
        print(json.dumps(error.as_dict(), ensure_ascii=False))
    else:
        print(f"niner: {error}", file=sys.stderr)
    return error.exit_code
