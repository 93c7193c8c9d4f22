"""Simulated radio for training: many sounds at once, on an accelerator.

What is varied: the room, the microphone's and the helmet's response, the band of the channel,
noise and talk behind, levelling, clipping, µ-law, squelch, keying and dropouts. Noise is drawn
from broad families: coloured hiss in gusts, fields patched over time and frequency, whine, clicks
at random times, tones that come and go, each of them switched and swelling at random or not. Noise
of the kinds that the bench holds out is not made here: nothing comes in even pulses, rings or
plays chords, and nobody talks behind himself.
"""

from __future__ import annotations

import math

import torch
from torch import Tensor
from torch.nn import functional

RATE = 8000
_ALONE = 0.45  # of sounds have noise of one kind only


class Radio:
    """Draws the radio of a batch; ``device`` is where, and torch's generator there decides."""

    def __init__(self, device: str) -> None:
        self.device = device
        self._kinds = (  # and how often each is there where there may be several
            (0.8, self._hiss),
            (0.4, self._hiss),
            (0.45, self._patches),
            (0.4, self._whine),
            (0.3, self._clicks),
            (0.3, self._tones),
        )

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

    def _patches(self, batch: int, size: int, _frequency: Tensor) -> Tensor:
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

    def _whine(self, batch: int, size: int, _frequency: Tensor) -> Tensor:
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

    def _clicks(self, batch: int, size: int, frequency: Tensor) -> Tensor:
        """Return clicks and crackle: short bursts at random times, from single ones to dozens a
        second, of all strengths.
        """
        often = torch.exp(self.uniform(math.log(0.7), math.log(80), batch, 1)) / RATE
        struck = torch.rand(batch, size, device=self.device) < often
        strength = (-torch.log(torch.rand(batch, size, device=self.device).clamp(1e-6))) ** 1.5
        strength = strength * torch.sign(torch.randn(batch, size, device=self.device))
        time = torch.arange(400, device=self.device)[None] / RATE
        fading = torch.exp(self.uniform(math.log(0.0003), math.log(0.009), batch, 1))
        burst = torch.randn(batch, 400, device=self.device) * torch.exp(-time / fading)
        response = torch.fft.rfft(burst, size)
        response = response * self._curve(batch, response.shape[1], self.uniform(0, 12, batch, 1))
        response = response * (frequency.clamp(min=60) / 1000) ** self.uniform(-0.8, 0.8, batch, 1)
        sound = torch.fft.irfft(torch.fft.rfft(struck * strength) * response, size)
        floor = torch.randn_like(sound) * 10 ** (self.uniform(-40, -12, batch, 1) / 20)
        return _levelled(_levelled(sound) + floor)

    def _tones(self, batch: int, size: int, _frequency: Tensor) -> Tensor:
        """Return tones with overtones that come and go and glide, each by itself."""
        found = torch.zeros(batch, size, device=self.device)
        for _ in range(5):
            pitch = torch.exp(self.uniform(math.log(110), math.log(2400), batch, 1))
            glide = self._envelope(batch, size, -1, 1, self.one(0.5, 5))
            glide = 1 + glide * self.uniform(0, 0.25, batch, 1) ** 2
            turned = 2 * math.pi * torch.cumsum(pitch * glide / RATE, 1)
            tone = torch.sin(turned + self.uniform(0, 6, batch, 1))
            for order in (2, 3, 4):
                level = self.uniform(0, 1, batch, 1) ** 2 * (order * pitch < 3600)
                tone = tone + level * torch.sin(order * turned + self.uniform(0, 6, batch, 1))
            found += tone * self._switched(batch, size) * self._weight(batch)
        return _levelled(found)

    def _switched(self, batch: int, size: int) -> Tensor:
        """Return a gain drawn anew at random, 1 to 45 times a second, in jumps or smoothly; with
        some share of silence.
        """
        count = int(size / RATE * 45) + 3
        levels = self.uniform(0, 1, batch, count) ** self.uniform(0.3, 4, batch, 1)
        levels = levels * (self.uniform(0, 1, batch, count) > self.uniform(-0.3, 0.6, batch, 1))
        rate = torch.exp(self.uniform(0, math.log(45), batch, 1))
        time = torch.arange(0, size, 16, device=self.device)[None] / RATE
        place = time * rate + self.uniform(0, 1, batch, 1)
        before = place.long()
        part = (place - before) * self.often(0.5, batch)
        low = torch.gather(levels, 1, before)
        gains = low + part * (torch.gather(levels, 1, before + 1) - low)
        return functional.interpolate(gains[:, None], size=size, mode="linear")[:, 0]

    def _noise(self, speech: Tensor, frequency: Tensor) -> tuple[Tensor, Tensor]:
        """Return noise, and in which sounds it is mostly talk.

        Often it is of one kind alone; each kind is made for the sounds that have it, no others.
        """
        batch, size = speech.shape
        alone, only = torch.rand(batch) < _ALONE, torch.randint(len(self._kinds), (batch,))
        noise = 0.03 * torch.randn_like(speech)
        for number, (share, kind) in enumerate(self._kinds):
            on = torch.where(alone, only == number, torch.rand(batch) < share)
            rows = on.nonzero()[:, 0].to(self.device)
            if len(rows):
                drawn = kind(len(rows), size, frequency)
                uneven = _levelled(drawn * self._switched(len(rows), size))
                drawn = torch.where(self.often(0.35, len(rows)), uneven, drawn)
                noise.index_add_(0, rows, drawn * self._weight(len(rows)))
        others = torch.zeros_like(speech)
        for shift in range(1, 4):  # the other sounds of the batch talk in between
            others += torch.roll(speech, shift, 0) * self.often(0.6, batch)
        talk = _levelled(others) * self._weight(batch) * self.often(0.4, batch)
        noise = _levelled(noise) * self.uniform(0.1, 1, batch, 1)
        return _levelled(noise + talk), talk.std(1, keepdim=True) > noise.std(1, keepdim=True)

    def _weight(self, batch: int) -> Tensor:
        return (-torch.log(self.uniform(1e-4, 1, batch, 1))) ** 0.8

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
        drawn, talk = self._noise(sound, frequency)
        ratio = self.uniform(24 - 28 * hard, 28, batch, 1)
        ratio = torch.where(talk, ratio.clamp(min=2), ratio)  # below, who is meant is not clear
        quiet = self.often(0.12 + 0.5 * (1 - hard), batch)
        ratio = torch.where(quiet, self.uniform(30, 60, batch, 1), ratio)
        noise = torch.fft.rfft(drawn)
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
