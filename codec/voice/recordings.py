"""Recordings in: WAV, FLAC, OGG and MP3 of any length, any number of channels, 8 to 192 kHz, as
blocks of sound at 8 kHz.
"""

from __future__ import annotations

import datetime
import io
import re
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from codec.voice.features import RATE
from grammar.errors import CodeError
from grammar.libraries import needed

if TYPE_CHECKING:
    import numpy as np

_BEGUN = re.compile(
    r"(?<!\d)(20\d\d)[-_.]?(\d\d)[-_.]?(\d\d)[-_.T ]{0,2}(\d\d)[-_.:h]?(\d\d)[-_.:m]?(\d\d)(?!\d)"
)
SUFFIXES = ("wav", "flac", "ogg", "oga", "opus", "mp3")
BLOCK = 10.0  # seconds of sound in hand at a time
_RATES = (4000, 192_000)
_MOST_CHANNELS = 32
_LOUDEST = 1e5  # of floating-point samples, which may be in units of 16 bits
_AROUND = 0.3  # seconds before and behind a stretch that is cut out of a recording
_MOST_STRETCH = 60.0  # seconds of one
_PLAYED = 16_000  # samples a second of one, at most
_KEPT = 64 << 20  # bytes of standard input held in memory; more goes to a temporary file


def is_recording(name: str) -> bool:
    """Tell from a file's name whether it is a recording."""
    return name.rpartition(".")[2].casefold() in SUFFIXES


def begun(name: str) -> float | None:
    """Return when a recording began, in seconds since 1970, where its file's name tells: a date and
    a time of day as ISO 8601 has them, UTC, with any signs or none between the figures
    (``2026-05-01T14-03-00.wav``, ``radio_20260501_140300.flac``); None where it does not.
    """
    found = _BEGUN.search(name)
    if found is None:
        return None
    try:
        moment = datetime.datetime.strptime("".join(found.groups()), "%Y%m%d%H%M%S")
    except ValueError:
        return None
    return moment.replace(tzinfo=datetime.UTC).timestamp()


@contextmanager
def _opened(source: str | Path | BinaryIO, name: str) -> Iterator[Any]:
    soundfile = needed("soundfile", "voice")
    if not isinstance(source, str | Path) and source.seekable():
        with _as_sound(soundfile, source, name) as sound:
            yield sound
        return
    if not isinstance(source, str | Path):
        with tempfile.SpooledTemporaryFile(_KEPT) as kept:
            for data in iter(lambda: source.read(1 << 20), b""):
                kept.write(data)
            kept.seek(0)
            with _as_sound(soundfile, kept, name) as sound:
                yield sound
        return
    try:
        with Path(source).open("rb") as stream, _as_sound(soundfile, stream, name) as sound:
            yield sound
    except OSError as error:
        raise CodeError(f"{name} can't be read: {error.strerror or error}", kind="usage") from None


def _as_sound(soundfile: Any, stream: Any, name: str) -> Any:
    try:
        return soundfile.SoundFile(stream)
    except (soundfile.LibsndfileError, TypeError, RuntimeError):
        raise CodeError(
            f"{name} is no recording that can be read",
            kind="recording",
            expected=["WAV, FLAC, OGG or MP3"],
        ) from None


def _read(sound: Any, frames: int, name: str, at: float, *, seek: int | None = None) -> np.ndarray:
    """Return some more samples (frame, channel), from a place if one is named; raises CodeError
    (kind "recording") where the file is damaged there.
    """
    soundfile = needed("soundfile", "voice")
    try:
        if seek is not None:
            sound.seek(seek)
        found: np.ndarray = sound.read(frames, dtype="float32", always_2d=True)
    except (soundfile.LibsndfileError, ValueError, RuntimeError):
        raise CodeError(
            f"{name} is damaged from about {at:.0f} s on",
            kind="recording",
            hint="what is before that can be heard; save it anew from where it came",
        ) from None
    return found


def blocks(source: str | Path | BinaryIO, name: str) -> Iterator[np.ndarray]:
    """Yield the sound of a recording at 8 kHz, its channels together, ``BLOCK`` seconds at a time.

    Raises CodeError (kind "recording") for what is no recording, at a rate out of range, without
    any sound in it or damaged, when what is before that was yielded, (kind "missing-library")
    without the extra ``voice``.
    """
    import numpy as np

    soxr = needed("soxr", "voice")
    with _opened(source, name) as sound:
        rate = sound.samplerate
        if not _RATES[0] <= rate <= _RATES[1]:
            raise CodeError(
                f"{name} has {rate} samples a second",
                kind="recording",
                expected=[f"{_RATES[0]} to {_RATES[1]}"],
            )
        if sound.channels > _MOST_CHANNELS:
            raise CodeError(
                f"{name} has {sound.channels} channels",
                kind="recording",
                expected=[f"at most {_MOST_CHANNELS}"],
            )
        resampler = soxr.ResampleStream(rate, RATE, 1, dtype="float32")
        empty, read = True, 0
        while True:
            taken = _read(sound, int(BLOCK * rate), name, read / rate)
            read += len(taken)
            if not len(taken):
                break
            whole = np.nan_to_num(taken, posinf=0.0, neginf=0.0).clip(-_LOUDEST, _LOUDEST)
            mono = whole.mean(axis=1, dtype=np.float32)
            empty = empty and not bool(np.abs(mono).max(initial=0.0) > 1e-4)
            yield resampler.resample_chunk(mono)
        yield resampler.resample_chunk(np.zeros(0, np.float32), last=True)
        if empty:
            raise CodeError(f"there is no sound in {name}", kind="recording")


def flac(sound: np.ndarray, rate: int) -> bytes:
    """Return mono sound as a FLAC file of 16 bits."""
    made = io.BytesIO()
    needed("soundfile", "voice").write(
        made, sound.clip(-1, 1), rate, subtype="PCM_16", format="FLAC"
    )
    return made.getvalue()


def cut(path: Path, name: str, start: float, end: float) -> tuple[bytes, float]:
    """Return a stretch of a recording, from ``start`` to ``end`` in seconds and a little around, as
    a mono WAV file of 16 bits, and its length in seconds; at most a minute.

    Raises CodeError as ``blocks``, and (kind "recording") where the recording is shorter.
    """
    import numpy as np

    soundfile, soxr = needed("soundfile", "voice"), needed("soxr", "voice")
    begin = max(0.0, start - _AROUND)
    seconds = min(_MOST_STRETCH, end + _AROUND - begin)
    with _opened(path, name) as sound:
        rate, length = sound.samplerate, len(sound) / sound.samplerate
        if start >= length:
            raise CodeError(
                f"{name} is {length:.1f} s long and has no {start:.1f} s: it is another recording"
                " of that name, or was cut since",
                kind="recording",
            )
        taken = _read(sound, int(seconds * rate), name, begin, seek=int(begin * rate))
    mono = np.nan_to_num(taken).mean(axis=1, dtype=np.float32)
    if rate > _PLAYED:
        mono, rate = soxr.resample(mono, rate, _PLAYED), _PLAYED
    made = io.BytesIO()
    soundfile.write(made, mono.clip(-1, 1), rate, subtype="PCM_16", format="WAV")
    return made.getvalue(), len(mono) / rate
