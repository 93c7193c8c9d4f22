"""An invented book that says no lap, and races told by it."""

from __future__ import annotations

import random
from collections.abc import Sequence
from decimal import Decimal
from pathlib import Path

from codec import Book, encode, parse_book
from codec.radio.crews import Crew
from codec.radio.importing import import_transcript
from codec.radio.laps import LapTimes
from codec.sheet import Journal
from codec.sheet.entry import Entry
from codec.sheet.state import Standing

BOOK = """
title = "Charge and coolant"

[fields.charge]
label = "charge"
kind = "quantity"
unit = "%"
low = 0
high = 99.5
step = 0.5
{moves}

[fields.coolant]
kind = "quantity"
unit = "°C"
low = 20
high = 99
step = 1
usual = 55
spread = 6
wander = 2

[fields.coast]
kind = "quantity"
unit = "m"
low = 0
high = 95
step = 5

[tables.coast]
kind = "digits"
count = "value"
per = 1

[tables.charge]
kind = "digits"
[tables.coolant]
kind = "digits"
count = "value"

[messages.report]
layout = "charge coolant"

[messages.coast]
direction = "pit"
layout = '"C" coast'

[messages.coasting]
layout = '"C" coast'

[phrases.neutralised]
says = ["slow zone now"]
[phrases.resumed]
says = ["racing again"]
"""
MOVES = "drift = -1.5\nwander = 0.3"


def book_that(moves: str) -> Book:
    """Return the book of a charge that moves so."""
    return parse_book(BOOK.format(moves=moves), "charge.toml")


def race(book: Book, laps: int, lap_seconds: int = 97, seed: int = 4) -> list[tuple[int, str]]:
    """Return the moment and the words of the report of each lap."""
    draw, coolant, told = random.Random(seed), 55, list[tuple[int, str]]()
    more = (Decimal(0), Decimal("0.5"))
    for lap in range(1, laps + 1):
        coolant += draw.choice([-2, -1, 0, 1, 2]) + (1 if coolant < 50 else 0)
        charge = Decimal(98) - Decimal("1.5") * lap + draw.choice(more)
        values = {"charge": charge, "coolant": Decimal(coolant)}
        told.append((lap * lap_seconds - draw.randint(0, 3), encode(book, values, "report").words))
    return told


def imported(
    folder: Path,
    book: Book,
    said: Sequence[tuple[int, str]],
    *,
    timed: bool = True,
    times: LapTimes | None = None,
) -> list[Entry]:
    """Return the reports that stand in the sheet of what was said, in order."""
    lines = [
        f"[{at // 3600:02}:{at // 60 % 60:02}:{at % 60:02}] Rune: {words}\n"
        if timed
        else f"Rune: {words}\n"
        for at, words in said
    ]
    path = folder / f"{random.getrandbits(60):x}.sheet"
    with Journal(path, book) as journal:
        import_transcript(journal, lines, "text", [Crew("5", "Rune", ("Siv",))], times=times)
        return [row.entry for row in Standing(journal.entries()).of("5", "report")]


def counted(entries: Sequence[Entry]) -> list[int | None]:
    return [entry.lap for entry in entries if entry.accepted]
