"""``niner drill profile``, ``needs``, ``export``, ``play``, ``copy`` and ``delete``: what is kept
of a person, taken elsewhere or taken out.
"""

from __future__ import annotations

import argparse
import dataclasses
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from codec.cli.common import add_book, add_command, add_json, emit, put, say
from codec.cli.sheet_places import copied_to
from grammar.errors import CodeError, counted

if TYPE_CHECKING:
    from codec.drill import Answer


def add_keeping(actions: Any) -> None:
    """Add these commands to those of ``niner drill``."""
    profile = add_command(
        actions, "profile", "write a person's times and confusions for encode, hear and design"
    )
    profile.add_argument("journal", metavar="JOURNAL", help="the journal's file")
    profile.add_argument("file", metavar="FILE", help="the profile to write")
    profile.add_argument(
        "--person",
        action="append",
        default=[],
        metavar="NAME",
        help="whose; more than once for several together (everyone)",
    )
    profile.add_argument(
        "--noise",
        metavar="GRADE",
        help="count hearing at this noise only: quiet, clear, noisy, harsh, or decibels (all)",
    )
    profile.add_argument(
        "--replace", action="store_true", help="write over a file that is no profile"
    )
    profile.set_defaults(run=run_profile)
    needs = add_command(
        actions,
        "needs",
        "print a profile as [times] and [hearing] of a needs file, for niner design",
    )
    add_book(needs)
    needs.add_argument("profile", metavar="PROFILE", help="the profile's file")
    needs.set_defaults(run=run_needs)
    export = add_command(actions, "export", "print a person's answers, one JSON object a line")
    delete = add_command(
        actions, "delete", "take a person out, with every answer and all that was said"
    )
    for one, run in ((export, run_export), (delete, run_delete)):
        one.add_argument("journal", metavar="JOURNAL", help="the journal's file")
        one.add_argument("person", metavar="NAME", help="who")
        one.set_defaults(run=run)
    copying = add_command(
        actions, "copy", "copy a journal to a file or a server, or bring a copy up to date"
    )
    copying.add_argument("journal", metavar="JOURNAL", help="the journal")
    copying.add_argument(
        "to", metavar="TO", help="where it goes; on a server, without #NAME, by the name it has"
    )
    add_json(copying)
    copying.set_defaults(run=run_copy)
    sound = add_command(actions, "play", "play what was said in an answer, where it was kept")
    sound.add_argument("journal", metavar="JOURNAL", help="the journal's file")
    sound.add_argument("answer", metavar="N", help="its number: niner drill export")
    sound.add_argument("--out", metavar="FILE.flac", help="write it to a new file instead")
    sound.set_defaults(run=run_play)
    delete.add_argument("--yes", action="store_true", help="don't ask")


def run_profile(args: argparse.Namespace) -> int:
    """Write a profile."""
    import functools

    from codec.drill import DrillJournal, profile_of
    from codec.drill.noise import among, named
    from codec.profile import Profile, save_profile

    if args.noise is not None:
        named(args.noise)
    _refuse_other(args.file, replace=args.replace)
    with DrillJournal(args.journal) as journal:
        people = [journal.known(person) for person in args.person] or list(journal.people())
        groups: dict[str, list[Answer]] = {}
        for person in people:
            for answer in journal.answers(person):
                if not answer.of_wheel:
                    groups.setdefault(answer.book, []).append(answer)
        heard = {answer.noise for answers in groups.values() for answer in answers}
        noise = None if args.noise is None or not groups else among(args.noise, heard)
        parts = [
            profile_of(journal.book(digest), answers, noise=noise)
            for digest, answers in groups.items()
        ]
    if not parts:
        raise CodeError(
            "nothing was answered yet",
            kind="drill-empty",
            hint="niner drill read, or niner drill hear",
        )
    profile = functools.reduce(Profile.merged, parts)
    save_profile(profile, args.file)
    counts = sum(count for row in profile.heard.values() for count in row.values())
    told = f"{counted(len(profile.seconds), 'word')} timed, {counted(round(counts), 'word')} heard"
    say(f"{args.file}: {', '.join(profile.people)}; {told}")
    return 0


