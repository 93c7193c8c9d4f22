"""Have free synthetic voices say sentences: ``plan`` draws who says what, ``render`` says it.

A plan is JSON, drawn from a seed, and holds for the neural voices the phones to be said, so that
rendering needs no more than their models. A shard of speech is ``NAME.u8.xz``, all its sentences
one after the other at 8 kHz, 8-bit µ-law (ITU-T G.711's curve) of which 7 bits are kept, and
``NAME.json``, which tells the voice, the words and the samples of each.
"""

from __future__ import annotations

import argparse
import functools
import hashlib
import json
import lzma
import multiprocessing
import random
import subprocess
import tempfile
import tomllib
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from codec.voice.training.vocabulary import Sentence, sentence, unknown_words

RATE = 8000
MU = 255.0
_TABLE = tomllib.loads(Path(__file__).with_name("voices.toml").read_text("utf-8"))
_SECONDS = 0.42  # about what a word takes; only to spread the sentences


@dataclass(frozen=True, slots=True)
class VoiceLine:
    """One sentence for one voice; ``mix`` is a second voice of the synthesiser, for half of the
    style.
    """

    engine: str
    voice: str
    mix: str
    accent: str
    speed: float
    pitch: float
    kind: str
    words: tuple[str, ...]
    text: str
    phones: str = ""


def voices_of(
    engine: str, rng: random.Random, count: int, *, held_out: bool
) -> Iterator[VoiceLine]:
    """Yield voices without sentences: each with its accent, speed and pitch."""
    table = _TABLE[engine]
    names = table.get("held_out" if held_out else "voices", [])
    names = names.split() if isinstance(names, str) else names
    for number in range(count):
        mix, accent = "", ""
        if engine == "espeak":
            away = set(table["held_out_variants"].split())
            variants = [v for v in table["variants"].split() if (v in away) == held_out]
            name = variants[number % len(variants)]
            accents = table["held_out_accents"] if held_out and number % 2 else table["accents"]
            accent = rng.choice(accents)
        else:
            name = names[number % len(names)]
            if engine == "kokoro":
                accents = _TABLE["espeak"]["held_out_accents"] if held_out else table["accents"]
                accent = rng.choice(accents) if not held_out or number % 2 else "en-us"
                mix = rng.choice(names) if number >= len(names) else ""
            elif engine == "piper":
                accent = "en-us"
        speed, pitch = rng.uniform(0.85, 1.25), rng.uniform(0.8, 1.25)
        yield VoiceLine(engine, name, mix, accent, speed, pitch, "", (), "")


def plan(
    engine: str, seed: int, count: int, kinds: list[str], listed: Path, *, held_out: bool
) -> list[VoiceLine]:
    """Return the lines of ``count`` voices, each saying a sentence of each of the kinds."""
    rng = random.Random(f"{engine} {seed} {held_out}")
    unknown = unknown_words(listed)
    lines = []
    for voice in voices_of(engine, rng, count, held_out=held_out):
        for kind in kinds:
            drawn = sentence(rng, unknown, kind)
            speed = voice.speed * rng.uniform(0.92, 1.08)
            phones = _phones(drawn, voice.accent) if engine in ("kokoro", "piper") else ""
            lines.append(
                VoiceLine(
                    engine,
                    voice.voice,
                    voice.mix,
                    voice.accent,
                    speed,
                    voice.pitch,
                    kind,
                    drawn.words,
                    drawn.text,
                    phones,
                )
            )
    return lines


@functools.lru_cache(maxsize=100_000)
def _spoken_phones(text: str, accent: str) -> str:
    run = subprocess.run(
        ["espeak-ng", "-q", "--ipa", "-v", accent, text],
        capture_output=True,
        text=True,
        check=True,
    )
    return ", ".join(run.stdout.split("\n")).strip(", ").strip()


def _phones(drawn: Sentence, accent: str) -> str:
    """Return the phones of a sentence, in the International Phonetic Alphabet, as espeak-ng gives
    them.
    """
    return _spoken_phones(drawn.text, accent)


