"""What may be asked: symbols, pairs, entries of code tables and whole reports of a book, each with
how often it occurs.

How often is counted in reports drawn as the book says values are distributed and messages are sent:
what is seldom said in a race is seldom worth a question. Pairs are the neighbours met most often
and the words most easily taken for each other.
"""

from __future__ import annotations

import functools
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from codec.drill.answer import DrillError, Kind
from grammar.figures import drawn

if TYPE_CHECKING:
    from grammar.book import Book
    from grammar.message import Direction, Message

DRAWS = 1000
MOST_PAIRS = 36
MOST_CONFUSABLE = 6  # pairs of words, each asked in both orders
_MOST_EVEN = 100_000  # levels of a field up to which each is drawn as likely as the others
MOST_ENTRIES = 64  # levels of a table up to which its entries are learned by heart


@dataclass(frozen=True, slots=True)
class Item:
    """Something to ask: ``text`` are its symbols, ``share`` how often it is met in a report."""

    kind: Kind
    text: str
    share: float
    part_of: str = ""
    direction: Direction = "car"

    @property
    def key(self) -> str:
        """What it is remembered by."""
        return key_of(self.kind, self.part_of, self.text)


def key_of(kind: Kind, part_of: str, text: str) -> str:
    """Return what an item is remembered by."""
    return f"{kind} {text}" if kind in ("symbol", "pair") else f"{kind} {part_of} {text}"


class Pool:
    """The items of a book, or of some of its messages. ``symbols``, ``pairs`` and ``entries`` come
    likeliest first; ``reports`` as drawn.
    """

    def __init__(
        self, book: Book, messages: Sequence[str] = (), *, seed: int = 1, draws: int = DRAWS
    ) -> None:
        """Draw reports and count; raises DrillError for an unknown message, or where reports and
        calls are mixed.
        """
        self.book = book
        self.messages = _messages(book, messages)
        self.direction: Direction = self.messages[0].direction
        self._seed, self._draws = seed, draws
        self.reports = self._drawn(seed, draws)
        texts = [report.text for report in self.reports]
        self.share = {
            symbol: count / len(texts) for symbol, count in Counter("".join(texts)).most_common()
        }
        self.pair_share = {
            pair: count / len(texts) for pair, count in _neighbours(texts).most_common()
        }
        self.symbols = [self._item("symbol", symbol, share) for symbol, share in self.share.items()]
        self.pairs = self._pairs(texts)
        self.entries = self._entries()

    @functools.cached_property
    def parts(self) -> list[Item]:
        """Symbols, pairs and entries."""
        return [*self.symbols, *self.pairs, *self.entries]

    @functools.cached_property
    def unusual(self) -> list[Item]:
        """Reports whose every value is as likely as every other: they hold what races seldom
        bring.
        """
        found = []
        for place, message in enumerate(self.messages):
            even = {
                name: [1.0] * one.size
                for name, one in message.fields.items()
                if one.size <= _MOST_EVEN
            }
            drawn_evenly = drawn(
                self.book, message, self._draws // len(self.messages), self._seed + place, even
            )
            found += [self._item("report", one.string, 0.0, message.name) for one in drawn_evenly]
        return found

    def of(self, kind: Kind) -> list[Item]:
        """Return the items of a kind."""
        return {
            "symbol": self.symbols,
            "pair": self.pairs,
            "entry": self.entries,
            "report": self.reports,
            "change": [],  # is asked of hands
        }[kind]

    def _item(self, kind: Kind, text: str, share: float, part_of: str = "") -> Item:
        return Item(kind, text, share, part_of, self.direction)

    def _drawn(self, seed: int, draws: int) -> list[Item]:
        sent = [self.book.hearing.messages.get(message.name, 1.0) for message in self.messages]
        found = []
        for place, (message, often) in enumerate(zip(self.messages, sent, strict=True)):
            wanted = max(20, round(draws * often / sum(sent)))
            found += [
                self._item("report", one.string, 1 / draws, message.name)
                for one in drawn(self.book, message, wanted, seed + place)
            ]
        return found

    def _pairs(self, texts: Sequence[str]) -> list[Item]:
        counts = _neighbours(texts)
        pairs = [
            self._item("pair", pair, count / len(texts))
            for pair, count in counts.most_common(MOST_PAIRS)
        ]
        known = {item.text for item in pairs}
        for one, other in self._confusable():
            both = (one + other, other + one)
            pairs += [
                self._item("pair", pair, counts[pair] / len(texts))
                for pair in both
                if pair not in known
            ]
        return pairs

    def _confusable(self) -> list[tuple[str, str]]:
        from grammar import sound

        words = [(symbol, self.book.alphabet.words[symbol].phones()) for symbol in self.share]
        found = (
            sound.confusable_pairs(words, MOST_CONFUSABLE, self.book.hearing.noise)
            if len(words) > 1
            else []
        )
        return [(pair.first, pair.second) for pair in found]

    def _entries(self) -> list[Item]:
        counts: Counter[tuple[str, str]] = Counter()
        for report in self.reports:
            match = self.book.messages[report.part_of].quick(report.text)
            for table, text in (
                zip(match.plan.tables, match.texts, strict=True) if match is not None else ()
            ):
                if table.fields and table.size <= MOST_ENTRIES and len(text) > 1:
                    counts[table.name, text] += 1
        return [
            self._item("entry", text, count / len(self.reports), table)
            for (table, text), count in counts.most_common()
        ]


def _neighbours(texts: Sequence[str]) -> Counter[str]:
    return Counter(text[place : place + 2] for text in texts for place in range(len(text) - 1))


def _messages(book: Book, names: Sequence[str]) -> list[Message]:
    for name in names:
        if name not in book.messages:
            raise DrillError(
                f"there is no message {name!r}",
                kind="unknown-message",
                expected=list(book.messages),
            )
    found = [book.messages[name] for name in names] or book.sent_by("car") or book.sent_by("pit")
    if len({message.direction for message in found}) > 1:
        raise DrillError(
            "reports and calls can't be drilled together",
            kind="usage",
            expected=["messages of one direction"],
        )
    return found
