"""Invented people on the radio: reports and calls said in many ways, among ordinary talk, each line
with what it holds.

Made from a seed, so that two sets of lines never meet: one to set the figures of chatter.toml by,
one to hold them to.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from codec import encode
from codec.radio.forms import Utterance
from grammar.book import Book
from grammar.errors import CodeError

TALK = Path(__file__).parent / "talk.txt"
TENS = ["", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]
UNITS = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]
ALIKE = {"1": "won", "2": "too", "4": "for", "8": "ate", "0": "oh"}
VARIANTS = {
    "A": "alpha",
    "J": "juliet",
    "X": "x ray",
    "W": "whisky",
    "3": "tree",
    "5": "fife",
    "9": "nine",
    "4": "fower",
}
BEFORE = ["", "", "", "okay ", "uh ", "copy, ", "here we go: ", "Reading now, ", "so, ", "um uh ",
"Right. ",
    "I'm on the straight, ", "Car is fine. ",
    "Lap seven, ", "Yes yes, ", "Okay mate. ", "Listen: ", "Code is, ", "Ready? "]  # fmt: skip
AFTER = ["", "", "", " over", ", tyres are going off.", ". How are the others doing?", " okay",
    ", two more laps please", ". All good.", ", copy?",
    " break", ". Rear is sliding in four.", ", that's it.", ". Victor is behind me.",
    ", did you get that?"]  # fmt: skip
BREAKS = [
    "static",
    "krrk",
    "mumble",
    "lemon",
    "kettle",
    "sever",
    "foxhole",
    "zebra",
    "tangle",
    "river",
]


@dataclass(frozen=True, slots=True)
class Labelled:
    """A line, and the strings that it holds, ``()`` for none; ``perhaps`` the one that was said in
    it, and may be made out.
    """

    said: Utterance
    strings: tuple[str, ...]
    why: str
    perhaps: str = ""


def strings(book: Book, direction: str, chance: random.Random) -> Iterator[str]:
    """Yield strings of a book's messages of a direction, any value as likely as any other."""
    messages = [message for message in book.messages.values() if message.direction == direction]
    while True:
        message = messages[0] if chance.random() < 0.7 else chance.choice(messages)
        values = {
            name: field.value(chance.randrange(field.size))
            for name, field in message.fields.items()
        }
        if "alert" in values and chance.random() < 0.7:
            values["alert"] = frozenset()
        try:
            yield encode(book, values, message.name).string
        except CodeError:
            continue  # a set of alerts that the table has no codeword for


def spoken(book: Book, string: str, chance: random.Random) -> str:
    """Return a string as somebody may say it and somebody may write it down."""
    style = chance.random()
    if style < 0.1:
        return string
    if style < 0.15:
        return " ".join(string)
    if style < 0.2:
        return f"{string[:3]} {string[3:]}".strip()
    words: list[str] = []
    place = 0
    while place < len(string):
        here, following = string[place], string[place + 1 : place + 2]
        if following == here and chance.random() < 0.3:
            words.append(f"double {book.alphabet.words[here].word}")
            place += 2
        elif here in "23456789" and following in list("123456789") and chance.random() < 0.15:
            words.append(f"{TENS[int(here)]} {UNITS[int(following)]}")
            place += 2
        else:
            words.append(one(book, here, chance))
            place += 1
    text = " ".join(words)
    if chance.random() < 0.15:
        text = text.replace(" ", ", ", 1)
    return (
        text.upper()
        if chance.random() < 0.03
        else text.capitalize()
        if chance.random() < 0.3
        else text
    )


def one(book: Book, symbol: str, chance: random.Random) -> str:
    """Return one symbol's word."""
    if symbol in VARIANTS and chance.random() < 0.3:
        return VARIANTS[symbol]
    return (
        ALIKE[symbol]
        if symbol in ALIKE and chance.random() < 0.06
        else book.alphabet.words[symbol].word
    )


def corrected(book: Book, string: str, chance: random.Random) -> str:
    """Return a string said with a slip and its correction: the last correct group again, then the
    right version.
    """
    place = chance.randrange(1, len(string))
    wrong = chance.choice(
        [s for s in book.alphabet.symbols if s != string[place] and s not in string]
    )
    say = book.alphabet.say
    return f"{say(string[:place])} {say(wrong)} correction {say(string[place - 1 :])}"


def misheard(book: Book, string: str, chance: random.Random) -> str:
    """Return a string of which a word was lost or taken for another that is none."""
    words = book.alphabet.say(string).split()
    place = chance.randrange(len(words))
    if chance.random() < 0.5:
        words[place] = chance.choice(BREAKS)
    else:
        del words[place]
    return " ".join(words)


def talk() -> list[tuple[str, str]]:
    """Return (speaker, line) of ordinary talk."""
    lines = [
        line for line in TALK.read_text("utf-8").splitlines() if line and not line.startswith("#")
    ]
    return [(line.partition(" ")[0].replace("-", ""), line.partition(" ")[2]) for line in lines]


def labelled(
    book: Book, seed: int, reports: int = 160, calls: int = 40, slips: int = 40
) -> list[Labelled]:
    """Return a labelled set in random order, its lines far apart in time."""
    chance = random.Random(seed)
    made: list[tuple[str, str, tuple[str, ...], str, str]] = [
        (who, text, (), "talk", "") for who, text in talk()
    ]
    source = strings(book, "car", chance)
    for _ in range(reports):
        string = next(source)
        say = corrected if len(string) > 3 and chance.random() < 0.08 else spoken
        text = say(book, string, chance)
        made.append(
            ("car", chance.choice(BEFORE) + text + chance.choice(AFTER), (string,), "report", "")
        )
    source = strings(book, "pit", chance)
    for _ in range(calls):
        string = next(source)
        made.append(
            (
                "pit",
                chance.choice(["", "", "copy, ", "okay. ", "Next: "])
                + spoken(book, string, chance),
                (string,),
                "call",
                "",
            )
        )
    source = strings(book, "car", chance)
    for _ in range(slips):
        string = next(source)
        said = chance.choice(BEFORE) + misheard(book, string, chance)
        made.append(("car", said, (), "misheard", string))
    chance.shuffle(made)
    return [
        Labelled(Utterance(number, text, who, number * 100_000), held, why, perhaps)
        for number, (who, text, held, why, perhaps) in enumerate(made, start=1)
    ]
