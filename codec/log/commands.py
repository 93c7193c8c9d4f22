"""What a line of the live sheet that begins with ``/`` does."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any, NamedTuple

from codec.decoding import decode
from codec.encoding import encode
from codec.lap_report import lap_message
from codec.log.fields import ByField, dial_at
from codec.log.lines import (
    check_lap,
    filed_with,
    note,
    report_entry,
    skipped,
    stands_at,
    write_down,
)
from codec.log.offered import take
from codec.log.readbacks import Called, read_back
from codec.log.shown import Shown
from codec.log.watch import Watch
from codec.radio import by_hand
from codec.radio.answering import repeated
from codec.radio.doubt import LIKELY
from codec.reading import Reading
from codec.sheet.entry import Entry, SheetError
from codec.sheet.state import (
    ADDED,
    BY_HAND,
    MOST_LAP,
    MOST_LAPS,
    correction_of,
    laps,
    withdrawal_of,
)
from codec.sheet.window import Sought
from codec.sheet.words import event_text, message_text, values_text
from grammar.errors import CodeError
from grammar.exact import whole
from grammar.speech.facts import TITLES

_CALLS = 6  # that are told
_FOUND = 12  # entries that are told
_FIX = "/fix, the number of an entry, and what it should say: /fix 12 five one six three"
_WITHDRAW = "/withdraw and the number of an entry"
_LAP = "/lap, the number of a lap, and its report as it should be, or parts of it: /lap 5 motor 95"


def command(watch: Watch, text: str) -> Shown:
    """Do what a line that begins with ``/`` says; raises SheetError where it can't be written."""
    name, _, rest = text[1:].partition(" ")
    known = commands(watch)
    if name in ("", "help", "?"):
        return Shown("plain", tuple(f"/{one}: {about}" for one, about in known.items()))
    try:
        if name in _ACTS:
            return _ACTS[name].do(watch, rest.strip())
        if name in known:
            return _event(watch, name, rest.strip())
    except SheetError:
        raise
    except CodeError as error:
        return Shown.of_error(error)
    return Shown("bad", (f"there is no command /{name[:20]}", "commands: /" + " /".join(known)))


def commands(watch: Watch) -> dict[str, str]:
    """Return what may stand behind ``/``, and what it does."""
    meant = (*TITLES, *watch.book.rules.meanings.values())
    events = {name: watch.event_title(name) for name in meant}
    return {name: act.about for name, act in _ACTS.items() if act.about} | events


def _quit(watch: Watch, rest: str) -> Shown:
    if rest:
        return Shown("bad", ("/quit stands alone",))
    watch.over = True
    return Shown("plain", ())


def _ok(watch: Watch, rest: str) -> Shown:
    waiting, guess, read = watch.waiting, watch.guess, watch.read
    if waiting is None and not rest:
        return Shown("bad", ("nothing waits to be taken",))
    if waiting is not None and waiting.entry.values and read is None and not rest:
        entry = waiting.entry
        taken = correction_of(entry, values=dict(entry.values), certainty=1.0, note=BY_HAND)
        watch.write(taken.replace(at=None))
        return Shown("good", (ByField(entry.values, entry.lap).told(watch.book),))
    if waiting is not None and read is not None and not rest:
        said = watch.keeper().said(read)
        watch.write(
            correction_of(
                waiting.entry,
                lap=waiting.entry.lap if said is None else said,
                lap_by=waiting.entry.lap_by if said is None else "given",
                values=dict(read.values),
                certainty=waiting.entry.certainty,
                note=BY_HAND,
            ).replace(at=None)
        )
        return Shown("good", (str(read),))
    if guess is None or waiting is None or rest or guess.probability < LIKELY:
        return Shown("bad", ("nothing was heard that is likely enough to be taken",))
    reading = watch.restored(guess.guess)
    watch.write(
        report_entry(watch, reading, waiting.entry.heard, guess.probability, "taken by hand")
    )
    return Shown("good", (str(reading),))


def _undo(watch: Watch, rest: str) -> Shown:
    last = watch.standing.undoable(watch.car)
    if last is None or rest:
        return Shown("bad", ("there is nothing to undo",))
    watch.write(withdrawal_of(last))
    return Shown("good", (_withdrawn(watch, last),))


def _withdrawn(watch: Watch, entry: Entry) -> str:
    """Return in words what was withdrawn, with its number."""
    said = entry.string or values_text(watch.book, entry) or entry.heard
    said = event_text(watch.book, entry) if entry.kind == "event" else said
    lap = f"lap {entry.lap}" if entry.kind in ("report", "correction") and entry.lap else ""
    of = f"car {entry.car}" if entry.car not in (watch.car, "") else ""
    return f"withdrawn: #{entry.seq} {' '.join(filter(None, (entry.kind, of, lap)))}: {said}"


