"""``niner sheet list`` and ``copy``: the sheets of a place, and one taken elsewhere."""

from __future__ import annotations

import argparse
import dataclasses
from pathlib import Path
from typing import Any

from codec.cli.common import add_command, add_json, emit, say
from grammar.errors import CodeError, counted


def add_places(actions: Any) -> None:
    """Add these commands to those of ``niner sheet``."""
    listing = add_command(
        actions, "list", "tell the sheets of a folder or a server, with their dates"
    )
    listing.add_argument(
        "place", metavar="PLACE", help="a folder, or a server: postgresql://HOST/DATABASE"
    )
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
    from codec.store.place import ServerPlace, place_of

    place = place_of(args.place)
    if place.name if isinstance(place, ServerPlace) else not place.is_dir():
        raise CodeError(
            f"{args.place!r} is no folder and no server",
            kind="usage",
            expected=["a folder", "postgresql://HOST/DATABASE"],
        )
    found = sheets_in(place)
    for one in found if args.json else ():
        emit(dataclasses.asdict(one))
    if not args.json:
        from codec.screen.sheet import listing

        listing(found)
    return 0


def run_copy(args: argparse.Namespace) -> int:
    """Copy a sheet."""
    from codec.screen.sheet import copying
    from codec.sheet import Journal
    from codec.sheet.copying import copy
    from codec.store.place import ServerPlace, place_of

    place = place_of(args.to)
    with Journal(args.sheet) as journal:
        if isinstance(place, ServerPlace) and not place.name:
            place = place.with_name(journal.path.stem)
        if isinstance(place, Path) and place.is_dir():
            raise CodeError(
                f"{args.to!r} is a folder", kind="usage", hint="name the file of the copy"
            )
        with copying(journal.last) as told:
            done = copy(journal, place, told)
    if args.json:
        emit({"to": str(place), **dataclasses.asdict(done)})
    else:
        there = f", {done.before} of it were there" if done.before else ""
        say(f"{counted(done.copied, 'entry', 'entries')} copied to {place}{there}")
    return 0
