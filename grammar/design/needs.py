"""What a code is needed for: a TOML file, or an existing book and one of its messages.

A needs file has a book's ``[fields.*]``, ``[alphabet]``, ``[speech]`` and ``[hearing]``, or names
the book they are taken from; besides, what is known of the values, of the times of words, and what
a code may cost. ``NeedsSpec`` is the format.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from pydantic import Field, ValidationError

from grammar.book import Book
from grammar.design.carry_over import rest_of
from grammar.design.noise import Noise, noise_of
from grammar.document import document, read
from grammar.errors import CodeError, EncodeError
from grammar.exact import ExactDecimal
from grammar.fields import ENUMERABLE, FieldBase
from grammar.fields.base import Strict, Weights, surprised
from grammar.loading import Collector, load_book, weigh
from grammar.models import Fields, HearingSpec, Name, SpeechSpec
from grammar.pydantic_faults import told
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


class NeedsSpec(Strict):
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
        default_factory=dict, description="Measured milliseconds of a symbol's word."
    )
    limits: LimitsSpec = Field(default_factory=LimitsSpec, description="What a code may cost.")


@dataclass(frozen=True, slots=True)
class Needs:
    """Needs, checked: ``fields`` in the order they are said, and the parts of a book that go on
    unchanged.

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
    parts: dict[str, Any]  # [speech], [hearing], [fields] and [alphabet] as they stand in TOML
    noise: Noise = field(repr=False)
    learned: int = 0
    rest: dict[str, Any] | None = field(
        default=None, repr=False
    )  # what the book says besides; see ``keep``
    shares: dict[str, list[float]] = field(init=False, repr=False)

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

    def with_reports(self, reports: Sequence[Mapping[str, Any]]) -> Needs:
        """Return the needs with distributions learned from past reports (field → value, as a sheet
        has them), smoothed by what was known.

        Fields a report does not have are passed over. Raises CodeError where a value is none of its
        field's.
        """
        counts = {name: [0.0] * one.size for name, one in self.fields.items()}
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
            for name, raw in self.parts["fields"].items()
        }
        return replace(
            self, expected=learned, learned=len(reports), parts={**self.parts, "fields": fields}
        )


def load_needs(path: str | Path) -> Needs:
    """Return the needs in a file; raises BookError with every problem and its place."""
    return parse_needs(read(Path(path), "needs"), str(path))


def parse_needs(text: str, name: str = "needs") -> Needs:
    """Return the needs in a TOML text; raises BookError like ``load_needs``."""
    raw = document(text, name)
    problems = Collector(text, name)
    try:
        spec = NeedsSpec.model_validate(raw)
    except ValidationError as error:
        for fault in error.errors(include_url=False):
            problems.add(*told(fault, raw, lambda _: list(NeedsSpec.model_fields)))
        raise problems.error() from None
    base = load_book(Path(name).parent / spec.book) if spec.book else None
    taken = document(base.source, base.name) if base is not None else {}
    fields: dict[str, FieldBase] = {**(base.fields if base is not None else {}), **spec.fields}
    say = spec.say or _said(spec, base, fields, problems)
    for place, one in enumerate(say):
        if one not in fields:
            known = ", ".join(fields) or "none"
            problems.add(("say", place), f"there is no field {one!r}", f"the fields are: {known}")
        elif say.count(one) > 1 and say.index(one) == place:
            problems.add(("say", place), f"{one!r} stands twice", "say it once")
        elif fields[one].size > MOST_FIELD:
            problems.add(
                ("fields", one),
                f"{fields[one].size} levels are too many to design for",
                f"at most {MOST_FIELD}: a coarser step",
            )
    if problems.found or not say:
        raise problems.error()
    parts = {part: raw.get(part, taken.get(part, {})) for part in ("alphabet", "speech", "hearing")}
    parts["fields"] = {one: raw.get("fields", {}).get(one) or taken["fields"][one] for one in say}
    parts["alphabet"] = _timed(spec, base, parts["alphabet"], problems)
    chosen = {one: fields[one] for one in say}
    weigh(chosen, problems)
    if problems.found:
        raise problems.error()
    for one in (
        spec.values.keys() & chosen.keys()
    ):  # they go into the book, so that it expects what it was designed for
        parts["fields"][one] = {**parts["fields"][one], "often": raw["values"][one]}
    hearing = spec.hearing or (base.spec.hearing if base is not None else HearingSpec())
    expected = {one: _shares(one, chosen[one], spec.values.get(one), problems) for one in say}
    for one in spec.values.keys() - chosen.keys():
        problems.add(("values", one), f"{one!r} is not said", f"said are: {', '.join(say)}")
    if problems.found:
        raise problems.error()
    alphabet = Alphabet(AlphabetSpec.model_validate(parts["alphabet"]))
    title = spec.title or (base.title if base is not None else "") or Path(name).stem
    noise = noise_of(alphabet, hearing)
    rest = (
        rest_of(taken, base, spec.message)
        if base is not None and spec.message in base.messages
        else None
    )
    return Needs(
        Path(name).stem,
        title,
        spec.message,
        chosen,
        expected,
        alphabet,
        hearing,
        spec.limits,
        parts,
        noise,
        rest=rest,
    )


