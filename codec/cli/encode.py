"""``niner encode``: values to the string for the dash and the words to say."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from codec.cli.common import add_book, add_json, emit, given, tell

if TYPE_CHECKING:
    from grammar.book import Book


def add(commands: Any) -> None:
    """Add the command."""
    about = (
        "Find the cheapest string that says the values: from the arguments, or one JSON object a"
        " line from standard input."
    )
    parser = commands.add_parser("encode", description=about)
    add_book(parser)
    parser.add_argument(
        "values", nargs="*", metavar="FIELD=VALUE", help="the values to say, such as energy=-0.3"
    )
    parser.add_argument(
        "--message", help="the message to say them in; may be left out where only one fits"
    )
    parser.add_argument(
        "--profile",
        metavar="FILE",
        help="the times of the person who will say it, from niner drill profile",
    )
    parser.add_argument(
        "--by",
        choices=("seconds", "symbols", "syllables"),
        default="seconds",
        help="what is to be least (seconds)",
    )
    add_json(parser)
    parser.set_defaults(run=run, gather="values")


def run(args: argparse.Namespace) -> int:
    """Encode the arguments, or each line."""
    from codec.cli.common import report
    from codec.encoding import encode
    from grammar.errors import CodeError
    from grammar.loading import load_book

    book = load_book(args.book)
    profile = None
    if args.profile:
        from codec.profile import profile_for

        profile = profile_for(book, args.profile)
    worst, number = 0, 0
    for number, values in enumerate(_values(book, args), start=1):
        try:
            if isinstance(values, CodeError):
                raise values
            encoded = encode(book, values, args.message, by=args.by, profile=profile)
        except CodeError as error:
            if not args.values and not args.json:
                tell(f"line {number}:")
            worst = max(worst, report(error, as_json=args.json))
            continue
        if args.json:
            emit(encoded.as_dict())
        else:
            from codec.screen.reading import encoded_lines

            encoded_lines(book, encoded)
    if not number:
        raise CodeError(
            "nothing to say",
            kind="usage",
            expected=["field=value", "a JSON object a line on standard input"],
        )
    return worst


def _given(book: Book, pairs: Sequence[str]) -> dict[str, Any]:
    """Return the values of arguments; a field of a part said again is given once for each time."""
    single, lists = [], dict[str, Any]()
    for pair in pairs:
        name, equals, value = pair.partition("=")
        if equals and name in book.lists and name not in book.fields:
            lists.setdefault(name, []).append(value)
        else:
            single.append(pair)
    return given(single) | lists


def _values(book: Book, args: argparse.Namespace) -> Iterator[Any]:
    from decimal import Decimal

    from grammar.errors import CodeError

    if args.values:
        yield _given(book, args.values)
        return
    for raw in sys.stdin.buffer:
        line = raw.decode("utf-8", "surrogateescape").strip()
        if not line:
            continue
        try:
            values = json.loads(line, parse_float=Decimal)
        except (ValueError, RecursionError) as error:
            place = getattr(error, "pos", 0)
            yield CodeError(
                f"not JSON: {getattr(error, 'msg', 'nested too deeply')}",
                kind="usage",
                source=line,
                span=(place, place + 1),
            )
            continue
        yield (
            values
            if isinstance(values, dict)
            else CodeError(
                "a JSON object is expected", kind="usage", source=line, span=(0, len(line))
            )
        )
