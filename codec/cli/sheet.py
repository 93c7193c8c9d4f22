"""``niner sheet``: show, import, export and rescue the lap sheet of an event."""

from __future__ import annotations

import argparse
import contextlib
import datetime
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from codec.cli.common import add_command, add_json, emit, emit_json, given, say, tell
from codec.cli.debrief import add_compare, add_debrief
from codec.cli.sheet_places import add_places
from grammar.errors import CodeError, counted

if TYPE_CHECKING:
    from codec.race import Advice, Race
    from codec.radio.forms import LeftOut, Utterance
    from codec.radio.importing import Summary
    from codec.sheet import Journal
    from codec.sheet.entry import Entry
    from codec.sheet.state import Standing
    from grammar.book import Book

_CREW = "CAR=DRIVER[,ENGINEER …]"


def add(commands: Any) -> None:
    """Add the command and its own commands."""
    parser = commands.add_parser(
        "sheet",
        description="Work on the lap sheet, one file an event.",
    )
    actions = parser.add_subparsers(title="commands", metavar="command", required=True)
    show = add_command(actions, "show", "draw the sheet, lap by lap")
    show.add_argument("sheet", metavar="SHEET", help="the sheet's file")
    show.add_argument("--car", help="only this car")
    show.add_argument(
        "--all",
        action="store_true",
        help="every entry in its order, corrected and withdrawn ones too",
    )
    show.add_argument(
        "--event", help="the event file: adds where the race is heading, and what to call"
    )
    show.add_argument(
        "--doubtful",
        action="store_true",
        help="only the reports that do not count, what they may have been, and what to type",
    )
    add_json(show)
    show.set_defaults(run=run_show)
    _add_import(actions)
    _add_by_hand(actions)
    _add_play(actions)
    export = add_command(actions, "export", "write the whole sheet as .csv, .jsonl or .xlsx")
    export.add_argument("sheet", metavar="SHEET", help="the sheet's file")
    export.add_argument("file", metavar="FILE", help="the file to write; its suffix tells the form")
    export.add_argument("--replace", action="store_true", help="write over a file that is there")
    add_json(export)
    export.set_defaults(run=run_export)
    add_debrief(actions)
    add_compare(actions)
    check = add_command(actions, "check", "tell everything that is wrong with a sheet's file")
    check.add_argument("sheet", metavar="SHEET", help="the sheet's file")
    add_json(check)
    check.set_defaults(run=run_check)
    rescue = add_command(actions, "rescue", "save what can be read of a damaged sheet")
    rescue.add_argument("sheet", metavar="SHEET", help="the damaged file; it is only read")
    rescue.add_argument("file", metavar="NEW-SHEET", help="the sheet to make")
    rescue.add_argument(
        "--book", help="the book it was written with, where the file no longer tells"
    )
    rescue.set_defaults(run=run_rescue)
    add_places(actions)


def _add_by_hand(actions: Any) -> None:
    accept = add_command(actions, "accept", "take a doubtful report as it most likely was")
    fix = add_command(actions, "fix", "put an entry right, in words")
    back = add_command(
        actions, "withdraw", "take an entry back; a withdrawal taken back brings back what it took"
    )
    for parser, run in ((accept, run_accept), (fix, run_fix), (back, run_withdraw)):
        parser.add_argument("sheet", metavar="SHEET", help="the sheet's file")
        parser.add_argument(
            "entry", metavar="N", help="its number: niner sheet show --all, or --doubtful"
        )
        if parser is fix:
            parser.add_argument(
                "words", metavar="WORDS", nargs="+", help="what was said; lap=12: the lap it is of"
            )
        if parser is not back:
            parser.add_argument(
                "--car", help="the car it is of, where the sheet has none or another"
            )
        add_json(parser)
        parser.set_defaults(run=run)


