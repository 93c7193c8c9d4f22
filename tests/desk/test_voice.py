"""What is said into a page's microphone is heard at the desk and offered, and kept nowhere."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from desk.support import NAME, desk, line, sheet_at
from helpers import first_short
from voice.spoken import RATE, REPORT, TALK, spoken

from codec.desk import hearing
from codec.desk.access import COOKIE, Links, Role
from codec.sheet import Journal


def sent(samples: Any) -> bytes:
    """Return samples as a page sends them, with a little silence around."""
    pause = np.zeros(RATE // 4)
    whole = np.concatenate([pause, samples, pause])
    return bytes((whole * 32_767).astype("<i2").tobytes())


def test_a_report_that_is_said_is_offered_and_written_when_it_is_taken(tmp_path: Path) -> None:
    path = sheet_at(tmp_path)
    with desk(path) as client:
        assert client.get("/hear/race").json() == {"ready": True}
        told = client.post(f"/hear/race?car=7&rate={RATE}", content=sent(spoken(REPORT))).json()
        assert (told["string"], told["words"], told["tone"]) == ("4183HZ2", REPORT, "good")
        with Journal(path) as journal:
            assert len(journal) == 2  # what was offered is not written
        client.post("/enter/race", json=line(told["surely"]))
        with Journal(path) as journal:
            entry = list(journal.entries())[-1]
        assert (entry.string, entry.car, entry.note) == ("4183HZ2", "7", "by voice")
        again = client.post(f"/hear/race?car=7&rate={RATE}", content=sent(spoken(REPORT))).json()
        assert again["lines"] == ["in the sheet already"]
        assert "take" not in again
    kept = [one.name for one in tmp_path.rglob("*") if one.is_file()]
    assert all(name.startswith("race.sheet") for name in kept), kept


def test_talk_and_silence_are_told_and_nothing_is_offered(tmp_path: Path) -> None:
    with desk(sheet_at(tmp_path)) as client:
        for samples, words in ((spoken(TALK), True), (np.zeros(RATE), False)):
            told = client.post(f"/hear/race?car=7&rate={RATE}", content=sent(samples)).json()
            assert bool(told["words"]) == words
            assert "take" not in told


@pytest.mark.parametrize(
    ("query", "content", "status", "words"),
    first_short(
        [
            ("car=7&rate=22050", b"", 400, "there is no sound"),
            ("car=7&rate=22050", bytes(hearing.MOST_SOUND + 2), 413, "bytes"),
            ("car=7", b"\0\0", 400, "samples a second"),
            ("car=7&rate=7", b"\0\0", 400, "samples a second"),
            ("car=7&rate=x", b"\0\0", 400, "rate"),
        ],
        2,
    ),
)
def test_what_is_no_sound_is_refused_in_words(
    tmp_path: Path, query: str, content: bytes, status: int, words: str
) -> None:
    with desk(sheet_at(tmp_path)) as client:
        answer = client.post(f"/hear/race?{query}", content=content)
        assert answer.status_code == status
        assert words in answer.text


def test_too_much_at_once_is_refused_and_said_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(hearing, "_MOST_WAITING", 0)
    with desk(sheet_at(tmp_path)) as client:
        answer = client.post("/hear/race?car=7&rate=8000", content=bytes(800))
        assert (answer.status_code, answer.json()["kind"]) == (400, "busy")


def test_only_those_who_write_are_heard_and_only_the_wall_may_use_a_microphone(
    tmp_path: Path,
) -> None:
    """The header is that of "Permissions Policy" (W3C): ``()`` is nobody, ``(self)`` the page."""
    path, links = sheet_at(tmp_path), Links(tmp_path / "links")
    with desk(path, links, NAME) as client:
        for role, status in ((Role.WATCH, 403), (Role.DRILL, 403), (Role.WRITE, 400)):
            client.cookies.set(COOKIE, links.tokens[role])
            answer = client.post("/hear/race?car=7&rate=8000", content=b"")
            assert answer.status_code == status, role
        assert "microphone=(self)" in client.get("/wall/race").headers["permissions-policy"]
        for place in ("watch/race", "history/race", "", "static/desk.css", "nowhere"):
            policy = client.get(f"/{place}").headers["permissions-policy"]
            assert "microphone=()" in policy, place
            assert "camera=()" in policy, place
        page = client.get("/wall/race").text
    assert "no sound is kept" in page
