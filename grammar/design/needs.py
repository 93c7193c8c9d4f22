"""What a code is needed for: a TOML file, or an existing book and one of its messages.

A needs file has a book's ``[fields.*]``, ``[alphabet]``, ``[speech]`` and ``[hearing]``, or names
the book they are taken from; besides, what is known of the values, of the times of words, and what
a code may cost. ``NeedsSpec`` is the format.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from pydantic import Field

from grammar.book import Book
from grammar.dash import DashSpec
from grammar.design.capacity import entropy
from grammar.design.carry_over import rest_of
from grammar.design.demands import (
    Demands,
    DemandsSpec,
    contradictions,
    kept_table,
    look_alikes_of,
)
from grammar.design.noise import Noise, noise_of
from grammar.design.write import book_text
from grammar.display import misreadings, shown
from grammar.errors import BookError, CodeError, EncodeError, Keys, Problem
from grammar.exact import ExactDecimal
from grammar.fields import FieldBase, member_problems, with_members
from grammar.fields.base import Weights, surprised
from grammar.hearing import HearingSpec, Name
from grammar.inspection import Strict
from grammar.loading import load_book
from grammar.models import Fields, SpeechSpec
from grammar.parsing import BOOK, parse_book, weight_problems
from grammar.partial_book import BookFormat
from grammar.profile import Profile, heard_rows, measured_times
from grammar.sound import Confusions
from grammar.symbols import Alphabet, AlphabetSpec

MOST_FIELD = 100_000  # levels of a field that is designed for
_WRITTEN = 2000  # levels of a field up to which what was learned is written into the book
_SMOOTHING = 20.0  # how many observed reports the book's own idea of the values is worth


class LimitsSpec(Strict):
    """``[limits]``: what a code must keep to be proposed as the one to take."""

    seconds: float | None = Field(None, gt=0, description="The longest report, in seconds.")
    wrong: float | None = Field(
        None,
        gt=0,
        lt=1,
        description="The share of reports that may be accepted with a wrong reading.",
    )
    card: bool = Field(
        False, description="Whether people must be able to read it from a card, without the tool."
    )
    rows: int = Field(160, ge=1, le=100_000, description="How many rows a card may have at most.")
    table: int = Field(
        8000, ge=10, le=50_000, description="How many codewords one table may have at most."
    )


class NeedsSpec(DemandsSpec):
    """A needs file."""

    title: str = Field("", max_length=200, description="What the code is called.")
    book: str = Field(
        "",
        description=(
            "A book to take fields, alphabet, speech and hearing from; a path from this file's"
            " folder."
        ),
    )
    message: Name = Field(
        "report", description="The name of the message; with `book`, the message to design anew."
    )
    say: list[Name] | None = Field(
        None,
        min_length=1,
        description="The fields to be said; the default is all, or all of the book's message.",
    )
    alphabet: AlphabetSpec | None = Field(
        None, description="The symbols that may be used and their words."
    )
    speech: SpeechSpec | None = Field(
        None, description="How transcripts are read; goes into the book as it is."
    )
    hearing: HearingSpec | None = Field(
        None, description="Noise, confusions, lost and added words."
    )
    fields: Fields = Field(default_factory=dict, description="What is reported.")
    values: dict[Name, Weights] = Field(
        default_factory=dict,
        description=(
            "How often each value of a field occurs: value = weight, or one weight a level."
        ),
    )
    times: dict[str, ExactDecimal] = Field(
        default_factory=dict, description="Measured milliseconds of a symbol's word, used as given."
    )
    limits: LimitsSpec = Field(default_factory=LimitsSpec, description="What a code may cost.")


@dataclass(frozen=True, slots=True)
class Needs:
    """Needs, checked: ``fields`` in the order they are said, and the sections of a book that
    go on unchanged, as they stand in TOML.

    ``expected`` has the shares of their levels as they usually occur, ``shares`` with the surprises
    of ``[hearing]`` among them.
    """

    name: str
    title: str
    message: str
    fields: dict[str, FieldBase]
    expected: dict[str, list[float]]
    alphabet: Alphabet
    hearing: HearingSpec
    limits: LimitsSpec
    sections: dict[str, Any]  # [speech], [hearing], [fields] and [alphabet] as they stand in TOML
    noise: Noise = dataclasses.field(repr=False)
    clear: Noise = dataclasses.field(repr=False)  # what is heard of words said as they are shown
    misread: float = 0.0  # how often a symbol is read as another, beside what the noise tells
    learned: int = 0
    demands: Demands = dataclasses.field(default_factory=Demands, repr=False)
    rest: dict[str, Any] | None = dataclasses.field(
        default=None, repr=False
    )  # what the book says besides; see ``carry_over``
    now: dict[str, Any] | None = dataclasses.field(
        default=None, repr=False
    )  # the sections of a book that says the same as it is said now
    shares: dict[str, list[float]] = dataclasses.field(init=False, repr=False)

    def __post_init__(self) -> None:
        """Let surprises occur."""
        object.__setattr__(
            self,
            "shares",
            {name: surprised(row, self.hearing.surprise) for name, row in self.expected.items()},
        )

    @property
    def order(self) -> tuple[str, ...]:
        """The fields' names."""
        return tuple(self.fields)

    def harm(self, name: str, said: int, read: int) -> float:
        """Return the harm of reading one level of a field for another, 0 to 1: by how far off it is
        where the prices tell how far is as bad as it gets.
        """
        field, far = self.fields[name], self.demands.spec.prices.far.get(name)
        steps = field.progression
        if far is None or steps is None:
            return field.harm(said, read)
        apart = abs(said - read)
        if field.wraps:
            apart = min(apart, field.size - apart)
        return min(1.0, apart * float(steps.step) / far)

    def price_of(self, name: str) -> float:
        """Return what a value of a field is worth that is as wrong as it gets, in seconds."""
        return self.demands.spec.prices.wrong.get(name, self.hearing.wrong)

    @property
    def priced(self) -> bool:
        """Tell whether wrong readings have prices by field."""
        return bool(self.demands.spec.prices.wrong or self.demands.spec.prices.far)

    def price(self, name: str, said: int | None, read: int | None) -> float:
        """Return what it costs to take one level of a field for another, in seconds; all of the
        price where it was not said, or is not read.
        """
        if name not in self.fields:
            return 0.0
        whole = self.price_of(name)
        return whole if said is None or read is None else whole * self.harm(name, said, read)

    @property
    def flat(self) -> dict[str, tuple[float, float]]:
        """The fields of which nothing tells how often their values occur, so that all are taken as
        equally likely: the bits that each carries so, and the bits it would carry if it were spread
        about a usual value by a tenth of its range, or had one 9 times in 10 where it has no
        range. A remainder runs through its values.
        """
        return {
            name: (math.log2(field.size), entropy(_usually(field)))
            for name, field in self.fields.items()
            if field.size > 1 and not field.wraps and max(self.expected[name]) * field.size < 1.001
        }

    def with_profile(self, profile: Profile) -> Needs:
        """Return the needs with what was drilled: times of words as measured, and what was read and
        heard for what; counts of reading go before look-alikes.
        """
        alphabet = self.alphabet
        symbols = alphabet.symbols
        words = dict(self.sections["alphabet"].get("words", {}))
        for symbol, time in measured_times(profile, alphabet).items():
            entry = alphabet.words[symbol]
            own = words.get(symbol)
            known = dict(own) if isinstance(own, Mapping) else {
                "word": entry.word, "also": list(entry.also),
            }  # fmt: skip
            words[symbol] = known | {"milliseconds": min(5000, max(50, round(1000 * time.seconds)))}
        made = {**self.sections["alphabet"], **({"words": words} if words else {})}
        timed = Alphabet(AlphabetSpec.read(made))
        read = _read_as(self.demands.spec.dash, symbols, self.misread)
        rows = heard_rows(profile, alphabet, self.clear.confusions, self.hearing.strength, read)
        stated = self.demands.look_alikes
        told = f"{stated}, then drilled" if stated else ""
        return self._heard_as(timed, made, rows, told)

    def _read_off_its_dash(self) -> Needs:
        """Return the needs with what looks alike on the dash, as far as anything is known of it."""
        alphabet = self.alphabet
        read = _read_as(self.demands.spec.dash, alphabet.symbols, self.misread)
        if read is None:
            return self
        rows = heard_rows(Profile(), alphabet, self.noise.confusions, self.hearing.strength, read)
        told = self.demands.look_alikes
        return self._heard_as(alphabet, self.sections["alphabet"], rows, told)

    def _heard_as(
        self, alphabet: Alphabet, section: Mapping[str, Any], rows: Confusions[str], told: str
    ) -> Needs:
        """Return the needs with P(heard | shown) in the place of what is heard and misread."""
        base = self.clear.confusions
        section_of = self.sections["hearing"]
        raw = {**section_of, "misread": 0.0, "confusions": _unlike(rows, base)}
        raw.pop("counts", None)  # they are in these rows
        hearing = HearingSpec.read(raw)
        sections = {**self.sections, "alphabet": dict(section), "hearing": raw}
        return replace(
            self,
            alphabet=alphabet,
            hearing=hearing,
            sections=sections,
            noise=noise_of(alphabet, hearing),
            demands=replace(self.demands, look_alikes=told),
            now=None if self.now is None else {
                **self.now, "alphabet": section, "hearing": {
                    key: value for key, value in raw.items() if key != "messages"
                },
            },
        )  # fmt: skip

    def with_reports(self, reports: Sequence[Mapping[str, Any]]) -> Needs:
        """Return the needs with distributions learned from past reports (field → value, as a sheet
        has them), smoothed by what was known.

        Fields a report does not have are passed over. Raises CodeError where a value is none of its
        field's.
        """
        counts = {name: [0.0] * field.size for name, field in self.fields.items()}
        for number, report in enumerate(reports, start=1):
            for name, value in report.items():
                if name not in counts or value is None or value == "":
                    continue
                try:
                    counts[name][self.fields[name].level(value).level] += 1
                except EncodeError as error:
                    raise CodeError(
                        f"report {number}: {error.message}",
                        kind="sheet",
                        expected=error.expected,
                        hint=error.hint,
                    ) from None
        learned = {
            name: [
                (n + _SMOOTHING * share) / (sum(row) + _SMOOTHING)
                for n, share in zip(row, self.expected[name], strict=True)
            ]
            for name, row in counts.items()
        }
        often = {
            name: [float(f"{share:.4g}") for share in row]
            for name, row in learned.items()
            if len(row) <= _WRITTEN
        }
        fields = {
            name: {**raw, **({"often": often[name]} if name in often else {})}
            for name, raw in self.sections["fields"].items()
        }
        return replace(
            self,
            expected=learned,
            learned=len(reports),
            sections={**self.sections, "fields": fields},
            now=None if self.now is None else {**self.now, "fields": fields},
        )


