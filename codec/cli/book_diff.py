"""``niner book diff``: what is no longer as it was, for each who has to learn it."""

from __future__ import annotations

import argparse
import dataclasses
from typing import Any

from codec.cli.common import add_command, add_json, amount, emit, integer, say


def add_diff(actions: Any) -> None:
    """Add ``book diff``."""
    parser = add_command(
        actions,
        "diff",
        "what is not as it was, for driver, engineer, dash and tool, and how often what was right"
        " would now be read as something else",
    )
    parser.add_argument("old", metavar="OLD", help="the code book as it was")
    parser.add_argument("new", metavar="NEW", help="the code book as it is now")
    parser.add_argument(
        "--for",
        dest="learner",
        choices=("driver", "engineer", "dash", "tool"),
        help="only what concerns one of them",
    )
    parser.add_argument(
        "--rows",
        type=amount,
        default=8,
        metavar="N",
        help="codewords of each table to show, 0 for all (8)",
    )
    parser.add_argument(
        "--card",
        metavar="FILE.html",
        help="write a card of what is to be learnt anew, to print; needs --for",
    )
    parser.add_argument("--replace", action="store_true", help="write over a card that is there")
    parser.add_argument(
        "--draws",
        type=amount,
        default=500,
        metavar="N",
        help="old strings of each message to read with the new book (500)",
    )
    parser.add_argument(
        "--seed", type=integer, default=1, help="the same seed gives the same strings (1)"
    )
    add_json(parser)
    parser.set_defaults(run=run_diff)


def run_diff(args: argparse.Namespace) -> int:
    """Hold two books against each other."""
    from codec.files import refuse_unwritable, write
    from grammar.difference import changes, misread
    from grammar.errors import CodeError
    from grammar.export.card import relearning
    from grammar.loading import load_book

    if args.card and not args.learner:
        raise CodeError(
            "a card is for one reader", kind="usage", hint="say for whom with --for, e.g. driver"
        )
    if args.card:
        refuse_unwritable(args.card, replace=args.replace, option="--card")
    old, new = load_book(args.old), load_book(args.new)
    found = [change for change in changes(old, new) if args.learner in (None, *change.concerns)]
    strings = misread(old, new, args.draws, args.seed)
    if args.json:
        for change in found:
            emit(
                {
                    "concerns": list(change.concerns),
                    "about": change.about,
                    "text": change.text,
                    "rows": [row._asdict() for row in change.rows],
                }
            )
        for one in strings:
            emit({"old strings": dataclasses.asdict(one)})
    else:
        from codec.screen.book_diff import show

        show(found, strings, rows=args.rows)
    if args.card:
        mark = f"Book {new.digest[:8]}, was {old.digest[:8]}."
        page = relearning(new, found, args.learner, mark).encode()
        write(args.card, page, replace=args.replace)
        if not args.json:
            say(f"written: {args.card}")
    return 0
