"""``niner hear``: a report heard through noise: what it may mean, how sure that is, and what to
ask.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from codec.cli.common import add_book, add_json, emit, given, integer, lines

if TYPE_CHECKING:
    from codec.hear import Hearing, Prior
    from grammar.book import Book

_ABOUT = """Weigh every reading of a report heard through noise. Write ? for a word that was not
understood, five=0.6/nine=0.3 for words between which a recogniser could not decide; any other word
is placed by its sound. One report from the arguments, or one a line from standard input; a line
there may be a JSON list, an item for each word: a text, or {"word": confidence}."""


def add(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser("hear", description=_ABOUT)
    add_book(parser)
    parser.add_argument(
        "text",
        nargs="*",
        metavar="WORD",
        help="the report as heard; standard input if none is given",
    )
    parser.add_argument(
        "--prior",
        action="append",
        default=[],
        metavar="STRING|FIELD=VALUE",
        help=(
            "the last accepted report, as its string, or values of it such as lap=23; may be"
            " repeated"
        ),
    )
    parser.add_argument(
        "--laps",
        type=integer,
        default=1,
        metavar="N",
        help="how many laps ago that was (1)",
    )
    parser.add_argument(
        "--flat", action="store_true", help="expect nothing, not even what the book calls usual"
    )
    parser.add_argument(
        "--noise",
        metavar="GRADE",
        help="clear, noisy, harsh, or a signal-to-noise ratio in decibels (the book's)",
    )
    parser.add_argument(
        "--profile",
        metavar="FILE",
        help="what these people take for what, from niner drill profile",
    )
    parser.add_argument(
        "--earlier",
        action="append",
        default=[],
        metavar="TEXT",
        help="what was heard of this report before; the words then answer what it asked",
    )
    parser.add_argument(
        "--follow",
        action="store_true",
        help="let each report accepted be what the next line is expected to be near",
    )
    parser.add_argument(
        "--direction", choices=("car", "pit"), help="reports (car, the default) or calls (pit)"
    )
    parser.add_argument(
        "--count",
        type=integer,
        default=5,
        metavar="N",
        help="how many readings to list (5)",
    )
    add_json(parser)
    parser.set_defaults(run=run, gather="text")


def run(args: argparse.Namespace) -> int:
    """Hear each line; the exit code is 1 if one of them was not accepted."""
    from codec.cli.common import by_names, report, say
    from codec.hear import Prior
    from grammar.errors import CodeError
    from grammar.loading import load_book

    for option, number in (("--laps", args.laps), ("--count", args.count)):
        if number < 1:
            raise CodeError(f"{option} {number}", kind="usage", expected=["1 or more"])
    book = load_book(args.book)
    prior = Prior(flat=True) if args.flat else _prior(book, args.prior, args.laps)
    noise: Any = grade(args.noise)
    if args.profile:
        from codec.profile import channel_of, profile_for

        noise = channel_of(book, profile_for(book, args.profile), noise)
    worst, radio = 0, tuple[float, ...]()
    for line in lines(args.text):
        try:
            hearing = _heard(book, _words(line), prior, noise, radio, args)
        except CodeError as error:
            worst = max(worst, report(error, as_json=args.json))
            continue
        if args.json:
            emit(hearing.as_dict())
        else:
            from codec.screen.hear import show

            show(hearing)
            if hearing.accepted is None and (told := by_names(book, line)):
                say(f"hint: {told}")
        if args.follow:
            radio = hearing.radio
        if hearing.accepted is None:
            worst = max(worst, 1)
        elif args.follow:
            prior = Prior.of(hearing.accepted)
    return worst


def _heard(
    book: Book,
    words: Any,
    prior: Prior,
    noise: Any,
    radio: Sequence[float],
    args: argparse.Namespace,
) -> Hearing:
    from codec.hear import hear

    earlier: Sequence[Hearing] = ()
    for text in args.earlier:
        earlier = [
            hear(
                book,
                _words(text),
                prior=prior,
                noise=noise,
                earlier=earlier,
                direction=args.direction,
                radio=radio,
            )
        ]
    return hear(
        book,
        words,
        prior=prior,
        noise=noise,
        earlier=earlier,
        direction=args.direction,
        radio=radio,
        count=args.count,
    )


def _prior(book: Book, given_prior: Sequence[str], laps: int) -> Prior:
    """Return the prior of strings and values; values come after strings, so that lap=23 completes
    the 3 of a string.
    """
    from codec.hear import Prior

    values: dict[str, Any] = {}
    for text in given_prior:
        if "=" not in text:
            from codec.decoding import decode

            values |= dict(decode(book, text).values)
    values |= {
        name: _value(book, name, value)
        for name, value in given([one for one in given_prior if "=" in one], "value").items()
    }
    return Prior(values, dict.fromkeys(values, laps))


def _value(book: Book, name: str, text: str) -> Any:
    """Return a value from the command line as its field has it; an unknown field is refused later,
    with the names there are.
    """
    one = book.fields.get(name)
    if one is None:
        return text
    one.level(text)
    return one.given(text)


def grade(text: str | None) -> str | float | None:
    """Return a grade of noise as given: a name, or decibels as a number."""
    try:
        return None if text is None else float(text)
    except ValueError:
        return text


def _words(line: str) -> Any:
    """Return a line as text, or as the list of words it writes as JSON."""
    if not line.lstrip().startswith("[") or not line.rstrip().endswith("]"):
        return line
    try:
        items = json.loads(line)
    except ValueError:
        return line  # [unclear] and the like
    return items if isinstance(items, list) else line
