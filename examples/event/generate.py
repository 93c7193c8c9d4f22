"""Make the example event: the radio of the invented team Corvane at the invented Port Tessel
circuit, two cars, one race.

    python examples/event/generate.py [FOLDER]

Writes, always the same from its seed:

    radio.jsonl     what a speech recogniser wrote: times, speakers,
    words with confidences and alternatives
    radio.vtt       the same as WebVTT cues with voices
    radio.srt       the same as SubRip
    radio.txt       the same as plain lines
    lap-times.csv   when each lap of each car began
    truth.jsonl     every lap report as the dash showed it, to hold an import against

There are reports each lap, some misheard and said again, calls from the wall and their read-backs,
ordinary talk, and a neutralisation after which laps are added. Everybody in it is invented. Read it
with

    niner sheet import port-tessel.sheet examples/event/radio.jsonl --book examples/race/race.toml \
        --car "7=Ilse Marrow,Quill" --car "61=Teo Vash,Denn"
"""

from __future__ import annotations

import datetime
import json
import random
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from typing import Any

from codec import Book, encode, load_book

SEED = 20260502
LAPS, ADDED = 24, 3
NEUTRALISED = range(9, 12)
BOOK = Path(__file__).parents[1] / "race" / "race.toml"
HERE = Path(__file__).parent

# What the recogniser takes for what: other words, or other code words (which the check symbol gives
# away).
MISTAKEN = {
    "juliett": "july", "quebec": "queue", "foxtrot": "folks", "x-ray": "extra", "lima": "lemur",
    "yankee": "yonkers", "zulu": "sulu",
    "papa": "proper", "five": "niner", "niner": "five", "six": "sticks", "one": "when",
    "eight": "hate", "tango": "tangle",
    "hotel": "a-tell", "charlie": "charley", "seven": "sever", "zero": "hero", "sierra": "see-era",
    "delta": "dealt", "echo": "eco",
    "bravo": "provo", "november": "remember", "romeo": "rodeo", "golf": "gulf", "victor": "vector",
    "whiskey": "risky", "two": "do",
    "four": "door", "three": "tree", "alfa": "offer",
}  # fmt: skip
DRIVER_TALK = [
    "The rear is sliding in four and five.", "Traffic ahead, two cars side by side.",
    "I can see Oscar's smoke at turn nine.",
    "Brakes are long into one.", "Who is behind me?", "Two tenths, three tenths, what's the gap?",
    "This is nicer than November in Quebec.",
    "Tell Mike the seat is fine now.", "Locked up at seven, sorry.",
    "Lost one place, I'll get it back.", "I am on forty percent, is that right?",
    "Drops, two or three, nothing serious.", "He ate too much energy, he will be slow.", "Okay.",
    "Understood.", "Copy that.",
]  # fmt: skip
WALL_TALK = [
    "Gap ahead two point four, behind one point one.", "You are P6, P6.",
    "Charlie is boxing, stay out.", "Good lap, eighty one point two.",
    "Victor has a five second penalty.", "Lift at the hundred board for two laps.",
    "Yellow in sector two, one car stopped.",
    "If there is a safety car we stay out.", "Radio check, one two three.", "Nine laps to go.",
    "Keep it clean in four and five.",
    "That's position five, well done.", "Target forty two percent at half distance.", "Copy.",
    "Copy that.",
    "Wind is two four zero, six knots.",
]  # fmt: skip


@dataclass
class Car:
    number: str
    driver: str
    engineer: str
    clock: float
    energy: float = 0.0
    motor: float = 80.0
    starts: list[tuple[int, float]] = field(default_factory=list)


@dataclass
class Line:
    at: float
    speaker: str
    text: str
    words: list[dict[str, Any]] = field(default_factory=list)


