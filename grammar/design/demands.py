"""What a team may demand of its code: of the codewords of a field, of the report, for its dash and
its people, and what mistakes and looks cost. Every key is optional.

Each demand is kept by every proposal, is a limit that a proposal is told to break, or changes what
a proposal is told to cost.
"""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from pydantic import Field

from grammar.dash import DashSpec
from grammar.errors import EncodeError, Problem
from grammar.fields import FieldBase
from grammar.hearing import Name
from grammar.inspection import Strict

if TYPE_CHECKING:
    from grammar.book import Book


class CodewordsSpec(Strict):
    """``[codewords.*]``: what is asked of the codewords of one field, which then has a table of its
    own.
    """

    symbols: str = Field(
        "", max_length=90, description="The symbols that may be used, in order; the default is all."
    )
    without: str = Field("", max_length=90, description="Symbols that are never used for it.")
    fixed: dict[str, str] = Field(
        default_factory=dict,
        description="Codewords of the team's own for some values: value = codeword.",
    )
    kept: bool = Field(
        False, description="Whether its table stays as it is in the `book` the needs name."
    )
    in_order: bool = Field(
        False,
        description=(
            "Whether codewords rise as the values do, in every proposal; else the designer is free."
        ),
    )


class WholeReportSpec(Strict):
    """``[report]``: what is asked of the report as a whole."""

    symbols: int | None = Field(None, ge=1, le=200, description="How many symbols it may have.")
    words: int | None = Field(None, ge=1, le=400, description="How many words it may have.")
    groups: int | None = Field(
        None,
        ge=1,
        le=40,
        description=(
            "It is shown and said in groups of at most so many symbols; no codeword is cut."
        ),
    )
    pause: float = Field(
        0.2,
        ge=0,
        le=5,
        description="Seconds of a pause between groups. Common practice, no source.",
    )
    first: list[Name] = Field(
        [],
        max_length=1000,
        description=(
            "The fields of the first glance, which are said first; all others are in the second."
        ),
    )
    alone: list[Name] = Field(
        [], max_length=1000, description="Fields that are never joined with another in a codeword."
    )


class PeopleSpec(Strict):
    """``[people]``: who reads and hears the code."""

    decode: Literal["by heart", "by card", "by tool"] | None = Field(
        None, description="How the pit wall turns codewords into values; the default is either way."
    )
    pairs: int = Field(
        40,
        ge=1,
        le=100_000,
        description=(
            "How many pairs of value and codeword are learnt by heart at most. Common practice, no"
            " source."
        ),
    )
    avoid: str = Field(
        "", max_length=90, description="Symbols that a person can't say or hear well: never used."
    )


class PricesSpec(Strict):
    """``[prices]``: what mistakes, questions and looks cost, all in seconds of radio."""

    wrong: dict[Name, float] = Field(
        default_factory=dict,
        description=(
            "What a value is worth that is as wrong as it gets, by field; the default is `wrong` of"
            " [hearing]."
        ),
    )
    far: dict[Name, float] = Field(
        default_factory=dict,
        description=(
            "How far off a value is as wrong as it gets, by field, in its unit; less costs less in"
            " proportion."
        ),
    )
    repeat: float = Field(
        0, ge=0, le=3600, description="What a question costs besides the time it takes."
    )
    looking: float = Field(
        0, ge=0, le=3600, description="What a second costs in which the driver looks down."
    )
    glance: float = Field(
        0.4,
        ge=0,
        le=10,
        description="Seconds that eyes take to the dash and back. Common practice, no source.",
    )
    symbol: float = Field(
        0.15,
        ge=0,
        le=10,
        description="Seconds to read a symbol off the dash. Common practice, no source.",
    )
    speed: float = Field(
        200,
        gt=0,
        le=500,
        description=(
            "km/h at which the metres driven while looking down are told. Common practice, no"
            " source."
        ),
    )

    @property
    def given(self) -> bool:
        """Tell whether any price is stated."""
        return bool(self.wrong or self.far or self.repeat or self.looking)

    def looked(self, glances: int, symbols: float) -> float:
        """Return the seconds that a driver looks down for a report."""
        return glances * self.glance + symbols * self.symbol

    def metres(self, seconds: float) -> float:
        """Return the metres driven in such a time."""
        return seconds * self.speed / 3.6


