"""``niner design``: propose code books for what must be said, along the trade-off of time,
certainty and size of the card.
"""

from __future__ import annotations

import argparse
import csv
import sys
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from codec.cli.common import add_json, emit, integer, tell

if TYPE_CHECKING:
    from grammar.design import Needs, Proposal
    from grammar.fields import FieldBase

_VALUE = "value_"  # how an exported sheet marks a field's column
_MOST_ROWS = 1_000_000


def add(commands: Any) -> None:
    """Add the command."""
    about = (
        "Propose code books for what must be said: how long a report takes, how often it goes"
        " wrong, how far it is from the least possible."
    )
    parser = commands.add_parser("design", description=about)
    parser.add_argument(
        "needs", metavar="FILE", help="a needs file; or a code book, with --message"
    )
    parser.add_argument(
        "--wheel",
        action="store_true",
        help="FILE is a wheel file: which setting goes where; niner wheel design has more",
    )
    parser.add_argument("--message", help="design this message of a code book anew")
    parser.add_argument(
        "--family", action="append", metavar="NAME", help="only this family; may be repeated (all)"
    )
    parser.add_argument(
        "--sheet",
        metavar="CSV",
        help="learn how often values occur from past reports: one column a field",
    )
    parser.add_argument(
        "--profile",
        metavar="FILE",
        help="take times, and what is read and heard for what, from what was drilled",
    )
    parser.add_argument(
        "--seed",
        type=integer,
        default=1,
        help="the same seed and needs give the same books (1)",
    )
    parser.add_argument(
        "--draws",
        type=integer,
        default=1000,
        metavar="N",
        help="reports drawn for each proposal's mean seconds (1000)",
    )
    parser.add_argument(
        "--heard",
        type=integer,
        default=60,
        metavar="N",
        help="reports heard for each proposal, as niner hear does; more take longer (60)",
    )
    parser.add_argument(
        "--all", action="store_true", help="show all that nothing beats, and what others beat, too"
    )
    parser.add_argument(
        "--pick",
        metavar="NAME",
        help="the proposal to write; the default keeps the limits and costs least",
    )
    parser.add_argument("--out", metavar="FILE", help="write the proposal's book here; - prints it")
    parser.add_argument("--replace", action="store_true", help="write over a file that is there")
    parser.add_argument("--plot", metavar="FILE", help="draw the trade-off as SVG or PNG")
    add_json(parser)
    parser.set_defaults(run=_run)


def _run(args: argparse.Namespace) -> int:
    if not args.wheel:
        return run(args)
    from codec.cli.wheel import run_design

    return run_design(
        argparse.Namespace(
            wheel=args.needs, by="seconds", moves=None, out=args.out, card=None,
            replace=args.replace, json=args.json, practised=None, person=None,
        )
    )  # fmt: skip


def run(args: argparse.Namespace) -> int:
    """Propose, show, and write what was picked."""
    from codec.files import refuse_unwritable, write
    from codec.hear.scoring import Scorer
    from codec.screen.design import form_of, plot, progress, show, wrote
    from grammar.design import (
        FAMILIES,
        as_now,
        bound_of,
        broken,
        candidates,
        chosen,
        costs,
        explained,
        frontier,
        informative,
        named,
        nearest,
        proposals,
        written,
    )
    from grammar.errors import CodeError

    for option, given, least in (("--draws", args.draws, 50), ("--heard", args.heard, 10)):
        if given < least:
            raise CodeError(
                f"{given} reports tell too little",
                kind="usage",
                expected=[f"{option} {least} or more"],
            )
    if args.plot:
        form_of(Path(args.plot))
        refuse_unwritable(args.plot, replace=True)
    if args.out and args.out != "-":
        refuse_unwritable(args.out, replace=args.replace)
    needs = _needs(args)
    makers = [
        lambda: as_now(needs),
        *candidates(needs, args.family or tuple(FAMILIES), args.seed),
    ]
    with progress("designing", len(makers)) as done:
        scorer = replace(Scorer(args.heard), price=needs.price if needs.priced else None)
        found = proposals(
            needs,
            makers,
            draws=args.draws,
            seed=args.seed,
            listener=scorer,
            wanted=args.pick,
            done=done,
        )
    best = frontier(found)
    card = needs.limits.card
    pick = _picked(args.pick, found, card=card) if args.pick else chosen(found, needs)
    known = named(found, needs, pick)
    shown = (
        sorted(found, key=lambda one: one.mean) if args.all else informative(best, known.values())
    )
    # files first, as whoever reads what is printed may go away
    if args.plot:
        plot(needs, found, known, Path(args.plot))
    book = written(needs, pick, args.seed) if args.out and pick is not None else None
    if book is not None and args.out != "-":
        write(args.out, book[0], replace=args.replace)
    if args.json:
        facts = [
            {
                **one.as_dict(),
                "costs": {name: round(spent, 4) for name, spent in costs(one, needs).items()},
                "book": written(needs, one, args.seed)[0],
                "frontier": one in best,
                "picked": one is pick,
                "keeps_limits": not broken(one, needs),
                "names": [name for name, other in known.items() if other is one],
            }
            for one in sorted(found, key=lambda one: one.mean)
            if args.all or one in best or one in known.values()
        ]
        emit(
            {
                "needs": needs.title,
                "bound": round(bound_of(needs).seconds, 4),
                "limits": {"seconds": needs.limits.seconds, "wrong": needs.limits.wrong},
                "explained": "" if pick is None else explained(pick, needs, found),
                "proposals": facts,
            }
        )
    else:
        show(needs, shown, found, best, known)
    if pick is None:
        raise CodeError(
            "no proposal keeps the limits",
            kind="limits",
            expected=[
                f"{asked} ({one.name}: {came})" for asked, one, came in nearest(found, needs)
            ],
            hint=(
                "raise one of these limits, say less, or demand less; --pick NAME writes one all"
                " the same"
            ),
        )
    if book is not None:
        if args.out == "-":
            sys.stdout.write(book[0])
        if not args.json:
            wrote(pick, args.out, book[1])
    return 0


