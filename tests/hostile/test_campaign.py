"""The short run of the campaign: kills, fuzz of every reader, a disk that fails at each write; and
what once failed. The long runs are by hand: kills.py, fuzzing.py and faults.py.
"""

from __future__ import annotations

import contextlib
import itertools
import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pytest
from hostile import mirror_kills, server_kills
from hostile.readers import READERS, attempt, mutated, seeds
from hypothesis import HealthCheck, given, settings, target
from hypothesis import strategies as st
from programs import program
from servers import Server
from sheet.support import ROOT, race_book

from codec.sheet import Entry, Journal, SheetError
from codec.sheet.journal import sheet_format
from codec.sheet.mirror import Mirror
from codec.store.place import ServerPlace
from codec.store.server.setting_up import set_up

CORPUS = sorted((Path(__file__).parent / "corpus").iterdir())
SLOW, UNIT = 2.0, 100_000  # seconds of processor time for so many bytes
# a transcript may be doubtful in every line, and each is heard then: some 20 ms
SLOW_TALK = dict.fromkeys(("text", "jsonl", "webvtt", "srt"), 2 * SLOW)
ENVIRONMENT = {**os.environ, "PYTHONPATH": f"{ROOT / 'tests'}{os.pathsep}{ROOT}"}


def within_bounds(reader: str, data: bytes, folder: Path) -> str:
    begin = time.process_time()
    told = attempt(reader, data, folder)
    taken = (time.process_time() - begin) / max(1.0, len(data) / UNIT)
    assert taken < SLOW_TALK.get(reader, SLOW), f"{taken:.1f} s for 100 kB"
    target(taken, label="seconds")
    return told


@pytest.mark.parametrize("reader", READERS)
def test_what_is_sound_is_read(reader: str, tmp_path: Path) -> None:
    assert attempt(reader, seeds()[reader][0], tmp_path) == "read"


@pytest.mark.parametrize("path", CORPUS, ids=lambda path: path.name)
def test_what_once_failed_is_read_or_refused(path: Path, tmp_path: Path) -> None:
    begin = time.process_time()
    attempt(path.name.partition("-")[0], path.read_bytes(), tmp_path)
    assert time.process_time() - begin < SLOW * max(1.0, path.stat().st_size / UNIT)


@pytest.mark.slow
@pytest.mark.parametrize("reader", READERS)
@settings(
    max_examples=40,
    deadline=None,
    suppress_health_check=[*HealthCheck],
)
@given(chance=st.randoms(use_true_random=False), choice=st.integers(0, 5))
def test_any_changed_file_is_read_or_refused(
    reader: str, tmp_path_factory: pytest.TempPathFactory, chance: object, choice: int
) -> None:
    import random

    assert isinstance(chance, random.Random)
    known = seeds()[reader]
    folder = tmp_path_factory.mktemp("fuzz")
    within_bounds(reader, mutated(reader, known[choice % len(known)], chance), folder)


@pytest.mark.slow
def test_nothing_acknowledged_is_lost_when_programs_are_killed(tmp_path: Path) -> None:
    script = Path(__file__).with_name("kills.py")
    done = subprocess.run(
        [sys.executable, script, tmp_path / "kills", "40"],
        capture_output=True, text=True, check=True, timeout=600, env=ENVIRONMENT,
    )  # fmt: skip
    told = {name: facts for line in done.stdout.splitlines() for name, facts in _facts(line)}
    assert len(told) == 7
    for facts in told.values():
        assert facts["acknowledged"] > 0
        assert (facts["lost"], facts["twice"]) == (0, 0), told


def _facts(line: str) -> list[tuple[str, dict[str, int]]]:
    return list(json.loads(line).items()) if line.startswith("{") else []


def failing_disk(folder: Path) -> Path:
    library = folder / "failing_disk.so"
    source = Path(__file__).with_name("failing_disk.c")
    subprocess.run([program("gcc"), "-shared", "-fPIC", "-o", library, source, "-ldl"], check=True)
    return library


@pytest.mark.slow
def test_nothing_acknowledged_is_lost_when_the_disk_fails_at_any_write(tmp_path: Path) -> None:
    library = failing_disk(tmp_path)
    script = Path(__file__).with_name("faults.py")
    done = subprocess.run(
        [sys.executable, script, tmp_path / "faults", "4"],
        capture_output=True, text=True, check=True, timeout=600,
        env={**ENVIRONMENT, "LD_PRELOAD": str(library)},
    )  # fmt: skip
    for name, facts in json.loads(done.stdout).items():
        assert (name, facts["lost"], facts["wrong"]) == (name, 0, [])
        assert facts["refused"] > 0


@pytest.mark.slow
def test_nothing_acknowledged_is_lost_when_a_server_is_killed() -> None:
    told = server_kills.campaign(6)
    assert told["acknowledged"] > 0
    assert (told["lost"], told["twice"], told["gaps"]) == (0, 0, False), told
    assert (told["out of order"], told["faults"]) == ([], [])


@pytest.mark.slow
def test_nothing_acknowledged_is_lost_when_the_disk_of_a_server_is_full(tmp_path: Path) -> None:
    with tempfile.TemporaryDirectory() as shared:  # the server has a user of its own
        Path(shared).chmod(0o755)
        server = Server(failing_disk(Path(shared)))
        try:
            shared_sheet = ServerPlace(server.database("races"), "event")
            set_up(ServerPlace(shared_sheet.address), [sheet_format()])
            acknowledged = _until_full(server, shared_sheet, tmp_path / "own.sheet")
            server.kill()
            server.start()
            with Journal(shared_sheet) as journal:
                assert journal.faults() == []
                assert {entry.uid for entry in journal.entries()} == acknowledged
        finally:
            server.remove()


def _until_full(server: Server, place: ServerPlace, own: Path) -> set[str]:
    """Write directly and by a mirror until the disk is full, and on when there is room again;
    return the names of what was acknowledged.
    """
    note = Entry(kind="note", heard="x" * 400)
    with (
        Journal(place, race_book()) as journal,
        contextlib.closing(Mirror(own, place, "track")) as mirror,
        Journal(own) as at_track,
    ):
        acknowledged = {journal.append(note).uid}
        server.full.touch()
        with pytest.raises(SheetError, match="not written: could not extend file") as caught:
            acknowledged.update(journal.append(note).uid for _ in itertools.count())
        assert caught.value.kind == "sheet-full"
        assert "make room there, then enter it again" in caught.value.hint
        acknowledged.add(at_track.append(note).uid)  # a desk with a file of its own goes on
        for _ in range(2):
            with pytest.raises(SheetError, match="could not extend file"):
                mirror.step()
        with pytest.raises(SheetError, match="could not extend file"):
            journal.append(note)
        assert {entry.uid for entry in journal.entries()} <= acknowledged  # it is read meanwhile
        server.full.unlink()
        mirror.step()
        acknowledged.add(journal.append(note).uid)
        return acknowledged


@pytest.mark.slow
def test_a_desk_killed_while_it_hands_over_ends_with_the_same_sheet() -> None:
    told = mirror_kills.campaign(5)
    assert told["acknowledged"] > 0
    assert (told["lost"], told["twice"], told["the same"], told["faults"]) == (0, 0, True, [])
