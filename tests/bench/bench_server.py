"""Desks that share one sheet on a server: how soon what is written at one stands at every other.

    PYTHONPATH=.:tests python tests/bench/bench_server.py [--desks N] [--mirrors N] [--pages N]
        [--seconds S]

The server, each desk, those who write and those who watch run on this machine, in processes of
their own; so many of the desks have a file of their own that they keep in step. At each desk one
engineer writes a note every two seconds, counted once every page is there. A page counts a note as
standing when the board it was sent has it. Times are from sending the note, and from its
acknowledgement, to every page of every other desk; the load of the machine is told, as every figure
depends on it.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import json
import os
import re
import secrets
import statistics
import sys
import tempfile
import time
from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import httpx2
from bench.bench_desk import client_of
from desk.browser import Served
from servers import Server
from sheet.support import race_book

from codec.drill.journal import FORMAT
from codec.sheet import Entry, Journal
from codec.sheet.journal import sheet_format
from codec.store.place import ServerPlace
from codec.store.server.setting_up import set_up

_COLD = 2  # notes at each desk before it counts: all that serves has begun then
_LAST = 3  # seconds for the last notes to come to every page
_MARK = re.compile(r"mark-\d+-\d+-")


async def page(
    client: httpx2.AsyncClient, begun: asyncio.Event, seen: dict[str, list[float]]
) -> None:
    """Note when a page is first sent each mark, until cancelled."""
    mine: set[str] = set()
    with contextlib.suppress(asyncio.CancelledError):
        async with client.stream("GET", "/live/race") as answer:
            async for text in answer.aiter_lines():
                now = time.time()
                begun.set()
                for mark in set(_MARK.findall(text)) - mine:
                    mine.add(mark)
                    seen.setdefault(mark, []).append(now)


async def pages(address: str, count: int) -> dict[str, list[float]]:
    """Have so many pages open until the input ends, and tell when they are; return when each mark
    came to them.
    """
    seen: dict[str, list[float]] = {}
    async with client_of(address) as client:
        begun = [asyncio.Event() for _ in range(count)]
        open_ones = [asyncio.create_task(page(client, one, seen)) for one in begun]
        await asyncio.gather(*(one.wait() for one in begun))
        print("begun", flush=True)
        await asyncio.to_thread(sys.stdin.read)
        for one in open_ones:
            one.cancel()
        await asyncio.gather(*open_ones)
    return seen


async def write(
    address: str, desk: int, seconds: float, written: dict[str, tuple[int, float, float]]
) -> None:
    """Enter a note every two seconds."""
    until = time.time() + seconds
    async with client_of(address) as client:
        await asyncio.sleep(desk / 2)
        for number in range(-_COLD, 10**6):
            if time.time() > until:
                return
            mark = f"mark-{desk}-{number}-" if number >= 0 else "while all begin"
            line = {"key": secrets.token_hex(16), "writer": f"E{desk}", "car": "7"}
            sent = time.time()
            answer = await client.post("/enter/race", json={**line, "text": f"/note {mark}"})
            answer.raise_for_status()
            if number >= 0:
                written[mark] = desk, sent, time.time()
            await asyncio.sleep(2)


async def measure(desks: Sequence[Served], seconds: float, count: int) -> None:
    """Write and watch for a while, and print what it took."""
    watchers = [
        await asyncio.create_subprocess_exec(
            *(sys.executable, __file__, "--watch", desk.address),
            str(count // len(desks) + (number < count % len(desks))),
            stdin=asyncio.subprocess.PIPE,
            stdout=asyncio.subprocess.PIPE,
            limit=2**24,
        )
        for number, desk in enumerate(desks)
    ]
    for one in watchers:
        assert one.stdout is not None
        await one.stdout.readline()
    written: dict[str, tuple[int, float, float]] = {}
    await asyncio.gather(
        *(write(desk.address, number, seconds, written) for number, desk in enumerate(desks))
    )
    await asyncio.sleep(_LAST)
    told: list[dict[str, Any]] = [json.loads((await one.communicate(b""))[0]) for one in watchers]
    since_sent, since_acknowledged, own = list[float](), list[float](), list[float]()
    missing = 0
    for mark, (at, sent, acknowledged) in written.items():
        own.append(acknowledged - sent)
        for number, seen in enumerate(told):
            there = count // len(desks) + (number < count % len(desks))
            missing += there - len(seen.get(mark, []))
            if number != at:
                since_sent += [then - sent for then in seen.get(mark, [])]
                since_acknowledged += [then - acknowledged for then in seen.get(mark, [])]
    print(f"{len(written)} notes at {len(desks)} desks, {count} pages; not seen: {missing}")
    for name, times in (
        ("sent to acknowledged", own),
        ("sent to standing at every other desk's pages", since_sent),
        ("acknowledged to standing there", since_acknowledged),
    ):
        median, p95 = statistics.median(times), statistics.quantiles(times, n=20)[-1]
        print(
            f"{name}: median {1000 * median:.0f} ms, p95 {1000 * p95:.0f} ms,"
            f" most {1000 * max(times):.0f} ms"
        )


def main() -> None:
    """Start a server and the desks, and measure."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--desks", type=int, default=4)
    parser.add_argument("--mirrors", type=int, default=0)
    parser.add_argument("--pages", type=int, default=50)
    parser.add_argument("--seconds", type=float, default=40)
    parser.add_argument("--watch", nargs=2, help=argparse.SUPPRESS)  # ADDRESS PAGES
    args = parser.parse_args()
    if args.watch is not None:
        address, count = args.watch
        print(json.dumps(asyncio.run(pages(address, int(count)))))
        return
    server = Server()
    with ExitStack() as stack:
        stack.callback(server.remove)
        address = server.database("team")
        set_up(ServerPlace(address), [sheet_format(), FORMAT])
        with Journal(f"{address}#race", race_book()) as journal:
            journal.append(Entry(kind="car", car="7", message="Ilse Marrow"))
        folder, shared = stack.enter_context(tempfile.TemporaryDirectory()), f"{address}#race"
        places = [shared] * (args.desks - args.mirrors) + [
            f"{folder}/{number}/race.sheet\t{shared}" for number in range(args.mirrors)
        ]
        for number in range(args.mirrors):
            (Path(folder) / str(number)).mkdir()
        desks = [stack.enter_context(Served(place)) for place in places]
        for when in ("before", "behind"):
            print(f"load {when}: {os.getloadavg()[0]:.1f}, {os.cpu_count()} processors")
            if when == "before":
                asyncio.run(measure(desks, args.seconds, args.pages))


if __name__ == "__main__":
    main()
