"""A small season of invented events, and what the tests of seasons share."""

from __future__ import annotations

import json
import uuid
from pathlib import Path
from typing import Any

from commands import Argument, called
from sheet.support import race_book, report

from codec.sheet import Entry, Journal
from codec.sheet.copying import copy
from codec.sheet.state import correction_of, withdrawal_of
from codec.store.place import place_of

SAID = "five one six three juliett romeo bravo tango"
MISHEARD = "five niner six three juliett romeo bravo tango"  # one heard as niner
DAYS = {"Tessel": "2026-05-02", "Marrow Sands": "2026-05-16", "Quill": "2026-06-06"}
NOON = 1_777_723_200_000  # 2026-05-02 12:00 UTC, in milliseconds since 1970


def unread(text: str, **facts: Any) -> Entry:
    """A report that could not be read."""
    return Entry(kind="report", heard=text, car="7", lap=5, refusal="check", **facts)


def put_right(entry: Entry, by: Entry, **facts: Any) -> Entry:
    """The correction of an entry by another, which was said later."""
    new = {"heard": by.heard, "string": by.string, "values": by.values, "message": by.message}
    return correction_of(entry, **new, **facts)


def write_event(path: Path, number: int) -> None:
    """Write one event: two drivers, one report misheard and said again, one never asked about."""
    day = number * 14 * 24 * 3_600_000
    with Journal(path, race_book(), writer="ana.4711") as journal:
        journal.append(Entry(kind="car", car="7", message="Ilse Marrow"))
        journal.append(Entry(kind="car", car="61", message="Teo Vash"))
        for lap in range(1, 4 + number):
            journal.append(report(SAID, lap=lap, at=NOON + day + lap * 80_000, certainty=1.0))
        first = journal.append(unread(MISHEARD, at=NOON + day + 900_000))
        journal.append(Entry(kind="question", car="7", heard="SAY AGAIN", about=first.seq))
        again = report(SAID, certainty=1.0)
        journal.append(put_right(first, again, certainty=1.0, at=NOON + day + 906_000))
    with Journal(path, writer="ben.12") as journal:
        journal.append(report(SAID, car="61", lap=5, certainty=0.97, note="heard through noise")
                       .replace(heard=SAID.replace("tango", "mango")))  # fmt: skip
        gone = journal.append(report(SAID, car="61", lap=6, certainty=0.6, at=NOON + day))
        journal.append(withdrawal_of(gone))
        journal.append(Entry(kind="note", heard="box this lap"))


def write_season(folder: Path) -> Path:
    """Write all events."""
    folder.mkdir(exist_ok=True)
    for number, name in enumerate(DAYS):
        write_event(folder / f"{name}.sheet", number)
    return folder


def on_server(folder: Path, address: str) -> None:
    """Copy all events to a server, each by its name."""
    for path in sorted(folder.glob("*.sheet")):
        with Journal(path) as journal:
            copy(journal, place_of(f"{address}#{path.stem}"))


def name() -> str:
    """Return a name that nothing else has."""
    return f"n{uuid.uuid4().hex}"


def told(*arguments: Argument) -> list[dict[str, Any]]:
    """Return what a command of niner season prints as JSON."""
    done = called(["season", *arguments, "--json"])
    assert done.returncode == 0, done.stderr or done.stdout
    return [json.loads(line) for line in done.stdout.splitlines()]


def without(facts: dict[str, Any], *names: str) -> dict[str, Any]:
    """Return facts without some."""
    return {key: one for key, one in facts.items() if key not in names}
