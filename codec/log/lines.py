"""What a line of the live sheet says: reports and calls, phrases and questions, talk, and reports
that can't be read.

Only where code words are few is a line talk. What may be an attempt at a report never is: that is
kept and asked for.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from codec.decoding import Transcript
from codec.lap_report import lap_field, lap_message
from codec.log.fields import ByField, Nearly, by_field, called, dial_at, nearly, no_field
from codec.log.readbacks import read_back
from codec.log.shown import Shown
from codec.log.watch import Watch
from codec.radio.doubt import NOISY, Doubt
from codec.radio.finder import Finder, Passages
from codec.radio.laps import whole_lap, without_report
from codec.radio.leaps import STRAY_SURE
from codec.radio.parts import asked_for, gone_on, put_together, said_twice
from codec.reading import Reading
from codec.sheet.entry import DOUBTFUL, Entry, LapBy
from codec.sheet.state import ADDED, MOST_LAP, POSITION, Row
from grammar.errors import CodeError
from grammar.speech.kinds import CHANGING, SPOKEN, WordKind
from grammar.speech.words import Word, Wording, cut

_TALK = "… "  # behind this, small letters are not taken for symbols
_HOW_MANY = "how many laps? /added 3 counts them"
_READ_BACK = 25_000  # milliseconds: so soon a call is read back, common practice, no source
_GOES_ON = 30_000  # milliseconds: so soon a report that ended too early goes on
_WITH_GAPS = re.compile(r"(?=[^\W_?]*[?]+[^\W_])(?=\D*\d)[^\W_?]*(?:[?]+[^\W_?]*)+", re.ASCII)
_LAP_BEFORE = re.compile(r"lap\s+(\d{1,5})\b[\s,:;-]*(?=\S)", re.ASCII | re.IGNORECASE)
_LAP_NAMED = re.compile(r"lap\s*=?\s*(\d{1,5})\b", re.ASCII | re.IGNORECASE)
_BY_FIELD = "by field"  # the note of a report of which parts were told
_SIGN = 1.0  # bits: fewer than this and a word is hardly a sign of a code, such as "to" and "for"


def with_gaps(text: str) -> str:
    """Return a line that is one string with question marks in it, for symbols nobody heard, as its
    symbols are typed apart from them; any other as it is.
    """
    if not _WITH_GAPS.fullmatch(text):
        return text
    return " ".join(re.findall(r"[^\W_]+|[?]", text.upper()))


def write_down(watch: Watch, text: str) -> Shown:
    """Write down what a line says; raises SheetError where it can't be written."""
    text = with_gaps(text)
    words = watch.cut(text)
    if (whole := _with_what_waits(watch, words)) is not None:
        return _made_whole(watch, text, whole)
    if (right := _corrected(watch, text, words)) is not None:
        return _put_right(watch, *right)
    try:
        transcript = watch.decoded(said_twice(words) or words)
    except CodeError as error:
        return _told_otherwise(watch, text, words, error)
    if not (transcript.reports or transcript.events or transcript.asks):
        return Shown("warning", ("nothing in it to log",))
    return _read(watch, transcript)


def to_be_heard(watch: Watch, text: str) -> bool:
    """Tell whether a line would be taken for a report that can't be read, which is heard."""
    words = watch.cut(text)
    if watch.finder.named.speaks(text):
        return False
    if _with_what_waits(watch, words) is not None or _corrected(watch, text, words) is not None:
        return False
    try:
        watch.decoded(said_twice(words) or words)
    except CodeError:
        try:
            return _otherwise(watch, text, words) is None
        except CodeError:
            return False
    return False


def _with_what_waits(watch: Watch, words: Wording) -> Reading | None:
    """Return the report that waits, made whole by words that say the part asked for, or go on where
    it ended too early; None where they do not.
    """
    waiting = watch.waiting
    if waiting is None or waiting.entry.string or not waiting.entry.heard:
        return None
    first, context = watch.cut(waiting.entry.heard), watch.keeper().context(None)
    for question in waiting.questions[-1:]:
        part = asked_for(watch.book, question.heard)
        whole = part and put_together(watch.book, first, words, part, context)
        if whole:
            return whole
    soon = waiting.entry.at is not None and watch.now() - waiting.entry.at <= _GOES_ON
    if waiting.entry.refusal != "incomplete" or not soon:
        return None
    return gone_on(watch.book, first, words, context)