def _lap(watch: Watch, rest: str) -> Shown:
    number, _, text = rest.partition(" ")
    try:
        lap = whole(number, 0, MOST_LAP)
    except ValueError as error:
        return Shown("bad", (str(error), _LAP))
    row = laps(watch.standing, watch.car, watch.book).get(lap)
    if not text.strip():
        return Shown("bad", (_LAP,))
    if row is None:
        return write_down(watch, f"lap {lap} {text.strip()}")
    try:
        transcript = watch.decoded(watch.cut(text.strip()), row.entry.lap)
    except CodeError:
        return _fix(watch, f"{row.first.seq} {text}")
    if len(transcript.reports) != 1:
        return Shown("bad", ("one report is expected behind the lap",))
    reading = transcript.reports[0]
    changed = {"message": reading.message, "string": reading.said, "values": dict(reading.values)}
    watch.write(
        correction_of(row.entry, heard=text.strip(), certainty=1.0, lap_by="given", **changed)
    )
    return Shown("good", (f"lap {lap}: {reading}",))


def _of(watch: Watch, rest: str) -> Shown:
    """File the last lap report, also one that is doubtful or not read, with another car or lap."""
    message = (lap_message(watch.book), "")
    reports = watch.standing.of(watch.car, "report")
    mine = [row for row in reports if not row.withdrawn and row.entry.message in message]
    if not mine or not rest:
        return Shown("bad", (_of_usage(watch),))
    entry = mine[-1].entry
    word, _, number = rest.partition(" ")
    if word.casefold() == "lap":
        try:
            lap = whole(number.strip(), 1, MOST_LAP)
        except ValueError as error:
            return Shown("bad", (str(error), _of_usage(watch)))
        return _of_lap(watch, entry, lap)
    if rest not in watch.cars:
        why = f"there is no car {rest[:40]!r}; cars: {', '.join(watch.cars)}"
        return Shown("bad", (why, _of_usage(watch)))
    return _of_car(watch, entry, rest)


def _of_usage(watch: Watch) -> str:
    return f"{filed_with(watch)}: the last report"


def _of_car(watch: Watch, entry: Entry, car: str) -> Shown:
    """File a report with a car, on the lap of that car which it says itself, or its next one where
    it says none; it stays doubtful where that is hardly a lap of that car.
    """
    spoken_to, watch.car = watch.car, car
    try:
        if not entry.string or car == spoken_to:
            by_order = entry.lap_by == "order" and car != spoken_to
            lap = watch.lap + 1 if by_order else entry.lap
            return _filed(watch, entry, car=car, lap=lap)
        said = decode(
            watch.book,
            entry.string,
            typed=True,
            direction="car",
            context=watch.keeper().context(None),
        )
        sure = 1.0 if entry.refusal or entry.certainty is None else entry.certainty
        made = report_entry(watch, watch.restored(said), entry.heard, sure)
    finally:
        watch.car = spoken_to
    changes = {"lap": made.lap, "lap_by": made.lap_by, "values": dict(made.values)}
    shown = _filed(
        watch,
        entry.replace(certainty=made.certainty),
        car=car,
        refusal=made.refusal,
        note=made.note,
        **changes,
    )
    return Shown("warning", (*shown.lines, f"! {made.note}")) if made.refusal else shown


def _of_lap(watch: Watch, entry: Entry, lap: int) -> Shown:
    """File a report with a lap, unless it says another itself; a lap far off is told."""
    check_lap(watch, lap)
    try:
        values = by_hand.values_on(watch.book, entry, lap)
    except CodeError as error:
        return Shown(
            "bad", (error.message, f"where that was misheard: /fix {entry.seq} and the words")
        )
    between = skipped(watch, lap, entry.lap)
    shown = _filed(watch, entry, lap=lap, lap_by="given", values=values)
    return Shown("warning", (*shown.lines, *between)) if between else shown


def _filed(watch: Watch, entry: Entry, **changes: Any) -> Shown:
    """File a report anew; one that was not read stays so."""
    unread = {} if entry.string or entry.values else {"refusal": entry.refusal, "note": entry.note}
    moved = correction_of(entry, certainty=entry.certainty, **unread, **changes)
    watch.write(moved.replace(at=None))
    told = entry.string or ("what was told by field" if entry.values else entry.heard)
    return Shown("good", (f"{told}: of car {moved.car}, lap {moved.lap}",))


