"""A desk killed again and again while three browsers write to it; then every line that was typed is
looked for.

``PYTHONPATH=.:tests python tests/hostile/desk_kills.py FOLDER KILLS [SEED]`` prints how many lines
were typed, how many of them are not in the sheet, and how many are there twice.
"""

from __future__ import annotations

import json
import random
import shutil
import sys
import time
from collections import Counter
from dataclasses import asdict
from pathlib import Path

from desk.browser import Served, chromium
from desk.support import sheet_at
from hostile.kills import Outcome
from playwright.sync_api import Page, expect

from codec.sheet import Journal

_PAGES = 3


def _type(page: Page, text: str) -> None:
    page.fill(".car[data-car='7'] input", text)
    page.keyboard.press("Enter")


def killed(folder: Path, kills: int, seed: int) -> Outcome:
    """Kill it so often; return what came of it."""
    chance, sheet, typed = random.Random(seed), sheet_at(folder), list[str]()
    with Served(sheet) as desk, chromium() as browser:
        pages = [browser.new_context().new_page() for _ in range(_PAGES)]
        for number, page in enumerate(pages):
            page.goto(f"{desk.address}/wall/race")
            expect(page.locator("#line")).to_have_text("connected")
            page.fill("#writer", f"Engineer {number}")
        for kill in range(kills):
            until = time.monotonic() + chance.uniform(0.05, 0.5)
            while time.monotonic() < until:
                number = chance.randrange(_PAGES)
                text = f"page {number} line {len(typed)} kill {kill}"
                _type(pages[number], f"/note {text}")
                typed.append(text)
            desk.kill()
            number = chance.randrange(_PAGES)
            text = f"page {number} line {len(typed)} while it is away"
            _type(pages[number], f"/note {text}")
            typed.append(text)
            desk.start()
        for page in pages:
            page.locator(".sending li").first.wait_for(state="detached", timeout=120_000)
    found = Outcome(kills, acknowledged=len(typed))
    with Journal(sheet) as journal:
        assert journal.faults() == []
        there = Counter(entry.heard for entry in journal.entries() if entry.kind == "note")
    found.lost = sum(one not in there for one in typed)
    found.twice = sum(count - 1 for count in there.values())
    return found


if __name__ == "__main__":
    place = Path(sys.argv[1])
    shutil.rmtree(place, ignore_errors=True)
    place.mkdir(parents=True)
    done = killed(place, int(sys.argv[2]), int((sys.argv[3:] or ["1"])[0]))
    print(json.dumps({"desk": asdict(done)}))
