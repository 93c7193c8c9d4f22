"""Standard streams that are closed, or begin with a mark; a program that waits for each line; and
Ctrl-C at any moment: no traceback, and an exit code that says what happened.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

import pytest
from commands import ROOT
from helpers import first_short
from hostile.watchdog import BOOK

from codec.cli import INTERRUPTED, command_line, main

RACE = str(ROOT / "examples" / "race" / "race.toml")
REPORT = "one two zero one yankee alfa quebec"
CODE = "import sys; from codec.cli import main; sys.exit(main())"
# a signal in this script, before the command is called, is not the command's
BEGUN = """
import signal, sys
from codec.cli import main
signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell's job in the background has none
try:
    print("begun", file=sys.stderr, flush=True)
    code = main()
except KeyboardInterrupt as interrupt:
    if interrupt.__traceback__.tb_next is not None:
        raise
    code = 130
sys.exit(code)
"""
ENVIRONMENT = {name: value for name, value in os.environ.items() if name != "PYTHONUNBUFFERED"} | {
    "PYTHONPATH": str(ROOT)
}


@pytest.fixture
def book(tmp_path: Path) -> str:
    """A book that loads quickly."""
    path = tmp_path / "book.toml"
    path.write_text(BOOK, "utf-8")
    return str(path)


@pytest.mark.parametrize("closed", first_short(["<&- >&- 2>&-", "<&-", ">&-", "2>&-"]))
@pytest.mark.parametrize(
    "command",
    first_short(["log x.sheet --book BOOK", "decode BOOK S301203", "decode BOOK"], 2),
)
def test_a_stream_that_is_closed_ends_nothing(
    command: str, closed: str, book: str, tmp_path: Path
) -> None:
    run = f"'{sys.executable}' -c '{CODE}' {command.replace('BOOK', book)} {closed}"
    done = subprocess.run(
        ["sh", "-c", run], input=b"/note a\n", capture_output=True, cwd=tmp_path, env=ENVIRONMENT,
        timeout=60, check=False,
    )  # fmt: skip
    assert b"Traceback" not in done.stderr
    assert b"Exception" not in done.stderr
    assert done.returncode in (0, 1)


def test_a_mark_at_the_beginning_of_the_input_is_no_word(book: str) -> None:
    """The byte order mark of Unicode 15, section 23.8."""
    done = subprocess.run(
        [sys.executable, "-c", CODE, "decode", "--json", book],
        input="\ufeffS 301203\n\ufeffS 301203\n".encode(), capture_output=True, env=ENVIRONMENT,
        timeout=60, check=False,
    )  # fmt: skip
    first, second = map(json.loads, done.stdout.splitlines())
    assert first == {**first, "said": "S301203"} or first["error"] != "unknown-word"
    assert second["error"] == "unknown-word"


@pytest.mark.slow
@pytest.mark.parametrize(
    "command",
    [["decode", "BOOK", "--json"], ["decode", "BOOK", "--json", "--all"],
     ["hear", "BOOK", "--json"],
     ["log", "x.sheet", "--book", "BOOK", "--json"], ["log", "y.sheet", "--book", "BOOK"]],
)  # fmt: skip
def test_a_program_that_waits_for_each_line_gets_it(
    command: Sequence[str], book: str, tmp_path: Path
) -> None:
    running = subprocess.Popen(
        [sys.executable, "-c", CODE, *(book if one == "BOOK" else one for one in command)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, cwd=tmp_path, env=ENVIRONMENT,
    )  # fmt: skip
    assert running.stdin is not None
    assert running.stdout is not None
    os.set_blocking(running.stdout.fileno(), False)
    for _ in range(2):
        running.stdin.write(b"S 301203\n")
        running.stdin.flush()
        until = time.monotonic() + 30
        while not (told := running.stdout.readline()):
            assert time.monotonic() < until, "nothing came"
            time.sleep(0.02)
        assert told.strip()
    running.stdin.close()
    running.stdout.close()
    assert running.wait(30) in (0, 1, 2, 120)


@pytest.mark.parametrize("moments", [2, pytest.param(10, marks=pytest.mark.slow)])
@pytest.mark.parametrize(
    "command",
    first_short([["hear", RACE], ["decode", RACE], ["demo"], ["book", "check", RACE],
                 ["sheet", "import", "z.sheet", "-", "--book", RACE]]),
)  # fmt: skip
def test_ctrl_c_at_any_moment_gives_no_traceback(
    command: Sequence[str], moments: int, tmp_path: Path
) -> None:
    """From the moment the command's own code is reached: before it, Python itself is starting."""
    for step in range(0, 10, 10 // moments):
        running = subprocess.Popen(
            [sys.executable, "-c", BEGUN, *command], stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, cwd=tmp_path, env=ENVIRONMENT,
        )  # fmt: skip
        assert running.stderr is not None
        assert running.stderr.readline() == b"begun\n"
        time.sleep(0.001 + 0.06 * step)
        running.send_signal(signal.SIGINT)
        _, told = running.communicate(timeout=60)
        assert b"Traceback" not in told, (step, told.decode()[-1500:])
        assert b"ignored" not in told, (step, told.decode()[-1500:])
        assert running.returncode in (0, 130), (step, told)


def test_ctrl_c_while_something_is_loaded_ends_the_command_when_it_is(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """What an interrupted library would do then is its own affair."""
    loading = tmp_path / "loads_slowly.py"
    loading.write_text("import signal\nsignal.raise_signal(signal.SIGINT)\nLOADED = True\n")
    monkeypatch.syspath_prepend(str(tmp_path))

    def run(_: Sequence[str] | None) -> int:
        import loads_slowly  # type: ignore[import-not-found]

        assert loads_slowly.LOADED
        time.sleep(30)
        return 0

    monkeypatch.setattr(command_line, "run", run)
    before = signal.signal(signal.SIGINT, signal.default_int_handler)  # as it is at a terminal
    try:
        assert main([]) == INTERRUPTED
        assert signal.getsignal(signal.SIGINT) is signal.default_int_handler
    finally:
        signal.signal(signal.SIGINT, before)
