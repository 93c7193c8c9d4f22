"""What enforced check symbols do to a recogniser: python tests/bench/bench_recogniser.py [REPORTS].
Everything is printed, nothing is asserted; the 60 reports at each noise take two minutes.

Lap reports of the race book, drawn as the book says values occur (seed 5), are spoken by espeak-ng
(voice en-us), white noise is added over all frequencies (the seed is the report's number), and
pocketsphinx listens with its own acoustic model (American English, wide band), the words of the
dict export, and each of the two fsg exports: check symbols free, and enforced. What it writes goes
to ``decode`` and to ``hear`` (nothing known of the laps before). A synthetic voice is not race
radio: only the contrast between the grammars counts.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
from common import table
from export.strings import example
from pocketsphinx import Decoder
from programs import program
from scipy.signal import resample_poly

from codec import Book, CodeError, decode
from codec.drill.speaking import RATE, active_level, read_sound
from codec.hear import hear
from grammar.export import export
from grammar.figures import drawn

NOISES = (20, 15, 10)  # decibels of speech, where it is loud, above noise
GRAMMARS = {"free": False, "enforced": True}
SEED = 5
WORDS_PER_MINUTE = 170


def recogniser(book: Book, folder: Path, *, enforced: bool) -> Decoder:
    """Return a recogniser of a book's reports."""
    files = export(book, "fsg", direction="car", enforce_check=enforced) | export(book, "dict")
    for name, data in files.items():
        (folder / name).write_bytes(data)
    grammar, sounds = (str(folder / f"{book.name}.{form}") for form in ("fsg", "dict"))
    return Decoder(fsg=grammar, dict=sounds, loglevel="FATAL")


def spoken(words: Sequence[str], folder: Path) -> np.ndarray:
    """Return words as espeak-ng says them, with a short pause behind each."""
    made = folder / "voice.wav"
    command = [program("espeak-ng"), "-v", "en-us", "-s", str(WORDS_PER_MINUTE), "-w", str(made)]
    subprocess.run([*command, "--stdin"], input=", ".join(words).encode(), check=True)
    samples, rate = read_sound(made)
    pause = np.zeros(RATE // 4)
    return np.concatenate([pause, resample_poly(samples, RATE, rate), pause])


def noisy(samples: np.ndarray, decibels: float, seed: int) -> bytes:
    """Return samples with noise as signed 16-bit numbers."""
    level = active_level(samples) / 10 ** (decibels / 20)
    mixed = samples + level * np.random.default_rng(seed).standard_normal(len(samples))
    return (mixed / np.abs(mixed).max() * 32_000).astype("<i2").tobytes()


def heard(decoder: Decoder, sound: bytes) -> str:
    """Return the words a recogniser writes down, "" for none."""
    decoder.start_utt()
    decoder.process_raw(sound, full_utt=True)
    decoder.end_utt()
    found = decoder.hyp()
    return found.hypstr if found else ""


def understood(book: Book, text: str) -> Iterator[tuple[str, str | None]]:
    """Yield by what ear words were understood, and the string that it accepts."""
    try:
        yield "decode", decode(book, text).string
    except CodeError:
        yield "decode", None
    try:
        accepted = hear(book, text).accepted
        yield "hear", accepted.string if accepted else None
    except CodeError:
        yield "hear", None


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    book = example("race")
    strings = [report.string for report in drawn(book, book.messages["lap"], count, SEED)]
    told: Counter[tuple[int, str, str, str]] = Counter()
    with tempfile.TemporaryDirectory() as place:
        decoders = {}
        for name, enforced in GRAMMARS.items():
            (folder := Path(place) / name).mkdir()
            decoders[name] = recogniser(book, folder, enforced=enforced)
        for number, string in enumerate(strings):
            samples = spoken(book.alphabet.say(string).split(), Path(place))
            for noise in NOISES:
                sound = noisy(samples, noise, number)
                for name, decoder in decoders.items():
                    for ear, found in understood(book, heard(decoder, sound)):
                        outcome = "refused" if found is None else str(found == string)
                        told[noise, name, ear, outcome] += 1
    rows = [("decibels", "check", "ear", "right", "wrong accepted", "refused or asked")]
    for noise in NOISES:
        for name in GRAMMARS:
            for ear in ("decode", "hear"):
                outcomes = [told[noise, name, ear, one] for one in ("True", "False", "refused")]
                rows.append((str(noise), name, ear, *map(str, outcomes)))
    table(f"race book, {len(strings)} reports at each noise", rows)


if __name__ == "__main__":
    main()
