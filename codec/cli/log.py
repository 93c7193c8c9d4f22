"""``niner log``: log spoken reports live, on the whole terminal or from a pipe."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from codec.cli.common import add_json, add_profiles, emit, event_file, lines, say, tell
from grammar.errors import CodeError, visible

if TYPE_CHECKING:
    from codec.log.session import Session
    from codec.race import Event
    from grammar.book import Book


def add(commands: Any) -> None:
    """Add the command."""
    about = (
        "Type what was heard, press Enter: it is decoded, shown and on the disk. From a pipe, one"
        " line a report."
    )
    caution = (
        "The event's rules on radio use come first. A temperature or insulation warning is handled"
        " by the event's and the team's own safety procedures and by qualified people; this screen"
        " only shows it."
    )
    parser = commands.add_parser("log", description=about, epilog=caution)
    parser.add_argument("sheet", metavar="SHEET", help="the sheet's file; made if it is not there")
    parser.add_argument("--book", help="the code book, for a new sheet")
    parser.add_argument(
        "--event",
        help=(
            "the event file: shows where the race is heading, what to call, and which reports do"
            " not fit"
        ),
    )
    add_profiles(parser)
    parser.add_argument(
        "--car",
        action="append",
        default=[],
        metavar="CAR[=DRIVER]",
        help=(
            "the car spoken to, a new one beside others with its driver; the last one if not given;"
            " once for each car, the first is spoken to"
        ),
    )
    parser.add_argument(
        "--writer",
        default="",
        help="your name, kept with what you log; your account's if not given",
    )
    parser.add_argument(
        "--listen",
        nargs="?",
        const="",
        metavar="DEVICE",
        help=(
            "hear reports by a microphone or a line-in, too: the usual one, one by its number or a"
            " part of its name; a recording, or - for standard input, stands for one"
        ),
    )
    add_json(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Log until the engineer leaves, or the pipe ends; from a pipe the exit code is 1 if a report
    needs a repeat.
    """
    from codec.log.commands import speak_to
    from codec.log.session import Session
    from codec.sheet import Journal
    from codec.store.place import place_of
    from grammar.loading import load_book

    place = place_of(args.sheet)
    if args.book is None and isinstance(place, Path) and not place.exists():
        raise CodeError(
            f"there is no sheet {args.sheet!r}",
            kind="usage",
            hint="name the code book for a new one: --book",
        )
    book = load_book(args.book) if args.book is not None else None
    event = (
        _event(args, book) if book is not None else None
    )  # before a sheet is made: a wrong file leaves none behind
    with Journal(place, book, writer=args.writer) as journal:
        event = event or _event(args, journal.book)
        session = Session(journal, event=event)
        begun = session.spoken_to() if session.car and not args.car else None
        for car in args.car[1:] + args.car[:1]:  # the first one last: it is spoken to
            begun = speak_to(session, car)
        if not sys.stdin.isatty() or not sys.stdout.isatty():
            if begun is not None and begun.tone == "warning":
                tell("\n".join(begun.lines))
            if session.clock_off:
                tell(f"niner: {session.clock_off}")
            return _piped(session, args)
        from codec.screen.log import Log

        Log(session, begun, listen=args.listen).run()
    return 0


def _event(args: argparse.Namespace, book: Book) -> Event | None:
    """Return the event, if one is named."""
    file = event_file(args)
    return None if file is None else file.event(book)


def _piped(session: Session, args: argparse.Namespace) -> int:
    """Log what is heard, then the lines of standard input; a line that could not be written is told
    with what it said, and the next is tried.

    The exit code is 1 if a line needs a repeat, 2 if one is not in the sheet.
    """
    worst = 0
    if args.listen is not None:
        worst = _logged(session, _heard(session, args.listen, as_json=args.json), args)
    return worst if args.listen == "-" else max(worst, _logged(session, lines([]), args))


def _heard(session: Session, device: str, *, as_json: bool) -> Iterator[str]:
    """Yield the lines that take what was heard and is sure; tell what is not."""
    from codec.log.offered import offer, what_was_said
    from codec.voice.live import listen_live

    for said, over in listen_live(session.book, device):
        found = what_was_said(session.expected, said) if over else None
        offered = None if found is None else offer(session, found, said.text)
        if offered is None:
            continue
        if offered.surely:
            yield offered.line(by_itself=True)
        elif as_json:
            take = offered.line(by_itself=False)
            emit({"offered": take, "tone": offered.shown.tone, "told": [*offered.shown.lines]})
        else:
            say("\n".join((*offered.shown.lines, f"not taken: {offered.line(by_itself=False)}")))


def _logged(session: Session, typed: Iterable[str], args: argparse.Namespace) -> int:
    """Log lines; return the exit code."""
    to_json, fields = session.journal.table.as_json, session.journal.book.fields
    worst, as_json = 0, args.json
    for line in typed:
        try:
            shown = session.enter(line)
        except CodeError as error:
            worst = max(worst, _not_written(line, error, as_json=as_json))
            continue
        if session.over:
            break
        worst = max(worst, int(shown.tone == "bad"))
        if as_json:
            emit(
                {
                    "heard": line,
                    "tone": shown.tone,
                    "told": list(shown.lines),
                    "written": [to_json(one, fields) for one in shown.written],
                }
            )
        else:
            say("\n".join(shown.numbered().lines))
    return worst


def _not_written(line: str, error: CodeError, *, as_json: bool) -> int:
    """Tell a line that is not in the sheet, so that it can be entered again."""
    if as_json:
        emit({"heard": line, **error.as_dict(), "written": []})
    else:
        tell(f"niner: {visible(line)}: {error}")
    return error.exit_code
