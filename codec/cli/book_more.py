"""``niner book export``, ``analyse`` and ``key``: a book in other forms, what is wrong with it, and a fresh key for an event."""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from codec.cli.common import add_book, add_json, emit

if TYPE_CHECKING:
    from grammar.book import Book
    from grammar.design import Analysis, Proposal

FORMS = ("lark", "jsgf", "srgs", "pls", "csv", "c", "card")
SECRET = "NINER_KEY"  # noqa: S105 - the name of the variable, not what is in it


def add_export(actions: Any) -> None:
    """Add ``book export``."""
    parser = actions.add_parser("export", help="write the book for a recogniser, a spreadsheet, the dash, or as cards")
    add_book(parser)
    parser.add_argument("form", choices=FORMS, help="lark, jsgf, srgs, pls, csv, c (for the dash), card (for people)")
    parser.add_argument("--out", metavar="FOLDER", default=".", help="where to write the files (here); - prints a single file")
    parser.add_argument("--direction", choices=("car", "pit"), help="jsgf and srgs: only reports, or only calls")
    add_json(parser)
    parser.set_defaults(run=run_export)


def run_export(args: argparse.Namespace) -> int:
    """Write the files."""
    from codec import load_book
    from grammar.errors import CodeError
    from grammar.export import export

    files = export(load_book(args.book), args.form, direction=args.direction)
    if args.out == "-":
        if len(files) > 1:
            raise CodeError(f"{args.form} is {len(files)} files", kind="usage", hint="name a folder with --out")
        sys.stdout.write(next(iter(files.values())).decode())
        return 0
    for name, data in files.items():
        path = Path(args.out) / name
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)
        except OSError as error:
            raise CodeError(f"{path} can't be written: {error.strerror}", kind="file", hint="name another folder with --out") from None
        emit({"file": str(path), "bytes": len(data)}) if args.json else print(path)
    return 0


def add_analyse(actions: Any) -> None:
    """Add ``book analyse``."""
    parser = actions.add_parser("analyse", help="where a message's seconds go, what is confused, what the designer would change")
    add_book(parser)
    parser.add_argument("--message", help="the message; the default is the one with the most readings")
    parser.add_argument("--pairs", type=int, default=10, metavar="N", help="how many easily confused pairs to list (10)")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--quick", action="store_true", help="do not design anything for comparison")
    add_json(parser)
    parser.set_defaults(run=run_analyse)


def run_analyse(args: argparse.Namespace) -> int:
    """Analyse a message and compare it with what the designer proposes."""
    from codec import load_book
    from grammar.design import analyse, remarks

    book = load_book(args.book)
    message = args.message or _largest(book)
    found = analyse(book, message, pairs=max(0, args.pairs), seed=args.seed)
    told = remarks(book, found)
    after = [] if args.quick else _after(book, found, args.seed)
    if args.json:
        emit(_facts(found, told, after))
        return 0
    from codec.screen.design import analysis

    analysis(found, told, after)
    return 0


def _largest(book: Book) -> str:
    from grammar.figures import readings

    return max(book.messages.values(), key=lambda message: readings(message) or 0).name


def _after(book: Book, found: Analysis, seed: int) -> list[tuple[str, Proposal]]:
    """Return the quickest proposals that people can read and that are as safe as the book, and the quickest of all that are."""
    from codec.screen.design import progress
    from grammar.design import candidates, needs_of, proposals

    needs = needs_of(book, found.message)
    makers = list(candidates(needs, ("assigned", "variable", "packed"), seed))
    with progress("designing", len(makers)) as done:
        made = proposals(needs, makers, draws=600, seed=seed, done=done)
    safe = [one for one in made if one.wrong <= max(found.wrong, found.wrong + 2 * found.wrong_error)]
    options = [
        ("read from a card, no more wrong readings", [one for one in safe if one.readable]),
        ("the least time, no more wrong readings", safe),
        ("the least wrong readings", sorted(made, key=lambda one: one.wrong)[:1]),
    ]
    chosen: list[tuple[str, Proposal]] = []
    for why, several in options:
        best = min(several, key=lambda one: one.mean, default=None)
        if best is not None and all(best is not one for _, one in chosen):
            chosen.append((why, best))
    return chosen


def _facts(found: Analysis, told: list[str], after: list[tuple[str, Proposal]]) -> dict[str, Any]:
    return {
        "message": found.message,
        "seconds": {"mean": found.mean, "error": found.error, "worst": found.worst},
        "bound": found.bound.seconds,
        "wrong": found.wrong,
        "ask": found.ask,
        "tables": [
            {"table": one.table, "seconds": one.seconds, "bits": one.bits, "least": one.least, "wasted": one.waste} for one in found.spent
        ],
        "confused": [
            {"table": p.table, "said": p.said, "read": p.read, "share": p.share, "harm": p.harm, "noticed": p.noticed, "cost": p.cost}
            for p in found.mixed
        ],
        "remarks": told,
        "proposals": [{"why": why, **one.as_dict()} for why, one in after],
    }


def add_key(actions: Any) -> None:
    """Add ``book key``."""
    about = (
        "Shuffle the tables of a book by a secret, so that listeners can't follow. Event regulations on coded radio come first: "
        "make sure that "
        f"it is allowed. The secret is read from --secret-file, from the variable {SECRET}, or asked for; it is never stored in the book."
    )
    parser = actions.add_parser("key", help="a fresh key for an event: the tables shuffled by a secret", description=about)
    add_book(parser)
    parser.add_argument("--event", required=True, help="the event's name; another event gives another book")
    parser.add_argument("--secret-file", metavar="FILE", help="read the secret from this file")
    parser.add_argument("--margin", type=float, default=0.05, help="how much times and rates may change, as a share (0.05)")
    parser.add_argument("--out", metavar="FILE", required=True, help="write the book here")
    parser.set_defaults(run=run_key)


def run_key(args: argparse.Namespace) -> int:
    """Write the book under a fresh key."""
    from codec import load_book
    from codec.screen.design import keyed as show
    from grammar.design import keyed
    from grammar.errors import CodeError

    if not 0 < args.margin <= 1:
        raise CodeError(f"a margin of {args.margin:g}", kind="usage", expected=["a share above 0, up to 1"])
    made = keyed(load_book(args.book), _secret(args), args.event, margin=args.margin)
    try:
        Path(args.out).write_text(made.text, encoding="utf-8")
    except OSError as error:
        raise CodeError(f"{args.out} can't be written: {error.strerror}", kind="file") from None
    show(made, args.out)
    return 0


def _secret(args: argparse.Namespace) -> bytes:
    from grammar.errors import CodeError

    if args.secret_file:
        try:
            return Path(args.secret_file).read_bytes().strip()
        except OSError as error:
            raise CodeError(f"{args.secret_file} can't be read: {error.strerror}", kind="file") from None
    if SECRET in os.environ:
        return os.environ[SECRET].encode()
    if not sys.stdin.isatty():
        raise CodeError("no secret is given", kind="secret", hint=f"name a file with --secret-file, or set {SECRET}")
    from getpass import getpass

    return getpass("secret: ").encode()
