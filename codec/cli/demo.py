"""``niner demo``: an invented race, from the radio to the sheet, the forecast, the answer and the
debrief.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from codec.cli.common import integer
from codec.cli.desk import PORT

if TYPE_CHECKING:
    from grammar.book import Book

SPEED = 20
CARS = ("7=Ilse Marrow,Quill", "61=Teo Vash,Denn")


def add(commands: Any) -> None:
    """Add the command."""
    about = (
        "Read the radio of an invented race at the invented Port Tessel circuit: lap sheet,"
        " forecast, answer and debrief."
    )
    parser = commands.add_parser("demo", description=about)
    parser.add_argument(
        "folder",
        nargs="?",
        default="niner-demo",
        help="where the sheet and the debrief are written (niner-demo)",
    )
    parser.add_argument(
        "--desk",
        action="store_true",
        help=f"watch the race in a browser instead, {SPEED} times as fast as it was",
    )
    parser.add_argument("--port", type=integer, default=PORT, help=f"the desk's port ({PORT})")
    parser.set_defaults(run=run)


def demo_folder() -> Path:
    """Return the folder of the examples: the copy in an installed package, else the one in the
    checkout.
    """
    package = Path(__file__).parents[1]
    installed = package / "demo_data"
    return installed if installed.is_dir() else package.parent / "examples"


def run(args: argparse.Namespace) -> int:
    """Run the race; the sheet of an earlier run is made anew, with the book and the event beside
    it to try things on.
    """
    from codec.files import written
    from codec.race import load_event
    from codec.radio.crews import crews_of
    from codec.radio.importing import bounded, import_transcript
    from codec.screen import demo
    from codec.sheet import Journal
    from grammar.loading import load_book

    examples, out = demo_folder(), Path(args.folder)
    files = (
        examples / "race" / "race.toml",
        examples / "event" / "event.toml",
        examples / "event" / "wheel.toml",
    )
    book = load_book(files[0])
    event = load_event(files[1], book)
    sheet = out / "race.sheet"
    with written(out, kind="usage", hint="name another folder"):
        out.mkdir(parents=True, exist_ok=True)
        for old in out.glob("race.sheet*"):
            old.unlink()
        for file in files:
            (out / file.name).write_bytes(file.read_bytes())
    if args.desk:
        return _desk(args, book, sheet, out / files[1].name)
    demo.opening(book, (examples / "event" / "radio.txt").read_text("utf-8").splitlines())
    with Journal(sheet, book) as journal, (examples / "event" / "radio.jsonl").open("rb") as radio:
        summary = import_transcript(journal, bounded(radio), "jsonl", crews_of(CARS))
        demo.sheet(journal, summary)
        entries = list(journal.entries())
    demo.heading_there(book, event, entries)
    demo.debrief(book, event, entries, examples / "event" / "car-7.csv", out)
    demo.closing(examples, out)
    return 0


def _desk(args: argparse.Namespace, book: Book, sheet: Path, event: Path) -> int:
    """Write the race into the sheet as it went, and serve it."""
    import tempfile

    from codec.cli.desk import serving, tell_served
    from codec.radio.crews import crews_of
    from codec.radio.importing import bounded, import_transcript
    from codec.sheet import Journal

    desk = serving()
    from codec.desk.replay import Replay

    radio = demo_folder() / "event" / "radio.jsonl"
    with (
        tempfile.TemporaryDirectory() as scratch,
        Journal(Path(scratch) / "race.sheet", book) as journal,
        radio.open("rb") as lines,
    ):
        import_transcript(journal, bounded(lines), "jsonl", crews_of(CARS))
        entries = list(journal.entries())
    replay = Replay(sheet, book, entries, SPEED)
    replay.start()
    try:
        desk.serve(
            desk.sheets_at(sheet, book, event),
            tell_served,
            port=args.port,
            links_at=sheet.with_name(desk.LINKS),
        )
    finally:
        replay.stop()
    return 0
