"""How bad the radio is just now is not known: the words of a report share it, and those before it
tell of it.
"""

from __future__ import annotations

import random

import pytest
from hear.books import PLAIN, lap_book

from codec import encode, load_book
from codec.hear import channel, hear

RACE = load_book("examples/race/race.toml")
LAST = {"lap": 3, "energy": "-0.3", "motor": 105, "inverter": 75, "battery": 46, "alert": []}
NEXT = {"lap": 4, "energy": "-0.4", "motor": 105, "inverter": 75, "battery": 48, "alert": []}
SAID = encode(RACE, NEXT, "lap").words.split()


def spoiled(chance: random.Random) -> list[str]:
    """A report of which two words, any two, were heard as any others."""
    words = list(SAID)
    for place in chance.sample(range(len(words)), 2):
        words[place] = chance.choice(sorted(entry.word for entry in RACE.alphabet.words.values()))
    return words


def test_what_is_heard_tells_the_condition_of_the_radio() -> None:
    clean = hear(RACE, SAID, prior=LAST)
    assert sum(clean.conditions) == pytest.approx(1)
    assert clean.conditions[0] > 0.97
    bad = hear(RACE, [SAID[0], "zebra", "lemon", *SAID[3:]], prior=LAST)
    assert bad.conditions[1] > 0.9
    assert clean.next_conditions[0] < clean.conditions[0]  # part of what is known is forgotten


def test_a_radio_that_stays_bad_is_known_to_be_within_ten_reports() -> None:
    chance, radio = random.Random(5), tuple[float, ...]()
    for _ in range(10):
        radio = hear(RACE, spoiled(chance), prior=LAST, conditions=radio).next_conditions
    assert radio[1] > 0.8
    for _ in range(10):
        radio = hear(RACE, SAID, prior=LAST, conditions=radio).next_conditions
    assert radio[0] > 0.9


def test_reports_read_without_hearing_tell_of_the_radio_too() -> None:
    ears = channel(RACE)
    bad = ears.learnt(ears.learnt((), 7, clean=False), 7, clean=False)
    assert sum(bad) == pytest.approx(1)
    assert bad[1] > 0.6
    assert ears.learnt(bad, 7, clean=True)[1] < bad[1]


def test_the_same_words_are_asked_about_once_the_radio_is_known_to_be_bad() -> None:
    heard = SAID.copy()
    heard[1] = "niner" if heard[1] != "niner" else "one"
    good = hear(RACE, heard, prior=LAST, conditions=(0.99, 0.01)).candidates[0].probability
    bad = hear(RACE, heard, prior=LAST, conditions=(0.01, 0.99)).candidates[0].probability
    assert bad < good


@pytest.mark.parametrize("known", [True, False])
def test_two_wrong_words_are_hardly_ever_made_a_report_of(known: bool) -> None:
    chance, radio, wrong = random.Random(2), tuple[float, ...](), 0
    for _ in range(40):
        found = hear(RACE, spoiled(chance), prior=LAST if known else None, conditions=radio)
        radio = found.next_conditions
        wrong += found.accepted is not None and found.accepted.said != encode(RACE, NEXT).string
    assert wrong <= 1


def test_neighbours_that_the_driver_swapped_are_thought_of() -> None:
    """The check tells that something is wrong, not what."""
    sure = []
    for swapped in (0.0, 0.05):
        book = lap_book(**PLAIN | {"swapped": swapped})
        words = encode(book, {"lap": 4, "energy": "0.3", "motor": 97, "alert": []}).words.split()
        words[3:5] = words[4], words[3]
        found = hear(book, words)
        sure.append(sum(c.probability for c in found.candidates if c.reading["motor"] == 97))
    assert sure[1] > 10 * sure[0]
    assert sure[1] > 0.5