def _called(watch: Watch, rest: str) -> Shown:
    """Log the call that is advised first, as said now."""
    race = watch.mine.followed
    from codec.race import advise

    advice = [] if race is None else advise(race)
    if not advice or rest:
        return Shown("bad", ("there is no call to make",))
    return write_down(watch, advice[0].call.string)


def _read_back(watch: Watch, rest: str) -> Shown:
    """Log that the last call that waits was read back as it was said."""
    calls = [one for one in watch.readbacks.log if one.waits]
    if not calls or rest:
        return Shown("bad", ("no call waits to be read back",))
    call = calls[-1].row.entry
    answers = [name for name in watch.book.messages if call.message in repeated(watch.book, name)]
    if answers:
        return write_down(watch, encode(watch.book, dict(call.values), answers[0]).string)
    watch.write(read_back(calls[-1].row))
    return Shown("good", (f"read back: {call.string}",))


def _calls(watch: Watch, rest: str) -> Shown:
    """Tell the last calls and what became of them, the last one first."""
    log = watch.readbacks.log[: -_CALLS - 1 : -1]
    if rest:
        return Shown("bad", ("/calls stands alone",))
    if not log:
        return Shown("plain", ("no call yet",))
    return Shown("plain", tuple(_call_told(watch, one) for one in log))


def _call_told(watch: Watch, call: Called) -> str:
    entry = call.row.entry
    told = call.wrong or call.state
    return f"{entry.string}  {message_text(watch.book, entry)}: {told}"


def _wheel(watch: Watch, rest: str) -> Shown:
    if watch.event is None:
        return Shown("bad", ("where a dial stands is kept with an event file: --event EVENT.toml",))
    dials = watch.event.dials
    if not dials:
        return Shown("bad", ("the event file names no dial: [dials.NAME] there does",))
    told = dial_at(watch.book, dials, rest)
    if told is None:
        return Shown("bad", (f"/wheel and where a dial stands: {', '.join(dials)} = 7",))
    return stands_at(watch, rest, *told)


def speak_to(watch: Watch, text: str) -> Shown:
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
    known = watch.cars.get(name)
    if known is None:
        _check_new(watch, name, driver, named=bool(equals))
    if not known and (driver or known is None):
        watch.journal.append(Entry(kind="car", car=name, message=driver))
        watch.refresh()
    watch.car = name
    shown = watch.spoken_to()
    if known and driver and driver != known:
        return Shown(
            "warning",
            (*shown.lines, f"the sheet has {known} as its driver, not {driver}; that stays"),
        )
    return shown


def _check_new(watch: Watch, name: str, driver: str, *, named: bool) -> None:
    """Raise CodeError for a car that is not in the sheet and may be a slip: ``named`` with ``=``,
    or by a number and with its driver, it is none.
    """
    plainly_new = driver and (named or any(character.isdigit() for character in name))
    if plainly_new or not (watch.cars or driver):
        return
    cars = ", ".join(watch.cars) or "none yet"
    raise CodeError(
        f"there is no car {name[:40]!r} in the sheet; its cars: {cars}",
        kind="usage",
        hint=f"for a new car name its driver: {name[:40]}=DRIVER",
    )


def _numbered(rest: str, usage: str) -> tuple[int, str]:
    """Return the number of an entry, and what stands behind it."""
    number, _, text = rest.partition(" ")
    try:
        return whole(number.removeprefix("#"), 1, 10**9), text.strip()
    except ValueError as error:
        raise CodeError(f"{error}: {usage}", kind="usage") from None


def _accept(watch: Watch, rest: str) -> Shown:
    """Take a reading of a doubtful report; one of no car is of the car spoken to."""
    number, string = _numbered(rest, "/accept 12, or /accept 12 5163JRB")
    entry, told = by_hand.accept(
        watch.journal, watch.standing, number, _whose(watch, number), string
    )
    return Shown("good", (f"#{number} is now: car {entry.car}, {told}",))


def _fix(watch: Watch, rest: str) -> Shown:
    number, words = _numbered(rest, _FIX)
    if not words:
        return Shown("bad", (_FIX,))
    check_lap(watch, by_hand.lap_of(words))
    entry, told = by_hand.fix(watch.journal, watch.standing, number, words, _whose(watch, number))
    return Shown("good", (f"#{number} is now: car {entry.car or '?'}, {told}",))


def _whose(watch: Watch, number: int) -> str | None:
    """Return the car spoken to for a report or call of none, None for one that has a car."""
    found = watch.entries[number - 1] if number <= len(watch.entries) else None
    row = None if found is None else watch.standing.row_of(found)
    of_none = row is not None and row.first.kind in ("report", "call") and not row.entry.car
    return watch.car or None if of_none else None


