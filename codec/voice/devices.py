"""Sound devices, by the library that reaches them where it is installed."""

from __future__ import annotations

from typing import Any

from grammar.errors import CodeError
from grammar.libraries import needed


def sound_devices() -> Any:
    """Return the library that reaches sound devices; raises CodeError (kind "missing-library" or
    "no-sound") where it can't be used.
    """
    try:
        return needed("sounddevice", "live")
    except OSError as error:  # it is there, and what it stands on is not
        raise CodeError(
            f"no sound device can be reached: {error}",
            kind="no-sound",
            hint="install PortAudio: apt install libportaudio2, or brew install portaudio",
        ) from None
