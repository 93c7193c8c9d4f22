"""A season as tables, each with what it rests on."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator, Sequence

from codec.screen.console import boxed, console, heading, safe
from codec.season.calibration import OUTCOMES, PUT_RIGHT, STANDS, Stated
from codec.season.events import SeasonEvent
from codec.season.groups import GroupQuestions, GroupTimes, Seconds
from codec.season.profile import SeasonProfile
from codec.season.words import AGAIN, AS_STANDS, NOISE, SOURCES, WordsHeard
from grammar.errors import counted
from grammar.profile import Profile

_MOST = 40  # rows of confused words that are shown


@contextlib.contextmanager
def reading(what: str = "sheets read") -> Iterator[Callable[[int, int], None]]:
    """Show how many are done; nothing where the error output is no terminal."""
    from rich.console import Console
    from rich.progress import MofNCompleteColumn, Progress

    errors = Console(stderr=True)
    if not errors.is_terminal:
        yield lambda count, total: None  # noqa: ARG005
        return
    progress = Progress(what, MofNCompleteColumn(), console=errors, transient=True)
    task = progress.add_task("")

    def told(count: int, total: int) -> None:
        progress.start()
        progress.update(task, completed=count, total=total)
        if count == total:
            progress.stop()

    try:
        yield told
    finally:
        progress.stop()


def _rests(text: str) -> None:
    console().print(safe(text, "dim"))


def listing(found: Sequence[tuple[SeasonEvent, list[str]]]) -> None:
    """Print the events, by date."""
    table = boxed("event", "date", "entries", "book", "drivers", right=("entries",))
    for one, drivers in found:
        book = f"{one.book} ({one.digest[:8]})"
        table.add_row(
            safe(one.event), one.date, f"{one.entries:,}", safe(book), safe(", ".join(drivers))
        )
    console().print(table if found else "no event")
    entries = sum(one.entries for one, _ in found)
    _rests(f"{counted(len(found), 'event')}, {counted(entries, 'entry', 'entries')}")


def words(found: WordsHeard) -> None:
    """Print the words heard for others, and how many hearings that rests on."""
    sources = [source for source in SOURCES if found.hearings[source]]
    table = boxed(
        "said", "heard", "times", "of", "share", *sources, right=("times", "of", "share", *sources)
    )
    listed = found.confused
    for one in listed[:_MOST]:
        share = f"{one.times / one.of:.2%}" if one.of and one.said else ""
        table.add_row(
            safe(one.said or "nothing"),
            safe(one.heard or "nothing"),
            str(one.times),
            f"{one.of:,}" if one.said else "",
            share,
            *(str(one.sources.get(source, "")) for source in sources),
        )
    console().print(table if listed else "no word was heard for another")
    if len(listed) > _MOST:
        _rests(f"and {len(listed) - _MOST} more, which --json lists")
    total = sum(found.hearings[source] for source in (AS_STANDS, *SOURCES))
    _rests(
        f"of {found.said:,} words in {counted(total, 'hearing')} of reports that stand:"
        f" {found.hearings[AS_STANDS]:,} as they stand"
    )
    for source in sources:
        _rests(f"{source}: {found.hearings[source]:,}, {SOURCES[source]}")
    if found.unlike:
        _rests(f"{found.unlike:,} too unlike what stands to be laid beside it, and not counted")
    _rests(
        "what stands is taken for what was said: a mistake that nobody noticed counts as heard"
        " right"
    )


def _percent(of: tuple[float, float, float]) -> tuple[str, str]:
    """Write a share, and its interval."""
    share, low, high = of
    return f"{100 * share:.2f}", f"{100 * low:.0f}–{100 * high:.0f}"


def calibration(
    found: Sequence[Stated], recorded: tuple[Sequence[Stated], Sequence[str]] | None = None
) -> None:
    """Print what was stated, and what came of it: in the sheets, and by what cars recorded."""
    _stated(found, tuple(OUTCOMES))
    _rests(
        "sure: from so much to less, 1 is what was decoded as it was typed; ? was doubted, and not"
        " taken when it was heard"
    )
    for outcome, about in OUTCOMES.items():
        _rests(f"{outcome}: {about}")
    _rests(
        "right is the share that stands of those that stand or were put right: a mistake that"
        " nobody noticed counts as right"
    )
    if recorded is None:
        _rests("what cars recorded was not asked: --recorded FOLDER")
        return
    against, used = recorded
    heading("By what cars recorded")
    _stated(against, (STANDS, PUT_RIGHT))
    _rests(
        f"{counted(len(used), 'file')}: {', '.join(used[:8])}{' …' if len(used) > 8 else ''}; other"
        " was heard wrong, or, where the driver's words are not known, read or heard wrong"
    )


def _stated(found: Sequence[Stated], outcomes: Sequence[str]) -> None:
    heads = ("all", "said %", "right %", "95 %", *outcomes)
    table = boxed("sure", *heads, right=heads)
    for one in found:
        table.add_row(
            (f"{one.low:g}–{one.high:g}" if one.low < 1 else "1") + ("" if one.accepted else " ?"),
            f"{one.count:,}",
            f"{100 * one.mean:.2f}",
            *(("", "") if one.right is None else _percent(one.right)),
            *(f"{one.outcomes[name]:,}" for name in outcomes),
        )
    console().print(table if found else "no reading states how sure it is")


def _by(name: str | None) -> str:
    return "all" if name is None else name or "nobody known"


def times(found: Sequence[GroupTimes], by: str) -> None:
    """Print the seconds of each group."""
    heads = ("said", "median", "9 in 10", "a word", "settled", "median ", "9 in 10 ")
    table = boxed(by, *heads, right=heads)
    for one in found:
        table.add_row(safe(_by(one.name)), *_seconds(one.spoken, each=True), *_seconds(one.settled))
    console().print(table if found else "no times are known")
    _rests(
        "said: reports heard as they stand in a stretch of a recording, with whatever else was said"
        " in it; seconds, and seconds a word"
    )
    _rests(
        "settled: reports asked about that stand now; seconds from when they were first heard to"
        " when they were said again, ten minutes at most"
    )


def _seconds(one: Seconds | None, *, each: bool = False) -> list[str]:
    if one is None:
        return [""] * (4 if each else 3)
    told = [f"{one.count:,}", f"{one.median:.1f}", f"{one.most:.1f}"]
    return [*told, f"{one.total / one.words:.2f}"] if each else told


def questions(found: Sequence[GroupQuestions], worded: Sequence[tuple[str, int]], by: str) -> None:
    """Print what was asked of each group, and the questions asked most."""
    heads = ("reports", "not read", "asked", "asked %", "95 %", "questions", "settled")
    table = boxed(by, *heads, right=heads)
    for one in found:
        table.add_row(
            safe(_by(one.name)),
            f"{one.reports:,}",
            f"{one.refused:,}",
            f"{one.asked:,}",
            *_percent(one.share),
            f"{one.questions:,}",
            f"{one.settled:,}",
        )
    console().print(table if found else "no report")
    for text, count in worded:
        _rests(f"{count:,} × {text}")
    _rests(
        "of reports that were not withdrawn; not read: refused when first heard; asked: asked"
        " about; settled: of these, standing now. What was asked and not written down is not known"
    )


def profile(
    path: str, found: SeasonProfile, written: Profile, races: Sequence[str], others: int
) -> None:
    """Print what was written, and what it rests on."""
    more = f", and {counted(others, 'other profile')} counted in" if others else ""
    console().print(safe(f"{path}: {', '.join(found.profile.people)}{more}"))
    total = sum(found.heard.hearings[source] for source in (AS_STANDS, AGAIN, NOISE))
    wrong = sum(count for (said, heard), count in found.heard.heard.items() if said != heard)
    _rests(
        f"heard: {found.heard.said:,} words in {counted(total, 'hearing')}, {wrong:,} of them for"
        " another, lost or added; read-backs are left out, as either side may have misheard"
    )
    _rests(
        f"seconds: {found.timed:,} reports in stretches of recordings"
        if found.timed
        else "seconds: none, as no report that stands as it was heard has a stretch of a recording"
    )
    told = [f"{count:g} {course.replace('half', 'half kept')}" for course, count in
            written.targets.items()]  # fmt: skip
    if told:
        _rests(f"targets: {', '.join(told)}; where it can't be told by the reports, not counted")
    if written.scatter is not None:
        _rests(f"laps: they scatter about the habit by {written.scatter.share:.1%} of a lap")
    if races:
        _rests(f"races: {', '.join(races)}")
    _rests("read off the dash: not known from sheets; drills and niner sheet compare know it")