def _made_whole(watch: Watch, text: str, found: Reading) -> Shown:
    """Keep the report that waits, now that its rest was said."""
    reading, waiting = watch.restored(found), watch.waiting
    entry = report_entry(watch, reading, text, 1.0)
    if waiting is not None and not entry.refusal:
        entry = entry.replace(kind="correction", about=waiting.first.seq)
    watch.write(entry)
    watch.refresh()
    told = [entry.note] if entry.refusal else [f"! {warning}" for warning in reading.warnings]
    shown = f"{reading}  (with what was heard before: {reading.said})"
    return Shown("warning" if told else "good", (shown, *told, *watch.spoken_to().lines[1:]))


def _corrected(watch: Watch, text: str, words: Wording) -> tuple[Reading, Entry] | None:
    """Return what a line that begins with CORRECTION says, and its entry; None for any other."""
    if not words or words[0].kind is not WordKind.CORRECTION:
        return None
    try:
        reports = watch.decoded(words[1:]).reports
    except CodeError:
        return None
    if len(reports) != 1:
        return None
    reading = watch.restored(reports[0])
    entry = report_entry(watch, reading, text, 1.0)
    return None if entry.refusal else (reading, entry)


def _put_right(watch: Watch, reading: Reading, entry: Entry) -> Shown:
    """Keep a correction as what its lap's report, or the last call of its kind that waits, should
    have been.
    """
    waits = watch.readbacks.last_of(reading)
    of_lap = reading.message == lap_message(watch.book)
    row = watch.mine.reports.get(entry.lap or 0) if of_lap else waits
    told = str(reading)
    if row is not None and entry.kind != "correction":
        entry = entry.replace(kind="correction", about=row.first.seq)
        told += f"  (was {row.entry.string or 'what was told by field'})"
    watch.write(entry)
    watch.refresh()
    warnings = [f"! {warning}" for warning in reading.warnings]
    return Shown("warning" if warnings else "good", (told, *warnings))


def _told_otherwise(watch: Watch, text: str, words: Wording, error: CodeError) -> Shown:
    """Write down a line that is no report or call: values by the names of fields, where a dial
    stands, talk, or a report that can't be read.
    """
    try:
        told = _otherwise(watch, text, words)
    except CodeError as wrong:
        typed = "=" in text  # nobody says that: a slip of who types it, and no report
        return Shown.of_error(wrong) if typed else _ask_for(watch, text, wrong, None, None, None)
    unknown = no_field(watch.book, text) if isinstance(told, Passages) else None
    if unknown is not None:
        return Shown.of_error(unknown)
    match told:
        case OfLap():
            return _of_said_lap(watch, text, told)
        case ByField():
            return _by_field(watch, text, told)
        case Reading():
            return _read(watch, Transcript(text, (told,)))
        case Nearly():
            return _offered(watch, text, told)
        case Passages():
            return _talked(watch, text, told)
        case dial, position:
            return stands_at(watch, text, dial, position)
        case _:
            return _refused(watch, text, error)


def _otherwise(
    watch: Watch, text: str, words: Wording
) -> OfLap | ByField | Reading | Nearly | tuple[str, int] | Passages | None:
    """Return what a line that is no report or call says: a report behind its lap, values by the
    names of fields, but for one word perhaps, a call in plain words, where a dial stands, or talk;
    None where it is a report that can't be read. Raises CodeError.
    """
    told = said_of_lap(watch, text) or told_by_field(watch, text)
    if told is not None:
        return told
    dial = None if watch.event is None else dial_at(watch.book, watch.event.dials, text)
    if dial is not None:
        return dial
    if (call := called(watch.finder.named, text)) is not None:
        return call
    if (but_one := nearly(watch.finder.named, text)) is not None:
        check_lap(watch, but_one.told.lap)
        return but_one
    return talk(watch.finder, words)


@dataclass(frozen=True, slots=True)
class OfLap:
    """A report, and the lap that was said before it."""

    reading: Reading
    lap: int


