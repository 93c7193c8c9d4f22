"""Fit how sure the shipped model may be: one temperature a grade of noise, by synthetic voices that
it was trained on, in noise of a kind that it was trained in, and nothing else.

A grade is told from the sound alone (``features.contrast``). A temperature is the one at which the
strings that were said are the likeliest among those that compete with them: lap reports of a book,
each scored beside the strings that the search found. None is below 1: where these voices would let
the model be surer than it is, others may not.

    python -m codec.voice.training.calibrate BOOK [--reports 3000] [--seeds 1] [--write]
"""

from __future__ import annotations

import argparse
import json
import random
from dataclasses import replace
from pathlib import Path

import numpy as np

from codec.voice.acoustic import MODEL, AcousticModel
from codec.voice.features import RATE, contrast
from codec.voice.search import HeardSymbols
from codec.voice.training.speak import Synthesisers, voices_of
from grammar.book import Book
from grammar.figures import drawn
from grammar.loading import load_book

LEVELS = (40, 20, 15, 10, 5, 2)  # decibels of speech, where it is loud, above the noise
GRADES = (12.0, 20.0, 30.0)  # decibels of contrast between them
_TEMPERATURES = np.geomspace(1.0, 4.0, 47)
_STRONGEST = 0.1  # of the loudest moment, from which a moment counts as speech


def in_noise(speech: np.ndarray, level: float, draw: np.random.Generator) -> np.ndarray:
    """Return speech in coloured noise, with some of it before and behind."""
    speech = np.concatenate([np.zeros(RATE // 4), speech, np.zeros(RATE // 4)])
    frequency = np.fft.rfftfreq(len(speech), 1 / RATE)
    spectrum = np.fft.rfft(draw.standard_normal(len(speech)))
    spectrum *= (np.maximum(frequency, 60) / 1000) ** draw.uniform(-1.6, 0.3)
    spectrum *= (frequency > 250) & (frequency < 3400)
    noise = np.fft.irfft(spectrum, len(speech))
    size = RATE // 50
    power = (speech[: len(speech) // size * size].reshape(-1, size) ** 2).mean(axis=1)
    loud = np.sqrt(power[power >= _STRONGEST**2 * power.max()].mean())
    mixed: np.ndarray = speech + noise / noise.std() * loud * 10 ** (-level / 20)
    return (mixed / np.abs(mixed).max()).astype(np.float32)


def competing(model: AcousticModel, book: Book, sound: np.ndarray, said: str) -> np.ndarray:
    """Return the scores, at temperature 1, of what was said and of what the search found beside
    it.
    """
    heard = HeardSymbols(book, model.classes, model.log_posteriors(sound), 1.0)
    index = book.alphabet.index
    true = [index[symbol] for symbol in said]
    return heard.log_likelihoods([true, *(one for one in heard.strings if one != true)])


def fitted(rows: list[np.ndarray]) -> float:
    """Return the temperature at which what was said is likeliest among what competes with it."""

    def loss(temperature: float) -> float:
        return float(np.mean([np.logaddexp.reduce(one / temperature) - one[0] / temperature
                              for one in rows]))  # fmt: skip

    return float(min(_TEMPERATURES, key=loss))


def measured(book: Book, reports: int, seed: int) -> list[list[np.ndarray]]:
    """Return the scores of reports said in noise, by grade, the worst first."""
    model, programs = AcousticModel(), Synthesisers(Path())
    chance, draw = random.Random(seed), np.random.default_rng(seed)
    voices = voices_of("espeak", chance, reports, held_out=False)
    said = [one.string for one in drawn(book, book.messages["lap"], reports, seed)]
    found: list[list[np.ndarray]] = [[] for _ in range(len(GRADES) + 1)]
    for voice, string in zip(voices, said, strict=True):
        text = book.alphabet.say(string)
        speech = programs.say(replace(voice, text=text.replace("x-ray", "x ray")))
        sound = in_noise(speech, chance.choice(LEVELS), draw)
        grade = int(np.searchsorted(GRADES, contrast(sound)))
        found[grade].append(competing(model, book, sound, string))
    return found


def main() -> None:
    """Fit, tell, and with ``--write`` put the temperatures beside the model."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("book")
    parser.add_argument("--reports", type=int, default=3000)
    parser.add_argument("--seeds", type=int, nargs="+", default=[1], help="so many reports of each")
    parser.add_argument("--write", action="store_true")
    options = parser.parse_args()
    book = load_book(options.book)
    by_seed = [measured(book, options.reports, seed) for seed in options.seeds]
    found = [[row for rows in grade for row in rows] for grade in zip(*by_seed, strict=True)]
    temperatures = [round(fitted(rows), 3) if rows else 1.0 for rows in found]
    for rows, temperature in zip(found, temperatures, strict=True):
        right = np.mean([one.argmax() == 0 for one in rows]) if rows else 0.0
        print(f"{len(rows)} reports, {right:.2f} right at once: temperature {temperature}")
    if options.write:
        path = MODEL.with_suffix(".json")
        told = json.loads(path.read_text("utf-8"))
        told.pop("temperature", None)
        told |= {"grades": list(GRADES), "temperatures": temperatures}
        path.write_text(json.dumps(told, indent=1) + "\n", "utf-8")


if __name__ == "__main__":
    main()
