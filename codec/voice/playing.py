"""Sound out: by the sound device where the library for it is installed, else by a program that
plays sound files, the first found of those named below.
"""

from __future__ import annotations

import io
import shutil
import subprocess
import tempfile
from collections.abc import Sequence
from pathlib import Path

from codec.voice.devices import sound_devices
from grammar.errors import CodeError
from grammar.libraries import needed

_PLAYERS: tuple[tuple[str, ...], ...] = (
    ("paplay",),
    ("aplay", "-q"),
    ("play", "-q"),
    ("afplay",),
    ("ffplay", "-nodisp", "-autoexit", "-loglevel", "quiet"),
)
NO_PLAYER = (
    "no program that plays sound is installed (" + ", ".join(row[0] for row in _PLAYERS) + ")"
)
PATIENCE = 30.0  # seconds that a program may take beside the sound's own


def player(path: str | None = None) -> list[str] | None:
    """Return the command of the program that plays sound files, found on ``path`` (the system's by
    default), None where there is none.
    """
    return next(
        ([found, *rest] for name, *rest in _PLAYERS if (found := shutil.which(name, path=path))),
        None,
    )


def play_file(command: Sequence[str], path: Path, seconds: float) -> str:
    """Play a sound file to its end by a program; return why it could not, "" where it could."""
    name = Path(command[0]).name
    try:
        done = subprocess.run(  # noqa: S603 - the program was found by its name
            [*command, str(path)],
            capture_output=True,
            timeout=seconds + PATIENCE,
            check=False,
            stdin=subprocess.DEVNULL,
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        return f"{name}: {error}"
    if not done.returncode:
        return ""
    reason = done.stderr.decode("utf-8", "replace").strip().splitlines()
    return f"{name} can't play: {reason[0][:120] if reason else 'no reason given'}"


def play(wav: bytes, seconds: float) -> None:
    """Play a WAV file to its end; raises CodeError (kind "no-sound") where nothing can."""
    why = _by_device(wav)
    if not why:
        return
    command = player()
    if command is None:
        raise CodeError(
            f"{why}, and {NO_PLAYER}", kind="no-sound", hint="--out FILE.wav writes it instead"
        )
    with tempfile.TemporaryDirectory(prefix="niner-") as folder:
        path = Path(folder) / "stretch.wav"
        path.write_bytes(wav)
        why = play_file(command, path, seconds)
    if why:
        raise CodeError(
            why,
            kind="no-sound",
            hint="is a sound device connected? --out FILE.wav writes it instead",
        )


def _by_device(wav: bytes) -> str:
    """Play a WAV file by the sound device; return why that could not be, "" where it was."""
    try:
        sounddevice = sound_devices()
    except CodeError as error:
        return error.message
    sound, rate = needed("soundfile", "voice").read(io.BytesIO(wav), dtype="float32")
    try:
        sounddevice.play(sound, rate, blocking=True)
    except (sounddevice.PortAudioError, ValueError) as error:
        return f"no sound device can be used: {error}"
    return ""
