"""README's examples as they stand: run them, compare them, or write their output anew.

python tests/readme.py     rewrites the output of every console block
"""

from __future__ import annotations

import contextlib
import os
import re
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).parents[1]
README = ROOT / "README.md"
_BLOCK = re.compile(r"```console\n(.*?)```", re.DOTALL)


class Example(NamedTuple):
    """One command of README with the output printed below it."""

    command: str
    output: str


def examples(text: str) -> Iterator[Example]:
    """Yield every command of every console block."""
    for block in _BLOCK.findall(text):
        for part in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
            command, _, output = part.partition("\n")
            yield Example(command, output)


@contextlib.contextmanager
def folder() -> Iterator[Path]:
    """Yield an empty folder with the examples in it, where the commands are run one after the
    other.
    """
    with tempfile.TemporaryDirectory() as name:
        (Path(name) / "examples").symlink_to(ROOT / "examples")
        yield Path(name)


def run(command: str, where: Path) -> str:
    """Return what a command prints, both streams, in a terminal of 100 columns; ``niner`` is this
    checkout's.
    """
    environment = {
        **os.environ,
        "COLUMNS": "100",
        "PYTHONPATH": str(ROOT),
        "TERM": "dumb",
        "PYTHON": sys.executable,
    }
    shell = (
        "niner() { \"$PYTHON\" -c 'import sys; from codec.cli import main; sys.exit(main())'"
        ' "$@"; }\n'
    )
    done = subprocess.run(
        ["bash", "-c", shell + command],
        cwd=where,
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
    )
    return done.stdout


def renewed(text: str) -> str:
    """Return README with the output of every console block made anew."""

    with folder() as where:

        def block(found: re.Match[str]) -> str:
            parts = [
                f"$ {example.command}\n{run(example.command, where)}"
                for example in examples(found.group())
            ]
            return "```console\n" + "".join(parts) + "```"

        return _BLOCK.sub(block, text)


if __name__ == "__main__":
    README.write_text(renewed(README.read_text("utf-8")), "utf-8")
