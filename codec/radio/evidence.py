"""How strongly words speak for a code being read out, and how easily a message is met by chance.

Both in bits: a run of words is taken for a report where its words are much rarer in ordinary talk
than the strings of the message are among all strings of that length.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Callable, Container, Iterable, Iterator
from typing import NamedTuple

from codec.lap_report import lap_message
from codec.radio.chatter import settings
from codec.radio.wording import RadioWords, only_figures
from grammar.book import Book
from grammar.data import table
from grammar.message import Message
from grammar.paths import by_length
from grammar.semirings import COUNTING, POSSIBLE
from grammar.speech.kinds import SPOKEN, WordKind
from grammar.speech.lexicon import Meaning
from grammar.speech.words import Word

_LONG = 5  # figures: ordinary talk has years of four, and seldom longer numbers
_FAINT = 2.0  # bits at most of a word that says hardly anything, in a row
_AROUND = "()[]*.,;:!?…–-"
_PLAINLY = 4  # symbols, of which one word more makes no talk
_MORE = 2  # words more than a report has, of one that was misheard
_MOST_ALONE = 16  # words of a line that is a report and nothing else
_MOST_KEPT, _MOST_WORDS = 200_000, 1_000
_DIGITS = {
    WordKind.TEEN: 2,
    WordKind.TENS: 2,
    WordKind.HUNDRED: 3,
    WordKind.THOUSAND: 4,
    WordKind.MULTIPLE: 4,
    WordKind.AND: 0,
}
_SYMBOLS = {
    WordKind.TEEN: 2,
    WordKind.TENS: 2,
    WordKind.HUNDRED: 3,
    WordKind.THOUSAND: 4,
    WordKind.MULTIPLE: 3,
}
_PAUSED = frozenset(("-", "–", "…", ","))


class Evidence:
    """The weights of a book's words and messages."""

    def __init__(self, book: Book) -> None:
        """Gather the words of a book."""
        self.book, self.bits = book, settings()["bits"]
        data = table("speech")
        self._homophones = {word for words in data["homophones"].values() for word in words}
        self._plain = {word for words in data["numbers"]["units"].values() for word in words}
        self._chances: dict[tuple[str, int], float] = {}
        self._kept: dict[tuple[str, str, tuple[str, ...]], float] = {}
        self.least = min(self._easiest(message) for message in book.messages.values())
        self.shortest_figures = min(self._figures(message) for message in book.messages.values())

    def figures_alone(self) -> tuple[int, int]:
        """Return the fewest and the most symbols of the report of each lap, (0, 0) where they are
        not figures alone.
        """
        message = self.book.messages.get(lap_message(self.book))
        digits = self.book.alphabet.mask(self.book.alphabet.digits)
        return (0, 0) if message is None or message.symbols & ~digits else message.lengths

    def of_word(self, word: Word) -> float:
        """Return the bits of one word as written."""
        key = word.text, word.kind.value, word.meaning.options
        bits = self._kept.get(key)
        if bits is None:
            name, times = self._figure(word)
            bits = float(self.bits[name] * times) if name else 0.0
            if name == "digit" and times >= _LONG:  # figures in a row, though written together
                bits += float(self.bits["row"]) * (times - 1)
            if len(self._kept) > _MOST_WORDS:
                self._kept.clear()
            self._kept[key] = bits
        return bits

    def _figure(self, word: Word) -> tuple[str, int]:
        """Return the name of the figure of ``chatter.toml`` for a word ("" for a word of no code),
        and how many times it counts.
        """
        raw, kind, form = word.text, word.kind, word.text.casefold()
        single = len(form) == 1
        if kind is WordKind.AND or form in self._homophones or (single and _small(raw)):
            return "small" if single else "homophone", 1
        if kind is WordKind.TYPED:
            return _typed_figure(word)
        if kind in (WordKind.UNIT, WordKind.TO):
            return "digit" if form in self._plain or form.isdigit() else "variant", 1
        if kind is WordKind.LETTER:
            return "letter" if single else "spelling", 1
        if kind is WordKind.MULTIPLE:
            return "multiple", 1
        return "number" if kind in SPOKEN else "", 1

    def of_words(self, words: Iterable[Word]) -> float:
        """Return the bits of words together: code words in a row speak for each other, words that
        merely count on don't.
        """
        total, before, step = 0.0, "", 9
        for word in words:
            options = word.meaning.options
            if word.kind not in SPOKEN:
                before = before if word.kind is WordKind.FILLER else ""
                continue
            symbol = options[0] if options else word.meaning.value or "?"
            last, step = step, ord(symbol) - ord(before) if len(symbol) == len(before) == 1 else 9
            if step == last and abs(step) <= 1:
                total += min(self.of_word(word), float(self.bits["counted"]))
            else:
                total += self.of_word(word) + (self.bits["row"] if before else 0)
            before = symbol
        return total

    def chance(self, message: Message, length: int) -> float:
        """Return log2 of the number of strings of ``length`` symbols that the message has (check
        symbols count as fixed).
        """
        key = (message.name, length)
        if key not in self._chances:
            self._count(message, max(length, min(message.lengths[1], 60)))
        return self._chances.get(key, math.inf)

    def _count(self, message: Message, longest: int) -> None:
        def free(leaf: int, mask: int) -> int:
            return 1 if message.tables[leaf].check else mask.bit_count()

        counts = by_length(message, COUNTING, free, checked=False)
        for length, count in enumerate(itertools.islice(counts, longest), start=1):
            self._chances[message.name, length] = math.log2(count) if count else math.inf

    def _figures(self, message: Message) -> float:
        """Return the length of the message's shortest string of nothing but digits; infinite where
        it has none.
        """
        digits = self.book.alphabet.mask(self.book.alphabet.digits)
        able = by_length(message, POSSIBLE, lambda _, mask: bool(mask & digits), checked=False)
        return next((n for n, possible in enumerate(able, start=1) if possible), math.inf)

    def _easiest(self, message: Message) -> float:
        """Return the fewest bits of words with which a message could ever be taken."""
        odds = settings()["odds"]
        lengths = range(message.lengths[0], min(message.lengths[1], 60) + 1)
        return float(
            min(self.chance(message, n) for n in lengths)
            + odds["accept"]
            - odds["alone"]
            - odds["role"]
        )