def _add_play(actions: Any) -> None:
    parser = actions.add_parser(
        "play",
        help="play what an entry was heard in",
        description=(
            "Play the stretch of the recording that an entry was heard in. The recording is looked"
            " for where the sheet is, and where the command runs."
        ),
    )
    parser.add_argument("sheet", metavar="SHEET", help="the sheet's file")
    parser.add_argument("entry", metavar="N", help="its number: niner sheet show --all")
    parser.add_argument(
        "--from", dest="folder", metavar="FOLDER", help="where the recording is now"
    )
    parser.add_argument("--out", metavar="FILE.wav", help="write it to a new file instead")
    add_json(parser)
    parser.set_defaults(run=run_play)


def _add_import(actions: Any) -> None:
    from codec.radio.forms import FORMS, suffixes

    about = (
        "Find the reports, calls and phrases in a radio recording or transcript, or read an"
        " exported sheet back. A recording that is named as somebody of a car is taken for theirs."
    )
    parser = actions.add_parser(
        "import",
        help="read radio recordings, transcripts, or an exported sheet",
        description=about,
    )
    parser.add_argument("sheet", metavar="SHEET", help="the sheet's file; made if it is not there")
    parser.add_argument(
        "file",
        metavar="FILE",
        help=(
            f"{', '.join(suffixes())}; a .wav, .flac, .ogg, .mp3; an exported .csv, .jsonl, .xlsx;"
            " - for standard input"
        ),
    )
    parser.add_argument(
        "more", nargs="*", metavar="RECORDING", help="more recordings, one after the other"
    )
    parser.add_argument(
        "--start",
        metavar="TIME",
        help="when the recordings began: seconds, or ISO 8601 (as their names tell, else 0)",
    )
    parser.add_argument("--book", help="the code book, for a new sheet")
    parser.add_argument(
        "--car",
        action="append",
        default=[],
        metavar=_CREW,
        help="a car, its driver, who speaks to it; once a car (those of the sheet)",
    )
    parser.add_argument(
        "--form",
        choices=tuple(FORMS),
        help="the transcript's form, where it can't be told",
    )
    parser.add_argument("--lap-times", metavar="CSV", help="when laps began: car, lap, start")
    parser.add_argument(
        "--after",
        action="append",
        default=[],
        metavar="CAR=LAP",
        help="the lap before a car's first report (0)",
    )
    parser.add_argument(
        "--left-out", action="store_true", help="print every line that was left out, and why"
    )
    add_json(parser)
    parser.set_defaults(run=run_import, gather="more")


def run_show(args: argparse.Namespace) -> int:
    """Show the sheet."""
    from codec.sheet import Journal
    from codec.sheet.state import cars

    with Journal(args.sheet) as journal:
        asked = args.car is not None or args.event is not None
        named = cars(journal.entries()) if asked else {}
        if args.car is not None and args.car not in named:
            raise CodeError(
                f"there is no car {args.car!r} in the sheet", kind="usage", expected=list(named)
            )
        races = (
            _races(journal, [args.car] if args.car is not None else list(named) or [""], args.event)
            if args.event is not None
            else {}
        )
        if args.doubtful:
            _show_doubtful(journal, args)
            return 0
        if args.json:
            _show_json(journal, args.car, races)
            return 0
        from codec.screen.race import show_state
        from codec.screen.sheet import entries_table, lap_tables

        (entries_table if args.all else lap_tables)(journal, args.car)
        for car, (race, advice) in races.items():
            show_state(race, advice, car)
    return 0


def _show_doubtful(journal: Journal, args: argparse.Namespace) -> None:
    """Print what does not count, what it may have been, and what to type."""
    from codec.radio.by_hand import doubtful_rows, lines
    from codec.sheet.state import Standing
    from grammar.errors import visible

    standing = Standing(journal.entries())
    found = list(doubtful_rows(journal.book, standing, args.car))
    for one in found if args.json else ():
        emit(one.as_dict())
    if not args.json:
        shown = [visible(line) for line in lines(journal.book, found, args.sheet)]
        say("\n".join(shown) or "nothing is doubtful")
        _show_beside_others(journal.book, standing, args.car)


