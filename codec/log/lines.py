"""What a line of the live sheet says: reports and calls, phrases and questions, talk, and reports
that can't be read.

Only where code words are few is a line talk. What may be an attempt at a report never is: that is
kept and asked for.
"""

from __future__ import annotations

from decimal import Decimal

from codec.decoding import Transcript
from codec.log.shown import Shown
from codec.log.watch import Watch
from codec.radio.doubt import NOISY, Doubt, doubt, of_any_lap
from codec.radio.finder import Finder, Passages
from codec.reading import Reading
from codec.sheet.entry import Entry
from codec.sheet.state import ADDED, Row, lap_message
from grammar.errors import CodeError
from grammar.speech.kinds import CHANGING, SPOKEN, WordKind
from grammar.speech.words import Word, Wording, cut

_TALK = "… "  # behind this, small letters are not taken for symbols
_SIGN = 1.0  # bits: fewer than this and a word is hardly a sign of a code, such as "to" and "for"


def write_down(watch: Watch, text: str) -> Shown:
    """Write down what a line says; raises SheetError where it can't be written."""
    words = watch.cut(text)
    try:
        transcript = watch.decoded(words)
    except CodeError as error:
        talked = talk(watch.finder, words)
        return _refused(watch, text, error) if talked is None else _talked(watch, text, talked)
    if not (transcript.reports or transcript.events or transcript.asks):
        return Shown("warning", ("nothing in it to log",))
    return _read(watch, transcript)


def _read(watch: Watch, transcript: Transcript) -> Shown:
    """Keep what was read, and tell what there is to look at in it."""
    text, shown, warnings = transcript.text, list[str](), list[str]()
    entries: list[Entry] = []
    for reading in transcript.reports:
        entries.append(report_entry(watch, reading, text, 1.0))
        shown.append(str(reading))
        warnings += [f"! {warning}" for warning in reading.warnings]
        waits = watch.readbacks.waits(reading)
        if waits is not None:
            warnings.append(
                f"{waits.entry.string} waits to be read back; this is one more call, /undo if it"
                " was the read-back without its end"
            )
    for name, _ in transcript.events:
        fact = watch.book.rules.meanings[name]
        entries.append(_event(watch, fact, text))
        shown.append(watch.event_title(fact))
    for ask in transcript.asks:
        asked = text[ask.span[0] : ask.span[1]]
        entries.append(_question(watch, asked))
        shown.append(f"asked: {asked}")
    watch.write(*entries)
    watch.refresh()
    return Shown(
        "warning" if warnings else "good", (*shown, *warnings, *watch.spoken_to().lines[1:])
    )


def _event(watch: Watch, fact: str, text: str, number: int | None = None) -> Entry:
    lap, lap_by = watch.keeper().now(None, None)
    amount = None if number is None or fact != ADDED else Decimal(number)
    return Entry(
        kind="event",
        car=watch.car,
        lap=lap,
        lap_by=lap_by,
        heard=text,
        message=fact,
        amount=amount,
    )


def note(watch: Watch, text: str) -> Entry:
    """Return the entry of a note on the lap being driven."""
    lap, lap_by = watch.keeper().now(None, None)
    return Entry(kind="note", car=watch.car, lap=lap, lap_by=lap_by, heard=text)


def _question(watch: Watch, text: str) -> Entry:
    waiting = watch.waiting
    about = waiting.first.seq if waiting is not None else None
    return Entry(kind="question", car=watch.car, heard=text, about=about)


# talk


def talk(finder: Finder, words: Wording) -> Passages | None:
    """Return the phrases and questions in a line of talk, None where the line may be a report.

    A line is talk if less than half of its words are code words, no half of a lap report stands in
    a row, and nothing in it takes something back or puts it right. Words that are as common in talk
    as in codes count for neither; small letters alone are a word here, no string.
    """
    in_talk = [word for word in _cut_as_talk(finder, words) if word.kind is not WordKind.FILLER]
    if any(word.kind in CHANGING for word in in_talk):
        return None
    signs = sum(_is_sign(finder, word) for word in in_talk)
    others = sum(word.kind not in SPOKEN for word in in_talk)
    name = lap_message(finder.book)
    half = finder.book.messages[name].lengths[0] / 2 if name else len(in_talk)
    if (in_talk and signs >= others) or _signs_in_a_row(finder, in_talk) >= half:
        return None
    found = finder.find(words)
    asides = [passage for passage in found.listed if passage.kind in ("phrase", "ask")]
    return Passages(asides, found.reason)


def _cut_as_talk(finder: Finder, words: Wording) -> Wording:
    """Return the words as they are among others: small letters alone are no symbols then."""
    if len(words) > 1 or not words.text.islower():
        return words
    return cut(finder.book.lexicon, f"{_TALK}{words.text}")[1:]


def _is_sign(finder: Finder, word: Word) -> bool:
    return word.kind in SPOKEN and finder.evidence.of_word(word) >= _SIGN


def _signs_in_a_row(finder: Finder, words: list[Word]) -> int:
    """Return the most signs of a code with nothing but code words between them."""
    most = run = 0
    for word in words:
        run = run + _is_sign(finder, word) if word.kind in SPOKEN else 0
        most = max(most, run)
    return most


def _talked(watch: Watch, text: str, talked: Passages) -> Shown:
    """Keep talk as a note, with the phrases and questions in it; a report that waits for its repeat
    waits on.
    """
    entries = [note(watch, text)]
    shown: list[str] = []
    for passage in talked.listed:
        if passage.kind == "phrase":
            fact = watch.book.rules.meanings[passage.name]
            entries.append(_event(watch, fact, text, passage.number))
            shown.append(watch.event_title(fact))
        else:
            entries.append(_question(watch, passage.name))
            shown.append(f"asked: {passage.name}")
    watch.write(*entries)
    watch.refresh()
    if talked.listed:
        shown.append("noted as talk")
    else:  # the reason may name a phrase
        why = talked.reason
        why = why if why.startswith("'") else "no report, call or phrase in it"
        shown.append(f"noted as talk: {why}; /undo takes it back, / lists the commands")
    return Shown("good" if talked.listed else "plain", (*shown, *watch.spoken_to().lines[1:]))


