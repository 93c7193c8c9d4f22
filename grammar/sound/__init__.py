"""How words sound: their phones, how long they take to say, and how easily one is taken for
another.

``phones`` gives the sounds of a word, ``seconds`` and ``syllables`` its length, ``distance`` how
far two words are apart, ``confusion`` the table P(heard | said) of a set of words in a grade of
noise. ``with_table`` and ``with_counts`` put a team's own figures in its place: distance over
sounds is a default, known to agree only roughly with listening tests. Everything is computed from
``tables/phones.toml`` and ``tables/articulation.toml``, each headed by its sources.
"""

from grammar.sound.articulation import Phones, difference, distance
from grammar.sound.confusion import (
    Confusions,
    Pair,
    confusable_pairs,
    confusion,
    grades,
    likeliest,
    temperature,
    with_counts,
    with_table,
)
from grammar.sound.pronunciation import estimate, phones, pronunciations, respelled
from grammar.sound.timing import seconds, syllables

__all__ = [
    "Confusions",
    "Pair",
    "Phones",
    "confusable_pairs",
    "confusion",
    "difference",
    "distance",
    "estimate",
    "grades",
    "likeliest",
    "phones",
    "pronunciations",
    "respelled",
    "seconds",
    "syllables",
    "temperature",
    "with_counts",
    "with_table",
]