def said_of_lap(watch: Watch, text: str) -> OfLap | None:
    """Return the lap report that a line says behind its lap ("lap 12" and the report), None where
    it is no such line; raises CodeError where the report says another lap itself.
    """
    said = _LAP_BEFORE.match(text)
    if said is None:
        return None
    lap, words = int(said[1]), watch.cut(text[said.end() :])
    try:
        transcript = watch.decoded(words, lap)
    except CodeError:
        return None
    message = lap_message(watch.book)
    if len(transcript.reports) != 1 or transcript.reports[0].message != message:
        return None
    [reading] = transcript.reports
    own = watch.keeper().said(reading)
    if own not in (None, lap):
        name = lap_field(watch.book)
        says = watch.book.fields[name].text(reading.levels[name])
        told = f"{reading.said} says lap {says}, and lap {lap} was said before it"
        raise CodeError(told, kind=DOUBTFUL)
    check_lap(watch, lap)
    return OfLap(reading, lap)


def told_by_field(watch: Watch, text: str) -> ByField | None:
    """Return what a line tells by the names of fields, None where it is no such line; raises
    CodeError for a lap beyond the flag, and for a value that its field does not have.
    """
    told = by_field(watch.finder.named, text)
    if told is not None:
        check_lap(watch, told.lap)
    return told


def check_lap(watch: Watch, lap: int | None) -> None:
    """Raise CodeError for a lap beyond the flag."""
    if why := watch.beyond(lap):
        raise CodeError(why, kind="sheet-entry")


def _lap_named(watch: Watch, text: str) -> int | None:
    """Return the lap that a line which can't be read names, None where it names none that can
    be.
    """
    named, figures = watch.finder.named, _LAP_NAMED.match(text)
    said = whole_lap(named.parts(text).get(named.lap)) if figures is None else int(figures[1])
    return None if said is None or not 0 <= said <= MOST_LAP or watch.beyond(said) else said


def skipped(watch: Watch, lap: int | None, besides: int | None = None) -> list[str]:
    """Return what to tell of the laps that have no report between the last one that has, but for
    one, and a lap; [] where there are none.
    """
    if lap is None:
        return []
    between = without_report((one for one in watch.mine.reports if one not in (besides, lap)), lap)
    return [f"! no report of {between}; /undo takes it back"] if between else []


def _of_said_lap(watch: Watch, text: str, told: OfLap) -> Shown:
    """Keep a report of the lap that was said before it."""
    waiting, before = watch.waiting, watch.mine.reports
    entry = report_entry(watch, told.reading, text, 1.0)
    if waiting is not None and waiting.entry.lap != told.lap:
        entry = entry.replace(kind="report", about=None)
    entry = entry.replace(lap=told.lap, lap_by="given", certainty=1.0, refusal="", note="")
    watch.write(entry)
    watch.refresh()
    again = reported_again(watch, before, [entry]) + skipped(watch, told.lap)
    warnings = [f"! {warning}" for warning in told.reading.warnings]
    shown = f"lap {told.lap}: {told.reading}"
    return Shown("warning" if again or warnings else "good", (shown, *warnings, *again))


def part_of(watch: Watch, told: ByField) -> tuple[int, Row | None]:
    """Return the lap that is told of field by field, and the report of which other fields were told
    so just before, None where there is none.
    """
    reports = watch.standing.of(watch.car, "report")
    last = reports[-1] if reports else None
    known = {} if last is None else last.entry.values
    again = any(known.get(name, value) != value for name, value in told.values.items())
    if (
        last is None
        or last.withdrawn
        or last.entry.note != _BY_FIELD
        or last.entry.lap is None
        or told.lap not in (None, last.entry.lap)
        or again
        or watch.now() - (last.entry.at or 0) > _GOES_ON
    ):
        return (watch.lap + 1 if told.lap is None else told.lap), None
    return last.entry.lap, last


def _offered(watch: Watch, text: str, but_one: Nearly) -> Shown:
    """Keep what was told field by field but for one word, until somebody says what that was."""
    entry = told_entry(watch, text, but_one.told)
    entry = entry.replace(refusal=DOUBTFUL, note=but_one.asked, certainty=None)
    watch.write(entry)
    watch.refresh()
    told = but_one.told.told(watch.book)
    return Shown("bad", (but_one.asked, f"else: {told}  /ok takes it, or enter it again"))


