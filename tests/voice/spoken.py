"""Reports as a synthesiser says them."""

from __future__ import annotations

import functools
import subprocess
import tempfile
from pathlib import Path
from typing import Any

import soundfile
from programs import program

RATE = 22_050  # of espeak-ng
REPORT = "four one eight three hotel zulu two"
NEXT = "five one eight three hotel zulu zero"
TALK = "copy, keep pushing, the tyres look good"


@functools.cache
def spoken(text: str) -> Any:
    """Return the samples of a text, at ``RATE``."""
    with tempfile.TemporaryDirectory() as folder:
        made = Path(folder) / "made.wav"
        command = [program("espeak-ng"), "-v", "en-gb-x-rp+f2", "-s", "150", "-w", str(made), text]
        subprocess.run(command, check=True)
        sound, rate = soundfile.read(made)
    assert rate == RATE
    return sound
