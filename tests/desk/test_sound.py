"""The desk plays what an entry was heard in, to those who write, and opens nothing else."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
import soundfile
from desk.support import NAME, desk, sheet_at

from codec.desk.access import COOKIE, Links, Role
from codec.sheet import Entry, Journal


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    """A sheet with a recording beside it, and entries that name that and other files."""
    folder = tmp_path / "event"
    folder.mkdir()
    path = sheet_at(folder)
    sound = 0.1 * np.sin(np.arange(80_000) / 3)
    for place in (folder / "radio.wav", tmp_path / "private.wav"):
        soundfile.write(place, sound, 8000)
    names = ["radio.wav", "../private.wav", str(tmp_path / "private.wav"), "race.sheet", "gone.wav"]
    with Journal(path) as journal:
        for name in names:
            journal.append(Entry(kind="note", car="7", heard="copy", sound=f"{name}#t=2,4"))
    return path


def test_what_an_entry_was_heard_in_is_a_sound_file_of_that_stretch(sheet: Path) -> None:
    with desk(sheet) as client:
        answer = client.get("/sound/race?entry=3")
        assert answer.headers["content-type"] == "audio/wav"
        assert answer.headers["cache-control"] == "no-store"
        assert soundfile.info(io.BytesIO(answer.content)).duration == pytest.approx(2.6, abs=0.01)
        page = client.get("/history/race").text
    assert 'aria-label="play entry 3"' in page
    assert 'aria-label="play entry 1"' not in page


def test_no_other_file_gets_out_whatever_an_entry_says(sheet: Path) -> None:
    with desk(sheet) as client:
        for number in (4, 5, 6, 7):
            answer = client.get(f"/sound/race?entry={number}")
            assert answer.status_code == 400, number
            assert "is not here" in answer.text or "is no recording" in answer.text
            assert str(sheet.parent.parent) not in answer.text or number == 5  # what the entry says
        for number in (1, 99, -1):
            assert client.get(f"/sound/race?entry={number}").status_code == 400


def test_only_those_who_write_hear_it(sheet: Path, tmp_path: Path) -> None:
    links = Links(tmp_path / "links")
    with desk(sheet, links, NAME) as client:
        for role, status in ((Role.WATCH, 403), (Role.DRILL, 403), (Role.WRITE, 200)):
            client.cookies.set(COOKIE, links.tokens[role])
            assert client.get("/sound/race?entry=3").status_code == status, role
            shown = "play entry" in client.get("/history/race").text
            assert shown == (role is Role.WRITE)
