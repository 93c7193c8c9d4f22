"""One line of the journal: a report, a call, an event, a question or its answer, a correction, a
withdrawal.

The class Entry is the one declaration of what a line holds. The journal's table, its rows, what is
rescued of them, CSV, JSON Lines, workbooks and the Table Schema follow from it: a new column is one
line here and one numbered script in codec/sheet/schema.
"""

from __future__ import annotations

import functools
import itertools
import sys
from collections import deque
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import MISSING, dataclass, field, fields
from decimal import Decimal
from types import MappingProxyType
from typing import Annotated, Any, ClassVar, Literal, NamedTuple, Self, get_args, get_type_hints

from codec.sheet.columns import (
    MOST_CHARACTERS,
    Column,
    Number,
    Option,
    Share,
    Text,
    Time,
    Values,
    Whole,
)
from codec.store.store import StoreError
from codec.store.table import of_each
from grammar.fields import Value

Kind = Literal[
    "car",
    "report",
    "call",
    "readback",
    "event",
    "question",
    "answer",
    "correction",
    "withdrawal",
    "note",
]
LapBy = Literal["", "said", "time", "order", "given"]
KINDS: tuple[Kind, ...] = get_args(Kind)
LAP_BY: tuple[LapBy, ...] = get_args(LapBy)
_ALIKE = 16  # characters of texts that are much alike, and kept once: cars, kinds, messages
_SHOWN = 60  # characters of a value that are shown in an error
_NOTHING: Mapping[str, Value] = MappingProxyType({})


