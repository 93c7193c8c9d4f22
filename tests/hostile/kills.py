"""Programs killed at a random moment, again and again; then all that was acknowledged is looked
for.

``PYTHONPATH=.:tests python tests/hostile/kills.py FOLDER ROUNDS [SEED]`` prints one line of JSON an
attack: how often it was killed, how much was acknowledged before, how much of that is lost, and how
much is there twice. The programs are forked when they are loaded, so that the kill comes while they
write.
"""

from __future__ import annotations

import contextlib
import functools
import io
import json
import os
import random
import re
import select
import shutil
import signal
import sys
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path

from hostile.faults import answer, noted
from log.terminal import Terminal
from sheet.support import RACE, ROOT, race_book
from store import killing

from codec.cli import main
from codec.drill import DrillJournal
from codec.sheet import Entry, Journal
from codec.sheet.exports import export, read_export
from grammar.errors import CodeError

EVENT = ROOT / "examples" / "event"


@dataclass(slots=True)
class Outcome:
    """What came of one attack; ``refused`` counts exports that tell that they are torn."""

    kills: int = 0
    acknowledged: int = 0
    lost: int = 0
    twice: int = 0
    refused: int = 0


def killed(act: Callable[[], object], chance: random.Random, given: bytes = b"") -> list[str]:
    """Run in a child, with its standard streams as pipes, and kill it a moment after its first
    line; return the whole lines that it said.
    """
    theirs, mine = os.pipe()
    read, write = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(mine)
        sys.stdin = io.TextIOWrapper(os.fdopen(theirs, "rb"))
        sys.stdout = os.fdopen(write, "w", buffering=1)
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stderr.fileno())
        act()
        os._exit(0)
    os.close(theirs)
    os.close(write)
    with contextlib.suppress(BrokenPipeError):
        os.write(mine, given)
    if chance.random() < 0.9:
        select.select([read], [], [], 20)
    time.sleep(chance.uniform(0.0, 0.06))
    os.kill(child, signal.SIGKILL)
    with os.fdopen(read, "rb") as lines:
        said = [line.decode().rstrip("\n") for line in lines if line.endswith(b"\n")]
    os.waitpid(child, 0)
    os.close(mine)
    return said


def _count(found: Outcome, said: list[str], there: list[str]) -> Outcome:
    counts = Counter(there)
    found.acknowledged = len(said)
    found.lost = sum(one not in counts for one in said)
    found.twice = sum(count - 1 for count in counts.values())
    return found


def piped_log(folder: Path, rounds: int, chance: random.Random) -> Outcome:
    """``niner log`` from a pipe."""
    sheet, said = folder / "piped.sheet", list[str]()
    for number in range(rounds):
        lines = "".join(f"/note {number} {line}\n" for line in range(400)).encode()
        told = killed(lambda: main(["log", str(sheet), "--book", str(RACE)]), chance, lines)
        said += noted("\n".join(told))
    with Journal(sheet) as journal:
        assert journal.faults() == []
        return _count(Outcome(rounds), said, [entry.heard for entry in journal.entries()])


def live_log(folder: Path, rounds: int, chance: random.Random) -> Outcome:
    """``niner log`` on a terminal: what stands on the screen is in the sheet."""
    sheet, said = folder / "live.sheet", list[str]()
    for number in range(rounds):
        arguments = ["log", str(sheet), "--book", str(RACE), "--car", "7=Ana"]
        with Terminal(arguments, 100, 30) as terminal:
            terminal.shows("7")
            terminal.type(f"/note live {number} 0 end")
            terminal.shows(f"noted: live {number} 0 end")
            for line in (1, 2):
                terminal.type(f"/note live {number} {line} end")
            time.sleep(chance.uniform(0.0, 0.05))
            terminal.kill()
            screen = [line for line in terminal.screen().splitlines() if "/note" not in line]
            notes = [f"live {number} {line} end" for line in range(3)]
            said += [note for note in notes if any(note in line for line in screen)]
    with Journal(sheet) as journal:
        assert journal.faults() == []
        there = [entry.heard for entry in journal.entries() if entry.kind == "note"]
    return _count(Outcome(rounds), said, there)


def imports(folder: Path, rounds: int, chance: random.Random) -> Outcome:
    """An import that is killed and run again brings what one that is not killed brings."""

    def run(sheet: Path) -> None:
        print("begun")
        crews = ["--car", "7=Ilse Marrow,Quill", "--car", "61=Teo Vash,Denn"]
        main(["sheet", "import", str(sheet), str(EVENT / "radio.vtt"), "--book", str(RACE), *crews])

    def entries(sheet: Path) -> Counter[tuple[object, ...]]:
        with Journal(sheet) as journal:
            return Counter((e.kind, e.car, e.at, e.heard, e.string) for e in journal.entries())

    with contextlib.redirect_stdout(io.StringIO()):
        run(folder / "whole.sheet")
        whole, found = entries(folder / "whole.sheet"), Outcome(rounds)
        for number in range(rounds):
            sheet = folder / f"import-{number}.sheet"
            killed(functools.partial(run, sheet), chance)
            run(sheet)
            there = entries(sheet)
            found.acknowledged += whole.total()
            found.lost += (whole - there).total()
            found.twice += (there - whole).total()
    return found


