"""A desk with many pages open on a large sheet: how long a line takes to be acknowledged, and a
line being typed to be read, while others write and many watch; what its memory does meanwhile; and
how soon a browser paints the wall.

    PYTHONPATH=.:tests python tests/bench/bench_desk.py [--entries N] [--seconds S] [--watchers N]
        [--writers N]

The pages are clients that ask as the pages do and read all that is sent to them; the desk, those
who watch and those who write run in processes of their own, so that nobody who writes waits for
what others read. Four writers enter two lines a second. The load of the machine is told, as every
figure depends on it.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import os
import secrets
import statistics
import sys
import tempfile
import time
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import httpx2
from desk.browser import Served, chromium
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


async def watch(client: httpx2.AsyncClient, seconds: float) -> int:
    """Read everything that a page is sent; return how often it was told news."""
    seen = 0
    with contextlib.suppress(TimeoutError):
        async with asyncio.timeout(seconds), client.stream("GET", "/live/race") as answer:
            async for text in answer.aiter_text():
                seen += text.count("event: news")
    return seen


async def watch_all(address: str, seconds: float, watchers: int) -> int:
    """Have so many pages open; return how often they were told news."""
    async with client_of(address) as client:
        return sum(await asyncio.gather(*(watch(client, seconds) for _ in range(watchers))))


def client_of(address: str) -> httpx2.AsyncClient:
    """Return what asks as pages do."""
    return httpx2.AsyncClient(
        base_url=address,
        headers={"origin": address},
        limits=httpx2.Limits(max_connections=None),
        timeout=60,
    )


async def again(
    ask: Callable[..., Awaitable[httpx2.Response]], *given: Any, **facts: Any
) -> httpx2.Response:
    """Ask once more where a connection that was kept was closed at just that moment, as a page
    does: a line has its own key.
    """
    try:
        return await ask(*given, **facts)
    except (httpx2.ReadError, httpx2.RemoteProtocolError):
        return await ask(*given, **facts)


async def write(
    client: httpx2.AsyncClient,
    until: float,
    number: int,
    took: dict[str, list[float]],
    read: list[float],
) -> None:
    """Type and enter a line every two seconds."""
    loop, line = asyncio.get_running_loop(), 0
    await asyncio.sleep(number / 2)
    while loop.time() < until:
        car, text = ("7", "61")[number % 2], REPORTS[line % 2] if line % 5 == 0 else f"/note {line}"
        for end in range(4, len(text) + 1, 8):
            begin = time.perf_counter()
            await again(client.get, "/look/race", params={"car": car, "text": text[:end]})
            read.append(time.perf_counter() - begin)
        sent = {"key": secrets.token_hex(16), "writer": f"E{number}", "car": car, "text": text}
        begin = time.perf_counter()
        answer = await again(client.post, "/enter/race", json=sent)
        answer.raise_for_status()
        doubtful = answer.json()["tone"] == "bad"
        took["doubtful" if doubtful else "clear"].append(time.perf_counter() - begin)
        line += 1
        await asyncio.sleep(2)


async def measure(desk: Served, seconds: float, watchers: int, writers: int) -> None:
    """Open the pages, write for a while, and print what it took."""
    watched = [sys.executable, __file__, "--watch", desk.address, str(seconds), str(watchers)]
    watching = await asyncio.create_subprocess_exec(*watched, stdout=asyncio.subprocess.PIPE)
    async with client_of(desk.address) as client:
        begin = time.perf_counter()
        page = await client.get("/wall/race")
        print(
            f"the wall: {1000 * (time.perf_counter() - begin):.0f} ms, {len(page.content):,} bytes"
        )
        until = asyncio.get_running_loop().time() + seconds
        took, read = {"clear": list[float](), "doubtful": list[float]()}, list[float]()
        memory, worked = list[tuple[int, int]](), desk.processor_seconds()
        await asyncio.gather(
            *(write(client, until, number, took, read) for number in range(writers)),
            sample(desk, until, took, memory),
        )
        seen = int((await watching.communicate())[0])
        entered = [*took["clear"], *took["doubtful"]]
        print(f"{len(entered)} lines by {writers} writers, {seen} news to {watchers} watchers")
        for name, times in (
            ("enter to acknowledged", entered),
            (f"of {len(took['clear'])} that were read", took["clear"]),
            (f"of {len(took['doubtful'])} that were not, and heard", took["doubtful"]),
            ("preview", read),
        ):
            median, p95 = statistics.median(times), statistics.quantiles(times, n=20)[-1]
            print(f"{name}: median {1000 * median:.0f} ms, p95 {1000 * p95:.0f} ms")
        used = 1000 * (desk.processor_seconds() - worked) / max(1, len(entered))
        print(f"processor time of the desk: {used:.0f} ms a line, with its previews and news")
        settled = memory[len(memory) // 4 :]
        (lines, kilobytes), (after, more) = settled[0], settled[-1]
        grown = (more - kilobytes) / max(1, after - lines)
        told = f"{kilobytes:,} kB, then {more:,} kB {after - lines} lines later"
        print(f"memory: {told}: {grown:.1f} kB a line")


async def sample(
    desk: Served, until: float, took: dict[str, list[float]], memory: list[tuple[int, int]]
) -> None:
    """Note now and then how many lines were written, and what the desk holds in memory."""
    while asyncio.get_running_loop().time() < until:
        memory.append((sum(map(len, took.values())), desk.memory()))
        await asyncio.sleep(1)


def paint(desk: Served, times: int = 5) -> None:
    """Print how soon a browser paints the wall, each time with nothing kept from before."""
    painted, sizes = list[float](), list[int]()
    with chromium() as browser:
        for _ in range(times):
            page = browser.new_page(viewport={"width": 1440, "height": 900})
            page.goto(f"{desk.address}/wall/race", wait_until="load")
            page.wait_for_selector("#line[data-state=on]")
            painted.append(page.evaluate("performance.getEntriesByType('paint')[0].startTime"))
            sizes.append(
                page.evaluate(
                    "performance.getEntries().reduce((sum, e) => sum + (e.encodedBodySize ?? 0), 0)"
                )
            )
            page.close()
    listed = ", ".join(f"{one:.0f}" for one in painted)
    print(f"first paint of the wall: {listed} ms; {max(sizes):,} bytes with all it loads")


def load() -> tuple[float, int]:
    """Return the load of the last minute, and the processors there are."""
    return os.getloadavg()[0], os.cpu_count() or 1


def main() -> None:
    """Make the sheet, serve it, measure."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--entries", type=int, default=100_000)
    parser.add_argument("--seconds", type=float, default=30)
    parser.add_argument("--watchers", type=int, default=50)
    parser.add_argument("--writers", type=int, default=4)
    parser.add_argument("--watch", nargs=3, help=argparse.SUPPRESS)  # ADDRESS SECONDS WATCHERS
    args = parser.parse_args()
    if args.watch is not None:
        address, seconds, watchers = args.watch
        print(asyncio.run(watch_all(address, float(seconds), int(watchers))))
        return
    with tempfile.TemporaryDirectory() as folder:
        path = large_sheet(Path(folder), args.entries)
        begin = time.perf_counter()
        with Served(path, event=EVENT) as desk:
            print(f"started in {time.perf_counter() - begin:.1f} s on {args.entries:,} entries")
            print("load of the machine: {:.1f}, {} processors".format(*load()))
            paint(desk)
            asyncio.run(measure(desk, args.seconds, args.watchers, args.writers))
            print("load of the machine: {:.1f}, {} processors".format(*load()))


if __name__ == "__main__":
    main()
