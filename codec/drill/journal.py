"""The journal of drills: several people in one file; an answer that was returned is on the disk.

Unlike a sheet, a person can be taken out: their rows are overwritten, not only unlinked.
"""

from __future__ import annotations

import base64
import contextlib
import dataclasses
import datetime
import hashlib
import json
import uuid
from collections.abc import Callable, Iterator, Sequence
from importlib import resources
from typing import Any, Self

from codec.drill.answer import Answer, DrillError, checked_name
from codec.drill.programme import Programme
from codec.store.copying import Copied, copy_rows
from codec.store.opening import is_there, opened
from codec.store.place import Place, place_of
from codec.store.store import ADD, Clock, JournalFormat, now, scripts_in, stamp
from codec.store.table import Execute
from grammar.book import Book
from grammar.parsing import parse_book

JOURNAL = "drills.niner"  # what it is called where nobody names it: beside the sheets of a desk
FORMAT = JournalFormat(
    word="drill",
    name="journal",
    long_name="journal of drills",
    rows="answers",
    write_again="answer again",
    made_by="a journal is made by niner drill read and niner drill hear",
    way_out="keep a copy of the file, and begin a new one",
    error=DrillError,
    application=0x4E394452,  # "N9DR"
    scripts=scripts_in(resources.files("codec.drill") / "schema"),
    settings=("secure_delete = ON",),
    rights=(("niner_drill", ADD),),
    taken_out=("people",),
    alone=("handed_answers", "handed_programmes", "handing"),
)
_COLUMNS = tuple(
    field.name for field in dataclasses.fields(Answer) if field.name not in ("person", "seq")
)
_SELECT = (
    f"SELECT seq, name, {', '.join(_COLUMNS)} FROM answers JOIN people ON person = number"  # noqa: S608 - columns of our own
    " WHERE seq NOT IN (SELECT answer FROM withdrawals)"
)
_COUNTED = {"people", "answers", "programmes"}
_LARGE = {"sounds"}
_IN_ORDER = "ORDER BY CASE instead_of WHEN 0 THEN seq ELSE instead_of END"
_PLACES = ", ".join("?" * (len(_COLUMNS) + 3))
_INSERT = f"INSERT INTO answers (seq, person, {', '.join(_COLUMNS)}, uid) VALUES ({_PLACES})"  # noqa: S608
# what is not handed over yet, in the order in which it is to be: of an answer what is said of it
# only behind it
_TO_HAND_OVER = {
    what: f"SELECT {number} FROM {what} WHERE {number} NOT IN"  # noqa: S608 - names of our own
    f" (SELECT answer FROM handed_answers WHERE what = '{what}')"
    for what, number in (("answers", "seq"), ("withdrawals", "answer"), ("sounds", "answer"))
}
_PROGRAMMES_TOO = "programmes.number NOT IN (SELECT programme FROM handed_programmes)"
_PROGRAMME = "begins, weeks, sessions, share, exposure, seconds"


@dataclasses.dataclass(frozen=True, slots=True)
class HandedOver:
    """A row to be handed over: ``what`` its table, ``number`` its own number here, ``person`` whose
    it is, ``uid`` the name of the answer that it is, or is of, and the rest of it by column.
    """

    what: str
    number: int
    person: str
    uid: str
    facts: dict[str, Any]


