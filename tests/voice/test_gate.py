"""Stretches of sound in a keyed radio's silence, however a recording is cut into blocks."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from typing import Any

import numpy as np

from codec.voice.features import RATE
from codec.voice.gate import LONGEST, stretches

SECOND = RATE


def radio(*parts: tuple[float, float]) -> Any:
    """Return noise of some lengths in seconds and levels in decibels of full scale."""
    draw = np.random.default_rng(1)
    pieces = [
        draw.standard_normal(int(length * SECOND)) * 10 ** (level / 20) for length, level in parts
    ]
    return np.concatenate(pieces).astype(np.float32)


def cut(sound: Any, size: int) -> Iterator[Any]:
    yield from (sound[place : place + size] for place in range(0, len(sound), size))


def found(sound: Any, size: int = 10 * SECOND) -> list[tuple[float, float]]:
    return [(start, start + len(one) / RATE) for start, one in stretches(cut(sound, size))]


TWO = radio((2, -75), (3, -20), (2, -75), (1, -30), (2, -75))


def test_each_transmission_is_a_stretch() -> None:
    first, second = found(TWO)
    assert np.allclose([first, second], [(2, 5), (7, 8)], atol=0.35)


def test_how_a_recording_is_cut_into_blocks_does_not_matter_much() -> None:
    whole = found(TWO)
    for size in (777, 8000, 30_011):
        assert np.allclose(found(TWO, size), whole, atol=0.1)


def test_pauses_between_words_end_nothing_and_noise_alone_begins_nothing() -> None:
    words = radio((2, -75), *[(0.4, -20), (0.4, -70)] * 6, (2, -75))
    assert len(found(words)) == 1
    assert found(radio((20, -30))) == []


def test_a_click_is_no_stretch() -> None:
    assert found(radio((3, -75), (0.05, -20), (3, -75))) == []


def test_what_is_too_long_is_cut_and_nothing_of_it_is_lost() -> None:
    words = [(0.6, -20), (0.3, -32)] * 77  # 69.3 seconds, and the key is never let go
    pieces = found(radio((2, -75), *words, (2, -75)), 5 * SECOND)
    assert len(pieces) > 3
    assert all(end - start <= LONGEST * 0.02 + 1 for start, end in pieces)
    for (_, end), (start, _) in itertools.pairwise(pieces):
        assert start <= end
    assert np.allclose((pieces[0][0], pieces[-1][1]), (2, 71.3), atol=0.6)


def test_speech_five_decibels_above_an_open_channel_s_noise_is_found() -> None:
    hiss = radio((30, -40))
    for begin in (5, 12, 20):
        hiss[begin * SECOND : (begin + 3) * SECOND] += radio((3, -35))
    assert [round(start) for start, _ in found(hiss)] == [5, 12, 20]