def drills(folder: Path, rounds: int, chance: random.Random) -> Outcome:
    """Answers of a drill."""
    path, said = folder / "drills.niner", list[str]()

    def ask(number: int) -> None:
        with DrillJournal(path, create=True) as journal:
            book = journal.keep_book(race_book())
            for line in range(400):
                written = journal.append(answer(book, f"{number}.{line}"))
                print(written.person)

    for number in range(rounds):
        said += killed(functools.partial(ask, number), chance)
    with DrillJournal(path) as journal:
        return _count(Outcome(rounds), said, [answer.person for answer in journal.answers()])


def drill_screen(folder: Path, rounds: int, chance: random.Random) -> Outcome:
    """A drill on a terminal: what the screen counts as answered is in the journal."""
    path, found = folder / "screen.niner", Outcome(rounds)
    command = ["drill", "read", str(RACE), "--message", "lap", "--only", "symbols", "--items", "9"]
    for number in range(rounds):
        person = f"Ana {number}"
        with Terminal([*command, "--person", person, "--journal", str(path)], 100, 30) as terminal:
            terminal.shows("Enter: the car is parked")
            terminal.press("Enter")
            for place in (1, 2):
                terminal.shows(f"{place} of 9", "Space: show")
                for waits in ("when the first word", "when the last word", "answer:"):
                    terminal.press("Space")
                    terminal.shows(waits)
                terminal.press("Enter")
            time.sleep(chance.uniform(0.0, 0.05))
            terminal.kill()
            # that the second was asked has been seen, whatever is being drawn there
            asked = [2, *(int(one) for one in re.findall(r"(\d) of 9", terminal.screen()))]
            shown = max(asked) - 1
        with DrillJournal(path) as journal:
            there = len(list(journal.answers(person)))
        found.acknowledged += shown
        found.lost += max(0, shown - there)
        found.twice += max(0, there - 2)
    return found


def exports(folder: Path, rounds: int, chance: random.Random) -> Outcome:
    """Exports of two sheets over each other: the one or the other, or refused; never torn."""
    sheets, heard = [folder / "one.sheet", folder / "two.sheet"], {}
    for path in sheets:
        with Journal(path, race_book()) as journal:
            journal.append_all(Entry(kind="note", heard=f"{path.name} {n}") for n in range(40))
            heard[journal.sheet] = [entry.uid for entry in journal.entries()]

    def write() -> None:
        while True:
            for path in sheets:
                with Journal(path) as journal:
                    for form in ("csv", "jsonl", "xlsx"):
                        export(journal, folder / f"e.{form}", replace=True)
                print("exported")

    found = Outcome(rounds)
    for _ in range(rounds):
        killed(write, chance)
        for form in ("csv", "jsonl", "xlsx"):
            path = folder / f"e.{form}"
            if not path.exists():
                continue
            found.acknowledged += 1
            try:
                read = read_export(path)
                assert read is not None
                found.lost += [entry.uid for entry in read[1]] != heard[read[0].sheet]
            except CodeError:
                found.refused += 1
    return found


def two_writers(folder: Path, rounds: int, chance: random.Random) -> Outcome:
    """Two writers on one sheet, both killed."""
    sheet, said = folder / "two-writers.sheet", list[str]()
    for number in range(rounds):
        said += killing.killed_once(sheet, race_book(), number, chance)
    with Journal(sheet) as journal:
        assert journal.faults() == []
        return _count(Outcome(2 * rounds), said, [entry.uid for entry in journal.entries()])


ATTACKS: dict[str, tuple[Callable[[Path, int, random.Random], Outcome], int]] = {
    "log, piped": (piped_log, 1),
    "log, on a terminal": (live_log, 20),  # each takes as long as so many of the others
    "import": (imports, 4),
    "drill": (drills, 1),
    "drill, on a terminal": (drill_screen, 20),
    "exports": (exports, 2),
    "two writers": (two_writers, 2),
}


def run(folder: Path, rounds: int, seed: int) -> dict[str, Outcome]:
    """Run every attack; return what came of each."""
    found = {}
    for name, (attack, costs) in ATTACKS.items():
        found[name] = attack(folder, max(2, rounds // costs), random.Random(seed))
        print(json.dumps({name: asdict(found[name])}), flush=True)
    return found


if __name__ == "__main__":
    place = Path(sys.argv[1])
    shutil.rmtree(place, ignore_errors=True)
    place.mkdir(parents=True)
    run(place, int(sys.argv[2]), int((sys.argv[3:] or ["1"])[0]))
