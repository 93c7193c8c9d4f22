"""``niner season``: all events on one server, or in one folder, as one."""

from __future__ import annotations

import argparse
import contextlib
import dataclasses
import datetime
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from codec.cli.common import add_command, add_json, emit, say, tell
from codec.store.place import WHOLE
from grammar.errors import CodeError

if TYPE_CHECKING:
    from codec.season.events import Wanted
    from codec.season.source import Season

_ABOUT = (
    "All events of a season as one: a folder of sheets, a folder that niner season export made, or"
    " a server, which adds up itself."
)


def add(commands: Any) -> None:
    """Add the command and its own commands."""
    parser = commands.add_parser("season", description=_ABOUT)
    actions = parser.add_subparsers(title="commands", metavar="command", required=True)
    for name, about, run in (
        ("list", "the events, with their dates, books and drivers", run_list),
        ("words", "the words heard for others", run_words),
        (
            "calibration",
            "how sure readings were said to be, and what came of them",
            run_calibration,
        ),
        ("times", "the seconds that reports take, and that it takes to settle one", run_times),
        ("questions", "how often reports were asked for again", run_questions),
    ):
        action = add_command(actions, name, about)
        _add_wanted(action)
        if run in (run_times, run_questions):
            _add_by(action)
        if run is run_calibration:
            action.add_argument(
                "--recorded",
                metavar="FOLDER",
                help="hold readings against what cars recorded, too: files EVENT.CAR.csv there",
            )
        add_json(action)
        action.set_defaults(run=run)
    profile = add_command(
        actions,
        "profile",
        "write what a season shows of a person, for hear, encode, design, race and the drill",
    )
    _add_wanted(profile)
    profile.add_argument("-o", "--output", metavar="FILE", required=True, help="the profile")
    profile.add_argument(
        "--with",
        dest="others",
        metavar="PROFILE",
        action="append",
        default=[],
        help="count a profile in, as of drills; may be given again",
    )
    profile.add_argument(
        "--races",
        metavar="FOLDER",
        help="tell how targets were kept, by event files there: EVENT.CAR.toml",
    )
    profile.add_argument(
        "--replace", action="store_true", help="write over a profile that is there"
    )
    add_json(profile)
    profile.set_defaults(run=run_profile)
    export = add_command(
        actions, "export", "write the events as Parquet files, a folder for each, for notebooks"
    )
    export.add_argument("where", metavar="WHERE", help=WHOLE)
    export.add_argument("folder", metavar="OUT", help="where to write; made if it is not there")
    _add_events(export)
    export.add_argument("--replace", action="store_true", help="write over events that are there")
    add_json(export)
    export.set_defaults(run=run_export, driver=[], engineer=[])