def needs_of(book: Book, message: str) -> Needs:
    """Return the needs that one message of a book meets, so that it can be designed anew; raises
    CodeError for no such message.
    """
    if message not in book.messages:
        raise CodeError(
            f"there is no message {message!r}", kind="unknown-message", expected=list(book.messages)
        )
    raw = document(book.source, book.name)
    fields = dict(book.messages[message].fields)
    if not fields:
        raise CodeError(
            f"message {message!r} says no field",
            kind="needs",
            hint="name a message that reports something",
        )
    problems = Collector(book.source, book.name)
    for name, one in fields.items():
        if one.size > MOST_FIELD:
            problems.add(
                ("fields", name),
                f"{one.size} levels are too many to design for",
                f"at most {MOST_FIELD}: a coarser step",
            )
    if problems.found:
        raise problems.error()
    parts = {part: raw.get(part, {}) for part in ("alphabet", "speech", "hearing")} | {
        "fields": {name: raw["fields"][name] for name in fields}
    }
    expected = {name: one.shares() for name, one in fields.items()}
    noise = noise_of(book.alphabet, book.spec.hearing)
    return Needs(
        book.name,
        book.title,
        message,
        fields,
        expected,
        book.alphabet,
        book.spec.hearing,
        LimitsSpec(),
        parts,
        noise,
        rest=rest_of(raw, book, message),
    )


def _said(
    spec: NeedsSpec, base: Book | None, fields: Mapping[str, FieldBase], problems: Collector
) -> list[str]:
    if base is not None and spec.message in base.messages:
        return list(base.messages[spec.message].fields)
    if base is not None and not spec.fields:
        problems.add(
            ("message",),
            f"the book has no message {spec.message!r}",
            f"its messages are: {', '.join(base.messages)}",
        )
        return []
    if not fields:
        problems.add(("fields",), "nothing is to be said", "give [fields.*], or `book`")
    return list(spec.fields or fields)


def _timed(
    spec: NeedsSpec, base: Book | None, raw: Mapping[str, Any], problems: Collector
) -> dict[str, Any]:
    """Return ``[alphabet]`` with measured times as words of the team's own."""
    model = spec.alphabet or (base.spec.alphabet if base is not None else AlphabetSpec())
    used = [symbol for symbol in model.symbols if symbol not in model.retired]
    words = dict(raw.get("words", {}))
    entries = {entry.symbol: entry for entry in model.entries("".join(used))}
    for symbol, milliseconds in spec.times.items():
        if symbol not in entries:
            problems.add(
                ("times", symbol), f"{symbol!r} is no symbol in use", f"in use: {''.join(used)}"
            )
        elif not 50 <= milliseconds <= 5000:
            problems.add(
                ("times", symbol), f"{milliseconds} ms for one word", "50 to 5000 milliseconds"
            )
        else:
            own = words.get(symbol)
            known = (
                dict(own)
                if isinstance(own, Mapping)
                else {"word": entries[symbol].word, "also": list(entries[symbol].also)}
            )
            words[symbol] = known | {"milliseconds": int(milliseconds)}
    return {**raw, **({"words": words} if words else {})}


def _shares(
    name: str,
    one: FieldBase,
    given: Mapping[str, float] | Sequence[float] | None,
    problems: Collector,
) -> list[float]:
    """Return how often each level occurs: as the needs say, else as the field does."""
    flat = [1 / one.size] * one.size
    if given is None:
        return one.shares() if one.size <= ENUMERABLE else flat
    try:
        return one.weighed(given)
    except EncodeError as error:
        foreign = (
            [value for value in given if _foreign(one, value)] if isinstance(given, Mapping) else []
        )
        problems.add(
            ("values", name, *foreign[:1]), error.message, error.hint or f"values are {one.domain}"
        )
        return flat


def _foreign(one: FieldBase, value: object) -> bool:
    try:
        one.level(value)
    except EncodeError:
        return True
    return False
