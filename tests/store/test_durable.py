"""What was acknowledged stays: through kills, a full disk, a file that may only be read, and
damage.
"""

from __future__ import annotations

import contextlib
import functools
import json
import os
import random
import resource
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from helpers import first_short
from sheet.support import ROOT, new, race_book, report

from codec.sheet import Entry, Journal, SheetError
from codec.sheet.journal import check
from codec.sheet.rescue import Rescued, rescue, rescue_book, save
from grammar.errors import CodeError


@pytest.mark.slow
@pytest.mark.parametrize("kills", [50, pytest.param(200, marks=pytest.mark.slow)])
def test_killed_at_random_while_two_writers_log(
    kills: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    script = Path(__file__).with_name("killing.py")
    done = subprocess.run(
        [sys.executable, script, tmp_path / "event.sheet", str(kills), "7"],
        capture_output=True, text=True, check=True, timeout=120,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    told = json.loads(done.stdout)
    with capsys.disabled():
        print(
            f"\n  {told['rounds']} kills: {told['acknowledged']} acknowledged, {told['lost']} lost,"
            f" {told['twice']} there twice"
        )
    assert told["rounds"] == kills
    assert told["acknowledged"] > kills
    assert told["writers"] == ["one", "two"]
    assert (told["lost"], told["twice"], told["faults"]) == (0, 0, [])


def test_a_file_that_is_tidied_later_holds_what_was_acknowledged(tmp_path: Path) -> None:
    path = tmp_path / "event.sheet"
    log = path.with_name("event.sheet-wal")
    with new(tmp_path) as journal:
        journal.append(report())
        assert log.stat().st_size == 0
        journal.tidy_later()
        journal.append(report())
        assert log.stat().st_size > 0
        with Journal(path) as other:  # as a program does that begins after this one was killed
            assert other.last == 2
        journal.tidy()
        assert log.stat().st_size == 0
    assert check(path) == []


def in_a_child(act: Callable[[], str]) -> str:
    """Return what ``act`` returns in a process of its own, which may give up its rights."""
    mine, theirs = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.write(theirs, act().encode())
        except BaseException as error:  # noqa: BLE001 - whatever it is, the parent is told
            os.write(theirs, repr(error).encode())
        finally:
            os._exit(0)
    os.close(theirs)
    with os.fdopen(mine, "rb") as pipe:
        told = pipe.read().decode()
    os.waitpid(child, 0)
    return told


def test_a_full_disk_says_so_and_loses_nothing_earlier(tmp_path: Path) -> None:
    journal = new(tmp_path)
    journal.close()

    def fill() -> str:
        resource.setrlimit(resource.RLIMIT_FSIZE, (300_000, 300_000))
        with Journal(tmp_path / "event.sheet") as journal:
            for count in range(1000):
                try:
                    journal.append(Entry(kind="note", heard="x" * 2000))
                except SheetError as error:
                    return f"{count} {len(journal)} {error.kind} {error}"
        return "never full"

    count, there, kind, *text = in_a_child(fill).split()
    assert kind == "sheet-full"
    assert "all earlier entries are kept" in " ".join(text)
    assert int(count) > 10
    with Journal(tmp_path / "event.sheet") as journal:
        assert len(journal) == int(count) == int(there)
        assert journal.faults() == []
        journal.append(report())  # there is room again
        assert len(journal) == int(count) + 1


def test_a_sheet_on_a_full_disk_is_shown_and_says_why_it_is_not_written(
    tmp_path: Path,
) -> None:
    with new(tmp_path) as journal:
        journal.append(report())

    def look() -> str:
        resource.setrlimit(resource.RLIMIT_FSIZE, (1, 1))  # no file gets any room
        with Journal(tmp_path / "event.sheet") as journal:
            count = len(list(journal.entries()))
            try:
                journal.append(report())
            except SheetError as error:
                return f"{count} {journal.writable} {error.kind}"
        return "written"

    assert in_a_child(look) == "1 False sheet-full"
    with Journal(tmp_path / "event.sheet") as journal:
        assert journal.append(report()).seq == 2


@pytest.fixture
def readable() -> Iterator[Path]:
    """A folder that other users may look into."""
    folder = Path(tempfile.mkdtemp())
    yield folder
    folder.chmod(0o755)
    shutil.rmtree(folder)


@pytest.mark.parametrize("closed", [True, False], ids=["closed", "with a log beside it"])
def test_a_file_that_may_only_be_read_is_shown_and_not_written(
    readable: Path, closed: bool
) -> None:
    journal = new(readable)
    journal.append(report())
    if closed:
        journal.close()
    for path in readable.iterdir():
        path.chmod(0o444)
    readable.chmod(0o555)

    def look() -> str:
        if os.getuid() == 0:
            os.setuid(65534)
        with Journal(readable / "event.sheet") as journal:
            count = len(list(journal.entries()))
            try:
                journal.append(report())
            except SheetError as error:
                return f"{count} {journal.writable} {error.kind}"
        return "written"

    assert in_a_child(look) == "1 False sheet-read-only"
    journal.close()


@functools.cache
def sound_sheet(count: int) -> tuple[bytes, list[Entry]]:
    """Return a sheet of long notes, and what stands in it."""
    with tempfile.TemporaryDirectory() as folder:
        with new(Path(folder)) as journal:
            entries = journal.append_all(
                Entry(kind="note", lap=n, heard=f"entry {n} " + "long " * (n % 40 * 50))
                for n in range(1, count + 1)
            )
        return (Path(folder) / "event.sheet").read_bytes(), entries


def damaged_sheet(path: Path, count: int = 400) -> list[Entry]:
    """Put a sheet there that is to be damaged; return what stands in it."""
    data, entries = sound_sheet(count)
    (path / "event.sheet").write_bytes(data)
    return entries


def told_of(path: Path) -> str:
    """Return the kind of the error that a damaged sheet gives, or what its faults are."""
    try:
        with Journal(path) as journal:
            faults = journal.faults()
            list(journal.entries())
            return "sheet-damaged" if faults else "sound"
    except SheetError as error:
        return error.kind if "niner sheet rescue" in error.hint else "no way out is told"


@pytest.mark.parametrize("seed", first_short(range(6), 2))
def test_damaged_pages_are_told_and_the_rest_is_saved(tmp_path: Path, seed: int) -> None:
    entries = damaged_sheet(tmp_path)
    path = tmp_path / "event.sheet"
    data = bytearray(path.read_bytes())
    chance = random.Random(seed)
    hit = chance.sample(range(3, len(data) // 4096), 3)
    for page in hit:
        data[page * 4096 : (page + 1) * 4096] = chance.randbytes(4096)
    path.write_bytes(data)
    assert told_of(path) == "sheet-damaged"
    found = rescue(path, race_book().fields)
    by_number = {entry.seq: entry for entry in entries}
    assert all(by_number[entry.seq] == entry for entry in found.entries)
    assert {entry.seq for entry in found.entries} | set(found.missing) >= set(
        range(1, max(e.seq for e in found.entries) + 1)
    )
    assert len(found.entries) > len(entries) * 0.8
    (tmp_path / "new").mkdir()
    with new(tmp_path / "new") as saved:
        save(saved, found)
        assert [entry.heard for entry in saved.entries()] == [
            entry.heard for entry in found.entries
        ]


def test_a_sheet_without_its_first_page_is_still_read(tmp_path: Path) -> None:
    entries = damaged_sheet(tmp_path, 50)
    path = tmp_path / "event.sheet"
    path.write_bytes(b"\0" * 4096 + path.read_bytes()[4096:])
    with pytest.raises(SheetError):
        Journal(path)
    found = rescue_book(path)
    assert found is not None
    assert found.spec == race_book().spec
    assert list(rescue(path, race_book().fields).entries) == entries


def test_one_changed_letter_is_noticed(tmp_path: Path) -> None:
    damaged_sheet(tmp_path, 5)
    path = tmp_path / "event.sheet"
    path.write_bytes(path.read_bytes().replace(b"entry 3 ", b"entry 8 "))
    with Journal(path) as journal:
        assert journal.faults() == ["entry 3 is not as it was written"]
        with pytest.raises(SheetError, match="entry 3 is not as it was written"):
            list(journal.entries())
    assert rescue(path, race_book().fields).missing == (3,)


@pytest.mark.parametrize("seed", first_short(range(40), 20))
def test_any_damage_gives_an_error_of_ours_or_every_entry(tmp_path: Path, seed: int) -> None:
    entries = damaged_sheet(tmp_path, 30)
    path = tmp_path / "event.sheet"
    data = bytearray(path.read_bytes())
    chance = random.Random(seed)
    for _ in range(chance.choice([1, 5, 300])):
        data[chance.randrange(len(data))] = chance.randrange(256)
    path.write_bytes(data[: chance.choice([len(data), len(data) // 2, 5000])])
    read_whole_or_refused(path, entries)


@pytest.mark.parametrize("seed", first_short(range(20), 10))
def test_a_page_in_place_of_another_is_told(tmp_path: Path, seed: int) -> None:
    """A misdirected write: every page is sound, and some rows are gone, doubled or out of order."""
    entries = damaged_sheet(tmp_path, 60)
    path = tmp_path / "event.sheet"
    data = bytearray(path.read_bytes())
    here, there = random.Random(seed).sample(range(len(data) // 4096), 2)
    data[here * 4096 : here * 4096 + 4096] = data[there * 4096 : there * 4096 + 4096]
    path.write_bytes(data)
    read_whole_or_refused(path, entries)


def read_whole_or_refused(path: Path, entries: list[Entry]) -> None:
    with contextlib.suppress(CodeError), Journal(path) as journal:
        assert list(journal.entries()) == entries
    by_number = {entry.seq: entry for entry in entries}
    found = rescue(path, race_book().fields).entries
    assert all(by_number[entry.seq] == entry for entry in found)
    book = rescue_book(path)
    assert book is None or book.spec == race_book().spec


def test_a_tail_that_was_cut_off_is_told(tmp_path: Path) -> None:
    entries = damaged_sheet(tmp_path, 60)
    path = tmp_path / "event.sheet"
    with contextlib.closing(sqlite3.connect(path)) as connection:
        connection.execute("DROP TRIGGER entries_last")
        connection.execute("DELETE FROM entries WHERE seq > 57")
        connection.execute(
            "CREATE TRIGGER entries_last BEFORE DELETE ON entries BEGIN SELECT RAISE(ABORT,"
            " 'entries are never deleted'); END"
        )
        connection.commit()
    with Journal(path) as journal:
        assert journal.faults() == ["entries 58 to 60 are missing"]
        with pytest.raises(SheetError, match="entries 58 to 60 are missing"):
            list(journal.entries())
    assert rescue(path, race_book().fields) == Rescued(tuple(entries[:57]), (58, 59, 60))


def test_an_entry_of_another_sheet_is_told(tmp_path: Path) -> None:
    """Its own digest fits: that it follows another entry shows it."""
    (tmp_path / "other").mkdir()
    with new(tmp_path / "other") as other, new(tmp_path) as journal:
        for lap in (3, 4, 5):
            other.append(report(lap=lap))
            journal.append(report(lap=lap))
    with contextlib.closing(sqlite3.connect(tmp_path / "event.sheet")) as connection:
        connection.execute("DROP TRIGGER entries_stay")
        connection.execute("ATTACH ? AS other", (str(tmp_path / "other" / "event.sheet"),))
        connection.execute(
            "UPDATE entries SET (uid, logged, writer, digest, before) = (SELECT uid, logged,"
            " writer, digest, before FROM other.entries WHERE seq = 2) WHERE seq = 2"
        )
        connection.execute(
            "CREATE TRIGGER entries_stay BEFORE UPDATE ON entries BEGIN SELECT RAISE(ABORT,"
            " 'entries are never changed'); END"
        )
        connection.commit()
    assert check(tmp_path / "event.sheet") == [
        "entry 2 does not follow the one before it",
        "entry 3 does not follow the one before it",
    ]
    with Journal(tmp_path / "event.sheet") as journal, pytest.raises(SheetError, match="entry 2"):
        list(journal.entries())


def test_pages_that_lead_back_to_themselves_keep_no_reader_busy(tmp_path: Path) -> None:
    with new(tmp_path) as journal:
        journal.append_all(Entry(kind="note", heard="long " * 5000) for _ in range(40))
    path = tmp_path / "event.sheet"
    data = bytearray(path.read_bytes())
    count = len(data) // 4096
    for number in range(2, count + 1):
        place = (number - 1) * 4096
        if 0 < int.from_bytes(data[place : place + 4], "big") <= count:  # an overflow page
            data[place : place + 4] = number.to_bytes(4, "big")
    path.write_bytes(data)
    begin = time.monotonic()
    assert told_of(path) == "sheet-damaged"
    assert check(path)
    assert rescue(path, race_book().fields).entries == ()
    rescue_book(path)
    assert time.monotonic() - begin < 5


@pytest.mark.parametrize("folder", ["Round #3", "100%41", "a b?c"])
def test_a_rescue_finds_the_book_whatever_the_path(tmp_path: Path, folder: str) -> None:
    (tmp_path / folder).mkdir()
    with new(tmp_path / folder) as journal:
        journal.append(report())
    book = rescue_book(tmp_path / folder / "event.sheet")
    assert book is not None
    assert (book.spec, book.name) == (race_book().spec, race_book().name)


def test_a_rescue_finds_the_book_when_one_copy_is_damaged(tmp_path: Path) -> None:
    """Every copy in turn: each page with a piece of the book's text is overwritten."""
    new(tmp_path).close()
    path = tmp_path / "event.sheet"
    whole = path.read_bytes()
    pages = [whole[place : place + 4096] for place in range(0, len(whole), 4096)]
    hit = [number for number, page in enumerate(pages) if b"kind = " in page]
    assert len(hit) > 2
    for number in hit:
        damaged = [*pages]
        damaged[number] = bytes(4096)
        path.write_bytes(b"".join(damaged))
        book = rescue_book(path)
        assert book is not None
        assert book.spec == race_book().spec
