"""Fit the acoustic model to synthetic speech in simulated radio, on an accelerator.

Every batch is drawn from the seed and its number alone, of items of like length. Half of the items
are sentences as they were spoken, half are words of a voice put together, whose borders are known.
It begins with few words and little noise and gets harder (Y. Bengio et al., "Curriculum learning",
2009): full noise from the start stays where no word is ever said. The loss is that of connectionist
temporal classification for words, half of it for phones, and half the cross-entropy of frames where
borders are known. What is kept is a moving average of the weights.

Sums on an accelerator have no fixed order: two runs are alike, not equal bit by bit.
"""

from __future__ import annotations

import argparse
import contextlib
import functools
import hashlib
import itertools
import json
import lzma
import math
import multiprocessing
import os
import random
import time
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import torch
import torch.distributed
from torch import Tensor
from torch.nn import functional

from codec.voice.features import RATE, SPECTRUM, STEP, WINDOW, mel_matrix
from codec.voice.training.export import begun
from codec.voice.training.network import AcousticNetwork
from codec.voice.training.radio import Radio
from codec.voice.training.speak import unpacked
from codec.voice.training.vocabulary import class_number, classes, symbol_of

SHARES = {"kokoro": 0.38, "espeak": 0.38, "piper": 0.1, "flite": 0.14}
WORLD, RANK = int(os.environ.get("WORLD_SIZE", "1")), int(os.environ.get("RANK", "0"))
TOGETHER = 4  # batches drawn at once and parted by length
MOST = 60_000  # samples of an item
AGAIN = 0.08  # of words are said twice in a row, as figures are
NO_CLASS = -100  # frames whose class is not known
STRETCHES = np.linspace(0.84, 1.2, 25)
_QUIET = (38, 33, 28, 24)  # decibels below the loudest, for pauses between words; tried in turn


@dataclass(frozen=True, slots=True)
class SpokenPiece:
    """A stretch of speech: where it is in all the speech, and what is said."""

    begin: int
    samples: int
    words: tuple[str, ...]
    voice: str


@dataclass
class TrainingSpeech:
    """All speech, its sentences by synthesiser, and the single words by voice."""

    sound: np.ndarray
    sentences: dict[str, list[SpokenPiece]] = field(default_factory=lambda: defaultdict(list))
    words: dict[str, list[SpokenPiece]] = field(default_factory=lambda: defaultdict(list))
    digests: dict[str, str] = field(default_factory=dict)

    def engines(self) -> dict[str, list[str]]:
        """Return the voices with enough single words, by synthesiser."""
        found = defaultdict(list)
        for voice, pieces in self.words.items():
            if len(pieces) >= 8:
                found[voice.split(":")[0]].append(voice)
        return found


@functools.cache
def _shard(path: Path) -> tuple[str, np.ndarray, list[tuple[str, SpokenPiece, list[SpokenPiece]]]]:
    """Return the digest of a shard, its sound, and its sentences by synthesiser with the words of
    lists, places counted from its beginning.
    """
    told = json.loads(path.read_text("utf-8"))
    data = lzma.decompress(path.with_suffix(".u8.xz").read_bytes())
    digest = hashlib.sha256(data).hexdigest()
    if digest != told["sha256"]:
        raise ValueError(f"{path} is not the speech it was written with")
    sound, place, found = unpacked(np.frombuffer(data, np.uint8)), 0, []
    for item in told["items"]:
        piece = SpokenPiece(place, item["samples"], tuple(item["words"]), item["voice"])
        heard = sound[place : place + item["samples"]]
        words = _words(heard, piece) if item["kind"] == "list" else []
        found.append((item["voice"].split(":")[0], piece, words))
        place += item["samples"]
    return digest, sound, found