def _show_beside_others(book: Book, standing: Standing, only: str | None) -> None:
    """Print what can be read, and does not count beside another report of its lap."""
    from codec.views.laps import sheet_lines
    from grammar.errors import visible

    told = "can be read, and does not count, as another report of that lap fits better"
    for car in standing.cars if only is None else [only]:
        for line in sheet_lines(standing, car, book):
            if line.other and line.row is not None:
                heard = f"car {car}, lap {line.lap}: {line.row.entry.heard}"
                say(visible(f"{line.row.first.seq}  {heard}: {told}"))


def run_accept(args: argparse.Namespace) -> int:
    """Take a doubtful report."""
    from codec.radio.by_hand import accept
    from codec.sheet import Journal
    from codec.sheet.state import Standing

    number = _number(args.entry)
    with Journal(args.sheet) as journal:
        written, told = accept(journal, Standing(journal.entries()), number, args.car)
        _tell_put_right(journal, number, written, f"car {written.car}, {told}", args)
    return 0


def run_play(args: argparse.Namespace) -> int:
    """Play, or write, what an entry was heard in."""
    from codec.files import whole, written
    from codec.sheet import Journal
    from codec.sheet.state import Standing
    from codec.sheet.stretch import heard_in, recording_of
    from codec.store.place import folder_of, place_of
    from codec.voice.playing import play
    from codec.voice.recordings import cut

    number = _number(args.entry)
    if args.out is not None and Path(args.out).exists():
        raise CodeError(f"{args.out!r} is there already", kind="usage", hint="name a new file")
    with Journal(args.sheet) as journal:
        entry, stretch = heard_in(Standing(journal.entries()), number)
    folders = [folder_of(place_of(args.sheet)), Path()]
    hint = "where it is now: --from FOLDER"
    found = recording_of(stretch, folders if args.folder is None else [Path(args.folder)], hint)
    wav, seconds = cut(found, repr(stretch.recording), stretch.start, stretch.end)
    facts = {
        "entry": number,
        "recording": str(found),
        "start": stretch.start,
        "end": stretch.end,
        "heard": entry.heard,
    }
    if args.out is not None:
        with written(args.out), whole(args.out, binary=True) as stream:
            stream.write(wav)
        facts |= {"file": args.out}
    if args.json:
        emit(facts)
    else:
        lap = "" if entry.lap is None else f", lap {entry.lap}"
        at = f"{stretch.start:.1f} to {stretch.end:.1f} s of {found}"
        tell(f"#{number}, car {entry.car or '?'}{lap}: {at}: {entry.heard}")
    if args.out is None:
        play(wav, seconds)
    return 0


def run_fix(args: argparse.Namespace) -> int:
    """Put an entry right."""
    from codec.radio.by_hand import fix
    from codec.sheet import Journal
    from codec.sheet.state import Standing

    words, number = " ".join(args.words), _number(args.entry)
    with Journal(args.sheet) as journal:
        written, told = fix(journal, Standing(journal.entries()), number, words, args.car)
        _tell_put_right(journal, number, written, f"car {written.car or '?'}, {told}", args)
    return 0


def run_withdraw(args: argparse.Namespace) -> int:
    """Take an entry back."""
    from codec.radio.by_hand import withdraw
    from codec.sheet import Journal
    from codec.sheet.state import Standing

    number = _number(args.entry)
    with Journal(args.sheet) as journal:
        written = withdraw(journal, Standing(journal.entries()), number)
        _tell_put_right(journal, number, written, "withdrawn", args)
    return 0


def _number(text: str) -> int:
    from grammar.exact import whole

    try:
        return whole(text.removeprefix("#"), 1, 10**9)
    except ValueError as error:
        raise CodeError(f"N: {error}", kind="usage", expected=["the number of an entry"]) from None


