"""Reports said in plain words, by the names of their fields: "lap five, energy minus 0.4, motor
105, inverter 75, battery 48".

Nothing checks such a report as a code's check symbol does. So every field that the message must
have has to be there, once; what stands without its name is taken only where one field is left for
it; and a value further from the last one than it goes in a lap is not sure.
"""

from __future__ import annotations

import functools
import itertools
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import Any

from codec.lap_report import lap_field, lap_message
from codec.radio.chatter import settings
from codec.reading import Reading
from grammar.book import Book
from grammar.data import table
from grammar.errors import CodeError, Span
from grammar.exact import plain
from grammar.fields import FieldBase, Progression
from grammar.speech.kinds import WordKind

_TOKEN = re.compile(
    r"(?i:\bper\s+cent\b)|[-+−]?\d+(?:[.,]\d+)?|[^\W\d_]+(?:['’][^\W\d_]+)?|[°%]\w?"
)
_FAR = 3.5  # standard deviations that a value may be from the last one
_WIDTH = Decimal("0.03")  # of a field's range: how far it goes in a lap where the book does not say
_ENDS, _STOPS = ".!?;", ".!?;,:"
_MOST_PARTS = 400  # characters of a line that tells parts of a report
_AND_A_HALF = ("and", "a", "half")
_SHORT = 4  # characters of a word that means nothing
_ALIKE = 0.7  # of a word and a name, as difflib has it: so much alike they may be a slip
_STRANGERS = 2  # words that mean nothing in an attempt at a report
_FEWEST = 3  # fields named, to be an attempt at a report


@dataclass(frozen=True, slots=True)
class PlainReport:
    """A report said in plain words: its values by field, and what is missing or said twice.

    ``others`` are by field the values it may have been, had a word been lost or been another;
    ``unheard`` those it may have been as well, as the word that tells was not heard; ``cut`` are
    the fields whose last word may be lost, ``spans`` where each is said; ``plus`` tells whether any
    was said with PLUS, ``spoilt`` whether words stand in it that do not belong there.
    """

    span: Span
    values: Mapping[str, Any]
    missing: tuple[str, ...] = ()
    others: Mapping[str, Sequence[Decimal]] = field(default_factory=dict)
    unheard: Mapping[str, Sequence[Decimal]] = field(default_factory=dict)
    cut: frozenset[str] = frozenset()
    plus: bool = False
    spoilt: bool = False
    astray: bool = False
    named_lap: bool = False
    spans: Mapping[str, Span] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class _Item:
    """A value said: of a field, or of none that is named (""); ``value`` None for a field named
    without one.
    """

    name: str
    value: Any
    span: Span
    sign: str = ""
    whole: bool = True
    unit: str = ""
    words: tuple[str, ...] = ()
    bare: bool = False  # a name with no number behind it


@dataclass(slots=True)
class _Run:
    items: list[_Item] = field(default_factory=list)
    spoilt: bool = False
    astray: bool = False

    @property
    def named(self) -> set[str]:
        return {item.name for item in self.items if item.name}


