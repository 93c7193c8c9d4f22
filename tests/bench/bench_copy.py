"""A season brought to a server and back: how long sheets take to be copied, what memory it needs,
and how long the list of them takes.

    PYTHONPATH=.:tests python tests/bench/bench_copy.py [--events N] [--entries N]

Processor time is that of the copying process alone; the server has its own. The load of the machine
is told.
"""

from __future__ import annotations

import argparse
import os
import resource
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from servers import Server
from sheet.support import race_book, report

from codec.sheet import Journal
from codec.sheet.copying import copy
from codec.sheet.journal import sheet_format
from codec.sheet.listing import sheets_in
from codec.store.place import ServerPlace
from codec.store.server.setting_up import set_up


def timed(what: str, act: Callable[[], object]) -> None:
    """Print what something took, and the most memory so far."""
    wall, mine = time.perf_counter(), time.process_time()
    act()
    wall, mine = time.perf_counter() - wall, time.process_time() - mine
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    print(f"{what}: {wall:.1f} s, {mine:.1f} s of processor time, at most {most:,} kB", flush=True)


def main() -> None:
    """Make the sheets, copy them there and one back, list them."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--events", type=int, default=200)
    parser.add_argument("--entries", type=int, default=5000)
    args = parser.parse_args()
    server = Server()
    try:
        place = ServerPlace(server.database("season"))
        set_up(place, [sheet_format()])
        with tempfile.TemporaryDirectory() as folder:
            pattern = Path(folder) / "pattern.sheet"
            with Journal(pattern, race_book()) as journal:
                journal.append_all(
                    report().replace(lap=1 + number % 60, note=f"{number} of many")
                    for number in range(args.entries)
                )

            def there() -> None:
                for event in range(args.events):
                    with Journal(pattern) as journal:
                        copy(journal, place.with_name(f"event {event:03}"))

            print(f"load: {os.getloadavg()[0]:.1f}, {os.cpu_count()} processors")
            timed("one sheet there", lambda: copy(Journal(pattern), place.with_name("first")))
            timed(f"{args.events} sheets of {args.entries:,} entries there", there)
            with Journal(place.with_name("event 000")) as journal:
                timed("one back", lambda: copy(journal, Path(folder) / "back.sheet"))
            timed("all listed", lambda: sheets_in(place))
            print(f"load: {os.getloadavg()[0]:.1f}")
    finally:
        server.remove()


if __name__ == "__main__":
    main()
