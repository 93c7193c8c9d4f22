"""What was acknowledged stays: through kills, a full disk, a file that may only be read, and
damage.
"""

from __future__ import annotations

import contextlib
import json
import os
import random
import resource
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from sheet.support import ROOT, new, race_book, report

from codec.sheet import Entry, Journal, SheetError
from codec.store.rescue import facts_in, rescue, save
from grammar.errors import CodeError

KILLS = 200


def test_killed_at_random_while_two_writers_log(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    script = Path(__file__).with_name("killing.py")
    done = subprocess.run(
        [sys.executable, script, tmp_path / "event.sheet", str(KILLS), "7"],
        capture_output=True, text=True, check=True, timeout=120,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    told = json.loads(done.stdout)
    with capsys.disabled():
        print(
            f"\n  {told['rounds']} kills: {told['acknowledged']} acknowledged, {told['lost']} lost,"
            f" {told['twice']} there twice"
        )
    assert told["rounds"] == KILLS
    assert told["acknowledged"] > KILLS
    assert told["writers"] == ["one", "two"]
    assert (told["lost"], told["twice"], told["faults"]) == (0, 0, [])


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


def damaged_sheet(path: Path, count: int = 400) -> list[Entry]:
    with new(path) as journal:
        return journal.append_all(
            Entry(kind="note", lap=n, heard=f"entry {n} " + "long " * (n % 40 * 50))
            for n in range(1, count + 1)
        )


def told_of(path: Path) -> str:
    """Return the kind of the error that a damaged sheet gives, or what its faults are."""
    try:
        with Journal(path) as journal:
            faults = journal.faults()
            list(journal.entries())
            return "sheet-damaged" if faults else "sound"
    except SheetError as error:
        return error.kind if "niner sheet rescue" in error.hint else "no way out is told"


@pytest.mark.parametrize("seed", range(6))
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
    assert facts_in(path) == {}
    assert list(rescue(path, race_book().fields).entries) == entries


def test_one_changed_letter_is_noticed(tmp_path: Path) -> None:
    damaged_sheet(tmp_path, 5)
    path = tmp_path / "event.sheet"
    path.write_bytes(path.read_bytes().replace(b"entry 3 ", b"entry 8 "))
    with Journal(path) as journal:
        assert journal.faults() == ["the sheet is damaged: entry 3 is not as it was written"]
        with pytest.raises(SheetError, match="entry 3 is not as it was written"):
            list(journal.entries())
    assert rescue(path, race_book().fields).missing == (3,)


@pytest.mark.parametrize("seed", range(40))
def test_any_damage_gives_an_error_of_ours_or_true_entries(tmp_path: Path, seed: int) -> None:
    entries = {entry.seq: entry for entry in damaged_sheet(tmp_path, 30)}
    path = tmp_path / "event.sheet"
    data = bytearray(path.read_bytes())
    chance = random.Random(seed)
    for _ in range(chance.choice([1, 5, 300])):
        data[chance.randrange(len(data))] = chance.randrange(256)
    path.write_bytes(data[: chance.choice([len(data), len(data) // 2, 5000])])
    with contextlib.suppress(CodeError), Journal(path) as journal:
        journal.faults()
        assert all(entries[entry.seq] == entry for entry in journal.entries())
    assert all(entries[entry.seq] == entry for entry in rescue(path, race_book().fields).entries)
