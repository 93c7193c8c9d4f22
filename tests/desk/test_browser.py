"""The desk as people see it, in Debian's Chromium: a race written by keyboard alone, two engineers
and a watcher, a server that goes away and comes back, and pages that everybody can read.

The rules for people who see or move otherwise are those of "Web Content Accessibility Guidelines
2.2" (W3C), as axe-core checks them.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Sequence
from datetime import datetime
from itertools import islice
from pathlib import Path
from typing import Any, Literal

import numpy as np
import pytest
import soundfile
from axe_playwright_python.sync_playwright import Axe
from desk.browser import PATIENCE, Served, chromium
from desk.support import REPORT, design, sheet_at
from playwright.sync_api import Browser, BrowserContext, Page, Route, expect
from playwright.sync_api import Response as Answer
from sheet.support import ROOT, race_book

from codec.radio.crews import crews_of
from codec.radio.importing import bounded, import_transcript
from codec.sheet import Entry, Journal
from codec.sheet.state import Standing
from codec.sheet.state import laps as lap_reports

EVENT = ROOT / "examples" / "event" / "event.toml"
RADIO = ROOT / "examples" / "event"
SIZES = (360, 820, 1440, 2560)


class Visitor:
    """Somebody with browsers of their own; what they opened is closed behind each test."""

    def __init__(self, browser: Browser, address: str) -> None:
        self.browser, self.address = browser, address
        self.contexts: list[BrowserContext] = []

    def new(self, **settings: Any) -> Page:
        """Return an empty page of a new browser."""
        context = self.browser.new_context(**settings)
        context.set_default_timeout(PATIENCE)
        context.set_default_navigation_timeout(3 * PATIENCE)  # some pages are drawn when asked for
        self.contexts.append(context)
        return context.new_page()

    def at(self, place: str, name: str = "", **settings: Any) -> Page:
        """Return a page of the desk in a new browser, when it is ready; a new browser asks first
        who writes.
        """
        page = self.new(**settings)
        page.goto(f"{self.address}/{place}")
        ready(page)
        if name:
            page.keyboard.type(name)
            page.keyboard.press("Tab")
            page.keyboard.press("Alt+1")
        return page


def ready(page: Page) -> None:
    """Wait until a page of the desk has its handlers: it says so."""
    expect(page.locator("#line[data-state=on], main[data-state=on]")).to_have_count(1)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as started:
        yield started


@pytest.fixture(scope="module")
def server() -> Iterator[Served]:
    with Served(event=EVENT) as served:
        yield served


@pytest.fixture
def sheet(server: Served, tmp_path: Path) -> Path:
    """A sheet of two cars, which the desk serves."""
    path = sheet_at(tmp_path)
    server.serve(path)
    return path


@pytest.fixture
def visitor(browser: Browser, server: Served) -> Iterator[Visitor]:
    made = Visitor(browser, server.address)
    yield made
    for context in made.contexts:
        context.close()


def tab_to(page: Page, selector: str) -> None:
    """Press the Tab key until an element has the focus."""
    found = "selector => Boolean(document.activeElement?.matches(selector))"
    for _ in range(80):
        page.keyboard.press("Tab")
        if page.evaluate(found, selector):
            return
    pytest.fail(f"the Tab key does not lead to {selector}")


def enter(page: Page, text: str) -> None:
    """Type a line and enter it; it is read while it is typed, and on the disk when it is gone from
    the list of those on their way.
    """
    page.keyboard.type(text)
    page.keyboard.press("Enter")
    expect(page.locator(".sending li")).to_have_count(0)


@pytest.mark.slow
def test_two_engineers_and_a_watcher_by_keyboard_alone(sheet: Path, visitor: Visitor) -> None:
    quill, denn = visitor.at("wall/race", "Quill"), visitor.at("wall/race", "Denn")
    watcher = visitor.at("watch/race")
    quill.keyboard.type(f"{REPORT} alfa")
    expect(quill.locator(".look").first).to_contain_text("% sure")  # it was heard
    for _ in " alfa":
        quill.keyboard.press("Backspace")
    expect(quill.locator(".look").first).to_have_attribute("data-tone", "good")
    quill.keyboard.press("Enter")
    for page in (quill, denn, watcher):
        expect(page.locator("[data-car='7'] tr.report")).to_have_count(1)
    denn.keyboard.press("Alt+2")
    enter(denn, "/note rain at the harbour")
    expect(quill.get_by_text("rain at the harbour")).to_be_visible()
    denn.keyboard.press("Alt+n")
    for page in (quill, denn, watcher):  # a fact of the race stands at both cars
        expect(page.locator(".state.neutralised").first).to_be_visible()
    denn.keyboard.press("Alt+u")
    expect(watcher.locator(".state.neutralised")).to_have_count(0)
    with Journal(sheet) as journal:
        writers = {entry.writer for entry in journal.entries() if entry.kind != "car"}
    assert writers == {"Quill", "Denn"}


_KEPT = 1200  # milliseconds


@pytest.mark.slow
def test_what_is_typed_while_the_desk_is_away_is_written_once_when_it_is_back(
    sheet: Path, server: Served, visitor: Visitor
) -> None:
    page = visitor.at("wall/race", "Quill")
    with server.away():
        expect(page.locator("#line")).to_contain_text("no connection")
        for number in range(3):
            page.keyboard.type(f"/note while away {number}")
            page.keyboard.press("Enter")
        expect(page.locator("[data-car='7'] .sending li")).to_have_count(3)
        page.wait_for_timeout(_KEPT)
    expect(page.locator(".sending li")).to_have_count(0)
    expect(page.locator("#line")).to_have_text("connected")
    with Journal(sheet) as journal:
        notes = [entry for entry in journal.entries() if "while away" in entry.heard]
    assert [entry.heard for entry in notes] == [f"while away {number}" for number in range(3)]
    for entry in notes:  # said when they were typed
        logged = datetime.fromisoformat(entry.logged).timestamp() * 1000
        assert logged - (entry.at or 0) >= _KEPT


def test_what_is_typed_before_the_page_is_ready_stays_and_it_says_when_it_is(
    sheet: Path, visitor: Visitor
) -> None:
    page = visitor.new()
    held: list[Route] = []
    page.route("**/wall.js", lambda route: held.append(route))  # noqa: PLW0108 - it is given a mark
    page.goto(f"{visitor.address}/wall/race", wait_until="commit")
    expect(page.locator("#line")).to_have_text("connecting")
    page.fill("#writer", "Quill")
    page.fill("[data-car='7'] input", "/note early")
    page.keyboard.press("Enter")  # nobody takes it yet, and it is not lost
    held[0].continue_()
    ready(page)
    expect(page.locator("#writer")).to_have_value("Quill")
    expect(page.locator("[data-car='7'] input")).to_have_value("/note early")
    with Journal(sheet) as journal:
        assert len(journal) == 2


@pytest.mark.slow
def test_a_line_that_the_sheet_did_not_judge_stays_and_one_that_it_refused_is_told(
    sheet: Path, visitor: Visitor
) -> None:
    """Also by http from another machine, where a browser has no locks (Web Locks API, W3C)."""
    page = visitor.new()
    page.context.add_init_script("delete Navigator.prototype.locks")
    answer = {"status": 403, "body": "a link of this desk is needed"}
    page.route("**/enter/*", lambda route: route.fulfill(**answer))
    page.goto(f"{visitor.address}/wall/race")
    ready(page)
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
    expect(told).to_contain_text("not written: /note behind it")
    expect(sending).to_have_count(0)
    page.unroute("**/enter/*")
    ready(page)
    page.fill("[data-car='7'] input", "/note with a link")
    page.keyboard.press("Enter")
    expect(page.locator("[data-car='7'] .board")).to_contain_text("with a link")
    with Journal(sheet) as journal:
        notes = [entry.heard for entry in journal.entries() if entry.kind == "note"]
    assert notes == ["with a link"]


@pytest.mark.slow
def test_any_entry_is_put_right_and_taken_back_in_the_history_by_keyboard(
    sheet: Path, visitor: Visitor
) -> None:
    with Journal(sheet, writer="Denn") as journal:
        journal.append(Entry(kind="note", car="7", heard="rein"))
        journal.append(Entry(kind="report", car="7", lap=1, heard="one two zero", refusal="short"))
        journal.append_all(Entry(kind="note", car="61", heard=f"talk {n}") for n in range(5))
    page = visitor.at("history/race")
    expect(page.locator("tr[data-seq='9']")).to_be_visible()  # the desk has taken up all of it
    page.focus("#writer")
    page.keyboard.type("Quill")
    tab_to(page, ".number")
    for _ in range(5):
        page.keyboard.press("ArrowDown")
    expect(page.locator("tr[data-seq='4'] .number")).to_be_focused()
    page.keyboard.press("f")
    expect(page.locator("#fixing-words")).to_be_focused()
    page.keyboard.type("lemon")
    expect(page.locator("#fixing-look")).to_have_attribute("data-tone", "warning")
    page.keyboard.press("Control+a")
    page.keyboard.type(REPORT)
    expect(page.locator("#fixing-look")).to_have_attribute("data-tone", "good")
    page.keyboard.press("Enter")
    expect(page.locator("tr[data-seq='4']")).to_contain_text("put right by #10")
    expect(page.locator("tr[data-seq='4'] .number")).to_be_focused()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("w")
    row = page.locator("tr[data-seq='3']")
    expect(row).to_contain_text("withdrawn by #11")
    page.keyboard.press("w")  # and back
    expect(row).not_to_contain_text("withdrawn")
    page.keyboard.press("/")
    page.keyboard.type("rein")
    page.keyboard.press("Enter")
    expect(page.locator(".entry-line")).to_have_count(1)
    with Journal(sheet) as journal:
        standing = Standing(journal.entries())
        assert journal.faults() == []
        assert [entry.writer for entry in journal.entries()][9:] == ["Quill"] * 3
    assert [row.entry.string for row in standing.of("7", "report")] == ["1201YAQ"]
    assert not standing.of("7", "note")[0].withdrawn


@pytest.mark.slow
def test_what_an_entry_was_heard_in_is_played_by_a_key(sheet: Path, visitor: Visitor) -> None:
    soundfile.write(sheet.with_name("radio.wav"), 0.1 * np.sin(np.arange(40_000) / 3), 8000)
    with Journal(sheet) as journal:
        journal.append(Entry(kind="note", car="7", heard="copy", sound="radio.wav#t=1,3"))
        journal.append(Entry(kind="note", car="7", heard="copy", sound="gone.wav#t=1,3"))
    page = visitor.at("history/race")
    expect(page.locator("tr[data-seq='4']")).to_be_visible()  # the desk has taken both up
    tab_to(page, ".number")
    page.keyboard.press("p")
    expect(page.locator(".told")).to_contain_text("the recording 'gone.wav' is not here")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("p")
    expect(page.locator(".told")).to_contain_text("entry 3: 2.6 s of its recording")


@pytest.mark.slow
def test_what_is_doubtful_behind_an_import_is_taken_by_one_key(
    sheet: Path, visitor: Visitor
) -> None:
    talk = sheet.with_name("radio.txt")
    said = ("one two zero one yankee alfa quebec", "two one six one yankee alfa", "two one niner")
    lines = [f"[00:0{2 * n}:00] Ilse Marrow: {words}\n" for n, words in enumerate(said)]
    talk.write_text("".join(lines), "utf-8")
    page = visitor.at("import/race")
    page.focus("#writer")
    page.keyboard.type("Quill")
    page.set_input_files("#file", talk)
    tab_to(page, "#bring button")
    page.keyboard.press("Enter")
    expect(page.locator("#brought")).to_contain_text("written")
    items = page.locator("#doubtful li")
    expect(items.first).to_be_focused()
    count, taken = items.count(), items.first.locator("[data-take]").first
    string, number = taken.get_attribute("data-take"), items.first.get_attribute("data-entry")
    page.keyboard.press("1")
    expect(items).to_have_count(count - 1)
    with Journal(sheet) as journal:
        last = list(journal.entries())[-1]
    assert (last.string, str(last.about), last.writer) == (string, number, "Quill")
    for left in range(count - 1, 0, -1):
        expect(items.first).to_be_focused()
        page.keyboard.press("w")
        expect(items).to_have_count(left - 1)
    expect(page.locator("#doubtful-state")).to_have_text("nothing needs a look")


@pytest.mark.slow
def test_a_doubtful_report_of_nobody_waits_until_somebody_says_whose_it_is(
    sheet: Path, visitor: Visitor
) -> None:
    with Journal(sheet) as journal:
        journal.append(Entry(kind="report", lap=1, heard=f"{REPORT} kettle", refusal="doubtful"))
    page = visitor.at("import/race")
    page.fill("#writer", "Quill")
    one = page.locator("#doubtful li")
    one.focus()
    page.keyboard.press("1")
    expect(one.locator("[data-act=car]")).to_have_class("wanted")
    page.keyboard.press("f")
    page.fill("#fixing-words", REPORT)
    page.keyboard.press("Enter")  # nobody has said whose it is
    expect(page.locator("#fixing-car")).to_be_visible()
    page.keyboard.press("Escape")
    expect(one).to_be_focused()
    page.keyboard.press("c")
    page.keyboard.press("c")
    expect(one.locator(".whose")).to_have_text("car 61")
    page.keyboard.press("1")
    expect(one).to_have_count(0)
    with Journal(sheet) as journal:
        written = list(journal.entries())
    assert [(one.kind, one.car, one.string) for one in written[3:]] == [
        ("correction", "61", "1201YAQ")
    ]


def raced(visitor: Visitor, laps: int) -> Page:
    """Write a race by keyboard alone, from the first line on, and return the page of its debrief.

    The reports are those of the invented event; calls and facts come between.
    """
    page = visitor.new()
    page.goto(visitor.address)
    tab_to(page, "a[href^='/wall/']")
    page.keyboard.press("Enter")
    page.wait_for_url("**/wall/race")
    ready(page)
    page.keyboard.type("Quill")
    page.keyboard.press("Tab")
    page.keyboard.press("Alt+1")
    enter(page, "/car 7=Ilse Marrow")
    expect(page.locator(".car")).to_have_attribute("data-car", "7")
    ready(page)
    page.keyboard.press("Alt+1")
    enter(page, "/car 61=Teo Vash")
    expect(page.locator(".car")).to_have_count(2)
    ready(page)
    truth = [json.loads(line) for line in (RADIO / "truth.jsonl").read_text("utf-8").splitlines()]
    for lap in range(1, laps + 1):
        for place, car in ((1, "7"), (2, "61")):
            (string,) = (t["string"] for t in truth if (t["car"], t["lap"]) == (car, lap))
            page.keyboard.press(f"Alt+{place}")
            enter(page, string)
            told = page.locator(f"[data-car='{car}'] .lap strong")
            expect(told).to_have_text(str(lap + 1))
        if lap == 20:  # before anybody reports of a lap beyond the 24 that were to be driven
            enter(page, "/added 3")
            expect(page.locator(".state", has_text="3 added")).to_have_count(2)
        if lap == 1:
            page.keyboard.press("Alt+n")
            expect(page.locator(".state.neutralised")).to_have_count(2)
            page.keyboard.press("Alt+n")
            expect(page.locator(".state.neutralised")).to_have_count(0)
        if lap % 9 == 2:
            enter(page, "T31")
            called = page.locator("[data-car='61'] .beside .dial", has_text="T31").first
            expect(called).to_have_text("T31 called")
            page.keyboard.press("Alt+r")
            expect(called).to_have_text("T31 read back")
    for link, url in (("/debrief/race", "**/debrief/race"), ("?car=7", "**/debrief/race?car=7")):
        tab_to(page, f"a[href='{link}']")
        page.keyboard.press("Enter")
        page.wait_for_url(url)
    return page


@pytest.mark.slow
@pytest.mark.parametrize("laps", [2, 27])
def test_a_race_is_written_by_keyboard_from_the_first_line_to_the_debrief(
    server: Served, visitor: Visitor, tmp_path: Path, laps: int
) -> None:
    path = tmp_path / "race.sheet"
    Journal(path, race_book()).close()
    server.serve(path)
    page = raced(visitor, laps)
    expect(page.locator("h1")).to_have_text("Debrief of car 7")
    tab_to(page, ".chart")
    chart = page.locator(".chart").first
    expect(chart).to_have_attribute("aria-valuenow", str(laps))
    page.keyboard.press("ArrowLeft")
    expect(chart).to_have_attribute("aria-valuenow", str(laps - 1))
    told = chart.get_attribute("aria-valuetext") or ""
    assert told.startswith(f"lap {laps - 1}: used ")
    expect(chart.locator(".u-legend")).to_contain_text(told.split("used ")[1].split(",")[0])
    with Journal(path) as journal:
        assert journal.faults() == []
        standing = Standing(journal.entries())
    for car in ("7", "61"):
        assert list(lap_reports(standing, car, race_book())) == list(range(1, laps + 1))


@pytest.mark.slow
def test_a_chart_that_is_pointed_at_tells_its_lap(sheet: Path, visitor: Visitor) -> None:
    brought(sheet)
    page = visitor.new()
    page.goto(f"{visitor.address}/debrief/race?car=7")
    chart = page.locator(".chart").first
    over = chart.locator(".u-over")
    expect(over).to_be_visible()
    box = over.bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + 1, box["y"] + 20)
    expect(chart).to_have_attribute("aria-valuenow", "1")
    used, legend = re.compile(r"(\d\.\d\d) kWh"), chart.locator(".u-legend")
    expect(legend).to_contain_text(used)
    told = used.search(legend.inner_text())
    assert told  # of the first lap, as its table
    expect(page.locator("table.laps tbody tr").first).to_contain_text(told[1])


def brought(path: Path) -> None:
    """Bring the first laps of the invented event's radio into a sheet."""
    crews = crews_of(["7=Ilse Marrow,Quill", "61=Teo Vash,Denn"])
    with Journal(path) as journal, (RADIO / "radio.jsonl").open("rb") as radio:
        import_transcript(journal, islice(bounded(radio), 60), "jsonl", crews)


