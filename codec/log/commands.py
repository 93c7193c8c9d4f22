"""What a line of the live sheet that begins with ``/`` does."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

from codec.log.said import report
from codec.log.session import Session, Shown, told
from codec.radio.doubt import LIKELY
from codec.sheet.entry import Entry, SheetError
from codec.sheet.state import correction_of, lap_message, laps, last_to_undo, withdrawal_of
from grammar.errors import CodeError


def command(session: Session, text: str) -> Shown:
    """Do what a line that begins with ``/`` says; raises SheetError where it can't be written."""
    name, _, rest = text[1:].partition(" ")
    acts: dict[str, Callable[[Session, str], Shown]] = {
        "ok": _ok,
        "undo": _undo,
        "lap": _lap,
        "car": speak_to,
        "note": _note,
        "quit": _quit,
        "q": _quit,
    }
    try:
        if name in acts:
            return acts[name](session, rest.strip())
        if name in session.commands:
            return _event(session, name, rest.strip())
    except SheetError:
        raise
    except CodeError as error:
        return told(error)
    return Shown(
        "bad", (f"there is no command /{name[:20]}", "commands: /" + " /".join(session.commands))
    )


def _quit(session: Session, rest: str) -> Shown:
    if rest:
        return Shown("bad", ("/quit stands alone",))
    session.over = True
    return Shown("plain", ())


def _ok(session: Session, rest: str) -> Shown:
    waiting, guess = session.waiting, session.guess
    if guess is None or waiting is None or rest or guess.probability < LIKELY:
        return Shown("bad", ("nothing was heard that is likely enough to be taken",))
    reading = session.restored(guess.guess)
    session.journal.append(
        report(session, reading, waiting.entry.heard, guess.probability, "taken by hand")
    )
    return Shown("good", (str(reading),))


def _undo(session: Session, rest: str) -> Shown:
    last = last_to_undo([entry for entry in session.entries if entry.car in (session.car, "")])
    if last is None or rest:
        return Shown("bad", ("there is nothing to undo",))
    session.journal.append(withdrawal_of(last))
    return Shown("good", (f"withdrawn: {last.kind} {last.string or last.message or last.heard}",))


def _lap(session: Session, rest: str) -> Shown:
    number, _, text = rest.partition(" ")
    row = (
        laps(session.rows, session.car, lap_message(session.book)).get(int(number))
        if number.isdecimal()
        else None
    )
    if row is None or not text.strip():
        return Shown(
            "bad", ("/lap, the number of a lap that has a report, and the report as it should be",)
        )
    transcript = session.decoded(text.strip(), row.entry.lap)
    if len(transcript.reports) != 1:
        return Shown("bad", ("one report is expected behind the lap",))
    reading = transcript.reports[0]
    changed = {"message": reading.message, "string": reading.said, "values": dict(reading.values)}
    session.journal.append(
        correction_of(row.entry, heard=text.strip(), certainty=1.0, lap_by="given", **changed)
    )
    return Shown("good", (f"lap {number}: {reading}",))


def speak_to(session: Session, text: str) -> Shown:
    """Speak to a car, written ``61``, ``61=Driver`` or ``61 Driver``; raises CodeError for one that
    is not there and may be a slip.

    The first car of a sheet may be named alone. Any other that is new is named with its driver, so
    that a slip makes no car.
    """
    name, equals, driver = (part.strip() for part in text.partition("=" if "=" in text else " "))
    if not name:
        raise CodeError(
            "a car is expected",
            kind="usage",
            hint="its number or name; for a new car with its driver: 7=DRIVER",
        )
    known = session.cars.get(name)
    plainly_new = bool(driver) and (bool(equals) or any(character.isdigit() for character in name))
    if known is None and not plainly_new and (session.cars or driver):
        cars = ", ".join(session.cars) or "none yet"
        raise CodeError(
            f"there is no car {name[:40]!r} in the sheet; its cars: {cars}",
            kind="usage",
            hint=f"for a new car name its driver: {name[:40]}=DRIVER",
        )
    if not known and (driver or known is None):
        session.journal.append(Entry(kind="car", car=name, message=driver))
        session.refresh()
    session.car = name
    shown = session.standing()
    if known and driver and driver != known:
        return Shown(
            "warning",
            (*shown.lines, f"the sheet has {known} as its driver, not {driver}; that stays"),
        )
    return shown


def _note(session: Session, rest: str) -> Shown:
    if not rest:
        return Shown("bad", ("/note and the words",))
    session.journal.append(Entry(kind="note", car=session.car, lap=session.lap or None, heard=rest))
    return Shown("good", (f"noted: {rest}",))


def _event(session: Session, name: str, rest: str) -> Shown:
    if rest and not (name == "added" and rest.isdecimal()):
        return Shown(
            "bad", ("/added and a number of laps" if name == "added" else f"/{name} stands alone",)
        )
    if name == "added" and not rest:
        return Shown("bad", ("/added and a number of laps",))
    lap, lap_by = session.keeper().now(None, None)
    session.journal.append(
        Entry(
            kind="event",
            car=session.car,
            lap=lap,
            lap_by=lap_by,
            message=name,
            amount=Decimal(rest) if rest else None,
        )
    )
    return Shown("good", (f"{session.event_title(name)} {rest}".strip(),))
