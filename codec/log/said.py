"""What a line of the live sheet says: reports and calls, phrases and questions, talk, and reports
that can't be read.
"""

from __future__ import annotations

from codec.log.session import Session, Shown
from codec.log.talk import talk
from codec.radio.doubt import Doubt, doubt
from codec.radio.finder import Passages
from codec.reading import Reading
from codec.sheet.entry import Entry
from codec.sheet.state import lap_message
from grammar.errors import CodeError


def said(session: Session, text: str) -> Shown:
    """Write down what a line says; raises SheetError where it can't be written."""
    try:
        transcript = session.decoded(text)
    except CodeError as error:
        heard = talk(session.finder, text)
        return _refused(session, text, error) if heard is None else _talked(session, text, heard)
    if not (transcript.reports or transcript.events or transcript.asks):
        return Shown("warning", ("nothing in it to log",))
    shown: list[str] = []
    warnings: list[str] = []
    entries: list[Entry] = []
    for reading in transcript.reports:
        entries.append(report(session, reading, text, 1.0))
        shown.append(str(reading))
        warnings += [f"! {warning}" for warning in reading.warnings]
        waits = session.readbacks.waits(reading)
        if waits is not None:
            warnings.append(
                f"{waits.entry.string} waits to be read back; this is one more call, /undo if it"
                " was the read-back without its end"
            )
    for name, _ in transcript.events:
        entries.append(_event(session, name, text))
        shown.append(session.event_title(name))
    for ask in transcript.asks:
        entries.append(_question(session, text[ask.span[0] : ask.span[1]]))
        shown.append(f"asked: {text[ask.span[0] : ask.span[1]]}")
    session.journal.append_all(entries)
    session.refresh()
    return Shown(
        "warning" if warnings else "good", (*shown, *warnings, *session.standing().lines[1:])
    )


def _event(session: Session, name: str, text: str) -> Entry:
    lap, lap_by = session.keeper().now(None, None)
    return Entry(kind="event", car=session.car, lap=lap, lap_by=lap_by, heard=text, message=name)


def _question(session: Session, text: str) -> Entry:
    waiting = session.waiting
    return Entry(
        kind="question",
        car=session.car,
        heard=text,
        about=waiting.first.seq if waiting is not None else None,
    )


def _talked(session: Session, text: str, heard: Passages) -> Shown:
    """Keep talk as a note, with the phrases and questions in it; a report that waits for its repeat
    waits on.
    """
    entries = [Entry(kind="note", car=session.car, lap=session.lap or None, heard=text)]
    shown: list[str] = []
    for found in heard.listed:
        entries.append(
            _event(session, found.name, text)
            if found.kind == "phrase"
            else _question(session, found.name)
        )
        shown.append(
            session.event_title(found.name) if found.kind == "phrase" else f"asked: {found.name}"
        )
    session.journal.append_all(entries)
    session.refresh()
    why = (
        heard.reason if heard.reason.startswith("'") else "no report, call or phrase in it"
    )  # else the reason names a phrase
    shown.append(
        "noted as talk"
        if heard.listed
        else f"noted as talk: {why}; /undo takes it back, / lists the commands"
    )
    shown += session.standing().lines[1:]
    return Shown("good" if heard.listed else "plain", tuple(shown))


def report(
    session: Session, reading: Reading, text: str, certainty: float, note: str = ""
) -> Entry:
    """Return the entry of a reading: a correction of the report or the wrong read-back that it puts
    right, else a new one.
    """
    lap, lap_by = session.keeper().of(reading, None, None)
    entry = Entry(
        kind="report" if reading.direction == "car" else "call",
        car=session.car,
        lap=lap,
        lap_by=lap_by,
        heard=text,
        message=reading.message,
        string=reading.said,
        values=dict(reading.values),
        certainty=certainty,
        note=note,
    )
    waiting, lap_report = session.waiting, lap_message(session.book)
    if waiting is not None and reading.message == (waiting.entry.message or lap_report):
        of_lap = reading.message == lap_report
        if not of_lap or lap in (None, waiting.entry.lap) or not session.lap:
            return entry.replace(kind="correction", about=waiting.first.seq)
    mended = session.readbacks.mended(reading) if reading.direction == "car" else None
    return entry if mended is None else entry.replace(kind="correction", about=mended.first.seq)


def _refused(session: Session, text: str, error: CodeError) -> Shown:
    """Keep a report that can't be read, with the question to ask; take it all the same where the
    book's threshold allows.

    A read-back is never taken for another one than was called: that is always asked for.
    """
    waiting, standing = session.waiting, session.guess
    answer = None if standing is None else doubt(session.book, text, session.values(), standing)
    guess = doubt(session.book, text, session.values())
    if answer is not None and answer.accept and not (guess is not None and guess.accept):
        guess = answer
    reading = None if guess is None else session.restored(guess.guess)
    if (
        guess is not None
        and reading is not None
        and guess.accept
        and not session.readbacks.differs(reading)
    ):
        session.journal.append(
            report(session, reading, text, guess.probability, "heard through noise")
        )
        return Shown("warning", (f"{reading}  ({guess.sure} sure)", f"as heard: {error.message}"))
    likely = reading if guess is not None and guess.message else None
    entry = _unread(session, text, error, guess, likely)
    wrong = None if likely is None else session.readbacks.repeating(likely)
    if wrong is not None:
        kept = session.journal.append(
            Entry(
                kind="answer", car=session.car, lap=entry.lap, heard=text, about=wrong.row.first.seq
            )
        )
    elif waiting is None or (entry.message, entry.lap) != (
        waiting.entry.message,
        waiting.entry.lap,
    ):
        kept = session.journal.append(entry)
    elif standing is None or (guess is not None and guess.probability > standing.probability):
        kept = session.journal.append(entry.replace(kind="correction", about=waiting.first.seq))
    else:  # less is known from it than from what stands
        kept = session.journal.append(
            Entry(
                kind="answer",
                car=session.car,
                lap=waiting.entry.lap,
                heard=text,
                about=waiting.first.seq,
            )
        )
        if answer is not None and answer.probability > standing.probability:
            session.answered(answer)
    session.refresh()
    question = session.asking if wrong is None else "SAY AGAIN"
    session.journal.append(
        Entry(
            kind="question",
            car=session.car,
            lap=entry.lap,
            lap_by="order",
            heard=question,
            about=kept.about or kept.seq,
        )
    )
    return Shown(
        "bad", (f"ask: {question}", error.message, *(session.doubtful() if wrong is None else ()))
    )


def _unread(
    session: Session, text: str, error: CodeError, guess: Doubt | None, likely: Reading | None
) -> Entry:
    """Return the entry of a report that can't be read: of the lap to come, or of the message and
    the lap it likely is.

    What tells nothing by itself is of the report that waits for its repeat.
    """
    waiting, lap_report = session.waiting, lap_message(session.book)
    entry = Entry(
        kind="report",
        car=session.car,
        lap=session.lap + 1,
        lap_by="order",
        heard=text,
        refusal=error.kind,
        note=error.message[:400],
    )
    if likely is not None and likely.message != lap_report:
        lap, lap_by = session.keeper().now(None, None)
        return entry.replace(message=likely.message, lap=lap, lap_by=lap_by)
    if waiting is None or (likely is not None and waiting.entry.message not in ("", lap_report)):
        return entry
    said = guess.lap if guess is not None else None
    if said is not None and waiting.entry.lap is not None and said > waiting.entry.lap:
        return entry.replace(lap=said)
    return entry.replace(
        message=waiting.entry.message, lap=waiting.entry.lap, lap_by=waiting.entry.lap_by
    )
