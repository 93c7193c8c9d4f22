"""Text that would steer a terminal, in every place that people can write to: what each command
prints of it, into a pipe and on a terminal, can be seen and does nothing.

Control characters are those of ECMA-48 (C0 and C1), those that change the direction those of the
Unicode Bidirectional Algorithm (UAX #9).
"""

from __future__ import annotations

import contextlib
import io
import json
import re
import sys
from collections.abc import Sequence
from pathlib import Path

import pytest
from helpers import first_short
from prompt_toolkit.document import Document
from prompt_toolkit.layout import BufferControl
from prompt_toolkit.layout.processors import TransformationInput

from codec import load_book
from codec.cli import main
from codec.drill import Answer, DrillJournal
from codec.screen.console import console
from codec.screen.typed import Visible
from grammar.errors import visible

ROOT = Path(__file__).parents[2]
RACE = ROOT / "examples" / "race"
STEERING = "\x1b]0;own\x07\x1b[2J\x9b2J\x85\r\t\x7f\u202e\u2066\u200b\u2028"
# our own colours, and the bar of an import
STYLE = re.compile(r"\r?\x1b\[(?:[0-9;]*m|2K|1A|\?25[hl])|\r(?=\x1b)")


def _toml(text: str) -> str:
    """Return a text as TOML writes it."""
    return json.dumps(text).replace("\x7f", "\\u007f")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book, an event file and a sheet in which everything that is free text would steer."""
    made = tmp_path_factory.mktemp("steering")
    book = (RACE / "race.toml").read_text("utf-8")
    steer = re.compile(r'((?:title|label|notes|say|about)\s*=\s*)"([^"\\]*)"')
    hostile = steer.sub(lambda found: f"{found[1]}{_toml(found[2] + STEERING)}", book)
    assert hostile.count("u202e") > 5
    (made / "book.toml").write_text(hostile, "utf-8")
    event = (RACE / "event.toml").read_text("utf-8")
    (made / "event.toml").write_text(
        steer.sub(lambda found: f"{found[1]}{_toml(found[2] + STEERING)}", event), "utf-8"
    )
    lines = [
        "one two zero one yankee alfa quebec",
        f"two one seven {STEERING} x-ray",
        f"/note {STEERING}",
        f"/car 61=Teo{STEERING}",
        f"/car 8{STEERING}=Ana",
        "safety car",
        "one two zero one yankee alfa quebec",
        f"/{STEERING}",
    ]
    (made / "lines.txt").write_text("\n".join(lines).replace("\r", ""), "utf-8", newline="")
    (made / "talk.txt").write_text(
        f"[00:00:01] Ana{STEERING}: one two zero one yankee alfa quebec\nBo: {STEERING}\n".replace(
            "\r", ""
        ),
        "utf-8",
        newline="",
    )
    (made / "needs.toml").write_text(NEEDS.format(steering=_toml(f"own{STEERING}")), "utf-8")
    (made / "car.csv").write_text(f"lap,motor,said\n1,95,one{STEERING[5:8]}\n", "utf-8")
    with DrillJournal(made / "drills.niner", create=True) as journal:
        kept = journal.keep_book(load_book(made / "book.toml"))
        for outcome in ("right", "caught"):
            journal.append(
                Answer(
                    person="Ana own", drill="read", session=f"s{STEERING}", book=kept,
                    kind="report", shown="5163JRBT", said=f"own{STEERING}", answer=STEERING,
                    outcome=outcome, first=1.5, done=4.5,
                )
            )  # fmt: skip
    (made / "broken.toml").write_text(
        f"title = {STEERING!r}\n[{_toml(STEERING)}]\nx = 1\n", "utf-8"
    )
    return made


NEEDS = """
title = {steering}
message = "lap"
[alphabet]
use = "0123456789"
[fields.level]
label = {steering}
kind = "choice"
options = ["low", "high"]
notes = {steering}
"""
OF_BOOKS: Sequence[Sequence[str]] = (
    ["book", "check", "book.toml"],
    ["book", "check", "broken.toml"],
    ["book", "check", f"no{STEERING}"],
    ["book", "show", "book.toml"],
    ["book", "grammar", "book.toml"],
    *(["book", "export", "book.toml", form, "--out", "-"] for form in ("csv", "jsgf", "srgs")),
    ["book", "diff", "book.toml", str(RACE / "race.toml")],
    ["decode", "book.toml", "one two zero one yankee alfa quebec"],
    ["decode", "book.toml", f"one two {STEERING}"],
    ["decode", "book.toml", "safety car"],
    ["decode", f"--{STEERING}"],
    ["encode", "book.toml", f"lap={STEERING}"],
    ["encode", "book.toml", f"{STEERING}=1"],
    ["hear", "book.toml", f"one two zero one yankee alfa {STEERING}"],
    ["book", "simulate", "book.toml", "--reports", "3"],
    ["design", "needs.toml", "--draws", "50", "--heard", "10", "--out", "-"],
)
OF_EVENTS: Sequence[Sequence[str]] = (
    ["log", "new.sheet", "--book", "book.toml", "--car", f"7=Ana{STEERING}", "--writer", STEERING],
    ["sheet", "import", "new.sheet", "talk.txt", "--left-out"],
    ["sheet", "show", "new.sheet"],
    ["sheet", "show", "new.sheet", "--all"],
    ["sheet", "show", "new.sheet", "--event", "event.toml"],
    ["sheet", "show", "new.sheet", "--car", STEERING],
    ["sheet", "check", "new.sheet"],
    ["race", "check", "event.toml", "book.toml"],
    ["race", "show", "new.sheet", "event.toml", "--car", "7"],
    ["race", "wheel", "new.sheet", "event.toml", "--car", "7", f"{STEERING}=1"],
    ["sheet", "export", "new.sheet", f"e{STEERING}.csv"],
    ["sheet", "export", "new.sheet", "e.jsonl", "--replace"],
    ["sheet", "import", "again.sheet", "e.jsonl"],
    ["sheet", "debrief", "new.sheet", "page", "--event", "event.toml", "--replace"],
    ["sheet", "compare", "new.sheet", "car.csv", "--car", f"8{STEERING}"],
    ["sheet", "rescue", "new.sheet", "rescued.sheet"],
    ["drill", "progress", "drills.niner"],
    ["drill", "profile", "drills.niner", f"p{STEERING}.json"],
    ["drill", "export", "drills.niner", f"Ana{STEERING}"],
    ["drill", "delete", "drills.niner", f"Ana{STEERING}"],
    ["drill", "progress", f"no{STEERING}.niner"],
)


def _printed(command: Sequence[str], capsys: pytest.CaptureFixture[str]) -> str:
    """Return what a command prints, without the colours of our own."""
    with contextlib.suppress(SystemExit):
        main(command)
    out, err = capsys.readouterr()
    if "csv" in command:  # the line ends of RFC 4180
        out = out.replace("\r\n", "\n")
    return STYLE.sub("", out + err)


@pytest.mark.slow
@pytest.mark.parametrize(
    "commands", first_short([[*OF_EVENTS], [*OF_BOOKS]]), ids=["of events", "of books"]
)
@pytest.mark.parametrize("place", ["pipe", "terminal"])
def test_nothing_that_a_command_prints_steers_a_terminal(
    place: str,
    commands: Sequence[Sequence[str]],
    folder: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    if place == "terminal":
        monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.chdir(folder)
    (folder / "new.sheet").unlink(missing_ok=True)
    given, told = (folder / "lines.txt").read_bytes(), 0
    console.cache_clear()
    for command in commands:
        for option in ["", "--json"][: 1 + (place == "pipe")]:
            monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(given), "utf-8"))
            shown = _printed([*command, *filter(None, [option])], capsys)
            live = {c for c in shown if c != "\n" and visible(c) != c}
            assert not live, (command, option, live, shown[:300])
            told += "own" in shown
    console.cache_clear()
    assert told > len(commands) * 0.8  # the text is shown, and not left out


def test_the_line_being_typed_is_shown_with_what_is_invisible_in_it() -> None:
    line = f"a{STEERING}b"
    given = TransformationInput(
        BufferControl(), Document(line), 0, lambda place: place, [("", line)], 80, 24
    )
    made = Visible().apply_transformation(given)
    shown = "".join(text for _, text, *_ in made.fragments)
    assert shown == visible(line)
    for place in range(len(line) + 2):  # the end of the line, and the blank behind it
        at = made.source_to_display(place)
        assert at == len(visible(line[:place])) + max(0, place - len(line))
        assert made.display_to_source(at) == place
