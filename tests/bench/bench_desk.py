"""A desk with many pages open on a large sheet: how long a line takes to be acknowledged, and a
line being typed to be read, while others write and many watch.

    PYTHONPATH=.:tests python tests/bench/bench_desk.py [--entries N] [--seconds S] [--watchers N]
        [--writers N]

The pages are clients that ask as the pages do and read all that is sent to them; the desk runs in a
process of its own. Its memory is told at the beginning and at the end.
"""

from __future__ import annotations

import argparse
import asyncio
import secrets
import statistics
import tempfile
import time
from pathlib import Path

import httpx2
from desk.browser import Served
from desk.support import sheet_at
from sheet.support import ROOT, report

from codec.sheet import Journal

REPORTS = ["one two zero one yankee alfa quebec", "two one six one yankee alfa one"]
EVENT = ROOT / "examples" / "race" / "event.toml"


def large_sheet(folder: Path, entries: int) -> Path:
    """Make a sheet of so many entries of two cars, most of them notes."""
    path = sheet_at(folder)
    with Journal(path) as journal:
        for start in range(0, entries, 2000):
            count = min(2000, entries - start)
            journal.append_all(
                report().replace(
                    kind="note", string="", message="", values={}, certainty=None, lap=1 + n % 60,
                    car=("7", "61")[n % 2], heard=f"talk {start + n}",
                )
                for n in range(count)
            )  # fmt: skip
    return path


async def watch(client: httpx2.AsyncClient, until: float, seen: list[int]) -> None:
    """Read everything that a page is sent."""
    try:
        async with asyncio.timeout_at(until), client.stream("GET", "/live/race") as answer:
            async for text in answer.aiter_text():
                seen[0] += text.count("event: news")
    except TimeoutError:
        pass


async def write(
    client: httpx2.AsyncClient, until: float, number: int, took: list[float], read: list[float]
) -> None:
    """Type and enter a line every two seconds."""
    loop, line = asyncio.get_running_loop(), 0
    await asyncio.sleep(number / 2)
    while loop.time() < until:
        car, text = ("7", "61")[number % 2], REPORTS[line % 2] if line % 5 == 0 else f"/note {line}"
        for end in range(4, len(text) + 1, 8):
            begin = time.perf_counter()
            await client.get("/look/race", params={"car": car, "text": text[:end]})
            read.append(time.perf_counter() - begin)
        sent = {"key": secrets.token_hex(16), "writer": f"E{number}", "car": car, "text": text}
        begin = time.perf_counter()
        answer = await client.post("/enter/race", json=sent)
        took.append(time.perf_counter() - begin)
        answer.raise_for_status()
        line += 1
        await asyncio.sleep(2)


async def measure(desk: Served, seconds: float, watchers: int, writers: int) -> None:
    """Open the pages, write for a while, and print what it took."""
    limits = httpx2.Limits(max_connections=None)
    async with httpx2.AsyncClient(
        base_url=desk.address, headers={"origin": desk.address}, limits=limits, timeout=60
    ) as client:
        begin = time.perf_counter()
        page = await client.get("/wall/race")
        print(
            f"the wall: {1000 * (time.perf_counter() - begin):.0f} ms, {len(page.content):,} bytes"
        )
        until = asyncio.get_running_loop().time() + seconds
        took, read, seen = list[float](), list[float](), [0]
        before = desk.memory()
        await asyncio.gather(
            *(watch(client, until, seen) for _ in range(watchers)),
            *(write(client, until, number, took, read) for number in range(writers)),
        )
        print(f"{len(took)} lines by {writers} writers, {seen[0]} news to {watchers} watchers")
        for name, times in (("enter to acknowledged", took), ("preview", read)):
            median, p95 = statistics.median(times), statistics.quantiles(times, n=20)[-1]
            print(f"{name}: median {1000 * median:.0f} ms, p95 {1000 * p95:.0f} ms")
        print(f"memory: {before} kB before, {desk.memory()} kB after")


def main() -> None:
    """Make the sheet, serve it, measure."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--entries", type=int, default=100_000)
    parser.add_argument("--seconds", type=float, default=30)
    parser.add_argument("--watchers", type=int, default=50)
    parser.add_argument("--writers", type=int, default=4)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        path = large_sheet(Path(folder), args.entries)
        begin = time.perf_counter()
        with Served(path, event=EVENT) as desk:
            print(f"started in {time.perf_counter() - begin:.1f} s on {args.entries:,} entries")
            asyncio.run(measure(desk, args.seconds, args.watchers, args.writers))


if __name__ == "__main__":
    main()
