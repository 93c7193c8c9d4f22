"""The same sums and the same best strings as a general library of weighted automata: pynini, on
OpenFst (Allauzen et al. 2007).
"""

from __future__ import annotations

import functools
import math
import random

import pytest
from hear.models import eight_with_option, six_with_check
from hear.weighted_automata import Automata
from helpers import first_short

from codec import Book
from codec.hear import channel, hear
from codec.hear.draw import Source, passed_on
from codec.hear.model import model_of
from codec.hear.priors import Prior


@functools.cache
def made(name: str) -> tuple[Book, Automata]:
    book = six_with_check() if name == "six symbols with a check" else eight_with_option()
    return book, Automata(book, channel(book))


@pytest.mark.slow
@pytest.mark.parametrize("seed", first_short(range(6), 2))
@pytest.mark.parametrize(
    "name", ["six symbols with a check", "eight symbols with an optional part"]
)
def test_the_five_best_strings_and_their_costs_are_the_same(name: str, seed: int) -> None:
    book, automata = made(name)
    chance = random.Random(seed)
    _, said = Source(model_of(book, None).weighted(Prior())).draw(chance)
    words = passed_on(channel(book, -10.0), said, chance)
    heard = "".join(book.alphabet.spoken[word.replace("-", " ")] for word in words)
    total, best = automata.total(heard), automata.best(heard)
    found = hear(book, words, count=5)
    assert found.nothing == 0
    assert [c.reading.said for c in found.candidates] == [string for string, _ in best]
    ours = [-math.log(c.probability) for c in found.candidates]
    theirs = [cost + math.log(total) for _, cost in best]
    assert ours == pytest.approx(theirs, abs=1e-4)  # OpenFst keeps single precision