NEEDS = BookFormat("a needs file", NeedsSpec, BookError, "book")


def load_needs(path: str | Path) -> Needs:
    """Return the needs in a file; raises BookError with every problem and its place."""
    return parse_needs(NEEDS.read(path), str(path))


def parse_needs(text: str, name: str = "needs") -> Needs:
    """Return the needs in a TOML text; raises BookError like ``load_needs``."""
    inspection = NEEDS.inspect(text, name)
    spec = inspection.model()
    book = None
    if spec.book:
        try:
            book = load_book(Path(name).parent / spec.book)
        except BookError:
            inspection.settle()  # this file's own problems come first
            raise
    given = _Given(spec, book)
    spec = given.spec
    inspection.note(*given.problems())
    inspection.settle()
    sections = given.sections(inspection.raw)
    alphabet = Alphabet(AlphabetSpec.read(sections["alphabet"]))
    stem = Path(name).stem
    decode = spec.people.decode
    card = spec.limits.card or decode in ("by heart", "by card")
    noise = noise_of(alphabet, given.hearing)
    needs = Needs(
        stem,
        spec.title or (book.title if book is not None else "") or stem,
        spec.message,
        given.fields,
        given.shares(),
        alphabet,
        given.hearing,
        spec.limits.model_copy(update={"card": card}),
        sections,
        noise,
        noise,
        given.hearing.misread,
        demands=given.demands(),
        rest=(
            rest_of(given.taken, book, spec.message)
            if book is not None and spec.message in book.messages
            else None
        ),
        now=None if book is None else _now(book, given.taken, spec.message, sections),
    )
    return needs._read_off_its_dash()