class DemandsSpec(Strict):
    """What a team demands: sections of a needs file, each of which may be left out."""

    codewords: dict[Name, CodewordsSpec] = Field(
        default_factory=dict, description="What is asked of the codewords of a field, by its name."
    )
    report: WholeReportSpec = Field(
        default_factory=WholeReportSpec, description="What is asked of the report as a whole."
    )
    dash: DashSpec = Field(
        default_factory=DashSpec, description="What the driver reads the report from."
    )
    people: PeopleSpec = Field(
        default_factory=PeopleSpec, description="Who reads and hears the code."
    )
    prices: PricesSpec = Field(
        default_factory=PricesSpec, description="What mistakes, questions and looks cost."
    )


@dataclass(frozen=True, slots=True)
class Demands:
    """Demands, checked against what they are made of: the tables that are ``kept``, by their field,
    as they stand in TOML, and the ``symbols`` of these; the symbols that are ``out`` of use, with
    why; where the look-alikes of the dash come from, "" where it has none; and the ``colours`` that
    fields are shown in, by their names.
    """

    spec: DemandsSpec = dataclasses.field(default_factory=DemandsSpec)
    kept: Mapping[str, dict[str, Any]] = dataclasses.field(default_factory=dict)
    symbols: str = ""
    out: Mapping[str, str] = dataclasses.field(default_factory=dict)
    look_alikes: str = ""
    colours: Mapping[str, str] = dataclasses.field(default_factory=dict)

    @property
    def required(self) -> str:
        """The symbols that must stay in use whatever they are taken for."""
        asked = [self.symbols]
        for one in self.spec.codewords.values():
            asked += [one.symbols, *one.fixed.values()]
        return "".join(dict.fromkeys("".join(asked)))

    @property
    def alone(self) -> frozenset[str]:
        """The fields that have a table of their own."""
        return frozenset(self.spec.codewords) | frozenset(self.spec.report.alone)

    def together(self, names: Iterable[str]) -> bool:
        """Tell whether fields may be joined in one table."""
        several, first = set(names), set(self.spec.report.first)
        return len(several) == 1 or (
            not several & self.alone
            and (several <= first or not several & first)
            and len({self.colours.get(name) for name in several}) == 1
        )

    def told(self) -> list[str]:
        """Return the demands in words, each in a line."""
        return list(_told(self))


def look_alikes_of(dash: DashSpec) -> str:
    """Return where the look-alikes of a dash come from, "" where it has none."""
    if dash.look_alikes:
        return dash.source
    return "" if dash.display == "any" else f"computed from what {dash.display} light, not measured"


def _told(demands: Demands) -> Iterator[str]:
    spec = demands.spec
    for name, one in spec.codewords.items():
        asked = [
            *(["its table is kept as it was"] if one.kept else []),
            *([f"of the symbols {one.symbols} alone"] if one.symbols else []),
            *([f"without {one.without}"] if one.without else []),
            *(f"{value} is {word}" for value, word in one.fixed.items()),
            *(["codewords in the order of the values"] if one.in_order else []),
        ]
        yield f"{name}: {', '.join(asked) or 'a table of its own'}."
    report = spec.report
    if report.groups is not None:
        yield (
            f"Said and shown in groups of at most {report.groups} symbols, {report.pause:g} s"
            " between them, counted here; niner book check counts words alone."
        )
    if report.first:
        yield f"First glance: {', '.join(report.first)}."
    if report.alone:
        yield f"Never joined with another field: {', '.join(report.alone)}."
    if spec.dash.display != "any":
        yield f"The dash: {spec.dash.display}."
    for colour in spec.dash.colours:
        named = [name for name, one in demands.colours.items() if one == colour]
        if named:
            yield f"Shown in {colour}: {', '.join(named)}."
    for symbol, why in demands.out.items():
        yield f"Not used: {symbol}, {why}."
    if demands.look_alikes:
        yield f"Look-alikes: {demands.look_alikes}."
    prices = spec.prices
    if prices.given:
        told = [
            *(f"a wrong {name} {price:g} s" for name, price in prices.wrong.items()),
            *(f"as wrong as it gets {far:g} off in {name}" for name, far in prices.far.items()),
            *([f"a question {prices.repeat:g} s"] if prices.repeat else []),
            *([f"a second of looking down {prices.looking:g} s"] if prices.looking else []),
        ]
        yield f"Prices in seconds of radio: {'; '.join(told)}."