class SheetError(StoreError):
    """The journal's file, or what is to be written to it, is not in order; ``kind`` tells which."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One entry; the journal gives it what is ``written`` and never changes it afterwards.

    Entries are in the order of ``seq``, whatever the clock of ``logged`` does. A "car" entry names
    a car (``car``) and its driver (``message``). ``at`` counts from the beginning of the recording,
    or since 1970 where times of day are known. ``refusal`` is the kind of an error, or "doubtful".
    ``certainty``, to four places, is that it is a report and that its words are those said, and
    ``lap_certainty`` that it is of its lap; None if nobody knows.
    """

    seq: Annotated[
        int, Whole("number of the entry; this is their order", written=True, required=True, least=1)
    ] = 0
    uid: Annotated[
        str,
        Text("name of the entry, the same in every copy", written=True, required=True, unique=True),
    ] = ""
    logged: Annotated[
        str, Time("the computer's clock when it was written, UTC", written=True, required=True)
    ] = ""
    writer: Annotated[str, Text("who wrote it", written=True)] = ""
    kind: Annotated[Kind, Option("what it is", options=KINDS, required=True)]
    car: Annotated[str, Text("the car")] = ""
    lap: Annotated[int | None, Whole("the lap: of a report its own, else the one being driven")] = (
        None
    )
    lap_by: Annotated[LapBy, Option("how the lap is known", options=LAP_BY)] = ""
    at: Annotated[
        int | None, Whole("milliseconds from the beginning of the recording, or since 1970")
    ] = None
    speaker: Annotated[str, Text("who said it")] = ""
    heard: Annotated[str, Text("the words as heard", most=MOST_CHARACTERS)] = ""
    message: Annotated[str, Text("the message of the book, the event, or of a car its driver")] = ""
    string: Annotated[str, Text("the symbols as said", most=MOST_CHARACTERS)] = ""
    values: Annotated[Mapping[str, Value], Values("the decoded value of every field")] = field(
        default_factory=lambda: _NOTHING
    )
    amount: Annotated[Decimal | None, Number("what an event counts: laps added")] = None
    refusal: Annotated[str, Text("why it was not accepted; empty if it was")] = ""
    certainty: Annotated[float | None, Share("0 to 1: how sure it is")] = None
    about: Annotated[
        int | None,
        Whole("number of the entry that it corrects, withdraws, asks about, answers or reads back"),
    ] = None
    note: Annotated[str, Text("anything else", most=MOST_CHARACTERS)] = ""
    lap_certainty: Annotated[float | None, Share("0 to 1: how sure the lap is", since=3)] = None
    sound: Annotated[
        str,
        Text(
            "the stretch of a recording it was heard in, in seconds: radio.wav#t=12.3,16.7",
            most=400,
            since=4,
        ),
    ] = ""
    desk: Annotated[
        str,
        Text("the desk it was made at, where several keep a sheet in step", written=True, since=5),
    ] = ""
    made: Annotated[
        int | None,
        Whole("its number where it was made, where several keep it in step", written=True, since=5),
    ] = None
    over: Annotated[
        str,
        Text(
            "uids of corrections and withdrawals it was made over, where several are in step",
            most=MOST_CHARACTERS,
            written=True,
            since=5,
        ),
    ] = ""

    def __post_init__(self) -> None:
        """Check what no later reader could tell; raises SheetError."""
        for name, (checked, most) in _checks(type(self)).items():
            value = getattr(self, name)
            if value.__class__ is str and len(value) <= most and value.isascii():
                continue  # as most texts are
            kept = _kept(name, value, checked)
            if kept is not value:
                object.__setattr__(self, name, kept)

    @classmethod
    def of_cells(cls, cells: Mapping[str, Sequence[Any]]) -> list[Self]:
        """Return the entries that have these values, each column as long as there are entries, None
        for those that they have not; raises SheetError. For many, in a fifth of the time that it
        takes by keywords.
        """
        made = [object.__new__(cls) for _ in cells["kind"]]
        for one in _puts(cls):
            values = cells[one.name]
            if len(made) == 1:
                one.put(made[0], one.kept_one(values[0]))
            else:
                deque(map(one.put, made, one.kept(values)), maxlen=0)
        return made

    @property
    def accepted(self) -> bool:
        """Tell whether its values count: it was decoded, or told by field, and not refused."""
        return bool(self.string or self.values) and not self.refusal

    def decided(self, threshold: float) -> Entry:
        """Return it, as doubtful where it is less sure than the threshold of a book: what nobody
        has looked at counts by this and nothing else.
        """
        if self.refusal or self.certainty is None or self.certainty >= threshold:
            return self
        return self.replace(refusal=DOUBTFUL)

    def replace(self, **changes: Any) -> Entry:
        """Return a copy with some of it changed; raises SheetError, and TypeError for a column that
        there is not.
        """
        names, checks, put = columns(type(self)), _checks(type(self)), object.__setattr__
        copy = object.__new__(type(self))
        for name in names:
            if name not in changes:  # what stands here was checked
                put(copy, name, getattr(self, name))
        for name, value in changes.items():
            if name not in names:
                raise TypeError(f"an entry has no {name!r}")
            put(copy, name, _kept(name, value, checks[name][0]) if name in checks else value)
        return copy


class PlainNote:
    """A note that says no more than words, as its row has it: most of a long sheet are, and few of
    them are looked at. ``entry`` makes the entry, where it is first asked for.
    """

    __slots__ = (
        "_entry",
        "_made_of",
        "_row",
        "at",
        "car",
        "desk",
        "logged",
        "message",
        "seq",
        "writer",
    )
    kind: ClassVar[Kind] = "note"
    about: ClassVar[int | None] = None
    amount: ClassVar[Decimal | None] = None

    def __init__(
        self, row: Mapping[str, Any], made_of: Callable[[Mapping[str, Any]], Entry]
    ) -> None:
        """Keep a row that ``is_one``, and what makes an entry of it."""
        self._row, self._made_of = row, made_of
        self._entry: Entry | None = None
        self.seq: int = row["seq"]
        self.car: str = row["car"] or ""
        self.at: int | None = row["at"]
        self.logged: str = row["logged"]
        self.writer: str = row["writer"] or ""
        self.desk: str = row["desk"] or ""
        self.message: str = row["message"] or ""

    @staticmethod
    def is_one(row: Mapping[str, Any]) -> bool:
        """Tell whether a row is that of such a note; one whose cells are to be looked at closely is
        made an entry at once.
        """
        return (
            row["kind"] == "note"
            and row["amount"] is None
            and row["about"] is None
            and not row["values"]
            and all(row[name] is None or plain(row[name]) for name, plain in _looked_at())
            and row["logged"] is not None
        )

    @property
    def entry(self) -> Entry:
        """The entry; raises SheetError where the row can't be one."""
        if self._entry is None:
            self._entry = self._made_of(self._row)
        return self._entry


