"""``niner server``: a PostgreSQL server set up for the sheets of several desks."""

from __future__ import annotations

import argparse
from typing import Any

from codec.cli.common import add_command, add_json, emit, say
from grammar.errors import CodeError


def add(commands: Any) -> None:
    """Add the command and its own commands."""
    parser = commands.add_parser(
        "server",
        description=(
            "A PostgreSQL server holds the sheets of several desks: postgresql://HOST/DATABASE#NAME"
            " stands wherever a sheet's file does."
        ),
    )
    actions = parser.add_subparsers(title="commands", metavar="command", required=True)
    init = add_command(actions, "init", "make niner's tables and roles, or bring them up to date")
    init.add_argument("address", metavar="ADDRESS", help="postgresql://HOST/DATABASE")
    add_json(init)
    init.set_defaults(run=run_init)


def run_init(args: argparse.Namespace) -> int:
    """Set the server up; nothing that is there is lost."""
    from codec.drill.journal import FORMAT
    from codec.sheet.journal import sheet_format
    from codec.store.opening import set_up
    from codec.store.place import ServerPlace, place_of

    place = place_of(args.address)
    if not isinstance(place, ServerPlace) or place.name:
        raise CodeError(
            f"{args.address!r} is no address of a server's database",
            kind="usage",
            expected=["postgresql://HOST/DATABASE"],
        )
    forms = [sheet_format(), FORMAT]
    found = set_up(place, forms)
    roles = sorted({role for form in forms for role, _ in form.rights})
    if args.json:
        versions = {name: {"before": before, "now": now} for name, (before, now) in found.items()}
        emit({"address": args.address, "versions": versions, "roles": roles})
        return 0
    for form in forms:
        before, now = found[form.name]
        done = "up to date" if before == now else f"brought from version {before} to {now}"
        say(f"{form.long_name}: {done if before else f'made, version {now}'}")
    say(f"roles: {', '.join(roles)}; who may do what: GRANT {roles[-1]} TO NAME;")
    return 0
