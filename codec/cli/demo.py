"""``niner demo``: an invented race, heard and read."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any


def add(commands: Any) -> None:
    """Add the command."""
    about = "Read the reports of an invented race at the invented Port Tessel circuit, and answer the last one."
    parser = commands.add_parser("demo", help="an invented race, heard and read", description=about)
    parser.set_defaults(run=run)


def demo_folder() -> Path:
    """Return the folder of the example race: the copy in an installed package, else the one in the checkout."""
    package = Path(__file__).parents[1]
    installed = package / "demo_data" / "race"
    return installed if installed.is_dir() else package.parent / "examples" / "race"


def run(args: argparse.Namespace) -> int:  # noqa: ARG001 - it has no arguments
    """Show the demo."""
    import json

    from codec import load_book
    from codec.screen.demo import race

    folder = demo_folder()
    book = load_book(folder / "race.toml")
    said = [json.loads(line) for line in (folder / "race.jsonl").read_text("utf-8").splitlines()]
    race(book, said, folder)
    return 0
