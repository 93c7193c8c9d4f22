"""``niner book simulate``: how a book fares in noise, before anyone drives with it."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from codec.cli.common import add_book, add_json, emit, integer

if TYPE_CHECKING:
    from codec.hear.simulate import Setting
    from codec.hear.tally import Tally
    from grammar.book import Book

_ABOUT = """Let a book's reports be said as its fields are expected to be, heard through noise,
accepted or asked for again. Prints how sure the readings were called and how often that was right,
what each threshold would let pass, how often it asks, and the radio time that takes."""


def add_simulate(subcommands: Any) -> None:
    """Add the command to those of ``niner book``."""
    parser = subcommands.add_parser(
        "simulate",
        help="let its reports be heard through noise, thousands of times",
        description=_ABOUT,
    )
    add_book(parser)
    parser.add_argument(
        "--reports",
        type=integer,
        default=2000,
        metavar="N",
        help="how many reports (2000)",
    )
    parser.add_argument(
        "--seed",
        type=integer,
        default=1,
        metavar="N",
        help="the same seed gives the same reports (1)",
    )
    parser.add_argument(
        "--laps",
        type=integer,
        default=20,
        metavar="N",
        help="laps in a run; each begins with nothing known (20)",
    )
    parser.add_argument(
        "--noise",
        metavar="GRADE",
        help="clear, noisy, harsh, or decibels: what the hearer assumes (the book's)",
    )
    parser.add_argument(
        "--truth", metavar="GRADE", help="the noise the reports really pass through (the same)"
    )
    parser.add_argument(
        "--mistaken",
        type=float,
        default=0.0,
        metavar="SHARE",
        help="share of the confusions that really go to other words (0)",
    )
    parser.add_argument(
        "--hearings",
        type=integer,
        default=2,
        metavar="N",
        help="how often a report is heard before giving up (2)",
    )
    parser.add_argument(
        "--compare", action="store_true", help="with and without what the last laps tell"
    )
    parser.add_argument(
        "--figure", metavar="FILE", help="draw the figures into an .svg or .png file"
    )
    add_json(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Simulate, print, draw."""
    from grammar.loading import load_book

    book = load_book(args.book)
    _checked(args)
    tallies = [_simulated(book, setting, quiet=args.json) for setting in _settings(book, args)]
    if args.figure:  # first, as whoever reads what is printed may go away
        from codec.files import write
        from codec.hear.figure import picture

        write(
            args.figure,
            picture(tallies, book.hearing.threshold, Path(args.figure).suffix[1:].lower()),
            replace=True,
        )
    if args.json:
        for tally in tallies:
            emit(tally.as_dict())
    else:
        from codec.screen.simulate import show

        show(tallies, book.hearing.threshold)
    return 0


def _checked(args: argparse.Namespace) -> None:
    """Refuse settings out of range before anything is simulated; raises CodeError."""
    from grammar.errors import CodeError

    for name, low, high in (
        ("reports", 1, 10_000_000),
        ("laps", 1, 10_000),
        ("hearings", 1, 4),
        ("mistaken", 0, 1),
    ):
        if not low <= getattr(args, name) <= high:
            raise CodeError(
                f"--{name} {getattr(args, name)} is out of range",
                kind="usage",
                expected=[f"{low} to {high}"],
            )
    if args.figure and Path(args.figure).suffix.lower() not in (".svg", ".png"):
        raise CodeError(
            f"{args.figure!r} is no figure",
            kind="usage",
            expected=["a file name that ends in .svg or .png"],
        )
    if args.figure and not Path(args.figure).absolute().parent.is_dir():
        raise CodeError(
            f"there is no folder for {args.figure!r}",
            kind="file",
            hint="name a file in a folder that is there",
        )


def _settings(book: Book, args: argparse.Namespace) -> list[Setting]:
    import random

    from codec.cli.hear import grade
    from codec.hear import channel
    from codec.hear.draw import mistaken
    from codec.hear.simulate import Setting

    noise = grade(args.noise)
    truth: Any = grade(args.truth)
    if args.mistaken:
        truth = mistaken(
            channel(book, noise if truth is None else truth),
            args.mistaken,
            random.Random(args.seed),  # noqa: S311 - a simulation must be repeatable
        )
    return [
        Setting(
            args.reports,
            args.seed,
            args.laps,
            noise,
            truth,
            prior,
            args.hearings,
            title="last laps known" if prior else "nothing expected",
        )
        for prior in ((True, False) if args.compare else (True,))
    ]


def _simulated(book: Book, setting: Setting, *, quiet: bool) -> Tally:
    from codec.hear.simulate import simulate

    if quiet:
        return simulate(book, setting)
    from codec.screen.simulate import progress

    with progress(setting.title, setting.reports) as done:
        return simulate(book, setting, done)
