"""``niner log``: log spoken reports live, on the whole terminal or from a pipe."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from codec.cli.common import add_json, emit, lines
from grammar.errors import CodeError

if TYPE_CHECKING:
    from codec.sheet.live import Session


def add(commands: Any) -> None:
    """Add the command."""
    about = "Type what was heard, press Enter: it is decoded, shown and on the disk. From a pipe, one line a report."
    caution = (
        "The event's rules on radio use come first. A temperature or insulation warning is handled by the event's and the team's own "
        "safety procedures and by qualified people; this screen only shows it."
    )
    parser = commands.add_parser("log", help="log spoken reports live", description=about, epilog=caution)
    parser.add_argument("sheet", metavar="SHEET", help="the sheet's file; made if it is not there")
    parser.add_argument("--book", help="the code book, for a new sheet")
    parser.add_argument("--event", help="the event file: shows where the race is heading, and what to call")
    parser.add_argument("--car", default="", metavar="CAR[=DRIVER]", help="the car spoken to; the last one if not given")
    parser.add_argument("--writer", default="", help="your name, kept with what you log; your account's if not given")
    add_json(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Log until the engineer leaves, or the pipe ends; from a pipe the exit code is 1 if a report needs a repeat."""
    from codec import load_book
    from codec.sheet import Journal
    from codec.sheet.live import Session

    if args.book is None and not Path(args.sheet).exists():
        raise CodeError(f"there is no sheet {args.sheet!r}", kind="usage", hint="name the code book for a new one: --book")
    with Journal(args.sheet, load_book(args.book) if args.book is not None else None, writer=args.writer) as journal:
        session = Session(journal)
        car, _, driver = args.car.partition("=")
        if car:
            session.enter(f"/car {car} {driver}".strip())
        if not sys.stdin.isatty() or not sys.stdout.isatty():
            return _piped(session, as_json=args.json)
        from codec.race import load_event
        from codec.screen.log import Log

        Log(session, load_event(args.event, journal.book) if args.event else None).run()
    return 0


def _piped(session: Session, *, as_json: bool) -> int:
    """Log the lines of standard input; the exit code is 1 if one of them needs a repeat."""
    worst = 0
    for line in lines([]):
        shown = session.enter(line)
        worst = max(worst, int(shown.tone == "bad"))
        if as_json:
            emit({"heard": line, "tone": shown.tone, "told": list(shown.lines)})
        else:
            print("\n".join(shown.lines), flush=True)
    return worst
