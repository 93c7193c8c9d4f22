"""Reports spoken by a speech synthesiser over a noisy radio: a sound file of the words,
band-limited, with noise of a chosen grade.

The synthesiser is espeak-ng, if it is installed; the player is that of ``codec.voice``. The band
is that of a voice channel, 300 … 3400 Hz (ITU-T G.712), and the noise is white within it. A
grade's signal-to-noise ratio is that of ``grammar.sound``; speech counts where it is loud, not in
the pauses (after the active level of ITU-T P.56, but with a plain threshold).
"""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import tempfile
import wave
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from codec.drill.answer import DrillError
from codec.drill.noise import decibels
from codec.files import unwritable
from codec.voice.playing import NO_PLAYER, PATIENCE, play_file, player
from grammar.libraries import needed

if TYPE_CHECKING:
    import numpy as np

    from grammar.book import Book

BAND = (300.0, 3400.0)  # Hz
RATE = 16_000  # samples a second
_ORDER = 6  # of the Butterworth filter on either side
_LEVEL = 0.25  # of full scale: the mean level of speech and noise together
_ACTIVE = 0.1  # of the loudest moment, from which a moment counts as speech
_FRAME = 0.02  # seconds in such a moment
_BEFORE_AND_AFTER = 0.25  # seconds of noise around the words
_SYNTHESISER = "espeak-ng"
_OTHERS = ("en-us", "en-gb-scotland", "en-gb-x-rp", "en-gb")  # voices of others in the traffic
_STEPS_ON = 0.3  # seconds before the end of a report at which the next one begins
_UNDER = 10 ** (-9 / 20)  # of the reports' level, at which another car's radio is heard beneath
_FASTEST, _SLOWEST = 450, 80  # words a minute the synthesiser takes
_UNHURRIED = (
    1.9  # its words a minute are of running text; spelling words with pauses take so much longer
)


@dataclass(frozen=True, slots=True)
class Spoken:
    """A sound file and its length in seconds; ``grade`` names the noise."""

    path: Path
    seconds: float
    grade: str


class Speaker:
    """Speaks and plays; ``synthesiser`` and ``player`` are the programs found, None where there is
    none.
    """

    def __init__(self, folder: Path, *, voice: str = "en-gb", path: str | None = None) -> None:
        """Look for the programs on ``path`` (the system's by default); sound files go into
        ``folder``.
        """
        self.folder, self.voice = folder, voice
        self.synthesiser = shutil.which(_SYNTHESISER, path=path)
        self.player = player(path)

    @property
    def lacking(self) -> str:
        """What is missing in order to speak, "" for nothing."""
        if self.synthesiser is None:
            return f"no speech synthesiser is installed ({_SYNTHESISER})"
        return "" if self.player else NO_PLAYER

    def check_voice(self) -> None:
        """Raise DrillError where the synthesiser has no such voice: it would take another without a
        word.
        """
        if self.synthesiser is not None:
            done = subprocess.run(  # noqa: S603 - a program found on the path, fixed arguments
                [self.synthesiser, "--voices"],
                capture_output=True,
                text=True,
                timeout=PATIENCE,
                check=False,
            )
            known = {row[1] for row in map(str.split, done.stdout.splitlines()[1:]) if len(row) > 1}
            if self.voice not in known:
                english = sorted(voice for voice in known if voice.startswith("en"))
                raise DrillError(
                    f"the synthesiser has no voice {self.voice[:40]!r}",
                    kind="usage",
                    expected=english,
                )

    def speak(
        self, book: Book, words: Sequence[str], grade: str, seed: int, name: str = "report"
    ) -> Spoken:
        """Make the sound file of some words; the same seed makes the same noise.

        Raises DrillError where it can't be made.
        """
        return self.traffic(book, [words], grade, seed, name)

    def traffic(
        self,
        book: Book,
        reports: Sequence[Sequence[str]],
        grade: str,
        seed: int,
        name: str = "report",
        *,
        under: Sequence[str] = (),
    ) -> Spoken:
        """Make the sound file of several reports, each in a voice of its own, the next one begun
        before the last has ended; ``under`` are words that another car's radio says beneath them.
        Errors as ``speak``.
        """
        numpy = needed("numpy", "drill")
        ratio = decibels(grade)
        pace = book.alphabet.spec.words_per_minute
        voices = [self.voice, *(one for one in _OTHERS if one != self.voice)]
        said: list[tuple[int, np.ndarray]] = []
        begin = round(_BEFORE_AND_AFTER * RATE)
        for place, words in enumerate(reports):
            spoken = _resampled(*self._voice(words, pace, voices[place % len(voices)]))
            level = active_level(spoken)
            said.append((begin, spoken / level if len(reports) > 1 and level > 0 else spoken))
            begin += max(0, len(spoken) - round(_STEPS_ON * RATE))
        end = max(start + len(one) for start, one in said) + round(_BEFORE_AND_AFTER * RATE)
        mixed = numpy.zeros(end)
        for start, one in said:
            mixed[start : start + len(one)] += one
        if under:
            other = _resampled(*self._voice(under, pace, voices[-1]))[:end]
            softer = active_level(mixed) * _UNDER / max(1e-9, active_level(other))
            mixed[: len(other)] += other * softer
        mixed = over_the_air(mixed, ratio, seed)
        target = self.folder / f"{name}.wav"
        with _writing(target):
            write_sound(target, mixed)
        return Spoken(target, len(mixed) / RATE, grade)

    def _voice(
        self, words: Sequence[str], words_per_minute: float, voice: str
    ) -> tuple[np.ndarray, int]:
        if self.synthesiser is None:
            raise DrillError(
                self.lacking,
                kind="no-synthesiser",
                hint="install espeak-ng, or use --flash: the words are shown one by one",
            )
        speed = min(_FASTEST, max(_SLOWEST, round(words_per_minute * _UNHURRIED)))
        with tempfile.TemporaryDirectory() as folder:
            made = Path(folder) / "voice.wav"
            command = [
                self.synthesiser,
                "-v",
                voice,
                "-s",
                str(speed),
                "-w",
                str(made),
                "--stdin",
            ]
            try:
                done = subprocess.run(  # noqa: S603 - the program was found by its name, the words go through its standard input
                    command,
                    input=", ".join(words).encode(),
                    capture_output=True,
                    timeout=PATIENCE,
                    check=False,
                )
                if done.returncode or not made.exists():
                    reason = done.stderr.decode("utf-8", "replace").strip().splitlines()
                    raise DrillError(
                        f"{_SYNTHESISER} made no sound:"
                        f" {reason[-1] if reason else 'no reason given'}",
                        kind="no-synthesiser",
                    )
                return read_sound(made)
            except (OSError, subprocess.TimeoutExpired, wave.Error) as error:
                raise DrillError(
                    f"{_SYNTHESISER}: {error}",
                    kind="no-synthesiser",
                    hint="use --flash: the words are shown one by one",
                ) from None

    def play(self, spoken: Spoken) -> None:
        """Play a sound file to its end.

        Raises DrillError (kind ``no-sound``) where there is no player or no device.
        """
        if self.player is None:
            raise DrillError(
                NO_PLAYER, kind="no-sound", hint=f"the report is in {spoken.path}; or use --flash"
            )
        why = play_file(self.player, spoken.path, spoken.seconds)
        if why:
            raise DrillError(
                why,
                kind="no-sound",
                hint=(
                    "is a sound device connected? --flash shows the words one by one, --keep-audio"
                    " FOLDER keeps the files"
                ),
            )


