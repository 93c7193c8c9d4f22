"""A desk that mirrors a sheet is killed while it writes and hands over: nothing that was
acknowledged is lost, nothing is there twice, and both sheets are the same in the end.

    PYTHONPATH=.:tests python tests/hostile/mirror_kills.py ROUNDS

The desk is a process that adds an entry to its own sheet, prints its name, and brings both sheets
up to each other, again and again; others write into the shared sheet meanwhile, and every fourth
time the server is killed as well.
"""

from __future__ import annotations

import collections
import contextlib
import json
import random
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from servers import Server
from sheet.support import race_book

from codec.sheet import Entry, Journal, SheetError
from codec.sheet.journal import sheet_format
from codec.sheet.mirror import Mirror
from codec.store.place import place_of
from codec.store.server.setting_up import set_up


def be_a_desk(own: str, shared: str, begun: str) -> None:
    """Write and hand over until killed."""
    place, number = place_of(own), 0
    with (
        contextlib.closing(Mirror(place, place_of(shared), "track")) as mirror,
        Journal(place, writer="track") as journal,
    ):
        while True:
            written = journal.append(Entry(kind="note", uid=f"track-{begun}-{number}"))
            print(written.uid, flush=True)
            number += 1
            with contextlib.suppress(SheetError):  # the line is broken: the next one hands over
                mirror.step()


def campaign(rounds: int, seed: int = 7) -> dict[str, Any]:
    """Kill the desk so many times; return what came of it."""
    chance, server, acknowledged = random.Random(seed), Server(), list[str]()
    with contextlib.ExitStack() as stack:
        stack.callback(server.remove)
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        address = server.database("team")
        set_up(place_of(address), [sheet_format()])  # type: ignore[arg-type]
        own, shared = str(folder / "own.sheet"), f"{address}#race"
        factory = stack.enter_context(Journal(shared, race_book(), writer="factory"))
        for begun in range(rounds):
            with tempfile.TemporaryFile("w+") as told:
                desk = subprocess.Popen(
                    [sys.executable, __file__, "--desk", own, shared, str(begun)], stdout=told
                )
                until = time.monotonic() + chance.uniform(0.8, 1.6)
                while time.monotonic() < until:
                    with contextlib.suppress(SheetError):
                        name = f"factory-{begun}-{len(acknowledged)}"
                        acknowledged.append(factory.append(Entry(kind="note", uid=name)).uid)
                    time.sleep(chance.uniform(0, 0.05))
                if begun % 4 == 3:
                    server.kill()
                desk.kill()
                desk.wait()
                if begun % 4 == 3:
                    server.start()
                told.seek(0)
                acknowledged += [line.strip() for line in told if line.endswith("\n")]
        with contextlib.closing(Mirror(place_of(own), place_of(shared), "track")) as mirror:
            mirror.step()
        with Journal(own) as mine:
            sheets = [list(mine.entries()), list(factory.entries())]
            faults = mine.faults() + factory.faults()
    there = collections.Counter(entry.uid for entry in sheets[0])
    return {
        "kills": rounds,
        "acknowledged": len(acknowledged),
        "lost": sum(uid not in there for uid in acknowledged),
        "twice": sum(count > 1 for count in there.values()),
        "the same": sheets[0] == sheets[1],
        "faults": faults,
    }


if __name__ == "__main__":
    if sys.argv[1] == "--desk":
        be_a_desk(*sys.argv[2:])
    else:
        print(json.dumps(campaign(int(sys.argv[1]))))
