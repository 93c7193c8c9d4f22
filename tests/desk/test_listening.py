"""Hearing at the desk: made by espeak-ng, inspected with sox and by Web Audio's analyser."""

from __future__ import annotations

import random
import re
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from desk.browser import Served, chromium, loudest
from desk.support import desk, sheet_at
from playwright.sync_api import Browser, expect
from programs import program
from starlette.testclient import TestClient

from codec.drill import DrillJournal
from codec.drill.journal import JOURNAL
from codec.drill.speaking import Speaker


def _act(client: TestClient, act: str, **more: Any) -> Any:
    return client.post("/listen-act/race", json={"act": act, "key": "k", **more})


def _begun(client: TestClient, **more: Any) -> Any:
    program("espeak-ng")
    told = {"person": "Ben", "items": 2, "noise": "quiet", **more}
    return _act(client, "begin", **told).json()


def _answers(folder: Path) -> list[Any]:
    with DrillJournal(folder / JOURNAL) as journal:
        return list(journal.answers())


def _statistics(path: Path) -> dict[str, float]:
    done = subprocess.run(
        [program("sox"), str(path), "-n", "stat"], capture_output=True, text=True, check=True
    )
    return {
        name.strip(): float(value)
        for name, value in re.findall(r"^(.*?):\s+(-?[\d.]+)$", done.stderr, re.MULTILINE)
    }


@pytest.mark.slow
def test_what_is_spoken_is_written_down_and_marked(tmp_path: Path) -> None:
    with desk(sheet_at(tmp_path)) as client:
        told = _begun(client)
        again = _act(client, "again").json()
        assert again["radio"] == pytest.approx(told["seconds"] + again["seconds"], abs=0.2)
        first = _act(client, "answer", number=1, text="one two", first=0.4, done=3.0).json()
        assert not first["went"]["right"]
        assert _act(client, "answer", number=1, text="one", first=0.4, done=3.0).status_code == 400
        shown = first["went"]["shown"]
        (found,) = _answers(tmp_path)
        assert (found.shown, found.drill, found.repeats, found.noise) == (shown, "hear", 1, "quiet")
        assert (found.first, found.last) == (0.4, 3.0)
        refused = _act(client, "answer", number=2, text="xyzzy plugh", done=1.0)
        assert refused.status_code == 400
        over = _act(client, "answer", number=2, text="?", first=0.1, done=1.0).json()
        assert over["over"]
        assert over["closing"]["person"] == "Ben"


@pytest.mark.slow
def test_several_reports_are_spoken_into_each_other_in_voices_of_their_own(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(random.SystemRandom, "randrange", lambda *_: 7)  # the same reports
    with desk(sheet_at(tmp_path)) as client:
        alone = _begun(client)["seconds"]
        told = _begun(client, items=2, at_once=2, under=True)
        assert told["reports"] == 2
        assert 1.1 * alone < told["seconds"] < 3.2 * alone
        path = tmp_path / "heard.wav"
        path.write_bytes(client.get(f"/listen-sound/race?key=k&turn={told['turn']}").content)
        heard = _statistics(path)
        assert heard["Length (seconds)"] == pytest.approx(told["seconds"], abs=0.1)
        assert heard["RMS     amplitude"] > 0.05
        assert heard["Maximum amplitude"] < 1


def test_what_is_not_to_be_had_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with desk(sheet_at(tmp_path)) as client:
        assert _act(client, "answer", number=1).status_code == 400
        assert _act(client, "nonsense").status_code == 400
        assert client.get("/listen-sound/race?key=k&turn=1").status_code == 400
        assert "never while driving" in client.get("/listen/race").text
        program("espeak-ng")
        for wrong in ({"noise": "loudest"}, {"items": 0}, {"at_once": 9}, {"person": ""}):
            sent = {"person": "Ben", "items": 2, **wrong}
            assert _act(client, "begin", **sent).status_code == 400, wrong
        monkeypatch.setattr("shutil.which", lambda *_, **__: None)
        told = _act(client, "begin", person="Ben")
        assert "no speech synthesiser" in " ".join(told.json()["lines"])


def test_another_car_is_heard_beneath(tmp_path: Path) -> None:
    from sheet.support import race_book

    program("espeak-ng")
    speaker = Speaker(tmp_path)
    plain = speaker.traffic(race_book(), [["one"]], "quiet", 1, "plain")
    other = speaker.traffic(
        race_book(), [["one"]], "quiet", 1, "other", under=["niner", "eight", "seven"]
    )
    assert other.seconds == plain.seconds
    assert plain.path.read_bytes() != other.path.read_bytes()


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as started:
        yield started


@pytest.mark.slow
def test_the_browser_plays_what_was_made(browser: Browser, tmp_path: Path) -> None:
    program("espeak-ng")
    sheet = sheet_at(tmp_path)
    with Served(sheet) as served:
        page = browser.new_context().new_page()
        page.goto(f"{served.address}/listen/race")
        expect(page.locator("main[data-state=on]")).to_have_count(1)
        page.fill("#person", "Ben")
        page.fill("#items", "2")
        page.click("#begin button")
        expect(page.locator("#progress")).to_contain_text("1 of 2")
        assert loudest(page, "#listen") > 0.05
        for number in (1, 2):
            expect(page.locator("#progress")).to_contain_text(f"{number} of 2")
            page.keyboard.type("?")
            page.keyboard.press("Enter")
            expect(page.locator("#went tr")).to_have_count(number)
        expect(page.locator("#closing")).to_contain_text("s of radio")
    assert len(_answers(tmp_path)) == 2
