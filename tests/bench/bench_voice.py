"""How well recordings are heard: python tests/bench/bench_voice.py [REPORTS [SEED]].
Everything is printed, nothing is asserted; 100 reports a group of voices, 3,300 hearings, take five
minutes of processor time.

Lap reports of the race book, each drawn as the lap before leads to expect (seed 5) and heard with
that lap known, are said by voices that the acoustic model was never trained on: Festival's, and
espeak-ng's with accents and voices held out; and joined from clips of a woman's recorded voice,
where Debian's asterisk-core-sounds-en-wav is installed (CC-BY-SA-3.0). They pass a band from 300
to 3,000 Hz, with noise in it: white, and of families held out from training (pulsed, impulsive,
music, other reports of the same voice). Levels are of speech where it is loud. How sure a reading
was said to be stands beside how often it was right, by the grades of noise that temperatures were
fitted for, on other voices and another noise (``codec.voice.training.calibrate``). Chatter is said
by the same voices. Simulated radio is not a race's: nothing here was measured on a real one.
"""

from __future__ import annotations

import bisect
import random
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
from common import table
from export.strings import example
from scipy.stats import beta

from codec import Book
from codec.drill.speaking import active_level
from codec.hear import Prior, hear
from codec.hear.draw import Source
from codec.hear.model import model_of
from codec.voice.features import contrast
from codec.voice.listening import Recogniser
from codec.voice.training.speak import Synthesisers, VoiceLine
from codec.voice.training.vocabulary import sentence, unknown_words

RATE = 8000
SEED = 5
CLIPS = Path("/usr/share/asterisk/sounds/en_US_f_Allison")
GRADES = ("harsh", "noisy", "clear", "quiet")  # as the temperatures are fitted for
SURE = (0.0, 0.5, 0.8, 0.9, 0.98, 0.995, 0.999)
CONDITIONS = (
    ("clean", 60),
    *(("white", level) for level in (20, 10, 5)),
    *((name, level) for name in ("pulsed", "impulsive", "music") for level in (10, 5)),
    ("own voice", 10),
)


def reports(book: Book, count: int, seed: int) -> list[tuple[str, dict[str, Any]]]:
    """Return strings of lap reports, each with the values of the lap before."""
    chance, model = random.Random(seed), model_of(book, "car")
    found, last = [], dict[str, Any]()
    lap = [one.name for one in book.sent_by("car")].index("lap")
    while len(found) < count:
        number, string = Source(model.weighted(Prior.of(last or None))).draw(chance)
        if number != lap:
            continue
        reading = book.messages["lap"].quick(string)
        assert reading is not None
        if last:
            found.append((string, dict(last)))
        text = book.alphabet.say(string)
        last = dict(hear(book, text, prior=last or None).candidates[0].reading.values)
    return found


