"""``niner sheet list`` and ``copy``: the sheets of a place, and one taken elsewhere."""

from __future__ import annotations

import argparse
import dataclasses
from typing import TYPE_CHECKING, Any

from codec.cli.common import add_command, add_json, emit, say
from codec.store.place import WHOLE
from grammar.errors import CodeError, counted

if TYPE_CHECKING:
    from codec.store.place import Place


def add_places(actions: Any) -> None:
    """Add these commands to those of ``niner sheet``."""
    listing = add_command(
        actions, "list", "tell the sheets of a folder or a server, with their dates"
    )
    listing.add_argument("place", metavar="PLACE", help=WHOLE)
    add_json(listing)
    listing.set_defaults(run=run_list)
    copying = add_command(
        actions, "copy", "copy a sheet to a file or a server, or bring a copy up to date"
    )
    copying.add_argument("sheet", metavar="SHEET", help="the sheet")
    copying.add_argument(
        "to", metavar="TO", help="where it goes; on a server, without #NAME, by the name it has"
    )
    add_json(copying)
    copying.set_defaults(run=run_copy)


def run_list(args: argparse.Namespace) -> int:
    """List the sheets."""
    from codec.sheet.listing import sheets_in
    from codec.store.place import place_of, whole

    found = sheets_in(whole(place_of(args.place)))
    for one in found if args.json else ():
        emit(dataclasses.asdict(one))
    if not args.json:
        from codec.screen.sheet import listing

        listing(found)
    return 0


def copied_to(to: str, name: str) -> Place:
    """Return where a copy goes, on a server by the name that it has; raises CodeError."""
    from codec.store.place import ServerPlace, place_of

    place = place_of(to)
    if isinstance(place, ServerPlace):
        return place if place.name else place.with_name(name)
    if place.is_dir():
        raise CodeError(f"{to!r} is a folder", kind="usage", hint="name the file of the copy")
    return place


def run_copy(args: argparse.Namespace) -> int:
    """Copy a sheet."""
    from codec.screen.sheet import copying
    from codec.sheet import Journal
    from codec.sheet.copying import copy

    with Journal(args.sheet) as journal:
        place = copied_to(args.to, journal.path.stem)
        with copying() as told:
            done = copy(journal, place, told)
    if args.json:
        emit({"to": str(place), **dataclasses.asdict(done)})
    else:
        there = f", {done.before} of it were there" if done.before else ""
        say(f"{counted(done.copied, 'entry', 'entries')} copied to {place}{there}")
    return 0
