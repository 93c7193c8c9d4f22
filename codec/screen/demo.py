"""The demo: a race read report by report, what a reading holds, and an answer."""

from __future__ import annotations

import os
from collections.abc import Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any

from rich.text import Text

from codec.decode import Transcript, decode_all
from codec.encode import encode
from codec.reading import Reading
from codec.screen.console import console, safe
from codec.screen.reading import boxed, encoded_lines, heading, reading_lines
from grammar.book import Book
from grammar.errors import ReportError

_HALF = 5  # characters of bar on either side of "on plan"


def race(book: Book, said: Sequence[dict[str, Any]], folder: Path) -> None:
    """Print the race."""
    console().print(safe(book.title, "bold"))
    console().print(
        safe("No data comes from the car. Once a lap the driver reads a code off the dash; this is what the pit wall makes of it.", "dim")
    )
    console().print()
    grid = boxed("lap", "heard", "energy against plan", "motor", "inv.", "batt.", right=("lap", "motor", "inv.", "batt."))
    last = None
    for line in said:
        last = _line(book, grid, line) or last
    console().print(grid)
    if last is not None:
        heading("The last lap report, part by part")
        reading_lines(book, last)
    heading("The answer: 1.31 kWh a lap from here")
    encoded_lines(book, encode(book, {"target": Decimal("1.31")}, "pace"))
    console().print()
    shown = os.path.relpath(folder) if folder.is_relative_to(Path.cwd()) else str(folder)
    console().print(safe("Try it yourself:", "bold"))
    console().print(safe(f"  niner decode {shown}/race.toml four double oh for yankee foxtrot x-ray charlie charlie"))
    console().print(safe(f"  niner book show {shown}/race.toml"))
    console().print(
        safe(
            "Team, circuit and figures are invented. Drills and codes are for a parked car, a simulator or a desk first; a temperature or "
            "insulation warning is handled by the event's and the team's own safety procedures and qualified people.",
            "italic dim",
        )
    )


def _line(book: Book, grid: Any, line: dict[str, Any]) -> Reading | None:
    """Add a row for one transmission; return the reading if it is a lap report."""
    heard, pit = line["heard"], line["from"] == "pit"
    lap = "" if pit else str(line["lap"])
    who = safe(("  » " if pit else "") + heard, "cyan" if pit else "")
    try:
        transcript = decode_all(book, heard, direction=line["from"], context={"lap": line["lap"]})
    except ReportError as error:
        grid.add_row(lap, who, safe(f"refused: {error.message}", "yellow"), "", "", "")
        return None
    reports = [reading for reading in transcript.reports if reading.message == "lap"]
    if reports:
        _report(grid, lap, who, reports[0])
        return reports[0]
    grid.add_row(lap, who, safe(_told(book, transcript), "cyan" if pit else "magenta"), "", "", "")
    return None


def _report(grid: Any, lap: str, who: Text, reading: Reading) -> None:
    cells = [safe(reading.shown(name), "bold red" if reading.field(name).warnings(reading.levels[name]) else "") for name in _TEMPERATURES]
    grid.add_row(lap, who, _bar(reading), *cells)
    alerts = reading.shown("alert")
    if alerts != "none":
        grid.add_row("", "", safe(f"! {alerts}", "bold red"), "", "", "")


_TEMPERATURES = ("motor", "inverter", "battery")


def _bar(reading: Reading) -> Text:
    """Draw the energy against plan about a middle line: left is under plan."""
    value = reading["energy"]
    size = min(_HALF, round(abs(float(value)) * 4)) if isinstance(value, Decimal) else 0
    under = isinstance(value, Decimal) and value < 0
    left = ("█" * size if under else "").rjust(_HALF)
    right = ("" if under else "█" * size).ljust(_HALF)
    return Text.assemble((left, "red"), "│", (right, "green"), f" {reading.shown('energy')}")


def _told(book: Book, transcript: Transcript) -> str:
    told = [str(reading) for reading in transcript.reports]
    told += [book.spec.phrases[name].label or name for name, _ in transcript.events]
    told += ["asks for a repeat" for _ in transcript.asks]
    return "; ".join(told)