@functools.cache
def _looked_at() -> tuple[tuple[str, Callable[[Any], bool]], ...]:
    """Return what is looked at of a note that is no entry yet, each with what tells quickly that it
    is sound.
    """
    names = ("car", "at", "logged", "writer", "desk", "message")
    return tuple((name, columns(Entry)[name].plain) for name in names)


Said = Entry | PlainNote
DOUBTFUL = "doubtful"  # the refusal of a report that was read, but not surely enough


_DECLARED: dict[type, Mapping[str, Column]] = {}
_CHECKS: dict[type, Mapping[str, tuple[Callable[[Any], Any], int]]] = {}


def columns(entry: type[Entry]) -> Mapping[str, Column]:
    """Return the columns that a class of entries declares, by name, in its order."""
    if entry not in _DECLARED:
        declared = get_type_hints(entry, include_extras=True)
        _DECLARED[entry] = {name: hint.__metadata__[0] for name, hint in declared.items()}
    return _DECLARED[entry]


def _checks(entry: type[Entry]) -> Mapping[str, tuple[Callable[[Any], Any], int]]:
    """Return the checks of the columns that have one, and up to how many characters any ASCII text
    passes it; every entry made goes through them.
    """
    if entry not in _CHECKS:
        _CHECKS[entry] = {
            name: (column.checked, column.most if type(column) is Text else -1)
            for name, column in columns(entry).items()
            if type(column).checked is not Column.checked
        }
    return _CHECKS[entry]


class _Put(NamedTuple):
    """How a column comes into an entry: what puts it there, its default, what tells quickly that it
    is sound, its check if it has one, and up to how many characters any ASCII text passes that.
    """

    name: str
    put: Callable[[Any, Any], None]
    default: Any
    plain: Callable[[Any], bool]
    checked: Callable[[Any], Any] | None
    most: int

    def kept(self, values: Sequence[Any]) -> Iterable[Any]:
        """Return the values of a column as they are kept; raises SheetError."""
        if self.default is not MISSING and values.count(None) == len(values):
            return itertools.repeat(self.default, len(values))
        return of_each(values, self.kept_one)

    def kept_one(self, value: Any) -> Any:
        """Return one of them."""
        if value is self.default:  # as most are
            return value
        if value.__class__ is str and len(value) <= self.most and value.isascii():
            return sys.intern(value) if len(value) <= _ALIKE else value
        if value is None and self.default is not MISSING:
            return self.default
        if self.checked is None or self.plain(value):
            return value
        return _kept(self.name, value, self.checked)


_PUTS: dict[type, tuple[_Put, ...]] = {}


def _puts(entry: type[Entry]) -> tuple[_Put, ...]:
    if entry not in _PUTS:
        checks = _checks(entry)
        _PUTS[entry] = tuple(
            _Put(
                one.name,
                getattr(entry, one.name).__set__,  # of the slot: what is frozen has no other way in
                one.default if one.default_factory is MISSING else one.default_factory(),
                columns(entry)[one.name].plain,
                *checks.get(one.name, (None, -1)),
            )
            for one in fields(entry)
        )
    return _PUTS[entry]


def _kept(name: str, value: Any, checked: Callable[[Any], Any]) -> Any:
    """Return a value as it is kept; raises SheetError."""
    try:
        return checked(value)
    except ValueError as error:
        raise refused(name, value, str(error)) from None


def refused(name: str, value: object, expected: str) -> SheetError:
    """Return the error for a value that a column can't hold."""
    long = isinstance(value, str) and len(value) > _SHOWN
    said = f"{len(str(value))} characters" if long else str(value)[:_SHOWN]
    return SheetError(f"entry: {name} can't be {said!r}", kind="sheet-entry", expected=[expected])