def _add_wanted(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("where", metavar="WHERE", help=WHOLE)
    for name, what in (
        ("driver", "only reports of this driver"),
        ("engineer", "only reports that this engineer wrote down"),
    ):
        _add_names(parser, name, what)
    _add_events(parser)


def _add_names(parser: argparse.ArgumentParser, name: str, what: str) -> None:
    more = f"{what}; may be given again"
    parser.add_argument(f"--{name}", metavar="NAME", action="append", default=[], help=more)


def _add_events(parser: argparse.ArgumentParser) -> None:
    _add_names(parser, "book", "only events with this book: its name, or how its digest begins")
    parser.add_argument("--from", dest="first", metavar="DATE", type=_date, help="from this day on")
    parser.add_argument("--to", dest="last", metavar="DATE", type=_date, help="up to this day")


def _add_by(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--by",
        choices=("driver", "engineer", "book", "event"),
        default="driver",
        help="a line for each driver, engineer, book or event (driver)",
    )


def _date(text: str) -> str:
    """Return a day as it is written (ISO 8601); argparse tells the option beside the error."""
    try:
        return datetime.date.fromisoformat(text).isoformat()
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is no day: 2026-05-01 is expected") from None


@contextlib.contextmanager
def _opened(args: argparse.Namespace) -> Iterator[tuple[Season, Wanted]]:
    """Open the season asked for; tell what was left out."""
    from codec.screen.season import reading
    from codec.season.events import Wanted
    from codec.season.source import opened_season
    from codec.store.place import place_of

    wanted = Wanted(
        tuple(args.driver), tuple(args.engineer), tuple(args.book), args.first or "",
        args.last or "",
    )  # fmt: skip
    with reading() as told, opened_season(place_of(args.where), told) as season:
        try:
            yield season, wanted
        finally:
            for line in season.left_out:
                tell(f"left out: {line}")


def run_list(args: argparse.Namespace) -> int:
    """List the events."""
    from codec.season.queries import listed_events

    with _opened(args) as (season, wanted):
        found = listed_events(season, wanted)
    if args.json:
        for event, drivers in found:
            facts = dataclasses.asdict(event)
            del facts["number"]
            emit(facts | {"drivers": drivers})
        return 0
    from codec.screen.season import listing

    listing(found)
    return 0


def run_words(args: argparse.Namespace) -> int:
    """Tell the words heard for others."""
    from codec.screen import season as screen
    from codec.season.words import words_heard

    with _opened(args) as (season, wanted):
        found = words_heard(season, wanted)
    if args.json:
        for confused in found.confused:
            emit(confused.as_dict())
        emit({"hearings": dict(found.hearings), "words": found.said, "unlike": found.unlike})
        return 0
    screen.words(found)
    return 0


def run_calibration(args: argparse.Namespace) -> int:
    """Tell how sure readings were said to be, and what came of them."""
    from pathlib import Path

    from codec.screen import season as screen
    from codec.season.calibration import PUT_RIGHT, STANDS, calibration
    from codec.season.recorded import against_record
    from codec.store.place import place_of

    with _opened(args) as (season, wanted):
        found = calibration(season, wanted)
        recorded = (
            against_record(season, place_of(args.where), wanted, Path(args.recorded))
            if args.recorded
            else None
        )
    if not args.json:
        screen.calibration(found, recorded)
        return 0
    for one in found:
        emit(one.as_dict())
    for one in [] if recorded is None else recorded[0]:
        right, wrong = one.outcomes[STANDS], one.outcomes[PUT_RIGHT]
        names = ("from", "to", "accepted", "stated")
        facts = {name: fact for name, fact in one.as_dict().items() if name in names}
        emit(facts | {"recorded_right": right, "recorded_wrong": wrong})
    return 0


def run_times(args: argparse.Namespace) -> int:
    """Tell the seconds."""
    from codec.screen import season as screen
    from codec.season.groups import times

    with _opened(args) as (season, wanted):
        found = times(season, wanted, args.by)
    if not args.json:
        screen.times(found, args.by)
        return 0
    for one in found:
        spoken, settled = (each and each.as_dict() for each in (one.spoken, one.settled))
        emit({"name": one.name, "spoken": spoken, "settled": settled})
    return 0


def run_questions(args: argparse.Namespace) -> int:
    """Tell what was asked."""
    from codec.screen import season as screen
    from codec.season.groups import questions, wordings

    with _opened(args) as (season, wanted):
        found, worded = questions(season, wanted, args.by), wordings(season, wanted)
    if not args.json:
        screen.questions(found, worded, args.by)
        return 0
    for one in found:
        emit(one.as_dict())
    for text, count in worded:
        emit({"question": text, "times": count})
    return 0


def run_export(args: argparse.Namespace) -> int:
    """Write the events as Parquet files."""
    from pathlib import Path

    from codec.screen.season import reading
    from codec.season.export import export

    with _opened(args) as (season, wanted), reading("events written") as told:
        for path in export(season, wanted, Path(args.folder), replace=args.replace, told=told):
            if args.json:
                emit({"file": str(path)})
            else:
                say(str(path))
    return 0


def run_profile(args: argparse.Namespace) -> int:
    """Write a profile."""
    from pathlib import Path

    from codec.profile import load_profile, save_profile
    from codec.screen import season as screen
    from codec.season.profile import habits_of_season, profile_of_season
    from codec.store.place import place_of

    if not args.driver and (args.races or not args.engineer):
        raise CodeError("whose profile?", kind="usage", expected=["--driver NAME"])
    if Path(args.output).exists() and not args.replace:
        raise CodeError(
            f"{args.output!r} is there already",
            kind="usage",
            hint="name another file, or pass --replace",
        )
    others = [load_profile(path) for path in args.others]
    with _opened(args) as (season, wanted):
        found, races = profile_of_season(season, wanted), list[str]()
        profile = found.profile
        if args.races:
            folder = Path(args.races)
            driven, races = habits_of_season(season, place_of(args.where), wanted, folder)
            profile = profile.merged(driven)
    for other in others:
        profile = profile.merged(other)
    save_profile(profile, args.output)
    if args.json:
        emit({"file": args.output, "people": list(profile.people), "words": found.heard.said,
              "hearings": dict(found.heard.hearings), "timed": found.timed,
              **({"races": races, "targets": profile.targets} if races else {})})  # fmt: skip
        return 0
    screen.profile(args.output, found, profile, races, len(others))
    return 0
