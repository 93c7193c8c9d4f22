"""Reports by the browser's microphone, in Debian's Chromium with a file for a microphone; the gate
of the page is held against the one that hears recordings.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from axe_playwright_python.sync_playwright import Axe
from desk.browser import PATIENCE, Served, chromium
from desk.support import sheet_at
from playwright.sync_api import Browser, Page, expect
from voice.spoken import NEXT, RATE, REPORT, TALK, spoken

from codec.drill import DrillJournal
from codec.drill.journal import JOURNAL
from codec.sheet import Journal
from codec.voice.gate import FRAME, settings, stretches

SILENCE = 1.5  # seconds between and behind what is said
BEFORE = 6  # seconds: what a busy machine may take from opening the device to hearing it
SAID = (REPORT, TALK, NEXT)


def line_in() -> Any:
    """Return what the microphone takes up: two reports and talk, in a little hiss."""
    pause = np.zeros(round(SILENCE * RATE))
    before = np.zeros(round(BEFORE * RATE))
    whole = np.concatenate([before, *(part for text in SAID for part in (spoken(text), pause))])
    return whole + 0.002 * np.random.default_rng(1).standard_normal(len(whole))


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    sound = tmp_path_factory.mktemp("sound") / "line-in.wav"
    soundfile.write(sound, line_in(), RATE)
    with chromium(sound) as started:
        yield started


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    return sheet_at(tmp_path)


@pytest.fixture
def wall(browser: Browser, sheet: Path) -> Iterator[Page]:
    """The wall of a desk, to a page that may use the microphone."""
    with Served(sheet) as served:
        context = browser.new_context(permissions=["microphone"], reduced_motion="reduce")
        context.set_default_timeout(PATIENCE)
        page = context.new_page()
        page.goto(f"{served.address}/wall/race")
        expect(page.locator("#line[data-state=on]")).to_have_count(1)
        page.keyboard.type("Quill")
        page.keyboard.press("Alt+1")
        yield page
        context.close()


@pytest.mark.slow
def test_what_is_said_is_offered_while_somebody_types_and_taken_by_a_key_or_by_itself(
    wall: Page, sheet: Path
) -> None:
    wall.click("#voice summary")
    wall.uncheck("#voice-itself")
    wall.keyboard.press("Alt+1")
    wall.keyboard.press("Alt+l")
    wall.keyboard.type("/note half a")
    offer = wall.locator("[data-car='7'] .offer")
    expect(offer).to_contain_text(f"heard: {REPORT}")
    expect(offer).to_contain_text("99.9 % sure: lap report: lap 4")
    assert Axe().run(wall).violations_count == 0
    wall.check("#voice-itself")  # and the next one by itself
    wall.keyboard.press("Alt+1")
    wall.keyboard.press("Alt+t")
    expect(offer).to_be_empty()
    expect(wall.locator("#voice-talk")).to_contain_text("no report: ")
    wall.keyboard.type(" line")
    wall.keyboard.press("Enter")
    expect(wall.locator("[data-car='7'] tr.report")).to_have_count(2)
    wall.keyboard.press("Alt+l")
    expect(wall.locator(".voice-on")).to_have_attribute("aria-pressed", "false")
    with Journal(sheet) as journal:
        found = [(entry.string, entry.note, entry.heard) for entry in journal.entries()][2:]
    taken = ("4183HZ2", "by voice, taken by hand", REPORT), ("5183HZ0", "by voice", NEXT)
    assert sorted(found) == sorted([*taken, ("", "", "half a line")])


@pytest.mark.slow
def test_where_the_microphone_is_not_to_be_had_it_says_why_and_typing_goes_on(
    browser: Browser, sheet: Path
) -> None:
    with Served(sheet) as served:
        context = browser.new_context()
        context.add_init_script("delete Navigator.prototype.mediaDevices")  # as by http elsewhere
        page = context.new_page()
        page.goto(f"{served.address}/wall/race")
        expect(page.locator("#line[data-state=on]")).to_have_count(1)
        page.click(".voice-on")
        expect(page.locator("#voice-told")).to_contain_text("only to a page by https")
        context.close()


GATED = """async ([settings, rate, sound]) => {
  const context = new OfflineAudioContext(1, sound.length, rate);
  await context.audioWorklet.addModule("/static/gate.js");
  const options = { numberOfOutputs: 0, processorOptions: settings };
  const node = new AudioWorkletNode(context, "gate", options);
  const buffer = context.createBuffer(1, sound.length, rate), found = [];
  buffer.copyToChannel(Float32Array.from(sound), 0);
  node.port.onmessage = ({ data: { sound, soft, over } }) => {
    if (sound) found.push([soft, sound.length]);
    if (over) found.push([false, 0]);
  };
  const source = new AudioBufferSourceNode(context, { buffer });
  source.connect(node);
  source.start();
  await context.startRendering();
  await new Promise((done) => setTimeout(done, 200));
  return found;
}"""


@pytest.mark.slow
def test_the_gate_of_the_page_cuts_as_the_one_of_recordings(wall: Page) -> None:
    rate, draw = 8000, np.random.default_rng(3)
    tone = 0.2 * np.sin(np.arange(rate) / 2)
    pieces = [0 * tone, tone, 0 * tone[:3200], tone, 0 * tone, 0 * tone, *[tone] * 22, 0 * tone]
    sound = np.concatenate(pieces) + 0.001 * draw.standard_normal(sum(map(len, pieces)))
    frames = sound.astype(np.float32).reshape(-1, FRAME)
    wanted = [len(one) / FRAME for _, one in stretches(frames)]
    found = wall.evaluate(GATED, [settings(), rate, [float(one) for one in sound]])
    lengths, last = [], 0
    for soft, size in found:  # what is over without more sound is what was told softly before
        last = size or last
        if not soft:
            lengths.append(last / FRAME)
    assert len(wanted) == 3  # the second tone goes on for longer than a stretch may
    assert lengths == pytest.approx(wanted, abs=4)


@pytest.mark.slow
def test_a_driver_alone_reads_aloud_and_is_marked_and_nothing_said_is_kept(
    browser: Browser, sheet: Path
) -> None:
    with Served(sheet) as served:
        context = browser.new_context(permissions=["microphone"], reduced_motion="reduce")
        context.set_default_timeout(PATIENCE)
        coach, driver = context.new_page(), context.new_page()
        coach.goto(f"{served.address}/coach/race")
        coach.fill("#person", "Ana")
        coach.fill("#items", "2")
        coach.select_option("#kind", "report")
        coach.check("[name=voice]")
        driver.goto(f"{served.address}/driver/race")
        driver.click("#ready")
        coach.click("#begin button")
        driver.bring_to_front()
        expect(driver.locator("#voice-kept")).to_contain_text("no sound is kept")
        expect(driver.locator("#voice-heard")).to_contain_text(f"heard: {REPORT}: ")
        assert Axe().run(driver).violations_count == 0
        expect(driver.locator("#gate-told")).to_contain_text("over: all was asked")
        context.close()
    with DrillJournal(sheet.with_name(JOURNAL)) as journal:
        found = list(journal.answers())
        assert journal.recorded() == set()
    # whatever was flashed, this is what was read aloud: all but chance marks it wrong, and says so
    assert [one.answer for one in found] == [REPORT, NEXT]
    assert all(one.first is not None and one.last is not None for one in found)
    spoken_in = [one.last - one.first for one in found if one.last and one.first]
    assert spoken_in == pytest.approx([len(spoken(one)) / RATE for one in (REPORT, NEXT)], abs=0.3)
