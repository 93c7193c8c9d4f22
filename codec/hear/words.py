"""Heard words to likelihoods: a transcript, or a list with a recogniser's alternatives and
confidences.

Every word counts. A word of the book is taken as heard; ``?`` and ``[unclear]`` may be anything;
any other word is placed by its sound, alone or together with its neighbour where that sounds more
like a word of the book (``for tea`` like forty). Fillers carry nothing.
"""

from __future__ import annotations

import functools
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from codec.hear.channel import Channel
from codec.hear.heard import WHOLE, AskedPart, HeardReport, HeardWord
from grammar import sound
from grammar.errors import CodeError, Incomplete, ReportError, UnexpectedWord
from grammar.speech.kinds import ONE_SYMBOL, SPOKEN, WordKind
from grammar.speech.lexicon import Meaning
from grammar.speech.numbers import arcs
from grammar.speech.procedure import spliced
from grammar.speech.words import Word, cut
from grammar.symbols import normal

if TYPE_CHECKING:
    from grammar.book import Book

Item = str | Mapping[str, float] | Sequence[Sequence[Any]]
Words = str | Sequence[Item]
MARK = re.compile(
    r"\[[^\]\n]{0,200}\]|(?<!\S)[?]+(?!\S)|\((?:unclear|inaudible|unintelligible)\)", re.IGNORECASE
)

MOST_WAYS = 32
MOST_WORDS = 90
_ALIKE = 0.7  # up to this distance an unknown word may be one of the number words
_CHOICE = re.compile(  # from the beginning of a word on, so that a long one is gone through once
    r"(?<![^\s/=])(?:[^\s/=]++(?:=[-+0-9.]++)?(?:/[^\s/=]++(?:=[-+0-9.]++)?)+|[^\s/=]++=[-+0-9.]++)"
)
_UNCLEAR = Meaning(WordKind.UNCLEAR)
_RUN = SPOKEN | {WordKind.UNKNOWN, WordKind.UNCLEAR, WordKind.CHOICE}


class Ear:
    """Places single words, for one book and channel."""

    def __init__(self, book: Book, channel: Channel) -> None:
        """Take the book for its words and the channel for how they are heard."""
        self.book, self.channel = book, channel

    def symbol(self, symbol: str, label: str) -> HeardWord:
        """Return what is heard: a word of the book."""
        return HeardWord(self.channel.heard(symbol), 1 / self.channel.vocabulary, label, symbol)

    def unclear(self, label: str) -> HeardWord:
        """Return what is heard: a word that may be anything."""
        import numpy as np

        return HeardWord(np.ones(self.channel.vocabulary), 1.0, label)

    def foreign(
        self, text: str, source: str = "", span: tuple[int, int] | None = None
    ) -> HeardWord:
        """Return what is heard: a word that is in no table, by its sound; one that can't be sounded
        may be anything.
        """
        phones = sound_of(text)
        if phones is None:
            if not any(character.isalnum() for character in text):
                return self.unclear(text)
            raise ReportError(
                f"{text[:40]!r} can't be placed by its sound",
                kind="no-sound",
                source=source,
                span=span,
                hint="write it in letters, or ? for a word that was not understood",
            )
        return HeardWord(
            self.channel.foreign(normal(text)), 1 / (self.channel.vocabulary + 1), text
        )

    def item(self, item: Item) -> HeardWord:
        """Return what is heard: one word of a list."""
        if isinstance(item, str):
            return self.one(item)
        if isinstance(item, Mapping):
            return self.choice(list(item.items()))
        if not isinstance(item, Sequence):
            raise CodeError(
                f"{str(item)[:40]} is no word",
                kind="alternatives",
                expected=["a text", '{"word": confidence}'],
            )
        return self.choice(
            [
                tuple(pair) if isinstance(pair, Sequence) and not isinstance(pair, str) else (pair,)
                for pair in item
            ]
        )

    def one(self, text: str) -> HeardWord:
        """Return what is heard: a text that is one spoken word."""
        form = normal(text)
        meaning = self.book.lexicon.meanings.get(form)
        options = (
            [] if meaning is None else [option for option in meaning.options if len(option) == 1]
        )
        if options:
            return self.symbol(options[0], text)
        if means_unclear(form):
            return self.unclear(text or "?")
        return self.foreign(form)

    def choice(self, pairs: Sequence[tuple[Any, ...]]) -> HeardWord:
        """Return what is heard: alternatives with confidences; what these leave of 1 is any word,
        more than 1 in all is scaled down.
        """
        import numpy as np

        if not pairs:
            return self.unclear("?")
        for pair in pairs:
            if (
                len(pair) != 2
                or not isinstance(pair[0], str)
                or not isinstance(pair[1], int | float)
                or not 0 <= pair[1] <= 1
            ):
                raise CodeError(
                    f"{'='.join(map(str, pair))[:60]!r} is no alternative with its confidence",
                    kind="alternatives",
                    expected=["a word and its confidence, a number from 0 to 1"],
                )
        total = max(1.0, math.fsum(confidence for _, confidence in pairs))
        rest = max(0.0, 1 - math.fsum(confidence for _, confidence in pairs) / total)
        even = 1 / self.channel.vocabulary
        likelihood, stray = np.full(self.channel.vocabulary, rest * even), rest * even
        for word, confidence in pairs:
            heard_word = self.one(word)
            scale = (
                even if heard_word.stray == 1.0 else 1.0
            )  # an unclear word stands for each word of the book alike
            likelihood = likelihood + confidence / total * heard_word.likelihood * scale
            stray += confidence / total * heard_word.stray * scale
        return HeardWord(likelihood, stray, "/".join(word for word, _ in pairs))


