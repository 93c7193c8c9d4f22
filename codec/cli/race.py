"""``niner race``: where the race is heading, the wheel, and a check of the event file."""

from __future__ import annotations

import argparse
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from codec.cli.common import add_command, add_json, add_measure, add_schema, emit, positions, say
from grammar.errors import CodeError, counted

if TYPE_CHECKING:
    from codec.race import Race

_MOST_MINUTES = 240  # of a further neutralisation


def add(commands: Any) -> None:
    """Add the command and its own commands."""
    about = (
        "Where the race is heading, from the reports in the sheet: energy, temperatures, settings,"
        " and the calls to make."
    )
    parser = commands.add_parser("race", description=about)
    actions = parser.add_subparsers(title="commands", metavar="command", required=True)
    show = add_command(actions, "show", "energy, temperatures, wheel, and the calls to make")
    _add_sheet(show)
    show.add_argument(
        "--minutes",
        type=float,
        metavar="N",
        help="how long a further neutralisation lasts in the table of targets",
    )
    add_json(show)
    show.set_defaults(run=run_show)
    wheel = add_command(
        actions, "wheel", "the fewest clicks from here to wanted positions, as calls"
    )
    _add_sheet(wheel)
    wheel.add_argument(
        "wanted",
        nargs="+",
        metavar="DIAL=POSITION",
        help='a position wanted, such as "brake balance=7"',
    )
    add_measure(wheel)
    add_json(wheel)
    wheel.set_defaults(run=run_wheel, gather="wanted")
    check = add_command(actions, "check", "find every problem of an event file")
    check.add_argument("event", metavar="EVENT", help="the event file")
    check.add_argument("book", metavar="BOOK", help="the code book it is used with")
    add_json(check)
    check.set_defaults(run=run_check)
    add_schema(actions, "event", _schema)


def _add_sheet(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("sheet", metavar="SHEET", help="the sheet's file")
    parser.add_argument("event", metavar="EVENT", help="the event file")
    parser.add_argument("--car", help="the car; may be left out where the sheet has one")
    parser.add_argument(
        "--driver",
        metavar="PROFILE",
        help="what is known of the driver: how targets are kept, the seconds of a read-back",
    )
    parser.add_argument(
        "--engineer",
        metavar="PROFILE",
        help="what is known of who calls: the seconds of a call",
    )


def car_of(cars: dict[str, str], car: str | None) -> str:
    """Return the car meant; raises CodeError where it is not in the sheet, or none is named and
    there are several.
    """
    if car is None and len(cars) == 1:
        return next(iter(cars))
    if car is None and not cars:
        return ""
    if car is None or car not in cars:
        message = (
            f"there is no car {car!r} in the sheet"
            if car is not None
            else "the sheet has several cars"
        )
        raise CodeError(message, kind="usage", expected=list(cars), hint="name one with --car")
    return car


def _race(args: argparse.Namespace) -> Race:
    from codec.profile import profile_for
    from codec.race import facts, follow, load_event, with_people
    from codec.sheet import Journal
    from codec.sheet.state import Standing

    with Journal(args.sheet) as journal:
        driver, engineer = (
            None if path is None else profile_for(journal.book, path)
            for path in (args.driver, args.engineer)
        )
        event = with_people(load_event(args.event, journal.book), driver, engineer)
        standing = Standing(journal.entries())
    return follow(event, facts(standing, car_of(standing.cars, args.car)))


def run_show(args: argparse.Namespace) -> int:
    """Show the race."""
    from codec.race import advise

    if args.minutes is not None and not 0 <= args.minutes <= _MOST_MINUTES:
        raise CodeError(
            f"a further neutralisation of {args.minutes:g} minutes",
            kind="minutes",
            expected=[f"0 … {_MOST_MINUTES} minutes"],
        )
    race = _race(args)
    advice = advise(race)
    if args.json:
        from codec.race.as_json import as_dict

        emit(as_dict(race, advice, args.minutes))
    else:
        from codec.screen.race import show_race

        show_race(race, advice, args.minutes)
    return 0


def run_wheel(args: argparse.Namespace) -> int:
    """Print the calls for wanted positions."""
    from codec.race import changes, doubts, settings_calls, wheel_places
    from codec.race.event import MOST_POSITION

    race = _race(args)
    wanted = positions(args.wanted, MOST_POSITION)
    if race.event.wheel is not None:
        from codec.cli.wheel import tell_changes

        unsure = {name: chances for name, chances in doubts(race).items() if name in wanted}
        wheel = race.event.wheel
        stands = {wheel.in_words(at): share for at, share in wheel_places(race).items()}
        tell_changes(changes(race, wanted, args.by), unsure, stands, as_json=args.json)
        return 0
    calls = settings_calls(race, wanted)
    for one in calls:
        if args.json:
            emit(one.as_dict())
        else:
            say(f"{one.call.string}  {one.call.words}  ({one.told})")
    if not calls and not args.json:
        say("every dial stands where it is wanted")
    return 0


def run_check(args: argparse.Namespace) -> int:
    """Check an event file; 0 if it is sound, 2 if it has problems."""
    from codec.race import load_event
    from codec.race.binding import PERCENT
    from grammar.loading import load_book

    event = load_event(args.event, load_book(args.book))
    energy = event.spec.energy
    power = event.spec.extra_power
    extra = 0.0 if power is None else power.uses * power.energy_of_one
    spare = float(event.spec.most_usable - energy.reserve) - float(sum(event.plan)) - extra
    facts = {
        "title": event.title,
        "laps": event.laps,
        "planned": round(float(sum(event.plan)), 6),
        "extra_power": round(extra, 6),
        "spare": round(spare, 6),
        "unreported": event.unreported,
        "problems": [],
    }
    if args.json:
        emit(facts)
        return 0
    beside = (
        f"{facts['spare']:g} {energy.unit} more than that to use"
        if spare >= 0
        else f"{-spare:g} {energy.unit} of the reserve"
    )
    planned = f"{facts['planned']:g} {energy.unit} planned"
    planned += f", {facts['extra_power']:g} for extra power" if extra else ""
    told = f"{counted(event.laps, 'lap')}, {planned}, {beside}"
    say(f"{event.title}: no problem\n  {told}")
    for name, bound in event.energies.items():
        if bound.field.unit_text == PERCENT:
            each = f"{float(Fraction(energy.usable) / 100):g} {energy.unit}"
            say(f"  {name}: 1 % is {each}, of the {float(energy.usable):g} {energy.unit} usable")
    if event.unreported:
        named = ", ".join(f"/{fact}" for fact in event.unreported)
        say(f"  no phrase or message of the book reports these, so they are typed: {named}")
    return 0


def _schema() -> dict[str, Any]:
    from codec.race.event import schema

    return schema()
