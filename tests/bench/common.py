"""What the benchmarks share: timing by turns in one run, and a small table of ratios."""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

ROOT = Path(__file__).parents[2]


def by_turns(
    works: Mapping[str, Callable[[], object]],
    rounds: int,
    pick: Callable[[list[float]], float] = statistics.median,
) -> dict[str, float]:
    """Return the processor seconds of each of ``works``, of those of all rounds what ``pick``
    does, run by turns so that a busy moment falls on all of them.
    """
    seconds: dict[str, list[float]] = {name: [] for name in works}
    for _ in range(rounds):
        for name, work in works.items():
            began = time.process_time()
            work()
            seconds[name].append(time.process_time() - began)
    return {name: pick(times) for name, times in seconds.items()}


def processes(commands: Mapping[str, Sequence[str]], rounds: int) -> dict[str, tuple[float, float]]:
    """Return the median (wall, processor) seconds of whole Python processes with these arguments,
    run by turns.
    """
    seconds: dict[str, list[tuple[float, float]]] = {name: [] for name in commands}
    for _ in range(rounds):
        for name, arguments in commands.items():
            began = time.perf_counter()
            process = subprocess.Popen(
                [sys.executable, *arguments], stdout=subprocess.DEVNULL, cwd=ROOT
            )
            _, status, usage = os.wait4(process.pid, 0)
            process.returncode = os.waitstatus_to_exitcode(status)
            if process.returncode:
                raise SystemExit(f"{name} failed")
            seconds[name].append((time.perf_counter() - began, usage.ru_utime + usage.ru_stime))
    return {
        name: (statistics.median(w for w, _ in times), statistics.median(c for _, c in times))
        for name, times in seconds.items()
    }


def table(head: str, rows: Sequence[Sequence[str]]) -> None:
    """Print rows in columns."""
    print(f"\n{head}")
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    for row in rows:
        print(
            "  "
            + "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        )