def _by_field(watch: Watch, text: str, told: ByField) -> Shown:
    """Keep what was told field by field."""
    last = part_of(watch, told)[1]
    entry, before = told_entry(watch, text, told), watch.mine.reports
    watch.write(entry)
    watch.refresh()
    again = reported_again(watch, before, [entry])
    again += [] if last is not None or told.lap is None else skipped(watch, told.lap)
    shown = f"part of the report of lap {entry.lap}: {ByField(entry.values, None).told(watch.book)}"
    return Shown("warning" if again else "good", (shown, *again))


def told_entry(watch: Watch, text: str, told: ByField) -> Entry:
    """Return the entry of what was told field by field: what is known of the report that waits,
    where there is one, more of that of which other fields were just told, else a report of its own.
    """
    waiting, name = watch.waiting, lap_message(watch.book)
    lap, last = part_of(watch, told)
    lap_by: LapBy = "order" if told.lap is None else "given"
    entry = Entry(
        kind="report",
        car=watch.car,
        lap=lap,
        lap_by=lap_by,
        heard=text,
        message=name,
        values=dict(told.values),
        certainty=1.0,
        note=_BY_FIELD,
    )
    if last is not None:
        entry = entry.replace(
            kind="correction",
            about=last.first.seq,
            lap_by=last.entry.lap_by if told.lap is None else "given",
            heard=f"{last.entry.heard}; {text}",
            values={**last.entry.values, **told.values},
        )
    elif waiting is not None and waiting.entry.message in ("", name):
        if told.lap is None:
            entry = entry.replace(lap=waiting.entry.lap, lap_by=waiting.entry.lap_by)
        if entry.lap == waiting.entry.lap:
            entry = entry.replace(kind="correction", about=waiting.first.seq)
    return entry


def stands_at(watch: Watch, text: str, dial: str, position: int) -> Shown:
    """Keep where the driver says that a dial stands; raises CodeError where it can't."""
    race = watch.mine.followed
    if race is not None:
        race.ledger.as_it_stands().stands(dial, position)
    amount = Decimal(position)
    watch.write(watch.entry("event", heard=text, message=POSITION, amount=amount, note=dial))
    return Shown("good", (f"{dial} stands at {position}",))


def reported_again(watch: Watch, before: Mapping[int, Row], written: Sequence[Entry]) -> list[str]:
    """Return what to ask about reports of laps that had one already: which car or lap they were of.
    Both stay; the one that fits the laps about it counts.
    """
    lines: list[str] = []
    for entry in written:
        if entry.kind != "report" or entry.message != lap_message(watch.book):
            continue
        there = before.get(entry.lap or 0)
        if there is None or there.entry.values == entry.values or not _clash(there.entry, entry):
            continue
        counts = watch.mine.reports[entry.lap or 0].entry
        fits = "this one" if counts.values == entry.values else "the earlier one"
        lines += [
            (
                f"lap {entry.lap} has a report already, {there.entry.string or 'by field'}: which"
                f" car or lap is this one of? Both stay; {fits} fits, and counts"
            ),
            f"{filed_with(watch)}, /undo takes it back",
        ]
    return lines


def filed_with(watch: Watch) -> str:
    """Return how a report is filed with another car, where the sheet has one, or another lap."""
    others = [f"/of {car}" for car in watch.cars if car != watch.car][:1]
    ways, what = [*others, f"/of lap {watch.lap + 1}"], "that car or lap" if others else "that lap"
    return f"{' or '.join(ways)} files it with {what}"


def _clash(one: Entry, other: Entry) -> bool:
    """Tell whether two reports say something else of one field."""
    both = one.values.keys() & other.values.keys()
    return any(one.values[name] != other.values[name] for name in both)


