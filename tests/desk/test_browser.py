"""The desk as people see it, in Debian's Chromium: a race written by keyboard alone, two engineers
and a watcher, a server that goes away and comes back, and pages that everybody can read.

The rules for people who see or move otherwise are those of "Web Content Accessibility Guidelines
2.2" (W3C), as axe-core checks them.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Literal

import pytest
from axe_playwright_python.sync_playwright import Axe
from desk.browser import Served, chromium
from desk.support import REPORT, sheet_at
from playwright.sync_api import Browser, Page, Route, expect
from sheet.support import ROOT

from codec.sheet import Journal

EVENT = ROOT / "examples" / "race" / "event.toml"
SECOND = 1_000


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as started:
        yield started


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Served, Path]]:
    path = sheet_at(tmp_path_factory.mktemp("desk"))
    with Served(path, event=EVENT) as served:
        yield served, path


def _page(browser: Browser, address: str, name: str = "", **settings: object) -> Page:
    page = browser.new_context(**settings).new_page()  # type: ignore[arg-type]
    page.goto(address)
    expect(page.locator("#line")).to_have_text("connected")
    if name:
        page.keyboard.type(name)  # a new browser asks first who writes
        page.keyboard.press("Tab")
        page.keyboard.press("Alt+1")
    return page


def test_two_engineers_and_a_watcher_by_keyboard_alone(
    browser: Browser, desk: tuple[Served, Path]
) -> None:
    served, path = desk
    quill = _page(browser, f"{served.address}/wall/race", "Quill")
    denn = _page(browser, f"{served.address}/wall/race", "Denn")
    watcher = _page(browser, f"{served.address}/watch/race")
    quill.keyboard.type(REPORT)
    expect(quill.locator(".look").first).to_have_attribute("data-tone", "good")
    quill.keyboard.press("Enter")
    seven = "[data-car='7'] tr.report"
    for page in (quill, denn, watcher):
        expect(page.locator(seven)).to_have_count(1, timeout=2 * SECOND)
    denn.keyboard.press("Alt+2")
    denn.keyboard.type("/note rain at the harbour")
    denn.keyboard.press("Enter")
    expect(quill.get_by_text("rain at the harbour")).to_be_visible(timeout=2 * SECOND)
    denn.keyboard.press("Alt+n")
    for page in (quill, denn, watcher):  # a fact of the race stands at both cars
        expect(page.locator(".state.neutralised").first).to_be_visible(timeout=2 * SECOND)
    denn.keyboard.press("Alt+u")
    expect(watcher.locator(".state.neutralised")).to_have_count(0, timeout=2 * SECOND)
    with Journal(path) as journal:
        writers = {entry.writer for entry in journal.entries() if entry.kind != "car"}
    assert writers == {"Quill", "Denn"}
    for page in (quill, denn, watcher):
        page.context.close()


def test_what_is_typed_while_the_desk_is_away_is_written_once_when_it_is_back(
    browser: Browser, desk: tuple[Served, Path]
) -> None:
    served, path = desk
    page = _page(browser, f"{served.address}/wall/race", "Quill")
    with served.away():
        expect(page.locator("#line")).to_contain_text("no connection")
        for number in range(3):
            page.keyboard.type(f"/note while away {number}")
            page.keyboard.press("Enter")
        expect(page.locator("[data-car='7'] .sending li")).to_have_count(3)
    expect(page.locator(".sending li")).to_have_count(0, timeout=15 * SECOND)
    expect(page.locator("#line")).to_have_text("connected", timeout=15 * SECOND)
    with Journal(path) as journal:
        notes = [entry.heard for entry in journal.entries() if "while away" in entry.heard]
    assert notes == [f"while away {number}" for number in range(3)]
    page.context.close()


def test_what_is_typed_before_the_page_is_ready_stays_and_it_says_when_it_is(
    browser: Browser, desk: tuple[Served, Path]
) -> None:
    served, _ = desk
    page = browser.new_context().new_page()
    held: list[Route] = []
    page.route("**/wall.js", lambda route: held.append(route))  # noqa: PLW0108 - it is given a mark
    page.goto(f"{served.address}/wall/race", wait_until="commit")
    expect(page.locator("#line")).to_have_text("connecting")
    page.fill("#writer", "Quill")
    page.fill("[data-car='7'] input", "/note early")
    held[0].continue_()
    expect(page.locator("#line")).to_have_text("connected")
    expect(page.locator("#writer")).to_have_value("Quill")
    expect(page.locator("[data-car='7'] input")).to_have_value("/note early")
    page.context.close()


def test_a_line_that_the_sheet_did_not_judge_stays_and_one_that_it_refused_is_told(
    browser: Browser, desk: tuple[Served, Path]
) -> None:
    """Also by http from another machine, where a browser has no locks (Web Locks API, W3C)."""
    served, path = desk
    context = browser.new_context()
    context.add_init_script("delete Navigator.prototype.locks")
    page = context.new_page()
    answer = {"status": 403, "body": "a link of this desk is needed"}
    page.route("**/enter/*", lambda route: route.fulfill(**answer))
    page.goto(f"{served.address}/wall/race")
    page.fill("#writer", "Quill")
    for text in ("/note before the link", "/note behind it"):
        page.fill("[data-car='7'] input", text)
        page.keyboard.press("Enter")
    sending, told = page.locator(".sending li"), page.locator("[data-car='7'] .told")
    expect(told).to_contain_text("not written yet: /note before the link")
    expect(told).to_contain_text("a link of this desk is needed")
    expect(sending).to_have_count(2)
    answer |= {"status": 400, "body": '{"tone": "bad", "lines": ["who writes?"]}'}
    page.reload()
    expect(told).to_contain_text("not written: /note behind it", timeout=5 * SECOND)
    expect(sending).to_have_count(0)
    page.unroute("**/enter/*")
    page.fill("[data-car='7'] input", "/note with a link")
    page.keyboard.press("Enter")
    expect(page.locator("[data-car='7'] .board")).to_contain_text("with a link")
    with Journal(path) as journal:
        notes = [entry.heard for entry in journal.entries() if entry.kind == "note"]
    assert notes[-1] == "with a link"
    assert not any("the link" in note or "behind it" in note for note in notes)
    context.close()


@pytest.mark.parametrize(
    ("scheme", "width"),
    [
        pytest.param("dark", 360, marks=pytest.mark.slow),
        pytest.param("light", 360),
        pytest.param("dark", 1440, marks=pytest.mark.slow),
        pytest.param("light", 1440, marks=pytest.mark.slow),
    ],
)
def test_pages_can_be_read_by_everybody(
    browser: Browser, desk: tuple[Served, Path], scheme: Literal["light", "dark"], width: int
) -> None:
    served, _ = desk
    context = browser.new_context(
        color_scheme=scheme, viewport={"width": width, "height": 800}, reduced_motion="reduce"
    )
    page = context.new_page()
    for place in (
        "",
        "wall/race",
        "watch/race",
        "history/race",
        "book/race",
        "debrief/race",
        "import/race",
    ):
        page.goto(f"{served.address}/{place}")
        found = Axe().run(page)
        assert found.violations_count == 0, found.generate_report()
        overflow = page.evaluate("document.documentElement.scrollWidth - innerWidth")
        assert overflow <= 0, place
    context.close()


def test_a_page_is_small(browser: Browser, desk: tuple[Served, Path]) -> None:
    served, _ = desk
    page = browser.new_context().new_page()
    sizes: list[int] = []
    page.on("response", lambda answer: sizes.append(int(answer.headers.get("content-length", 0))))
    page.goto(f"{served.address}/wall/race")
    expect(page.locator("#line")).to_have_text("connected")
    assert sum(sizes) < 200_000
    page.context.close()
