"""``niner sheet debrief`` and ``niner sheet compare``: the commands that ``niner sheet`` takes
over.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from codec.cli.common import add_json, emit, say
from grammar.errors import CodeError

if TYPE_CHECKING:
    from codec.debrief import Finding
    from codec.sheet import Entry
    from grammar.book import Book


def add_debrief(actions: Any) -> None:
    """Add ``debrief`` to the commands of ``niner sheet``."""
    about = (
        "Write the race as one HTML page that needs nothing else, and its figures as SVG and PNG."
    )
    parser = actions.add_parser(
        "debrief", help="the race on one page, with figures", description=about
    )
    parser.add_argument("sheet", metavar="SHEET", help="the sheet's file")
    parser.add_argument("folder", metavar="FOLDER", help="where to write; made if it is not there")
    parser.add_argument(
        "--event", help="the event file: adds the energy, its forecast, and the doubtful reports"
    )
    parser.add_argument(
        "--recorded",
        metavar="CAR.csv",
        help="what the car recorded: adds what was read wrong, heard wrong or late",
    )
    parser.add_argument("--car", help="the car; may be left out where the sheet has one")
    parser.add_argument(
        "--replace", action="store_true", help="write over an earlier debrief in the folder"
    )
    add_json(parser)
    parser.set_defaults(run=run_debrief)


def add_compare(actions: Any) -> None:
    """Add ``compare`` to the commands of ``niner sheet``."""
    about = (
        "Hold what was said against what the car recorded, lap by lap. CAR.csv has a column lap,"
        " columns named as the book's fields with the values recorded, and, where known, time (when"
        " the lap ended), dash (the symbols shown) and said (the driver's words)."
    )
    parser = actions.add_parser(
        "compare", help="what was said against what the car recorded", description=about
    )
    parser.add_argument("sheet", metavar="SHEET", help="the sheet's file")
    parser.add_argument("recorded", metavar="CAR.csv", help="what the car recorded")
    parser.add_argument("--car", help="the car; may be left out where the sheet has one")
    parser.add_argument(
        "--profile",
        metavar="FILE",
        help="write the words counted as a profile, for hear, encode and design",
    )
    parser.add_argument("--replace", action="store_true", help="write over a profile that is there")
    add_json(parser)
    parser.set_defaults(run=run_compare)


def _opened(args: argparse.Namespace) -> tuple[Book, list[Entry], str, str]:
    """Return the book, the entries, the car and its driver."""
    from codec.cli.race import car_of
    from codec.sheet import Journal
    from codec.sheet.state import cars

    with Journal(args.sheet) as journal:
        entries = list(journal.entries())
        named = cars(entries)
        car = car_of(named, args.car)
        return journal.book, entries, car, named.get(car, "")


def run_debrief(args: argparse.Namespace) -> int:
    """Write the debrief."""
    from codec.debrief import read_car_file, summarise
    from codec.debrief.page import write
    from codec.race import load_event

    book, entries, car, _ = _opened(args)
    event = load_event(args.event, book) if args.event else None
    recorded = read_car_file(args.recorded, book) if args.recorded else None
    written = write(
        summarise(book, entries, car=car, event=event, recorded=recorded),
        args.folder,
        replace=args.replace,
    )
    for path in written:
        if args.json:
            emit({"file": str(path)})
        else:
            say(str(path))
    return 0


def run_compare(args: argparse.Namespace) -> int:
    """Compare, and count words into a profile where one is named."""
    from codec.debrief import compare, read_car_file

    book, entries, car, driver = _opened(args)
    found = compare(book, entries, read_car_file(args.recorded, book), car=car)
    if args.profile:
        from codec.profile import save_profile

        if Path(args.profile).exists() and not args.replace:
            raise CodeError(
                f"{args.profile!r} is there already",
                kind="usage",
                hint="name another file, or pass --replace",
            )
        save_profile(found.profile(book, driver or f"car {car}"), args.profile)
    if not args.json:
        from codec.screen.race import show_comparison

        show_comparison(book, found)
        return 0
    for finding in found.findings:
        emit(_facts(finding))
    emit(
        {
            "words": len(found.heard),
            "confused": [list(one) for one in found.confused()],
            "unused": list(found.unused),
        }
    )
    return 0


def _facts(finding: Finding) -> dict[str, Any]:
    return {
        "lap": finding.lap,
        "found": finding.verdict,
        "entry": finding.seq,
        "caught": finding.caught,
        "dash": finding.dash,
        "said": finding.said,
        "heard": finding.heard,
        "fields": list(finding.fields),
        "words": [list(pair) for pair in finding.words],
        "rounding": {name: float(gap) for name, gap in finding.largest.items()},
        "note": finding.note,
    }
