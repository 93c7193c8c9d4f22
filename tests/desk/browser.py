"""A desk that really serves, and Debian's Chromium that looks at it; tests that need them skip
where they are missing.
"""

from __future__ import annotations

import contextlib
import os
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Self

import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright
from programs import program
from sheet.support import ROOT

PATIENCE = 20_000  # milliseconds: a test waits for what must be, however slow the machine
expect.set_options(timeout=PATIENCE)
_SETTINGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync",
    "--disable-background-networking", "--disable-component-update",
]  # fmt: skip


@contextlib.contextmanager
def chromium(microphone: Path | None = None) -> Iterator[Browser]:
    """Start the browser, with nothing kept from before; what its ``microphone`` takes up is the
    sound of a file, once.
    """
    path, settings = program("chromium"), list(_SETTINGS)
    if microphone is not None:
        settings += [
            "--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream",
            f"--use-file-for-fake-audio-capture={microphone}%noloop",
        ]  # fmt: skip
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=path, args=settings)
        try:
            yield browser
        finally:
            browser.close()


def loudest(page: Page, element: str) -> float:
    """Return the largest sample that a page plays in a second and a half, by the Web Audio analyser
    that an element of it holds as ``meter`` once the sound has come and begun.
    """
    page.wait_for_function("(element) => document.querySelector(element).meter", arg=element)
    found: float = page.evaluate(
        """async (element) => {
            const { meter } = document.querySelector(element);
            const samples = new Float32Array(meter.fftSize);
            let most = 0;
            for (let n = 0; n < 60; n += 1) {
                meter.getFloatTimeDomainData(samples);
                most = Math.max(most, ...samples.map(Math.abs));
                await new Promise((resolve) => { setTimeout(resolve, 25); });
            }
            return most;
        }""",
        element,
    )
    return found


class Served:
    """A desk of one sheet on a port of its own, that can be killed and begun again, with the same
    sheet or with another.
    """

    def __init__(self, sheet: Path | str | None = None, *, event: Path | None = None) -> None:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = int(probe.getsockname()[1])
        script = str(Path(__file__).with_name("server.py"))
        environment = {**os.environ, "PYTHONPATH": f"{ROOT / 'tests'}{os.pathsep}{ROOT}"}
        self._process = subprocess.Popen(
            [sys.executable, script, str(self.port), *([str(event)] if event else [])],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=environment,
        )  # fmt: skip
        self.address, self.child, self._sheet = f"http://127.0.0.1:{self.port}", 0, sheet
        if sheet is not None:
            self.start()

    def _say(self, *words: object) -> None:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        print(*words, file=self._process.stdin, flush=True)
        answer = self._process.stdout.readline().split()
        if not answer:
            pytest.fail("the desk did not start")
        self.child = int(answer[1]) if answer[1:] else 0

    def serve(self, sheet: Path | str) -> None:
        """Serve another sheet."""
        self.kill()
        self._sheet = sheet
        self.start()

    def start(self) -> None:
        self._say("start", self._sheet)

    def memory(self) -> int:
        """Return what it holds in memory, in kilobytes."""
        told = Path(f"/proc/{self.child}/status").read_text()
        return next(int(line.split()[1]) for line in told.splitlines() if "VmRSS" in line)

    def processor_seconds(self) -> float:
        """Return how long it has worked."""
        told = Path(f"/proc/{self.child}/stat").read_text().rpartition(")")[2].split()
        return (int(told[11]) + int(told[12])) / os.sysconf("SC_CLK_TCK")

    def kill(self) -> None:
        """End it as kill -9 does, if it runs."""
        if self.child:
            self._say("kill")

    @contextlib.contextmanager
    def away(self) -> Iterator[None]:
        """Have it killed for as long as this takes, and serve again, whatever happened."""
        self.kill()
        try:
            yield
        finally:
            self.start()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        with contextlib.suppress(BrokenPipeError):
            self.kill()
        assert self._process.stdin is not None
        self._process.stdin.close()
        self._process.wait(10)
        assert self._process.stdout is not None
        self._process.stdout.close()
