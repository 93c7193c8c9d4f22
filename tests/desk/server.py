"""A desk in a process of its own that is killed and begun again at a word: ``start SHEET`` and
``kill`` on standard input, each answered by a line; behind a tab stands the shared sheet that it is
kept in step with.

What serves is loaded once and forked, so that a start takes as long as opening the sheet.
"""

from __future__ import annotations

import os
import signal
import sys
from pathlib import Path

from codec.desk.serving import MirrorPlan, serve, sheets_at
from codec.race.people import EventFile
from codec.store.place import ServerPlace, folder_of, place_of


def main(port: int, event: Path | None) -> None:
    """Obey until the input ends."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as every command does
    child = 0
    for word in sys.stdin:
        told, _, name = word.strip().partition(" ")
        if told == "start":
            own, _, shared = name.partition("\t")
            sheet, mirror = place_of(own), place_of(shared) if shared else None
            child = os.fork()
            if child == 0:
                sys.stdin = open(os.devnull)  # noqa: PTH123, SIM115 - the parent's is not ours to read
                serve(
                    sheets_at(
                        sheet,
                        event=None if event is None else EventFile(event),
                        mirror=MirrorPlan(mirror, f"desk {port}")
                        if isinstance(mirror, ServerPlace)
                        else None,
                    ),
                    lambda _: print("started", os.getpid(), flush=True),
                    port=port,
                    links_at=folder_of(sheet) / "links",
                )
                os._exit(0)
        else:
            os.kill(child, signal.SIGKILL)
            os.waitpid(child, 0)
            print("killed", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]), Path(sys.argv[2]) if sys.argv[2:] else None)
