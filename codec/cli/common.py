"""What commands share: text from arguments or standard input, JSON lines, values from the command
line.
"""

from __future__ import annotations

import argparse
import codecs
import contextlib
import functools
import json
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from grammar.errors import CodeError, shown, visible_lines

if TYPE_CHECKING:
    from codec.race.people import EventFile
    from codec.radio.named import NamedReports
    from grammar.book import Book

MOST = 10**9  # of a number that an option takes


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


def add_schema(actions: Any, what: str, schema: Callable[[], Mapping[str, Any]]) -> None:
    """Add ``schema``, which prints the JSON Schema of a format; ``schema`` makes it when asked."""
    parser = add_command(actions, "schema", f"print the JSON Schema of the {what} format")

    def run(_: argparse.Namespace) -> int:
        say(json.dumps(schema(), indent=2, ensure_ascii=False))
        return 0

    parser.set_defaults(run=run)


def lines(words: Sequence[str]) -> Iterator[str]:
    """Yield the text of the arguments as one line, or the lines of standard input that are not
    blank.
    """
    if words:
        yield " ".join(words)
        return
    if sys.stdin.isatty():
        tell("one report a line; end with Ctrl-D")
    for number, raw in enumerate(sys.stdin.buffer):
        line = raw.removeprefix(codecs.BOM_UTF8) if number == 0 else raw
        text = line.decode("utf-8", "surrogateescape").rstrip("\r\n")
        if text.strip():
            yield text


def integer(text: str) -> int:
    """Return the whole number of an option; argparse tells the option beside the error."""
    return _whole(text, -MOST)


def amount(text: str) -> int:
    """Return what an option counts, 0 or more, in the same way."""
    return _whole(text, 0)


def _whole(text: str, least: int) -> int:
    from grammar.exact import whole

    try:
        return whole(text, least, MOST)
    except ValueError as error:
        raise argparse.ArgumentTypeError(str(error)) from None


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


def positions(pairs: Sequence[str], most: int) -> dict[str, int]:
    """Return name=position arguments, positions from -``most`` to it; raises CodeError for anything
    else.
    """
    from grammar.exact import whole

    wanted: dict[str, int] = {}
    for name, text in given(pairs, "position").items():
        try:
            wanted[name] = whole(text, -most, most)
        except ValueError as error:
            raise CodeError(f"{name}: no position: {error}", kind="usage") from None
    return wanted


def add_measure(parser: argparse.ArgumentParser) -> None:
    """Add ``--by``, what the cheapest way on a wheel is the cheapest in."""
    parser.add_argument(
        "--by",
        choices=("seconds", "touches", "metres"),
        default="seconds",
        help="what a way on the wheel is the cheapest in (seconds); metres are those looked down",
    )


def add_profiles(parser: argparse.ArgumentParser) -> None:
    """Add ``--profile``, beside ``--event``."""
    parser.add_argument(
        "--profile",
        metavar="FILE",
        action="append",
        default=[],
        help="what is known of a driver, or of who calls, by name; may be given again",
    )


def event_file(args: argparse.Namespace) -> EventFile | None:
    """Return the event file and the profiles that are named, None where there is none."""
    if not args.event:
        if args.profile:
            raise CodeError("--profile goes with an --event", kind="usage")
        return None
    from codec.race.people import EventFile

    return EventFile(args.event, tuple(args.profile))


def say(text: str) -> None:
    """Print lines of text at once; whatever they are from, nothing in them can steer a terminal."""
    print(visible_lines(text), flush=True)


def tell(text: str) -> None:
    """Print lines of text beside the output, on standard error, in the same way; where that can't
    be written there is nobody to tell.
    """
    with contextlib.suppress(OSError):
        print(visible_lines(text), file=sys.stderr, flush=True)


def put(text: str | bytes) -> None:
    """Print the text of a file: as it is into a pipe or another file, for people on a terminal."""
    data = text if isinstance(text, bytes) else text.encode()
    if sys.stdout.isatty():
        say(data.decode("utf-8", "replace").replace("\r\n", "\n").removesuffix("\n"))
        return
    sys.stdout.flush()
    sys.stdout.buffer.write(data)


def emit(facts: Mapping[str, Any]) -> None:
    """Print one JSON object on a line of its own, at once: a program may wait for it."""
    emit_json(json.dumps(facts, ensure_ascii=False))


def emit_json(text: str) -> None:
    """Print a JSON text on a line of its own, at once."""
    print(json_text(text), flush=True)


def json_text(text: str) -> str:
    r"""Return a JSON text with its control and invisible characters as ``\uXXXX``, which says the
    same; line breaks stay.
    """
    if text.isascii() and text.isprintable():
        return text
    return "".join(
        c if shown(c) or c == "\n" else json.dumps(c)[1:-1] if ord(c) > 0x7F else "\\u007f"
        for c in text
    )


def report(error: CodeError, *, as_json: bool) -> int:
    """Print an error, on stdout as one JSON object or on stderr for people; return its exit
    code.
    """
    if as_json:
        emit(error.as_dict())
    else:
        tell(f"niner: {error}")
    return error.exit_code


def by_names(book: Book, text: str) -> str:
    """Return what to say of words that tell numbers by the names of fields: they are no code, and
    read elsewhere. "" for any others.
    """
    return (
        ""
        if not _named(book).speaks(text)
        else "numbers by the names of fields are read by niner log and niner sheet import"
    )


@functools.lru_cache(4)
def _named(book: Book) -> NamedReports:
    from codec.radio.named import NamedReports

    return NamedReports(book)