def contradictions(
    spec: DemandsSpec,
    fields: Mapping[str, FieldBase],
    book: Book | None,
    symbols: str,
    out: Mapping[str, str],
) -> Iterator[Problem]:
    """Yield the demands that can't be met together, and those of what is not there; ``symbols`` are
    those left in use, ``out`` those that demands took out of use.
    """
    if len(symbols) < 2:
        keys = ("dash",) if spec.dash.display != "any" or spec.dash.characters else ("people",)
        yield Problem(
            keys, f"{len(symbols)} symbols are left in use", "avoid fewer, or another display"
        )
        return
    yield from _of_names(spec, fields)
    known = {one.declared_as for one in fields.values()} | (book.declared.keys() if book else set())
    for name in spec.dash.lit:
        if name not in known:
            hint = f"said are: {', '.join(fields)}"
            message = f"{name!r} is not said"
            yield Problem(("dash", "lit", name), message, hint, rests_on=[("fields", name)])
    for name, one in spec.codewords.items():
        if name in fields:
            for problem in _of_codewords(one, fields[name], book, symbols, out, spec.report.groups):
                yield problem.below("codewords", name)
    if spec.report.first and set(spec.report.first) >= fields.keys():
        yield Problem(
            ("report", "first"),
            "nothing is left for the second glance",
            "name fewer fields, or leave it out",
        )
    yield from _of_size(spec, fields, symbols)
    yield from _of_prices(spec.prices, fields)


def _of_names(spec: DemandsSpec, fields: Mapping[str, FieldBase]) -> Iterator[Problem]:
    """Yield fields that are named and not said."""
    named = (
        (("report", "first"), spec.report.first),
        (("report", "alone"), spec.report.alone),
        (("prices", "wrong"), spec.prices.wrong),
        (("prices", "far"), spec.prices.far),
        (("codewords",), spec.codewords),
    )
    for keys, names in named:
        for place, name in enumerate(names):
            if name not in fields:
                key = name if isinstance(names, Mapping) else place
                hint = f"said are: {', '.join(fields)}"
                yield Problem(
                    (*keys, key), f"{name!r} is not said", hint, rests_on=[("fields", name)]
                )


def _of_prices(prices: PricesSpec, fields: Mapping[str, FieldBase]) -> Iterator[Problem]:
    for name, price in prices.wrong.items():
        if not 0 <= price <= 1e6:
            yield Problem(
                ("prices", "wrong", name), f"a price of {price:g}", "0 to 1000000 seconds"
            )
    for name, far in prices.far.items():
        if name in fields and fields[name].progression is None:
            yield Problem(
                ("prices", "far", name),
                f"{name} has no values in even steps",
                "give `wrong` for it alone",
            )
        elif not far > 0:
            yield Problem(("prices", "far", name), f"{far:g} off", "a number above 0")


def _of_codewords(
    one: CodewordsSpec,
    field: FieldBase,
    book: Book | None,
    symbols: str,
    out: Mapping[str, str],
    group: int | None,
) -> Iterator[Problem]:
    if one.kept:
        others = [key for key in ("symbols", "without", "fixed", "in_order") if getattr(one, key)]
        if others:
            yield Problem(
                (others[0],),
                "a table that is kept can't be asked to be otherwise",
                "remove this, or `kept`",
            )
        yield from _of_kept(field, book, symbols, out, group)
        return
    for key, text in (("symbols", one.symbols), ("without", one.without)):
        for symbol in text:
            if symbol not in symbols:
                yield _foreign((key,), symbol, symbols, out)
    words: dict[str, str] = {}
    yield from _of_fixed(one, field, symbols, out, group, words)
    yield from _of_room(one, field, symbols, words)


def _of_fixed(
    one: CodewordsSpec,
    field: FieldBase,
    symbols: str,
    out: Mapping[str, str],
    group: int | None,
    words: dict[str, str],
) -> Iterator[Problem]:
    """Yield what is wrong with codewords of the team's own; those that are of a value are put into
    ``words``.
    """
    for value, word in one.fixed.items():
        keys = ("fixed", value)
        try:
            level = field.level(field.given(value)).level
        except EncodeError as error:
            hint = error.hint or f"values are {field.domain}"
            yield Problem(keys, error.message, hint)
            continue
        told = field.text(level)
        if told in words:
            yield Problem(keys, f"{told} has a codeword already", f"it is {words[told]}")
        words[told] = word
        strange = [symbol for symbol in word if symbol not in symbols]
        barred = [
            symbol
            for symbol in word
            if symbol in one.without or (one.symbols and symbol not in one.symbols)
        ]
        if not word:
            yield Problem(keys, "an empty codeword", "give one symbol or more")
        elif strange:
            yield _foreign(keys, strange[0], symbols, out)
        elif barred:
            yield Problem(
                keys,
                f"{word} has {barred[0]}, which the field may not use",
                "another codeword, or allow the symbol",
            )
        elif group is not None and len(word) > group:
            yield Problem(
                keys, f"{word} does not fit in a group of {group} symbols", "a shorter codeword"
            )
    for value, other in begins_other(words):
        yield Problem(
            ("fixed",),
            f"{words[value]} for {value} begins with {words[other]} for {other}, so that one can't"
            " be told from the other",
            "codewords of which none begins another",
        )
    if one.fixed and one.in_order:
        yield Problem(
            ("in_order",),
            "codewords can't be fixed and in order",
            "remove this, or `fixed`; `kept` keeps a whole table",
        )