def _tell_put_right(
    journal: Journal, number: int, written: Entry, told: str, args: argparse.Namespace
) -> None:
    if args.json:
        emit(journal.table.as_json(written, journal.book.fields))
    else:
        say(f"#{number} is now: {told}")


def _show_json(
    journal: Journal, only: str | None, races: Mapping[str, tuple[Race, list[Advice]]]
) -> None:
    """Print the entries, then, with an event file, where the race of each car is heading."""
    from codec.race.as_json import as_dict

    for rows in journal.together():
        cells = journal.table.cells(rows)
        lines = journal.table.json_lines(cells, journal.book.fields)
        for car, line in zip(cells["car"], lines, strict=True):
            if only in (None, car):
                emit_json(line)
    for car, (race, advice) in races.items():
        emit({"race_of": car, **as_dict(race, advice)})


def _races(
    journal: Journal, wanted: Sequence[str], path: str
) -> dict[str, tuple[Race, list[Advice]]]:
    """Return where the race of each car is heading, and what to call."""
    from codec.race import advise, facts, follow, load_event
    from codec.sheet.state import Standing

    event, standing = load_event(path, journal.book), Standing(journal.entries())
    races = {car: follow(event, facts(standing, car)) for car in wanted}
    return {car: (race, advise(race)) for car, race in races.items()}


def run_export(args: argparse.Namespace) -> int:
    """Export the sheet."""
    from codec.sheet import Journal
    from codec.sheet.exports import export

    with Journal(args.sheet) as journal:
        count = export(journal, args.file, replace=args.replace)
    if args.json:
        emit({"file": args.file, "entries": count})
    else:
        say(f"{counted(count, 'entry', 'entries')} written to {args.file}")
    return 0


def run_import(args: argparse.Namespace) -> int:
    """Import recordings, a transcript or an exported sheet."""
    from codec.radio.importing import import_export
    from codec.sheet.exports import read_export
    from codec.voice.recordings import is_recording

    files = [args.file, *args.more]
    others = [name for name in files if not is_recording(name)]
    if not others:
        return _import_recordings(files, args)
    if args.more or args.start is not None:
        raise CodeError(
            "several files, and --start, are for recordings"
            if args.more
            else "--start is for recordings",
            kind="usage",
            expected=["one transcript or exported sheet at a time"],
        )
    path = Path(args.file)
    if args.file != "-" and args.form in (None, "jsonl"):
        with _opened(path):
            read = read_export(path)
        if read is not None:
            with _journal(args, read[0]) as journal:
                summary = import_export(journal, read)
            _told(summary, args)
            return 0
    wanted = _wanted(args)
    with _opened(path) if args.file != "-" else contextlib.nullcontext(sys.stdin.buffer) as stream:
        head = _head(stream, "standard input" if args.file == "-" else repr(args.file))
        with _journal(args, None) as journal:
            summary = _transcript(journal, stream, head, args, wanted)
    _told(summary, args)
    return 0


def _import_recordings(files: Sequence[str], args: argparse.Namespace) -> int:
    """Listen to recordings, and write what was said in them."""
    from codec.radio.crews import crews_in
    from codec.radio.forms import milliseconds
    from codec.radio.importing import Summary, import_utterances
    from codec.screen.sheet import progress
    from codec.sheet.stretch import recording_name
    from codec.store.place import folder_of, place_of
    from codec.voice.recordings import begun
    from grammar.errors import visible

    wanted = _wanted(args)
    try:
        told = milliseconds(args.start)
    except ValueError as error:
        raise CodeError(f"--start: {error}", kind="usage") from None
    folder = folder_of(place_of(args.sheet))
    for file in files:
        path = Path(file)
        called, by_name = recording_name(path, folder), begun(path.name)
        start = round(1000 * (by_name or 0)) if told is None else told
        if told is None and by_name is not None:
            moment = datetime.datetime.fromtimestamp(by_name, datetime.UTC)
            tell(f"{visible(path.name)}: begun {moment:%Y-%m-%d %H:%M:%S} UTC, by its name")
        with _opened(path) as stream, _journal(args, None) as journal:
            crews = wanted["crews"] or crews_in(journal.entries())
            names = {name.casefold(): name for crew in crews for name in crew.people}
            speaker = names.get(path.stem.casefold(), "")
            summary = Summary()
            with progress(path.stat().st_size, summary.found, by_line=False) as read:
                said = _said_in(journal.book, stream, called, speaker, start, read)
                import_utterances(journal, said, left_out=_leaver(args), summary=summary, **wanted)
        _told(summary, args)
    return 0


