"""``niner book analyse``: where a book's seconds go, what is confused in it, and what the designer
would change.
"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from codec.cli.common import add_book, add_command, add_json, emit, integer

if TYPE_CHECKING:
    from grammar.book import Book
    from grammar.design import Analysis, Proposal


_WHY = {
    "card": "read from a card, wrong readings no more as far as can be told",
    "quickest": "the least time, wrong readings no more as far as can be told",
    "surest": "the least wrong readings",
}


def add_analyse(actions: Any) -> None:
    """Add ``book analyse``."""
    parser = add_command(
        actions,
        "analyse",
        "where a message's seconds go, what is confused, what the designer would change",
    )
    add_book(parser)
    parser.add_argument(
        "--message", help="the message; the default is the one with the most readings"
    )
    parser.add_argument(
        "--pairs",
        type=integer,
        default=10,
        metavar="N",
        help="how many easily confused pairs to list (10)",
    )
    parser.add_argument(
        "--seed",
        type=integer,
        default=1,
        help="the same seed gives the same figures (1)",
    )
    parser.add_argument(
        "--quick", action="store_true", help="do not design anything for comparison"
    )
    add_json(parser)
    parser.set_defaults(run=run_analyse)


def run_analyse(args: argparse.Namespace) -> int:
    """Analyse a message and compare it with what the designer proposes."""
    from grammar.design import analyse, remarks
    from grammar.loading import load_book

    book = load_book(args.book)
    message = args.message or _largest(book)
    found = analyse(book, message, pairs=max(0, args.pairs), seed=args.seed)
    told = remarks(book, found)
    after = [] if args.quick else _after(book, found, args.seed)
    if args.json:
        emit(_facts(found, told, after))
        return 0
    from codec.screen.analysis import analysis

    analysis(found, told, after)
    return 0


def _largest(book: Book) -> str:
    from grammar.figures import readings

    return max(book.messages.values(), key=lambda message: readings(message) or 0).name


def _after(book: Book, found: Analysis, seed: int) -> list[tuple[str, Proposal]]:
    """Return the quickest proposals that people can read and that are as safe as the book, and the
    quickest of all that are.
    """
    from codec.screen.design import progress
    from grammar.design import candidates, needs_of, safest

    needs = needs_of(book, found.message)
    makers = list(candidates(needs, ("assigned", "variable", "packed"), seed))
    wrong = found.wrong + 2 * found.wrong_error
    with progress("designing", len(makers)) as done:
        best = safest(needs, makers, wrong, draws=600, seed=seed, done=done)
    told: dict[str, tuple[str, Proposal]] = {}
    for what, why in _WHY.items():
        if what in best and best[what].name not in told:
            told[best[what].name] = (why, best[what])
    return list(told.values())


def _facts(found: Analysis, told: list[str], after: list[tuple[str, Proposal]]) -> dict[str, Any]:
    return {
        "message": found.message,
        "seconds": {"mean": found.mean, "error": found.error, "worst": found.worst},
        "bound": found.bound.seconds,
        "wrong": found.wrong,
        "ask": found.ask,
        "tables": [
            {
                "table": one.table,
                "seconds": one.seconds,
                "bits": one.bits,
                "least": one.least,
                "wasted": one.waste,
            }
            for one in found.spent
        ],
        "confused": [
            {
                "table": p.table,
                "said": p.said,
                "read": p.read,
                "share": p.share,
                "harm": p.harm,
                "noticed": p.noticed,
                "cost": p.cost,
            }
            for p in found.mixed
        ],
        "remarks": told,
        "proposals": [{"why": why, **one.as_dict()} for why, one in after],
    }
