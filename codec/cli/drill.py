"""``niner drill``: read, hear, progress; what is kept of people is in ``drill_keeping``."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from codec.cli.common import add_book, add_command, add_json, emit, integer, put, say, tell
from codec.cli.drill_keeping import add_keeping
from grammar.errors import CodeError, counted

if TYPE_CHECKING:
    from codec.drill import Answer, DrillJournal, Progress
    from codec.drill.speaking import Speaker
    from codec.screen.drill import Player

_ASKED = ("symbols", "pairs", "entries", "reports", "mixed")
_SLOWEST = 3600  # seconds from one question to the next
_CAREFUL = "On a simulator, at a desk or in a parked car; never while driving."


def add(commands: Any) -> None:
    """Add the command and its own commands."""
    about = f"Learn to read a code off the dash, and to hear it. {_CAREFUL}"
    parser = commands.add_parser("drill", description=about)
    actions = parser.add_subparsers(title="commands", metavar="command", required=True)
    read = actions.add_parser(
        "read",
        help="the driver reads strings out",
        description=f"The driver reads out; the coach marks. {_CAREFUL}",
    )
    _add_session(read)
    read.add_argument(
        "--second-task",
        action="store_true",
        help="brake signals come up while the driver reads; B answers them",
    )
    read.set_defaults(run=run_read)
    hear = actions.add_parser(
        "hear",
        help="the engineer writes down what is spoken",
        description="Reports are spoken through radio noise.",
    )
    _add_session(hear)
    hear.add_argument(
        "--noise", metavar="GRADE", help="quiet, clear, noisy, harsh, or decibels (the book's)"
    )
    hear.add_argument("--voice", default="en-gb", help="the synthesiser's voice (en-gb)")
    hear.add_argument(
        "--flash", action="store_true", help="show the words one by one instead of speaking them"
    )
    hear.add_argument(
        "--keep-audio", metavar="FOLDER", help="keep the sound files here; made if it is not there"
    )
    hear.set_defaults(run=run_hear)
    _add_wheel(actions)
    progress = add_command(actions, "progress", "accuracy, seconds, confusions, what comes next")
    progress.add_argument("journal", metavar="JOURNAL", help="the journal's file")
    progress.add_argument("--person", help="only this person")
    progress.add_argument("--drill", choices=("read", "hear"), help="only this drill")
    progress.add_argument(
        "--csv", metavar="FILE", help="write symbols, fields and days as CSV; - for standard output"
    )
    progress.add_argument("--replace", action="store_true", help="write over a CSV that is there")
    progress.add_argument("--picture", metavar="FILE", help="draw the confusions as .svg or .png")
    add_json(progress)
    progress.set_defaults(run=run_progress)
    add_keeping(actions)


def _add_wheel(actions: Any) -> None:
    about = "The driver changes settings on the wheel; keys are its touches."
    wheel = actions.add_parser(
        "wheel", help="the driver changes settings on the wheel", description=f"{about} {_CAREFUL}"
    )
    wheel.add_argument("wheel", metavar="WHEEL", help="the wheel file")
    _add_person(wheel)
    wheel.add_argument(
        "--second-task",
        action="store_true",
        help="brake signals come up on top meanwhile; Space answers them",
    )
    wheel.set_defaults(run=run_wheel)


def _add_session(parser: argparse.ArgumentParser) -> None:
    add_book(parser)
    _add_person(parser)
    parser.add_argument("--only", choices=_ASKED, default="mixed", help="what is asked (mixed)")
    parser.add_argument(
        "--message",
        action="append",
        default=[],
        metavar="NAME",
        help="only this message; more than once for several",
    )
    parser.add_argument(
        "--pace",
        type=float,
        metavar="SECONDS",
        help="from one question to the next, as laps would; yours without it",
    )
    parser.add_argument(
        "--profile",
        metavar="FILE",
        help="what is known of the person, from niner season profile: what to ask first",
    )


def _add_person(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--person", required=True, metavar="NAME", help="who is drilled")
    parser.add_argument(
        "--journal",
        default="drills.niner",
        metavar="FILE",
        help="the journal, several people in one (drills.niner)",
    )
    parser.add_argument(
        "--items",
        type=integer,
        default=20,
        metavar="N",
        help="how many questions (20)",
    )
    parser.add_argument(
        "--seed",
        type=integer,
        default=1,
        metavar="N",
        help="another seed asks other questions (1)",
    )


def run_read(args: argparse.Namespace) -> int:
    """Drill the driver."""
    return _session(args, "read")


def run_hear(args: argparse.Namespace) -> int:
    """Drill the engineer."""
    return _session(args, "hear")


def run_wheel(args: argparse.Namespace) -> int:
    """Drill the driver's hands."""
    from codec.drill import DrillJournal
    from codec.drill.wheel_drill import WheelDrill
    from codec.wheel import load_wheel

    _enough(args.items)
    wheel = load_wheel(args.wheel)
    with DrillJournal(args.journal, create=True) as journal:
        _on_a_terminal()
        from codec.screen.wheel_drill import WheelDrillScreen, summary

        drill = WheelDrill(
            journal, wheel, args.person, seed=args.seed, second_task=args.second_task
        )
        code = WheelDrillScreen(drill, args.items).run()
    summary(drill.answers)
    return code


def _enough(items: int) -> None:
    if items < 1:
        expected = ["a number of questions from 1"]
        raise CodeError(f"--items can't be {items}", kind="usage", expected=expected)