def _said_in(
    book: Book,
    stream: BinaryIO,
    name: str,
    speaker: str,
    start: int,
    read: Callable[[int], None],
) -> Iterator[Utterance | LeftOut]:
    """Yield what was said in a recording of a name; ``start`` is when it began, in
    milliseconds.
    """
    from codec.radio.forms import LeftOut, Utterance
    from codec.sheet.stretch import SoundStretch
    from codec.voice.listening import listen

    place, number = 0, 0
    heard = listen(book, stream, repr(name))
    while True:
        number += 1
        try:
            stretch = next(heard, None)
        except CodeError as error:
            if number == 1 or error.kind != "recording":
                raise
            tell(str(error))  # what was heard before is not lost
            yield LeftOut(number, error.message, "the recording is damaged")
            return
        if stretch is None:
            return
        read(stream.tell() - place)
        place = stream.tell()
        if not stretch.text:
            at = f"{stretch.start:.1f} to {stretch.end:.1f} s"
            yield LeftOut(number, at, "sound in which no word was heard")
            continue
        yield Utterance(
            number,
            stretch.text,
            speaker,
            start + round(1000 * stretch.start),
            start + round(1000 * stretch.end),
            slots=tuple(
                {word or "": share for word, share in slot.items()} for slot in stretch.slots.slots
            ),
            gaps=tuple(stretch.slots.gaps),
            score=stretch.slots.score,
            sound=SoundStretch(name, stretch.start, stretch.end),
        )


@contextlib.contextmanager
def _opened(path: Path) -> Iterator[BinaryIO]:
    try:
        with path.open("rb") as stream:
            yield stream
    except OSError as error:
        raise CodeError(
            f"{str(path)!r} can't be read: {error.strerror or error}", kind="usage"
        ) from None


def _head(stream: BinaryIO, name: str) -> str:
    """Return how a transcript begins; raises CodeError where it is empty, or no text."""
    from codec.radio.forms import HEAD, head_text

    return head_text(stream.peek(HEAD)[:HEAD] if hasattr(stream, "peek") else b"", name)


def _journal(args: argparse.Namespace, facts: Any) -> Journal:
    """Open the sheet; one that is not there is made, with the first entry, with the book named or
    with the one an export holds.
    """
    from codec.sheet import Journal
    from grammar.loading import load_book
    from grammar.parsing import parse_book

    book = load_book(args.book) if args.book is not None else None
    if book is None and facts is not None and not Journal.is_there(args.sheet):
        book = parse_book(facts.text, facts.name)
    return Journal(args.sheet, book, when_needed=True)


def _wanted(args: argparse.Namespace) -> dict[str, Any]:
    """Return who drives what, when laps began, and the laps before the first reports."""
    from codec.radio.crews import check_cars, crews_of
    from codec.radio.importing import bounded
    from codec.radio.laps import LapTimes

    times = None
    if args.lap_times:
        with _opened(Path(args.lap_times)) as lines:
            times = LapTimes.read(bounded(lines), args.lap_times)
    crews = crews_of(args.car)
    after = {car: _lap(text) for car, text in given(args.after, "lap").items()}
    if crews:
        check_cars(after, crews)
    return {"crews": crews, "times": times, "after": after}