def _read(watch: Watch, transcript: Transcript) -> Shown:
    """Keep what was read, and tell what there is to look at in it."""
    text, shown, warnings = transcript.text, list[str](), list[str]()
    entries: list[Entry] = []
    before = watch.mine.reports
    doubted: list[Entry] = []
    for found in transcript.reports:
        reading = watch.restored(found)
        shown.append(str(reading))
        again = watch.readbacks.said_again(reading.message, reading.values)
        if again is not None and again.answered is not None:
            entries.append(_question(watch, text).replace(about=again.answered.first.seq))
            shown[-1] += "  (said again)"
            continue
        back = watch.readbacks.word_for_word(reading)
        if back is not None:
            entries.append(read_back(back).replace(heard=text))
            shown[-1] += "  (read back right; if you said it again, /undo)"
            continue
        if (call := watch.readbacks.differently(reading, watch.now() - _READ_BACK)) is not None:
            entries.append(read_back(call, reading).replace(heard=text))
            shown[-1] += "  (as read back; if you called that: /undo, then CORRECTION and the call)"
            continue
        entries.append(report_entry(watch, reading, text, 1.0))
        waits = watch.readbacks.waits(reading)
        if waits is not None and watch.readbacks.sounds_like(waits, reading):
            why = f"{waits.entry.string} waits to be read back: this may be its read-back"
            entries[-1] = entries[-1].replace(refusal=DOUBTFUL, certainty=0.5, note=why)
        if entries[-1].refusal:
            doubted.append(entries[-1])
            shown[-1] = f"doubtful: {reading}"
            warnings.append(entries[-1].note)
            continue
        warnings += [f"! {warning}" for warning in reading.warnings]
        if waits is not None:
            warnings.append(
                f"{waits.entry.string} waits to be read back; this is one more call, /undo if it"
                " was the read-back without its end"
            )
    for fact in dict.fromkeys(watch.book.rules.meanings[name] for name, _ in transcript.events):
        entries.append(_event(watch, fact, text))
        shown.append(watch.event_title(fact))
        warnings += [_HOW_MANY] if fact == ADDED else []
    for ask in transcript.asks:
        asked = text[ask.span[0] : ask.span[1]]
        entries.append(_question(watch, asked))
        shown.append(f"asked: {asked}")
    kept = watch.write(*entries)
    watch.refresh()
    warnings += reported_again(watch, before, entries)
    if doubted:
        about = next(one for one in reversed(kept) if one.refusal)
        watch.write(_question(watch, "SAY AGAIN").replace(lap=about.lap, about=about.seq))
        return Shown("bad", ("ask: SAY AGAIN", *shown, *warnings, *watch.doubtful()))
    return Shown(
        "warning" if warnings else "good", (*shown, *warnings, *watch.spoken_to().lines[1:])
    )


def _event(watch: Watch, fact: str, text: str, number: int | None = None) -> Entry:
    amount = None if number is None or fact != ADDED else Decimal(number)
    return watch.entry("event", heard=text, message=fact, amount=amount)


def note(watch: Watch, text: str) -> Entry:
    """Return the entry of a note on the lap being driven."""
    return watch.entry("note", heard=text)


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
            shown += [_HOW_MANY] if entries[-1].message == ADDED and not passage.number else []
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
    right, else a new one. One of a lap that it is hardly of, or of values too far from those
    before, is doubtful until it is said again.
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
    same = (reading.message, reading.said)
    if waiting is not None and (waiting.entry.message, waiting.entry.string) == same:
        return entry.replace(kind="correction", about=waiting.first.seq)
    leap = watch.leap(reading)
    if leap is not None and leap.doubted:
        return entry.replace(
            lap=watch.lap + 1,
            lap_by="order",
            certainty=round(min(certainty, leap.likely), 4),
            refusal=DOUBTFUL,
            note=leap.told,
        )
    if odd := watch.beyond(lap) or watch.strayed(reading):
        sure = round(min(certainty, STRAY_SURE), 4)
        entry = entry.replace(certainty=sure, refusal=DOUBTFUL, note=odd)
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
    weighed = watch.weighed(text, watch.expected)
    guess, answer = weighed.best, weighed.answer
    if guess is None:
        return _ask_for(watch, text, error, None, None, answer)
    reading = watch.restored(guess.guess)
    taken = report_entry(watch, reading, text, guess.probability, NOISY)
    if not guess.accept or watch.readbacks.differs(reading) or taken.refusal:
        likely = reading if guess.message else None
        return _ask_for(watch, text, error, guess, likely, answer)
    watch.write(taken)
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
    if (named := _lap_named(watch, text)) is not None:
        entry = entry.replace(lap=named, lap_by="given")
    if waiting is None or named not in (None, waiting.entry.lap):
        return entry
    if likely is not None and waiting.entry.message not in ("", lap_report):
        return entry
    said = guess.lap if guess is not None else None
    if said is not None and waiting.entry.lap is not None and said > waiting.entry.lap:
        return entry.replace(lap=said)
    return entry.replace(
        message=waiting.entry.message, lap=waiting.entry.lap, lap_by=waiting.entry.lap_by
    )
