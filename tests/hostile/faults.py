"""A disk that fails at each write in turn, under every command that writes; run with the library of
``failing_disk.c`` preloaded.

``python tests/hostile/faults.py FOLDER MOST`` prints one JSON object: for each command how many
times it was run, how many of these ended as they should not, and of what was acknowledged how much
was lost. At most MOST places of a command are tried, spread over all of them.
"""

from __future__ import annotations

import contextlib
import ctypes
import errno
import io
import json
import os
import shutil
import sys
import traceback
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from pathlib import Path

from sheet.support import RACE, REPORT, ROOT, new, race_book, report

from codec.cli import main
from codec.drill import Answer, DrillJournal
from codec.key_file import draw
from codec.sheet import Entry, Journal
from codec.sheet.exports import export, read_export
from codec.sheet.journal import check
from grammar.errors import CodeError

EVENT = ROOT / "examples" / "event"
ERRORS = {"full": errno.ENOSPC, "broken": errno.EIO}
DISK = ctypes.CDLL(None)  # the library that is preloaded


@dataclass(slots=True)
class Outcome:
    """What came of one command: ``wrong`` tells the first few that ended as they should not."""

    places: int = 0
    runs: int = 0
    refused: int = 0
    acknowledged: int = 0
    lost: int = 0
    wrong: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Command:
    """``run`` returns the exit code; ``lost`` how much is gone of what ``told`` acknowledged, and
    raises where what is there is neither as before nor whole.
    """

    run: Callable[[Path], int]
    lost: Callable[[Path, str], tuple[int, int]]


def _niner(*arguments: str | Path) -> int:
    return main([str(one) for one in arguments])


def _log(folder: Path) -> int:
    sys.stdin = io.TextIOWrapper(io.BytesIO(f"/note one\n{REPORT}\n/note two\n".encode()))
    return _niner("log", folder / "event.sheet", "--car", "7=Ana")


def _new_log(folder: Path) -> int:
    sys.stdin = io.TextIOWrapper(io.BytesIO(b"/note one\n/note two\n"))
    return _niner("log", folder / "fresh.sheet", "--book", RACE)


def noted(told: str) -> list[str]:
    """Return what the live log tells that it noted, each with its number behind it."""
    lines = (line for line in told.splitlines() if line.startswith("noted: "))
    return [line.removeprefix("noted: ").rpartition("  #")[0] for line in lines]


def _kept(folder: Path, sheet: str, told: str) -> tuple[int, int]:
    said = noted(told)
    if not (folder / sheet).exists() or not (folder / sheet).stat().st_size:
        return len(said), len(said)
    try:
        with Journal(folder / sheet) as journal:
            heard = [entry.heard for entry in journal.entries()]
    except CodeError as error:
        if error.kind != "sheet-missing":  # a new one that was not made
            raise
        return len(said), len(said)
    assert check(folder / sheet) == []
    before = ["before"] * 3 if sheet == "event.sheet" else []
    gone = sum(one not in heard for one in said) + (3 - heard.count("before")) * bool(before)
    return len(said) + len(before), gone


def _sheet_stays(folder: Path, told: str) -> tuple[int, int]:
    return _kept(folder, "event.sheet", told)


def _export(form: str) -> Command:
    def lost(folder: Path, _: str) -> tuple[int, int]:
        found = read_export(folder / f"e.{form}")
        assert found is not None
        with contextlib.suppress(CodeError):  # a pair of two sheets: refused
            there = len(list(found[1]))
            assert there in (1, 4), there
        return _sheet_stays(folder, "")

    return Command(
        lambda folder: _niner(
            "sheet", "export", folder / "event.sheet", folder / f"e.{form}", "--replace"
        ),
        lost,
    )


def _replaced(name: str, *arguments: str | Path) -> Command:
    """Return a command that writes over a file: the old one stays, or the new one is whole."""

    def lost(folder: Path, _: str) -> tuple[int, int]:
        data = (folder / name).read_bytes()
        assert data == b"old\n" or len(data) > 400, data[:80]
        return 1, 0

    def run(folder: Path) -> int:
        said = [str(one).replace("FOLDER", str(folder)) for one in arguments]
        return _niner(*said, folder / name, "--replace")

    return Command(run, lost)


def _drill(folder: Path) -> int:
    with DrillJournal(folder / "d.niner") as journal:
        for number in range(3):
            journal.append(answer(journal.keep_book(race_book()), str(number)))
            print(f"noted: {number}")
    return 0


def answer(book: str, name: str) -> Answer:
    return Answer(
        person=f"P{name}", drill="read", session="s", book=book, kind="report", shown="5163JRBT",
        outcome="right",
    )  # fmt: skip


def _answers(folder: Path, told: str) -> tuple[int, int]:
    said = [line.removeprefix("noted: ") for line in told.splitlines() if "noted: " in line]
    with DrillJournal(folder / "d.niner") as journal:
        people = list(journal.people())
    return len(said) + 1, sum(f"P{one}" not in people for one in [*said, "before"])


