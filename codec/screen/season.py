"""A season as tables, each with what it rests on."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator, Sequence

from codec.screen.console import boxed, console, safe
from codec.season.events import SeasonEvent
from codec.season.words import AS_STANDS, SOURCES, WordsHeard
from grammar.errors import counted

_MOST = 40  # rows of confused words that are shown


@contextlib.contextmanager
def reading() -> Iterator[Callable[[int, int], None]]:
    """Show how many sheets are read; nothing where the error output is no terminal."""
    from rich.console import Console
    from rich.progress import MofNCompleteColumn, Progress

    errors = Console(stderr=True)
    if not errors.is_terminal:
        yield lambda count, total: None  # noqa: ARG005
        return
    progress = Progress("sheets read", MofNCompleteColumn(), console=errors, transient=True)
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
