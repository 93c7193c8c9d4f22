"""From answers to a profile: how fast a person reads and says each word, and what they take each
word for.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from codec.drill.answer import Answer
from codec.drill.marking import align
from codec.drill.noise import FLASHED, named
from codec.drill.staircase import exposures
from codec.drill.timing import Timing, WordTimes, timing, word_times
from grammar.profile import Profile, word_of

if TYPE_CHECKING:
    from grammar.book import Book

_ENOUGH = 5
# Seconds in which nobody begins to speak after they see something: sooner, the World Athletics
# Technical Rules (rule 16.6, from memory) take a start for one that did not wait for the signal.
LEAST_REACTION = 0.1
# Seconds that a syllable takes at the least; the fastest speech is about ten a second (common
# knowledge, no source).
LEAST_SYLLABLE = 0.1


def said_times(book: Book, answers: Iterable[Answer]) -> list[tuple[str, float]]:
    """Return (symbols, seconds from the first word to the end of the last) of what was read out
    right and word by word, at moments at which it can have been said.
    """
    return [
        (answer.shown, seconds)
        for answer in answers
        if answer.drill == "read"
        and answer.outcome == "right"
        and (seconds := answer.speaking) is not None
        and possible(book, answer)
        and _word_by_word(book, answer)
    ]


def possible(book: Book, answer: Answer) -> bool:
    """Tell whether the timing key was pressed at moments at which somebody can have spoken: not
    before they can have seen the string, nor faster than anybody speaks.
    """
    if answer.first is not None and answer.first < LEAST_REACTION:
        return False
    words = book.alphabet.words
    syllables = sum(words[one].syllables for one in answer.shown if one in words)
    spent = answer.speaking
    return spent is None or spent >= LEAST_SYLLABLE * syllables


def _word_by_word(book: Book, answer: Answer) -> bool:
    """Tell whether each symbol is one word: a book may have whole hundreds said as such."""
    if book.rules.whole_numbers == "digits":
        return True
    message = book.messages.get(answer.part_of)
    match = None if message is None else message.quick(answer.shown)
    if match is None:
        return len(answer.shown) < 3  # no whole hundred is shorter
    parts = zip(match.plan.tables, match.texts, strict=True)
    return all(len(book.spoken(table, text)) == len(text) for table, text in parts)


def times_of(book: Book, answers: Iterable[Answer]) -> WordTimes | None:
    """Return how long each word takes; None for too few answers.

    Symbols that the book no longer has are left out.
    """
    default = {symbol: entry.seconds for symbol, entry in book.alphabet.words.items()}
    return word_times(
        [
            (text, seconds)
            for text, seconds in said_times(book, answers)
            if set(text) <= default.keys()
        ],
        default,
    )


def startup_of(answers: Iterable[Answer]) -> Timing | None:
    """Return the time from the string's appearance to the first word: of whole reports, or of
    everything where there are few. What nobody can do so fast is left out.
    """
    first = [
        (answer.kind, answer.first)
        for answer in answers
        if answer.drill == "read" and answer.first and answer.first >= LEAST_REACTION
    ]
    whole = [seconds for kind, seconds in first if kind == "report"]
    return timing(whole if len(whole) >= _ENOUGH else [seconds for _, seconds in first])


def counted(
    answers: Iterable[Answer], drill: str, noise: str | None = None
) -> list[tuple[str, str]]:
    """Return the (shown, understood) symbols that count as confusions of words.

    Hearing counts where something was heard and words were typed: not where words were flashed, nor
    where values were typed, whose mistakes are not those of words. A word that was there but not
    made out, ``?``, is not taken for one that was lost.
    """
    pairs: list[tuple[str, str]] = []
    for answer in answers:
        heard = (
            answer.noise not in ("", FLASHED)
            and "=" not in answer.answer
            and (noise is None or named(answer.noise) == noise)
        )
        if answer.drill == drill and (drill == "read" or heard) and (answer.said or answer.right):
            pairs += [
                pair
                for pair in align(answer.shown, answer.said or answer.shown)
                if pair[1] or "?" not in answer.answer
            ]
    return pairs


def long_enough(answers: Sequence[Answer]) -> list[Answer]:
    """Return the answers without those that were flashed, to find out how short a glance may be,
    more briefly than this person needs: what is misread then is not misread on the dash.
    """
    needed = {
        person: exposures([one for one in answers if one.person == person])
        for person in dict.fromkeys(one.person for one in answers if one.measured)
    }
    return [
        one
        for one in answers
        if not one.measured
        or one.exposure is None
        or one.exposure >= needed[one.person][one.kind].seconds
    ]


def profile_of(book: Book, answers: Sequence[Answer], *, noise: str | None = None) -> Profile:
    """Return the profile of the people who gave these answers with this book; ``noise`` counts
    hearing at one grade only. What was misread off the dash, also at a glance as long as the person
    needs, is the channel of reading that ``hear`` and ``design`` take.

    Raises DrillError where that is no noise.
    """
    alphabet, noise = book.alphabet, None if noise is None else named(noise)
    times, startup = times_of(book, answers), startup_of(answers)
    profile = Profile(
        people=tuple(dict.fromkeys(answer.person for answer in answers)),
        startup=None if startup is None else startup.measured,
        seconds=(
            {}
            if times is None
            else {word_of(alphabet, symbol): one for symbol, one in times.words.items()}
        ),
    )
    in_use, seen = alphabet.index.keys() | {""}, long_enough(answers)
    read, heard = (
        [
            pair
            for pair in counted(seen, drill, noise if drill == "hear" else None)
            if set(pair) <= in_use
        ]
        for drill in ("read", "hear")
    )
    return profile.with_read(alphabet, read).with_heard(alphabet, heard)
