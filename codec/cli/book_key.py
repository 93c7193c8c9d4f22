"""``niner book key``: a fresh key for an event, the tables of a book shuffled by a secret."""

from __future__ import annotations

import argparse
import os
import sys
from typing import Any

from codec.cli.common import say

SECRET = "NINER_KEY"  # noqa: S105 - the name of the variable, not what is in it


def add_key(actions: Any) -> None:
    """Add ``book key``."""
    about = (
        "Shuffle the tables of a book by a secret, so that listeners can't follow. Event"
        " regulations on coded radio come first: make sure that it is allowed. The secret is in a"
        " key file, drawn once with --new-secret; one drawn with --passphrase as well holds none,"
        f" and the passphrase is taken from the variable {SECRET}, or asked for. Neither is ever"
        " stored in the book."
    )
    parser = actions.add_parser(
        "key", help="a fresh key for an event: the tables shuffled by a secret", description=about
    )
    parser.add_argument("book", metavar="BOOK", nargs="?", help="the code book, a TOML file")
    parser.add_argument("--event", help="the event's name; another event gives another book")
    parser.add_argument("--secret-file", metavar="FILE", help="the key file")
    parser.add_argument(
        "--new-secret", metavar="FILE", help="draw a secret into a new key file, and stop"
    )
    parser.add_argument(
        "--passphrase",
        action="store_true",
        help="with --new-secret: a key file for a passphrase, which is asked for at each use",
    )
    parser.add_argument(
        "--margin",
        type=float,
        default=0.05,
        help="how much times and rates may change, as a share (0.05); rates in any case by 0.001",
    )
    parser.add_argument("--out", metavar="FILE", help="write the book here")
    parser.add_argument("--replace", action="store_true", help="write over a file that is there")
    parser.set_defaults(run=run_key)


def run_key(args: argparse.Namespace) -> int:
    """Draw a secret, or write the book under a fresh key."""
    from codec.key_file import draw
    from grammar.errors import CodeError

    if args.new_secret:
        draw(args.new_secret, passphrase=args.passphrase)
        say(f"drawn: {args.new_secret}; keep it where only you can read it, and keep a copy")
        return 0
    lacking = [
        what
        for what, value in (
            ("BOOK", args.book),
            ("--event", args.event),
            ("--secret-file", args.secret_file),
            ("--out", args.out),
        )
        if not value
    ]
    if lacking:
        raise CodeError(
            f"a key needs {', '.join(lacking)} as well",
            kind="secret" if lacking == ["--secret-file"] else "usage",
            hint="niner book key BOOK --event NAME --secret-file KEY --out FILE; draw the key file"
            " once: niner book key --new-secret KEY",
        )
    if not 0 < args.margin <= 1:
        raise CodeError(
            f"a margin of {args.margin:g}", kind="usage", expected=["a share above 0, up to 1"]
        )
    return _write(args)


def _write(args: argparse.Namespace) -> int:
    from codec.files import write
    from codec.key_file import secret_of
    from codec.screen.analysis import keyed as show
    from grammar.design import keyed
    from grammar.loading import load_book

    book = load_book(args.book)
    secret, salt = secret_of(args.secret_file, _passphrase)
    made = keyed(book, secret, args.event, salt=salt, margin=args.margin)
    write(args.out, made.text, replace=args.replace)
    show(made, args.out)
    return 0


def _passphrase() -> str:
    from grammar.errors import CodeError

    if SECRET in os.environ:
        return os.environ[SECRET]
    if not sys.stdin.isatty():
        raise CodeError("no passphrase is given", kind="secret", hint=f"set {SECRET}")
    from getpass import getpass

    return getpass("passphrase: ")