def _usually(field: FieldBase) -> list[float]:
    """Return shares of levels as a field might have them, of which nothing is stated."""
    if field.progression is None:
        return [0.9, *[0.1 / (field.size - 1)] * (field.size - 1)]
    centre, spread = (field.size - 1) / 2, max(0.5, field.size / 10)
    row = [math.exp(-(((level - centre) / spread) ** 2) / 2) for level in range(field.size)]
    return [share / math.fsum(row) for share in row]


def _read_as(dash: DashSpec, symbols: str, misread: float) -> Confusions[str] | None:
    """Return P(read | shown) of a dash: as stated, else computed from what its display lights; None
    where neither is known.
    """
    if dash.look_alikes:
        found = {}
        for one in symbols:
            row = {
                other: share
                for other, share in dash.look_alikes.get(one, {}).items()
                if other in symbols and other != one
            }
            found[one] = {other: row.get(other, 0.0) for other in symbols}
            found[one][one] = 1 - math.fsum(row.values())
        return found
    return None if dash.display == "any" else misreadings(dash.display, symbols, misread)


def _unlike(rows: Confusions[str], base: Confusions[str]) -> dict[str, dict[str, float]]:
    """Return what rows say otherwise than those they are held against, where it is enough to count;
    what is not told shares the rest.
    """
    found = {}
    for said, row in rows.items():
        told = {
            heard: math.floor(share * 1e7) / 1e7
            for heard, share in row.items()
            if heard == said or abs(share - base[said][heard]) > max(1e-4, 0.1 * base[said][heard])
        }
        if len(told) > 1:
            found[said] = told
    return found