def _small(raw: str) -> bool:
    return raw.isalpha() and raw.islower()


def _typed_figure(word: Word) -> tuple[str, int]:
    if _small(word.text):
        return "small", 1
    name = "digit" if word.text.isdigit() else "typed" if word.text.isalpha() else "mixed"
    return name, len(word.meaning.options[0])


def digits_of(meaning: Meaning) -> float:
    """Return how many digits a word may be at most; infinite for a word that may be something
    else.
    """
    if meaning.kind in _DIGITS:
        return _DIGITS[meaning.kind]
    if meaning.kind is WordKind.FILLER:
        return 0
    return (
        max(map(len, meaning.options), default=0)
        if all(option.isdigit() for option in meaning.options)
        else math.inf
    )


def symbols_of(meaning: Meaning) -> int:
    """Return how many symbols a word may be at most."""
    return max(map(len, meaning.options), default=_SYMBOLS.get(meaning.kind, 0))


def least_symbols(words: Iterable[Word]) -> int:
    """Return how many symbols words stand for at least; those often in talk stand for none, nor
    does the last one, said twice.
    """
    homophones = {form for forms in table("speech")["homophones"].values() for form in forms}
    least = last = 0
    before = ""
    for word in words:
        form = word.text.casefold()
        if form in homophones or (len(word.text) == 1 and _small(word.text)):
            continue
        if word.kind is WordKind.TEEN:
            least += 2
        elif word.kind is WordKind.TENS:
            least += 1
        elif word.kind in SPOKEN:
            least += min(map(len, word.meaning.options), default=0)
        last, before = (form == before) * (word.kind in SPOKEN), form
    return least - last