def load(paths: Iterable[Path]) -> TrainingSpeech:
    """Return the speech of shards; raises ValueError where one is not what its digest says."""
    sounds, begin, speech = [], 0, TrainingSpeech(np.zeros(0, np.float32))
    for path in sorted(paths):
        speech.digests[path.stem], sound, found = _shard(path)
        for engine, piece, words in found:
            moved = [replace(one, begin=one.begin + begin) for one in (piece, *words)]
            speech.sentences[engine].append(moved[0])
            if words:
                speech.words[piece.voice] += moved[1:]
        sounds.append(sound)
        begin += len(sound)
    speech.sound = np.concatenate(sounds)
    return speech


def _words(sound: np.ndarray, piece: SpokenPiece) -> list[SpokenPiece]:
    """Return the words of a list, cut at its pauses, none where there are not as many as words."""
    frames = sound[: len(sound) // STEP * STEP].reshape(-1, STEP)
    level = 10 * np.log10((frames**2).mean(axis=1) + 1e-9)
    for below in _QUIET:
        loud = np.flatnonzero(level > level.max() - below)
        breaks = np.flatnonzero(np.diff(loud) > 9)
        begins, ends = loud[np.r_[0, breaks + 1]], loud[np.r_[breaks, len(loud) - 1]]
        spans = [(b, e) for b, e in zip(begins, ends, strict=True) if e - b >= 6]
        if len(spans) == len(piece.words):
            break
    else:
        return []
    found = []
    for (first, last), word in zip(spans, piece.words, strict=True):
        low, high = max(0, first - 3), min(last + 4, len(frames))
        begin = piece.begin + int(low) * STEP
        found.append(SpokenPiece(begin, int(high - low) * STEP, (word,), piece.voice))
    return found


@dataclass
class DrawnItem:
    """What is put together: rows of (begin, samples, source, speed, gain, class), the words, and
    the samples in all.
    """

    rows: list[tuple[float, ...]]
    words: list[str]
    samples: int


class Drawer:
    """Draws items; ``hard`` 0 … 1 is how far training has come."""

    def __init__(self, speech: TrainingSpeech) -> None:
        self.speech = speech
        self.voices = speech.engines()
        symbols = symbol_of()
        self.spelling = {
            voice: [piece for piece in pieces if piece.words[0] in symbols]
            for voice, pieces in speech.words.items()
        }

    def _engine(self, rng: random.Random, among: dict[str, Any]) -> str:
        names = sorted(name for name in among if among[name])
        return rng.choices(names, [SHARES.get(name, 0.1) for name in names])[0]

    def item(self, rng: random.Random, hard: float) -> DrawnItem:
        """Return one item."""
        share, begin = rng.random(), RATE * rng.uniform(0.05, 0.5)
        if share < 0.03:
            return DrawnItem([], [], int(RATE * rng.uniform(1, 4)))
        speed = rng.uniform(0.82, 1.22)
        if share < 0.03 + 0.5 * min(1, 0.25 + hard):
            return self._spoken(rng, begin, speed)
        return self._joined(rng, begin, speed, hard)

    def _spoken(self, rng: random.Random, begin: float, speed: float) -> DrawnItem:
        """Return one sentence as spoken, sometimes two."""
        item = DrawnItem([], [], 0)
        for _ in range(2 if rng.random() < 0.15 else 1):
            sentences = self.speech.sentences
            piece = rng.choice(sentences[self._engine(rng, sentences)])
            samples = int(piece.samples / speed)
            if begin + samples > MOST:
                break
            gain = 10 ** (rng.uniform(-3, 3) / 20)
            item.rows.append((int(begin), samples, piece.begin, speed, gain, NO_CLASS))
            item.words += piece.words
            begin += samples + RATE * rng.uniform(0.05, 0.5)
        item.samples = min(int(begin + RATE * rng.uniform(0.02, 0.5)), MOST + 4000)
        return item

    def _joined(self, rng: random.Random, begin: float, speed: float, hard: float) -> DrawnItem:
        """Return words put together."""
        voices = self.voices[self._engine(rng, self.voices)]
        voice, mixed = rng.choice(voices), rng.random() < 0.12
        full = rng.randint(1, 9) if rng.random() < 0.4 else rng.randint(5, 8)
        count = full if rng.random() <= hard else rng.randint(1, 3)
        gaps = rng.choice([(-0.04, 0.06), (0.0, 0.15), (0.03, 0.16), (0.05, 0.4)])
        item = DrawnItem([], [], 0)
        said: SpokenPiece | None = None
        for _ in range(count):
            if mixed:
                voice = rng.choice(self.voices[self._engine(rng, self.voices)])
            spelling = self.spelling[voice]
            known = spelling and rng.random() < 0.85
            piece = rng.choice(spelling if known else self.speech.words[voice])
            if said and rng.random() < AGAIN:
                piece = said
            said = piece
            own = speed * rng.uniform(0.95, 1.05)
            cut = int(RATE * rng.uniform(0, 0.02)) if rng.random() < 0.3 else 0
            samples = int((piece.samples - cut) / own)
            if begin + samples > MOST:
                break
            gain, number = 10 ** (rng.uniform(-4, 4) / 20), class_number(piece.words[0])
            item.rows.append((int(begin), samples, piece.begin, own, gain, number))
            item.words.append(piece.words[0])
            begin = max(0, begin + samples + RATE * rng.uniform(*gaps))
        item.samples = min(int(begin + RATE * rng.uniform(0.02, 0.5)), MOST + 4000)
        return item

    def batches(self, number: int, seed: str, size: int, hard: float) -> list[dict[str, Any]]:
        """Return some batches as arrays, of items of like length each."""
        rng = random.Random(f"{seed} {number}")
        items = [self.item(rng, hard) for _ in range(size * TOGETHER)]
        items.sort(key=lambda item: item.samples)
        parts = [items[place : place + size] for place in range(0, len(items), size)]
        for part in parts:
            rng.shuffle(part)
        rng.shuffle(parts)
        return [table(part) for part in parts]


def table(items: list[DrawnItem]) -> dict[str, Any]:
    """Return items as arrays: rows (item, piece, 6), lengths, and the words."""
    pieces = max(1, *(len(item.rows) for item in items))
    rows = np.zeros((len(items), pieces, 6))
    rows[:, :, 0] = 1e9
    for number, item in enumerate(items):
        if item.rows:
            rows[number, : len(item.rows)] = item.rows
    samples = -(-max(item.samples for item in items) // 4000) * 4000
    silent = [NO_CLASS if item.rows and item.rows[0][5] == NO_CLASS else 0 for item in items]
    return {
        "rows": rows,
        "samples": samples,
        "lengths": np.array([item.samples for item in items]),
        "silent": np.array(silent),
        "words": [item.words for item in items],
    }


class Sounds:
    """Puts items together on the device."""

    def __init__(self, sound: np.ndarray, device: str) -> None:
        self.sound, self.device = torch.from_numpy(sound).to(device), device
        matrices = np.stack([mel_matrix(float(1 / one)) for one in STRETCHES])
        self.matrices = torch.from_numpy(matrices).to(device)
        self.matrix = torch.from_numpy(mel_matrix()).to(device)
        self.window = torch.hann_window(WINDOW, device=device)

    def joined(self, batch: dict[str, Any]) -> tuple[Tensor, Tensor, Tensor]:
        """Return the sounds (item, sample), their lengths, and the class of each frame."""
        rows = torch.from_numpy(batch["rows"]).to(self.device)
        size = batch["samples"]
        begins = rows[:, :, 0].contiguous()
        time = torch.arange(size, device=self.device, dtype=torch.float64)
        time = time[None].expand(len(rows), size).contiguous()
        piece = torch.searchsorted(begins, time, right=True) - 1
        there = piece >= 0
        piece = piece.clamp(min=0)

        def of(column: int) -> Tensor:
            return torch.gather(rows[:, :, column], 1, piece)

        since, long = time - of(0), of(1)
        there &= since < long
        place = of(2) + since * of(3)
        whole = place.floor().long().clamp(1, len(self.sound) - 3)
        part = (place - whole).float()
        a, b, c, d = (self.sound[whole + step] for step in (-1, 0, 1, 2))
        # cubic interpolation (Catmull-Rom)
        curve = 2 * a - 5 * b + 4 * c - d + part * (3 * (b - c) + d - a)
        between = b + 0.5 * part * (c - a + part * curve)
        fade = ((since / 40).clamp(0, 1) * ((long - since) / 40).clamp(0, 1)).float()
        sound = torch.where(there, between * of(4).float() * fade, torch.zeros_like(between))
        silent = torch.from_numpy(batch["silent"]).to(self.device)[:, None]
        frames = torch.where(there[:, ::STEP], of(5)[:, ::STEP].long(), silent)
        return sound, torch.from_numpy(batch["lengths"]).to(self.device), frames

    def features(
        self, sound: Tensor, lengths: Tensor, *, varied: bool
    ) -> tuple[Tensor, Tensor, float]:
        """Return features as ``codec.voice.features`` makes them, how many frames are meant, and
        by how much time was stretched; ``varied`` for training.
        """
        spectrum = torch.stft(
            sound, SPECTRUM, STEP, WINDOW, self.window, pad_mode="constant", return_complex=True
        )
        power, frames = spectrum.abs() ** 2, lengths // STEP + 1
        if varied:
            drawn = torch.randint(len(STRETCHES), (len(sound),), device=self.device)
            power = torch.matmul(self.matrices[drawn], power)
        else:
            power = torch.matmul(self.matrix, power)
        meant = torch.arange(power.shape[2], device=self.device)[None] < frames[:, None]
        kept = meant.float()[:, None]
        mean = (power * kept).sum((1, 2)) / (kept.sum((1, 2)) * power.shape[1] + 1e-6)
        found = (torch.log(power / (mean[:, None, None] + 1e-12) + 1e-3) + 2) / 2
        if not varied:
            return found, frames, 1.0
        stretch = 0.88 + 0.3 * float(torch.rand(1))
        found = functional.interpolate(found, scale_factor=stretch, mode="linear")
        frames = (frames * stretch).long().clamp(1, found.shape[2])
        return self._masked(found, frames), frames, stretch

    def _masked(self, found: Tensor, frames: Tensor) -> Tensor:
        """Return features with bands and times left out (D. S. Park et al., "SpecAugment",
        2019).
        """
        batch, bands, time = found.shape
        band = torch.arange(bands, device=self.device)[None]
        moment = torch.arange(time, device=self.device)[None]
        for _ in range(2):
            wide = torch.rand(batch, 1, device=self.device) * 8
            low = torch.rand(batch, 1, device=self.device) * (bands - wide)
            found = found.masked_fill(((band >= low) & (band < low + wide))[:, :, None], 0.0)
            wide = torch.rand(batch, 1, device=self.device) * 12
            low = torch.rand(batch, 1, device=self.device) * (frames[:, None] - wide)
            found = found.masked_fill(((moment >= low) & (moment < low + wide))[:, None], 0.0)
        return found


def output_times(lengths: np.ndarray, stretch: float, most: int) -> Tensor:
    """Return how many times of 40 ms the network tells for sounds of so many samples."""
    frames = ((torch.from_numpy(lengths) // STEP + 1) * stretch).long().clamp(1, most)
    return ((frames + 1) // 2 + 1) // 2


class Training:
    """The network, and what is kept of it."""

    sounds: Sounds

    def __init__(self, given: argparse.Namespace, device: str) -> None:
        spoken: dict[str, list[str]] = json.loads(given.phones.read_text("utf-8"))
        names = sorted({phone for phones in spoken.values() for phone in phones})
        self.phones = {
            word: [1 + names.index(phone) for phone in phones] for word, phones in spoken.items()
        }
        self.device, self.given = device, given
        self.radio = Radio(device)
        phones = len(names) + 1
        self.network = AcousticNetwork(len(classes()), phones, given.width, given.depth, given.drop)
        if given.start:
            self.network.load_state_dict(begun(given.start), strict=False)
        self.network.to(device)
        if given.compile:
            for block in self.network.blocks:
                block.compile(dynamic=True)
        self.parameters = [one for one in self.network.parameters() if one.requires_grad]
        self.kept = [one.detach().clone() for one in self.parameters]
        self.optimiser = torch.optim.AdamW(
            self.parameters,
            given.rate,
            weight_decay=0.03,
            betas=(0.9, 0.98),
            fused=device == "cuda",
        )
        self.step = 0

    def loss(self, batch: dict[str, Any], hard: float) -> Tensor:
        """Return the three losses of a batch."""
        sound, lengths, frames = self.sounds.joined(batch)
        sound = self.radio.heard(sound, lengths, hard)
        found, meant, stretch = self.sounds.features(sound, lengths, varied=True)
        with torch.autocast(self.device, torch.bfloat16):
            word, phone, _, frame = self.network.trained(found, meant)
        times = output_times(batch["lengths"], stretch, found.shape[2])  # asks no device to wait
        words = [[class_number(one) for one in said] for said in batch["words"]]
        phones = [[p for one in said for p in self.phones[one]] for said in batch["words"]]
        by_word = self._ctc(word, times, words) / torch.tensor(
            [len(one) + 1 for one in words], device=self.device
        )
        by_phone = self._ctc(phone, 2 * times, phones) / torch.tensor(
            [len(one) + 4 for one in phones], device=self.device
        )
        place = torch.arange(frame.shape[1], device=self.device)
        at = ((place * 4 + 2) / stretch).long().clamp(max=frames.shape[1] - 1)
        away = place[None] >= times.to(self.device)[:, None]
        target = frames[:, at].masked_fill(away, NO_CLASS)
        by_frame = functional.cross_entropy(
            frame.float().transpose(1, 2), target, ignore_index=NO_CLASS
        )
        return torch.stack([by_word.mean(), by_phone.mean(), by_frame.nan_to_num()])

    def _ctc(self, logits: Tensor, times: Tensor, said: list[list[int]]) -> Tensor:
        targets = torch.tensor([one for row in said for one in row] or [1], device=self.device)
        return functional.ctc_loss(
            logits.float().log_softmax(-1).transpose(0, 1),
            targets,
            times,
            torch.tensor([len(row) for row in said]),
            zero_infinity=True,
            reduction="none",
        )

    def pace(self) -> float:
        """Set the learning rate of this step; return how hard it is."""
        given = self.given
        share = self.step / given.steps
        rise = min(1, (self.step + 1) / given.warm)
        fall = 0.5 * (1 + math.cos(math.pi * max(0, (share - 0.25) / 0.75))) * 0.99 + 0.01
        for group in self.optimiser.param_groups:
            group["lr"] = given.rate * rise * fall
        return hardness(self.step, given)

    def take(self, batch: dict[str, Any]) -> Tensor:
        """Take one step; return the losses."""
        losses = self.loss(batch, self.pace())
        weights = torch.tensor([1.0, 0.5, 0.5], device=self.device)
        self.optimiser.zero_grad(set_to_none=True)
        (losses * weights).sum().backward()
        if WORLD > 1:
            gradients = [one.grad for one in self.parameters if one.grad is not None]
            together = torch.cat([one.flatten() for one in gradients]) / WORLD
            torch.distributed.all_reduce(together)
            parts = together.split([one.numel() for one in gradients])
            torch._foreach_copy_(
                gradients, [p.view_as(g) for p, g in zip(parts, gradients, strict=True)]
            )
        torch.nn.utils.clip_grad_norm_(self.parameters, 2.0)
        self.optimiser.step()
        self.step += 1
        decay = min(0.9995, (1 + self.step) / (20 + self.step))
        with torch.no_grad():
            torch._foreach_lerp_(self.kept, [one.detach() for one in self.parameters], 1 - decay)
        return losses.detach()

    def averaged(self) -> AcousticNetwork:
        """Return the network with the moving average of its weights."""
        phones = self.network.phones
        found = AcousticNetwork(len(classes()), phones, self.given.width, self.given.depth)
        found.to(self.device).eval()
        with torch.no_grad():
            for one, kept in zip(found.parameters(), self.kept, strict=True):
                one.copy_(kept)
        return found

    def go_on(self, until: int, batch: Callable[[int], dict[str, Any]], began: float) -> None:
        """Train up to a step, and tell now and then how it goes."""
        shown, seen = time.monotonic(), []
        while self.step < until:
            losses = self.take(batch(self.step))
            if self.step % 20 == 0:
                seen.append(losses)
            if time.monotonic() - shown > 20 and seen and RANK == 0:
                shown = time.monotonic()
                mean = torch.stack(seen[-30:]).mean(0).tolist()
                if not all(map(math.isfinite, mean)):
                    raise SystemExit("the loss is not a number")
                told = " ".join(f"{one:.3f}" for one in mean)
                print(self.step, f"{shown - began:.0f} s", told, flush=True)
            if self.step % 1000 == 0 and RANK == 0:
                self.write(self.given.out)

    def write(self, folder: Path) -> None:
        """Write the average as ``weights.pt``, in 16 bits."""
        weights = {k: v.half().cpu() for k, v in self.averaged().state_dict().items()}
        torch.save(weights, folder / "weights.pt")

    def save(self, path: Path) -> None:
        """Write all that is needed to go on."""
        state = {
            "network": self.network.state_dict(),
            "kept": self.kept,
            "optimiser": self.optimiser.state_dict(),
            "step": self.step,
        }
        torch.save(state, path)

    def resume(self, path: Path) -> None:
        """Go on from what ``save`` wrote."""
        state = torch.load(path, map_location=self.device, weights_only=True)
        self.network.load_state_dict(state["network"])
        self.kept = state["kept"]
        self.optimiser.load_state_dict(state["optimiser"])
        self.step = state["step"]


def hardness(step: int, given: argparse.Namespace) -> float:
    """Return how hard a step is, 0 … 1."""
    return min(1.0, step / (given.steps * given.ramp))


def _feed(number: int, given: argparse.Namespace, drawer: Drawer, first: int, queue: Any) -> None:
    torch.set_num_threads(1)
    seed = f"{given.seed} {RANK}"
    for step in itertools.count(first + number * TOGETHER, given.feeders * TOGETHER):
        for batch in drawer.batches(step, seed, given.batch, hardness(step, given)):
            queue.put(batch)


@contextlib.contextmanager
def fed(given: argparse.Namespace, speech: TrainingSpeech, first: int) -> Iterator[Any]:
    """Yield a function that gives the batches from a step on, drawn by other processes."""
    drawer, context = Drawer(speech), multiprocessing.get_context("fork")
    queues = [context.Queue(2 * TOGETHER) for _ in range(given.feeders)]
    feeders = [
        context.Process(target=_feed, args=(number, given, drawer, first, queue), daemon=True)
        for number, queue in enumerate(queues)
    ]
    for one in feeders:
        one.start()
    try:
        yield lambda step: queues[(step - first) // TOGETHER % given.feeders].get()
    finally:
        for one in feeders:
            one.kill()
            one.join()


def exact(training: Training, speech: TrainingSpeech, seed: int) -> dict[str, float]:
    """Return the share of sentences of other speech read without a fault, from none to full noise,
    taking the likeliest class of each frame.
    """
    sounds, network, rng = (
        Sounds(speech.sound, training.device),
        training.averaged(),
        random.Random(seed),
    )
    drawer, found = Drawer(speech), {}
    torch.manual_seed(seed)
    pieces = [
        one for rows in speech.sentences.values() for one in rows if one.samples < MOST - 9000
    ]
    pieces = rng.sample(pieces, min(300, len(pieces)))
    items = [
        DrawnItem(
            [(2000, one.samples, one.begin, 1.0, 1.0, NO_CLASS)],
            list(one.words),
            one.samples + 5000,
        )
        for one in pieces
    ]
    del drawer
    batch = table(items)
    wanted = [[class_number(word) for word in item.words] for item in items]
    for name, hard in (("quiet", None), ("half", 0.5), ("full", 1.0)):
        with torch.no_grad(), torch.autocast(training.device, torch.bfloat16):
            sound, lengths, _ = sounds.joined(batch)
            if hard is not None:
                sound = training.radio.heard(sound, lengths, hard)
            features, frames, _ = sounds.features(sound, lengths, varied=False)
            word, _, times, _ = network.trained(features, frames)
        best = word.float().argmax(-1).cpu().numpy()
        right = 0
        for row, count, said in zip(best, times.tolist(), wanted, strict=True):
            read = [
                int(c)
                for c, before in zip(row[:count], [0, *row[: count - 1]], strict=True)
                if c and c != before
            ]
            right += read == said
        found[name] = right / len(wanted)
    return found


def main() -> None:
    """Train, as the command line says."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("speech", type=Path, help="the folder of shards")
    parser.add_argument("--check", nargs="*", type=Path, default=[], help="shards of other voices")
    parser.add_argument("--phones", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True, help="a folder")
    parser.add_argument("--state", type=Path, help="to go on from, and to write")
    parser.add_argument("--start", type=Path, help="weights or a model to begin with")
    parser.add_argument("--compile", action="store_true", help="the blocks, for an accelerator")
    parser.add_argument("--steps", type=int, required=True, help="in all")
    parser.add_argument(
        "--until",
        type=int,
        nargs="+",
        help="the steps after which shards that came meanwhile are taken in, and the one to stop "
        "after; all of them",
    )
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--batch", type=int, default=256)
    parser.add_argument("--rate", type=float, default=1.3e-3)
    parser.add_argument("--warm", type=int, default=400)
    parser.add_argument("--ramp", type=float, default=0.3)
    parser.add_argument("--width", type=int, default=176)
    parser.add_argument("--depth", type=int, default=8)
    parser.add_argument("--drop", type=float, default=0.05)
    parser.add_argument("--feeders", type=int, default=10)
    given = parser.parse_args()
    given.until = given.until or [given.steps]
    run(given)


def run(given: argparse.Namespace) -> None:
    """Train as far as given; write the averaged weights and what they were made from.

    Started by torchrun, each process takes its own batches on its own accelerator, and what they
    find is put together at each step.
    """
    device = "cuda" if torch.cuda.is_available() else "cpu"
    if WORLD > 1:
        if device == "cuda":
            torch.cuda.set_device(int(os.environ["LOCAL_RANK"]))
        torch.distributed.init_process_group()
    torch.manual_seed(given.seed)
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    training = Training(given, device)
    if given.state and given.state.exists():
        training.resume(given.state)
    torch.manual_seed((given.seed + training.step) * WORLD + RANK)
    given.out.mkdir(parents=True, exist_ok=True)
    began = time.monotonic()
    for until in given.until:
        if WORLD > 1:
            torch.distributed.barrier()
        speech = load(given.speech.glob("*.json"))
        hours = len(speech.sound) / RATE / 3600
        many = {name: len(pieces) for name, pieces in speech.sentences.items()}
        voices = {name: len(some) for name, some in speech.engines().items()}
        if RANK == 0:
            print(f"{hours:.2f} h, {many} sentences, {voices} voices with words", flush=True)
        training.sounds = Sounds(speech.sound, device)
        with fed(given, speech, training.step) as batch:
            training.go_on(until, batch, began)
    if RANK:
        return
    if given.state:
        training.save(given.state)
    training.write(given.out)
    facts: dict[str, Any] = {
        "step": training.step,
        "seconds": round(time.monotonic() - began),
        "options": {k: str(v) for k, v in vars(given).items()},
        "devices": WORLD,
        "speech": speech.digests,
        "hours": round(hours, 2),
        "weights": sum(one.numel() for one in training.parameters),
        "phones": training.network.phones - 1,
    }
    for path in given.check:
        facts[f"exact {path.stem}"] = exact(training, load([path]), 1)
    (given.out / "training.json").write_text(json.dumps(facts, indent=1), "utf-8")
    print(json.dumps(facts), flush=True)


if __name__ == "__main__":
    main()
