"""What a recogniser was not sure of: its confidences and alternatives weighed, so that a report is
as certain as its words are.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from codec.radio.finder import Finder, Passage
from codec.radio.forms import RecognisedWord, Utterance
from codec.reading import Reading
from grammar.message import Direction
from grammar.speech.words import Wording

if TYPE_CHECKING:
    from codec.hear import Slots

_MOST_TRIED = 48


@dataclass(slots=True)
class Interpretation:
    """The text an utterance is taken for, and what was found in it.

    ``share`` is what other texts leave it, 0 … 1; ``instead_of`` the text the recogniser had first,
    where another was taken; ``changed`` whether it puts something right that was said before;
    ``doubts`` what a recogniser told of it, where that decided.
    """

    utterance: Utterance
    passages: Sequence[Passage]
    reason: str = ""
    changed: bool = False
    share: float = 1.0
    instead_of: str = ""
    doubts: Slots | None = None

    def certainty(self, odds: Mapping[str, float], passage: Passage) -> float:
        """Return how sure a report is: that it is one, that its words were recognised, and that no
        other text was meant.
        """
        heard = self.share * heard_right(self.utterance, passage)
        return self.is_report(odds, passage) * heard

    @staticmethod
    def is_report(odds: Mapping[str, float], passage: Passage) -> float:
        """Return how sure it is that words are a report at all."""
        return 1 / (1 + 2 ** -min(60.0, odds["accept"] - odds["rarity"] + passage.bits))


def heard_right(utterance: Utterance, passage: Passage) -> float:
    """Return how likely the words of a report were recognised rightly, given that they are one.

    The recogniser's confidences tell how often all of them are right, one is wrong, or more are
    (for the utterance as a whole where words have none); wrong words seldom make a report.
    """
    known = [
        word.confidence
        for word, start, end in places(utterance)
        if word.confidence is not None and passage.span[0] <= start and end <= passage.span[1]
    ]
    if known:
        right = math.prod(known)
        one = sum(
            (1 - sure) * math.prod(known[:n] + known[n + 1 :]) for n, sure in enumerate(known)
        )
    else:
        right = 1.0 if utterance.confidence is None else utterance.confidence
        one = 0.0
    if right >= 1:
        return 1.0
    chances = [chances_of(reading) for reading in passage.readings]
    by_one, by_more = (max(pair[n] for pair in chances) for n in (0, 1)) if chances else (1.0, 1.0)
    wrong = one * by_one + max(0.0, 1 - right - one) * by_more
    return right / (right + wrong) if right > 0 else 0.0


def chances_of(reading: Reading) -> tuple[float, float]:
    """Return how likely the string of a reading is still one of its message with one symbol another
    one, and with several.
    """
    message, said = reading.match.message, reading.said
    symbols = reading.match.message.alphabet.symbols
    others = [
        said[:place] + symbol + said[place + 1 :]
        for place in range(len(said))
        for symbol in symbols
        if symbol != said[place]
    ]
    fitting = sum(message.quick(other) is not None for other in others) / max(1, len(others))
    checked = any(table.check for table in reading.match.plan.tables)
    return fitting, max(fitting, 1 / len(symbols)) if checked else 1.0


def best(
    finder: Finder,
    utterance: Utterance,
    words: Wording,
    role: Direction | None,
) -> Interpretation:
    """Return what an utterance of these ``words`` is taken for: its text as it stands where that
    holds a report, else the one alternative that does.

    Where several texts hold different reports each is as sure as its share of their confidences.
    """
    found = finder.find(words, role)
    plain = Interpretation(utterance, found.listed, found.reason)
    if not utterance.open_to_doubt:
        return plain
    others = list(_other_texts(utterance))
    weights: dict[tuple[str, ...], float] = {}
    choices: dict[tuple[str, ...], Interpretation] = {}
    own = _strings(found.listed)
    if own:
        weights[own], choices[own] = max(_confidence(utterance), 1e-6), plain
    for text, weight, told in others:
        passages = finder.find(finder.cut(text), role).listed
        strings = _strings(passages)
        if strings:
            weights[strings] = weights.get(strings, 0.0) + weight
            other = utterance.taken_for(text)._replace(words=told)
            choices.setdefault(strings, Interpretation(other, passages, instead_of=utterance.text))
    if not choices:
        return plain
    total = sum(weights.values())
    chosen = own or max(weights, key=lambda strings: weights[strings])
    if (
        not own
    ):  # that nothing of this was said weighs too, but words seldom make a report by chance
        everything = _confidence(utterance) + sum(weight for _, weight, _ in others)
        readings = [one for part in choices[chosen].passages for one in part.readings]
        by_chance = max(chances_of(one)[1] for one in readings)
        total += max(0.0, min(1.0, everything) - total) * by_chance
    choices[chosen].share = weights[chosen] / total if total else 0.0
    return choices[chosen]


def _strings(passages: Sequence[Passage]) -> tuple[str, ...]:
    return tuple(
        reading.said
        for passage in passages
        if passage.kind == "reading"
        for reading in passage.readings
    )


def _confidence(utterance: Utterance) -> float:
    if utterance.confidence is not None:
        return utterance.confidence
    return math.prod(word.confidence for word in utterance.words if word.confidence is not None)


def places(utterance: Utterance) -> Iterator[tuple[RecognisedWord, int, int]]:
    """Yield the recogniser's words that stand in the text, each with where it begins and ends."""
    end = 0
    for word in utterance.words:
        start = utterance.text.find(word.text, end)
        if start >= 0:
            end = start + len(word.text)
            yield word, start, end


def _other_texts(
    utterance: Utterance,
) -> Iterator[tuple[str, float, tuple[RecognisedWord, ...]]]:
    """Yield the other texts an utterance may have had, each with its confidence and what the
    recogniser told of its words: its own, then one word changed at a time.
    """
    for text, weight in utterance.alternatives[:_MOST_TRIED]:
        yield text, weight, ()
    whole, count = _confidence(utterance), 0
    for word, start, end in places(utterance):
        for text, confidence in word.alternatives:
            count += 1
            if count > _MOST_TRIED:
                return
            weight = whole / word.confidence * confidence if word.confidence else confidence
            rest = tuple(pair for pair in word.alternatives if pair[0] != text)
            first = () if word.confidence is None else ((word.text, word.confidence),)
            instead = RecognisedWord(text, confidence, (*first, *rest))
            told = tuple(instead if one is word else one for one in utterance.words)
            yield utterance.text[:start] + text + utterance.text[end:], min(1.0, weight), told