class _Token(NamedTuple):
    """A word as it stands in a line: its bits with those of a row, how many digits it may be
    (infinite for a word that is no digit), how many symbols at most; whether a closer look is
    needed at the words it begins, or at a field that it may name; whether a number behind it, or
    before it, belongs to the talk, and whether it may be such a number.
    """

    bits: float
    digits: float
    symbols: int
    closer: bool
    names: bool
    before: bool
    after: bool
    number: bool


_NOTHING = _Token(0.0, 0.0, 0, *[False] * 5)


class Glance(NamedTuple):
    """What a line may hold: ``code`` a report, a call, or procedure words and phrases; ``named`` a
    report said by the names of fields.
    """

    code: bool
    named: bool


_TALK = Glance(False, False)


class Prefilter(dict[str, _Token]):
    """What is known of each word as it stands in a line.

    Lines in which no run of words speaks for a report, or is long enough to be one, are passed over
    quickly.
    """

    def __init__(self, evidence: Evidence, names: re.Pattern[str] | None = None) -> None:
        """Take the words that always need a closer look, and what finds the ``names`` of fields,
        each one word.
        """
        super().__init__()
        self._cut = RadioWords(evidence.book.lexicon).cut
        self._evidence, self._row = evidence, float(evidence.bits["row"])
        odds, cues = settings()["odds"], settings()["cues"]
        self._before, self._after = frozenset(cues["before"]), frozenset(cues["after"])
        self._refused, self._near = float(odds["refused"]), float(odds["near"])
        self._shortest = min(one.lengths[0] for one in evidence.book.messages.values())
        if self._shortest > _PLAINLY or evidence.figures_alone()[0]:
            self._shortest -= 1  # one may have been dropped, or misheard as no word of a code
        self._marks = frozenset(cues["marks"])
        reports = evidence.book.sent_by("car")[:1]  # of each lap
        self._report = min((one.lengths[0] for one in reports), default=math.inf)
        self._talk, self._names = frozenset(cues["plain"]), names
        # words that need a look at where they stand only if many are in a line, and those with bits
        self._faint, self._some = set[str](), set[str]()
        closer, self._grouped = [], set[str]()
        for form, meaning in evidence.book.lexicon.meanings.items():
            if meaning.kind in (
                WordKind.ASK,
                WordKind.CORRECTION,
                WordKind.REPEAT,
                WordKind.ANEW,
            ) or (meaning.kind is WordKind.SEPARATOR and meaning.value):
                closer.append(form.split())
            elif " " in form and meaning.kind in SPOKEN:
                self._grouped.update(form.split())
        ways = "|".join(r"[\s-]+".join(map(re.escape, words)) for words in closer)
        first = "|".join({re.escape(words[0]) for words in closer})
        self._closer = re.compile(rf"\b(?:{ways})\b", re.IGNORECASE)
        self._begins = re.compile(rf"\b(?:{first})", re.IGNORECASE)

    def glance(self, text: str) -> Glance:
        """Tell what a line may hold; only what it may not hold is sure."""
        raws = text.split()
        if self._faint.issuperset(raws) and (
            sum(map(self._some.__contains__, raws)) * _FAINT < self._evidence.least
        ):
            return _TALK
        if len(self) > _MOST_KEPT:
            self.clear()
            self._faint.clear()
            self._some.clear()
        run = digits = 0.0  # of the words in a row
        symbols = 0
        others = (0.0, 0.0, 0)  # of those before them, past one word that may be misheard
        last, counted, closer, named, code = _NOTHING, False, False, False, False
        for raw in raws:
            token = self[raw]
            closer, named = closer or token.closer, named or token.names
            if token.bits:
                counted = not (token.number and last.before and not last.bits)
                if counted:
                    run += token.bits
                    digits += token.digits
                    symbols += token.symbols
            elif run and raw not in _PAUSED:
                if token.after and counted and last.number:
                    run, digits, symbols = (
                        run - last.bits,
                        digits - last.digits,
                        symbols - last.symbols,
                    )
                code = code or self._may_be(run, digits, symbols, *others)
                bridged = symbols and not others[0] and raw.casefold() not in self._talk
                others = (run, digits, symbols) if bridged else (0.0, 0.0, 0)
                run, digits, symbols = 0.0, 0.0, 0
            elif raw not in _PAUSED:
                others = (0.0, 0.0, 0)
            last = token
            counted = counted and token.bits > 0
        code = code or self._may_be(run, digits, symbols, *others)
        return Glance(code or (closer and self._closer.search(text) is not None), named)

    def _may_be(
        self,
        run: float,
        digits: float,
        symbols: int,
        before: float,
        digits_before: float,
        symbols_before: int,
    ) -> bool:
        """Tell whether words in a row speak for a report, alone or with those before them, and are
        long enough to be one.
        """
        alone = run >= self._evidence.least
        if not alone and (not before or run + before < self._near):
            return False
        if symbols + symbols_before < self._shortest:
            return False
        figures = digits + digits_before >= self._evidence.shortest_figures
        return figures or run + before >= self._refused

    def across(self, before: str, behind: str) -> bool:
        """Tell whether a report or call may stand across the border of two texts; only where it may
        not is that sure.
        """
        if self._begins.search(before) or self._begins.search(behind):
            return True
        bits = self._edge(reversed(before.split())) + self._edge(iter(behind.split()))
        return bits >= min(self._near, self._evidence.least)

    def _edge(self, raws: Iterator[str]) -> float:
        """Return the bits of words that may belong together, to where more than two in a row are of
        no code.
        """
        bits, others = 0.0, 0
        for raw in raws:
            more = self[raw].bits
            others = 0 if more else others + (raw not in _PAUSED)
            if others > 2:
                break
            bits += more
        return bits

    def nothing_else(
        self, text: str, like_code: Callable[[str], bool], talk: Container[str]
    ) -> bool:
        """Tell whether a line is nothing but words that may belong to a code, and as long as one:
        it may be just the report expected. One word may be missing, where a mark tells so, or be
        written much like one of the code; or a few may be misheard, none of them one of ``talk``.
        """
        raws = text.split()
        if not 0 < len(raws) <= _MOST_ALONE:
            return False
        if only_figures(text):
            return sum(map(str.isdigit, text)) >= self._report
        symbols, others = 0, list[str]()
        for raw in raws:
            token = self[raw]
            if token.bits:
                symbols += token.symbols
            elif form := raw.strip(_AROUND).casefold():
                others.append(form)
        if len(others) > 1:
            near = -1 <= symbols + len(others) - self._report <= _MORE
            return near and 2 * len(others) <= symbols and not any(one in talk for one in others)
        if symbols + len(others) < self._report:
            return False
        if symbols >= max(_PLAINLY, self._report - 1):
            return True  # one word in it is another
        return all(one in self._marks or like_code(one) for one in others)

    def codes(self, raw: str) -> bool:
        """Tell whether a word as it stands may belong to a code."""
        return self[raw].bits > 0

    def __missing__(self, raw: str) -> _Token:
        # not alone: small letters are a word then
        found = self._cut(f"+ {raw}")[1:]
        bits = self._evidence.of_words(found)
        form = raw.strip(".,;:!?\"'").casefold()
        if found and all(word.kind is WordKind.FILLER for word in found):
            bits = max(bits, 0.1)
        digits = sum(digits_of(word.meaning) for word in found)
        symbols = sum(symbols_of(word.meaning) for word in found)
        if form in self._grouped:  # with the words beside it, it may be any symbol
            bits, digits, symbols = max(bits, float(self._evidence.bits["spelling"])), math.inf, 1
        self[raw] = token = _Token(
            bits + self._row if bits else 0.0,
            digits,
            symbols,
            self._begins.search(raw) is not None,
            self._names is not None and self._names.search(raw) is not None,
            form in self._before,
            form in self._after,
            # of one word, so that it is left out whole or not at all
            len(found) == 1 and digits < math.inf and form not in self._grouped,
        )
        if token.bits <= _FAINT and not (token.closer or token.names):
            self._faint.add(raw)
            if token.bits:
                self._some.add(raw)
        return token