class NamedReports:
    """Finds the reports of a book's lap message that are said by the names of its fields."""

    def __init__(self, book: Book) -> None:
        """Gather the names of the fields, of their options and of their units."""
        self.book, self.lap = book, lap_field(book)
        self.message = lap_message(book)
        fields = book.messages[self.message].fields if self.message else {}
        self.numeric = {
            name: one for name, one in fields.items() if one.numeric or one.interval(0) is not None
        }
        self.named = {name: one for name, one in fields.items() if one.value_names}
        self.names = self._names()
        self.several = {
            name for name, one in self.named.items() if isinstance(one.value(0), frozenset)
        }
        self.options = self._options()
        words = settings()["named"]
        self._links = frozenset(words["links"])
        self._unit_of = {form: unit for unit, forms in words["units"].items() for form in forms}
        said = [field for one in book.sent_by("car") for field in one.fields.values()]
        self._sent = {one.name: one for one in said if one.numeric}
        self._unit_of |= {
            text.casefold(): text for one in self._sent.values() if (text := one.unit_text)
        }
        self._units = self._unit_of.keys()
        self._hesitations = {"a"} | {
            form
            for form, meaning in book.lexicon.meanings.items()
            if meaning.kind is WordKind.FILLER
        }
        self._minus, self._plus = frozenset(words["minus"]), frozenset(words["plus"])
        self._point, self._hedges = frozenset(words["point"]), frozenset(words["hedges"])
        self._none, self._denials = frozenset(words["none"]), frozenset(words["denials"])
        self._turned, self._asking = frozenset(words["turned"]), frozenset(words["asking"])
        self._elsewhere, self._fractions = (
            frozenset(words["elsewhere"]),
            frozenset(words["fractions"]),
        )
        self._numbers = _Numbers(book, self._point)
        known = [word for form in (*self.names, *self.options) for word in form]
        known += [*self._links, *self._units, *self._minus, *self._plus, *self._point]
        self._together = _Together({*known, *self._numbers.words})
        found = sorted({name[0] for name in self.names}, key=len, reverse=True)
        ways = "|".join(map(re.escape, found))
        # what a line that names a field holds, each one word
        self._naming = re.compile(rf"\b(?:{ways})", re.IGNORECASE) if found else None
        units = "|".join(re.escape(form) for form in sorted(self._units) if len(form) > _SHORT)
        self.begun = re.compile(rf"\b(?:{ways}|{units})|[%°]", re.IGNORECASE) if found else None

    @functools.cached_property
    def needed(self) -> list[str]:
        """The fields that the message can't be without, but for the lap."""
        from codec.encoding import encode

        values = {name: one.value(one.size // 2) for name, one in self.numeric.items()}
        needed = []
        for name in self.numeric:
            try:
                others = {other: value for other, value in values.items() if other != name}
                encode(self.book, others, self.message)
            except CodeError:
                needed += [name] if name != self.lap else []
        return needed

    def _names(self) -> dict[tuple[str, ...], str]:
        """Return the fields by what they may be called: name and title, and the title's first word
        where it is of one field only.
        """
        called: dict[tuple[str, ...], set[str]] = {}
        for name, one in {**self.numeric, **self.named}.items():
            title = tuple(one.title.casefold().split())
            for form in {tuple(name.replace("_", " ").casefold().split()), title, title[:1]}:
                called.setdefault(form, set()).add(name)
        return {form: min(names) for form, names in called.items() if len(names) == 1}

    def _options(self) -> dict[tuple[str, ...], dict[str, str]]:
        """Return by what options may be called the fields that have one of that name, each with
        it.
        """
        called: dict[tuple[str, ...], dict[str, str]] = {}
        for name, one in self.named.items():
            for option in one.value_names:
                form = tuple(option.casefold().replace("_", " ").split())
                called.setdefault(form, {})[name] = option
        return called

    def worth(self, text: str) -> bool:
        """Tell whether a line names several fields."""
        if self._naming is None:
            return False
        return len(set(map(str.casefold, self._naming.findall(text)))) >= 2

    def find(self, text: str) -> PlainReport | None:
        """Return the report said in a line; None where there is no attempt at one."""
        if not self.worth(text) or len(self.needed) < 2:
            return None
        best = max(self._stretches(text), key=lambda run: len(run.named), default=None)
        if best is None:
            return None
        told = len(best.named - {self.lap}) + sum(
            self._plainly(best.items, number) for number in range(len(best.items))
        )
        return self._said(best, text) if told >= min(_FEWEST, len(self.needed)) else None

    def _plainly(self, items: Sequence[_Item], number: int) -> bool:
        """Tell whether a number without a name is plainly one of its field: by its point, or as
        the figures of its codeword.
        """
        item, name = items[number], "" if items[number].name else self._meant(items, number)
        return bool(name) and (not item.whole or self._value(name, item) != item.value)

    def parts(self, text: str) -> Mapping[str, Any]:
        """Return the values of the fields that a line names, as few as they are; {} where it says
        anything else, or one of them not clearly.
        """
        if self.begun is None or len(text) > _MOST_PARTS or not self.begun.search(text):
            return {}
        runs = list(self._stretches(text))
        if len(runs) != 1 or runs[0].spoilt or runs[0].astray:
            return {}
        items = [self._placed(runs[0].items, n) for n in range(len(runs[0].items))]
        clear = all(item.name and item.value is not None for item in items)
        whole = all(
            self._passed(word)
            or any(one.span[0] <= at[0] and at[1] <= one.span[1] for one in items)
            for word, at in self._tokens(text)
        )
        named = [item.name for item in items if item.name not in self.several]
        once = len(set(named)) == len(named)
        return self._said(runs[0], text).values if clear and whole and once else {}

    def _placed(self, items: Sequence[_Item], number: int) -> _Item:
        """Return an item; a number with a point at the beginning, or right behind the lap, as that
        of the only field that it can be of.
        """
        item, before = items[number], items[number - 1].name if number else self.lap
        plainly = before == self.lap and not item.whole and self._plainly(items, number)
        return replace(item, name=self._meant(items, number)) if plainly else item

    def strangers(self, text: str) -> list[tuple[str, Span]]:
        """Return the words of a line that names a field which mean nothing there, each with its
        place.
        """
        if self.begun is None or len(text) > _MOST_PARTS or not self.begun.search(text):
            return []
        known = self._hedges | self._denials | self._turned | self._asking | self._elsewhere
        known |= self._fractions | self._none | self._hesitations
        return [
            (word, span)
            for word, span in self._tokens(text)
            if word.isalpha()
            and not self._passed(word)
            and word not in known
            and not self._together.knows(word)
        ]

    def nearly(self, text: str) -> PlainReport | None:
        """Return the report that a line would be but for a word or two that mean nothing there, the
        name of a field or a number misheard: these are what is not clear. None for any other.
        """
        if not self.worth(text):
            return None
        strangers, changed = self.strangers(text), text
        if not 0 < len(strangers) <= _STRANGERS:
            return None
        for word, (start, end) in reversed(strangers):
            before, name = changed[:start].rstrip(), self.resembled(word)
            if before.casefold().endswith(tuple(self._point)):  # of a number of which it was more
                before = before.rpartition(" ")[0]
            changed = f"{before} {name}{changed[end:]}"
        said = self.find(changed)
        if said is None or said.astray:
            return None
        unclear = [repr(word) for word, _ in strangers]
        return PlainReport((0, len(text)), said.values, (*unclear, *said.missing))

    def number(self, text: str) -> Decimal | None:
        """Return the number that a text is, in figures or in words; None for anything else."""
        words = [word for word, _ in self._tokens(text[:_MOST_PARTS])]
        found = None if len(text) > _MOST_PARTS else self._numbers.read(words)
        return found[0] if found is not None and found[1] == len(words) else None

    def resembled(self, word: str) -> str:
        """Return what names a field most like a word that means nothing, "" where none is."""
        import difflib

        names = [form[0] for form in self.names if len(form) == 1]
        return next(iter(difflib.get_close_matches(word, names, 1, _ALIKE)), "")

    def unclear_beside(self, text: str, span: Span) -> str:
        """Return a word outside a report said in a line that means nothing and is much like the
        name of a field or of one of its options, "" for none: it may be more of the report.
        """
        import difflib

        known = [word for form in (*self.names, *self.options) for word in form]
        for word, (start, end) in self.strangers(text):
            outside = end <= span[0] or span[1] <= start
            if outside and difflib.get_close_matches(word, known, 1, _ALIKE):
                return word
        return ""

    def speaks(self, text: str) -> bool:
        """Tell whether a line says a number by the name of its field, or with a unit: then it is
        not heard as code.
        """
        return bool(self.begun and self.begun.search(text)) and any(
            isinstance(item.value, Decimal) and (item.unit or item.name in self.numeric)
            for run in self._stretches(text[:_MOST_PARTS])
            for item in run.items
        )

    def told(self, text: str) -> Mapping[str, Any]:
        """Return the values of fields that a line names, also where it lacks others."""
        found = self.find(text)
        return self.parts(text) if found is None else found.values

    def counts(self, word: str) -> bool:
        """Tell whether a word is of a number, or one that a report's values are said by."""
        text = word.casefold().strip(" ,.;:?!")
        told = self._numbers.words | self._minus | self._plus | self._point
        return text[-1:].isdecimal() or text in told or (text,) in self.options

    # words

    def _stretches(self, text: str) -> Iterator[_Run]:
        """Yield the stretches of items, each number with the name behind it where none of before
        it has it, or with the field whose unit it has.
        """
        for run in self._runs(text):
            items = self._before_names(run.items, text)
            for number, item in enumerate(items):
                if not item.name and item.unit:
                    items[number] = replace(item, name=self._by_unit(item, items))
            for number, (item, following) in enumerate(itertools.pairwise(items)):
                apart = text[item.span[1] : following.span[0]].strip(" .")
                more = not following.name and not following.sign and not apart
                if more and item.name in self.numeric and not self._meant(items, number + 1):
                    items[number] = replace(item, value=None)  # that may be more of it
            run.items = items
            yield run

    def _before_names(self, items: list[_Item], text: str) -> list[_Item]:
        """Return items with the numbers that stand before the names of their fields given to them:
        from a number of no name on, up to a name that has none behind it.
        """
        found, place = list(items), 0
        while place < len(found):
            end = place + 1
            while end < len(found) and found[end].name in self.numeric and not found[end].bare:
                end += 1
            bare = end < len(found) and found[end].bare
            whole = end == place + 1 or (place == 0 and end == len(found) - 1)
            if not found[place].name and bare and whole:
                pairs = itertools.pairwise(found[place : end + 1])
                moved = [self._moved(one, following, text) for one, following in pairs]
                if None not in moved:
                    found[place : end + 1] = [one for one in moved if one is not None]
            place += 1
        return found

    def _moved(self, one: _Item, following: _Item, text: str) -> _Item | None:
        """Return a number as that of the name behind it; None where it can't be."""
        field, value = self.numeric[following.name], one.value
        between = text[one.span[1] : following.span[0]]
        turned = text[slice(*following.span)].casefold().split()[0] in self._turned
        if (
            not isinstance(value, Decimal)
            or any(mark in _STOPS for mark in between)
            or self.level(following.name, value) is None
            or (one.unit and not self._fits(one.unit, field))
            or (turned and one.whole and not one.unit)  # eight left: of what?
        ):
            return None
        return replace(one, name=following.name, span=(one.span[0], following.span[1]))

    def _by_unit(self, item: _Item, items: Sequence[_Item]) -> str:
        """Return the only field that can have a number with its unit, "" where that is not one of
        the report of each lap, or said by its name.
        """
        fits = [
            name
            for name, one in self._sent.items()
            if one.unit_text and self._fits(item.unit, one) and self._reaches(one, item.value)
        ]
        named = [one.name for one in items]
        alone = len(fits) == 1 and fits[0] in self.numeric and fits[0] not in named
        return fits[0] if alone else ""

    @staticmethod
    def _reaches(one: FieldBase, value: Any) -> bool:
        """Tell whether a field has a value."""
        try:
            one.level(value)
        except CodeError:
            return False
        return True

    def _runs(self, text: str) -> Iterator[_Run]:
        """Yield the stretches of items with nothing else between them."""
        tokens, spoilt = self._without_hesitations(list(self._tokens(text)))
        run, place, corrected, other = _Run(spoilt=spoilt), 0, False, 0  # words since the last item
        astray = denied = False
        while place < len(tokens):
            word = tokens[place][0]
            behind = text[tokens[place - 1][1][1] : tokens[place][1][0]] if place else "."
            if any(mark in _ENDS for mark in behind):
                astray = word in self._asking
            denied = denied and not any(mark in _STOPS for mark in behind)
            item, following = self._item(tokens, place)
            if item is not None:
                run.spoilt = run.spoilt or self._amiss(item) or (other > 0 and bool(run.items))
                run.astray = run.astray or astray
                other = 0
                item = replace(item, value=None, bare=False) if denied and item.value else item
                _take(run, item, corrected)
                corrected, denied, place = False, False, following
                continue
            denied = word in self._denials
            astray = astray or word in self._elsewhere
            if word == "correction":
                corrected = True
            elif run.items and not other and behind.isspace() and self._titled(run, word):
                last = run.items[-1]
                run.items[-1] = replace(last, span=(last.span[0], tokens[place][1][1]))
            elif (run.items and not other and word in self._turned and behind.isspace()) or (
                run.items and not other and self._goes_on(run.items[-1], text, tokens, place)
            ):  # which way it is, whether at all, or how much more, is not known
                last = run.items[-1]
                run.items[-1] = replace(last, value=None, span=(last.span[0], tokens[place][1][1]))
            elif not self._passed(word) and not (
                denied and self._longest(self.names, tokens, place + 1)[0] in self.several
            ):
                other += 1
                if word in self._hedges or other > 1 or len(word) > _SHORT:
                    if run.items:
                        yield run
                    run = _Run(spoilt=spoilt)
            place += 1
        if run.items:
            yield run

    def _titled(self, run: _Run, word: str) -> bool:
        """Tell whether a word behind a number is one of what its field is called, such as LEFT
        behind that of "energy left"; a number of no field gets the only one that is called so.
        """
        last = run.items[-1]
        if not isinstance(last.value, Decimal) or word not in self._turned:
            return False
        named = [name for name, one in self.numeric.items() if word in one.title.casefold().split()]
        name = last.name or (self._by_unit(last, run.items) if last.unit else "")
        if (
            not name
            and len(named) == 1
            and not last.whole
            and self.level(named[0], last.value) is not None
        ):
            name = "" if named[0] in run.named else named[0]
        if name in named:
            run.items[-1] = replace(last, name=name)
        return name in named

    def _goes_on(
        self, last: _Item, text: str, tokens: Sequence[tuple[str, Span]], place: int
    ) -> bool:
        """Tell whether a word is more of the number before it: a fraction, or a word not known
        between it and other figures.
        """
        word, (start, end) = tokens[place]
        between = text[last.span[1] : start]
        if not isinstance(last.value, Decimal) or any(mark in _STOPS for mark in between):
            return False
        if word in self._fractions:
            return True
        following = tokens[place + 1] if place + 1 < len(tokens) else ("", (0, 0))
        return (
            not self._passed(word)
            and between.isspace()
            and text[end : following[1][0]].isspace()
            and self._numbers.is_figure(following[0])
        )

    def _amiss(self, item: _Item) -> bool:
        """Tell whether a word that means nothing stands between a name and its number."""
        words = item.words
        return any(
            not self._passed(word)
            and word not in self._numbers.words | self._minus | self._plus | self._point
            and not word.lstrip("+-")[:1].isdigit()
            for word in words
        )

    def _tokens(self, text: str) -> Iterator[tuple[str, Span]]:
        """Yield the words and figures of a line in small letters, those written together apart."""
        for found in _TOKEN.finditer(text):
            word, start = found.group().casefold().replace("−", "-"), found.start()
            for part in self._together.parts(word) if len(word) > _SHORT else (word,):
                yield part, (start, start + len(part))
                start += len(part)

    def _without_hesitations(
        self, tokens: list[tuple[str, Span]]
    ) -> tuple[list[tuple[str, Span]], bool]:
        """Return tokens without those that only part a number (eighty, er, five), and whether there
        were any.
        """
        numbers = self._numbers
        begun = numbers.tens.keys() | numbers.hundred | self._point | self._minus | self._plus
        kept = [
            token
            for place, token in enumerate(tokens)
            if not (
                token[0] in self._hesitations
                and 0 < place < len(tokens) - 1
                and tokens[place - 1][0] in begun
                and tokens[place + 1][0] in numbers.units
            )
        ]
        return kept, len(kept) < len(tokens)

    def _passed(self, word: str) -> bool:
        return word in self._links or word in self._units or word[0] in "°%"

    def _item(self, tokens: Sequence[tuple[str, Span]], place: int) -> tuple[_Item | None, int]:
        """Return the item that begins at a token, and where it ends."""
        start = tokens[place][1][0]
        name, length = self._longest(self.names, tokens, place)
        if name:
            following = place + length
            if name in self.named:
                found = self._option_behind(name, tokens, following, start)
                if found[0].value is not None or name not in self.numeric:
                    return found
            value = self._number_behind(tokens, following)
            if value is not None and name == self.lap:
                value = self._lap_alone(tokens, following, value)
            if value is None:
                span = start, tokens[following - 1][1][1]
                return _Item(name, None, span, bare=name in self.numeric), following
            return self._numbered(name, tokens, start, value)
        options, length = self._longest(self.options, tokens, place)
        behind, more = self._longest(self.names, tokens, place + length) if length else ("", 0)
        if behind in (options or ()) and behind not in self.numeric:
            end = place + length + more
            other, last = self._option_behind(behind, tokens, end, start)
            apart = end < len(tokens) and not self._together_said(tokens, end)
            if other.value is None or apart or self._longest(self.names, tokens, last)[0] == behind:
                return _Item(behind, options[behind], (start, tokens[end - 1][1][1])), end
        if length and len(options) == 1 and not options.keys() & self.numeric.keys():
            [(name, option)], end = options.items(), place + length
            return _Item(name, option, (start, tokens[end - 1][1][1])), end
        bare = tokens[place][0] in self._point  # what stood before the point was not heard
        value = None if bare else self._number(tokens, place)
        if value is None:
            return None, place
        return self._numbered("", tokens, start, value)

    def _lap_alone(
        self,
        tokens: Sequence[tuple[str, Span]],
        place: int,
        value: tuple[Decimal, str, int, bool],
    ) -> tuple[Decimal, str, int, bool] | None:
        """Return the number of a lap without that of what follows it, where words run on: "lap five
        thirty two point eight"; None where nobody can tell them apart.
        """
        words = [word for word, _ in tokens[place : value[2]]]
        while words and words[0] not in self._numbers.words:
            words, place = words[1:], place + 1
        runs_on = len(words) > 1 and words[0] in self._numbers.units
        if not runs_on or (value[3] and words[1] not in self._numbers.tens):
            return value
        alone = Decimal(self._numbers.units[words[0]])
        return None if value[3] else (alone, "", place + 1, True)

    def _number_behind(
        self, tokens: Sequence[tuple[str, Span]], place: int
    ) -> tuple[Decimal, str, int, bool] | None:
        """Return the number behind a field's name; a word or two between them that mean nothing
        are passed over, a sign is not.
        """
        for skipped in range(4):
            if place + skipped >= len(tokens):
                return None
            word = tokens[place + skipped][0]
            value = (
                None if skipped and word in self._point else self._number(tokens, place + skipped)
            )
            if value is not None:
                return value
            passed = self._passed(word) or (skipped < 2 and len(word) <= _SHORT)
            signed = word in self._minus | self._plus
            if signed or not passed or word in self._hedges:
                return None
            if self._longest(self.names, tokens, place + skipped)[0]:
                return None
        return None

    def _numbered(
        self,
        name: str,
        tokens: Sequence[tuple[str, Span]],
        start: int,
        value: tuple[Decimal, str, int, bool],
    ) -> tuple[_Item, int]:
        number, sign, end, whole = value
        following = tokens[end][0] if end < len(tokens) else ""
        if (
            tokens[end - 1][0] in self._numbers.tens
            and following.isalpha()
            and not self._passed(following)
            and not self._longest(self.names, tokens, end)[1]
            and not self._longest(self.options, tokens, end)[1]
            and self._together_said(tokens, end)
        ):  # sixty fine: may be sixty five
            return _Item(name, None, (start, tokens[end - 1][1][1])), end
        said = itertools.takewhile(lambda token: token[1][0] >= start, reversed(tokens[:end]))
        words = tuple(word for word, _ in said)[::-1]
        words = words[self._longest(self.names, tokens, end - len(words))[1] :] if name else words
        unit = tokens[end][0] if end < len(tokens) else ""
        unit = unit if unit in self._units or unit[:1] in ("°", "%") else ""
        if name and unit and not self._fits(unit, self.numeric[name]):
            return _Item(name, None, (start, tokens[end - 1][1][1])), end  # it is of something else
        return _Item(name, number, (start, tokens[end - 1][1][1]), sign, whole, unit, words), end

    @staticmethod
    def _together_said(tokens: Sequence[tuple[str, Span]], place: int) -> bool:
        """Tell whether no punctuation stands before a word."""
        return tokens[place][1][0] - tokens[place - 1][1][1] <= 1

    def _option_behind(
        self, name: str, tokens: Sequence[tuple[str, Span]], place: int, start: int
    ) -> tuple[_Item, int]:
        """Return the option of a field behind its name, which is "" where it has none of them."""
        while place < len(tokens) and tokens[place][0] in self._links:
            place += 1
        options, length = self._longest(self.options, tokens, place)
        if name in (options or ()):
            end = place + length
            return _Item(name, options[name], (start, tokens[end - 1][1][1])), end
        none = place < len(tokens) and tokens[place][0] in self._none
        before = tokens[place - 2][0] if place > 1 else ""
        if name not in self.several or (not none and before not in self._denials):
            return _Item(name, None, (start, tokens[place - 1][1][1])), place  # it was not heard
        end = place + none
        start = start if none else tokens[place - 2][1][0]
        return _Item(name, "", (start, tokens[end - 1][1][1])), end

    @staticmethod
    def _longest(
        forms: Mapping[tuple[str, ...], Any], tokens: Sequence[tuple[str, Span]], place: int
    ) -> tuple[Any, int]:
        for length in range(min(4, len(tokens) - place), 0, -1):
            form = tuple(word for word, _ in tokens[place : place + length])
            if form in forms:
                return forms[form], length
        return "", 0

    def _number(
        self, tokens: Sequence[tuple[str, Span]], place: int
    ) -> tuple[Decimal, str, int, bool] | None:
        """Return the number at a token with its sign, where it ends, and whether it is a whole
        one.
        """
        words = [word for word, _ in tokens[place : place + 12]]
        sign, skipped = "", 0
        if words and words[0] in self._minus | self._plus:
            sign, skipped = ("-" if words[0] in self._minus else "+"), 1
        if words[skipped : skipped + 1] and words[skipped][0] in "+-":
            if sign or len(words[skipped]) == 1:
                return None
            sign, words[skipped] = words[skipped][0], words[skipped][1:]
        elif sign and words[skipped : skipped + 1] and len(words[skipped]) <= _SHORT:
            word = words[skipped]
            junk = word.isalpha() and word not in self._point | self._numbers.words
            skipped += junk and not self._longest(self.names, tokens, place + skipped)[1]
        skipped += self._whole_unheard(tokens, place + skipped)
        found = self._numbers.read(words[skipped:])
        if found is None:
            return None
        number, length = found
        whole = number == number.to_integral_value()
        return -number if sign == "-" else number, sign, place + skipped + length, whole

    def _whole_unheard(self, tokens: Sequence[tuple[str, Span]], place: int) -> bool:
        """Tell whether a word that is no number stands where the figures before a point should."""
        if place + 2 >= len(tokens) or tokens[place + 1][0] not in self._point:
            return False
        word = tokens[place][0]
        known = self._numbers.words | self._minus | self._plus | self._point | self._hedges
        return (
            word.isalpha()
            and word not in known
            and not self._passed(word)
            and self._numbers.is_figure(tokens[place + 2][0])
            and not self._longest(self.names, tokens, place)[1]
        )

    # what they mean

    def _said(self, run: _Run, text: str) -> PlainReport:
        items, missing = run.items, list[str]()
        values: dict[str, Any] = {}
        for number, item in enumerate(items):
            name = item.name or self._meant(items, number)
            if not name:
                missing.append("which field a number is of")
            elif item.value is None or (name in values and name in self.numeric):
                missing.append(self.book.fields[name].title)
            elif name in self.several:
                values.setdefault(name, [])
                values[name] += [item.value] if item.value else []
            elif values.get(name, item.value) != item.value:
                missing.append(self.book.fields[name].title)
            else:
                values[name] = self._value(name, item)
        missing += [self.book.fields[name].title for name in self.needed if name not in values]
        told = {
            name: replace(item, value=values.get(name, item.value))
            for number, item in enumerate(items)
            if (name := item.name or self._meant(items, number)) in self.numeric
            and name != self.lap
            and isinstance(item.value, Decimal)
        }
        others = {name: tuple(self._others(self.numeric[name], one)) for name, one in told.items()}
        unheard = {name: tuple(self._unheard(one)) for name, one in told.items()}
        return PlainReport(
            (items[0].span[0], items[-1].span[1]),
            values,
            tuple(dict.fromkeys(missing)),
            others,
            unheard,
            self._cut(told, items, text),
            any(item.sign == "+" for item in items),
            run.spoilt or any(not item.name for item in items[1:]),
            run.astray,
            self.lap in run.named,
            {
                name: item.span
                for number, item in enumerate(items)
                if (name := item.name or self._meant(items, number))
            },
        )

    def _value(self, name: str, item: _Item) -> Any:
        """Return a field's value as said; where it has no such one and the figures are those of its
        codeword, what they say: 349 for 34.9.
        """
        if name not in self.numeric or self.level(name, item.value) is not None:
            return item.value
        said = [word for word in item.words if not self._passed(word)]
        figures = all(self._numbers.is_figure(word) for word in said)
        if not figures or item.sign or item.unit or not item.whole:
            return item.value
        for coded in self.book.messages[self.message].tables:
            if [one.name for one in coded.fields] == [name]:
                levels = coded.levels(str(item.value))
                return item.value if levels is None else self.numeric[name].value(levels[0])
        return item.value

    @staticmethod
    def _cut(told: Mapping[str, _Item], items: Sequence[_Item], text: str) -> frozenset[str]:
        """Return the fields whose number runs on into the next field, where commas part the others:
        its last word may have been lost with the comma.
        """
        apart = [
            any(mark in text[one.span[1] : following.span[0]] for mark in ",.;")
            for one, following in itertools.pairwise(items)
        ]
        if apart.count(True) < 2:
            return frozenset()
        run_on = [one for one, parted in zip(items, apart, strict=False) if not parted]
        return frozenset(name for name, one in told.items() if one in run_on)

    def _unheard(self, item: _Item) -> Iterator[Decimal]:
        """Yield what a number may have been whose figures before the point were not heard."""
        for word, following in itertools.pairwise(item.words):
            known = self._numbers.words | self._minus | self._plus
            unknown = word not in known and not self._passed(word) and not word[-1].isdecimal()
            if following in self._point and unknown:
                sign = -1 if item.sign == "-" else 1
                yield from (item.value + sign * whole for whole in range(1, 10))

    def _others(self, one: FieldBase, item: _Item) -> Iterator[Decimal]:
        """Yield what a number may have been, had a word of it been lost or been another."""
        value, words = item.value, item.words
        if _signed(one) and not item.sign and value:
            yield -value
        if not words or any(word[-1].isdigit() for word in words):
            return
        last = words[-1]
        size = abs(value)
        sign = -1 if value < 0 else 1
        if last in self._numbers.tens or last in self._numbers.hundred:
            yield from (sign * (size + unit) for unit in range(1, 10))
        for unlike, like in (("5", "9"), ("9", "5")):
            text = str(size)
            for place, figure in enumerate(text):
                if figure == unlike:
                    yield sign * Decimal(text[:place] + like + text[place + 1 :])

    def _meant(self, items: Sequence[_Item], number: int) -> str:
        """Return the field of a number that stands without a name: the one that is left between
        its neighbours in the message's order, "" where that is not one.
        """
        order = list(self.numeric)
        named = [item.name for item in items]
        before = [order.index(name) for name in named[:number] if name in self.numeric]
        behind = [order.index(name) for name in named[number + 1 :] if name in self.numeric]
        low, high = max(before, default=-1), min(behind, default=len(order))
        left = [name for name in order[low + 1 : high] if name not in named]
        item = items[number]
        if item.sign or not item.whole or item.unit or not item.value:
            left = [name for name in left if name != self.lap]
        if item.unit:
            left = [name for name in left if self._fits(item.unit, self.numeric[name])]
        others = sum(1 for one in items if not one.name)
        return left[0] if len(left) == 1 and others == 1 else ""

    def _fits(self, unit: str, one: FieldBase) -> bool:
        """Tell whether a unit said may be a field's; one without a unit may have any but that of
        heat.
        """
        written = self._unit_of.get(unit, unit[:1])
        return one.unit_text.startswith(written) if one.unit_text else written != "°"

    def reading(
        self, said: PlainReport, lap: int | None, text: str, context: Mapping[str, Any]
    ) -> Reading | None:
        """Return the reading of what was said, of a lap where it does not tell one; None where the
        book has no string for it.
        """
        values = dict(said.values)
        if self.lap and self.lap not in values:
            if lap is None:
                return None
            values[self.lap] = lap
        from codec.encoding import encode

        try:
            made = encode(self.book, values, self.message).reading
        except CodeError:
            return None
        near = dict(context)
        near |= {name: one for name, one in values.items() if self._in_full(name, one)}
        if said.named_lap and self.lap in said.values:
            near[self.lap] = said.values[self.lap]  # all of it was said
        return Reading(self.book, made.match, text, [said.span] * len(made.said), near)

    def _in_full(self, name: str, value: Any) -> bool:
        return name != self.lap and name in self.numeric and in_full(self.numeric[name], value)

    def level(self, name: str, value: Decimal) -> int | None:
        """Return the level of a field's value; None for one it does not have."""
        try:
            return self.numeric[name].level(value).level
        except CodeError:
            return None

    def far(self, said: PlainReport, last: Mapping[str, Any] | None, laps: int) -> str:
        """Return in words which value is further from the last one than it goes in so many laps, or
        where there is none, past an end of its range; "" where none is. Of a field of which only
        the remainder is coded a number may be said in full: it is as near as its remainder is, and
        as it is itself where the last one was said in full, too.
        """
        for name, value in said.values.items():
            one = self.numeric.get(name)
            if one is None or name == self.lap:
                continue
            steps = one.progression
            if steps is None:
                continue
            low, high = steps.first, steps.first + steps.step * (steps.size - 1)
            before = None if last is None else last.get(name)
            if not isinstance(before, Decimal):
                if not one.wraps and not low <= value <= high:
                    return f"{one.title} {_with_unit(one, value)} is beyond its range"
                continue
            wander = getattr(one, "wander", None)
            width = (high - low) * _WIDTH if wander is None else Decimal(wander)
            width = max(width, steps.step / 2)
            drift = abs(Decimal(getattr(one, "drift", None) or 0)) * laps
            most = _FAR * float(width) * math.sqrt(laps) + float(drift + steps.step)
            if self._apart(one, value, before, steps) > most:
                new, old = (_with_unit(one, number) for number in (value, before))
                return f"{one.title} {new} would be far from {old}"
        return ""

    @staticmethod
    def _apart(one: FieldBase, value: Decimal, before: Decimal, steps: Progression) -> float:
        """Return how far two values of a field are from each other, as far as what was said of them
        tells.
        """
        if one.wraps and not (in_full(one, value) and in_full(one, before)):
            off = abs(one.level(value).level - one.level(before).level)
            return min(off, steps.size - off) * float(steps.step)
        return abs(float(value - before))


def _with_unit(one: FieldBase, value: Decimal) -> str:
    return f"{plain(value)} {one.unit_text}".rstrip()


def in_full(one: FieldBase, value: Any) -> bool:
    """Tell whether a number of a field of which only the remainder is coded is more than that."""
    steps = one.progression
    if not one.wraps or steps is None or not isinstance(value, Decimal):
        return False
    return not steps.first <= value < steps.first + steps.step * steps.size


def _take(run: _Run, item: _Item, corrected: bool) -> None:
    """Add an item to a stretch; one that is corrected takes the place of that before it, or of the
    same field.
    """
    if corrected and item.name == "" and run.items:
        last = run.items.pop()
        item = replace(item, name=last.name, span=(last.span[0], item.span[1]))
    elif corrected and item.name in run.named:
        run.items = [one for one in run.items if one.name != item.name]
    run.items.append(item)


class _Together:
    """Takes words written together apart, where that can be done in one way."""

    def __init__(self, words: set[str]) -> None:
        """Take the words that others may be made of."""
        self._words = {word for word in words if len(word) > 1}
        self.knows = self._words.__contains__
        self.parts = functools.lru_cache(10_000)(self._parts)

    def _parts(self, word: str) -> tuple[str, ...]:
        if word in self._words or not word.isalpha():
            return (word,)
        ways: list[list[tuple[str, ...]]] = [[()], *([] for _ in word)]
        for place in range(len(word)):
            for last in range(place + 2, len(word) + 1):
                if ways[place] and word[place:last] in self._words:
                    ways[last] += [(*way, word[place:last]) for way in ways[place]]
                    del ways[last][2:]
        return ways[-1][0] if len(ways[-1]) == 1 else (word,)


class _Numbers:
    """Reads numbers in figures and in words."""

    def __init__(self, book: Book, point: frozenset[str]) -> None:
        """Gather the words of numbers, and those of the book's alphabet for figures."""
        numbers: Any = table("speech")["numbers"]
        self._alike = frozenset(itertools.chain(*table("speech")["homophones"].values()))
        self.units = {word: unit for unit, words in numbers["units"].items() for word in words}
        self.units |= {
            form: meaning.options[0]
            for form, meaning in book.lexicon.meanings.items()
            if meaning.kind is WordKind.UNIT
            and len(form) > 1
            and form.isalpha()
            and form not in self._alike
        }
        self._teens = {word: int(n) for n, words in numbers["teens"].items() for word in words}
        self.tens = {word: int(n) for n, words in numbers["tens"].items() for word in words}
        self.hundred = frozenset(numbers["magnitudes"]["100"])
        self._point = point
        self.words = {*self.units, *self._teens, *self.tens, *self.hundred}

    def read(self, words: Sequence[str]) -> tuple[Decimal, int] | None:
        """Return the number that words begin with, and how many they are."""
        if not words:
            return None
        written = words[0][0].isdecimal()
        whole = (words[0].replace(",", "."), 1) if written else self._whole(words)
        number, length = whole if whole is not None else ("0", 0)
        if words[length : length + 1] and words[length] in self._point:
            digits, count = self._behind_point(words[length + 1 :])
            if not digits or "." in number:
                return None
            return Decimal(f"{number}.{digits}"), length + 1 + count
        if not length or (not written and len(number) > 1 and number[0] == "0"):
            return None
        if tuple(words[length : length + 3]) == _AND_A_HALF and "." not in number:
            return Decimal(f"{number}.5"), length + 3
        return Decimal(number), length

    def is_figure(self, word: str) -> bool:
        """Tell whether a word is a figure, written or said."""
        return word in self.units or word.isdecimal()

    def _behind_point(self, words: Sequence[str]) -> tuple[str, int]:
        """Return the figures behind a point, written or said, and of how many words they are; ""
        where none are.
        """
        if words and words[0].isdecimal():
            return words[0], 1
        digits = self._digits(words)
        return digits, len(digits)

    def _digits(self, words: Sequence[str]) -> str:
        found = itertools.takewhile(lambda word: word in self.units, words)
        return "".join(self.units[word] for word in found)

    def _whole(self, words: Sequence[str]) -> tuple[str, int] | None:
        if len(words) > 1 and words[1] in self.hundred:
            first = "1" if words[0] == "a" else self.units.get(words[0])
            if first is None:
                return None
            skipped = 2 + (len(words) > 2 and words[2] == "and")
            rest = self._below(words[skipped:])
            if rest is None:
                return str(int(first) * 100), 2
            return str(int(first) * 100 + rest[0]), skipped + rest[1]
        if words[0] in self.hundred:
            rest = self._below(words[1:])
            return str(100 + (rest[0] if rest else 0)), 1 + (rest[1] if rest else 0)
        digits = self._digits(words)
        if len(digits) > 1:
            return digits, len(digits)
        below = self._below(words)
        if below is None:
            return None
        rest = self._below(words[1:]) if words[0] in self.units and words[0] != "0" else None
        if rest is not None and rest[0] >= 10:  # one fifteen, for a hundred and fifteen
            return str(below[0] * 100 + rest[0]), 1 + rest[1]
        return str(below[0]), below[1]

    def _below(self, words: Sequence[str]) -> tuple[int, int] | None:
        """Return the number below a hundred that words begin with."""
        if not words:
            return None
        word = words[0]
        if word in self._teens:
            return self._teens[word], 1
        if word in self.tens:
            unit = self.units.get(words[1]) if len(words) > 1 else None
            if unit is not None and unit != "0":
                return self.tens[word] + int(unit), 2
            if len(words) > 1 and words[1] in self._alike:
                return None  # forty to: may be forty two
            return self.tens[word], 1
        return (int(self.units[word]), 1) if word in self.units else None


def _signed(one: FieldBase) -> bool:
    steps = one.progression
    return steps is not None and steps.first < 0
