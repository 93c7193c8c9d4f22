"""The ``niner`` command: in this process, which is quick, or in one of its own, as a user starts
it.
"""

from __future__ import annotations

import contextlib
import io
import os
import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import IO, NamedTuple
from unittest import mock

from codec.cli import main
from codec.screen.console import console

ROOT = Path(__file__).parents[1]
Argument = str | bytes | Path


class Done(NamedTuple):
    """How a command ended, and what it printed."""

    returncode: int
    stdout: bytes
    stderr: bytes


def called(
    arguments: Sequence[Argument],
    given: bytes = b"",
    *,
    where: Path = ROOT,
    environment: Mapping[str, str] | None = None,
    together: bool = False,
) -> Done:
    """Run the command in this process, its three streams replaced, in a folder; both outputs in one
    stream where asked for, as on a terminal. An exception that ends it is raised.
    """
    printed = io.BytesIO()
    told = printed if together else io.BytesIO()
    encoding = sys.getfilesystemencoding()
    stdin = io.TextIOWrapper(io.BufferedReader(io.BytesIO(given)), encoding, "surrogateescape")
    with (
        contextlib.chdir(where),
        mock.patch.dict(os.environ, environment or {}),
        mock.patch("sys.stdin", stdin),
        mock.patch("sys.stdout", io.TextIOWrapper(printed, encoding)) as output,
        mock.patch("sys.stderr", io.TextIOWrapper(told, encoding, write_through=True)) as errors,
    ):
        console.cache_clear()  # each command looks anew how wide its terminal is
        try:
            code = main([os.fsdecode(argument) for argument in arguments])
        except SystemExit as stop:  # wrong usage
            code = stop.code if isinstance(stop.code, int) else 1
        finally:
            console.cache_clear()
        output.flush()
        errors.flush()
        return Done(code, printed.getvalue(), told.getvalue())


def started(
    arguments: Sequence[Argument],
    given: bytes = b"",
    *,
    where: Path = ROOT,
    environment: Mapping[str, str] | None = None,
    stdout: IO[bytes] | int = subprocess.PIPE,
) -> Done:
    """Run the command in a process of its own, as a user does, for a minute at most."""
    done = subprocess.run(
        [sys.executable, "-c", "from codec.cli import main; raise SystemExit(main())", *arguments],
        input=given,
        stdout=stdout,
        stderr=subprocess.PIPE,
        timeout=60,
        cwd=where,
        check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT), **(environment or {})},
    )
    return Done(done.returncode, done.stdout or b"", done.stderr)