class Synthesisers:
    """The synthesisers of this machine; ``folder`` holds the models of the neural ones."""

    def __init__(self, folder: Path) -> None:
        """Load nothing yet."""
        self.folder = folder

    def say(self, line: VoiceLine) -> np.ndarray:
        """Return what a voice says, at 8 kHz, with 1 as the loudest."""
        sound, rate = getattr(self, f"_{line.engine}")(line)
        return _resampled(sound, rate)

    def _program(self, command: list[str]) -> tuple[np.ndarray, int]:
        import soundfile

        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "out.wav"
            command = [part.replace("@", str(path)) for part in command]
            subprocess.run(command, check=True, capture_output=True)
            sound, rate = soundfile.read(path, dtype="float32")
        return sound, rate

    def _espeak(self, line: VoiceLine) -> tuple[np.ndarray, int]:
        words = round(155 * line.speed)
        voice = f"{line.accent}+{line.voice}"
        pitch = str(round(50 * line.pitch))
        return self._program(
            ["espeak-ng", "-v", voice, "-s", str(words), "-p", pitch, "-w", "@", line.text]
        )

    def _flite(self, line: VoiceLine) -> tuple[np.ndarray, int]:
        stretch = f"duration_stretch={1.05 / line.speed:.3f}"
        return self._program(
            ["flite", "-voice", line.voice, "--setf", stretch, "-t", line.text, "-o", "@"]
        )

    def _festival(self, line: VoiceLine) -> tuple[np.ndarray, int]:
        import soundfile

        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "out.wav"
            stretch = f"(Parameter.set 'Duration_Stretch {1 / line.speed:.3f})"
            command = ["text2wave", "-eval", f"(voice_{line.voice})", "-eval", stretch]
            subprocess.run([*command, "-o", str(path)], input=line.text.encode(), check=True)
            sound, rate = soundfile.read(path, dtype="float32")
        return sound, rate

    @functools.cached_property
    def _kokoro_parts(self) -> tuple[Any, dict[str, int]]:
        session = _session(self.folder / "kokoro.onnx")
        table = json.loads((self.folder / "kokoro.json").read_text("utf-8"))
        return session, table["vocab"]

    def _kokoro(self, line: VoiceLine) -> tuple[np.ndarray, int]:
        session, numbers = self._kokoro_parts
        tokens = [numbers[one] for one in line.phones if one in numbers][:500]
        style = self._style(line.voice)[len(tokens) - 1]
        if line.mix:
            style = 0.5 * (style + self._style(line.mix)[len(tokens) - 1])
        inputs = {
            "tokens": np.array([[0, *tokens, 0]]),
            "style": style[None],
            "speed": np.array([line.speed], np.float32),
        }
        return session.run(None, inputs)[0].ravel(), 24000

    def _style(self, voice: str) -> np.ndarray:
        path = self.folder / "voices" / f"{voice}.bin"
        return np.fromfile(path, np.float32).reshape(-1, 256)

    @functools.cached_property
    def _piper_parts(self) -> tuple[Any, dict[str, Any]]:
        path = self.folder / "en_US-joe-medium.onnx"
        return _session(path), json.loads(Path(f"{path}.json").read_text("utf-8"))

    def _piper(self, line: VoiceLine) -> tuple[np.ndarray, int]:
        session, settings = self._piper_parts
        numbers = settings["phoneme_id_map"]
        tokens = [*numbers["^"], 0]
        for one in line.phones:
            tokens += [*numbers.get(one, []), 0] if one in numbers else []
        tokens += numbers["$"]
        seed = int.from_bytes(hashlib.sha256(line.phones.encode()).digest()[:4], "big")
        jitter = np.random.default_rng(seed).uniform(0.5, 0.9)
        inputs = {
            "input": np.array([tokens]),
            "input_lengths": np.array([len(tokens)]),
            "scales": np.array([jitter, 1 / line.speed, 0.8], np.float32),
        }
        return session.run(None, inputs)[0].ravel(), settings["audio"]["sample_rate"]


def _session(path: Path) -> Any:
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    return onnxruntime.InferenceSession(path, options, providers=["CPUExecutionProvider"])