def _now(
    book: Book, raw: Mapping[str, Any], message: str, sections: Mapping[str, Any]
) -> dict[str, Any] | None:
    """Return the sections of a book that has only this message, with values, times of words and
    noise as needs state them; None where the book does not say just these fields, or can't be heard
    so.
    """
    if message not in book.messages:
        return None
    said = book.messages[message]
    if {one.declared_as for one in said.fields.values()} != sections["fields"].keys():
        return None
    names = dict.fromkeys(table.name for table in said.tables if table.name in raw["tables"])
    hearing = {key: value for key, value in sections["hearing"].items() if key != "messages"}
    now = {
        "title": book.title,
        "alphabet": sections["alphabet"],
        "speech": sections["speech"],
        "hearing": hearing,
        "fields": sections["fields"],
        "tables": {name: raw["tables"][name] for name in names},
        "messages": {message: raw["messages"][message]},
    }
    try:
        parse_book(book_text(now, [], {}), book.name)
    except BookError:
        return None
    return now


def needs_of(book: Book, message: str) -> Needs:
    """Return the needs that one message of a book meets, so that it can be designed anew; raises
    CodeError for no such message.
    """
    if message not in book.messages:
        raise CodeError(
            f"there is no message {message!r}", kind="unknown-message", expected=list(book.messages)
        )
    inspection = BOOK.inspect(book.source, book.name)
    raw = inspection.raw
    fields = dict(book.messages[message].fields)
    if not fields:
        raise CodeError(
            f"message {message!r} says no field",
            kind="needs",
            hint="name a message that reports something",
        )
    inspection.note(
        *(
            _too_large(("fields", field.declared_as), field)
            for field in fields.values()
            if field.size > MOST_FIELD
        ),
        *_said_again(("messages", message, "layout"), book, fields),
    )
    inspection.settle()
    taken = ("alphabet", "speech", "hearing", "dash")
    sections = {part: raw.get(part, {}) for part in taken} | {
        "fields": {one.declared_as: raw["fields"][one.declared_as] for one in fields.values()}
    }
    return Needs(
        book.name,
        book.title,
        message,
        fields,
        {name: field.shares() for name, field in fields.items()},
        book.alphabet,
        book.hearing,
        LimitsSpec(),
        sections,
        noise_of(book.alphabet, book.hearing),
        noise_of(book.alphabet, book.hearing),
        book.hearing.misread,
        demands=Demands(
            DemandsSpec().model_copy(update={"dash": book.dash}),
            look_alikes=look_alikes_of(book.dash),
            colours=book.dash.names(fields.values()),
        ),
        rest=rest_of(raw, book, message),
        now=_now(book, raw, message, sections),
    )._read_off_its_dash()


