"""Two writers log to one sheet and are killed, again and again; then every entry that was
acknowledged is looked for.

Run by hand: python tests/store/killing.py SHEET ROUNDS SEED. Prints one JSON object. It forks
writers that are ready to write, so that the kill comes while they do, not while they load.
"""

from __future__ import annotations

import functools
import json
import os
import random
import select
import signal
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from codec import Book, load_book
from codec.sheet import Entry, Journal, SheetError

BOOK = Path(__file__).parents[2] / "examples" / "race" / "race.toml"


def patiently(act: Callable[[], Any]) -> Any:
    """Try again for as long as the other writer holds the sheet: on a busy machine that may be
    longer than the sheet waits.
    """
    while True:
        try:
            return act()
        except SheetError as error:
            if error.kind != "sheet-busy":
                raise


def write_for_ever(path: Path, book: Book, name: str, pipe: int) -> None:
    """Log entries; say the name of each when it is acknowledged."""
    journal = patiently(lambda: Journal(path, book, writer=name))
    number = 0
    while True:
        number += 1
        note = Entry(kind="note", car="7", heard=f"{name} {number} " + "x" * (number % 7 * 900))
        entry = patiently(functools.partial(journal.append, note))
        os.write(pipe, f"{entry.uid}\n".encode())


def killed_once(path: Path, book: Book, round_number: int, chance: random.Random) -> list[str]:
    """Let two writers run for a moment, kill them, and return the names of what they
    acknowledged.
    """
    pipes, children = [], []
    for name in ("one", "two"):
        mine, theirs = os.pipe()
        child = os.fork()
        if child == 0:
            try:
                write_for_ever(path, book, f"{name}.{round_number}", theirs)
            finally:
                os._exit(1)
        os.close(theirs)
        pipes.append(mine)
        children.append(child)
    if chance.random() < 0.9:
        select.select(
            pipes,
            [],
            [],
            10,
            # the first acknowledgement; on a busy machine it may take long. The other kills come
            # before
            # it
        )
    time.sleep(chance.uniform(0.0, 0.06))
    chance.shuffle(children)
    for child in children:
        os.kill(child, signal.SIGKILL)
    said = []
    for pipe in pipes:
        with os.fdopen(pipe, "rb") as lines:
            said += [line.decode().strip() for line in lines if line.endswith(b"\n")]
    died = [os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) for child in children]
    assert died == [-signal.SIGKILL] * 2, died
    return said


def run(path: Path, rounds: int, seed: int) -> dict[str, object]:
    """Kill ``rounds`` times; return what was acknowledged and what is there."""
    book, chance = load_book(BOOK), random.Random(seed)
    acknowledged: list[str] = []
    for number in range(rounds):
        acknowledged += killed_once(path, book, number, chance)
    with Journal(path, book) as journal:
        there = [entry.uid for entry in journal.entries()]
        both = {entry.writer.split(".")[0] for entry in journal.entries()}
        faults = journal.faults()
    return {
        "rounds": rounds,
        "acknowledged": len(acknowledged),
        "there": len(there),
        "lost": len(set(acknowledged) - set(there)),
        "twice": len(there) - len(set(there)),
        "writers": sorted(both),
        "faults": faults,
    }


if __name__ == "__main__":
    print(json.dumps(run(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))))
