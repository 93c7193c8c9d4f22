"""What is no longer as it was from one state of a book to the next, for each who has to learn it:
the driver, the engineer, who builds the dash, and the tool.

The worst that a change can do is to let what was right be read as something else: how often that
happens is measured (``misread``) on reports drawn from the old book.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, NamedTuple

from grammar.codes import CodeTable
from grammar.errors import counted
from grammar.figures import drawn

if TYPE_CHECKING:
    from grammar.book import Book
    from grammar.message import Direction, Message

Learner = Literal["driver", "engineer", "dash", "tool"]
LEARNERS: tuple[Learner, ...] = ("driver", "engineer", "dash", "tool")
MOST_LISTED = 20_000  # codewords of a table that are held against the old ones
SENT: dict[str, str] = {"car": "reports", "pit": "calls"}
_GONE, _NEW = "gone", "new"


class Relearnt(NamedTuple):
    """What stood for a meaning, a codeword or spelling word, as it was and as it is, "" for none;
    or what a change in one sentence is from and to, of no meaning of its own.
    """

    meaning: str
    was: str
    now: str


@dataclass(frozen=True, slots=True)
class BookChange:
    """Something that is not as it was: whom it concerns, what it is about, in a sentence, and the
    rows there are to learn by heart.
    """

    concerns: tuple[Learner, ...]
    about: str
    text: str
    rows: tuple[Relearnt, ...] = ()


@dataclass(slots=True)
class Misread:
    """Strings of one direction of the old book, read with the new one: how many were drawn, mean
    the ``same``, are ``refused``, or mean something ``other``; of these one, with what it meant and
    what it would be taken for.
    """

    direction: Direction
    drawn: int = 0
    same: int = 0
    refused: int = 0
    other: int = 0
    example: tuple[str, str, str] | None = None


def changes(old: Book, new: Book) -> list[BookChange]:
    """Return what is not as it was, words first, then what is said, then what only the tool asks.

    Tables, fields, messages and phrases are known by their names.
    """
    return [
        *_symbols(old, new),
        *_messages(old, new),
        *_phrases(old, new),
        *_fields(old, new),
        *_tables(old, new),
        *_settings(old, new),
    ]


def misread(old: Book, new: Book, draws: int, seed: int) -> list[Misread]:
    """Return what becomes of strings of the old book, as it says that they occur, in the new one,
    for each direction: what a driver sends who has not learnt the change, or an engineer calls.
    """
    found = []
    for direction in old.directions:
        count = Misread(direction)
        for message in old.sent_by(direction):
            for one in drawn(old, message, draws, seed):
                before = message.quick(one.string)
                if before is None:
                    continue
                after = next(
                    filter(None, (m.quick(one.string) for m in new.sent_by(direction))), None
                )
                count.drawn += 1
                if after is None:
                    count.refused += 1
                elif _meaning(before.message, before.levels()) == _meaning(
                    after.message, after.levels()
                ):
                    count.same += 1
                else:
                    count.other += 1
                    count.example = count.example or (one.string, before.text(), after.text())
        found.append(count)
    return found


def _meaning(message: Message, levels: Mapping[str, int]) -> dict[str, str]:
    return {name: message.fields[name].text(level) for name, level in levels.items()}


def _symbols(old: Book, new: Book) -> Iterator[BookChange]:
    was, now = old.alphabet, new.alphabet
    gone = [symbol for symbol in was.symbols if symbol not in now.index]
    came = [symbol for symbol in now.symbols if symbol not in was.index]
    if gone:
        yield BookChange(LEARNERS, "symbols", f"no longer in use: {' '.join(gone)}")
    if came:
        rows = tuple(Relearnt(symbol, "", now.words[symbol].word) for symbol in came)
        yield BookChange(LEARNERS, "symbols", f"newly in use: {' '.join(came)}", rows)
    rows = tuple(
        Relearnt(symbol, was.words[symbol].word, now.words[symbol].word)
        for symbol in now.symbols
        if symbol in was.index and was.words[symbol].word != now.words[symbol].word
    )
    if rows:
        yield BookChange(
            ("driver", "engineer", "tool"), "spelling words", counted(len(rows), "other word"), rows
        )


def _messages(old: Book, new: Book) -> Iterator[BookChange]:
    for name, message in old.messages.items():
        after = new.messages.get(name)
        if after is None:
            yield BookChange(LEARNERS, message.title, _GONE)
            continue
        if message.direction != after.direction:
            yield BookChange(
                LEARNERS, message.title, f"now among the {SENT[after.direction]}, not"
                f" the {SENT[message.direction]}"
            )  # fmt: skip
        was, now = (_order(book, name) for book in (old, new))
        if was != now:
            yield BookChange(LEARNERS, after.title, "order", (Relearnt("", was, now),))
    for name, message in new.messages.items():
        if name not in old.messages:
            rows = (Relearnt("", "", _order(new, name)),)
            yield BookChange(LEARNERS, message.title, f"{_NEW}, order", rows)


def _order(book: Book, name: str) -> str:
    return " ".join(book.spec.messages[name].layout.split())


def _phrases(old: Book, new: Book) -> Iterator[BookChange]:
    was, now = old.spec.phrases, new.spec.phrases
    people: tuple[Learner, ...] = ("driver", "engineer", "tool")
    for name in [*was, *(name for name in now if name not in was)]:
        said = [", ".join(one[name].says) if name in one else "" for one in (was, now)]
        title = next(one[name].label or name for one in (now, was) if name in one)
        if said[0] != said[1]:
            text = (
                f"{_NEW}, said" if not said[0] else f"{_GONE}, was said" if not said[1] else "said"
            )
            yield BookChange(people, f"phrase {title}", text, (Relearnt("", *said),))
        elif was[name].means != now[name].means:
            yield BookChange(("tool",), f"phrase {title}", "tells another fact")


def _fields(old: Book, new: Book) -> Iterator[BookChange]:
    readers: tuple[Learner, ...] = ("engineer", "dash", "tool")
    for name, one in old.declared.items():
        other = new.declared.get(name)
        if other is None:
            yield BookChange(LEARNERS, one.title, "reported no more")
            continue
        if one.title != other.title:
            yield BookChange(("driver", "engineer"), one.title, f"now called {other.title}")
        if one.domain != other.domain:
            rows = (Relearnt("", one.domain, other.domain),)
            yield BookChange(readers, other.title, "values", rows)
        warned = ["; ".join(each.warns_when()) or "nothing" for each in (one, other)]
        if warned[0] != warned[1]:
            rows = (Relearnt("", *warned),)
            yield BookChange(("engineer", "tool"), other.title, "warnings", rows)
        usual = [
            "none" if each.usual_level is None else each.text(each.usual_level)
            for each in (one, other)
        ]
        if usual[0] != usual[1]:
            rows = (Relearnt("", *usual),)
            yield BookChange(readers, other.title, "usual value", rows)
    for name, one in new.declared.items():
        if name not in old.declared:
            rows = (Relearnt("", "", one.domain),)
            yield BookChange(LEARNERS, one.title, f"{_NEW}, values", rows)


def _tables(old: Book, new: Book) -> Iterator[BookChange]:
    for name, was in old.tables.items():
        now = new.tables.get(name)
        if now is not None:
            yield from _table(old, new, was, now)
        elif was.check is not None:  # another table's field or message has told it
            yield BookChange(LEARNERS, f"check {name}", _GONE)
    for name, now in new.tables.items():
        if name in old.tables:
            continue
        if now.check is not None:
            yield BookChange(LEARNERS, f"check {name}", f"{_NEW}: {now.summary}")
            continue
        texts = _texts(now) if now.size <= MOST_LISTED else {}
        rows = tuple(Relearnt(meaning, "", word) for meaning, word in texts.items())
        text = f"{_NEW}: {now.size:,} codewords"
        yield BookChange(_concerned(new, name), f"table {name}", text, rows)


def _table(old: Book, new: Book, was: CodeTable, now: CodeTable) -> Iterator[BookChange]:
    """Yield what is other about the codewords of a table that both books have."""
    name, about = now.name, f"table {now.name}"
    if was.check is not None or now.check is not None:
        if was.summary != now.summary:
            text = f"{now.summary or 'no check'}; it was {was.summary or 'no check'}"
            yield BookChange(("dash", "tool"), about, text)
        return
    concerns = _concerned(new, name)
    if max(was.size, now.size) > MOST_LISTED:
        if was.size != now.size or old.told["tables"][name] != new.told["tables"][name]:
            text = f"{now.size:,} other codewords, too many to list"
            yield BookChange(concerns, about, text)
        return
    before, after = _texts(was), _texts(now)
    meanings = [*after, *(meaning for meaning in before if meaning not in after)]
    rows = tuple(
        Relearnt(meaning, before.get(meaning, ""), after.get(meaning, ""))
        for meaning in meanings
        if before.get(meaning) != after.get(meaning)
    )
    if rows:
        text = f"{len(rows):,} of {len(meanings):,} codewords are not what they were"
        yield BookChange(concerns, about, text, rows)


def _texts(table: CodeTable) -> dict[str, str]:
    """Return the codeword of every value, by what people read."""
    return {
        ", ".join(one.text(level) for one, level in zip(table.fields, levels, strict=True)): word
        for levels, word in table.words()
    }


def _concerned(book: Book, name: str) -> tuple[Learner, ...]:
    """Return whom the codewords of a table concern: a driver reads those of reports off the dash
    and need not know them, but those of calls.
    """
    called = any(table.name == name for message in book.sent_by("pit") for table in message.tables)
    return LEARNERS if called else ("engineer", "dash", "tool")


def _settings(old: Book, new: Book) -> Iterator[BookChange]:
    was, now = (book.told.get("hearing", {}) for book in (old, new))
    keys = [key for key in {**was, **now} if was.get(key) != now.get(key)]
    if keys:
        yield BookChange(("tool",), "hearing", f"other settings: {', '.join(keys)}")
    if old.rules.run_together != new.rules.run_together:
        said = "may be said one after the other" if new.rules.run_together else "are said apart"
        yield BookChange(("driver", "engineer", "tool"), "reports", said)
    if old.rules.whole_numbers != new.rules.whole_numbers:
        said = (
            "may be said as whole hundreds and thousands"
            if new.rules.whole_numbers == "magnitudes"
            else "are said figure by figure"
        )
        yield BookChange(("driver", "engineer", "tool"), "numbers", said)
