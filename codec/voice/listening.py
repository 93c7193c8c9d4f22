"""Recordings to stretches of sound, and each of these to what was said in it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from codec.hear import Slots
from codec.voice.acoustic import AcousticModel, acoustic_model
from codec.voice.features import RATE
from codec.voice.gate import stretches
from codec.voice.recordings import blocks
from codec.voice.search import HeardSymbols, unheard, words_said
from grammar.errors import CodeError, listed

if TYPE_CHECKING:
    import numpy as np

    from grammar.book import Book


@dataclass(frozen=True)
class Transmission:
    """A stretch of sound: when it began and ended, in seconds from the beginning of the recording,
    its likeliest words ("?" for other talk, "" where no word was heard), its doubts, and the
    scores of its likeliest strings of symbols.
    """

    start: float
    end: float
    text: str
    slots: Slots
    scores: Mapping[str, float]

    def as_dict(self) -> dict[str, Any]:
        """Return the facts as a line of JSON Lines has them."""
        facts: dict[str, Any] = {
            "start": round(self.start, 2),
            "end": round(self.end, 2),
            "text": self.text,
        }
        if self.slots.slots:
            facts["slots"] = [_rounded(slot) for slot in self.slots.slots]
            facts["gaps"] = [_rounded(gap) for gap in self.slots.gaps]
            facts["scores"] = {string: round(one, 3) for string, one in self.scores.items()}
        return facts


def _rounded(place: Mapping[Any, float]) -> dict[str, float]:
    return {word or "": round(share, 6) for word, share in place.items() if share >= 1e-6}


class Recogniser:
    """Hears the words of one book; raises CodeError (kind "voice") for a book with words that the
    acoustic model does not tell apart.
    """

    def __init__(self, book: Book, model: AcousticModel | None = None) -> None:
        """Take the book and the model, by default the one that comes with the package."""
        self.book, self.model = book, model or acoustic_model()
        missing = unheard(book, self.model.classes, self.model.forms)
        if missing:
            raise CodeError(
                f"the acoustic model does not know {listed(missing, 6)}",
                kind="voice",
                hint="it hears figures and the spelling words of the ICAO alphabet",
            )

    def hear(self, sound: np.ndarray, start: float = 0.0) -> Transmission:
        """Return what was said in a stretch of sound at 8 kHz."""
        log = self.model.log_posteriors(sound)
        temperature = self.model.temperature(sound)
        heard = HeardSymbols(self.book, self.model.classes, log, temperature)
        text = words_said(self.model.classes, log)
        end = start + len(sound) / RATE
        return Transmission(start, end, text, heard.slots(), heard.scores())


def listen(book: Book, source: str | Path | BinaryIO, name: str = "") -> Iterator[Transmission]:
    """Yield every stretch of sound of a recording, in order, with what was said in it; ``source``
    is a file's path or an open file.

    Memory does not grow with the recording. Raises CodeError (kind "recording") for what is no
    recording or has no sound in it, (kind "voice") where the model does not know the book's words,
    (kind "missing-library") without the extra ``voice``.
    """
    recogniser = Recogniser(book)
    for start, sound in stretches(blocks(source, name or str(source))):
        yield recogniser.hear(sound, start)