class Event:
    """The race as it goes by."""

    def __init__(self, book: Book) -> None:
        self.book, self.chance = book, random.Random(SEED)
        self.lines: list[Line] = []
        self.truth: list[dict[str, Any]] = []
        self.cars = [Car("7", "Ilse Marrow", "Quill", 0.0), Car("61", "Teo Vash", "Denn", 1.8)]

    def say(self, at: float, speaker: str, text: str, slips: float = 0.0) -> bool:
        """Add a line as the recogniser wrote it; return whether it got it right."""
        words: list[dict[str, Any]] = []
        right = True
        for word in text.split():
            sure = round(self.chance.uniform(0.985, 0.999), 3)
            plain = word.strip(".,?!").lower()
            if slips and plain in MISTAKEN and self.chance.random() < slips:
                right = False
                wrong = round(self.chance.uniform(0.42, 0.6), 2)
                other = {"word": word, "confidence": round(0.97 - wrong, 2)}
                words.append(
                    {"word": MISTAKEN[plain], "confidence": wrong, "alternatives": [other]}
                )
            else:
                words.append({"word": word, "confidence": sure})
        self.lines.append(
            Line(round(at, 2), speaker, " ".join(word["word"] for word in words), words)
        )
        return right

    def lap(self, car: Car, lap: int) -> None:
        """One lap of one car."""
        chance, start = self.chance, car.clock
        car.starts.append((lap, start))
        slow = lap in NEUTRALISED
        car.clock += chance.uniform(126, 134) if slow else chance.uniform(80.6, 82.4)
        car.energy += chance.uniform(0.1, 0.3) if slow else chance.uniform(-0.2, 0.15)
        car.motor += chance.uniform(-9, -3) if slow else chance.uniform(-2, 4)
        if chance.random() < 0.6:
            self.say(start + chance.uniform(3, 20), car.driver, chance.choice(DRIVER_TALK))
        if chance.random() < 0.7:
            self.say(start + chance.uniform(22, 40), car.engineer, chance.choice(WALL_TALK))
        self.race_events(car, lap, start + 44)
        self.report(car, lap, start + 56)

    def report(self, car: Car, lap: int, at: float) -> None:
        """The lap report, said again where it was misheard."""
        chance = self.chance
        alert = ["cooling"] if car.motor > 118 else []
        values = {
            "lap": lap, "energy": Decimal(round(car.energy * 10)) / 10, "motor": round(car.motor),
            "inverter": round(car.motor * 0.72),
            "battery": round(36 + lap * 0.8), "alert": alert,
        }  # fmt: skip
        encoded = encode(self.book, values, "lap")
        self.truth.append({"car": car.number, "lap": lap, "string": encoded.string})
        before, after = (
            chance.choice(["", "", "", "okay ", "uh ", "copy, "]),
            chance.choice(["", "", "", ", tyres are going off", " over"]),
        )
        if self.say(at, car.driver, before + encoded.words + after, slips=0.025):
            if chance.random() < 0.3:
                self.say(at + 6, car.engineer, "Copy, " + encoded.words)
            return
        self.say(
            at + 6.5,
            car.engineer,
            chance.choice(
                ["say again", "Say again.", "say again all after " + encoded.words.split()[0]]
            ),
        )
        again = self.say(at + 10, car.driver, "I say again " + encoded.words, slips=0.02)
        if not again:
            self.say(at + 17, car.engineer, "say again")
            self.say(at + 20, car.driver, "I say again " + encoded.words)

    def race_events(self, car: Car, lap: int, at: float) -> None:
        """Neutralisation, laps added, wheel changes, energy targets, a marker and a stop."""
        call = None
        if lap == NEUTRALISED.start:
            self.say(at, car.engineer, "Safety car, safety car.")
            self.say(at + 3, car.driver, "safety car")
        elif lap == NEUTRALISED.stop:
            self.say(at, car.engineer, "Green flag.")
        elif lap == NEUTRALISED.stop + 1:
            call = encode(self.book, {"added": ADDED}, "distance")
        elif lap in (5, 17):
            way = self.chance.choice(["up", "down"])
            call = encode(
                self.book,
                {"dial": "brake balance" if lap == 5 else "regeneration", "way": way, "clicks": 2},
                "wheel",
            )
        elif lap in (15, 22):
            call = encode(
                self.book, {"target": Decimal("1.31") if lap == 15 else Decimal("1.26")}, "pace"
            )
        elif lap == 20 and car.number == "7":
            self.say(at, car.driver, "marking now")
        elif lap == LAPS + ADDED and car.number == "61":
            self.say(at, car.driver, "coming in")
        if call is not None:
            self.say(at, car.engineer, call.words)
            back = {"distance": "entered", "wheel": "set"}.get(call.message)
            words = (
                call.words if back is None else encode(self.book, call.reading.values, back).words
            )
            self.say(at + 4, car.driver, words)

    def run(self) -> None:
        """The whole race."""
        for lap in range(1, LAPS + ADDED + 1):
            for car in self.cars:
                self.lap(car, lap)
        self.lines.sort(key=lambda line: (line.at, line.speaker))


def clock(seconds: float, point: str) -> str:
    """Write a time as cues do."""
    whole, rest = divmod(round(seconds * 1000), 1000)
    return f"{whole // 3600:02d}:{whole // 60 % 60:02d}:{whole % 60:02d}{point}{rest:03d}"


def length(line: Line) -> float:
    """Return the seconds a line takes to say, at 130 words a minute."""
    return round(0.4 + 0.45 * len(line.words), 2)


def files(event: Event) -> Iterator[tuple[str, str]]:
    """Yield (name, text) of every file."""
    radio = [
        {
            "start": line.at,
            "end": round(line.at + length(line), 2),
            "speaker": line.speaker,
            "text": line.text,
            "words": line.words,
        }
        for line in event.lines
    ]
    yield "radio.jsonl", "".join(json.dumps(line) + "\n" for line in radio)
    cues = [(clock(line.at, "."), clock(line.at + length(line), "."), line) for line in event.lines]
    head = "WEBVTT\n\nNOTE Port Tessel, team Corvane; everybody in it is invented.\n\n"
    yield (
        "radio.vtt",
        head
        + "\n".join(
            f"{start} --> {end}\n<v {line.speaker}>{line.text}</v>\n" for start, end, line in cues
        ),
    )
    numbered = enumerate(cues, start=1)
    yield (
        "radio.srt",
        "\n".join(
            f"{n}\n{start.replace('.', ',')} --> {end.replace('.', ',')}\n{line.speaker}:"
            f" {line.text}\n"
            for n, (start, end, line) in numbered
        ),
    )
    yield (
        "radio.txt",
        "".join(
            f"[{clock(line.at, '.')[:-2]}] {line.speaker}: {line.text}\n" for line in event.lines
        ),
    )
    starts = [
        f"{car.number},{lap},{start:.2f}\n" for car in event.cars for lap, start in car.starts
    ]
    yield "lap-times.csv", "car,lap,start\n" + "".join(starts)
    yield "truth.jsonl", "".join(json.dumps(row) + "\n" for row in event.truth)


def main(folder: Path = HERE) -> None:
    """Write the files."""
    event = Event(load_book(BOOK))
    event.run()
    for name, text in files(event):
        (folder / name).write_text(text, "utf-8")
    last = datetime.timedelta(seconds=round(event.lines[-1].at))
    print(f"{len(event.lines)} lines, {len(event.truth)} lap reports, {last} long")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE)
