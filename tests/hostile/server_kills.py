"""A server that is killed under four writers: nothing that was acknowledged is lost, nothing is
there twice.

    PYTHONPATH=.:tests python tests/hostile/server_kills.py ROUNDS

Each writer adds entries under names of its own, and tries one again by its name until it is
acknowledged. Every round the server and all its processes are killed at a random moment and it is
begun again, behind its own recovery. What is then there is held against what was acknowledged.
"""

from __future__ import annotations

import collections
import contextlib
import json
import os
import random
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from typing import IO, Any

from servers import Server
from sheet.support import ROOT, race_book

from codec.sheet import Entry, Journal, SheetError
from codec.sheet.journal import sheet_format
from codec.store.place import ServerPlace
from codec.store.server.setting_up import set_up

WRITERS = 4


def write(place: str, name: str) -> None:
    """Add entries until killed; print the name of each that was acknowledged, and the kind of
    each error.
    """
    number, journal = 0, None
    while True:
        try:
            if journal is None:
                journal = Journal(place, writer=name)
            journal.append(Entry(kind="note", uid=f"{name}-{number}", heard="x" * 200))
        except SheetError as error:
            print("error", error.kind, flush=True)
            time.sleep(0.02)
            continue
        print("acknowledged", number, flush=True)
        number += 1


def _written(told: Sequence[IO[str]], writers: int, seconds: float = 60) -> None:
    """Wait until so many writers have told more, as long as that takes on a busy machine."""
    before = [os.fstat(file.fileno()).st_size for file in told]
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        now = [os.fstat(file.fileno()).st_size for file in told]
        if sum(one > other for one, other in zip(now, before, strict=True)) >= writers:
            return
        time.sleep(0.02)


def campaign(rounds: int, seed: int = 7) -> dict[str, Any]:
    """Kill the server so many times; return what came of it."""
    chance, server = random.Random(seed), Server()
    with contextlib.ExitStack() as stack:
        stack.callback(server.remove)
        address = server.database("team")
        set_up(ServerPlace(address), [sheet_format()])
        place = f"{address}#race"
        Journal(place, race_book()).close()
        told = [stack.enter_context(tempfile.TemporaryFile("w+")) for _ in range(WRITERS)]
        writers = [
            subprocess.Popen(
                [sys.executable, __file__, "--write", place, f"w{number}"],
                stdout=file,
                env={**os.environ, "PYTHONPATH": os.pathsep.join(map(str, (ROOT / "tests", ROOT)))},
            )
            for number, file in enumerate(told)
        ]
        _written(told, WRITERS)
        for _ in range(rounds):
            _written(told, 1)
            time.sleep(chance.uniform(0.05, 0.6))
            server.kill()
            server.start()
        time.sleep(1)
        acknowledged: dict[str, int] = {}
        errors: collections.Counter[str] = collections.Counter()
        for number, writer in enumerate(writers):
            writer.kill()
            writer.wait()
            told[number].seek(0)
            whole = [line.split() for line in told[number] if line.endswith("\n")]
            acknowledged[f"w{number}"] = sum(kind == "acknowledged" for kind, _ in whole)
            errors.update(what for kind, what in whole if kind == "error")
        with Journal(place) as journal:
            entries = list(journal.entries())
            faults = journal.faults()
    there = collections.Counter(entry.uid for entry in entries)
    lost = [
        uid
        for name, count in acknowledged.items()
        for uid in (f"{name}-{number}" for number in range(count))
        if uid not in there
    ]
    out_of_order = [
        name
        for name in acknowledged
        if (mine := [int(e.uid.split("-")[1]) for e in entries if e.writer == name])
        != list(range(len(mine)))
    ]
    return {
        "kills": rounds,
        "acknowledged": sum(acknowledged.values()),
        "lost": len(lost),
        "twice": sum(count > 1 for count in there.values()),
        "out of order": out_of_order,
        "gaps": [entry.seq for entry in entries] != list(range(1, len(entries) + 1)),
        "faults": faults,
        "errors": dict(errors),
    }


if __name__ == "__main__":
    if sys.argv[1] == "--write":
        write(*sys.argv[2:])
    else:
        print(json.dumps(campaign(int(sys.argv[1]))))