def _imported(folder: Path, told: str) -> tuple[int, int]:
    with contextlib.suppress(CodeError), Journal(folder / "new.sheet") as journal:
        assert journal.faults() == []
        assert not told.startswith("written: ") or len(journal) > 50
    return _sheet_stays(folder, "")


def _import(folder: Path) -> int:
    crews = ["--car", "7=Ilse Marrow,Quill", "--car", "61=Teo Vash,Denn"]
    return _niner(
        "sheet", "import", folder / "new.sheet", EVENT / "radio.vtt", "--book", RACE, *crews
    )


def _rescued(folder: Path, _: str) -> tuple[int, int]:
    return _sheet_stays(folder, "")


COMMANDS = {
    "log": Command(_log, _sheet_stays),
    "log, new sheet": Command(_new_log, lambda folder, told: _kept(folder, "fresh.sheet", told)),
    "sheet import": Command(_import, _imported),
    "sheet export csv": _export("csv"),
    "sheet export jsonl": _export("jsonl"),
    "sheet export xlsx": _export("xlsx"),
    "sheet rescue": Command(
        lambda folder: _niner("sheet", "rescue", folder / "event.sheet", folder / "saved.sheet"),
        _rescued,
    ),
    "drill answers": Command(_drill, _answers),
    "book key": _replaced(
        "k.toml", "book", "key", ROOT / "examples" / "starter" / "starter.toml", "--event", "Port",
        "--secret-file", "FOLDER/secret", "--out",
    ),
    "book export": Command(
        lambda folder: _niner("book", "export", RACE, "csv", "--out", folder / "out", "--replace"),
        lambda folder, _: (1, int(not (folder / "out").is_dir())),
    ),
}  # fmt: skip


def prepared(folder: Path) -> None:
    """Make what the commands write to, with something in it that must stay."""
    folder.mkdir(parents=True)
    (folder / "old").mkdir()
    (folder / "out").mkdir()
    with new(folder / "old") as old:
        old.append(report())
        for form in ("csv", "jsonl", "xlsx"):
            export(old, folder / f"e.{form}")
    with new(folder) as journal:
        journal.append(Entry(kind="car", car="7", message="Ana"))
        journal.append_all(Entry(kind="note", heard="before") for _ in range(3))
    with DrillJournal(folder / "d.niner", create=True) as drills:
        drills.append(answer(drills.keep_book(race_book()), "before"))
    (folder / "k.toml").write_text("old\n")
    draw(folder / "secret")


def once(
    command: Command, folder: Path, at: int, error: int, *, stay: bool
) -> tuple[int, int, str]:
    """Run a command in a child whose disk fails; return its exit code (99 for an error that is none
    of ours), the number of calls, and what it said.
    """
    told = folder.with_suffix(".told")
    child = os.fork()
    if child == 0:
        code, calls = 99, 0
        with told.open("w") as out:
            sys.stdout = sys.stderr = out
            DISK.failing_disk(str(folder).encode(), ctypes.c_long(at), error, int(stay))
            try:
                code = command.run(folder)
            except CodeError:
                code = 2  # as the command line has it
            except BaseException:  # noqa: BLE001 - it is told, and is a finding
                traceback.print_exc()
            calls = DISK.failing_disk_calls()
            DISK.failing_disk(b"", ctypes.c_long(-1), 0, 0)
            out.write(f"\ncalls {calls}\n")
        os._exit(code)
    code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    said, whole, last = told.read_text("utf-8").rpartition("\ncalls ")
    return (code, int(last), said) if whole else (code or 99, 0, last)


def attacked(command: Command, base: Path, most: int) -> Outcome:
    """Let the disk fail at each place of a command in turn."""
    found, template, folder = Outcome(), base / "template", base / "run"
    shutil.copytree(template, folder)
    code, found.places, said = once(command, folder, -1, 0, stay=False)
    assert code in (0, 1), said
    assert found.places, "the disk is not asked: is the library preloaded?"
    step = max(1, -(-found.places // most))
    for at in range(0, found.places, step):
        for name, error in ERRORS.items():
            for stay in (False, True):
                shutil.rmtree(folder)
                shutil.copytree(template, folder)
                code, _, said = once(command, folder, at, error, stay=stay)
                found.runs += 1
                found.refused += code == 2
                try:
                    assert code in (0, 1, 2), said[-600:]
                    assert "Traceback" not in said, said[-600:]
                    acknowledged, lost = command.lost(folder, said)
                    found.acknowledged += acknowledged
                    found.lost += lost
                except (AssertionError, CodeError, OSError) as wrong:
                    found.wrong.append(f"at {at}, {name}, stay {stay}: {wrong}"[:700])
    shutil.rmtree(folder)
    return found


def run(base: Path, most: int, names: list[str]) -> dict[str, object]:
    """Attack the commands; return what came of each."""
    prepared(base / "template")
    found: dict[str, object] = {}
    for name in names or COMMANDS:
        found[name] = asdict(attacked(COMMANDS[name], base, most))
        print(json.dumps({name: found[name]}), file=sys.stderr, flush=True)
    return found


if __name__ == "__main__":
    print(json.dumps(run(Path(sys.argv[1]), int(sys.argv[2]), sys.argv[3:])))