def _needs(args: argparse.Namespace) -> Needs:
    from grammar.design import needs_of, parse_needs
    from grammar.document import document, read
    from grammar.errors import CodeError
    from grammar.parsing import parse_book

    path = Path(args.needs)
    text = read(path, "needs or a book")
    keys = document(text, args.needs).keys()
    if args.message is None and {"messages", "tables"} <= keys:
        raise CodeError(
            f"{path} is a code book",
            kind="usage",
            hint="name the message to design anew with --message",
        )
    if args.message is not None and not {"messages", "tables"} & keys:
        raise CodeError(
            f"{path} is a needs file, which names its message itself",
            kind="usage",
            hint="leave out --message",
        )
    needs = (
        needs_of(parse_book(text, str(path)), args.message)
        if args.message is not None
        else parse_needs(text, str(path))
    )
    if args.profile:
        from codec.profile import profile_with

        profile = profile_with(needs.alphabet, args.profile, f"the words of {str(path)!r}")
        needs = needs.with_profile(profile)
    return needs.with_reports(_reports(args.sheet, needs.fields)) if args.sheet else needs


def _unguarded(name: str, text: str, fields: Mapping[str, FieldBase]) -> str:
    from codec.sheet.table import ENTRIES

    of_sheet = name.startswith(_VALUE)
    return ENTRIES.unguarded(name, text, ENTRIES.numeric(fields)) if of_sheet else text


def _reports(path: str, fields: Mapping[str, FieldBase]) -> list[dict[str, str]]:
    """Return past reports from CSV: columns named after fields, or as an exported sheet has them;
    refused ones are passed over.
    """
    from grammar.errors import CodeError, EncodeError, counted

    reports: list[dict[str, str]] = []
    try:
        with Path(path).open(encoding="utf-8-sig", newline="") as file:
            reader = csv.DictReader(file)
            columns = {
                name: name.removeprefix(_VALUE)
                for name in reader.fieldnames or ()
                if name.removeprefix(_VALUE) in fields
            }
            if not columns:
                raise CodeError(
                    f"{path}: no column is named after a field", kind="sheet", expected=list(fields)
                )
            for row, _ in zip(reader, range(_MOST_ROWS), strict=False):
                report = (
                    {}
                    if row.get("refusal")
                    else {
                        field: _unguarded(name, row[name], fields)
                        for name, field in columns.items()
                        if row[name]
                    }
                )
                for field, value in report.items():
                    try:
                        fields[field].level(value)
                    except EncodeError as error:
                        place = f"{path}, line {reader.line_num}"
                        raise CodeError(
                            f"{place}: {error.message}",
                            kind="sheet",
                            expected=error.expected,
                            hint=error.hint,
                        ) from None
                reports += [report] if report else []
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise CodeError(
            f"{path} can't be read: {error}", kind="file", hint="pass a CSV file in UTF-8"
        ) from None
    if not reports:
        raise CodeError(
            f"{path}: no report to learn from",
            kind="sheet",
            hint="pass past reports, one a line below the names of the columns",
        )
    missing = [name for name in fields if name not in columns.values()]
    unknown = f"; no column for {', '.join(missing)}" if missing else ""
    tell(f"learned from {counted(len(reports), 'report')}: {', '.join(columns.values())}{unknown}")
    return reports


def _picked(name: str, found: list[Proposal], *, card: bool) -> Proposal:
    """Return a proposal by its name, as people with a card hear it where the limits want one."""
    named = [one for one in found if one.name == name]
    return next((one for one in named if (one.ear == "card") == card), named[0])