def _of_room(
    one: CodewordsSpec, field: FieldBase, symbols: str, words: Mapping[str, str]
) -> Iterator[Problem]:
    """Yield that the symbols left say too few values."""
    begun = {word[:1] for word in words.values()}
    usable = [symbol for symbol in one.symbols or symbols if symbol not in one.without]
    free = [symbol for symbol in usable if symbol not in begun]
    rest = field.size - len(words)
    if rest > len(free) and len(free) < 2:
        key = "symbols" if one.symbols else "without" if one.without else "fixed"
        told = "no symbol" if not free else "one symbol"
        yield Problem(
            (key,),
            f"{told} is left for {rest} other values",
            "two symbols that begin no fixed codeword say any number of values",
        )


def _foreign(keys: tuple[str, ...], symbol: str, symbols: str, out: Mapping[str, str]) -> Problem:
    why = f": {out[symbol]}" if symbol in out else ""
    return Problem(
        keys,
        f"{symbol!r} is no symbol in use{why}",
        f"in use: {symbols}",
        rests_on=[("alphabet",)],
    )


def kept_table(book: Book, field: FieldBase) -> str | None:
    """Return the name of the table that says this field alone, None where there is none."""
    return next(
        (
            name
            for name, table in book.tables.items()
            if [one.name for one in table.fields] == [field.name]
        ),
        None,
    )


def _of_kept(
    field: FieldBase, book: Book | None, symbols: str, out: Mapping[str, str], group: int | None
) -> Iterator[Problem]:
    name = None if book is None else kept_table(book, field)
    if book is None:
        yield Problem(("kept",), "no book is named to keep it from", "name one with `book`")
    elif name is None:
        yield Problem(
            ("kept",),
            f"the book has no table of {field.name} alone",
            f"its tables are: {', '.join(book.tables)}",
        )
    else:
        table = book.tables[name]
        before = table.fields[0]
        foreign = [s for s in table.alphabet.unmask(table.symbols) if s not in symbols]
        if before.domain != field.domain:
            yield Problem(
                ("kept",),
                f"its values are not what they were: {before.domain}",
                f"they are {field.domain}; leave `kept` out, or the field as it was",
            )
        elif table.partial:
            yield Problem(("kept",), f"table {name} does not say every value", "leave `kept` out")
        elif foreign:
            yield _foreign(("kept",), foreign[0], symbols, out)
        elif group is not None and table.lengths[1] > group:
            yield Problem(
                ("kept",),
                f"its codewords have up to {table.lengths[1]} symbols, a group has {group}",
                f"groups = {table.lengths[1]} in [report]",
            )


def _of_size(spec: DemandsSpec, fields: Mapping[str, FieldBase], symbols: str) -> Iterator[Problem]:
    """Yield limits that no code at all can keep: there are fewer strings than reports."""
    reports = math.prod(field.size for field in fields.values())
    least, room = 0, 0
    while room < reports:
        least += 1
        room += len(symbols) ** least
    one_glance = None if spec.report.first else spec.dash.places
    for keys, most in (
        (("report", "symbols"), spec.report.symbols),
        (("report", "words"), spec.report.words),
        (("dash", "places"), one_glance),
    ):
        if most is not None and most < least:
            can = sum(len(symbols) ** length for length in range(1, most + 1))
            hint = f"{keys[1]} = {least} or more, fewer fields, or coarser steps"
            if keys[0] == "dash":
                hint += ", or two glances with `first` of [report]"
            yield Problem(
                keys,
                f"at most {most} of {len(symbols)} symbols say {can:,} things, the fields have"
                f" {reports:,} reports",
                hint,
            )


def cut(lengths: Mapping[str, int], most: int) -> list[list[str]] | None:
    """Return tables in groups of at most so many symbols, in their order; None where a codeword of
    one has more.
    """
    groups: list[list[str]] = []
    room = 0
    for name, length in lengths.items():
        if length > most:
            return None
        if length > room:
            groups.append([])
            room = most
        groups[-1].append(name)
        room -= length
    return groups


def begins_other(words: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    """Yield (value, other value) of codewords that are alike, or of which one begins the other."""
    pairs = sorted((word, value) for value, word in words.items())
    for (word, value), (after, other) in itertools.pairwise(pairs):
        if after.startswith(word):
            yield other, value
