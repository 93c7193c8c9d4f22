"""The wheel practised at the desk: touches timed by the device, marked and written by the desk."""

from __future__ import annotations

import io
import wave
from pathlib import Path
from typing import Any

import pytest
from desk.browser import Served, chromium, loudest
from desk.support import NAME, sheet_at
from playwright.sync_api import expect
from programs import program
from sheet.support import ROOT
from starlette.testclient import TestClient

from codec.desk.access import COOKIE, Links, Role
from codec.desk.app import application
from codec.desk.sheets import OpenSheet
from codec.desk.shelf import Shelf
from codec.drill import DrillJournal
from codec.drill.journal import JOURNAL
from codec.race.people import EventFile

EVENT = ROOT / "examples" / "event" / "event.toml"


def client(path: Path, event: Path | None = EVENT, links: Links | None = None) -> TestClient:
    served = application(
        Shelf({path.stem: OpenSheet(path, event=None if event is None else EventFile(event))}),
        names=[NAME],
        links=links,
    )
    origin = f"http://{NAME}"
    return TestClient(served, base_url=origin, headers={"origin": origin})


def act(desk: TestClient, name: str, **facts: Any) -> Any:
    return desk.post("/practice-act/race", json={"act": name, "key": "k", **facts})


def test_a_change_is_made_marked_and_written(tmp_path: Path) -> None:
    with client(sheet_at(tmp_path)) as desk:
        asked = act(desk, "begin", person="Ana", second_task=False).json()
        assert asked["words"]
        assert asked["marks"] == []
        touches = [["chooser up", 0.5], ["thumb up", 0.9]]
        dash = act(desk, "touched", touches=touches[:1]).json()["dash"]
        assert "chooser regeneration" in dash
        told = act(desk, "done", touches=touches, reactions={}, at=1.2).json()
        assert "chooser up, thumb up, 0.9 s" in told["told"]
        assert act(desk, "ask").json()["words"]
    with DrillJournal(tmp_path / JOURNAL) as journal:
        [answer] = journal.answers("Ana")
    assert answer.drill == "wheel"
    assert answer.answer == "0.500 chooser up; 0.900 thumb up"
    assert answer.done == pytest.approx(1.2)


def test_what_is_no_touch_is_refused_and_nothing_is_written(tmp_path: Path) -> None:
    with client(sheet_at(tmp_path)) as desk:
        assert act(desk, "ask").status_code == 400  # nobody has begun
        act(desk, "begin", person="Ana")
        for facts in (
            {"touches": [["no such", 0.1]]},
            {"touches": [["thumb up", -1]]},
            {"touches": [["thumb up"]]},
            {"touches": 5},
            {"touches": [], "at": "soon"},
            {"touches": [], "at": 1, "reactions": {"x": 1}},
        ):
            assert act(desk, "done", **facts).status_code == 400, facts
        other = desk.post("/practice-act/race", json={"act": "ask", "key": "another device"})
        assert "somebody else has begun" in other.json()["lines"][0]
    with DrillJournal(tmp_path / JOURNAL) as journal:
        assert list(journal.answers()) == []


def test_a_call_is_heard_over_the_radio_and_asked_for_again(tmp_path: Path) -> None:
    program("espeak-ng")
    with client(sheet_at(tmp_path)) as desk:
        asked = act(desk, "begin", person="Ana", second_task=False, heard=True).json()
        sound = desk.get("/practice-sound/race", params={"key": "k", "turn": asked["turn"]})
        assert sound.headers["content-type"] == "audio/wav"
        with wave.open(io.BytesIO(sound.content)) as told:
            seconds = told.getnframes() / told.getframerate()
        assert 0.8 < seconds < 8  # "regeneration 5" and the like
        assert act(desk, "again").status_code == 200
        done = act(desk, "done", touches=[["thumb up", 0.4]], reactions={}, at=0.9).json()
        assert done["words"] == asked["words"]
        old = desk.get("/practice-sound/race", params={"key": "k", "turn": asked["turn"] - 1})
        assert old.status_code == 400
    with DrillJournal(tmp_path / JOURNAL) as journal:
        [answer] = journal.answers("Ana")
    assert (answer.repeats, answer.noise) == (1, "noisy")


