"""How long a word takes to say, in seconds.

Measured times come first: the milliseconds of ``tables/icao.toml``. Other words are estimated as a
fixed time for the word, more for each vowel, for each vowel that moves and for each consonant; the
four figures in ``tables/articulation.toml`` are the least squares fit to the 36 measured words,
with 38 ms root mean square error (82 ms at worst) where the words last 363 to 802 ms. Syllables
alone miss by 72 ms.
"""

from __future__ import annotations

import functools

from grammar.data import table
from grammar.sound.articulation import Phones, is_glide, is_vowel
from grammar.sound.pronunciation import phones


def syllables(sounds: Phones) -> int:
    """Return how many syllables are in some phones: the number of vowels.

    Raises CodeError for an unknown phone.
    """
    return sum(map(is_vowel, sounds))


@functools.cache
def _measured() -> dict[Phones, float]:
    """Return the measured seconds by sound, so that every spelling of a sound takes the same
    time.
    """
    rows = [row for symbol, row in table("icao").items() if symbol.isalnum()]
    return {phones(row["word"]): row["milliseconds"] / 1000 for row in rows}


def estimated(sounds: Phones) -> float:
    """Return the seconds the duration model gives for one word; nothing said takes no time."""
    if not sounds:
        return 0.0
    model: dict[str, float] = table("articulation")["duration"]
    vowels, glides = syllables(sounds), sum(map(is_glide, sounds))
    consonants = len(sounds) - vowels
    total = (
        model["word"]
        + model["vowel"] * vowels
        + model["glide"] * glides
        + model["consonant"] * consonants
    )
    return total / 1000


def seconds(word: str | Phones) -> float:
    """Return the time to say a word, or some phones: measured where it was, estimated otherwise.

    Several words are the sum of their parts. Raises CodeError for what has no sound.
    """
    if isinstance(word, tuple):
        return _measured().get(word, estimated(word))
    whole = phones(word)
    if whole in _measured() or len(word.split()) < 2:
        return _measured().get(whole, estimated(whole))
    return sum(seconds(part) for part in word.split())
