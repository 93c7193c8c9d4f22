"""Features against scipy's spectrogram and the mel scale's own formula."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import ShortTimeFFT, get_window

from codec.voice.features import (
    BANDS,
    HIGH,
    LOW,
    RATE,
    SPECTRUM,
    STEP,
    WINDOW,
    features,
    mel_matrix,
)


def test_power_is_that_of_scipy_s_spectrogram() -> None:
    sound = np.random.default_rng(2).standard_normal(4000).astype(np.float32)
    window = get_window("hann", WINDOW)
    edge = (SPECTRUM - WINDOW) // 2
    whole = np.concatenate([np.zeros(edge), window, np.zeros(edge)])
    transform = ShortTimeFFT(whole, STEP, RATE, mfft=SPECTRUM)
    power = np.abs(transform.stft(sound, p0=0, p1=len(sound) // STEP + 1)) ** 2
    bands = mel_matrix().astype(float) @ power
    expected = (np.log(bands / (bands.mean() + 1e-12) + 1e-3) + 2) / 2
    assert features(sound) == pytest.approx(expected, abs=2e-3)


@pytest.mark.parametrize("hertz", [300, 1000, 2500])
def test_a_tone_is_loudest_in_its_band(hertz: float) -> None:
    time = np.arange(RATE) / RATE
    loudest = features(np.sin(2 * np.pi * hertz * time)).mean(axis=1).argmax()
    mel = 2595 * np.log10(1 + np.array([LOW, hertz, HIGH]) / 700)  # O'Shaughnessy 1987
    place = (mel[1] - mel[0]) / (mel[2] - mel[0]) * (BANDS + 1) - 1
    assert loudest == pytest.approx(place, abs=1)


def test_how_loud_a_recording_is_does_not_count() -> None:
    sound = np.random.default_rng(2).standard_normal(4000)
    assert features(sound) == pytest.approx(features(100 * sound), abs=1e-3)
