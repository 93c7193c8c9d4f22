"""The best readings weighed again by a recogniser's own score of whole strings.

Slots treat the words of a string one by one; a recogniser that scores whole strings knows more.
Both are measured against the string that the slots hold most likely, or where that has no score
against the likeliest that has one: how much less likely the sound is for another string is taken
from the score instead of from the slots. What a slip of the driver makes of a string stays as the
slots have it, and so do readings that were not scored.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence

from codec.hear.alignment import Alignments, align
from codec.hear.channel import Channel
from codec.hear.heard import HeardReport
from codec.hear.k_best import likelihoods
from codec.hear.ranking import Ranked, Ranking

_MOST = 50.0  # natural logarithms by which a weight grows: far from the largest number of a float


def weighed_by_score(
    channel: Channel,
    heard: HeardReport,
    ranking: Ranking,
    ranked: Sequence[Ranked],
    longest: int,
) -> tuple[list[Ranked], float]:
    """Return the readings with their new probabilities, best first, and the factor by which the
    probability of everything else changed.
    """
    index = channel.alphabet.index
    ways = [ranking.strings(match) for match, _ in ranked]
    strings = list(dict.fromkeys(string for found in ways for string, _ in found))
    anchor = likeliest(channel, heard)
    scores = _scores(heard, [anchor, *strings])
    scored = [
        number for number, score in enumerate(scores) if score is not None and score > -math.inf
    ]
    if not strings or not scored:
        return list(ranked), 1.0
    steady = dataclasses.replace(channel, misread=0.0, swapped=0.0)
    plain = align(steady, [heard], longest)
    numbers = [[index[symbol] for symbol in string] for string in (anchor, *strings)]
    as_said = likelihoods(plain, numbers)
    start = 0 if scored[0] == 0 else max(scored, key=lambda number: as_said[number])
    known = scores[start] or 0.0
    # sound far likelier for others than for that string makes all that was not scored less likely
    best = max((scores[number] or 0.0) - known for number in scored)
    rest = math.exp(min(0.0, _MOST - best))
    slipped = likelihoods(ranking.alignments, numbers[1:])
    factor = {}
    for string, score, own, whole in zip(strings, scores[1:], as_said[1:], slipped, strict=True):
        said = (1 - channel.misread) ** len(string) * (1 - _swapping(channel, plain)) ** len(string)
        if score is None:
            factor[string] = (whole, rest * whole)
            continue
        by_score = as_said[start] * math.exp(min(score - known, score - known + _MOST - best))
        factor[string] = (whole, rest * max(0.0, whole - said * own) + said * by_score)
    found = []
    for (match, probability), spoken in zip(ranked, ways, strict=True):
        before = sum(share * factor[string][0] for string, share in spoken)
        after = sum(share * factor[string][1] for string, share in spoken)
        found.append((match, probability * (after / before if before > 0 else rest)))
    other = rest * max(0.0, 1 - sum(probability for _, probability in ranked))
    total = other + sum(probability for _, probability in found)
    if not total > 0:
        return list(ranked), 1.0
    found = [(match, probability / total) for match, probability in found]
    return sorted(found, key=lambda pair: -pair[1]), rest / total


def _scores(heard: HeardReport, strings: Sequence[str]) -> list[float | None]:
    assert heard.score is not None  # noqa: S101 - asked only where there is one
    return [
        score if score is None or math.isfinite(score) else -math.inf
        for score in heard.score(strings)
    ]


def _swapping(channel: Channel, plain: Alignments) -> float:
    """Return how often two symbols are swapped: never where there are not two slots."""
    return channel.swapped if plain.size > 4 else 0.0


def likeliest(channel: Channel, heard: HeardReport) -> str:
    """Return the string that is likeliest by the slots alone."""
    symbols = channel.alphabet.symbols
    return "".join(
        symbols[int(slot.likelihood.argmax())]
        for slot in heard.slots
        if slot.likelihood.max() > slot.passed
    )