class Voices:
    """Voices that no model was trained on, in groups."""

    def __init__(self, book: Book) -> None:
        self.book, self.programs = book, Synthesisers(Path())

    def groups(self) -> dict[str, Callable[[Sequence[str], int], np.ndarray]]:
        found = {"festival": self.festival, "espeak-ng": self.espeak}
        return found | ({"human clips": self.clips} if CLIPS.exists() else {})

    def _said(self, engine: str, voice: str, accent: str, words: Sequence[str], n: int) -> Any:
        chance = random.Random(f"{engine} {n}")
        speed, pitch = chance.uniform(0.9, 1.2), chance.uniform(0.8, 1.2)
        text = " ".join(words).replace("x-ray", "x ray").replace("lima", "leema")
        line = VoiceLine(engine, voice, "", accent, speed, pitch, "", (), text)
        return self.programs.say(line)

    def festival(self, words: Sequence[str], number: int) -> np.ndarray:
        voices = ("cmu_us_slt_arctic_hts", "kal_diphone", "ked_diphone")
        found: np.ndarray = self._said("festival", voices[number % 3], "", words, number)
        return found

    def espeak(self, words: Sequence[str], number: int) -> np.ndarray:
        accents = ("en-gb-scotland", "en-us-nyc")
        voices = ("Alicia", "Hugo", "belinda", "f4", "john", "m7", "quincy", "steph2")
        voice, accent = voices[number % 8], accents[number // 8 % 2]
        found: np.ndarray = self._said("espeak", voice, accent, words, number)
        return found

    def clips(self, words: Sequence[str], number: int) -> np.ndarray:
        import soundfile

        symbol_of = {entry.word: symbol for symbol, entry in self.book.alphabet.words.items()}
        chance, pieces = random.Random(number), []
        for word in words:
            symbol = symbol_of[word]
            niner = symbol == "9" and chance.random() < 0.5
            letter = symbol.isalpha() or niner
            name = f"phonetic/{symbol.lower()}_p" if letter else f"digits/{symbol}"
            sound, _ = soundfile.read(CLIPS / f"{name}.wav", dtype="float64")
            loud = np.flatnonzero(np.abs(sound) > 0.02 * np.abs(sound).max())
            pieces += [sound[loud[0] : loud[-1]], np.zeros(int(RATE * chance.uniform(0.02, 0.12)))]
        return np.concatenate(pieces)


def banded(sound: np.ndarray) -> np.ndarray:
    spectrum = np.fft.rfft(sound)
    frequency = np.fft.rfftfreq(len(sound), 1 / RATE)
    gain = 1 / np.sqrt((1 + (300 / np.maximum(frequency, 1)) ** 8) * (1 + (frequency / 3000) ** 8))
    return np.fft.irfft(spectrum * gain, len(sound))


def noise(kind: str, size: int, seed: int, same: Sequence[np.ndarray]) -> np.ndarray:
    """Return noise of a family, over all frequencies."""
    draw = np.random.default_rng(seed)
    white, time_ = draw.standard_normal(size), np.arange(size) / RATE
    if kind == "pulsed":
        rate = draw.uniform(8, 20)
        return white * (np.modf(rate * time_ + draw.uniform())[0] < 0.5)
    if kind == "impulsive":
        clicks = np.zeros(size)
        places = draw.integers(0, size, max(1, int(25 * size / RATE)))
        clicks[places] = draw.standard_normal(len(places)) * 5
        ringing = np.exp(-np.arange(160) / 30) * np.cos(np.arange(160) * draw.uniform(0.5, 2))
        return np.convolve(clicks, ringing)[:size] + 0.02 * white
    if kind == "music":
        found = np.zeros(size)
        for begin in np.arange(0, size / RATE, 0.3):
            for tone in draw.choice([0, 3, 4, 7, 12, 16, 19], 3):
                since = np.maximum(0, time_ - begin)
                pitch = 220 * 2 ** (tone / 12)
                note = sum(np.sin(2 * np.pi * pitch * k * since) / k for k in (1, 2, 3, 4))
                found += note * np.exp(-4 * since) * (time_ >= begin)
        return found
    if kind == "own voice":
        found = np.zeros(size)
        for other in same:
            place = int(draw.integers(0, max(1, size // 2)))
            part = other[: size - place]
            found[place : place + len(part)] += part
        return found
    return white


def on_radio(
    speech: np.ndarray, kind: str, level: float, seed: int, same: Sequence[np.ndarray]
) -> np.ndarray:
    sound = banded(np.concatenate([np.zeros(RATE // 5), speech, np.zeros(RATE // 4)]))
    other = banded(noise(kind, len(sound), seed, same))
    factor = active_level(sound) / (np.sqrt((other**2).mean()) + 1e-12)
    mixed: np.ndarray = sound + other * factor * 10 ** (-level / 20)
    return (mixed / np.abs(mixed).max()).astype(np.float32)


def outcomes(
    book: Book, ear: Recogniser, sound: np.ndarray, string: str, last: dict[str, Any]
) -> Iterator[tuple[str, float]]:
    """Yield what came of one hearing."""
    stretch = ear.hear(sound)
    words = {entry.word: symbol for symbol, entry in book.alphabet.words.items()}
    alone = "".join(words.get(word, "") for word in stretch.slots.text.split())
    yield "alone", float(alone == string)
    if not stretch.slots.slots:
        yield "asked", 1.0
        return
    hearing = hear(book, stretch.slots, prior=last)
    best = hearing.candidates[0]
    right = best.reading.said == string
    kind = "asked" if hearing.accepted is None else "right" if right else "wrong"
    yield kind, 1.0
    grade = bisect.bisect(ear.model.grades, contrast(sound))
    sure = SURE[bisect.bisect(SURE, best.probability) - 1]
    yield f"{GRADES[grade]}, {sure} and surer", float(right)


def most(found: int, of: int) -> float:
    """Return the upper bound, at 95 %, of a share that was found so often (C. J. Clopper and E. S.
    Pearson 1934).
    """
    return float(beta.ppf(0.95, found + 1, of - found))


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 30
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else SEED
    book = example("race")
    ear, voices = Recogniser(book), Voices(book)
    told: dict[tuple[str, str, int], Counter[str]] = defaultdict(Counter)
    reliable: dict[str, list[float]] = defaultdict(list)
    chatted: Counter[str] = Counter()
    spoken, seconds = 0.0, 0.0
    unknown = unknown_words(Path("/usr/share/dict/american-english-small"))
    for group, say in voices.groups().items():
        drawn = reports(book, count, seed)
        said = [say(book.alphabet.say(string).split(), n) for n, (string, _) in enumerate(drawn)]
        for number, (string, last) in enumerate(drawn):
            same = [said[(number + step * 24) % count] for step in (1, 2)]
            for kind, level in CONDITIONS:
                sound = on_radio(said[number], kind, level, 1000 * number + level, same)
                began = time.process_time()
                for outcome, value in outcomes(book, ear, sound, string, last):
                    if outcome.endswith("surer"):
                        reliable[outcome].append(value)
                    else:
                        told[group, kind, level][outcome] += int(value)
                seconds += time.process_time() - began
                spoken += len(sound) / RATE
        bad = sum(one["wrong"] for one in told.values())
        print(f"{group}: {bad} wrong so far", file=sys.stderr)
        for number in range(count if group != "human clips" else 0):
            chance = random.Random(f"chatter {number}")
            words = sentence(chance, unknown, "chatter").words
            talk = say(words, number)
            for level in (20, 10):
                stretch = ear.hear(on_radio(talk, "white", level, number, []))
                chatted["heard"] += 1
                if stretch.slots.slots:
                    hearing = hear(book, stretch.slots, prior=drawn[number][1])
                    chatted["taken for a report"] += hearing.accepted is not None
                    chatted["asked"] += hearing.accepted is None and hearing.nothing < 0.5
    rows = [("voices", "noise", "dB", "alone", "right", "wrong accepted", "asked")]
    for (group, kind, level), found in told.items():
        shares = [f"{found[one] / count:.2f}" for one in ("alone", "right")]
        rows.append((group, kind, str(level), *shares, str(found["wrong"]), str(found["asked"])))
    table(f"race book, {count} reports a group, the last lap known", rows)
    wrong, heard = sum(one["wrong"] for one in told.values()), count * len(told)
    accepted = wrong + sum(one["right"] for one in told.values())
    print(f"wrong and accepted: {wrong} of {heard}, at most {most(wrong, heard):.5f} (95 %)")
    print(f"of the {accepted} accepted at most {most(wrong, accepted):.5f}")
    taken, talk = chatted["taken for a report"], chatted["heard"]
    print(f"chatter: {dict(chatted)}; taken at most {most(taken, talk):.5f} (95 %)")
    for name, values in sorted(reliable.items()):
        print(f"{name}: {np.mean(values):.3f} right of {len(values)}")
    print(f"{seconds / spoken:.3f} processor seconds a second of sound")


if __name__ == "__main__":
    main()
