"""``niner book key``: a fresh key for an event, the tables of a book shuffled by a secret."""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path
from typing import Any

from codec.cli.common import add_book

SECRET = "NINER_KEY"  # noqa: S105 - the name of the variable, not what is in it


def add_key(actions: Any) -> None:
    """Add ``book key``."""
    about = (
        "Shuffle the tables of a book by a secret, so that listeners can't follow. Event"
        " regulations on coded radio come first: make sure that it is allowed. The secret is read"
        f" from --secret-file, from the variable {SECRET}, or asked for; it is never stored in the"
        " book."
    )
    parser = actions.add_parser(
        "key", help="a fresh key for an event: the tables shuffled by a secret", description=about
    )
    add_book(parser)
    parser.add_argument(
        "--event", required=True, help="the event's name; another event gives another book"
    )
    parser.add_argument("--secret-file", metavar="FILE", help="read the secret from this file")
    parser.add_argument(
        "--margin",
        type=float,
        default=0.05,
        help="how much times and rates may change, as a share (0.05); rates in any case by 0.001",
    )
    parser.add_argument("--out", metavar="FILE", required=True, help="write the book here")
    parser.add_argument("--replace", action="store_true", help="write over a file that is there")
    parser.set_defaults(run=run_key)


def run_key(args: argparse.Namespace) -> int:
    """Write the book under a fresh key."""
    from codec.files import write
    from codec.screen.analysis import keyed as show
    from grammar.design import keyed
    from grammar.errors import CodeError
    from grammar.loading import load_book

    if not 0 < args.margin <= 1:
        raise CodeError(
            f"a margin of {args.margin:g}", kind="usage", expected=["a share above 0, up to 1"]
        )
    made = keyed(load_book(args.book), _secret(args), args.event, margin=args.margin)
    write(args.out, made.text, replace=args.replace)
    show(made, args.out)
    return 0


def _secret(args: argparse.Namespace) -> bytes:
    from grammar.errors import CodeError

    if args.secret_file:
        try:
            return Path(args.secret_file).read_bytes().strip()
        except OSError as error:
            raise CodeError(
                f"{args.secret_file} can't be read: {error.strerror}", kind="file"
            ) from None
    if SECRET in os.environ:
        return os.environ[SECRET].encode()
    if not sys.stdin.isatty():
        raise CodeError(
            "no secret is given",
            kind="secret",
            hint=f"name a file with --secret-file, or set {SECRET}",
        )
    from getpass import getpass

    return getpass("secret: ").encode()
