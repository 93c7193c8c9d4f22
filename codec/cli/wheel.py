"""``niner wheel``: a check of the wheel file, the cheapest way on it, and what a slip costs."""

from __future__ import annotations

import argparse
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from codec.cli.common import (
    add_command,
    add_json,
    add_measure,
    add_schema,
    amount,
    emit,
    given,
    positions,
    say,
    tell,
)
from grammar.errors import CodeError, counted

if TYPE_CHECKING:
    from codec.race import WheelChange
    from codec.wheel import Way, Wheel
    from codec.wheel.design import Arrangement
    from codec.wheel.slips import Slip

_SLIPS = 3  # that are told of each way
CAUTION = (
    "Practise it parked or in a simulator. The team's procedures and the event's rules decide what"
    " is touched, and when."
)


def add(commands: Any) -> None:
    """Add the command and its own commands."""
    about = (
        "The steering wheel: what each touch does, proven; the cheapest way to the settings wanted;"
        " what a slip costs."
    )
    parser = commands.add_parser("wheel", description=about)
    actions = parser.add_subparsers(title="commands", metavar="command", required=True)
    check = add_command(
        actions, "check", "find every problem of a wheel file, and count its states"
    )
    _add_wheel(check)
    add_json(check)
    check.set_defaults(run=run_check)
    way = add_command(
        actions, "way", "the cheapest touches to the settings wanted, and their slips"
    )
    _add_wheel(way)
    way.add_argument(
        "wanted",
        nargs="+",
        metavar="SETTING=POSITION",
        help='a setting wanted, such as "brake balance=7"',
    )
    way.add_argument(
        "--at",
        action="append",
        default=[],
        metavar="NAME=VALUE",
        help="where a setting, a rotary, a cursor or the mode stands; the default is the start",
    )
    add_measure(way)
    _add_practised(way)
    add_json(way)
    way.set_defaults(run=run_way, gather="wanted")
    design = add_command(
        actions,
        "design",
        "find which setting stands best in whose place, by the [[changes]] of the wheel file",
    )
    _add_wheel(design)
    design.add_argument(
        "--moves", type=amount, metavar="N", help="at most so many settings to find anew"
    )
    design.add_argument(
        "--out", metavar="FILE.toml", help="write the last map's wheel file, without comments"
    )
    design.add_argument(
        "--card", metavar="FILE.html", help="write a card of what is to be found anew, to print"
    )
    design.add_argument("--replace", action="store_true", help="write over a file that is there")
    add_measure(design)
    _add_practised(design)
    add_json(design)
    design.set_defaults(run=run_design)
    add_schema(actions, "wheel", _schema)


