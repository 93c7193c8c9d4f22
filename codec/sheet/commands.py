"""What a line of the live sheet that begins with ``/`` does."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

from codec.sheet.doubt import doubt
from codec.sheet.entry import Entry
from codec.sheet.live import LIKELY, Session, Shown
from codec.sheet.state import correction_of, lap_message, laps, last_to_undo, withdrawal_of


def command(session: Session, text: str) -> Shown:
    """Do what a line that begins with ``/`` says; raises SheetError where it can't be written."""
    name, _, rest = text[1:].partition(" ")
    acts: dict[str, Callable[[Session, str], Shown]] = {
        "ok": _ok,
        "undo": _undo,
        "lap": _lap,
        "car": _car,
        "note": _note,
    }
    if name in acts:
        return acts[name](session, rest.strip())
    if name in session.commands and name != "quit":
        return _event(session, name, rest.strip())
    return Shown("bad", (f"there is no command /{name[:20]}", "commands: /" + " /".join(session.commands)))


def _ok(session: Session, rest: str) -> Shown:
    waiting = session.waiting
    if session.guess is None and waiting is not None:
        session.guess = doubt(session.book, waiting.entry.heard, session.values())
    if session.guess is None or waiting is None or rest or session.guess.probability < LIKELY:
        return Shown("bad", ("nothing was heard that is likely enough to be taken",))
    reading = session.restored(session.guess.guess)
    session.journal.append(session.report(reading, waiting.entry.heard, session.guess.probability, "taken by hand"))
    session.guess = None
    return Shown("good", (str(reading),))


def _undo(session: Session, rest: str) -> Shown:
    last = last_to_undo([entry for entry in session.entries if entry.car in (session.car, "")])
    if last is None or rest:
        return Shown("bad", ("there is nothing to undo",))
    session.journal.append(withdrawal_of(last))
    session.guess = None
    return Shown("good", (f"withdrawn: {last.kind} {last.string or last.message or last.heard}",))


def _lap(session: Session, rest: str) -> Shown:
    number, _, text = rest.partition(" ")
    row = laps(session.rows, session.car, lap_message(session.book)).get(int(number)) if number.isdecimal() else None
    if row is None or not text.strip():
        return Shown("bad", ("/lap, the number of a lap that has a report, and the report as it should be",))
    transcript = session.decoded(text.strip(), row.entry.lap)
    if len(transcript.reports) != 1:
        return Shown("bad", ("one report is expected behind the lap",))
    reading = transcript.reports[0]
    changed = {"message": reading.message, "string": reading.said, "values": dict(reading.values)}
    session.journal.append(correction_of(row.entry, heard=text.strip(), certainty=1.0, lap_by="given", **changed))
    return Shown("good", (f"lap {number}: {reading}",))


def _car(session: Session, rest: str) -> Shown:
    name, _, driver = rest.partition(" ")
    if not name:
        return Shown("bad", ("/car and its number or name",))
    if name not in session.cars:
        session.journal.append(Entry(kind="car", car=name, message=driver.strip()))
    session.car, session.guess = name, None
    return Shown("good", (f"car {name} {driver.strip() or session.cars.get(name, '')}".rstrip(),))


def _note(session: Session, rest: str) -> Shown:
    if not rest:
        return Shown("bad", ("/note and the words",))
    session.journal.append(Entry(kind="note", car=session.car, lap=session.lap or None, heard=rest))
    return Shown("good", (f"noted: {rest}",))


def _event(session: Session, name: str, rest: str) -> Shown:
    if rest and not (name == "added" and rest.isdecimal()):
        return Shown("bad", ("/added and a number of laps" if name == "added" else f"/{name} stands alone",))
    if name == "added" and not rest:
        return Shown("bad", ("/added and a number of laps",))
    lap, lap_by = session.keeper().now(None, None)
    session.journal.append(
        Entry(kind="event", car=session.car, lap=lap, lap_by=lap_by, message=name, amount=Decimal(rest) if rest else None)
    )
    return Shown("good", (f"{session.event_title(name)} {rest}".strip(),))
