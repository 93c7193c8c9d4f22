"""The demo: radio in, sheet out, where the race is heading, the answer, the debrief."""

from __future__ import annotations

import importlib.util
import os
import shlex
from collections.abc import Sequence
from pathlib import Path

from codec.debrief.summary import CAUTION
from codec.decoding import decode
from codec.race import Event, advise, facts, follow
from codec.radio.importing import Summary
from codec.screen.console import console, heading, safe
from codec.screen.race import state_lines
from codec.screen.reading import encoded_lines, reading_lines
from codec.screen.sheet import lap_tables, summary_lines
from codec.sheet import Entry, Journal
from codec.sheet.state import Standing, rows
from grammar.book import Book
from grammar.errors import CodeError

_CAR = "7"  # the car that is followed
_LINES = 7


def opening(book: Book, radio: Sequence[str]) -> None:
    """Print what this is about, and how the radio begins."""
    console().print(safe(book.title, "bold"))
    told = (
        "No data comes from the car. Once a lap the driver reads a code off the dash; this is what"
        " the pit wall makes of the radio."
    )
    console().print(safe(told, "dim"))
    heading("The radio, as a speech recogniser wrote it")
    for line in radio[:_LINES]:
        console().print(safe(line))
    console().print(safe(f"… {len(radio) - _LINES} more lines", "dim"))


def sheet(journal: Journal, summary: Summary) -> None:
    """Print one report part by part, what the import brought, and the sheet of one car."""
    heading("One report, part by part")
    reports = [
        row.first
        for row in rows(journal.entries())
        if row.entry.car == _CAR and row.first.kind == "report"
    ]
    first = next(entry for entry in reports if entry.accepted and not entry.refusal)
    reading_lines(
        journal.book,
        decode(journal.book, first.heard, direction="car", context={"lap": first.lap or 1}),
    )
    heading("What was found in the chatter")
    summary_lines(summary)
    heading("The lap sheet")
    lap_tables(journal, _CAR)


def heading_there(book: Book, event: Event, entries: Sequence[Entry]) -> None:
    """Print where the race was heading before the pit's last energy call, and the call to make
    then.
    """
    until = max(
        (
            n
            for n, entry in enumerate(entries)
            if entry.car == _CAR and (entry.kind, entry.message) == ("call", "pace")
        ),
        default=len(entries),
    )
    race = follow(event, facts(Standing(entries[:until]), _CAR))
    heading(f"Where it was heading behind lap {race.lap}, and the answer")
    advice = advise(race)
    for line in state_lines(race, ()):
        console().print(line)
    for one in advice:
        console().print(safe(one.told, "dim"))
        encoded_lines(book, one.call)


def debrief(
    book: Book, event: Event, entries: Sequence[Entry], recorded: Path, folder: Path
) -> None:
    """Write the debrief and say where; without its libraries say how to get them."""
    from codec.debrief import read_car_file, summarise
    from codec.debrief.page import write

    heading("The debrief: what was said against what the car recorded")
    summary = summarise(
        book, entries, car=_CAR, event=event, recorded=read_car_file(recorded, book)
    )
    try:
        written = write(summary, folder, replace=True)
    except CodeError as error:
        console().print(safe(str(error), "yellow"))
        return
    console().print(
        safe(f"open {_near(written[0])} in a browser; its figures stand beside it", "bold")
    )


_NEXT = {
    "engineer": (
        "The race engineer, who hears reports and logs them",
        (
            "niner decode {race} five one six three juliett romeo bravo tango",
            "niner hear {race} five one six three juliett romeo papa tango",
            "niner race show {sheet} {event} --car 61",
            "niner log practice.sheet --book {race} --event {event} --car 7",
        ),
    ),
    "team": (
        "The team, which designs a code of its own",
        (
            "niner book show {race}",
            "niner book check {race}",
            "niner book export {race} card --out cards",
        ),
    ),
    "coach": (
        "The coach, who drills a driver in reading and an engineer in hearing",
        (
            "niner drill read {race} --person Ana --message lap --items 10",
            "niner drill hear {race} --person Ben --message lap --flash",
        ),
    ),
}


def closing(examples: Path, folder: Path) -> None:
    """Print where each of the three users goes on from here, with the files in the folder of the
    demo, and the caution; the guides are named where they are, in a checkout.
    """
    names = {"race": "race.toml", "event": "event.toml", "sheet": "race.sheet"}
    files = {key: shlex.quote(_near(folder / name)) for key, name in names.items()}
    heading("Where to go next")
    for user, (who, commands) in _NEXT.items():
        guide = examples / f"{user}.md"
        console().print(
            safe(f"{who}: {_near(guide)}" if guide.is_file() else who, "bold"), soft_wrap=True
        )
        if user == "coach" and importlib.util.find_spec("fsrs") is None:
            console().print(safe("  pip install 'niner[drill]' first", "dim"))
        for command in commands:
            console().print(safe(f"  {command.format(**files)}"), soft_wrap=True)
    console().print(
        safe(f"Team, circuit, people and figures are invented. {CAUTION}", "italic dim")
    )


def _near(path: Path) -> str:
    return os.path.relpath(path) if path.is_relative_to(Path.cwd()) else str(path)
