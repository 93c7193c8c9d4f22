"""``niner decode``: spoken reports to readings."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from codec.cli.common import add_book, add_json, emit, given, lines

if TYPE_CHECKING:
    from grammar.book import Book


def add(commands: Any) -> None:
    """Add the command."""
    about = (
        "Read spoken or typed reports: one from the arguments, or one a line from standard input."
    )
    parser = commands.add_parser("decode", description=about)
    add_book(parser)
    parser.add_argument(
        "text",
        nargs="*",
        metavar="WORD",
        help="the report as heard; standard input if none is given",
    )
    parser.add_argument(
        "--direction", choices=("car", "pit"), help="take only reports (car) or only calls (pit)"
    )
    parser.add_argument(
        "--near",
        action="append",
        default=[],
        metavar="FIELD=VALUE",
        help="what a wrapped field is expected to be near, such as lap=23",
    )
    parser.add_argument(
        "--all", action="store_true", help="print every possible reading instead of refusing ties"
    )
    add_json(parser)
    parser.set_defaults(run=run, gather="text")


def run(args: argparse.Namespace) -> int:
    """Decode each line; the exit code is 1 if one of them needs a repeat."""
    from codec.cli.common import by_names, report
    from codec.decoding import decode_all, readings
    from grammar.errors import CodeError, Incomplete
    from grammar.loading import load_book

    book = load_book(args.book)
    context = _context(book, args.near)
    worst = 0
    for line in lines(args.text):
        try:
            if args.all:
                found = readings(book, line, direction=args.direction, context=context)
                facts = [{**reading.as_dict(), "choices": len(found)} for reading in found]
            else:
                transcript = decode_all(book, line, direction=args.direction, context=context)
                found, facts = list(transcript.reports), transcript.as_dicts(book)
            if not facts:
                raise Incomplete(
                    "no report in this", kind="no-report", source=line, span=(len(line), len(line))
                )
        except CodeError as error:
            error.hint = by_names(book, line) or error.hint
            worst = max(worst, report(error, as_json=args.json))
            continue
        if args.json:
            for fact in facts:
                emit(fact)
        else:
            _show(book, found, facts)
    return worst


def _context(book: Book, near: Sequence[str]) -> dict[str, str]:
    """Return what wrapped fields are expected to be near; raises CodeError for a field that is not
    wrapped, or no number.
    """
    from grammar.errors import CodeError

    context = given(near, "context")
    wrapped = {name: one for name, one in book.fields.items() if one.wraps}
    for name, value in context.items():
        if name not in wrapped:
            raise CodeError(
                f"--near {name}: no wrapped field of the book",
                kind="usage",
                expected=list(wrapped) or ["a book with one"],
            )
        wrapped[name].given(value)
    return context


def _show(book: Any, found: list[Any], facts: list[dict[str, Any]]) -> None:
    from codec.screen.reading import event_lines, reading_lines

    shown = iter(found)
    for fact in facts:
        if "message" in fact:
            reading_lines(book, next(shown))
        else:
            event_lines(fact)
