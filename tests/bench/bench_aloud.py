"""How drills read aloud are marked: python tests/bench/bench_aloud.py [ITEMS [SEED]].
Everything is printed, nothing is asserted; 60 items a kind take two minutes.

Symbols, pairs, entries and reports of the race book, as a drill may ask them (seed 3), are said at
a quiet desk by voices that the acoustic model was never trained on (those of ``bench_voice``), with
white noise 30 and 15 dB below: as they stand, and with one symbol taken for another. Nobody of
flesh and blood was measured.
"""

from __future__ import annotations

import random
import sys
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from bench_voice import Voices, on_radio
from common import table
from export.strings import example

from codec.drill import Pool
from codec.drill.answer import KINDS
from codec.drill.by_voice import read_aloud
from codec.drill.marking import mark
from codec.voice.listening import Recogniser


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    chance = random.Random(int(sys.argv[2]) if len(sys.argv) > 2 else 3)
    book = example("race")
    ear, pool, voices = Recogniser(book), Pool(book), Voices(book)
    rows = [("voices", "asked", "dB", "read right: marked", "marked wrong",
             "read wrong: marked", "marked right")]  # fmt: skip
    for group, say in voices.groups().items():
        for kind in KINDS:
            items = [chance.choice(pool.of(kind)) for _ in range(count)]
            told: dict[int, Counter[str]] = {30: Counter(), 15: Counter()}
            for number, item in enumerate(items):
                place = chance.randrange(len(item.text))
                others = [one for one in book.alphabet.symbols if one != item.text[place]]
                slip = item.text[:place] + chance.choice(others) + item.text[place + 1 :]
                for read in (item.text, slip):
                    speech = say(book.alphabet.say(read).split(), number)
                    for level, counts in told.items():
                        sound = on_radio(speech, "white", level, number, [])
                        heard = read_aloud(book, item.text, ear.hear(sound))
                        name = "right" if read == item.text else "slip"
                        if heard.enough:
                            marked = mark(book, item, heard.text)
                            counts[f"{name} marked"] += 1
                            counts[f"{name} {marked.outcome in ('right', 'corrected')}"] += 1
            for level, counts in told.items():
                names = ("right marked", "right False", "slip marked", "slip True")
                rows.append((group, kind, str(level), *(str(counts[name]) for name in names)))
    table(f"race book, {count} items of each kind", rows)


if __name__ == "__main__":
    main()
