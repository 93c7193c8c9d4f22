"""What an entry was heard in is played, or written; where it can't be, one line says why."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from sheet.support import race_book

from codec.cli import main
from codec.sheet import Entry, Journal
from codec.sheet.stretch import SoundStretch, recording_name
from codec.voice import playing
from codec.voice.recordings import cut
from grammar.errors import CodeError

RATE = 8000


def tone(frequency: float, seconds: float = 1.0) -> Any:
    return 0.5 * np.sin(2 * np.pi * frequency * np.arange(round(seconds * RATE)) / RATE)


def loudest(wav: bytes) -> float:
    """Return the frequency that is loudest in the middle second of a sound file."""
    sound, rate = soundfile.read(io.BytesIO(wav))
    middle = sound[len(sound) // 2 - rate // 2 : len(sound) // 2 + rate // 2]
    return float(np.abs(np.fft.rfft(middle)).argmax())


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    """A sheet with a recording beside it: ten tones of a second, 300, 400 … Hz."""
    path = tmp_path / "race.sheet"
    sound = np.concatenate([tone(300 + 100 * number) for number in range(10)])
    soundfile.write(tmp_path / "radio.wav", sound, RATE)
    with Journal(path, race_book()) as journal:
        heard = journal.append(Entry(kind="report", car="7", heard="x", sound="radio.wav#t=4,5"))
        journal.append(Entry(kind="correction", car="7", heard="y", about=heard.seq))
        journal.append(Entry(kind="note", car="7", heard="typed"))
    return path


def wrong(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    assert main(["sheet", "play", *arguments]) == 2
    told = capsys.readouterr().err
    assert "Traceback" not in told
    return told


@pytest.mark.parametrize("number", ["1", "#2"])  # a correction was heard in what it puts right
def test_the_stretch_of_an_entry_is_written_with_a_little_around(
    number: str, sheet: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "out.wav"
    assert main(["sheet", "play", str(sheet), number, "--out", str(out)]) == 0
    assert "4.0 to 5.0 s of" in capsys.readouterr().err
    data = out.read_bytes()
    assert soundfile.info(io.BytesIO(data)).duration == pytest.approx(1.6, abs=0.01)
    assert loudest(data) == 700
    assert "is there already" in wrong([str(sheet), "1", "--out", str(out)], capsys)


def test_it_is_played_by_the_program_that_is_there(
    sheet: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    program, played = tmp_path / "play", tmp_path / "played.wav"
    program.write_text(f'#!/bin/sh\ncp "$2" {played}\n')
    program.chmod(0o755)
    monkeypatch.setenv("PATH", str(tmp_path), prepend=":")
    monkeypatch.setattr(playing, "_by_device", lambda _: "no sound device can be used")
    monkeypatch.setattr(playing, "_PLAYERS", (("play", "-q"),))
    assert main(["sheet", "play", str(sheet), "1"]) == 0
    assert loudest(played.read_bytes()) == 700


def test_without_a_device_or_a_program_it_says_how_to_write_it(
    sheet: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(playing, "_by_device", lambda _: "sounddevice is not installed")
    monkeypatch.setattr(playing, "_PLAYERS", ())
    told = wrong([str(sheet), "1"], capsys)
    assert "sounddevice is not installed, and no program" in told
    assert "--out FILE.wav" in told


def test_a_recording_that_was_moved_is_named_and_found_where_it_is_now(
    sheet: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    moved = tmp_path / "archive"
    moved.mkdir()
    (tmp_path / "radio.wav").rename(moved / "radio.wav")
    told = wrong([str(sheet), "1"], capsys)
    assert "the recording 'radio.wav' is not here" in told
    assert "--from FOLDER" in told
    out = ["--out", str(tmp_path / "out.wav")]
    assert main(["sheet", "play", str(sheet), "1", "--from", str(moved), *out]) == 0


def test_what_is_not_there_to_be_played_is_told(
    sheet: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert "entry 3 was not heard in a recording" in wrong([str(sheet), "3"], capsys)
    assert "no entry 9" in wrong([str(sheet), "9"], capsys)
    soundfile.write(tmp_path / "radio.wav", tone(440), RATE)  # another of the same name
    assert "is 1.0 s long" in wrong([str(sheet), "1"], capsys)
    (tmp_path / "radio.wav").write_bytes(b"RIFF of nothing")
    assert "is no recording that can be read" in wrong([str(sheet), "1"], capsys)


def test_a_stretch_says_where_it_is_as_a_media_fragment() -> None:
    """As "Media Fragments URI 1.0" (W3C), 4.2.1, has it: ``t=10,20`` is from 10 up to 20."""
    first = SoundStretch("day 2/radio.wav", 10.0, 20.5)
    assert str(first) == "day 2/radio.wav#t=10.00,20.50"
    assert SoundStretch.of(str(first)) == first
    assert SoundStretch.of("a#t=1,2#t=3,4") == SoundStretch("a#t=1,2", 3.0, 4.0)
    for text in ("", "radio.wav", "radio.wav#t=5", "radio.wav#t=5,4", "radio.wav#t=-1,2", "#t=1,2"):
        assert SoundStretch.of(text) is None, text
    assert first.up_to(SoundStretch("day 2/radio.wav", 21.0, 24.0)).end == 24.0
    assert first.up_to(SoundStretch("other.wav", 21.0, 24.0)) == first


def test_a_recording_is_called_as_it_lies_below_the_sheet_and_by_its_name_alone_elsewhere(
    tmp_path: Path,
) -> None:
    folder = tmp_path / "event"
    (folder / "day 2").mkdir(parents=True)
    inside, outside = folder / "day 2" / "radio.wav", tmp_path / "private.wav"
    for path in (inside, outside):
        path.write_bytes(b"")
    assert recording_name(inside, folder) == "day 2/radio.wav"
    assert recording_name(outside, folder) == "private.wav"
    assert SoundStretch("day 2/radio.wav", 0, 1).within(folder) == inside.resolve()
    (folder / "leads-out.wav").symlink_to(outside)
    for name in ("../private.wav", "leads-out.wav", str(outside), "day 2", "\0", "x" * 5000):
        assert SoundStretch(name, 0, 1).within(folder) is None, name


def test_a_stretch_is_bounded_however_long_it_says_to_be(tmp_path: Path) -> None:
    path = tmp_path / "long.wav"
    soundfile.write(path, np.zeros((100 * 48_000, 1), np.int16), 48_000)
    wav, seconds = cut(path, "long.wav", 0.0, 1e6)
    assert seconds == pytest.approx(60, abs=0.1)
    assert len(wav) < 2_000_000
    with pytest.raises(CodeError, match="was cut since"):
        cut(path, "long.wav", 100.0, 101.0)
