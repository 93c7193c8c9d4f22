"""A book whose lap report has no check symbol, and what an import of its reports brings."""

from __future__ import annotations

import functools
from collections.abc import Sequence
from pathlib import Path

from codec import Book, parse_book
from codec.radio.crews import crews_of
from codec.radio.forms import LeftOut
from codec.radio.importing import import_transcript
from codec.sheet import Entry, Journal
from codec.sheet.state import Standing

BOOK = """
[fields.lap]
kind = "quantity"
low = 1
high = 99
step = 1
drift = 1
wander = 0
[fields.charge]
kind = "quantity"
unit = "%"
low = 0
high = 100
step = 0.5
drift = -2.5
wander = 0.6
[fields.delta]
kind = "quantity"
unit = "s"
low = -9.9
high = 9.9
step = 0.1
open = "both"
usual = 0
spread = 1.5
wander = 0.5
[fields.cells]
kind = "bands"
unit = "°C"
edges = [35, 42, 50, 57]
names = ["cool", "fair", "warm", "hot", "critical"]
usual = "fair"
[fields.grip]
kind = "choice"
options = ["poor", "fair", "good"]
usual = "fair"
[tables.lap]
kind = "digits"
count = "value"
[tables.charge]
kind = "digits"
count = "value"
per = 0.5
[tables.delta]
kind = "digits"
count = "value"
minus = "M"
plus = "P"
[tables.cells]
kind = "scale"
symbols = "ABCDE"
[tables.grip]
kind = "listed"
words = ["L", "H", "G"]
[messages.lap]
layout = "lap charge delta cells grip?"
"""


@functools.cache
def unchecked() -> Book:
    return parse_book(BOOK, "unchecked.toml")


def standing(
    folder: Path,
    lines: Sequence[str],
    *cars: str,
    book: Book | None = None,
    left: list[LeftOut] | None = None,
) -> list[Entry]:
    """Return the reports as they stand in the sheet of a transcript."""
    with Journal(folder / "x.sheet", book or unchecked()) as journal:
        said = [f"{line}\n" for line in lines]
        told = None if left is None else left.append
        import_transcript(journal, said, "text", crews_of(cars), left_out=told)
        rows = Standing(journal.entries()).rows
        return [row.entry for row in rows if row.first.kind == "report"]
