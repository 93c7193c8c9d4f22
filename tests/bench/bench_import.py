"""How fast a transcript streams through the import, beside plain json.loads of the same lines; and
that memory stays where it is.

    python tests/bench/bench_import.py [LINES]

The talk, the reports and the read-backs are invented; one line in ten holds a report, as on a race
radio with two cars.
"""

from __future__ import annotations

import itertools
import json
import random
import resource
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from radio.speakers import labelled, talk  # noqa: E402

from codec import load_book  # noqa: E402
from codec.radio.crews import Crew  # noqa: E402
from codec.radio.importing import import_transcript  # noqa: E402
from codec.sheet import Journal  # noqa: E402


def lines(count: int) -> Iterator[str]:
    """Yield ``count`` lines of JSON, each as of another moment."""
    book, chance = load_book(ROOT / "examples" / "race" / "race.toml"), random.Random(1)
    quiet = talk()
    reports = [line.said for line in labelled(book, 9, 400, 0, 0) if line.strings]
    for number in range(count):
        if number % 10:
            who, text = chance.choice(quiet)
        else:
            said = reports[number // 10 % len(reports)]
            who, text = said.speaker, said.text
        yield json.dumps({"start": number * 9.0, "speaker": who, "text": text}) + "\n"


def peak() -> float:
    """Return the most memory the process has had, in MB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main(count: int) -> None:
    """Time both and print their ratio."""
    path = Path(tempfile.mkdtemp()) / "radio.jsonl"
    with path.open("w") as stream:
        stream.writelines(lines(count))
    start = time.perf_counter()
    with path.open() as stream:
        for line in stream:
            json.loads(line)
    plain = time.perf_counter() - start
    marks = []
    with (
        Journal(
            path.with_name("bench.sheet"), load_book(ROOT / "examples" / "race" / "race.toml")
        ) as journal,
        path.open() as stream,
    ):
        start = time.perf_counter()
        watched = (
            marks.append(peak()) or line if number % (count // 10) == 0 else line
            for number, line in enumerate(stream)
        )
        summary = import_transcript(journal, watched, "jsonl", [Crew("7", "Ana")])
        took = time.perf_counter() - start
    written, left = sum(summary.written.values()), sum(summary.left_out.values())
    print(
        f"{count} lines, {path.stat().st_size / 1e6:.0f} MB; {written} entries written, {left}"
        " left out"
    )
    print(f"import      {count / took:10,.0f} lines/s")
    print(f"json.loads  {count / plain:10,.0f} lines/s   ratio {took / plain:.1f}")
    print("peak memory after each tenth (MB):", " ".join(f"{mark:.0f}" for mark in marks))
    for name in itertools.chain(path.parent.iterdir()):
        name.unlink()
    path.parent.rmdir()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