def listen(
    book: Book, channel: Channel, heard: Words, part: AskedPart = WHOLE
) -> list[HeardReport]:
    """Return the hearings in what was heard: one, or more where I SAY AGAIN repeats the report.

    A list holds one item for each word: a text, or a recogniser's alternatives as {word:
    confidence} or (word, confidence) pairs. In a text alternatives are written five=0.6/nine=0.3.
    Raises ReportError where nothing was heard, or procedure words do not fit.
    """
    ear = _TranscriptEar(book, channel)
    if isinstance(heard, str):
        return ear.text(heard, part)
    heard_words = [ear.item(item) for item in heard]
    if not heard_words:
        raise Incomplete(
            "nothing was heard",
            kind="no-report",
            hint="pass the words as heard; ? for a word that was not understood",
        )
    shown = " ".join(heard_word.label for heard_word in heard_words)
    return [HeardReport([_counted(heard_words, shown)], part, shown)]


def _counted(heard_words: list[HeardWord], text: str) -> list[HeardWord]:
    if len(heard_words) > MOST_WORDS:
        raise ReportError(
            f"{len(heard_words)} words are too many for one report",
            kind="too-long",
            source=text,
            span=(0, len(text)),
            hint="pass one report at a time",
        )
    return heard_words


class _TranscriptEar(Ear):
    """Reads transcripts for one book and channel."""

    def text(self, text: str, part: AskedPart) -> list[HeardReport]:
        """Return the hearings in a transcript."""
        words = list(self._words(text))
        sections: list[list[Any]] = [["", []]]
        events: list[str] = []
        for word, heard_word in words:
            kind = word.kind
            if kind in (WordKind.DISREGARD, WordKind.ANEW):
                sections = [["", []]]
            elif kind in (WordKind.REPEAT, WordKind.CORRECTION):
                sections.append([kind, []])
            elif kind in _RUN:
                sections[-1][1].append((word, heard_word))
            elif kind is WordKind.SEPARATOR:
                events += [word.meaning.value] if word.meaning.value else []
                if any(row for _, row in sections) and any(
                    w.kind in _RUN for w, _ in words if w.span[0] > word.span[0]
                ):
                    raise UnexpectedWord(
                        "more than one report",
                        kind="several-reports",
                        source=text,
                        span=word.span,
                        hint="hear one report at a time",
                    )
            elif kind not in (WordKind.FILLER, WordKind.ANSWER):
                raise UnexpectedWord(
                    f"{text[slice(*word.span)]!r} is no part of a report",
                    kind="procedure",
                    source=text,
                    span=word.span,
                    hint="pass only the words of the report",
                )
        return self._sections(sections, text, part, tuple(events))

    def _words(self, text: str) -> Iterator[tuple[Word, HeardWord | None]]:
        """Yield the words, those written as alternatives placed already."""
        place = 0
        choices = (
            [] if {"/", "="} & set(self.book.alphabet.symbols) else list(_CHOICE.finditer(text))
        )
        marks = [
            found
            for found in MARK.finditer(text)
            if not any(c.start() <= found.start() < c.end() for c in choices)
        ]
        for found in [*sorted([*choices, *marks], key=lambda one: one.start()), None]:
            end = len(text) if found is None else found.start()
            for word in cut(self.book.lexicon, text[place:end]):
                span = (word.span[0] + place, word.span[1] + place)
                yield Word(_spoken(word.meaning, word.text), span, word.text), None
            if found is None:
                return
            place = found.end()
            if found in marks:
                yield Word(_UNCLEAR, found.span(), found.group()), None
            else:
                yield (
                    Word(Meaning(WordKind.CHOICE), found.span(), found.group()),
                    self._choice(text, found.span()),
                )

    def _choice(self, text: str, span: tuple[int, int]) -> HeardWord:
        try:
            return self.choice(_pairs(text[slice(*span)]))
        except CodeError as error:
            raise CodeError(
                error.message,
                kind=error.kind,
                source=text,
                span=span,
                expected=error.expected,
                hint=error.hint,
            ) from None

    def _sections(
        self, sections: list[list[Any]], text: str, part: AskedPart, events: tuple[str, ...]
    ) -> list[HeardReport]:
        hearings: list[list[list[HeardWord]]] = []
        for kind, row in sections:
            ways = self._ways(row, text)
            if kind is WordKind.CORRECTION and hearings:
                hearings[-1] = _corrected(hearings[-1], ways, text)
            else:
                hearings.append(ways)
        found = [
            HeardReport([_counted(way, text) for way in ways], part, text, events)
            for ways in hearings
            if any(ways)
        ]
        if not found:
            if events:
                spoken = ", ".join(self.book.rules.events[event] for event in events)
                raise Incomplete(
                    f"an event ({spoken}), and no report",
                    kind="no-report",
                    source=text,
                    span=(len(text), len(text)),
                )
            raise Incomplete(
                "nothing was heard",
                kind="no-report",
                source=text,
                span=(len(text), len(text)),
                hint="? stands for a word not understood",
            )
        return found

    def _ways(
        self, row: Sequence[tuple[Word, HeardWord | None]], text: str
    ) -> list[list[HeardWord]]:
        """Return every way to cut a run of words into spoken words, at most ``MOST_WAYS``."""
        for joining in (True, False):
            ways: list[list[list[HeardWord]]] = [[[]], *([] for _ in row)]
            meanings = [word.meaning for word, _ in row]
            for place in range(len(row)):
                for count, heard_words in self._arcs(row, meanings, place, text, joining=joining):
                    ways[place + count] += [[*way, *heard_words] for way in ways[place]]
                    ways[place + count] = ways[place + count][: MOST_WAYS + 1]
            if len(ways[-1]) <= MOST_WAYS:
                return ways[-1]
        raise UnexpectedWord(
            "the numbers in this may mean too many things",
            kind="too-many-ways",
            source=text,
            span=(0, len(text)),
            hint="digits one by one",
        )

    def _arcs(
        self,
        row: Sequence[tuple[Word, HeardWord | None]],
        meanings: Sequence[Meaning],
        place: int,
        text: str,
        *,
        joining: bool,
    ) -> Iterator[tuple[int, list[HeardWord]]]:
        word, heard_word = row[place]
        shown = text[slice(*word.span)]
        if heard_word is not None:
            yield 1, [heard_word]
        elif word.kind is WordKind.UNCLEAR:
            yield 1, [self.unclear(shown)]
        elif word.kind is WordKind.UNKNOWN:
            yield 1, [self.foreign(shown, text, word.span)]
            if joining:
                yield from ((1, heard_words) for heard_words in self._alike(shown))
        else:
            found = list(arcs(meanings, place))
            for count, symbols in found:
                last = row[place + count - 1][0].span[1]
                yield count, [self.symbol(symbol, text[word.span[0] : last]) for symbol in symbols]
            if not found:
                yield 1, [self.foreign(normal(shown), text, word.span)]
        if (
            joining
            and place + 1 < len(row)
            and WordKind.UNKNOWN in (word.kind, meanings[place + 1].kind)
            and heard_word is None
        ):
            yield from (
                (2, heard_words)
                for heard_words in self._joined(
                    shown, text[slice(*row[place + 1][0].span)], row[place + 1][1]
                )
            )

    def _joined(
        self, one: str, other: str, heard_word: HeardWord | None
    ) -> Iterator[list[HeardWord]]:
        """Yield the ways to take two words for one: as a number word they sound like, or as a
        spelling word they are closer to together.
        """
        if heard_word is not None or sound_of(both := f"{one} {other}") is None:
            return
        yield from self._alike(both)
        nearest = min(
            (
                self._nearest(part)
                for part in (one, other)
                if part not in self.book.lexicon.meanings
            ),
            default=0.0,
        )
        if self._nearest(both) < nearest:
            yield [self.foreign(both)]

    def _alike(self, text: str) -> Iterator[list[HeardWord]]:
        """Yield the symbols of the number word a text sounds like, if there is one."""
        phones = sound_of(text)
        numbers = (
            []
            if phones is None
            else [(sound.distance(phones, _sounded(word)), word) for word in _numbers()]
        )
        for distance, word in sorted(numbers)[:1]:
            meaning = self.book.lexicon.meanings.get(word)
            if (
                distance <= _ALIKE
                and meaning is not None
                and all(digit in self.book.alphabet.index for digit in meaning.value)
            ):
                yield [self.symbol(symbol, text) for symbol in meaning.value]

    def _nearest(self, text: str) -> float:
        """Return how unlike every word of the book a text sounds: 1 less the best it can be heard
        as.
        """
        return (
            math.inf
            if sound_of(text) is None
            else 1 - float(self.channel.foreign(normal(text)).max())
        )


