"""``niner book lint``: what people stumble over in a book that is sound."""

from __future__ import annotations

import argparse
from dataclasses import asdict
from typing import Any

from codec.cli.common import add_book, add_command, add_json, amount, emit
from grammar.display import DISPLAYS


def add_lint(actions: Any) -> None:
    """Add ``book lint``."""
    parser = add_command(
        actions,
        "lint",
        "what is no mistake but makes a code harder for people: look-alikes, values easily taken"
        " for each other, symbols with two meanings, symbols nothing says, numbers out of order,"
        " no check symbol",
    )
    add_book(parser)
    parser.add_argument(
        "--display",
        choices=DISPLAYS,
        help="what the dash draws characters with (what the book's [dash] says)",
    )
    parser.add_argument(
        "--rows",
        type=amount,
        default=6,
        metavar="N",
        help="remarks of each kind to show, 0 for all (6)",
    )
    add_json(parser)
    parser.set_defaults(run=run_lint)


def run_lint(args: argparse.Namespace) -> int:
    """Tell the remarks; 0, whatever they are."""
    from grammar.design.lint import lint
    from grammar.loading import load_book

    book = load_book(args.book)
    remarks = lint(book, args.display)
    if args.json:
        for one in remarks:
            emit(asdict(one))
    else:
        from codec.screen.book_lint import show

        show(book.title, remarks, rows=args.rows)
    return 0