def _refuse_other(path: str, *, replace: bool) -> None:
    """Raise CodeError where a file is there that is no profile, unless it may be replaced; a
    profile may be renewed.
    """
    from pathlib import Path

    from codec.profile import load_profile

    if replace or not Path(path).is_file():
        return
    try:
        load_profile(path)
    except CodeError:
        hint = "name another file, or say --replace"
        raise CodeError(
            f"{path!r} is there already, and is no profile", kind="file", hint=hint
        ) from None


def run_needs(args: argparse.Namespace) -> int:
    """Print a profile for the designer."""
    from codec.profile import needs_text, profile_for
    from grammar.loading import load_book

    book = load_book(args.book)
    put(needs_text(book, profile_for(book, args.profile)))
    return 0


def run_export(args: argparse.Namespace) -> int:
    """Print a person's answers."""
    from codec.drill import DrillJournal

    with DrillJournal(args.journal) as journal:
        recorded = journal.recorded()
        for answer in journal.answers(journal.known(args.person)):
            emit(answer.as_dict() | ({"recorded": True} if answer.seq in recorded else {}))
    return 0


def run_copy(args: argparse.Namespace) -> int:
    """Copy a journal."""
    from codec.drill import DrillJournal
    from codec.screen.sheet import copying

    with DrillJournal(args.journal) as journal:
        place = copied_to(args.to, journal.path.name)
        with copying() as told:
            done = journal.copy(place, told)
    if args.json:
        rows = {name: dataclasses.asdict(one) for name, one in done.items()}
        emit({"to": str(place), **rows})
        return 0
    answers = done.pop("answers")
    there = f", {answers.before} of it were there" if answers.before else ""
    more = [f"{name} {one.copied}" for name, one in done.items() if one.copied]
    told_more = f"; {', '.join(more)}" if more else ""
    say(f"{counted(answers.copied, 'answer')} copied to {place}{there}{told_more}")
    return 0


def run_play(args: argparse.Namespace) -> int:
    """Play, or write, what was said in an answer."""
    import io

    from codec.drill import DrillJournal
    from codec.files import whole, written
    from codec.voice.playing import play
    from grammar.exact import whole as whole_number
    from grammar.libraries import needed

    try:
        number = whole_number(args.answer.removeprefix("#"), 1, 10**9)
    except ValueError as error:
        raise CodeError(f"N: {error}", kind="usage", expected=["the number of an answer"]) from None
    if args.out is not None and Path(args.out).exists():
        raise CodeError(f"{args.out!r} is there already", kind="usage", hint="name a new file")
    with DrillJournal(args.journal) as journal:
        sound = journal.sound(number)
    if args.out is not None:
        with written(args.out), whole(args.out, binary=True) as stream:
            stream.write(sound)
        return 0
    soundfile, made = needed("soundfile", "voice"), io.BytesIO()
    samples, rate = soundfile.read(io.BytesIO(sound), dtype="int16")
    soundfile.write(made, samples, rate, format="WAV")
    play(made.getvalue(), len(samples) / rate)
    return 0


def run_delete(args: argparse.Namespace) -> int:
    """Delete a person."""
    from codec.drill import DrillJournal

    with DrillJournal(args.journal) as journal:
        told = counted(journal.people()[journal.known(args.person)], "answer")
        if not args.yes:
            if not sys.stdin.isatty():
                raise CodeError(
                    f"{told} of {args.person!r} would be deleted", kind="usage", hint="add --yes"
                )
            if (
                input(f"delete {args.person!r} and {told} for good? (yes/no) ").strip().casefold()
                != "yes"
            ):
                say("nothing was deleted")
                return 1
        journal.delete(args.person)
    say(f"{args.person!r} and {told} are deleted")
    return 0
