"""The long fuzz, by hand: every reader in a process of its own for so many seconds.

``PYTHONPATH=.:tests python tests/hostile/fuzzing.py FOLDER SECONDS [READER …]`` prints one line of
JSON a reader, when the time is over or 10⁸ bytes are read: how many inputs and bytes, how many were
read, how many foreign errors, the slowest answer for each 100 kB, and the memory at its peak. What
failed is kept in FOLDER, to go into ``corpus``. Changes are guided by coverage where ``atheris`` is
installed (pip install atheris), else drawn at random.
"""

from __future__ import annotations

import importlib
import importlib.util
import json
import os
import random
import resource
import sys
import tempfile
import time
import traceback
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

SLOW = 2.0  # seconds of processor time for 100 kB
_UNIT = 100_000
_MOST_POOL = 200
_ENOUGH = 10**8  # bytes
_EVERY = 2.0  # seconds from one report of the figures to the next


@dataclass(slots=True)
class Figures:
    """What was tried on one reader, and what came of it."""

    reader: str
    guided: bool = False
    inputs: int = 0
    bytes: int = 0
    read: int = 0
    foreign: int = 0
    slow: int = 0
    slowest: float = 0.0
    peak_mb: float = 0.0


class Fuzz:
    """One reader under attack."""

    def __init__(self, reader: str, kept: Path) -> None:
        from hostile import readers

        self.readers, self.reader, self.kept = readers, reader, kept
        self.figures = Figures(reader)
        self._seen: set[str] = set()
        self._told = 0.0
        self._folder = Path(tempfile.mkdtemp(prefix="niner-fuzz-"))

    def one(self, data: bytes) -> bool:
        """Try one input and count it; return whether it was read."""
        figures, begin, read = self.figures, time.process_time(), False
        try:
            read = self.readers.attempt(self.reader, data, self._folder) == "read"
        except Exception as error:  # noqa: BLE001 - any error that is none of ours is a finding
            figures.foreign += 1
            self._keep("foreign", data, traceback.format_exception(error))
        taken = (time.process_time() - begin) / max(1.0, len(data) / _UNIT)
        figures.inputs += 1
        figures.read += read
        figures.bytes += len(data)
        figures.slowest = max(figures.slowest, round(taken, 3))
        if taken > SLOW:
            figures.slow += 1
            self._keep("slow", data, [f"{taken:.1f} s"])
        if time.monotonic() - self._told > _EVERY:
            self.tell()
        return read

    def _keep(self, what: str, data: bytes, why: list[str]) -> None:
        """Keep an input that failed, one for each place in the code."""
        frames = [line for line in why if line.startswith("  File")]
        place = f"{what}{frames[-1].splitlines()[0] if frames else ''}"
        if place not in self._seen:
            self._seen.add(place)
            name = self.kept / f"{self.reader}-{what}-{len(self._seen)}"
            name.write_bytes(data)
            name.with_suffix(".txt").write_text("".join(why), "utf-8", errors="replace")

    def tell(self) -> None:
        """Write the figures down: a guided run ends without a word."""
        self._told = time.monotonic()
        self.figures.peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1000
        (self.kept / f"{self.reader}.json").write_text(json.dumps(asdict(self.figures)))

    def mutate(self, data: bytes, most: int, seed: int) -> bytes:
        """Return a changed input, as atheris asks for it."""
        return self.readers.mutated(self.reader, data, random.Random(seed))[:most]

    def at_random(self, seconds: float, seed: int) -> None:
        """Change sound files, and changed ones again, until the time is over."""
        chance, pool = random.Random(seed), list(self.readers.seeds()[self.reader])
        until = time.monotonic() + seconds
        while time.monotonic() < until and self.figures.bytes < _ENOUGH:
            data = self.readers.mutated(self.reader, chance.choice(pool), chance)
            if self.one(data) and len(pool) < _MOST_POOL:
                pool.append(data)  # what is still read is changed again
        self.tell()


def guided(reader: str, kept: Path, seconds: int) -> None:
    """Fuzz with atheris, its changes guided by the coverage of this package."""
    atheris: Any = importlib.import_module("atheris")
    with atheris.instrument_imports(include=["codec", "grammar"]):
        fuzz = Fuzz(reader, kept)
    fuzz.figures.guided = True
    corpus = Path(tempfile.mkdtemp(prefix="niner-corpus-"))
    for number, data in enumerate(fuzz.readers.seeds()[reader]):
        (corpus / str(number)).write_bytes(data)
    options = [f"-max_total_time={seconds}", "-max_len=400000", "-timeout=600", "-verbosity=0"]
    atheris.Setup(
        [sys.argv[0], str(corpus), *options, "-rss_limit_mb=0"],
        lambda data: fuzz.one(data) and None,
        custom_mutator=fuzz.mutate,
    )
    atheris.Fuzz()


def run(kept: Path, seconds: int, names: list[str]) -> list[dict[str, Any]]:
    """Fuzz each reader in a child of its own; return the figures."""
    found = []
    with_atheris = importlib.util.find_spec("atheris") is not None
    for number, name in enumerate(names):
        child = os.fork()
        if child == 0:
            with suppress(SystemExit):
                if with_atheris:
                    guided(name, kept, seconds)
                else:
                    Fuzz(name, kept).at_random(seconds, number)
            os._exit(0)
        os.waitpid(child, 0)
        found.append(json.loads((kept / f"{name}.json").read_text()))
        print(json.dumps(found[-1]), flush=True)
    return found


if __name__ == "__main__":
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    all_readers = [
        "book", "event", "needs", "profile", "report", "text", "jsonl", "webvtt", "srt", "csv",
        "export", "xlsx", "sheet", "drill", "laps", "car",
    ]  # fmt: skip
    told = run(folder, int(sys.argv[2]), sys.argv[3:] or all_readers)
    print(json.dumps({"inputs": sum(one["inputs"] for one in told),
                      "bytes": sum(one["bytes"] for one in told),
                      "foreign": sum(one["foreign"] for one in told),
                      "slow": sum(one["slow"] for one in told)}))  # fmt: skip
