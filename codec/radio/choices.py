"""What a recogniser was not sure of: its confidences and alternatives weighed, so that a report is
as certain as its words are.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from codec.radio.finder import Finder, Found
from codec.radio.forms import Utterance
from grammar.message import Direction

_MOST_TRIED = 48


@dataclass(slots=True)
class Choice:
    """The text an utterance is taken for, and what was found in it.

    ``share`` is what other texts leave it, 0 … 1; ``instead_of`` the text the recogniser had first,
    where another was taken; ``changed`` whether it puts something right that was said before.
    """

    said: Utterance
    found: Sequence[Found]
    reason: str = ""
    changed: bool = False
    share: float = 1.0
    instead_of: str = ""

    def certainty(self, odds: Mapping[str, float], found: Found) -> float:
        """Return how sure a report is: that it is one, that its words were recognised, and that no
        other text was meant.
        """
        spoken = 1 / (1 + 2 ** -min(60.0, odds["accept"] - odds["rarity"] + found.bits))
        return spoken * self.share * heard_right(self.said, found)


def heard_right(said: Utterance, found: Found) -> float:
    """Return the recogniser's confidence in the words of a report: their product, or the
    utterance's own where words have none.
    """
    place, product, told = 0, 1.0, False
    for word in said.words:
        start = said.text.find(word.text, place)
        if start < 0:
            continue
        place = start + len(word.text)
        if word.confidence is not None and found.span[0] <= start and place <= found.span[1]:
            product, told = product * word.confidence, True
    return product if told else 1.0 if said.confidence is None else said.confidence


def best(finder: Finder, said: Utterance, role: Direction | None, context: Any) -> Choice:
    """Return what an utterance is taken for: its text as it stands where that holds a report, else
    the one alternative that does.

    Where several texts hold different reports each is as sure as its share of their confidences.
    """
    heard = finder.find(said.text, role, context)
    plain = Choice(said, heard.found, heard.reason)
    if not said.alternatives and not any(word.alternatives for word in said.words):
        return plain
    weights: dict[tuple[str, ...], float] = {}
    choices: dict[tuple[str, ...], Choice] = {}
    own = _strings(heard.found)
    if own:
        weights[own], choices[own] = max(_confidence(said), 1e-6), plain
    for text, weight in _texts(said):
        other = Utterance(said.number, text, said.speaker, said.at, said.until, said.car, said.lap)
        found = finder.find(text, role, context).found
        strings = _strings(found)
        if strings:
            weights[strings] = weights.get(strings, 0.0) + weight
            choices.setdefault(strings, Choice(other, found, instead_of=said.text))
    if not choices:
        return plain
    chosen = own or max(weights, key=lambda strings: weights[strings])
    total = (
        sum(weights.values())
        if own
        else max(
            sum(weights.values()), min(1.0, _confidence(said) + sum(w for _, w in _texts(said)))
        )
    )
    choice = choices[chosen]
    choice.share = weights[chosen] / total if total else 0.0
    return choice


def _strings(found: Sequence[Found]) -> tuple[str, ...]:
    return tuple(reading.said for one in found if one.kind == "reading" for reading in one.readings)


def _confidence(said: Utterance) -> float:
    if said.confidence is not None:
        return said.confidence
    told = [word.confidence for word in said.words if word.confidence is not None]
    return math.prod(told) if told else 1.0


def _texts(said: Utterance) -> Iterator[tuple[str, float]]:
    """Yield the other texts an utterance may have had, each with its confidence: the recogniser's
    own, then one word changed at a time.
    """
    yield from said.alternatives[:_MOST_TRIED]
    whole, place, count = _confidence(said), 0, 0
    for word in said.words:
        start = said.text.find(word.text, place)
        if start < 0:
            continue
        place = start + len(word.text)
        for text, sure in word.alternatives:
            count += 1
            if count > _MOST_TRIED:
                return
            weight = whole / word.confidence * sure if word.confidence else sure
            yield said.text[:start] + text + said.text[place:], min(1.0, weight)
