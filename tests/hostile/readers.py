"""Every reader of niner as a target of fuzzing: bytes in, an answer or an error of ours out.

A file of several parts (a workbook, a CSV and its schema) is written as one text: each part behind
a line ``--- part NAME``, so that a change hits what is within, and not only the packing.
"""

from __future__ import annotations

import functools
import io
import random
import re
import shutil
import tempfile
import zipfile
from collections.abc import Callable
from pathlib import Path

from sheet.support import ROOT, new, race_book, report

from codec import load_book
from codec.debrief.recorded import read_car_file
from codec.decoding import decode_all
from codec.drill import Answer, DrillJournal
from codec.profile import load_profile
from codec.race import load_event
from codec.radio.crews import crews_of
from codec.radio.importing import bounded, drafts
from codec.radio.laps import LapTimes
from codec.radio.listener import Listener
from codec.sheet import Entry, Journal
from codec.sheet.exports import export, read_export
from codec.sheet.journal import check
from codec.wheel import load_wheel
from grammar.design.needs import load_needs
from grammar.errors import CodeError

EXAMPLES = ROOT / "examples"
PART = b"--- part "
_SEEDED = 12_000  # bytes of an example of talk that are begun with
CREWS = ["7=Ilse Marrow,Quill", "61=Teo Vash,Denn"]
HOSTILE = [
    b"", b"\0", b"\xff", b"\xef\xbb\xbf", b"\r", b"\n", b"\x1b]0;own\x07", "\u202e".encode(),
    b"9" * 400, b"1e999999999", b"-1", b"NaN", b"inf", b"0x10", b"'", b'"', b"[" * 200, b"{" * 200,
    b"(" * 200, b"<" * 50, b"&b;", b"<!DOCTYPE x>", b"a" * 5000, b"99999999999999:00:01,000",
    b"-->", b"true", b"null", b"9007199254740993", "٣".encode(), b"=cmd()", b"{}", b"[]",
]  # fmt: skip
Reader = Callable[[Path], object]


def _drained(path: Path) -> int:
    read = read_export(path)
    return 0 if read is None else sum(1 for _ in read[1])


def _talk(form: str) -> Reader:
    def read(path: Path) -> int:
        listener = Listener(race_book(), crews_of(CREWS))
        with path.open("rb") as stream:
            return sum(1 for _ in drafts(listener, bounded(stream), form))

    return read


def _sheet(path: Path) -> int:
    faults = len(check(path))
    with Journal(path) as journal:
        return faults + sum(1 for _ in journal.entries())


def _journal(path: Path) -> int:
    with DrillJournal(path) as journal:
        for person in journal.people():
            list(journal.answers(person))
        return len(list(journal.answers()))


def _laps(path: Path) -> object:
    with path.open("rb") as lines:
        return LapTimes.read(bounded(lines), path.name)


def _report(path: Path) -> object:
    return decode_all(race_book(), path.read_bytes().decode("utf-8", "replace"))


READERS: dict[str, tuple[str, Reader]] = {  # what the file is called, and what reads it
    "book": ("b.toml", load_book),
    "event": ("e.toml", lambda path: load_event(path, race_book())),
    "wheel": ("w.toml", load_wheel),
    "needs": ("n.toml", load_needs),
    "profile": ("p.json", load_profile),
    "report": ("r.txt", _report),
    "text": ("t.txt", _talk("text")),
    "jsonl": ("t.jsonl", _talk("jsonl")),
    "webvtt": ("t.vtt", _talk("vtt")),
    "srt": ("t.srt", _talk("srt")),
    "csv": ("x.csv", _drained),
    "export": ("x.jsonl", _drained),
    "xlsx": ("x.xlsx", _drained),
    "sheet": ("s.sheet", _sheet),
    "drill": ("d.niner", _journal),
    "laps": ("l.csv", _laps),
    "car": ("c.csv", lambda path: read_car_file(path, race_book())),
}


def attempt(name: str, data: bytes, folder: Path) -> str:
    """Read data as a file of this name's kind; return "read" or the kind of the error of ours. Any
    other error is raised.
    """
    file, read = READERS[name]
    for path in folder.iterdir():
        path.unlink()
    path = folder / file
    if name == "csv":
        rows, _, schema = data.partition(PART + b"schema\n")
        path.write_bytes(rows)
        path.with_suffix(".schema.json").write_bytes(schema)
    else:
        path.write_bytes(packed(data) if name == "xlsx" else data)
    try:
        read(path)
    except CodeError as error:
        str(error)
        return error.kind
    return "read"


def packed(data: bytes) -> bytes:
    """Return the archive of parts written as one text; what has no parts stays as it is."""
    found = re.split(rb"(?m)^" + PART + rb"(.{1,80})\n", data)
    if len(found) < 3:
        return data
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        parts = dict(zip(found[1::2], found[2::2], strict=True))
        for name, part in parts.items():
            archive.writestr(name.decode("latin-1"), part.removesuffix(b"\n"))
    return stream.getvalue()


