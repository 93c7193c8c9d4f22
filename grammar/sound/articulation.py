"""How far two words are apart: an alignment of their phones, weighted by how the phones are made.

The difference of two phones is the weighted sum of the differences of their articulatory features,
never more than ``most``. The distance of two words is the least sum of differences, losses and
additions that turns one into the other. Both are metrics: nought for equals, the same in both
directions, and no detour is shorter. Features and weights: ``tables/articulation.toml``.
"""

from __future__ import annotations

import functools
from collections.abc import Iterable, Mapping
from itertools import accumulate

from grammar.data import table
from grammar.errors import CodeError

Phones = tuple[str, ...]

_GLIDE = " to "


def _consonant(description: str) -> dict[str, float]:
    data = table("articulation")
    words = description.split()
    place: dict[str, float] = data["place"][words[1]]
    manner: dict[str, float] = data["manner"][words[-1]]
    return {
        "voiced": float(words[0] == "voiced"),
        "sibilant": float("sibilant" in words),
        **place,
        **manner,
    }


def _vowel(description: str) -> dict[str, float]:
    data = table("articulation")
    start, _, end = description.partition(_GLIDE)
    height, backness, *others = start.split()
    end_height, end_backness = end.split() or (height, backness)
    return {
        "height": data["height"][height],
        "backness": data["backness"][backness],
        "end_height": data["height"][end_height],
        "end_backness": data["backness"][end_backness],
        **{word: float(word in others) for word in ("rounded", "long", "rhotic")},
    }


def is_vowel(phone: str) -> bool:
    """Tell whether a phone is a vowel; raises CodeError where it is no phone at all."""
    if phone in table("articulation")["vowel"]:
        return True
    check((phone,))
    return False


def is_glide(phone: str) -> bool:
    """Tell whether a phone is a vowel that moves, a diphthong."""
    return _GLIDE in table("articulation")["vowel"].get(phone, "")


def check(phones: Iterable[str]) -> None:
    """Raise CodeError unless every item is an ARPAbet phone without stress mark."""
    data = table("articulation")
    for phone in phones:
        if phone not in data["vowel"] and phone not in data["consonant"]:
            raise CodeError(
                f"{phone[:20]!r} is not a phone",
                kind="unknown-phone",
                expected=(*data["vowel"], *data["consonant"]),
                hint="phones are ARPAbet without stress marks, such as ('F', 'AY', 'F')",
            )


@functools.cache
def _weighted() -> dict[str, tuple[str, Mapping[str, float]]]:
    """Return for every phone its class and its features, each already multiplied by its weight."""
    data = table("articulation")
    features = {phone: ("consonant", _consonant(text)) for phone, text in data["consonant"].items()}
    features |= {phone: ("vowel", _vowel(text)) for phone, text in data["vowel"].items()}
    return {
        phone: (kind, {name: value * data["weight"][kind][name] for name, value in found.items()})
        for phone, (kind, found) in features.items()
    }


@functools.cache
def difference(first: str, second: str) -> float:
    """Return how far two phones are apart, from 0 for the same phone to ``most`` of
    ``tables/articulation.toml``.
    """
    check((first, second))
    most: float = table("articulation")["cost"]["most"]
    (kind, one), (other_kind, other) = _weighted()[first], _weighted()[second]
    if kind != other_kind:
        return most
    return min(most, sum(abs(value - other[name]) for name, value in one.items()))


@functools.cache
def loss(phone: str) -> float:
    """Return what it costs to lose a phone or to hear one that was not said."""
    cost: float = table("articulation")["cost"]["vowel" if is_vowel(phone) else "consonant"]
    return cost


def distance(first: Phones, second: Phones) -> float:
    """Return how far two words are apart, given their phones; 0 is the same sound, one plain vowel
    lost is about 1.

    Raises CodeError for an unknown phone.
    """
    return _distance(
        min(first, second), max(first, second)
    )  # one order, so that both directions agree to the last bit


@functools.lru_cache(maxsize=1 << 16)
def _distance(first: Phones, second: Phones) -> float:
    lost = [loss(phone) for phone in second]
    above = list(accumulate(lost, initial=0.0))
    for phone in first:
        gone = loss(phone)
        row = [above[0] + gone]
        for column, other in enumerate(second):
            changed = above[column] + difference(phone, other)
            row.append(min(changed, above[column + 1] + gone, row[column] + lost[column]))
        above = row
    return above[-1]
