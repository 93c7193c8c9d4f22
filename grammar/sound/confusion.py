"""How easily one word of a set is taken for another: tables P(heard | said), and a team's own
figures in their place.

The default: P(heard | said) is proportional to exp(-distance / temperature), over the words of the
set; the temperature follows from the signal-to-noise ratio. Two published anchors fix it: half of
all nonsense syllables are heard right at +3 dB, half of all plain digits at -14 dB (Miller, Heise &
Lichten 1951); between and beyond, its logarithm is linear in decibels. Grades are named ratios;
``clear`` is where 93 % of plain letter names are heard right, as on a telephone (Fanty, Cole &
Roginski 1991). One word in a thousand is heard as any word of the set however clear the line, so
that nothing is impossible. The decibels are those of that laboratory (wide-band noise, trained
listeners): a scale to compare by, not a promise.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NoReturn, TypeVar

from grammar.data import table
from grammar.errors import CodeError
from grammar.sound.articulation import Phones, distance

Key = TypeVar("Key", bound=Hashable)
Confusions = dict[Key, dict[Key, float]]
"""P(heard | said) as ``confusions[said][heard]``; each row sums to 1 and has every word."""

_RATIOS = (-30.0, 30.0)
_TOLERANCE = 1e-6


@dataclass(frozen=True, slots=True)
class Pair:
    """Two words and the probability that one is taken for the other, the mean of both
    directions.
    """

    first: Any
    second: Any
    probability: float


def _fail(message: str, expected: str, hint: str = "", kind: str = "confusions") -> NoReturn:
    raise CodeError(message, kind=kind, expected=(expected,), hint=hint)


def grades() -> dict[str, str]:
    """Return the named grades of noise with their meaning and signal-to-noise ratio, from clearest
    to harshest.
    """
    rows = table("articulation")["grade"].items()
    return {name: f"{row['meaning']} ({row['signal_to_noise']:+g} dB)" for name, row in rows}


def temperature(grade: str | float) -> float:
    """Return the temperature of a named grade or of a signal-to-noise ratio in decibels; higher is
    noisier.

    Raises CodeError for an unknown grade and for a ratio beyond -30 to +30 dB.
    """
    data = table("articulation")
    if isinstance(grade, str) and grade not in data["grade"]:
        names = ", ".join(data["grade"])
        _fail(
            f"unknown grade of noise {grade[:40]!r}",
            names,
            "a ratio in decibels is accepted too",
            "unknown-grade",
        )
    ratio = data["grade"][grade]["signal_to_noise"] if isinstance(grade, str) else grade
    if not _RATIOS[0] <= ratio <= _RATIOS[1]:
        limits = f"{_RATIOS[0]:g} to {_RATIOS[1]:+g} dB"
        _fail(
            f"signal-to-noise ratio {ratio} dB is out of range",
            limits,
            "the model knows nothing beyond",
            "unknown-grade",
        )
    near, far = data["noise"]["syllables"], data["noise"]["digits"]
    share = (near["signal_to_noise"] - ratio) / (near["signal_to_noise"] - far["signal_to_noise"])
    return float(near["temperature"] * (far["temperature"] / near["temperature"]) ** share)


def confusion(words: Sequence[tuple[Key, Phones]], grade: str | float = "noisy") -> Confusions[Key]:
    """Return P(heard | said) for a set of words, each a key with its phones, in a grade of noise.

    ``grade`` is a name of ``grades()`` or a signal-to-noise ratio in decibels. Words that sound the
    same are told apart only by chance. Raises CodeError for no words, a key given twice, a word
    without sound, an unknown phone or an unknown grade.
    """
    keys = [key for key, _ in words]
    if not keys or len(set(keys)) < len(keys):
        repeated = next((repr(key) for key in keys if keys.count(key) > 1), None)
        _fail(
            f"the word {repeated} is given twice" if repeated else "no words are given",
            "one or more words, each once",
        )
    for key, sounds in words:
        if not sounds:
            _fail(f"the word {key!r} has no sound", "at least one phone")
    heat, lapse = temperature(grade), float(table("articulation")["lapse"]["share"])
    rows = {
        said: _shares(
            {heard: math.exp(-distance(sounds, others) / heat) for heard, others in words}
        )
        for said, sounds in words
    }
    return {
        said: {heard: (1 - lapse) * share + lapse / len(keys) for heard, share in row.items()}
        for said, row in rows.items()
    }


def _shares(weights: Mapping[Key, float]) -> dict[Key, float]:
    total = math.fsum(weights.values())
    return {key: weight / total for key, weight in weights.items()}


def likeliest(confusions: Mapping[Key, Mapping[Key, float]], limit: int = 10) -> list[Pair]:
    """Return the pairs of a table most easily taken for each other, likeliest first, at most
    ``limit`` of them.
    """
    keys = list(confusions)
    pairs = [
        Pair(first, second, (confusions[first][second] + confusions[second][first]) / 2)
        for place, first in enumerate(keys)
        for second in keys[place + 1 :]
    ]
    return sorted(pairs, key=lambda pair: -pair.probability)[: max(0, limit)]


def confusable_pairs(
    words: Sequence[tuple[Key, Phones]], limit: int = 10, grade: str | float = "noisy"
) -> list[Pair]:
    """Return the pairs of words most easily taken for each other by the default table; errors as
    ``confusion``.
    """
    return likeliest(confusion(words, grade), limit)


def _known(what: str, default: Mapping[Key, object], keys: Iterable[Key]) -> None:
    for key in keys:
        if key not in default:
            _fail(f"{what} {key!r} is not a word of this set", ", ".join(map(str, default)))


def with_table(
    default: Confusions[Key], table: Mapping[Key, Mapping[Key, float]]
) -> Confusions[Key]:
    """Return ``default`` with the probabilities a team states in their place.

    ``table[said][heard]`` is P(heard | said). What a row does not state shares the rest of its mass
    as the default has it; rows not given stay. Raises CodeError for an unknown word, a number that
    is no probability, or a row that cannot sum to 1.
    """
    _known("said", default, table)
    return {said: _stated(said, row, table.get(said, {})) for said, row in default.items()}


def _stated(said: Key, row: Mapping[Key, float], stated: Mapping[Key, float]) -> dict[Key, float]:
    _known("heard", row, stated)
    for heard, share in stated.items():
        if not 0 <= share <= 1:
            _fail(f"P(heard {heard!r} | said {said!r}) is {share}", "a probability from 0 to 1")
    total = math.fsum(stated.values())
    others = {heard: share for heard, share in row.items() if heard not in stated and share > 0}
    if total > 1 + _TOLERANCE or (total < 1 - _TOLERANCE and not others):
        _fail(
            f"the probabilities of what is heard for {said!r} sum to {total:g}",
            "a sum of 1, or less with words left out",
        )
    rest, mass = max(0.0, 1 - total), math.fsum(others.values())
    mixed = {
        heard: stated[heard] if heard in stated else rest * row[heard] / (mass or 1)
        for heard in row
    }
    return _shares(mixed)


def with_counts(
    default: Confusions[Key], counts: Mapping[Key, Mapping[Key, float]], strength: float = 10.0
) -> Confusions[Key]:
    """Return ``default`` corrected by counts of what was heard: the mean of a Dirichlet posterior.

    ``counts[said][heard]`` is how often; ``strength`` is how many such observations a row of the
    default is worth. A count of nought is not impossible: ``(count + strength * default) / (all
    counts of the row + strength)``. Raises CodeError for an unknown word, a count that is negative
    or not finite, or a strength that is not above 0.
    """
    if not 0 < strength < math.inf:
        _fail(f"the strength of the default is {strength}", "a number above 0")
    _known("said", default, counts)
    for said, row in counts.items():
        _known("heard", default[said], row)
        for heard, count in row.items():
            if not 0 <= count < math.inf:
                _fail(f"the count of {heard!r} heard for {said!r} is {count}", "a number from 0")
    return {
        said: _shares(
            {
                heard: counts.get(said, {}).get(heard, 0) + strength * share
                for heard, share in row.items()
            }
        )
        for said, row in default.items()
    }