def _spoken(meaning: Meaning, text: str) -> Meaning:
    """Return what a word is if it was spoken: a spelling word rather than the same letters typed,
    and in small letters no typed symbols.
    """
    if meaning.kind in ONE_SYMBOL:
        if "" in meaning.options and not text.isupper():
            return Meaning(WordKind.FILLER, ("",))
        single = [option for option in meaning.options if len(option) == 1]
        return Meaning(meaning.kind, tuple(single[:1])) if single else meaning
    return (
        Meaning(WordKind.UNKNOWN)
        if meaning.kind is WordKind.TYPED and text.isalpha() and text.islower()
        else meaning
    )


def _pairs(text: str) -> list[tuple[str, float]]:
    """Return the alternatives written as five=0.6/niner=0.3; without numbers they are equally
    likely.
    """
    parts = [choice.partition("=") for choice in text.split("/")]
    return [
        (word, _confidence(value) if equals else 1 / len(parts)) for word, equals, value in parts
    ]


@functools.cache
def _numbers() -> tuple[str, ...]:
    from grammar.data import table

    numbers = table("speech")["numbers"]
    return tuple(
        word for key in ("teens", "tens") for words in numbers[key].values() for word in words
    )


@functools.cache
def _sounded(word: str) -> sound.Phones:
    return sound.phones(word)


def _confidence(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise CodeError(
            f"{text[:20]!r} is no confidence",
            kind="alternatives",
            expected=["a number from 0 to 1: five=0.6/nine=0.3"],
        ) from None


def _corrected(
    before: list[list[HeardWord]], after: list[list[HeardWord]], text: str
) -> list[list[HeardWord]]:
    """CORRECTION: what follows begins with a word that was said before, and goes on from there."""
    ways = [list(way) for way in spliced(before, after, lambda heard_word: heard_word.symbol)]
    if not ways or len(ways) > MOST_WAYS:
        raise UnexpectedWord(
            "the correction does not begin with a word that was heard before it",
            kind="procedure",
            source=text,
            span=(0, len(text)),
            hint=(
                "pass only what followed the correction, with what came before it as an earlier"
                " hearing"
            ),
        )
    return ways


def means_unclear(text: str) -> bool:
    """Tell whether a text that stands for one word only marks that nothing was understood."""
    return set(text) <= set("?.… ") or MARK.fullmatch(text) is not None


@functools.lru_cache(maxsize=2048)
def sound_of(text: str) -> sound.Phones | None:
    """Return the phones of a text, None for what has no sound."""
    try:
        return sound.phones(normal(text))
    except CodeError:
        return None
