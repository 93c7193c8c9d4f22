"""The live line: sound as it comes, from a sound device or, for trying it out, from a recording."""

from __future__ import annotations

import contextlib
import queue
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from codec.voice.devices import sound_devices
from codec.voice.features import RATE
from codec.voice.gate import soft_stretches
from codec.voice.listening import Recogniser, Transmission
from codec.voice.recordings import blocks, is_recording
from grammar.errors import CodeError
from grammar.libraries import needed

if TYPE_CHECKING:
    import numpy as np

    from grammar.book import Book

LOWEST, HIGHEST = 8_000, 96_000  # samples a second of what is sent
BLOCK = 0.1  # seconds of sound that a device gives at a time
_MOST_WAITING = 600  # blocks
_FULL_SCALE = 32_768


def samples(data: bytes, rate: int) -> np.ndarray:
    """Return sound at 8 kHz from samples of 16 bits, the low byte first; raises CodeError (kind
    "recording") where the rate is out of range, or there are none.
    """
    import numpy as np

    if not LOWEST <= rate <= HIGHEST:
        raise CodeError(
            f"{rate} samples a second", kind="recording", expected=[f"{LOWEST} to {HIGHEST}"]
        )
    whole = np.frombuffer(data[: len(data) // 2 * 2], dtype="<i2").astype(np.float32) / _FULL_SCALE
    if not len(whole):
        raise CodeError("there is no sound in what was sent", kind="recording")
    found: np.ndarray = needed("soxr", "voice").resample(whole, rate, RATE)
    return found


def sound_of(device: str) -> Iterator[np.ndarray]:
    """Yield the sound of a device at 8 kHz, ``BLOCK`` seconds at a time, for as long as it is
    there; a device is named by its number or a part of its name, "" is the usual one.

    The name of a recording, or ``-`` for standard input, stands for a device that says that.
    Raises CodeError (kind "no-sound") where there is no such device, or as ``blocks``.
    """
    if device == "-":
        import sys

        yield from blocks(sys.stdin.buffer, "standard input")
    elif is_recording(device):
        yield from blocks(device, repr(device))
    else:
        yield from _from_device(device)


def listen_live(book: Book, device: str) -> Iterator[tuple[Transmission, bool]]:
    """Yield what is said into a device as soon as it may be over, and again, with ``True``, when it
    is. Raises CodeError as ``sound_of``, and where the book can't be heard.
    """
    recogniser = Recogniser(book)
    for start, sound, over in soft_stretches(sound_of(device)):
        yield recogniser.hear(sound, start), over


def _from_device(device: str) -> Iterator[np.ndarray]:
    import numpy as np

    sounddevice, soxr = sound_devices(), needed("soxr", "voice")
    taken: queue.Queue[Any] = queue.Queue(_MOST_WAITING)

    def take(sound: Any, *_: object) -> None:
        with contextlib.suppress(queue.Full):  # nobody hears for so long: it is lost
            taken.put_nowait(sound if sound is None else sound[:, 0].copy())

    wanted = int(device) if device.isdecimal() else device or None
    try:
        told = sounddevice.query_devices(wanted, "input")
        rate = int(told["default_samplerate"])
        stream = sounddevice.InputStream(
            rate,
            round(BLOCK * rate),
            told["index"],
            1,
            "float32",
            callback=take,
            finished_callback=lambda: take(None),
        )
        stream.start()
    except (sounddevice.PortAudioError, ValueError) as error:
        names = [f"{n}: {one['name']}" for n, one in enumerate(sounddevice.query_devices())
                 if one["max_input_channels"]]  # fmt: skip
        raise CodeError(
            f"the sound device {device!r} can't be used: {error}"
            if device
            else f"no sound device can be used: {error}",
            kind="no-sound",
            expected=names,
            hint="name one by its number, or a recording in its stead",
        ) from None
    resampler = soxr.ResampleStream(rate, RATE, 1, dtype="float32")
    with contextlib.closing(stream):
        while (sound := taken.get()) is not None:
            yield resampler.resample_chunk(np.ascontiguousarray(sound))
