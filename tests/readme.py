"""What the documents show, as it stands: run their commands, compare them, or write their output
anew.

python tests/readme.py     rewrites the output of every console block of every document, and the
                           tables of keys
"""

from __future__ import annotations

import contextlib
import os
import re
import shlex
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

from commands import called

ROOT = Path(__file__).parents[1]
README = ROOT / "README.md"
DOCUMENTS = (README, ROOT / "DEVELOPERS.md", *sorted((ROOT / "examples").rglob("*.md")))
_BLOCK = re.compile(r"```console\n(.*?)```", re.DOTALL)
_CHAPTER = re.compile(r"^(?=## )", re.MULTILINE)
_FILE = re.compile(r"(?<!\S)(?!examples/)([\w-]+)(?:/\S*|\.[a-z]\w*)(?!\S)")
_NINER = re.compile(
    r"((?P<before>('[^']*'|[^'|<>&])+) \| )?niner (?P<arguments>[^|<>&]*)(< (?P<file>\S+))?"
    r"(?P<behind>\|.*)?"
)
_TERMINAL = {"COLUMNS": "100", "TERM": "dumb"}


class Example(NamedTuple):
    """One command of a document with the output printed below it."""

    command: str
    output: str

    @property
    def files(self) -> frozenset[str]:
        """The files and folders that it names beside the examples, ``race.sheet`` or ``out``."""
        return frozenset(found.group().split("/")[0] for found in _FILE.finditer(self.command))


def examples(text: str) -> Iterator[Example]:
    """Yield every command of every console block."""
    for block in _BLOCK.findall(text):
        for part in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
            command, _, output = part.partition("\n")
            yield Example(command, output)


def chapters(text: str) -> dict[str, list[Example]]:
    """Return the commands below each heading of the second level that has some."""
    found: dict[str, list[Example]] = {}
    for part in _CHAPTER.split(text):
        heading = part.partition("\n")[0].lstrip("# ")
        if shown := list(examples(part)):
            found.setdefault(heading, []).extend(shown)
    return found


def makers(chapter: Sequence[Example], earlier: Sequence[Example]) -> list[Example]:
    """Return the commands that make the files of a chapter: of those before it, the first to name
    each file, and what makes the files of that command in turn.
    """
    made: list[Example] = []
    wanted = frozenset[str]().union(*(one.files for one in chapter))
    for number, one in reversed(list(enumerate(earlier))):
        before = frozenset[str]().union(*(other.files for other in earlier[:number]))
        if wanted & (one.files - before):
            made.insert(0, one)
            wanted |= one.files
    return made


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
    return _text(_shell(command, where))


def call(command: str, where: Path) -> str:
    """Return what ``run`` does, sooner: ``niner`` is called in this process, given what the program
    before it prints, or a file, and what it prints is given to the programs behind it.
    """
    found = _NINER.fullmatch(command)
    if found is None:
        return run(command, where)
    arguments, behind = shlex.split(found["arguments"]), found["behind"]
    given = _shell(found["before"], where) if found["before"] else b""
    if found["file"]:
        given = (where / found["file"]).read_bytes()
    done = called(arguments, given, where=where, environment=_TERMINAL, together=not behind)
    if not behind:
        return _text(done.stdout)
    return _text(done.stderr + _shell(f"cat {behind}", where, done.stdout))


def _text(printed: bytes) -> str:
    """Return what was printed with the line ends of a document."""
    return printed.decode().replace("\r\n", "\n")


def _shell(command: str, where: Path, given: bytes = b"") -> bytes:
    environment = {
        **os.environ,
        **_TERMINAL,
        "PYTHONPATH": str(ROOT),
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
        input=given,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        check=False,
    )
    return done.stdout


def renewed(text: str) -> str:
    """Return a document with the output of every console block made anew."""

    with folder() as where:

        def block(found: re.Match[str]) -> str:
            parts = [
                f"$ {example.command}\n{run(example.command, where)}"
                for example in examples(found.group())
            ]
            return "```console\n" + "".join(parts) + "```"

        return _BLOCK.sub(block, text)


if __name__ == "__main__":
    from format_keys import filled

    for document in DOCUMENTS:
        document.write_text(filled(renewed(document.read_text("utf-8"))), "utf-8")
