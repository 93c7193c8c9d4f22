"""``niner listen``: a radio recording to what was said in it, one JSON object a line."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import Any

from codec.cli.common import add_book, emit

_ABOUT = """Listen to a recording of a radio and print every stretch of sound in it as a line of
JSON: when it began and ended, its likeliest words, and in slots and gaps every word's doubts, which
niner sheet import weighs. It hears figures and ICAO spelling words, and takes other talk for what
it is. Nothing leaves this machine."""


def add(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser("listen", description=_ABOUT)
    add_book(parser)
    parser.add_argument(
        "recording", metavar="RECORDING", help="WAV, FLAC, OGG or MP3; - for standard input"
    )
    parser.add_argument("--speaker", default="", metavar="NAME", help="who speaks in it")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the stretches; the exit code is 1 if there was none with a word in it."""
    from codec.voice.listening import listen
    from grammar.loading import load_book

    book, words = load_book(args.book), False
    source = sys.stdin.buffer if args.recording == "-" else args.recording
    name = "standard input" if args.recording == "-" else repr(args.recording)
    known = {"speaker": args.speaker} if args.speaker else {}
    if args.recording != "-":
        known["recording"] = Path(args.recording).name
    for stretch in listen(book, source, name):
        words = words or bool(stretch.text)
        emit(known | stretch.as_dict())
    return 0 if words else 1
