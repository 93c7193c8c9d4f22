"""Answers read aloud are marked where it is sure what was said; what was said is kept only where
that is wanted, and goes with the person.
"""

from __future__ import annotations

import io
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from commands import called
from desk.support import desk, sheet_at
from desk.test_drills import TABLET, Time, begin, flashed
from sheet.support import race_book
from voice.spoken import RATE, spoken

from codec.desk import drills
from codec.desk.drills import Room, SessionPlan
from codec.drill import DrillError, DrillJournal
from codec.drill.by_voice import read_aloud
from codec.drill.journal import JOURNAL
from codec.hear import Slots
from codec.voice.listening import Recogniser, Transmission
from codec.voice.live import samples
from codec.voice.recordings import flac


def said(text: str, scores: dict[str, float]) -> Transmission:
    """Return what a recogniser tells: log P(string | sound) of some strings, all else unlikely."""

    def score(strings: Any) -> list[float]:
        return [scores.get(string, -50.0) for string in strings]

    return Transmission(0.0, 3.0, text, Slots([{"one": 1.0}], (), score), scores)


def aloud(words: str) -> bytes:
    pause = np.zeros(RATE // 4)
    whole = np.concatenate([pause, spoken(words.replace("x-ray", "x ray")), pause])
    return bytes((whole * 32_767).astype("<i2").tobytes())


def heard(words: str) -> Transmission:
    return Recogniser(race_book()).hear(samples(aloud(words), RATE))


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Time:
    made = Time()
    monkeypatch.setattr(drills, "clock", made)
    return made


@pytest.fixture
def room(tmp_path: Path, clock: Time) -> Room:
    assert clock.now
    made = Room(tmp_path / JOURNAL, race_book, {"straights": [[0.1, 0.3]]})
    made.take_seat("tablet", TABLET, over=False)
    return made


def test_how_sure_an_answer_is_weighs_what_was_heard_with_how_people_read() -> None:
    """By hand: of two symbols any one slip makes 2 · 35 others, which share one half alike."""
    book = race_book()
    others = 2 * (len(book.alphabet.symbols) - 1)
    beside = {"47": math.log(0.05), "41": math.log(0.9)}
    right, slip = 0.05 * 0.5, 0.9 * 0.5 / others
    found = read_aloud(book, "47", said("four one", beside))
    assert found.sure == pytest.approx(max(right, slip) / (right + slip))
    assert (found.text, found.enough) == ("four seven", False)
    # what was plainly said is never heard as what was shown
    plain = said("four one", {"41": math.log(0.999), "47": math.log(1e-6)})
    assert read_aloud(book, "47", plain).text == "four one"
    assert read_aloud(book, "47", plain).enough
    taken_back = said("four one correction four seven", {"4147": math.log(0.99)})
    assert read_aloud(book, "47", taken_back).text == "four one correction four seven"
    assert not read_aloud(book, "47", said("", {"": 0.0})).enough


def test_what_is_read_aloud_is_marked_with_its_times(room: Room, clock: Time) -> None:
    begin(room, alone=True, voice=True, items=2)
    flashed(room, clock)
    asked = room.for_coach()["asked"]
    seen = clock.now - 0.7
    told = room.aloud("tablet", 1, heard(asked["words"]), seen + 0.8, seen + 3.5, b"")
    assert (told["heard"], told["marked"], told["right"]) == (asked["words"], "right", True)
    [answer] = room.journal.answers()
    assert (answer.first, answer.last) == (pytest.approx(0.8), pytest.approx(3.5))
    assert room.journal.recorded() == set()  # nobody asked for it to be kept
    flashed(room, clock)
    told = room.aloud("tablet", 2, heard("one two zero one yankee"), clock.now, clock.now + 3, b"")
    assert not told["right"]
    assert [one.said for one in room.journal.answers()][1] == "1201Y"


def test_what_is_not_sure_is_not_marked_and_may_be_typed(room: Room, clock: Time) -> None:
    begin(room, alone=True, voice=True, items=2)
    flashed(room, clock)
    shown = room.for_coach()["asked"]["text"]
    doubtful = said("one", {shown: math.log(0.01), "1": math.log(0.9)})
    assert room.aloud("tablet", 1, doubtful, clock.now, clock.now + 1, b"")["marked"] == ""
    assert list(room.journal.answers()) == []
    room.alone("tablet", 1, shown, clock.now + 5)
    assert [(one.outcome, one.repeats) for one in room.journal.answers()] == [("right", 1)]


def test_nobody_is_marked_by_voice_who_did_not_ask_for_it(room: Room, clock: Time) -> None:
    begin(room, alone=True, items=2)
    flashed(room, clock)
    for key in ("tablet", "other"):
        with pytest.raises(DrillError, match="nobody is marked by voice"):
            room.aloud(key, 1, said("one", {"1": 0.0}), 0.0, 1.0, b"")
    assert SessionPlan.of({"person": "Ana", "voice": True}).alone
    assert not SessionPlan.of({"person": "Ana", "keep_sound": True}).keep_sound


def test_what_was_said_is_kept_where_wanted_and_goes_with_the_person(
    room: Room, clock: Time, tmp_path: Path
) -> None:
    begin(room, alone=True, voice=True, keep_sound=True, items=1)
    flashed(room, clock)
    asked = room.for_coach()["asked"]
    sound = flac(samples(aloud(asked["words"]), RATE), 8000)
    room.aloud("tablet", 1, heard(asked["words"]), clock.now, clock.now + 3, sound)
    room.journal.close()
    path, out = tmp_path / JOURNAL, tmp_path / "said.flac"
    exported = called(["drill", "export", path, "Ana"])
    assert b'"recorded": true' in exported.stdout
    assert called(["drill", "play", path, "1", "--out", out]).returncode == 0
    assert soundfile.info(io.BytesIO(out.read_bytes())).samplerate == 8000
    assert called(["drill", "play", path, "2", "--out", tmp_path / "x.flac"]).returncode == 2
    with DrillJournal(path) as journal:
        text = journal._store.execute("SELECT sound FROM sounds").fetchone()[0][:2000].encode()
    assert any(text[:200] in one.read_bytes() for one in tmp_path.glob(f"{JOURNAL}*"))
    assert called(["drill", "delete", path, "Ana", "--yes"]).returncode == 0
    assert not any(text[:200] in one.read_bytes() for one in tmp_path.glob(f"{JOURNAL}*"))


def test_the_page_sends_what_is_said_and_gets_its_mark(tmp_path: Path) -> None:
    with desk(sheet_at(tmp_path)) as client:
        assert client.get("/driver-hear/race").json() == {"ready": True}
        query = "key=tablet&number=1&rate=22050&first=1&last=2"
        answer = client.post(f"/driver-hear/race?{query}", content=aloud("one two"))
        assert answer.status_code == 400
        assert "no session is held" in answer.text
        for wrong in ("rate=22050", "rate=22050&first=x&last=2", "rate=22050&first=nan&last=nan"):
            assert client.post(f"/driver-hear/race?{wrong}", content=b"\0\0").status_code == 400
        page = client.get("/driver/race")
        assert "microphone=(self)" in page.headers["permissions-policy"]