@contextlib.contextmanager
def _writing(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        with contextlib.suppress(OSError):
            path.unlink()
        raise unwritable(
            path, error, kind="drill-full", hint="free some space", of=DrillError
        ) from None


def over_the_air(samples: np.ndarray, ratio: float | None, seed: int) -> np.ndarray:
    """Return speech as a radio passes it on: within ``BAND``, with noise ``ratio`` decibels below
    the speech (None: no noise).
    """
    numpy = needed("numpy", "drill")
    signal = needed("scipy.signal", "drill")
    band = signal.butter(_ORDER, BAND, "bandpass", fs=RATE, output="sos")
    speech: Any = signal.sosfiltfilt(band, samples)
    level = active_level(speech)
    if ratio is not None and level > 0:
        noise = signal.sosfiltfilt(
            band, numpy.random.default_rng(seed).standard_normal(len(speech))
        )
        wanted = level / 10 ** (ratio / 20)
        speech = speech + noise * wanted / numpy.sqrt(numpy.mean(noise**2))
        level = float(numpy.hypot(level, wanted))
    louder = speech * (_LEVEL / level if level > 0 else 1.0)
    most = float(numpy.abs(louder).max(initial=0.0))
    loud: np.ndarray = louder / most * 0.99 if most > 0.99 else louder
    return loud


def active_level(samples: np.ndarray) -> float:
    """Return the effective level of the moments that hold speech."""
    numpy = needed("numpy", "drill")
    size = round(_FRAME * RATE)
    frames = samples[: len(samples) // size * size].reshape(-1, size)
    powers = (frames**2).mean(axis=1)
    loud = powers[powers >= _ACTIVE**2 * powers.max(initial=0.0)]
    return float(numpy.sqrt(loud.mean())) if len(loud) else 0.0


def _resampled(samples: np.ndarray, rate: int) -> np.ndarray:
    found: np.ndarray = (
        samples
        if rate == RATE
        else needed("scipy.signal", "drill").resample_poly(samples, RATE, rate)
    )
    return found


def read_sound(path: Path) -> tuple[np.ndarray, int]:
    """Return the samples (-1 … 1) of a mono sound file of 16 bits, and its rate; raises
    wave.Error.
    """
    numpy = needed("numpy", "drill")
    with wave.open(str(path), "rb") as sound:
        if (sound.getnchannels(), sound.getsampwidth()) != (1, 2):
            raise wave.Error("not mono with 16 bits")
        return (
            numpy.frombuffer(sound.readframes(sound.getnframes()), dtype="<i2") / 32768.0,
            sound.getframerate(),
        )


def write_sound(path: Path, samples: np.ndarray) -> None:
    """Write samples as a mono sound file of 16 bits, on the disk when it returns."""
    numpy = needed("numpy", "drill")
    with path.open("wb") as stream:
        with wave.open(stream, "wb") as sound:
            sound.setnchannels(1)
            sound.setsampwidth(2)
            sound.setframerate(RATE)
            sound.writeframes((numpy.clip(samples, -1, 1) * 32767).astype("<i2").tobytes())
        stream.flush()
        os.fsync(stream.fileno())