class _Given:
    """What a needs file gives, with the book that it names: the fields to be said by name, and the
    sections of the book to come as they stand in TOML.
    """

    def __init__(self, spec: NeedsSpec, book: Book | None) -> None:
        if book is not None and "dash" not in spec.model_fields_set:
            spec = spec.model_copy(update={"dash": book.dash})
        self.spec, self.book = spec, book
        self.taken = {} if book is None else BOOK.inspect(book.source, book.name).raw
        declared = {**({} if book is None else book.declared), **spec.fields}
        known = with_members(declared)
        self.known = {name: one for name, one in known.items() if one.members is None}
        if book is not None:  # of parts said again: known, and refused
            self.known = book.fields | self.known
        said = [
            (place, one)
            for place, name in enumerate(spec.say or self._all())
            for one in ([m.name for m in known[name].family] if name in known else [name])
        ]
        self.say, self._places = [name for _, name in said], [place for place, _ in said]
        self.fields = {name: self.known[name] for name in self.say if name in self.known}
        base = None if book is None else book.spec
        self.hearing = spec.hearing or (HearingSpec() if base is None else base.hearing)
        self._alphabet = spec.alphabet or (AlphabetSpec() if base is None else base.alphabet)
        used = [s for s in self._alphabet.symbols if s not in self._alphabet.retired]
        self._words = {entry.symbol: entry for entry in self._alphabet.entries("".join(used))}
        dash, avoid = spec.dash, spec.people.avoid
        spoken = "".join(symbol for symbol in used if symbol not in avoid)
        self.symbols, why = shown(dash.display, spoken, dash.characters)
        self.out = {one: "people avoid it" for one in used if one in avoid} | why

    def _all(self) -> list[str]:
        """Return what is said where the file doesn't name it: all of the book's message, or all."""
        if self.book is not None and self.spec.message in self.book.messages:
            return list(self.book.messages[self.spec.message].fields)
        return list(self.spec.fields)

    def problems(self) -> Iterator[Problem]:
        """Yield what does not fit together."""
        yield from member_problems(self.spec.fields)
        yield from self._of_fields()
        yield from weight_problems(self.fields)
        for name, weights in self.spec.values.items():
            yield from self._of_values(name, weights)
        yield from self._of_times()
        yield from contradictions(self.spec, self.fields, self.book, self.symbols, self.out)
        if self.spec.limits.card and self.spec.people.decode == "by tool":
            message = "a code that the tool decodes need not be read from a card"
            hint = "remove `decode`, or `card` of [limits]"
            yield Problem(("people", "decode"), message, hint)
        if self.spec.hearing is not None:  # it may be made for more symbols than are in use here
            symbols = dict.fromkeys(
                self._alphabet.symbols + ("" if self.book is None else self.book.alphabet.symbols)
            )
            for problem in self.hearing.table_problems("".join(symbols)):
                yield problem.below("hearing")

    def _of_fields(self) -> Iterator[Problem]:
        if not self.say and self.book is not None:
            yield Problem(
                ("message",),
                f"the book has no message {self.spec.message!r}",
                f"its messages are: {', '.join(self.book.messages)}",
            )
        elif not self.say:
            yield Problem(("fields",), "nothing is to be said", "give [fields.*], or `book`")
        for place, name in enumerate(self.say):
            keys = ("say", self._places[place]) if self.spec.say else ("fields", name)
            if name in self.say[:place]:
                yield Problem(keys, f"{name!r} stands twice", "say it once")
            elif name not in self.known:
                hint = f"the fields are: {', '.join(self.known) or 'none'}"
                message = f"there is no field {name!r}"
                yield Problem(keys, message, hint, rests_on=[("fields", name)])
            elif self.known[name].size > MOST_FIELD:
                declared = self.known[name].declared_as
                keys = ("fields", declared) if declared in self.spec.fields else keys
                yield _too_large(keys, self.known[name])
        if self.book is not None:
            yield from _said_again(("message",), self.book, self.say)

    def _of_values(
        self, name: str, weights: Mapping[str, float] | Sequence[float]
    ) -> Iterator[Problem]:
        keys, field = ("values", name), self.fields.get(name)
        if field is None:
            hint = f"said are: {', '.join(self.say)}"
            yield Problem(keys, f"{name!r} is not said", hint, rests_on=[("fields", name)])
            return
        if field.size > MOST_FIELD:
            return
        if field.declared_as != name:
            hint = f"give it as `often` of [fields.{field.declared_as}]"
            yield Problem(keys, "the members of a family are weighed together", hint)
            return
        foreign = 0
        for value in weights if isinstance(weights, Mapping) else ():
            try:
                field.level(value)
            except EncodeError as error:
                foreign += 1
                hint = error.hint or f"values are {field.domain}"
                yield Problem((*keys, value), error.message, hint)
        if not foreign:
            try:
                field.weighed(weights)
            except EncodeError as error:
                yield Problem(keys, error.message, error.hint or f"values are {field.domain}")

    def _of_times(self) -> Iterator[Problem]:
        for symbol, milliseconds in self.spec.times.items():
            if symbol not in self._words:
                yield Problem(
                    ("times", symbol),
                    f"{symbol!r} is no symbol in use",
                    f"in use: {''.join(self._words)}",
                    rests_on=[("alphabet",)],
                )
            elif not 50 <= milliseconds <= 5000:
                message = f"{milliseconds} ms for one word"
                yield Problem(("times", symbol), message, "50 to 5000 milliseconds")

    def demands(self) -> Demands:
        """Return what is demanded, with the tables that are kept as they stand in TOML."""
        kept, symbols = {}, ""
        for name, one in self.spec.codewords.items():
            if one.kept and self.book is not None:
                table = kept_table(self.book, self.fields[name]) or name
                kept[name] = {**self.taken["tables"][table], "field": name}
                symbols += self.book.alphabet.unmask(self.book.tables[table].symbols)
        told, colours = look_alikes_of(self.spec.dash), self.spec.dash.names(self.fields.values())
        return Demands(self.spec, kept, symbols, self.out, told, colours)

    def shares(self) -> dict[str, list[float]]:
        """Return how often each level of each field occurs: as the file says, else as the field
        does.
        """
        return {
            name: (
                field.weighed(self.spec.values[name])
                if name in self.spec.values
                else field.shares()
            )
            for name, field in self.fields.items()
        }

    def sections(self, raw: Mapping[str, Any]) -> dict[str, Any]:
        """Return the sections of the book to come: its fields with how often their values occur, so
        that it expects what it was designed for, and measured times as words of the team's own.
        """
        made = {
            part: raw.get(part, self.taken.get(part, {}))
            for part in ("alphabet", "speech", "hearing", "dash")
        }
        words = {
            symbol: word
            for symbol, word in made["alphabet"].get("words", {}).items()
            if symbol not in self.out
        }
        if self.out:
            retired = self._alphabet.retired + "".join(self.out)
            made["alphabet"] = {**made["alphabet"], "retired": retired, "words": words}
        for symbol, milliseconds in self.spec.times.items():
            if symbol in self.out:
                continue
            own, entry = words.get(symbol), self._words[symbol]
            known = (
                dict(own)
                if isinstance(own, Mapping)
                else {"word": entry.word, "also": list(entry.also)}
            )
            words[symbol] = known | {"milliseconds": int(milliseconds)}
        if words:
            made["alphabet"] = {**made["alphabet"], "words": words}
        made["fields"] = {
            name: {
                **(raw.get("fields", {}).get(name) or self.taken["fields"][name]),
                **({"often": raw["values"][name]} if name in self.spec.values else {}),
            }
            for name in dict.fromkeys(one.declared_as for one in self.fields.values())
        }
        return made


def _said_again(keys: Keys, book: Book, names: Iterable[str]) -> Iterator[Problem]:
    """Yield the first of the fields that a part said again has: there is no such part in a code
    that is designed.
    """
    numbered = {one: name for name, times in book.lists.items() for one in times}
    for name in names:
        if name in numbered:
            message = f"{numbered[name]} is said again and again, which can't be designed"
            yield Problem(keys, message, "name a message in which every part is said once at most")
            return


def _too_large(keys: Keys, field: FieldBase) -> Problem:
    message = f"{field.size} levels are too many to design for"
    return Problem(keys, message, f"at most {MOST_FIELD}: a coarser step")
