"""Spoken reports, made by espeak-ng and inspected with sox."""

from __future__ import annotations

import math
import re
import subprocess
from pathlib import Path

import pytest
from drill.support import race
from programs import program

from codec import CodeError
from codec.drill import DrillError
from codec.drill.noise import decibels
from codec.drill.speaking import (
    RATE,
    Speaker,
    Spoken,
    active_level,
    over_the_air,
    read_sound,
    write_sound,
)

REPORT = "5163JRT"


def _words(text: str = REPORT) -> list[str]:
    return [race().alphabet.words[symbol].word for symbol in text]


def _sox(path: Path, *effects: str) -> dict[str, float]:
    """Return what sox's stat effect tells of a sound after other effects."""
    done = subprocess.run(
        [program("sox"), str(path), "-n", *effects, "stat"],
        capture_output=True,
        text=True,
        check=True,
    )
    return {
        name.strip(): float(value)
        for name, value in re.findall(r"^(.*?):\s+(-?[\d.]+)$", done.stderr, re.MULTILINE)
    }


def _level(path: Path, *effects: str) -> float:
    return _sox(path, *effects)["RMS     amplitude"]


@pytest.fixture
def speaker(tmp_path: Path) -> Speaker:
    program("espeak-ng")
    return Speaker(tmp_path)


def test_a_report_takes_about_the_time_the_book_gives_it(speaker: Speaker) -> None:
    for text in (REPORT, "71646", "9084JNCBY"):
        spoken = speaker.speak(race(), _words(text), "quiet", 1, text)
        assert _sox(spoken.path)["Length (seconds)"] == pytest.approx(spoken.seconds, abs=0.001)
        assert spoken.seconds - 0.5 == pytest.approx(race().alphabet.seconds(text), rel=0.3)


def test_nothing_is_outside_the_voice_channel(speaker: Speaker) -> None:
    # ITU-T G.712: 300 to 3400 Hz
    for grade in ("quiet", "harsh"):
        path = speaker.speak(race(), _words(), grade, 1, grade).path
        inside = _level(path, "sinc", "300-3400")
        assert _level(path, "sinc", "-150") < 0.01 * inside
        assert _level(path, "sinc", "4500") < 0.01 * inside
        assert inside > 0.9 * _level(path)


@pytest.mark.parametrize(
    ("grade", "ratio"), [("clear", 1.25), ("noisy", -6.0), ("harsh", -12.0), ("10", 10.0)]
)
def test_the_noise_has_the_grade_s_level(
    speaker: Speaker, tmp_path: Path, grade: str, ratio: float
) -> None:
    assert decibels(grade) == ratio
    quiet, noisy = (
        speaker.speak(race(), _words(), "quiet", 1, "quiet"),
        speaker.speak(race(), _words(), grade, 1, grade),
    )
    alone, _ = read_sound(quiet.path)
    mixed, _ = read_sound(noisy.path)
    scale = float(mixed @ alone / (alone @ alone))  # how loud the same words are in the mixture
    rest = tmp_path / "rest.wav"
    mix = [
        "-m",
        "-v",
        "1",
        str(noisy.path),
        "-v",
        f"{-scale}",
        str(quiet.path),
        str(rest),
    ]
    subprocess.run([program("sox"), *mix], check=True, capture_output=True)
    assert 20 * math.log10(active_level(alone) * scale / _level(rest)) == pytest.approx(
        ratio, abs=0.5
    )


def test_noisier_grades_are_noisier_and_seeds_repeat(speaker: Speaker) -> None:
    shares = []
    for grade in ("clear", "noisy", "harsh"):
        path = speaker.speak(race(), _words(), grade, 7, grade).path
        shares.append(_level(path, "trim", "0", "0.2") / _level(path))
    assert shares == sorted(shares)
    again = speaker.speak(race(), _words(), "harsh", 7, "again").path
    other = speaker.speak(race(), _words(), "harsh", 8, "other").path
    assert again.read_bytes() == (speaker.folder / "harsh.wav").read_bytes()
    assert other.read_bytes() != again.read_bytes()


def test_nothing_is_clipped(speaker: Speaker) -> None:
    for grade in ("quiet", "harsh"):
        assert _sox(speaker.speak(race(), _words(), grade, 3, grade).path)["Maximum amplitude"] < 1


def test_silence_stays_silent() -> None:
    import numpy as np

    assert not over_the_air(np.zeros(RATE), -6.0, 1).any()


def test_sounds_come_back_as_written(tmp_path: Path) -> None:
    import numpy as np

    samples = np.sin(np.arange(RATE) / 10) / 2
    write_sound(tmp_path / "tone.wav", samples)
    found, rate = read_sound(tmp_path / "tone.wav")
    assert rate == RATE
    assert np.abs(found - samples).max() < 1e-4


def test_what_is_missing_is_told(tmp_path: Path) -> None:
    nothing = Speaker(tmp_path, path=str(tmp_path))
    assert "no speech synthesiser" in nothing.lacking
    with pytest.raises(DrillError, match="synthesiser") as caught:
        nothing.speak(race(), _words(), "noisy", 1)
    assert "--flash" in caught.value.hint
    with pytest.raises(DrillError, match="plays sound"):
        nothing.play(Spoken(tmp_path / "report.wav", 1.0, "noisy"))


def test_a_player_that_fails_is_told(tmp_path: Path) -> None:
    player = tmp_path / "aplay"
    player.write_text("#!/bin/sh\necho 'no such device' >&2; exit 1\n")
    player.chmod(0o755)
    with pytest.raises(DrillError, match="no such device") as caught:
        Speaker(tmp_path, path=str(tmp_path)).play(Spoken(tmp_path / "report.wav", 1.0, "noisy"))
    assert caught.value.kind == "no-sound"


def test_unknown_voices_and_folders_are_told(tmp_path: Path) -> None:
    program("espeak-ng")
    with pytest.raises(DrillError, match="no voice") as caught:
        Speaker(tmp_path, voice="no-such-voice").check_voice()
    assert "en-gb" in caught.value.expected
    Speaker(tmp_path).check_voice()
    with pytest.raises(DrillError, match="can't be written"):
        Speaker(tmp_path / "none").speak(race(), _words(), "noisy", 1)


def test_unknown_grades_of_noise_are_told() -> None:
    with pytest.raises(CodeError, match="grade of noise"):
        decibels("deafening")
    with pytest.raises(CodeError, match="out of range"):
        decibels("90")