def unpacked(data: bytes) -> bytes:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        parts = [PART + name.encode() + b"\n" + archive.read(name) for name in archive.namelist()]
    return b"\n".join(parts)


@functools.cache
def seeds() -> dict[str, list[bytes]]:
    """Return files that are sound, for every reader."""
    examples = {
        "book": ["race/race.toml", "starter/starter.toml", "qualifying/qualifying.toml"],
        "event": ["race/event.toml"], "wheel": ["event/wheel.toml"], "needs": ["design/needs.toml"],
        "profile": ["drill/ana.json"], "text": ["event/radio.txt"], "jsonl": ["event/radio.jsonl"],
        "webvtt": ["event/radio.vtt"], "srt": ["event/radio.srt"], "laps": ["event/lap-times.csv"],
        "car": ["event/car-7.csv"],
    }  # fmt: skip
    talk = ("text", "jsonl", "webvtt", "srt")
    found = {
        name: [
            (EXAMPLES / file).read_bytes()[: _SEEDED if name in talk else None] for file in files
        ]
        for name, files in examples.items()
    }
    found["report"] = [b"five one six three juliett romeo bravo tango", b"5163JRBT CORRECTION 4"]
    folder = Path(tempfile.mkdtemp())
    try:
        return found | _made(folder)
    finally:
        shutil.rmtree(folder)


def _made(folder: Path) -> dict[str, list[bytes]]:
    with new(folder) as journal:
        journal.append_all([*(report() for _ in range(6)), Entry(kind="note", heard="=cmd()")])
        for form in ("csv", "jsonl", "xlsx"):
            export(journal, folder / f"e.{form}")
    with DrillJournal(folder / "d.niner", create=True) as drills:
        book = drills.keep_book(race_book())
        for person in ("Ana", "Ben"):
            drills.append(
                Answer(
                    person=person, drill="read", session="s", book=book, kind="report",
                    shown="5163JRBT", outcome="right", first=1.5,
                )
            )  # fmt: skip
    schema = (folder / "e.schema.json").read_bytes()
    return {
        "csv": [(folder / "e.csv").read_bytes() + PART + b"schema\n" + schema],
        "export": [(folder / "e.jsonl").read_bytes()],
        "xlsx": [unpacked((folder / "e.xlsx").read_bytes()), (folder / "e.xlsx").read_bytes()],
        "sheet": [(folder / "event.sheet").read_bytes()],
        "drill": [(folder / "d.niner").read_bytes()],
    }


@functools.cache
def tokens(name: str) -> list[bytes]:
    """Return what stands in the sound files of a reader: words, numbers and marks."""
    found: set[bytes] = set()
    for data in seeds()[name]:
        found.update(re.findall(rb"[A-Za-z_]+|[0-9.:]+|[^\sA-Za-z0-9_]{1,3}", data[:60_000]))
    return sorted(found)


def mutated(name: str, data: bytes, chance: random.Random) -> bytes:
    """Return data with a few changes that keep most of its structure: tokens and lines of sound
    files put in, taken out, doubled and moved; numbers and bytes changed.
    """
    for _ in range(chance.randint(1, 6)):
        data = _CHANGES[chance.randrange(len(_CHANGES))](name, data, chance)
    return data[:400_000]


def _token(name: str, data: bytes, chance: random.Random) -> bytes:
    """Put a token in the place of another."""
    there = [match.span() for match in re.finditer(rb"[A-Za-z_]+|[0-9.:]+|[^\sA-Za-z0-9_]", data)]
    start, end = there[chance.randrange(len(there))] if there else (0, 0)
    known = HOSTILE if chance.randrange(2) else tokens(name)
    return data[:start] + known[chance.randrange(len(known))] + data[end:]


def _lines(_: str, data: bytes, chance: random.Random) -> bytes:
    """Take out, double or move a line."""
    lines = data.splitlines(keepends=True) or [b""]
    here, there = chance.randrange(len(lines)), chance.randrange(len(lines))
    line = lines[here] if chance.randrange(2) else lines.pop(here)
    lines[there:there] = [line] * chance.randint(0, 2)
    return b"".join(lines)


def _bytes(_: str, data: bytes, chance: random.Random) -> bytes:
    place = chance.randrange(len(data) + 1)
    new_bytes = bytes(chance.randrange(256) for _ in range(chance.randint(0, 4)))
    return data[:place] + new_bytes + data[place + chance.randint(0, 4) :]


def _splice(name: str, data: bytes, chance: random.Random) -> bytes:
    """Put a stretch of a sound file somewhere."""
    known = seeds()[name]
    other = known[chance.randrange(len(known))]
    start = chance.randrange(len(other) + 1)
    place = chance.randrange(len(data) + 1)
    return data[:place] + other[start : start + chance.randint(1, 300)] + data[place:]


def _cut(_: str, data: bytes, chance: random.Random) -> bytes:
    return data[: chance.randrange(len(data) + 1)] if not chance.randrange(8) else data


_CHANGES = (_token, _token, _token, _lines, _bytes, _splice, _cut)
