"""Sound as it comes: from a device, and heard as soon as it may be over."""

from __future__ import annotations

import sys
import threading
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from sheet.support import race_book
from voice.spoken import NEXT, RATE, REPORT, spoken

from codec.voice.gate import HANGS, MARGIN, SOFTLY, soft_stretches, stretches
from codec.voice.live import BLOCK, listen_live, samples
from grammar.errors import CodeError

PAUSE = 0.002 * np.random.default_rng(1).standard_normal(RATE)
SAID = np.concatenate([PAUSE, spoken(REPORT), PAUSE, spoken(NEXT), PAUSE])


class Stream:
    """Stands for a device that says ``SAID`` once: blocks come from a thread of its own, as those
    of PortAudio do, two channels of what it is asked for.
    """

    def __init__(
        self, rate: int, size: int, index: int, channels: int, form: str,
        *, callback: Callable[..., None], finished_callback: Callable[[], None],
    ) -> None:  # fmt: skip
        assert (rate, size, index, channels, form) == (RATE, round(BLOCK * RATE), 3, 1, "float32")
        self.size, self.callback, self.finished = size, callback, finished_callback
        self.thread = threading.Thread(target=self._say)

    def _say(self) -> None:
        for place in range(0, len(SAID), self.size):
            block = SAID[place : place + self.size, None].astype(np.float32)
            self.callback(block, len(block), None, None)
            block[:] = np.nan  # it is the device's own, and used again
        self.finished()

    def start(self) -> None:
        self.thread.start()

    def close(self) -> None:
        self.thread.join()


@pytest.fixture
def device(monkeypatch: pytest.MonkeyPatch) -> None:
    def query(wanted: Any = None, kind: str = "") -> Any:
        known = {
            "default_samplerate": float(RATE),
            "index": 3,
            "name": "line",
            "max_input_channels": 2,
        }
        if not kind:
            return [known]
        if wanted not in (None, 3, "line"):
            raise ValueError(f"No input device matching {wanted!r}")
        return known

    fake = SimpleNamespace(InputStream=Stream, query_devices=query, PortAudioError=RuntimeError)
    monkeypatch.setitem(sys.modules, "sounddevice", fake)


@pytest.mark.usefixtures("device")
@pytest.mark.parametrize("name", ["", "3", "line"])
def test_what_a_device_takes_up_is_heard_while_it_goes_on(name: str) -> None:
    heard = [(said.text, over) for said, over in listen_live(race_book(), name)]
    assert heard == [(REPORT, False), (REPORT, True), (NEXT, False), (NEXT, True)]


@pytest.mark.usefixtures("device")
def test_a_device_that_is_not_there_is_told_with_those_that_are() -> None:
    with pytest.raises(CodeError, match="the sound device 'other' can't be used") as caught:
        next(listen_live(race_book(), "other"))
    assert caught.value.expected == ("0: line",)


def test_without_the_library_or_what_it_stands_on_it_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    with pytest.raises(CodeError, match="sounddevice is not installed") as caught:
        next(listen_live(race_book(), ""))
    assert "niner[live]" in str(caught.value.hint)


def test_what_may_be_over_is_told_at_once_and_again_in_full_where_it_goes_on() -> None:
    """A pause of 0.4 s within what is said: longer than ``SOFTLY``, shorter than ``HANGS``."""
    tone = 0.3 * np.sin(np.arange(8000) / 2)
    silence, pause = np.zeros(8000), np.zeros(3200)
    sound = np.concatenate([silence, tone, pause, tone, silence]).astype(np.float32)
    blocks = [sound[place : place + 800] for place in range(0, len(sound), 800)]
    told = [(len(one) / 8000, over) for _, one, over in soft_stretches(blocks)]
    margins = 2 * MARGIN * 0.02
    assert [over for _, over in told] == [False, False, True]
    lengths = [1.0 + margins, 2.4 + margins, 2.4 + margins]
    assert [length for length, _ in told] == pytest.approx(lengths, abs=0.1)
    assert SOFTLY * 0.02 < 0.4 < HANGS * 0.02
    assert [len(one) / 8000 for _, one in stretches(blocks)] == [told[-1][0]]


@pytest.mark.parametrize(("data", "rate"), [(b"", 8000), (b"\0", 8000), (b"\0\0", 5), (b"\0\0", 0)])
def test_samples_that_are_none_are_refused(data: bytes, rate: int) -> None:
    with pytest.raises(CodeError, match=r"no sound|samples a second"):
        samples(data, rate)


def test_samples_are_taken_as_they_were_sent() -> None:
    tone = 0.5 * np.sin(2 * np.pi * 1000 * np.arange(48_000) / 48_000)
    found = samples((tone * 32_767).astype("<i2").tobytes() + b"\x7f", 48_000)
    assert len(found) == pytest.approx(8000, abs=2)
    assert np.abs(np.fft.rfft(found)).argmax() == 1000
    assert np.abs(found[1000:-1000]).max() == pytest.approx(0.5, abs=0.01)
