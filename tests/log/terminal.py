"""A terminal of a given size that a test types into and looks at, by way of tmux."""

from __future__ import annotations

import builtins
import os
import shlex
import signal
import subprocess
import sys
import time
import uuid
from collections.abc import Sequence
from types import TracebackType
from typing import Self

from programs import program
from sheet.support import ROOT

WAIT = 15.0


class Terminal:
    """Runs ``niner`` with arguments; ``shows`` waits until a text stands on the screen."""

    def __init__(self, arguments: Sequence[str], columns: int, rows: int) -> None:
        self._socket = f"niner-{uuid.uuid4().hex[:12]}"
        code = "import sys, codec.cli as c; sys.exit(c.main())"
        command = shlex.join(
            [
                "env",
                f"PYTHONPATH={ROOT}",
                "TERM=xterm-256color",
                sys.executable,
                "-c",
                code,
                *arguments,
            ]
        )
        self._tmux(
            "-f",
            "/dev/null",
            "new-session",
            "-d",
            "-x",
            str(columns),
            "-y",
            str(rows),
            f"exec {command}",
        )
        self._tmux("set-option", "-g", "remain-on-exit", "on")

    def _tmux(self, *arguments: str) -> str:
        environment = {**os.environ, "LC_ALL": "C.UTF-8"}
        command = [program("tmux"), "-L", self._socket, *arguments]
        return subprocess.run(
            command, capture_output=True, text=True, check=True, env=environment
        ).stdout

    def type(self, text: str) -> None:
        """Type text, then Enter."""
        self.write(text)
        self.press("Enter")

    def write(self, text: str) -> None:
        """Type text and leave it there."""
        self._tmux("send-keys", "-l", text)

    def press(self, key: str) -> None:
        self._tmux("send-keys", key)

    def resize(self, columns: int, rows: int) -> None:
        self._tmux("resize-window", "-x", str(columns), "-y", str(rows))

    def screen(self) -> str:
        return self._tmux("capture-pane", "-p")

    def shows(self, *texts: str) -> str:
        """Return the screen when all texts stand on it; fails after a while."""
        until = time.monotonic() + WAIT
        while True:
            screen = self.screen()
            if all(text in screen for text in texts):
                return screen
            if time.monotonic() > until:
                raise AssertionError(f"{texts} not on the screen:\n{screen}")
            time.sleep(0.05)

    def kill(self) -> None:
        """End the program as kill -9 does."""
        os.kill(int(self._tmux("display-message", "-p", "#{pane_pid}")), signal.SIGKILL)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: builtins.type[BaseException] | None,
        value: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        subprocess.run(
            ["tmux", "-L", self._socket, "kill-server"], capture_output=True, check=False
        )
