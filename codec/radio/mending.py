"""The words of ordinary talk with which somebody puts right what they said: "no, …", "scratch
that", "disregard my last".

The procedure words for it (CORRECTION, I SAY AGAIN, DISREGARD) are the speech grammar's; drivers
seldom say them.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from codec.radio.chatter import settings
from grammar.speech.kinds import SPOKEN, WordKind
from grammar.speech.words import Wording

_BETWEEN = r"[\s,.;:!…–—-]+"
_BEGINNING, _FIRST = 60, 4  # characters, and words, among which they begin a line
_MARKS = ".,;:!?…\"'"
_PASSED = frozenset((WordKind.FILLER, WordKind.ANSWER))
_OWN = frozenset((WordKind.UNKNOWN, WordKind.DISREGARD, *_PASSED))


@dataclass(frozen=True, slots=True)
class Mending:
    """Words that put something right: their places among those of a line, the first and the one
    behind the last; ``sure`` where they are said for nothing else.
    """

    start: int
    end: int
    sure: bool


class MendingWords:
    """Finds them."""

    def __init__(self) -> None:
        """Gather the words."""
        words = settings()["mending"]
        sure, soft, links = (any_of(words[name]) for name in ("sure", "soft", "links"))
        cue = f"(?:{sure}|{soft})"
        self._cue = re.compile(
            rf"\b{cue}(?:{_BETWEEN}{cue})*(?:{_BETWEEN}{links})?(?!\w)", re.IGNORECASE
        )
        back = any_of(words["back"])
        self._sure = re.compile(rf"\b(?:{sure}|{back})(?!\w)", re.IGNORECASE)
        listed = [*words["sure"], *words["soft"], *words["back"]]
        self._first = frozenset(one.split()[0] for one in listed)
        pauses = any_of(words["pauses"])
        self._pauses = re.compile(
            rf"^(?:{pauses}{_BETWEEN})+|(?:{_BETWEEN}{pauses})+[\s.,;:!…–—-]*$", re.IGNORECASE
        )
        self._wholly_back = re.compile(rf"{back}(?:{_BETWEEN}{back})*", re.IGNORECASE)

    def begin(self, text: str) -> bool:
        """Tell whether a line begins with such words, or may take something back."""
        raws = text[:_BEGINNING].replace("’", "'").casefold().split(None, _FIRST)[:_FIRST]
        return any(raw.strip(_MARKS) in self._first for raw in raws)

    def sure(self, text: str) -> bool:
        """Tell whether words stand in a line that are said for nothing else."""
        return self._sure.search(text.replace("’", "'")) is not None

    def unpaused(self, text: str) -> str:
        """Return a line without the words at its ends with which somebody only pauses."""
        return self._pauses.sub("", text)

    def find(self, words: Wording) -> Iterator[Mending]:
        """Yield where such words stand in a line; words that the book has a use for are none."""
        text = words.text.replace("’", "'")
        for found in self._cue.finditer(text):
            inside = [
                place
                for place, word in enumerate(words)
                if found.start() <= word.span[0] and word.span[1] <= found.end()
            ]
            if inside and all(words[place].kind in _OWN for place in inside):
                sure = self._sure.search(found.group()) is not None
                yield Mending(inside[0], inside[-1] + 1, sure)

    def takes_back(self, words: Wording) -> bool:
        """Tell whether a line says only that what was said before it does not count."""
        kept = [
            word
            for word in words
            if word.kind not in _PASSED
            and (word.kind is not WordKind.SEPARATOR or word.meaning.value)
        ]
        if not 0 < len(kept) <= 6 or any(word.kind in SPOKEN for word in kept):
            return False
        said = " ".join(word.text for word in kept).replace("’", "'")
        said = re.sub(r"^(?:sorry|no|oops|wait) |(?: sorry| no)$", "", said, flags=re.IGNORECASE)
        return self._wholly_back.fullmatch(said) is not None


def any_of(forms: Iterable[str]) -> str:
    """Return the regular expression of any of some words, however they are set apart."""
    longest = sorted(forms, key=len, reverse=True)
    return "(?:" + "|".join(_BETWEEN.join(map(re.escape, form.split())) for form in longest) + ")"