class DrillJournal:
    """The answers of several people in a file, or on a server where ``path`` is a place of one.

    ``DrillJournal(path)`` opens it, with ``create`` made where there is none. Raises DrillError:
    ``drill-missing``, ``not-a-drill``, ``drill-later``, ``drill-damaged``, ``drill-replaced``,
    ``drill-file``, ``drill-full``, ``drill-busy``, ``drill-read-only``, ``drill-server``,
    ``drill-unsure``.
    """

    def __init__(self, path: str | Place, *, create: bool = False, clock: Clock = now) -> None:
        """Open or make the file."""
        self.path, self._clock, self.session = place_of(path), clock, uuid.uuid4().hex[:12]
        self._store = opened(self.path, FORMAT, _nothing if create else None)

    @staticmethod
    def is_there(path: str | Place) -> bool:
        """Tell whether there is a journal; raises DrillError where a server can't tell."""
        return is_there(place_of(path), FORMAT)

    def new_session(self) -> None:
        """Give what is written from now on a session of its own."""
        self.session = uuid.uuid4().hex[:12]

    def keep_book(self, book: Book) -> str:
        """Keep a book's text, so that progress can be told without its file; return its digest."""
        return self.keep(book.digest, book.name, book.source)

    def keep(self, digest: str, name: str, text: str) -> str:
        """Keep the text of what answers are about, once; return its digest."""
        with self._store.transaction():
            self._store.execute(
                "INSERT INTO books VALUES (?, ?, ?) ON CONFLICT DO NOTHING", (digest, name, text)
            )
        return digest

    def book(self, digest: str) -> Book:
        """Return a book that was kept; raises DrillError where there is none."""
        with self._store.reading():
            row = self._store.execute(
                "SELECT text, name FROM books WHERE digest = ?", (digest,)
            ).fetchone()
        if row is None:
            raise DrillError(f"no book {digest[:8]!r} is kept in the journal", kind="drill-book")
        return parse_book(row[0], row[1])

    def append(self, answer: Answer) -> Answer:
        """Write an answer and return it as written, when it is on the disk.

        Raises DrillError; nothing earlier is lost then.
        """
        with self._store.transaction():
            return self._inserted(answer)

    def _inserted(self, answer: Answer) -> Answer:
        written = answer.replace(at=answer.at or stamp(self._clock))
        facts = (getattr(written, name) for name in _COLUMNS)
        row = [int(fact) if fact.__class__ is bool else fact for fact in facts]
        return written.replace(seq=self._insert(answer.person, row, uuid.uuid4().hex))

    def _insert(self, person: str, row: Sequence[Any], uid: str) -> int:
        name = checked_name(person)
        number = self._number_of(name)
        if number is None:
            number = self._next("people", "number")
            self._store.execute("INSERT INTO people (number, name) VALUES (?, ?)", (number, name))
        seq = self._next("answers", "seq")
        self._store.execute(_INSERT, (seq, number, *row, uid))
        return seq

    def _number_of(self, person: str) -> int | None:
        ask = "SELECT number FROM people WHERE name = ?"
        found = self._store.execute(ask, (person,)).fetchone()
        return None if found is None else int(found[0])

    def _next(self, table: str, column: str) -> int:
        """Return the number of the next row, within a transaction."""
        ask = f"SELECT coalesce(max({column}), 0) + 1 FROM {table}"  # noqa: S608 - names of our own
        return int(self._store.execute(ask).fetchone()[0])

    def keep_sound(self, seq: int, sound: bytes) -> None:
        """Keep what was said in an answer, a sound file, until the person is taken out."""
        text = base64.b64encode(sound).decode("ascii")
        with self._store.transaction():
            self._store.execute("INSERT INTO sounds VALUES (?, ?)", (seq, text))

    def sound(self, seq: int) -> bytes:
        """Return what was said in an answer; raises DrillError where that was not kept."""
        with self._store.reading():
            row = self._store.execute(
                "SELECT sound FROM sounds WHERE answer = ?", (seq,)
            ).fetchone()
        if row is None:
            raise DrillError(
                f"nothing that was said is kept of answer {seq}",
                kind="drill-answer",
                hint="niner drill export tells of which answers there is: recorded",
            )
        return base64.b64decode(row[0])

    def recorded(self) -> set[int]:
        """Return the numbers of the answers of which what was said is kept."""
        with self._store.reading():
            return {row[0] for row in self._store.execute("SELECT answer FROM sounds").fetchall()}

    def withdraw(self, seq: int) -> None:
        """Take an answer back: it stays in the file, and no longer counts. Raises DrillError where
        there is none that counts.
        """
        with self._store.transaction():
            self._withdrawn(seq)

    def _withdrawn(self, seq: int) -> int:
        """Take an answer back; return the number of the first that it stood for."""
        row = self._store.execute(
            "SELECT instead_of FROM answers WHERE seq = ? AND seq NOT IN"
            " (SELECT answer FROM withdrawals)",
            (seq,),
        ).fetchone()
        if row is None:
            raise DrillError(f"there is no answer {seq} that counts", kind="drill-answer")
        self._store.execute("INSERT INTO withdrawals VALUES (?, ?)", (seq, stamp(self._clock)))
        return int(row[0]) or seq

    def correct(self, seq: int, answer: Answer) -> Answer:
        """Write an answer in place of another and return it as written; it counts at the other's
        place. Raises DrillError, and nothing is changed then.
        """
        with self._store.transaction():
            return self._inserted(answer.replace(instead_of=self._withdrawn(seq), seq=0))

    def answers(self, person: str | None = None) -> Iterator[Answer]:
        """Yield the answers that count in their order, of one person or of all; raises DrillError
        at a damaged one.
        """
        where, values = ("", ()) if person is None else (" AND name = ?", (person,))
        with self._store.reading():
            for seq, name, *row in self._store.execute(f"{_SELECT}{where} {_IN_ORDER}", values):
                yield _answer(seq, name, row)

    def plan(self, programme: Programme) -> None:
        """Keep a programme of somebody who is in the journal; it counts from now on. Raises
        DrillError.
        """
        self.known(programme.person)
        told = (
            programme.person, programme.begins.isoformat(), programme.weeks, programme.sessions,
            programme.share, programme.exposure, programme.seconds,
        )  # fmt: skip
        with self._store.transaction():
            self._store.execute(
                "INSERT INTO programmes"
                " (number, person, begins, weeks, sessions, share, exposure, seconds)"
                " VALUES (?, (SELECT number FROM people WHERE name = ?), ?, ?, ?, ?, ?, ?)",
                (self._next("programmes", "number"), *told),
            )

    def programme(self, person: str) -> Programme | None:
        """Return the programme of somebody, None where they have none."""
        with self._store.reading():
            row = self._store.execute(
                "SELECT begins, weeks, sessions, share, exposure, seconds FROM programmes"
                " WHERE person = (SELECT number FROM people WHERE name = ?)"
                " ORDER BY programmes.number DESC LIMIT 1",
                (person,),
            ).fetchone()
        if row is None:
            return None
        begins, weeks, sessions, wanted, exposure, seconds = row
        return Programme(
            person=person, begins=datetime.date.fromisoformat(begins), weeks=weeks,
            sessions=sessions, share=wanted, exposure=exposure, seconds=seconds,
        )  # fmt: skip

    def people(self) -> dict[str, int]:
        """Return every person with the number of their answers that count."""
        ask = (
            "SELECT name, count(seq) FROM people LEFT JOIN answers ON person = number"
            " AND seq NOT IN (SELECT answer FROM withdrawals) GROUP BY number, name ORDER BY name"
        )
        with self._store.reading():
            return dict(self._store.execute(ask).fetchall())

    def known(self, person: str) -> str:
        """Return the name of a person who is in the journal; raises DrillError for anyone else."""
        if person not in self.people():
            raise DrillError(
                f"there is no {person!r} in the journal",
                kind="drill-person",
                expected=list(self.people()) or ["nobody yet"],
            )
        return person

    def delete(self, person: str) -> int:
        """Take a person out with every answer; the space is overwritten.

        Return how many answers that were.
        """
        count = self.people()[self.known(person)]
        with self._store.telling():
            with self._store.transaction():
                self._store.execute("DELETE FROM people WHERE name = ?", (person,))
            overwritten = self._store.overwrite()
        if not overwritten:
            raise DrillError(
                f"{person!r} is taken out, but another program keeps the old rows in"
                f" {self.path.name}-wal",
                kind="drill-busy",
                hint="close the other program; the rows go when the last one closes the journal",
            )
        return count

    def copy(
        self, place: Place, told: Callable[[int, int], object] = lambda _, __: None
    ) -> dict[str, Copied]:
        """Copy all of it to a place, or what a copy there lacks; return of each table how many
        rows. ``told`` hears how many rows are copied so far, of how many.

        Raises DrillError where the copy has a row that is not here (``drill-apart``): nothing is
        changed then.
        """
        with contextlib.closing(opened(place, FORMAT, _nothing)) as target:
            return copy_rows(self._store, target, _COUNTED, _LARGE, told)

    def agreed(self, shared: Place) -> bool | None:
        """Tell whether this file is handed over to another journal, None where nobody settled
        that.
        """
        with self._store.reading():
            ask = "SELECT agreed FROM handing WHERE place = ?"
            row = self._store.execute(ask, (str(shared),)).fetchone()
        return None if row is None else bool(row[0])

    def settle(self, shared: Place, *, agreed: bool) -> None:
        """Settle whether this file is handed over to another journal, from now on."""
        with self._store.transaction():
            self._store.execute(
                "INSERT INTO handing VALUES (?, ?)"
                " ON CONFLICT (place) DO UPDATE SET agreed = excluded.agreed",
                (str(shared), int(agreed)),
            )

    def waiting(self) -> dict[str, dict[str, int]]:
        """Return how much this file did not hand over yet, by what it is and whose."""
        asks = {
            what: "SELECT name, count(*) FROM answers JOIN people ON people.number = person"  # noqa: S608 - names of our own
            f" WHERE seq IN ({ask}) GROUP BY name ORDER BY name"
            for what, ask in _TO_HAND_OVER.items()
        }
        asks["programmes"] = (
            "SELECT name, count(*) FROM programmes JOIN people ON people.number = person"  # noqa: S608
            f" WHERE {_PROGRAMMES_TOO} GROUP BY name ORDER BY name"
        )
        with self._store.reading():
            found = {what: dict(self._store.execute(ask).fetchall()) for what, ask in asks.items()}
        return {what: by_person for what, by_person in found.items() if by_person}

    def to_hand_over(self, most: int) -> list[HandedOver]:
        """Return what a file did not hand over yet, so many of one kind at most, in the order in
        which it is to be.
        """
        with self._store.reading():
            for what, ask in _TO_HAND_OVER.items():
                numbers = self._store.execute(f"{ask} ORDER BY 1 LIMIT ?", (most,)).fetchall()
                if numbers:
                    return [self._handed(what, number) for (number,) in numbers]
            rows = self._store.execute(
                f"SELECT programmes.number, name, {_PROGRAMME} FROM programmes"  # noqa: S608
                f" JOIN people ON people.number = person WHERE {_PROGRAMMES_TOO}"
                " ORDER BY 1 LIMIT ?",
                (most,),
            ).fetchall()
        columns = _PROGRAMME.split(", ")
        return [
            HandedOver("programmes", number, name, "", dict(zip(columns, row, strict=True)))
            for number, name, *row in rows
        ]

    def _handed(self, what: str, seq: int) -> HandedOver:
        named = ", ".join(_COLUMNS)
        name, uid, *row = self._store.execute(
            f"SELECT name, uid, {named} FROM answers JOIN people ON person = number WHERE seq = ?",  # noqa: S608 - columns of our own
            (seq,),
        ).fetchone()
        facts = dict(zip(_COLUMNS, row, strict=True))
        uid = uid or hashlib.sha256(json.dumps([seq, name, facts]).encode()).hexdigest()[:32]
        if what == "withdrawals":
            ask = "SELECT at FROM withdrawals WHERE answer = ?"
            facts = {"at": self._store.execute(ask, (seq,)).fetchone()[0]}
        elif what == "sounds":
            ask = "SELECT sound FROM sounds WHERE answer = ?"
            facts = {"sound": self._store.execute(ask, (seq,)).fetchone()[0]}
        else:
            if facts["instead_of"]:
                facts["instead_of"] = self._handed("answers", facts["instead_of"]).uid
            ask = "SELECT name, text FROM books WHERE digest = ?"
            facts["kept"] = self._store.execute(ask, (facts["book"],)).fetchone()
        return HandedOver(what, seq, name, uid, facts)

    def handed_over(self, some: Sequence[HandedOver]) -> None:
        """Keep that these rows were handed over."""
        with self._store.transaction():
            for one in some:
                if one.what == "programmes":
                    ask, values = "INSERT INTO handed_programmes VALUES (?)", (one.number,)
                    self._store.execute(ask, values)
                else:
                    ask = "INSERT INTO handed_answers VALUES (?, ?)"
                    self._store.execute(ask, (one.what, one.number))

    def take_over(self, some: Sequence[HandedOver]) -> None:
        """Write what another journal hands over, all or none of it; what is there already is left,
        and so is what belongs to an answer, or to somebody, that was taken out here.
        """
        with self._store.transaction():
            for one in some:
                if one.what == "programmes":
                    self._take_programme(one)
                    continue
                seq = self._named(one.uid)
                if one.what == "answers" and not seq:
                    self._take_answer(one)
                elif one.what != "answers" and seq:
                    [fact] = one.facts.values()
                    ask = f"INSERT INTO {one.what} VALUES (?, ?) ON CONFLICT DO NOTHING"  # noqa: S608 - names of our own
                    self._store.execute(ask, (seq, fact))

    def _named(self, uid: str) -> int:
        """Return the number of the answer with this name, 0 for none."""
        found = self._store.execute("SELECT seq FROM answers WHERE uid = ?", (uid,)).fetchone()
        return 0 if found is None else int(found[0])

    def _take_answer(self, one: HandedOver) -> None:
        facts = dict(one.facts)
        ask = "INSERT INTO books VALUES (?, ?, ?) ON CONFLICT DO NOTHING"
        self._store.execute(ask, (facts["book"], *facts.pop("kept")))
        facts["instead_of"] = facts["instead_of"] and self._named(facts["instead_of"])
        self._insert(one.person, [facts[name] for name in _COLUMNS], one.uid)

    def _take_programme(self, one: HandedOver) -> None:
        number, facts = self._number_of(one.person), tuple(one.facts.values())
        if number is None:
            return
        ask = f"SELECT {_PROGRAMME} FROM programmes WHERE person = ? ORDER BY number DESC LIMIT 1"  # noqa: S608 - columns of our own
        last = self._store.execute(ask, (number,)).fetchone()
        if last is None or tuple(last) != facts:
            self._store.execute(
                f"INSERT INTO programmes (number, person, {_PROGRAMME})"  # noqa: S608
                " VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                (self._next("programmes", "number"), number, *facts),
            )

    def close(self) -> None:
        """Close the file."""
        self._store.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def _answer(seq: int, name: str, row: list[Any]) -> Answer:
    facts = dict(zip(_COLUMNS, row, strict=True))
    return Answer(seq=seq, person=name, **{**facts, "measured": bool(facts["measured"])})


def _nothing(journal: Execute) -> None:
    """Write nothing into a new journal beside its tables."""
    del journal
