"""``niner book export``: a book for a recogniser, a spreadsheet, the dash, or as cards."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from codec.cli.common import add_book, add_json, emit, put, say, tell
from grammar.display import DISPLAYS
from grammar.export import FORMATS

if TYPE_CHECKING:
    from grammar.book import Book
    from grammar.export.card import Paper, Reader


def add_export(actions: Any) -> None:
    """Add ``book export``."""
    formats = "\n".join(f"  {name:5} {known.about}" for name, known in FORMATS.items())
    parser = actions.add_parser(
        "export",
        help="write the book for a recogniser, a spreadsheet, the dash, or as cards",
        description="Write a code book in another form.",
        epilog=f"formats:\n{formats}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    add_book(parser)
    parser.add_argument("form", metavar="FORMAT", choices=tuple(FORMATS), help="one of those below")
    parser.add_argument(
        "-o",
        "--out",
        metavar="FOLDER",
        default=".",
        help="where to write the files (here); - prints a single file",
    )
    parser.add_argument("--replace", action="store_true", help="write over files that are there")
    one_way = ", ".join(name for name, known in FORMATS.items() if known.one_way)
    parser.add_argument(
        "--direction", choices=("car", "pit"), help=f"{one_way}: only reports, or only calls"
    )
    enforcing = ", ".join(name for name, known in FORMATS.items() if known.enforces)
    parser.add_argument(
        "--enforce-check",
        action="store_true",
        help=f"{enforcing}: accept only what the check allows. Dangerous: a recogniser then makes"
        " another report of a misheard word, and no check can tell",
    )
    parser.add_argument(
        "--paper", choices=("A5", "A6"), default="A5", help="card: the paper it is cut to (A5)"
    )
    parser.add_argument(
        "--display",
        choices=DISPLAYS,
        help="dash: what it draws characters with (what the book's [dash] says)",
    )
    add_json(parser)
    parser.set_defaults(run=run_export)


def run_export(args: argparse.Namespace) -> int:
    """Write the files, all or none."""
    from codec.files import refuse_replacing, write, written
    from grammar.errors import CodeError
    from grammar.export import export
    from grammar.loading import load_book

    book = load_book(args.book)
    files = export(
        book,
        args.form,
        direction=args.direction,
        mark=_mark(book) if args.form == "card" else "",
        enforce_check=args.enforce_check,
        paper=args.paper,
        display=args.display,
    )
    if args.out == "-":
        if len(files) > 1:
            raise CodeError(
                f"{args.form} is {len(files)} files", kind="usage", hint="name a folder with --out"
            )
        put(next(iter(files.values())))
        return 0
    folder = Path(args.out)
    for name, data in files.items():  # all or none
        refuse_replacing(folder / name, data, replace=args.replace)
    with written(folder):
        folder.mkdir(parents=True, exist_ok=True)
    for name, data in files.items():
        write(folder / name, data, replace=args.replace)
    for name, data in files.items():
        (
            emit({"file": str(folder / name), "bytes": len(data)})
            if args.json
            else say(str(folder / name))
        )
    if args.form == "card":
        _tell_small(book, args.paper)
    if not args.json:
        first = next(iter(files)).partition(".")[0]
        tell(f"next: {FORMATS[args.form].use.format(name=book.name, c=first)}")
    return 0


def _mark(book: Book) -> str:
    """Return the mark of what a book says, as a sheet tells it."""

    return f"Book {book.digest[:8]}."


def _tell_small(book: Book, paper: Paper) -> None:
    """Tell cards whose letters are too small to be read at a glance."""
    from grammar.export.card import LEGIBLE, blocks, fitted

    readers: tuple[Reader, ...] = ("driver", "engineer")
    for reader in readers:
        fit = fitted(blocks(book, reader), paper)
        if fit.size < LEGIBLE or not fit.one_page:
            came = f"letters of {fit.size:g} points" if fit.one_page else "several pages"
            other = "take --paper A5, or " if paper == "A6" else ""
            tell(
                f"the {reader}'s card has too much for {paper}: {came}; {other}make the code"
                " simpler"
            )