@pytest.mark.slow
@pytest.mark.usefixtures("sheet")
def test_the_book_page_tells_what_the_guard_says(visitor: Visitor) -> None:
    page = visitor.at("book/race")
    refused = {"status": 403, "body": "a link of this desk is needed\n"}
    page.route("**/read?*", lambda route: route.fulfill(**refused))
    page.fill("#text", "1201YAQ")
    expect(page.locator("#meaning")).to_contain_text("a link of this desk is needed")
    page.unroute("**/read?*")
    page.fill("#text", "1201YAQ ")
    expect(page.locator("#dash")).to_have_text("1201YAQ")  # read, and said again by the form


PLACES = (
    "wall/race", "coach/race", "driver/race", "listen/race", "season/race", "practice/race",
    "debrief/race?car=7",
    "book/race?design=lap&proposal=1",
    "", "watch/race", "history/race", "book/race", "debrief/race", "import/race",
    "book/race/card/driver", "book/race/card/engineer", "debrief/race/page?car=7",
)  # fmt: skip


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A sheet with everything to be seen on it."""
    path = sheet_at(tmp_path_factory.mktemp("shown"))
    brought(path)
    with Journal(path) as journal:
        journal.append(Entry(kind="report", car="7", lap=28, heard="eight two", refusal="short"))
        journal.append(Entry(kind="note", car="7", heard="copy", sound="radio.wav#t=1,3"))
    path.with_name("lap.json").write_text(json.dumps(design()), "utf-8")
    return path


@pytest.mark.slow
@pytest.mark.parametrize(
    ("places", "scheme", "width"),
    [
        (PLACES[:7], "light", 360),
        *(
            pytest.param(PLACES, scheme, width, marks=pytest.mark.slow)
            for scheme in ("light", "dark")
            for width in SIZES
        ),
    ],
)
def test_pages_can_be_read_by_everybody(
    server: Served,
    shown: Path,
    visitor: Visitor,
    places: Sequence[str],
    scheme: Literal["light", "dark"],
    width: int,
) -> None:
    server.serve(shown)
    page = visitor.new(
        color_scheme=scheme, viewport={"width": width, "height": 800}, reduced_motion="reduce"
    )
    for place in places:
        page.goto(f"{visitor.address}/{place}")
        if place.startswith(
            ("wall", "watch", "history", "book/race?", "import", "coach", "driver", "listen")
        ):
            ready(page)
        found = Axe().run(page)
        assert found.violations_count == 0, f"{place}: {found.generate_report()}"
        overflow = page.evaluate("document.documentElement.scrollWidth - innerWidth")
        assert overflow <= 0, place
        moving = page.evaluate("document.getAnimations().length")
        assert moving == 0, place


def answers_to(page: Page) -> list[Answer]:
    """Return a list that gets what a page is answered."""
    kept: list[Answer] = []

    def keep(answer: Answer) -> None:
        kept.append(answer)

    page.on("response", keep)
    return kept


@pytest.mark.slow
def test_a_page_is_small(server: Served, shown: Path, visitor: Visitor) -> None:
    server.serve(shown)
    for place in ("wall/race", "history/race", "book/race", "debrief/race?car=7"):
        page = visitor.new()
        answers = answers_to(page)
        page.goto(f"{visitor.address}/{place}", wait_until="load")
        sizes = [len(answer.body()) for answer in answers if "/live/" not in answer.url]
        assert 10_000 < sum(sizes) < 200_000, place
