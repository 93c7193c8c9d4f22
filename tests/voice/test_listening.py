"""Recordings heard from end to end: spoken by a synthesiser, written in every form, and wrong."""

from __future__ import annotations

import contextlib
import datetime
import io
import json
import random
import shutil
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from helpers import book_of, first_short
from scipy.signal import resample_poly
from voice.spoken import NEXT, RATE, REPORT, TALK, spoken

from codec import CodeError, load_book
from codec.cli import main
from codec.hear import hear
from codec.sheet import Journal
from codec.sheet.stretch import SoundStretch
from codec.voice import acoustic
from codec.voice.listening import Recogniser, listen
from codec.voice.recordings import begun, blocks, cut

ROOT = Path(__file__).parents[2]
RACE = str(ROOT / "examples" / "race" / "race.toml")


@pytest.fixture(scope="module")
def radio() -> Any:
    """Return a keyed radio: a report, talk, and the next lap's report, in light noise."""
    draw = np.random.default_rng(1)
    pieces = [np.zeros(RATE)]
    for text in (REPORT, TALK, NEXT):
        sound = spoken(text)
        pieces += [sound + 0.01 * draw.standard_normal(len(sound)), np.zeros(2 * RATE)]
    return np.concatenate(pieces)


@pytest.fixture
def recording(radio: Any, tmp_path: Path) -> str:
    path = tmp_path / "radio.wav"
    soundfile.write(path, radio, RATE)
    return str(path)


def lines(arguments: Sequence[str], capsys: pytest.CaptureFixture[str]) -> list[dict[str, Any]]:
    assert main(["listen", RACE, *arguments]) == 0
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


def test_a_recording_becomes_lines_with_every_doubt(
    recording: str, capsys: pytest.CaptureFixture[str]
) -> None:
    first, talk, second = lines([recording, "--speaker", "Ana"], capsys)
    assert first["text"] == REPORT
    assert 0.7 < first["start"] < 1.1
    assert first["speaker"] == "Ana"
    assert len(first["gaps"]) == len(first["slots"]) + 1 == 8
    assert all(sum(slot.values()) <= 1 + 1e-6 for slot in first["slots"])
    assert max(first["scores"], key=first["scores"].get) == "4183HZ2"
    assert "pushing" in talk["text"]
    assert second["start"] > talk["end"]