def _withdraw(watch: Watch, rest: str) -> Shown:
    number, more = _numbered(rest, _WITHDRAW)
    if more:
        return Shown("bad", (_WITHDRAW,))
    taken = by_hand.numbered(watch.standing, number)
    by_hand.withdraw(watch.journal, watch.standing, number)
    return Shown("good", (_withdrawn(watch, taken),))


def would_be(watch: Watch, rest: str) -> Shown:
    """Return what ``/fix`` would make of an entry, and write nothing; raises CodeError."""
    number, words = _numbered(rest, _FIX)
    found = watch.entries[number - 1] if number <= len(watch.entries) else None
    row = None if found is None else watch.standing.row_of(found)
    if not words or row is None or row.first.kind not in ("report", "call"):
        return Shown("plain", ())
    fixed = by_hand.fixed(watch.book, row, words)
    in_part = None if isinstance(fixed, Reading) else ByField(fixed.values, fixed.lap)
    told = str(fixed) if in_part is None else in_part.told(watch.book)
    whole = by_hand.taken_whole(watch.book, row.entry, fixed.values)
    return Shown("good", ("; ".join([told, *whole]),))


def _find(watch: Watch, rest: str) -> Shown:
    """Tell the last entries with all of some words, the last one first."""
    wanted = rest.casefold().split()
    if not wanted:
        return Shown("bad", ("/find and the words",))
    found: list[str] = []

    def says(number: int, lap: int | None, heard: str, values: str) -> bool:
        """Tell of a note that nothing is about whether it may have the words."""
        text = f"#{number}  lap {lap}  {heard}".casefold()
        return bool(values) or all(word in text for word in wanted)

    for row in watch.standing.newest_first(Sought(("lap", "heard", "values"), says)):
        entry = row.entry
        said = event_text(watch.book, entry) if row.first.kind == "event" else ""
        said = said or (message_text(watch.book, entry) if entry.values else "")
        lap = "" if entry.lap is None else f"lap {entry.lap}  "
        told = "  ".join(filter(None, (f"#{row.first.seq}", f"{lap}{entry.heard}".strip(), said)))
        if entry.car in (watch.car, "") and all(word in told.casefold() for word in wanted):
            found.append(told)
    if not found:
        return Shown("warning", (f"nothing with {rest[:60]!r}",))
    more = [f"and {len(found) - _FOUND} more"] if len(found) > _FOUND else []
    return Shown("plain", (*found[:_FOUND], *more))


def _note(watch: Watch, rest: str) -> Shown:
    if not rest:
        return Shown("bad", ("/note and the words",))
    watch.write(note(watch, rest))
    return Shown("good", (f"noted: {rest}",))


def _event(watch: Watch, name: str, rest: str) -> Shown:
    if rest and name != ADDED:
        return Shown("bad", (f"/{name} stands alone",))
    try:
        amount = Decimal(whole(rest, 0, MOST_LAPS)) if name == ADDED else None
    except ValueError as error:
        return Shown("bad", ("/added and a number of laps", *([str(error)] if rest else [])))
    watch.write(watch.entry("event", message=name, amount=amount))
    return Shown("good", (f"{watch.event_title(name)} {'' if amount is None else amount}".strip(),))


class _Act(NamedTuple):
    """What a command does, and in words; one without words is not listed."""

    do: Callable[[Watch, str], Shown]
    about: str


_ACTS = {
    "ok": _Act(_ok, "take the likeliest reading of what was heard"),
    "heard": _Act(take, ""),
    "undo": _Act(_undo, "withdraw the last entry"),
    "called": _Act(_called, "log the call that is advised, as said now"),
    "right": _Act(_read_back, "the last call was read back right"),
    "calls": _Act(_calls, "the last calls, and how they were read back"),
    "of": _Act(_of, "the last report is of another car, by its number, or lap: /of lap 4"),
    "accept": _Act(_accept, "take a doubtful report by its number: /accept 12"),
    "fix": _Act(_fix, "put an entry right by its number: /fix 12 and the words"),
    "withdraw": _Act(_withdraw, "take an entry back by its number: /withdraw 12"),
    "wheel": _Act(_wheel, "where a dial stands: /wheel regeneration=7"),
    "lap": _Act(_lap, "enter a lap again: /lap 5 and the report"),
    "find": _Act(_find, "what was said with these words: /find regen"),
    "car": _Act(speak_to, "speak to another car: /car 61, for a new one /car 61=DRIVER"),
    "note": _Act(_note, "write a note"),
    "quit": _Act(_quit, "leave; everything is on the disk"),
    "q": _Act(_quit, ""),
}