def _add_wheel(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("wheel", metavar="WHEEL", help="the wheel file")


def _add_practised(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--practised",
        metavar="JOURNAL",
        help="take a person's own times, from niner drill wheel; needs --person",
    )
    parser.add_argument("--person", metavar="NAME", help="whose touches")


def _wheel(args: argparse.Namespace) -> Wheel:
    """Return the wheel, with a person's own times where they are asked for."""
    from codec.wheel import load_wheel

    wheel = load_wheel(args.wheel)
    if bool(args.practised) != bool(args.person):
        hint = "such as --practised drills.niner --person Ana"
        raise CodeError("--practised and --person belong together", kind="usage", hint=hint)
    if not args.practised:
        return wheel
    from codec.drill import DrillJournal
    from codec.drill.wheel_drill import practised

    with DrillJournal(args.practised) as journal:
        mine, told = practised(wheel, list(journal.answers(journal.known(args.person))))
    tell(f"{args.person}'s touches: {'; '.join(told) or 'too few, those of the file'}")
    return mine


def run_check(args: argparse.Namespace) -> int:
    """Check a wheel file; 0 if it is sound, 2 if it has problems."""
    from codec.wheel import load_wheel, wheel_figures

    wheel = load_wheel(args.wheel)
    found = wheel_figures(wheel)
    if args.json:
        emit({"title": wheel.title, **found.as_dict(), "problems": []})
        return 0
    say(
        f"{wheel.title}: no problem\n"
        f"  {counted(found.controls, 'control')}, {counted(found.touches, 'touch', 'touches')},"
        f" {counted(found.settings, 'setting')}\n"
        f"  {found.states:,} states times {found.positions:,} positions of the settings:"
        f" {found.combinations:,} ways to stand\n"
        "  every setting can be put at each of its positions, no touch means two things, nothing"
        " leads to a dead end"
    )
    return 0


def run_way(args: argparse.Namespace) -> int:
    """Print the cheapest way, and what its slips cost."""
    from codec.wheel import cheapest
    from codec.wheel.map import MOST_PLACE
    from codec.wheel.slips import slips

    wheel = _wheel(args)
    begins = wheel.standing(given(args.at, "place"))
    for name in given(args.wanted, "position"):
        wheel.setting(name)  # a rotary is told as one before its position is read as a number
    way = cheapest(wheel, begins, positions(args.wanted, MOST_PLACE), args.by)
    found = slips(way)
    if args.json:
        emit({**way.as_dict(), "slips": [one.as_dict() for one in found]})
    elif not way.touches:
        say("every setting stands where it is wanted")
    else:
        say("\n".join([_way_told(way), *_slips_told(found), CAUTION]))
    return 0


def run_design(args: argparse.Namespace) -> int:
    """Print maps with more and more settings moved, and what is to be found anew on the last."""
    from codec.files import refuse_unwritable, write
    from codec.wheel.design import arrangements, found_anew, wheel_text

    if args.out:
        refuse_unwritable(args.out, replace=args.replace)
    if args.card:
        refuse_unwritable(args.card, replace=args.replace, option="--card")
    wheel = _wheel(args)
    found = arrangements(wheel, args.by, most_moved=args.moves)
    best = found[-1]
    anew = found_anew(wheel, best, args.by)
    if args.json:
        for one in found:
            emit({**one.cost.as_dict(), "moved": one.moved, "gap": one.gap, "places": one.places})
    else:
        from codec.screen.wheel import show

        show(found, args.by, anew)
    if args.out:
        write(args.out, wheel_text(best), replace=args.replace)
    if args.card:
        text = _card(wheel, best, anew)
        write(args.card, text, replace=args.replace, option="--card")
    if not args.json:
        say(CAUTION)
    return 0


def _card(wheel: Wheel, best: Arrangement, anew: Mapping[str, tuple[Way, Way]]) -> str:
    """Return a printable page of the settings that are to be found anew."""
    from grammar.errors import visible
    from grammar.export.card import Block, CardLine, page

    rows = tuple(
        CardLine(visible(name), f"{now}   (was {was})", named=True)
        for name, (was, now) in anew.items()
    )
    heading = f"{visible(wheel.title)}: new places"
    block = Block("One position up, or down from the last", "", rows)
    mark = f"Wheel {best.wheel.digest[:8]}, was {wheel.digest[:8]}."
    return page(heading, [block], mark, caution=CAUTION)


def _schema() -> dict[str, Any]:
    from codec.wheel.map import schema

    return schema()


def _way_told(way: Way) -> str:
    touches = counted(way.count, "touch", "touches")
    looked = f", {way.metres:.0f} m looking down" if way.looked else ", no look down"
    return f"{way}\n  {touches}, {way.seconds:.1f} s{looked}"


def _slips_told(found: Sequence[Slip]) -> list[str]:
    from codec.wheel.slips import expected_harm, slipping

    if not found:
        return []
    harm = expected_harm(found)
    lines = [f"  goes wrong {slipping(found):.0%} of the time, worth {harm:.1f} s on average"]
    return lines + [f"    {one.chance:.1%}  {one.harm:g} s  {one}" for one in found[:_SLIPS]]


def tell_changes(
    found: Sequence[WheelChange],
    unsure: Mapping[str, Mapping[int, float]],
    stands: Mapping[str, float],
    *,
    as_json: bool,
) -> None:
    """Print the changes of a race straight by straight, and first what is not sure: where settings
    and, in words, the places of the wheel stand.
    """
    if as_json:
        for one in found:
            emit(
                {
                    "straight": one.straight,
                    "lap": one.lap,
                    "fits": one.fits,
                    "wanted": one.wanted,
                    "calls": [c.as_dict() for c in one.calls],
                    **one.way.as_dict(),
                    "slips": [slip.as_dict() for slip in one.slips],
                    "stands": {where: round(share, 4) for where, share in stands.items()},
                    "doubts": {
                        name: {str(at): round(share, 4) for at, share in unsure[name].items()}
                        for name in one.wanted
                        if name in unsure
                    },
                }
            )
        return
    for name, chances in unsure.items():
        told = ", ".join(f"{at} ({share:.0%})" for at, share in chances.items())
        say(f"{name} stands at {told}: ask before you call it")
    if found:
        shares = [f"{at} ({share:.0%})" for at, share in stands.items()]
        say(f"from: {'; or '.join(shares) if len(shares) > 1 else next(iter(stands))}")
    for one in found:
        for call in one.calls:
            say(f"{call.call.string}  {call.call.words}  ({call.told})")
        unnamed = [
            f"{name} to {at}"
            for name, at in one.wanted.items()
            if not any(call.reason.startswith(f"{name} ") for call in one.calls)
        ]
        if unnamed:
            say(f"in plain words: {', '.join(unnamed)}")
        lap = {0: "", 1: ", next lap"}.get(one.lap, f", in {one.lap} laps")
        where = f"{one.straight}{lap}: " if one.straight else ""
        say("\n".join([f"  {where}{_way_told(one.way)}", *_slips_told(one.slips)]))
        if not one.fits:
            say(f"  longer than any straight: begin it on {one.straight}, end it on the next")
    if not found:
        say("every dial stands where it is wanted")
    else:
        say(CAUTION)