def _session(args: argparse.Namespace, drill: Any) -> int:
    import tempfile

    from codec.drill import DrillJournal, DrillSession, Pool
    from codec.drill.answer import PLURALS
    from codec.drill.noise import FLASHED, named
    from codec.profile import profile_for
    from grammar.loading import load_book

    _enough(args.items)
    if args.pace is not None and not 1 <= args.pace <= _SLOWEST:
        raise CodeError(
            f"--pace can't be {args.pace:g}",
            kind="usage",
            expected=[f"seconds from 1 to {_SLOWEST}"],
        )
    book = load_book(args.book)
    profile = profile_for(book, args.profile) if args.profile else None
    pool = Pool(book, args.message)
    kinds = [kind for kind, name in PLURALS.items() if name == args.only]
    with (
        DrillJournal(args.journal, create=True) as journal,
        tempfile.TemporaryDirectory(prefix="niner-") as folder,
    ):
        speaker = _speaker(args, folder) if drill == "hear" else None
        grade = named(args.noise or str(book.hearing.noise)) if drill == "hear" else ""
        session = DrillSession(
            journal,
            pool,
            args.person,
            drill,
            kinds=kinds,
            seed=args.seed,
            pace=args.pace,
            noise=FLASHED if drill == "hear" and speaker is None else grade,
            second_task=getattr(args, "second_task", False),
            profile=profile,
        )
        return _shown(
            session, args.items, None if speaker is None else _player(speaker, session, grade)
        )


def _on_a_terminal() -> None:
    if not sys.stdin.isatty() or not sys.stdout.isatty():
        raise CodeError(
            "a drill needs a terminal: keys take the times",
            kind="usage",
            hint="run it in a terminal window",
        )
    from grammar.libraries import needed

    needed("prompt_toolkit", "drill")


def _shown(session: Any, items: int, player: Player | None) -> int:
    _on_a_terminal()
    from codec.screen.drill import DrillScreen
    from codec.screen.drill_progress import summary

    screen = DrillScreen(session, items, player=player)
    code = screen.run()
    summary(session.answers, items, screen.unanswered)
    return code


def _speaker(args: argparse.Namespace, folder: str) -> Speaker | None:
    """Return what speaks, None where words are to be shown; says why on standard error."""
    from codec.drill.speaking import Speaker
    from codec.files import written

    if args.flash:
        return None
    kept = Path(args.keep_audio or folder)
    with written(kept):
        kept.mkdir(parents=True, exist_ok=True)
    speaker = Speaker(kept, voice=args.voice)
    speaker.check_voice()
    if speaker.lacking:
        tell(f"niner: {speaker.lacking}: the words are shown one by one")
        return None
    return speaker


def _player(speaker: Speaker, session: Any, grade: str) -> Player:
    def player(question: Any, number: int) -> None:
        words = [session.book.alphabet.words[symbol].word for symbol in question.item.text]
        speaker.play(
            speaker.speak(
                session.book,
                words,
                grade,
                session.seed + number,
                name=f"{number + 1:04}-{question.item.text}",
            )
        )

    return player


def run_progress(args: argparse.Namespace) -> int:
    """Show progress."""
    from codec.drill import DrillJournal
    from codec.store.store import now

    with DrillJournal(args.journal) as journal:
        people = [journal.known(args.person)] if args.person else list(journal.people())
        found = [one for person in people for one in _progress(journal, person, args.drill, now())]
    if not found:
        raise CodeError(
            "nothing was answered yet",
            kind="drill-empty",
            hint="niner drill read, or niner drill hear",
        )
    if args.picture:
        _picture(args.picture, found)
    if args.csv:
        _write_csv(args.csv, found, replace=args.replace)
    elif args.json:
        for one in found:
            emit(one.as_dict())
    elif not args.picture:
        from codec.screen.drill_progress import progress

        for one in found:
            progress(one)
    return 0


def _progress(journal: DrillJournal, person: str, drill: str | None, at: Any) -> list[Progress]:
    """Return a person's progress in each drill with each book."""
    from codec.drill import Progress

    groups: dict[tuple[str, Any], list[Answer]] = {}
    for answer in journal.answers(person):
        if not answer.of_wheel and drill in (None, answer.drill):
            groups.setdefault((answer.book, answer.drill), []).append(answer)
    return [
        Progress(journal.book(digest), answers, one, at)
        for (digest, one), answers in groups.items()
    ]


def _picture(path: str, found: Sequence[Progress]) -> None:
    from codec.drill.picture import confusion_picture

    if len(found) > 1:
        expected = [f"--person {one.person!r} --drill {one.drill}" for one in found]
        raise CodeError("a picture shows one person in one drill", kind="usage", expected=expected)
    one = found[0]
    words = {symbol: entry.word for symbol, entry in one.book.alphabet.words.items()}
    title = (
        f"{one.person}, {'reading' if one.drill == 'read' else 'hearing'}:"
        f" {counted(len(one.answers), 'answer')}"
    )
    shown_as = "on the dash" if one.drill == "read" else "spoken"
    confusion_picture(
        path, one.confusions, {row.name: row.right for row in one.symbols}, words, title, shown_as
    )
    say(f"drawn: {path}")


def _write_csv(path: str, found: Sequence[Progress], *, replace: bool) -> None:
    from codec.files import write

    head, *rest = [one.as_csv() for one in found]
    text = head + "".join(more.split("\r\n", 1)[1] for more in rest)
    if path == "-":
        put(text)
        return
    write(path, text, replace=replace, option="--csv")
