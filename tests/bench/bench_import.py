"""How fast a transcript streams through the import, beside plain json.loads of the same lines; and
that memory stays where it is.

    python tests/bench/bench_import.py [LINES]

The race is one of radio_events.py: two cars, every style of talk. Two transcripts are made of it:
one with the lines that are written to be mistaken for a report, each full of numbers and spelling
words, and a line of code in nine; and one of ordinary talk, a line of code in thirty.
"""

from __future__ import annotations

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

from bench.radio_events import DEVELOPED, HELD_OUT, Event, Line, moved  # noqa: E402
from radio.speakers import talk  # noqa: E402

from codec import load_book  # noqa: E402
from codec.radio.crews import crews_of  # noqa: E402
from codec.radio.importing import import_transcript  # noqa: E402
from codec.sheet import Journal  # noqa: E402

RACE = ROOT / "examples" / "race" / "race.toml"
CREWS = ("5=Ines Kolbe,Radek", "33=Tilda Ousmane,Bruun")
_LAPS = 50  # of one style, before the next: a whole number of tens, as the lap said is one figure
# invented, for this file: one in six holds a number
ORDINARY = [
    "The rear steps out as soon as I touch the kerb.", "Traffic ahead, they let you by.",
    "Brakes feel better than this morning.", "Copy, we keep the plan as it is.", "Understood.",
    "Can you see the marshals at the hairpin?", "Lift a little earlier on the long straight.",
    "He moved under braking, did you see that?", "Yes, they have noted it.", "Tyres are coming in.",
    "There are dark clouds over the pits.", "No rain on the radar for now.", "Good job, keep it.",
    "I lose him out of the last corner every time.", "Save the front left if you can.",
    "What are the others doing?", "They all stay out for the moment.", "Steering is heavy today.",
    "Let him go, he will pay for it later.", "You are the fastest car on track.",
    "The one behind is under pressure himself.", "Sun is low, I cannot see the apex there.",
    "Dirty air is terrible behind them.", "Relax your hands on the straight and breathe.",
    "Gap behind is three.", "Last lap was a one twenty four point six.", "Position seven.",
    "Debris at turn four, on the left.", "Two more laps, then we talk again.", "P5, P5.",
]  # fmt: skip


def lines(count: int, ordinary: bool) -> Iterator[str]:
    """Yield ``count`` lines of JSON of one long race in every style of talk."""
    book, chance, quiet = load_book(RACE), random.Random(1), talk()
    beside = 30 if ordinary else 8  # lines of talk for each of code
    if ordinary:
        quiet = [("car", text) for text in ORDINARY] + [("pit", text) for text in ORDINARY]
    styles, said, end = [*DEVELOPED, *HELD_OUT], list[Line](), 0.0
    for number, style in enumerate(styles):
        event = Event(book, number, style, 0.0, "right", _LAPS)
        people = [(car.driver, car.engineer) for car in event.cars]
        there = [moved(line, end) for line in event.lines if line.report or not ordinary]
        length = max(car.clock for car in event.cars)
        for _ in range(beside * sum(line.report for line in there)):
            who, text = chance.choice(quiet)
            speaker = chance.choice(people)[who == "pit"] if who else ""
            there.append(Line(end + chance.uniform(0, length), speaker, text))
        said += sorted(there, key=lambda line: line.at)
        end += length
    for number in range(count):
        rounds, place = divmod(number, len(said))
        line = said[place]
        facts = {"start": round(line.at + rounds * end, 2), "speaker": line.speaker}
        yield json.dumps({**facts, "text": line.text}) + "\n"


def peak() -> float:
    """Return the most memory the process has had, in MB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main(count: int, ordinary: bool) -> None:
    """Time both and print their ratio."""
    path = Path(tempfile.mkdtemp()) / "radio.jsonl"
    with path.open("w") as stream:
        stream.writelines(lines(count, ordinary))
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
        start, used = time.perf_counter(), time.process_time()
        watched = (
            marks.append(peak()) or line if number % (count // 10) == 0 else line
            for number, line in enumerate(stream)
        )
        summary = import_transcript(journal, watched, "jsonl", crews_of(CREWS))
        took, used = time.perf_counter() - start, time.process_time() - used
    written, left = sum(summary.written.values()), sum(summary.left_out.values())
    print(
        f"{count} lines, {path.stat().st_size / 1e6:.0f} MB; {written} entries written, {left}"
        " left out"
    )
    print(
        f"import      {count / took:10,.0f} lines/s, {count / used:,.0f} a second of processor time"
    )
    print(f"json.loads  {count / plain:10,.0f} lines/s   ratio {took / plain:.1f}")
    print("peak memory after each tenth (MB):", " ".join(f"{mark:.0f}" for mark in marks))
    for name in path.parent.iterdir():
        name.unlink()
    path.parent.rmdir()


if __name__ == "__main__":
    for kind, ordinary in (("ordinary talk", True), ("talk full of numbers", False)):
        print(f"{kind}:")
        main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000, ordinary)
