"""What to do about what was heard: accept, ask for one part, or ask for all, whichever is expected
to cost least.

A cost is in seconds of radio time. Accepting costs the price of a wrong reading times the
probability that it is wrong. Asking costs the question, the pause and the answer; then, for each
reading that may be meant, its answer is taken to be heard as said, or with one word not understood:
if that makes the reading sure enough it is accepted, at what risk is left, and if not (or if a word
is missed that tells it from the others) the whole report is asked for until that settles it. So a
part is asked for only if its answer may settle the matter, and only between words that nearly all
that is probable agrees on. Readings that are not listed are taken to be like those that are.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from codec.hear.heard import AskedPart
from codec.reading import Reading
from grammar import sound

if TYPE_CHECKING:
    import numpy as np

    from codec.hear.channel import Channel
    from grammar.book import Book

# the probability with which the borders of a part must stand where they do in the best reading
_AGREED = 0.9
# a whole report said again settles the matter at least this often, for it is weighed together with
# what was heard before
_HELPS = 0.5
_ASK = ("say again", "all after", "all before", "to")


@dataclass(frozen=True, slots=True)
class Decision:
    """What to do: "accept", "ask part" or "ask all"; ``costs`` are the expected seconds of the best
    choice of each kind.

    ``question`` is what to say, in procedure words; ``part`` what its answer covers; ``tables`` the
    code tables asked for.
    """

    kind: Literal["accept", "ask part", "ask all"]
    question: str
    part: AskedPart | None
    tables: tuple[str, ...]
    costs: dict[str, float]

    def as_dict(self) -> dict[str, Any]:
        """Return the facts for ``--json``."""
        costs = {kind: round(cost, 2) for kind, cost in self.costs.items()}
        return {
            "kind": self.kind,
            "question": self.question,
            "tables": list(self.tables),
            "costs": costs,
        }


@dataclass(frozen=True, slots=True)
class _Askable:
    """A part of the best string: its places, and the borders that name it."""

    low: int
    high: int
    part: AskedPart


def settled(book: Book, probability: float) -> bool:
    """Tell whether a reading of this probability is accepted whatever the others are: asking
    anything would cost more.
    """
    spec = book.hearing
    return (
        probability >= spec.threshold
        and spec.wrong * (1 - probability) <= spoken_seconds(book, "") + spec.turnaround
    )


def decide(
    book: Book,
    channel: Channel,
    ranked: Sequence[tuple[Reading, float]],
    unlisted: float,
    nothing: float,
    *,
    unheard: bool = False,
) -> Decision:
    """Return the cheapest choice; accepting is one only from the book's threshold on, and not where
    what tells the best reading from another was ``unheard``.
    """
    spec = book.hearing
    if not ranked:
        return Decision(
            "ask all",
            "SAY AGAIN",
            AskedPart(),
            (),
            {"ask all": (spoken_seconds(book, "") + spec.turnaround + _longest(book)) / _HELPS},
        )
    best, probability = ranked[0]
    costs: dict[str, float] = {}
    wrong = max(0.0, 1 - probability)
    if probability >= spec.threshold and not unheard:
        costs["accept"] = spec.wrong * wrong
        if settled(book, probability):
            return Decision("accept", "", None, (), costs)
    judge = _Judge(
        book, channel, [(reading.said, share) for reading, share in ranked], unlisted, nothing
    )
    costs["ask all"] = judge.whole
    chosen, askable = "ask all", _Askable(0, len(best.said), AskedPart())
    for one in _askables(best.said):
        if judge.agreed(one):
            cost = judge.cost(one)
            if cost < costs.get("ask part", math.inf):
                costs["ask part"] = cost
                if cost < costs["ask all"]:
                    chosen, askable = "ask part", one
    if "accept" in costs and costs["accept"] <= min(costs.values()):
        return Decision("accept", "", None, (), costs)
    kind: Literal["ask part", "ask all"] = "ask part" if chosen == "ask part" else "ask all"
    return Decision(kind, question(book, askable.part), askable.part, _tables(best, askable), costs)


def question(book: Book, part: AskedPart) -> str:
    """Return the words that ask for a part (ICAO Doc 9432 2.6): SAY AGAIN, ALL AFTER w, ALL BEFORE
    w, w TO w.
    """
    words = {symbol: entry.word.upper() for symbol, entry in book.alphabet.words.items()}
    if part.after and part.before:
        return f"SAY AGAIN {words[part.after]} TO {words[part.before]}"
    if part.after:
        return f"SAY AGAIN ALL AFTER {words[part.after]}"
    return f"SAY AGAIN ALL BEFORE {words[part.before]}" if part.before else "SAY AGAIN"


def spoken_seconds(book: Book, borders: str) -> float:
    """Return the time a question takes, by how many words name its borders (symbols)."""
    words = _seconds_of("say again") + (
        _seconds_of("all after") if len(borders) == 1 else _seconds_of("to") if borders else 0.0
    )
    return words + book.alphabet.seconds(borders)


@functools.cache
def _seconds_of(words: str) -> float:
    return sound.seconds(words)


def _longest(book: Book) -> float:
    """Return the seconds of the longest report, of words of the mean length."""
    symbols = book.alphabet.symbols
    longest = max(message.lengths[1] for message in book.messages.values())
    return longest * book.alphabet.seconds("".join(symbols)) / len(symbols)


def _askables(said: str) -> Iterator[_Askable]:
    """Yield the parts of a string that procedure words can name: the border must be the first of
    its kind.
    """
    first = {symbol: said.index(symbol) for symbol in said}
    for place in range(1, len(said)):
        if first[said[place - 1]] == place - 1:
            yield _Askable(place, len(said), AskedPart(after=said[place - 1]))
            for end in range(place + 1, len(said)):
                if said.index(said[end], place) == end:
                    yield _Askable(place, end, AskedPart(said[place - 1], said[end]))
        if first[said[place]] == place:
            yield _Askable(0, place, AskedPart(before=said[place]))


def _tables(best: Reading, askable: _Askable) -> tuple[str, ...]:
    """Return the code tables that a part of the best string touches."""
    place, touched = 0, []
    for table, text in zip(best.match.plan.tables, best.match.texts, strict=True):
        if place < askable.high and place + len(text) > askable.low:
            touched.append(table.name)
        place += len(text)
    return tuple(touched)


class _Judge:
    """Expects what asking for a part costs."""

    def __init__(
        self,
        book: Book,
        channel: Channel,
        ranked: Sequence[tuple[str, float]],
        unlisted: float,
        nothing: float,
    ) -> None:
        """Compare the words of every listed string with every other's, place by place."""
        import numpy as np

        self.book, self.unlisted, self.nothing = book, unlisted, nothing
        self.strings, shares = zip(*ranked, strict=True)
        self.said, self.shares = self.strings[0], np.array(shares)
        longest, index = max(map(len, self.strings)), book.alphabet.index
        rows = np.array(
            [
                [index[symbol] for symbol in said] + [-1] * (longest - len(said))
                for said in self.strings
            ]
        )
        one, other = rows[:, None, :], rows[None, :, :]
        lost = max(channel.deletion, channel.insertion)
        chance = np.where(
            (one >= 0) & (other >= 0), channel.table[one, other], np.where(one == other, 1.0, lost)
        )
        logs = np.log(chance)
        self.against = (
            logs - np.diagonal(logs).T[None]
        )  # [said, heard as that string says it, place]: what each word heard is against it
        self.right = (
            np.diagonal(chance).T * (1 - channel.deletion) * (1 - channel.insertion)
        )  # [said, place]
        self.differs = rows[1:] != rows[0]
        self.typical = _typical(channel)

    def agreed(self, askable: _Askable) -> bool:
        """Tell whether nearly all that is probable has the borders in place, so that the question
        means the same in all of it.
        """
        borders = [
            (place, self.said[place])
            for place in (askable.low - 1, askable.high)
            if 0 <= place < len(self.said)
        ]
        with_borders = sum(
            float(share)
            for said, share in zip(self.strings, self.shares, strict=True)
            if all(place < len(said) and said[place] == symbol for place, symbol in borders)
        )
        return with_borders >= _AGREED * (1 - self.nothing)

    def cost(self, askable: _Askable) -> float:
        """Return the expected seconds of asking for a part, to the end of the matter."""
        spec = self.book.hearing
        asked = (
            spoken_seconds(self.book, askable.part.after + askable.part.before) + spec.turnaround
        )
        answer = self.book.alphabet.seconds(self.said[askable.low : askable.high])
        settled, risk = self.outcome(askable)
        return asked + answer + (1 - settled) * self.whole + spec.wrong * risk

    @functools.cached_property
    def whole(self) -> float:
        """The expected seconds of asking for the whole report until that settles the matter: what a
        useless question still leaves to do.
        """
        spec = self.book.hearing
        once = (
            spoken_seconds(self.book, "") + spec.turnaround + self.book.alphabet.seconds(self.said)
        )
        settled, risk = self.outcome(_Askable(0, len(self.said), AskedPart()))
        return (once + spec.wrong * risk) / max(settled, _HELPS)

    def outcome(self, askable: _Askable) -> tuple[float, float]:
        """Return the probability that the answer settles the matter, and that it does so
        wrongly.
        """
        import numpy as np

        here = slice(askable.low, askable.high if askable.high < len(self.said) else None)
        against, right = self.against[:, :, here], self.right[:, here]
        heard = against.sum(axis=2)
        rest, least = (
            self._rest(askable, self.differs[:, here].sum(axis=1)),
            self.book.hearing.threshold,
        )
        sure = self.shares / (self.shares @ np.exp(heard) + rest)
        missed = np.exp(heard[:, :, None] - against)  # one word of the answer not understood
        enough = (
            self.shares[:, None] / (np.einsum("s,shp->hp", self.shares, missed) + rest) >= least
        )
        told = self.shares * (sure >= least) * np.where(enough, 1.0, right).prod(axis=1)
        if (
            askable.part == AskedPart()
        ):  # a whole report that is said again settles an unlisted reading as often as a listed one
            told *= 1 + self.unlisted / float(self.shares.sum())
        return float(told.sum()), float(told @ (1 - sure))

    def _rest(self, askable: _Askable, apart: np.ndarray) -> float:
        """Return what all that is not listed is worth after the answer; ``apart`` is in how many
        words of it each rival differs.
        """
        rivals = self.shares[1:]
        told = float(rivals[apart > 0].sum())
        away = self.typical ** (float(rivals @ apart) / told if told > 0 else 1.0)
        share = (
            told / float(rivals.sum()) if askable.part != AskedPart() and rivals.sum() > 0 else 1.0
        )
        return float(self.unlisted * (1 - share + share * away) + self.nothing * self.typical)


def _typical(channel: Channel) -> float:
    """Return how probable a word is if another was said, against the word itself: the likeliest
    other, in the mean over words.
    """
    import numpy as np

    others = channel.table * (1 - np.eye(channel.vocabulary))
    return float((others.max(axis=0) / np.diag(channel.table)).clip(max=1).mean())
