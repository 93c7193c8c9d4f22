"""What a line of the live log costs, from Enter to the screen drawn, by the laps raced and by the
entries in the sheet; processor time, in one process.

    python tests/bench/bench_log.py [entries]
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from common import ROOT, table
from prompt_toolkit.application.current import set_app
from prompt_toolkit.data_structures import Size
from prompt_toolkit.input import DummyInput
from prompt_toolkit.output import DummyOutput

from codec import encode, load_book
from codec.log.session import Session
from codec.race import parse_event
from codec.screen.log import Log
from codec.sheet import Entry, Journal

LAPS = (1, 10, 30, 60)
REPORT: dict[str, Any] = {"energy": "0.1", "motor": 95, "inverter": 65, "battery": 44, "alert": []}
EVENT = (ROOT / "examples" / "event" / "event.toml").read_text("utf-8")
LONG = EVENT.replace("laps = 24", "laps = 70").replace("usable = 40.3", "usable = 117.0")


class Screen(DummyOutput):
    """A terminal of 80 columns and 24 rows that nobody sees."""

    def get_size(self) -> Size:
        return Size(rows=24, columns=80)


def cost(entries: int, laps: int) -> list[float]:
    """Return the milliseconds of each of ``laps`` reports, in a sheet that has so many entries."""
    book = load_book(ROOT / "examples" / "race" / "race.toml")
    event = parse_event(LONG, book)
    with (
        tempfile.TemporaryDirectory() as folder,
        Journal(Path(folder) / "event.sheet", book) as journal,
    ):
        journal.append(Entry(kind="car", car="7", message="Ana"))
        for first in range(0, entries, 1000):
            count = min(1000, entries - first)
            notes = [Entry(kind="note", car="7", heard="all quiet")] * count
            journal.append_all(notes)
        log = Log(Session(journal, "7", event), input=DummyInput(), output=Screen())
        return [
            _one(log, encode(book, {**REPORT, "lap": n}, "lap").words) for n in range(1, laps + 1)
        ]


def _one(log: Log, words: str) -> float:
    began = time.process_time()
    log._do(words)
    with set_app(log.application):
        log._drawn()
    return 1000 * (time.process_time() - began)


def main(entries: int) -> None:
    rows = [("entries before", *(f"lap {lap}" for lap in LAPS), "median", "ms")]
    for count in (0, entries):
        spent = cost(count, max(LAPS))
        shown = [f"{spent[lap - 1]:.1f}" for lap in LAPS]
        rows.append((f"{count}", *shown, f"{statistics.median(spent):.1f}", ""))
    table("From Enter to the screen drawn, 80 columns, ms of processor time", rows)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000)
