"""``niner desk``: the sheet in a browser, for everybody at the wall."""

from __future__ import annotations

import argparse
import contextlib
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from codec.cli.common import add_profiles, event_file, integer, tell
from grammar.errors import CodeError, counted

if TYPE_CHECKING:
    from types import ModuleType

    from codec.desk.serving import MirrorPlan, Served
    from codec.drill import DrillJournal
    from codec.store.place import ServerPlace

PORT = 8899


def add(commands: Any) -> None:
    """Add the command."""
    about = (
        "Serve a sheet, or every sheet of a folder or a server, as live pages in a browser: the"
        " wall where engineers write, and a view for all who only look."
    )
    caution = (
        "The event's rules on radio use come first. A temperature or insulation warning is handled"
        " by the event's and the team's own safety procedures and by qualified people; these pages"
        " only show it."
    )
    parser = commands.add_parser("desk", description=about, epilog=caution)
    parser.add_argument(
        "place",
        metavar="PLACE",
        help="a sheet, a folder of sheets, or a server of them: postgresql://HOST/DATABASE",
    )
    parser.add_argument("--book", help="the code book, for a new sheet")
    parser.add_argument("--event", help="the event file: shows where the race is heading")
    add_profiles(parser)
    parser.add_argument(
        "--port", type=integer, default=PORT, help=f"the port ({PORT}); 0 takes any"
    )
    parser.add_argument(
        "--lan",
        nargs="?",
        const="",
        metavar="NAME",
        help=(
            "serve the network this machine is in, too, by links that hold a secret; NAME is what"
            " others call this machine, its address if not given"
        ),
    )
    parser.add_argument(
        "--recordings", metavar="FOLDER", help="where recordings lie, if not beside the sheet"
    )
    parser.add_argument(
        "--mirror",
        metavar="PLACE",
        help=(
            "keep the sheet in step with this one on a server, postgresql://HOST/DATABASE#NAME;"
            " while the line is broken the desk goes on with its own"
        ),
    )
    parser.add_argument(
        "--desk",
        metavar="NAME",
        help="the desk's name, kept with what is written here; this machine's if not given",
    )
    drills = parser.add_mutually_exclusive_group()
    drills.add_argument(
        "--hand-over-drills",
        action="store_true",
        help=(
            "hand the drills beside the sheet over to the mirror's server, too, from now on; where"
            " neither is said it is asked once, on a terminal"
        ),
    )
    drills.add_argument(
        "--keep-drills-here",
        action="store_true",
        help="hand no drills over, from now on",
    )
    parser.add_argument("--cert", help="a certificate, to serve by https")
    parser.add_argument("--key", help="the certificate's key")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Serve until Ctrl-C."""
    from codec.drill.journal import JOURNAL
    from codec.store.place import folder_of, place_of
    from grammar.loading import load_book

    desk = serving()
    if (args.cert is None) != (args.key is None):
        raise CodeError("--cert and --key go together", kind="usage")
    place, book = place_of(args.place), None if args.book is None else load_book(args.book)
    mirror = _mirror(args, desk)
    sheets = desk.sheets_at(place, book, event_file(args), mirror)
    if mirror is not None and isinstance(place, Path):
        _settle_drills(args, place.with_name(JOURNAL), mirror.shared.with_name(JOURNAL))
    folder = place if isinstance(place, Path) and place.is_dir() else folder_of(place)
    desk.serve(
        sheets,
        tell_served,
        port=args.port,
        lan=args.lan,
        links_at=folder / desk.LINKS,
        recordings=None if args.recordings is None else Path(args.recordings),
        certificate=None if args.cert is None else (args.cert, args.key),
    )
    return 0


def _mirror(args: argparse.Namespace, desk: ModuleType) -> MirrorPlan | None:
    """Return what the sheet is kept in step with, if that is asked for."""
    import socket

    from codec.store.place import ServerPlace, checked_name, place_of

    if args.mirror is None:
        if args.desk is not None:
            raise CodeError("--desk names a desk that has a --mirror", kind="usage")
        if args.hand_over_drills or args.keep_drills_here:
            raise CodeError("drills are handed over by a desk that has a --mirror", kind="usage")
        return None
    shared = place_of(args.mirror)
    if not isinstance(shared, ServerPlace) or not shared.name:
        raise CodeError(
            f"{args.mirror!r} is no sheet on a server",
            kind="usage",
            expected=["postgresql://HOST/DATABASE#NAME"],
        )
    plan: MirrorPlan = desk.MirrorPlan(shared, checked_name(args.desk or socket.gethostname()))
    return plan


def _settle_drills(args: argparse.Namespace, own: Path, shared: ServerPlace) -> None:
    """Settle whether the drills of this desk are handed over: as the options say, or as is asked
    once where there are some. A journal that can't be read is told, and keeps no desk from serving.
    """
    from codec.drill import DrillError, DrillJournal

    if args.hand_over_drills or (args.keep_drills_here and DrillJournal.is_there(own)):
        with DrillJournal(own, create=True) as journal:
            journal.settle(shared, agreed=args.hand_over_drills)
    elif DrillJournal.is_there(own):
        try:
            with DrillJournal(own) as journal:
                if journal.agreed(shared) is None and (waiting := journal.waiting()):
                    _ask_for_drills(journal, shared, _whose(waiting))
        except DrillError as error:
            tell(f"drills are not handed over: {error.message}")


def _ask_for_drills(journal: DrillJournal, shared: ServerPlace, whose: str) -> None:
    if not sys.stdin.isatty():
        tell(
            f"drills stay here, and are not handed over to {shared} ({whose}): settle it by"
            " --hand-over-drills or --keep-drills-here"
        )
        return
    tell(
        f"{journal.path} has drills that were never handed over: {whose}.\n"
        f"They, and those that come, would be handed over to {shared}, where everybody sees them"
        " who drills there."
    )
    answers, told = {"yes": True, "no": False}, ""
    with contextlib.suppress(EOFError):  # nothing is settled then
        while told not in answers:
            told = input("hand them over? (yes/no) ").strip().casefold()
        journal.settle(shared, agreed=answers[told])


def _whose(waiting: dict[str, dict[str, int]]) -> str:
    """Return in words whose drills are not handed over yet, and what of each."""
    named = {
        "answers": ("answer", ""),
        "withdrawals": ("answer taken back", "answers taken back"),
        "sounds": ("recording", ""),
        "programmes": ("programme", ""),
    }
    people: dict[str, list[str]] = {}
    for what, counts in waiting.items():
        for person, count in counts.items():
            people.setdefault(person, []).append(counted(count, *named[what]))
    return "; ".join(f"{person}: {', '.join(told)}" for person, told in people.items())


def serving() -> ModuleType:
    """Return what serves a desk; raises CodeError where what it needs is not installed."""
    try:
        from codec.desk import serving as found
    except ImportError as error:
        raise CodeError(
            f"the desk needs {error.name}", kind="missing-library", hint="pip install 'niner[desk]'"
        ) from None
    return found


def tell_served(served: Served) -> None:
    """Tell where the desk is, and the link of each role."""
    tell(f"the desk: {served.address}   Ctrl-C ends it; everything written is on the disk")
    for role, link in served.links.items():
        tell(f"to {role.name.lower()}: {link}")
        _show_code(link)


def _show_code(link: str) -> None:
    """Show a link as a QR code (ISO/IEC 18004) for a tablet's camera."""
    if sys.stderr.isatty():
        import segno

        segno.make(link, micro=False).terminal(out=sys.stderr, compact=True)