# reports


def report_entry(
    watch: Watch, reading: Reading, text: str, certainty: float, note: str = ""
) -> Entry:
    """Return the entry of a reading: a correction of the report or the wrong read-back that it puts
    right, else a new one.
    """
    lap, lap_by = watch.keeper().of(reading, None, None)
    entry = Entry(
        kind="report" if reading.direction == "car" else "call",
        car=watch.car,
        lap=lap,
        lap_by=lap_by,
        heard=text,
        message=reading.message,
        string=reading.said,
        values=dict(reading.values),
        certainty=certainty,
        note=note,
    )
    waiting, lap_report = watch.waiting, lap_message(watch.book)
    if waiting is not None and reading.message == (waiting.entry.message or lap_report):
        of_lap = reading.message == lap_report
        if not of_lap or lap in (None, waiting.entry.lap) or not watch.lap:
            return entry.replace(kind="correction", about=waiting.first.seq)
    mended = watch.readbacks.mended(reading) if reading.direction == "car" else None
    return entry if mended is None else entry.replace(kind="correction", about=mended.first.seq)


def _refused(watch: Watch, text: str, error: CodeError) -> Shown:
    """Keep a report that can't be read, with the question to ask; take it all the same where the
    book's threshold allows.

    A read-back is never taken for another one than was called: that is always asked for.
    """
    before = watch.guess
    answer = None if before is None else doubt(watch.book, text, watch.values(), before)
    last = watch.values()
    if watch.waiting is not None:
        last = of_any_lap(watch.book, last)
    alone = doubt(watch.book, text, last, radio=watch.mine.radio)
    taken_alone = alone is not None and alone.accept
    guess = answer if answer is not None and answer.accept and not taken_alone else alone
    if guess is None:
        return _ask_for(watch, text, error, None, None, answer)
    reading = watch.restored(guess.guess)
    if not guess.accept or watch.readbacks.differs(reading):
        likely = reading if guess.message else None
        return _ask_for(watch, text, error, guess, likely, answer)
    watch.write(report_entry(watch, reading, text, guess.probability, NOISY))
    return Shown("warning", (f"{reading}  ({guess.sure} sure)", f"as heard: {error.message}"))


def _ask_for(
    watch: Watch,
    text: str,
    error: CodeError,
    guess: Doubt | None,
    likely: Reading | None,
    answer: Doubt | None,
) -> Shown:
    """Keep a report that can't be read, and the question to ask: of one that most likely was a
    wrong read-back once more, all of it.
    """
    entry = _unread(watch, text, error, guess, likely)
    wrong = None if likely is None else watch.readbacks.repeating(likely)
    if wrong is not None:
        [kept] = watch.write(_answer(watch, text, wrong.row, entry.lap))
    else:
        kept = _keep_unread(watch, entry, guess, answer)
    watch.refresh()
    question = watch.asking if wrong is None else "SAY AGAIN"
    watch.write(
        Entry(
            kind="question",
            car=watch.car,
            lap=entry.lap,
            lap_by="order",
            heard=question,
            about=kept.about or kept.seq,
        )
    )
    doubts = watch.doubtful() if wrong is None else []
    return Shown("bad", (f"ask: {question}", error.message, *doubts))


def _answer(watch: Watch, text: str, row: Row, lap: int | None) -> Entry:
    return Entry(kind="answer", car=watch.car, lap=lap, heard=text, about=row.first.seq)


def _keep_unread(watch: Watch, entry: Entry, guess: Doubt | None, answer: Doubt | None) -> Entry:
    """Keep a report that can't be read: as one more, as the better version of the one that waits,
    or where less is known from it than from what waits, as an answer about that.
    """
    waiting, before = watch.waiting, watch.guess
    if waiting is None or (entry.message, entry.lap) != (waiting.entry.message, waiting.entry.lap):
        return watch.write(entry)[0]
    if before is None or (guess is not None and guess.probability > before.probability):
        return watch.write(entry.replace(kind="correction", about=waiting.first.seq))[0]
    [kept] = watch.write(_answer(watch, entry.heard, waiting, waiting.entry.lap))
    if answer is not None and answer.probability > before.probability:
        watch.answered(answer)
    return kept


def _unread(
    watch: Watch, text: str, error: CodeError, guess: Doubt | None, likely: Reading | None
) -> Entry:
    """Return the entry of a report that can't be read: of the lap to come, or of the message and
    the lap it likely is.

    What tells nothing by itself is of the report that waits for its repeat.
    """
    waiting, lap_report = watch.waiting, lap_message(watch.book)
    entry = Entry(
        kind="report",
        car=watch.car,
        lap=watch.lap + 1,
        lap_by="order",
        heard=text,
        refusal=error.kind,
        note=error.message[:400],
    )
    if likely is not None and likely.message != lap_report:
        lap, lap_by = watch.keeper().now(None, None)
        return entry.replace(message=likely.message, lap=lap, lap_by=lap_by)
    if waiting is None or (likely is not None and waiting.entry.message not in ("", lap_report)):
        return entry
    said = guess.lap if guess is not None else None
    if said is not None and waiting.entry.lap is not None and said > waiting.entry.lap:
        return entry.replace(lap=said)
    return entry.replace(
        message=waiting.entry.message, lap=waiting.entry.lap, lap_by=waiting.entry.lap_by
    )