def _transcript(
    journal: Journal, stream: BinaryIO, head: str, args: argparse.Namespace, wanted: dict[str, Any]
) -> Summary:
    from codec.radio.forms import FORMS, form_of
    from codec.radio.importing import Summary, bounded, import_transcript, pieces
    from codec.screen.sheet import progress

    form = args.form or form_of(args.file, head).name
    size, summary = Path(args.file).stat().st_size if args.file != "-" else 0, Summary()
    with progress(size, summary.found, by_line=FORMS[form].by_line) as read:
        lines = (bounded if FORMS[form].by_line else pieces)(stream, read)
        return import_transcript(
            journal, lines, form, left_out=_leaver(args), summary=summary, **wanted
        )


def _leaver(args: argparse.Namespace) -> Callable[[LeftOut], None] | None:
    """Return what is told of lines left out, None where nobody asked."""
    if not args.left_out:
        return None
    return _emit_left_out if args.json else _print_left_out


def _lap(text: str) -> int:
    from codec.sheet.state import MOST_LAP
    from grammar.exact import whole

    try:
        return whole(text, 0, MOST_LAP)
    except ValueError as error:
        raise CodeError(f"--after: {error}", kind="usage", expected=["CAR=LAP"]) from None


def _print_left_out(left: LeftOut) -> None:
    from grammar.errors import visible

    say(f"line {left.number}: {left.reason}: {visible(left.text[:120])}")


def _emit_left_out(left: LeftOut) -> None:
    emit({"line": left.number, "left_out": left.reason, "text": left.text})


def _told(summary: Summary, args: argparse.Namespace) -> None:
    if args.json:
        emit(summary.as_dict())
        return
    from codec.screen.sheet import summary_lines

    summary_lines(summary)


def run_check(args: argparse.Namespace) -> int:
    """Tell what is wrong with a sheet's file; the exit code is 1 if something is."""
    from codec.sheet.journal import check, sheet_format
    from codec.store.place import place_of
    from grammar.errors import visible

    faults = check(args.sheet)
    if args.json:
        emit({"file": args.sheet, "faults": faults})
    else:
        say("\n".join(map(visible, faults)) or f"{args.sheet}: nothing is wrong with it")
    if faults:
        tell(f"hint: {sheet_format().way_out_of(place_of(args.sheet))}")
    return int(bool(faults))


def run_rescue(args: argparse.Namespace) -> int:
    """Save what can be read of a damaged sheet in a new one; the exit code is 1 if something is
    missing.
    """
    from codec.sheet import Journal
    from codec.sheet.journal import sheet_format
    from codec.sheet.rescue import rescue, rescue_book, save
    from codec.store.place import place_of
    from grammar.loading import load_book

    path = place_of(args.sheet)
    if not isinstance(path, Path):
        raise CodeError(
            "a rescue reads a damaged file",
            kind="usage",
            hint=sheet_format().way_out_of(path),
        )
    book = load_book(args.book) if args.book is not None else rescue_book(path)
    if book is None:
        raise CodeError(
            "the file no longer tells which book it was written with",
            kind="sheet-damaged",
            hint="name it with --book",
        )
    if Path(args.file).exists():
        raise CodeError(f"{args.file!r} is there already", kind="usage", hint="name a new file")
    found = rescue(path, book.fields)
    with Journal(args.file, book) as journal:
        save(journal, found)
    say(
        f"{counted(len(found.entries), 'entry', 'entries')} saved in {args.file};"
        f" {_missing(found.missing)}"
    )
    return 1 if found.missing else 0


def _missing(numbers: tuple[int, ...]) -> str:
    from grammar.errors import listed

    return (
        f"missing: {listed([str(number) for number in numbers], 20)}"
        if numbers
        else "none is missing up to the last one found"
    )