def test_a_recording_becomes_a_sheet_with_the_place_of_each_entry(
    recording: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sheet = str(tmp_path / "race.sheet")
    imported = ["sheet", "import", sheet, recording, "--car", "7=Ana"]
    assert main([*imported, "--book", RACE, "--start", "100", "--left-out"]) == 0
    assert "ordinary talk" in capsys.readouterr().out
    with Journal(sheet) as journal:
        found = [entry for entry in journal.entries() if entry.kind == "report"]
    assert [(entry.string, entry.lap, entry.refusal) for entry in found] == [
        ("4183HZ2", 4, ""),
        ("5183HZ0", 5, ""),
    ]
    assert found[0].at == pytest.approx(101_000, abs=400)
    stretch = SoundStretch.of(found[0].sound)
    assert stretch is not None
    assert stretch.recording == "radio.wav"
    assert stretch.start == pytest.approx(1, abs=0.4)
    assert main([*imported, "--start", "100"]) == 0
    with Journal(sheet) as journal:
        again = [entry for entry in journal.entries() if entry.kind == "report"]
    assert len(again) == 2


def test_the_same_lines_through_a_file_are_the_same_sheet(
    recording: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["listen", RACE, recording]) == 0
    (tmp_path / "radio.jsonl").write_text(capsys.readouterr().out, "utf-8")
    sheet = str(tmp_path / "race.sheet")
    arguments = ["sheet", "import", sheet, str(tmp_path / "radio.jsonl"), "--car", "7=Ana"]
    assert main([*arguments, "--book", RACE]) == 0
    with Journal(sheet) as journal:
        found = [entry for entry in journal.entries() if entry.kind == "report"]
    assert [entry.string for entry in found] == ["4183HZ2", "5183HZ0"]
    assert found[1].sound.startswith("radio.wav#t=")


@pytest.mark.parametrize(
    ("suffix", "rate", "channels"),
    first_short(
        [("flac", 48_000, 2), ("wav", 8_000, 3), ("ogg", 16_000, 1), ("mp3", 44_100, 1)], 2
    ),
)
def test_every_form_rate_and_number_of_channels_is_heard(
    suffix: str, rate: int, channels: int, radio: Any, tmp_path: Path
) -> None:
    path, first = tmp_path / f"radio.{suffix}", radio[: 6 * RATE]
    sound = resample_poly(first, rate // 50, RATE // 50)
    soundfile.write(path, np.stack([sound / 2] * channels, axis=1), rate)
    stretch = next(listen(load_book(RACE), path))
    best = hear(load_book(RACE), stretch.slots).candidates[0]
    assert best.reading.said == "4183HZ2"


def test_a_loud_recording_that_is_clipped_is_heard(radio: Any, tmp_path: Path) -> None:
    path = tmp_path / "clipped.wav"
    soundfile.write(path, np.clip(6 * radio[: 6 * RATE], -0.5, 0.5), RATE)
    stretch = next(listen(load_book(RACE), path))
    assert hear(load_book(RACE), stretch.slots).candidates[0].reading.said == "4183HZ2"


def test_standard_input_is_a_recording_too(
    recording: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    class Typed:
        buffer = io.BytesIO(Path(recording).read_bytes())

    monkeypatch.setattr("sys.stdin", Typed)
    assert lines(["-"], capsys)[0]["text"] == REPORT


def test_a_recording_that_breaks_off_is_heard_as_far_as_it_goes(
    recording: str, capsys: pytest.CaptureFixture[str]
) -> None:
    path = Path(recording)
    path.write_bytes(path.read_bytes()[: 2 * 6 * RATE])
    assert lines([recording], capsys)[0]["text"] == REPORT


def wrong(content: Any, path: Path, capsys: pytest.CaptureFixture[str]) -> str:
    if isinstance(content, bytes):
        path.write_bytes(content)
    else:
        soundfile.write(path, content, 16_000)
    assert main(["listen", RACE, str(path)]) == 2
    told = capsys.readouterr()
    assert not told.out
    assert "Traceback" not in told.err
    return told.err.splitlines()[0]


def test_what_is_no_recording_is_told_in_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "radio.wav"
    assert "is no recording that can be read" in wrong(b"", path, capsys)
    assert "is no recording that can be read" in wrong(b"RIFF1234WAVEnonsense", path, capsys)
    assert "there is no sound in" in wrong(np.zeros(16_000), path, capsys)
    assert main(["listen", RACE, str(tmp_path / "none.wav")]) == 2
    assert "No such file" in capsys.readouterr().err


def test_samples_that_are_no_numbers_and_too_many_channels_stop_nothing_else(
    radio: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "float.wav"
    sound = 30_000 * radio[: 6 * RATE]
    sound[:100:3], sound[1:100:3] = np.nan, np.inf
    soundfile.write(path, sound, RATE, subtype="FLOAT")
    stretch = next(listen(load_book(RACE), path))
    assert hear(load_book(RACE), stretch.slots).candidates[0].reading.said == "4183HZ2"
    many = tmp_path / "many.wav"
    soundfile.write(many, np.ones((100, 64)) / 2, 8000)
    assert main(["listen", RACE, str(many)]) == 2
    assert "has 64 channels" in capsys.readouterr().err


def test_music_and_noise_are_no_reports(tmp_path: Path) -> None:
    book, draw = load_book(RACE), np.random.default_rng(4)
    time = np.arange(8 * 8000) / 8000
    tones = sum(np.sin(2 * np.pi * pitch * time) for pitch in (220, 277, 330, 440))
    music = np.asarray(tones) * (np.modf(time * 2)[0] < 0.8) * (time > 2)
    hiss = draw.standard_normal(len(time)) * (time > 3)
    for number, sound in enumerate((music, hiss)):
        path = tmp_path / f"{number}.wav"
        soundfile.write(path, 0.1 * sound, 8000)
        for stretch in listen(book, path):
            if stretch.slots.slots:
                assert hear(book, stretch.slots).accepted is None


def test_a_book_with_other_words_is_refused_before_anything_is_heard() -> None:
    spec = {
        "alphabet": {"words": {"A": "apple"}},
        "fields": {"lap": {"kind": "wrapped", "modulus": 10}},
        "tables": {"lap": {"kind": "digits"}},
        "messages": {"lap": {"layout": "lap"}},
    }
    with pytest.raises(CodeError, match="does not know apple"):
        Recogniser(book_of(spec))


def test_a_model_that_was_changed_is_not_run(tmp_path: Path) -> None:
    source = Path(acoustic.__file__).with_name("acoustic.onnx")
    shutil.copy(source.with_suffix(".json"), tmp_path / "acoustic.json")
    data = bytearray(source.read_bytes())
    data[len(data) // 2] ^= 1
    (tmp_path / "acoustic.onnx").write_bytes(data)
    with pytest.raises(CodeError, match="is not the acoustic model"):
        acoustic.AcousticModel(tmp_path / "acoustic.onnx")


def test_what_the_model_tells_apart_is_what_training_declares() -> None:
    from codec.voice.training.vocabulary import class_numbers, classes

    told = json.loads(Path(acoustic.__file__).with_name("acoustic.json").read_text("utf-8"))
    assert tuple(told["classes"]) == classes()
    assert told["forms"] == class_numbers()
    assert Path(acoustic.__file__).with_name("acoustic.onnx").stat().st_size < 8_000_000


@pytest.mark.slow
def test_what_is_before_the_damage_of_a_recording_is_not_lost(
    radio: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path, sheet = tmp_path / "radio.flac", str(tmp_path / "race.sheet")
    soundfile.write(path, np.concatenate([radio, radio]), RATE)
    data = bytearray(path.read_bytes())
    data[len(data) * 9 // 10 :] = bytes(len(data) - len(data) * 9 // 10)
    path.write_bytes(data)
    assert main(["listen", RACE, str(path)]) == 2
    told = capsys.readouterr()
    assert json.loads(told.out.splitlines()[0])["text"] == REPORT
    assert "is damaged from about" in told.err
    imported = ["sheet", "import", sheet, str(path), "--car", "7=Ana", "--book", RACE]
    assert main(imported) == 0
    assert "the recording is damaged" in capsys.readouterr().out
    with Journal(sheet) as journal:
        assert "4183HZ2" in [entry.string for entry in journal.entries()]


@pytest.mark.parametrize("form", ["wav", "flac", "ogg", "mp3"])
def test_any_recording_is_heard_or_refused_in_words(form: str, tmp_path: Path) -> None:
    """Bytes changed and files cut short, by seeds: never an exception of another's."""
    whole, path = io.BytesIO(), tmp_path / f"radio.{form}"
    sound = 0.3 * np.random.default_rng(1).standard_normal(16_000)
    soundfile.write(whole, sound, 16_000, format=form.upper())
    for seed in range(12):
        draw, data = random.Random(seed), bytearray(whole.getvalue())
        for _ in range(draw.choice([1, 5, 50, 500])):
            data[draw.randrange(len(data))] = draw.randrange(256)
        path.write_bytes(data[: draw.randrange(len(data))] if seed % 3 == 0 else data)
        for act in (lambda: list(blocks(path, "it")), lambda: cut(path, "it", 0.2, 0.6)):
            with contextlib.suppress(CodeError):
                act()


@pytest.mark.parametrize(
    ("name", "when"),
    [
        ("2026-05-01T14-03-00.wav", "2026-05-01T14:03:00"),
        ("radio_20260501_140300.flac", "2026-05-01T14:03:00"),
        ("car 7 2026.05.01 14h03m59.ogg", "2026-05-01T14:03:59"),
        ("2026-13-01T14-03-00.wav", ""),  # no such month
        ("20260501.wav", ""),
        ("1202605011403001.wav", ""),
        ("radio.wav", ""),
    ],
)
def test_a_name_may_tell_when_a_recording_began(name: str, when: str) -> None:
    wanted = datetime.datetime.fromisoformat(f"{when}+00:00").timestamp() if when else None
    assert begun(name) == wanted


def test_a_recording_named_by_its_time_is_imported_at_it(
    radio: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path, sheet = tmp_path / "2026-05-01T14-03-00.wav", str(tmp_path / "race.sheet")
    soundfile.write(path, radio[: 6 * RATE], RATE)
    assert main(["sheet", "import", sheet, str(path), "--car", "7=Ana", "--book", RACE]) == 0
    assert "begun 2026-05-01 14:03:00 UTC, by its name" in capsys.readouterr().err
    start = round(1000 * datetime.datetime(2026, 5, 1, 14, 3, tzinfo=datetime.UTC).timestamp())
    with Journal(sheet) as journal:
        [report] = [entry for entry in journal.entries() if entry.kind == "report"]
    assert report.at == pytest.approx(start + 1000, abs=400)