def test_a_desk_that_cannot_speak_says_so_and_shows(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    with client(sheet_at(tmp_path)) as desk:
        told = act(desk, "begin", person="Ana", heard=True)
        assert told.status_code == 400
        assert "no speech synthesiser" in " ".join(told.json()["lines"])
        assert "turn" not in act(desk, "begin", person="Ana").json()


def test_a_sheet_without_a_wheel_says_what_it_needs(tmp_path: Path) -> None:
    with client(sheet_at(tmp_path), event=None) as desk:
        assert "no wheel to practise on" in desk.get("/practice/race").text
        assert act(desk, "begin", person="Ana").status_code == 400


def test_a_driver_s_link_opens_it_and_the_caution_stands_on_it(tmp_path: Path) -> None:
    links = Links(tmp_path / "links")
    with client(sheet_at(tmp_path), links=links) as desk:
        desk.cookies.set(COOKIE, links.tokens[Role.DRILL])
        assert "never while driving" in desk.get("/practice/race").text
        desk.cookies.set(COOKIE, links.tokens[Role.WATCH])
        assert desk.get("/practice/race").status_code == 403


@pytest.mark.slow
def test_the_browser_says_the_call_and_shows_it_when_it_is_done(tmp_path: Path) -> None:
    program("espeak-ng")
    with Served(sheet_at(tmp_path), event=EVENT) as served, chromium() as browser:
        page = browser.new_page()
        page.goto(f"{served.address}/practice/race")
        expect(page.locator("main[data-state=on]")).to_have_count(1)
        page.fill("#person", "Ana")
        page.select_option("#call", "heard")
        page.click("#ready")
        expect(page.locator("#wanted")).to_have_text("listen …")
        expect(page.locator("main[data-said=yes]")).to_have_count(1)
        assert loudest(page, "#practice") > 0.05
        page.keyboard.press("Alt+a")
        page.keyboard.press("w")
        expect(page.locator("#dash")).to_contain_text("chooser regeneration")
        page.keyboard.press("Enter")
        expect(page.locator("#told")).to_contain_text("chooser up")
        expect(page.locator("#wanted")).not_to_have_text("listen …")
    with DrillJournal(tmp_path / JOURNAL) as journal:
        assert [one.repeats for one in journal.answers("Ana")] == [1]


@pytest.mark.slow
def test_a_change_is_made_by_keys_and_by_a_real_wheel_that_was_learnt(tmp_path: Path) -> None:
    pad = """window.down = -1; navigator.getGamepads = () => [{ axes: [],
          buttons: Array.from({ length: 12 }, (_, n) => ({ pressed: n === window.down })) }];"""
    sheet = sheet_at(tmp_path)
    with Served(sheet, event=EVENT) as served, chromium() as browser:
        page = browser.new_page()
        page.goto(f"{served.address}/practice/race")
        expect(page.locator("main[data-state=on]")).to_have_count(1)
        page.evaluate(pad)
        page.click("#learn")
        for number in range(11):  # ten touches and the brake
            page.evaluate(f"window.down = {number}")
            page.wait_for_timeout(60)
            page.evaluate("window.down = -1")
            page.wait_for_timeout(60)
        expect(page.locator("#learning")).to_contain_text("every control is known")
        page.fill("#person", "Ana")
        page.keyboard.press("Enter")
        expect(page.locator("#making")).to_be_visible()
        page.keyboard.press("w")
        expect(page.locator("#dash")).to_contain_text("chooser regeneration")
        page.evaluate("window.down = 2")
        page.wait_for_timeout(60)
        page.evaluate("window.down = -1")
        expect(page.locator("#dash")).to_contain_text("regeneration 5")
        page.keyboard.press("Enter")
        expect(page.locator("#told")).to_contain_text("chooser up, thumb up")
    with DrillJournal(sheet.with_name(JOURNAL)) as journal:
        assert [one.drill for one in journal.answers("Ana")] == ["wheel"]
