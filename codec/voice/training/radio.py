"""Simulated radio for training: many sounds at once, on an accelerator.

What is varied: the room, the microphone's and the helmet's response, the band of the channel,
noise and babble, levelling, clipping, µ-law, squelch, keying and dropouts. Noise of the kinds that
the bench holds out (pulsed, impulsive, music, babble of the speaker's own voice) is not made here;
instead noise is shaped at random over time and frequency.
"""

from __future__ import annotations

import math

import torch
from torch import Tensor
from torch.nn import functional

RATE = 8000


class Radio:
    """Draws the radio of a batch; ``device`` is where, and torch's generator there decides."""

    def __init__(self, device: str) -> None:
        self.device = device

    def uniform(self, low: float, high: float, *shape: int) -> Tensor:
        """Return numbers between two."""
        return torch.rand(*shape, device=self.device) * (high - low) + low

    def one(self, low: float, high: float) -> float:
        """Return one number between two, the same for the batch."""
        return float(torch.rand(1)) * (high - low) + low

    def often(self, share: float, batch: int) -> Tensor:
        """Return for each of a batch, as a column, whether something is on."""
        return self.uniform(0, 1, batch, 1) < share

    def _curve(self, batch: int, size: int, decibels: Tensor, points: int = 9) -> Tensor:
        """Return smooth gains, up to so many decibels (batch, 1) either way."""
        drawn = self.uniform(-1, 1, batch, 1, points) * decibels[:, :, None]
        gains = functional.interpolate(drawn, size=size, mode="linear", align_corners=True)
        return 10 ** (gains[:, 0] / 20)

    def _envelope(self, batch: int, size: int, low: float, high: float, rate: float) -> Tensor:
        """Return a level that wanders, at about ``rate`` turns a second."""
        points = max(3, int(size / RATE * rate))
        drawn = self.uniform(low, high, batch, 1, points)
        return functional.interpolate(drawn, size=size, mode="linear", align_corners=True)[:, 0]

    def _band(
        self, batch: int, frequency: Tensor, low: tuple[float, float], high: tuple[float, float]
    ) -> Tensor:
        steep = self.uniform(1.5, 8, batch, 1)
        lows, highs = self.uniform(*low, batch, 1), self.uniform(*high, batch, 1)
        under = 1 + (lows / frequency.clamp(min=20)) ** (2 * steep)
        over = 1 + (frequency / highs) ** (2 * steep)
        return under.rsqrt() * over.rsqrt()

    def _hiss(self, batch: int, size: int, frequency: Tensor) -> Tensor:
        """Return coloured noise that comes in gusts."""
        spectrum = torch.fft.rfft(torch.randn(batch, size, device=self.device))
        spectrum = spectrum * (frequency.clamp(min=60) / 1000) ** self.uniform(-1.6, 0.3, batch, 1)
        spectrum = spectrum * self._curve(
            batch, spectrum.shape[1], self.uniform(0, 10, batch, 1), 12
        )
        noise = _levelled(torch.fft.irfft(spectrum, size))
        gusts = self._envelope(batch, size, 0.1, 1.8, self.one(1, 6))
        return noise * torch.where(self.often(0.6, batch), gusts, torch.ones_like(gusts))

    def _patches(self, batch: int, size: int) -> Tensor:
        """Return noise whose level is drawn anew in patches of time and frequency, from single
        bursts in a narrow band to broad fields.
        """
        window = torch.hann_window(256, device=self.device)
        white = torch.randn(batch, size, device=self.device)
        field = torch.stft(white, 256, 64, window=window, return_complex=True)
        rows, columns = field.shape[1:]
        bands = int(torch.randint(2, 20, (1,)))
        turns = max(2, int(size / RATE * self.one(2, 30)))
        power = self.uniform(0.5, 6, batch, 1, 1, 1)
        drawn = self.uniform(0, 1, batch, 1, bands, turns) ** power
        mode = "nearest" if torch.rand(1) < 0.5 else "bilinear"
        level = functional.interpolate(drawn, size=(rows, columns), mode=mode)[:, 0]
        return _levelled(torch.istft(field * level, 256, 64, window=window, length=size))

    def _whine(self, batch: int, size: int) -> Tensor:
        """Return the whine of a motor and the hum of gears and tyres, gliding."""
        speed = self._envelope(batch, size, 0.3, 1.0, self.one(0.7, 3.2))
        high = speed * self.uniform(500, 3600, batch, 1)
        low = speed * self.uniform(50, 330, batch, 1)
        turned_high = 2 * math.pi * torch.cumsum(high / RATE, 1)
        turned_low = 2 * math.pi * torch.cumsum(low / RATE, 1)
        found = torch.zeros_like(speed)
        for harmonic in (0.5, 1, 1.5, 2, 3):
            tone = torch.sin(harmonic * turned_high + self.uniform(0, 6, batch, 1))
            found += tone * self.uniform(0, 1, batch, 1) ** 2 * (harmonic * high < 3900)
        for order in range(1, 11):
            tone = torch.sin(order * turned_low + self.uniform(0, 6, batch, 1))
            level = self.uniform(0, 0.7, batch, 1) / order**0.5
            found += tone * level * (order * low < 3900)
        found = _levelled(found)
        return found * self._envelope(batch, size, 0.3, 1.3, 3) if torch.rand(1) < 0.4 else found

    def _noise(self, speech: Tensor, frequency: Tensor) -> Tensor:
        batch, size = speech.shape
        noise = self._hiss(batch, size, frequency) * self._weight(batch)
        noise += 0.7 * self._hiss(batch, size, frequency) * self._weight(batch)
        noise += self._patches(batch, size) * self._weight(batch) * self.often(0.5, batch)
        noise += self._whine(batch, size) * self._weight(batch) * self.often(0.5, batch)
        noise = _levelled(noise)
        others = torch.zeros_like(speech)
        for shift in range(1, 4):  # the other sounds of the batch talk in between
            others += torch.roll(speech, shift, 0) * self.often(0.6, batch)
        babble = _levelled(others) * self.often(0.3, batch)
        return _levelled(noise * self.uniform(0.1, 1, batch, 1) + babble * self._weight(batch))

    def _weight(self, batch: int) -> Tensor:
        return (-torch.log(self.uniform(1e-4, 1, batch, 1))) ** 0.5

    def _spoken(self, speech: Tensor, hard: float, band: Tensor, frequency: Tensor) -> Tensor:
        """Return speech as the microphone takes it, its loud parts at level 1."""
        batch, size = speech.shape
        time = torch.arange(1600, device=self.device)[None] / RATE
        room = torch.randn(batch, 1600, device=self.device) * torch.exp(
            -time / self.uniform(0.008, 0.06, batch, 1)
        )
        room = room * self.uniform(0.02, 0.25, batch, 1) * self.often(0.4 * hard, batch)
        room[:, 0] = 1
        response = torch.fft.rfft(room, size) * band
        response = response * self._curve(batch, band.shape[1], self.uniform(0, 9, batch, 1))
        tilt = self.uniform(-0.5, 0.6, batch, 1) * self.often(0.6, batch)
        response = response * (frequency.clamp(min=150) / 1000) ** tilt
        centre, wide = self.uniform(400, 3200, batch, 1), self.uniform(80, 350, batch, 1)
        bump = torch.exp(-(((frequency - centre) / wide) ** 2))
        response = response * (1 + self.uniform(0, 3, batch, 1) * self.often(0.35, batch) * bump)
        taken = torch.fft.irfft(torch.fft.rfft(speech) * response, size)
        power = functional.avg_pool1d((taken**2)[:, None], 400, 200)[:, 0]
        loud = (power > 0.05 * power.amax(1, keepdim=True)).float()
        level = (power * loud).sum(1) / (loud.sum(1) + 1e-6)
        return taken / (level[:, None] + 1e-9).sqrt()

    def _sent(self, sound: Tensor, hard: float, frequency: Tensor) -> Tensor:
        """Return sound as levelled, clipped and coded by the radio."""
        batch, size = sound.shape
        wide = (5, 11, 25)[int(torch.randint(3, (1,)))]
        envelope = functional.max_pool1d(sound.abs()[:, None], 33, 16, 16)
        envelope = functional.avg_pool1d(envelope, wide, 1, wide // 2, count_include_pad=False)
        envelope = functional.interpolate(envelope, size=size, mode="linear")[:, 0] + 1e-4
        above, slope = self.uniform(0.15, 1.2, batch, 1), self.uniform(0.15, 0.8, batch, 1)
        gain = torch.where(
            envelope > above, (envelope / above) ** (slope - 1), torch.ones_like(envelope)
        )
        sound = _loudest(torch.where(self.often(0.6, batch), sound * gain, sound))
        most, which = self.uniform(0.12, 0.8, batch, 1), self.uniform(0, 1, batch, 1)
        clipped = torch.minimum(torch.maximum(sound, -most), most) / most
        soft = torch.tanh(sound * self.uniform(1, 6, batch, 1))
        sound = torch.where(
            which < 0.3 * hard, clipped, torch.where(which > 1 - 0.2 * hard, soft, sound)
        )
        band = self._band(batch, frequency, (150, 400), (2900, 3900))
        banded = torch.fft.irfft(torch.fft.rfft(sound) * band, size)
        sound = _loudest(torch.where(self.often(0.6, batch), banded, sound))
        steps = 2 ** torch.randint(4, 8, (batch, 1), device=self.device).float()
        coded = torch.sign(sound) * torch.log1p(255 * sound.abs()) / math.log(256)
        coded = torch.round(coded * steps) / steps
        decoded = torch.sign(coded) * (256 ** coded.abs() - 1) / 255
        return torch.where(self.often(0.15, batch), decoded, sound)

    def _keyed(self, sound: Tensor, lengths: Tensor) -> Tensor:
        """Return sound with the key's silence, squelch bursts and dropouts."""
        batch, size = sound.shape
        time = torch.arange(size, device=self.device)[None]
        begin = self.uniform(0, 0.25, batch, 1) * RATE * self.often(0.5, batch)
        end = lengths[:, None] - self.uniform(0, 0.2, batch, 1) * RATE * self.often(0.5, batch)
        away = (time < begin) | (time > end)
        sound = torch.where(self.often(0.5, batch) & away, torch.zeros_like(sound), sound)
        long = self.uniform(0.01, 0.1, batch, 1) * RATE
        burst = torch.randn_like(sound) * self.uniform(0.05, 0.5, batch, 1)
        after = self.often(0.35, batch) & (time > end) & (time < end + long)
        before = self.often(0.2, batch) & (time < begin) & (time > begin - 0.3 * long)
        sound = torch.where(after | before, burst, sound)
        for _ in range(2):
            gone = self.uniform(0, 1, batch, 1) * size
            lost = (time > gone) & (time < gone + self.uniform(80, 500, batch, 1))
            sound = torch.where(self.often(0.08, batch) & lost, 0.05 * sound, sound)
        return sound

    def heard(self, speech: Tensor, lengths: Tensor, hard: float = 1.0) -> Tensor:
        """Return speech (batch, samples) as a radio gives it; ``hard`` 0 … 1 is how bad it may
        be, ``lengths`` the samples meant.
        """
        batch, size = speech.shape
        frequency = torch.linspace(0, RATE / 2, size // 2 + 1, device=self.device)[None]
        band = self._band(batch, frequency, (180, 430), (2700, 3800))
        sound = self._spoken(speech, hard, band, frequency)
        ratio = self.uniform(24 - 30 * hard, 29, batch, 1)
        quiet = self.often(0.12 + 0.5 * (1 - hard), batch)
        ratio = torch.where(quiet, self.uniform(30, 60, batch, 1), ratio)
        noise = torch.fft.rfft(self._noise(sound, frequency))
        through = torch.where(self.often(0.8, batch), band, torch.ones_like(band))
        noise = _levelled(torch.fft.irfft(noise * through, size))
        sound = self._sent(sound + noise * 10 ** (-ratio / 20), hard, frequency)
        sound = self._keyed(sound, lengths)
        floor = 10 ** (self.uniform(-80, -45, batch, 1) / 20)
        sound = sound + torch.randn_like(sound) * floor
        meant = torch.arange(size, device=self.device)[None] < lengths[:, None]
        return sound * meant


def _levelled(sound: Tensor) -> Tensor:
    return sound / (sound.std(1, keepdim=True) + 1e-6)


def _loudest(sound: Tensor) -> Tensor:
    return sound / (sound.abs().amax(1, keepdim=True) + 1e-6)