def _resampled(sound: np.ndarray, rate: int) -> np.ndarray:
    """Return sound at 8 kHz, its loudest 1, without silence at its ends."""
    from scipy.signal import resample_poly

    if sound.ndim > 1:
        sound = sound.mean(axis=1)
    divisor = np.gcd(rate, RATE)
    sound = resample_poly(sound.astype(np.float64), RATE // divisor, rate // divisor)
    sound = sound / (np.abs(sound).max() + 1e-9)
    loud = np.flatnonzero(np.abs(sound) > 0.01)
    if not len(loud):
        return np.zeros(0)
    return np.asarray(sound[max(0, loud[0] - 200) : loud[-1] + 400])


def packed(sound: np.ndarray) -> np.ndarray:
    """Return sound as 8-bit µ-law with the last bit dropped."""
    level = np.sign(sound) * np.log1p(MU * np.abs(sound)) / np.log1p(MU)
    return (np.round((level + 1) * 63.5) * 2).clip(0, 254).astype(np.uint8)


def unpacked(data: np.ndarray) -> np.ndarray:
    """Return the sound that ``packed`` packed."""
    level = data.astype(np.float32) / 127.0 - 1
    sound = np.sign(level) * np.expm1(np.abs(level) * np.log1p(MU)) / MU
    return np.where(np.abs(sound) < 8e-4, 0, sound).astype(np.float32)


_synthesisers = functools.cache(Synthesisers)  # one in each process


def _rendered(job: tuple[Path, VoiceLine]) -> np.ndarray:
    folder, line = job
    return packed(_synthesisers(folder).say(line))


def render(lines: list[VoiceLine], folder: Path, out: Path, jobs: int, seconds: float = 0) -> None:
    """Say the lines and write a shard; after ``seconds``, where given, only what is said by
    then.
    """
    import time

    until = time.monotonic() + seconds if seconds else float("inf")
    pieces, items = [], []
    context = multiprocessing.get_context("spawn")
    work = [(folder, line) for line in lines]
    with context.Pool(jobs) as pool:
        for line, data in zip(lines, pool.imap(_rendered, work, chunksize=4), strict=False):
            if len(data):
                voice = "+".join(filter(None, (line.voice, line.mix, line.accent)))
                item = {"voice": f"{line.engine}:{voice}", "kind": line.kind, "words": line.words}
                items.append({**item, "samples": len(data)})
                pieces.append(data)
            if time.monotonic() > until:
                pool.terminate()
                break
    everything = np.concatenate(pieces).tobytes()
    out.with_suffix(".u8.xz").write_bytes(lzma.compress(everything, preset=6))
    digest = hashlib.sha256(everything).hexdigest()
    out.with_suffix(".json").write_text(json.dumps({"sha256": digest, "items": items}), "utf-8")
    print(f"{out.name}: {len(items)} sentences, {len(everything) / RATE / 3600:.2f} h, {digest}")


def main() -> None:
    """Plan or render, as the command line says."""
    parser = argparse.ArgumentParser(description=__doc__)
    commands = parser.add_subparsers(dest="command", required=True)
    drawing = commands.add_parser("plan")
    drawing.add_argument("engine", choices=sorted(_TABLE))
    drawing.add_argument("--voices", type=int, required=True, help="how many, with mixtures")
    drawing.add_argument("--kinds", required=True, help="such as list,list,report,chatter")
    drawing.add_argument("--seed", type=int, default=1)
    drawing.add_argument("--held-out", action="store_true")
    drawing.add_argument("--words", type=Path, default="/usr/share/dict/american-english-small")
    drawing.add_argument("--out", type=Path, required=True)
    saying = commands.add_parser("render")
    saying.add_argument("plan", type=Path)
    saying.add_argument("--models", type=Path, default=Path())
    saying.add_argument("--jobs", type=int, default=1)
    saying.add_argument("--seconds", type=float, default=0)
    saying.add_argument("--out", type=Path, required=True)
    given = parser.parse_args()
    if given.command == "plan":
        kinds = given.kinds.split(",")
        lines = plan(
            given.engine, given.seed, given.voices, kinds, given.words, held_out=given.held_out
        )
        given.out.write_text(json.dumps([asdict(line) for line in lines]), "utf-8")
    else:
        read = json.loads(given.plan.read_text("utf-8"))
        lines = [VoiceLine(**{**one, "words": tuple(one["words"])}) for one in read]
        render(lines, given.models, given.out, given.jobs, given.seconds)


if __name__ == "__main__":
    main()
