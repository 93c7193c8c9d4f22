"""What a season shows of a person, as the profile that ``hear``, ``encode``, ``design``, ``race``
and the drill take.

Counts of words heard for others, and of reports by which of their words were heard, are those of
``codec.season.words`` without read-backs, of which nobody knows who misheard. Word times are taken
from the stretches of recordings, as the drill takes them from its own. What was misread off the
dash does not show in sheets: ``niner sheet compare`` and drills know it. How a driver keeps targets
is told by the races themselves, each followed by its event file.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from codec.drill.timing import word_times
from codec.race import Race, facts, follow, load_event
from codec.race.people import habits, impartial
from codec.season.beside import beside
from codec.season.events import SeasonError, Wanted
from codec.season.groups import spoken
from codec.season.queries import HEARD, Query, named, reports
from codec.season.source import Season, book_in
from codec.season.words import WordsHeard, words_heard
from codec.sheet.state import Standing
from codec.store.place import Place
from grammar.profile import MeasuredTime, Profile, word_of

_MOST = 600  # reports, the last ones, that word times are taken from
_AT_ONCE = 4  # events that are asked for them, the last ones; then ever more
_SAID = f"""
, {HEARD}, {{spoken}}
SELECT code, read_as, seconds FROM ({named("spoken")}) AS told
ORDER BY date DESC, journal DESC, seq DESC LIMIT {_MOST}
"""  # noqa: S608 - texts that the program declares


@dataclass(frozen=True, slots=True)
class SeasonProfile:
    """A profile, the hearings that its counts are from, and how many reports its times are from."""

    profile: Profile
    heard: WordsHeard
    timed: int


def profile_of_season(season: Season, wanted: Wanted) -> SeasonProfile:
    """Return the profile of the drivers, or engineers, that count.

    Raises SeasonError where books give one symbol different words (``season-alphabets``): what is
    counted of one says nothing of the other.
    """
    _check_alphabets(season, wanted)
    heard = words_heard(season, wanted)
    said, lost, added = dict[str, dict[str, float]](), dict[str, float](), dict[str, float]()
    for (word, understood), count in sorted(heard.heard.items()):
        if word and understood:
            said.setdefault(word, {})[understood] = count
        elif word:
            lost[word] = count
        else:
            added[understood] = count
    query = reports(season, wanted)
    seconds, timed = _seconds(query)
    return SeasonProfile(
        Profile(
            people=query.people,
            seconds=seconds,
            heard=said,
            lost=lost,
            added=added,
            reports={marks: count for marks, count in sorted(heard.marks.items()) if marks},
        ),
        heard,
        timed,
    )


def habits_of_season(
    season: Season, place: Place, wanted: Wanted, folder: Path
) -> tuple[Profile, list[str]]:
    """Return how the drivers that count kept targets, and how much their laps scattered: of each
    race whose event file is in a folder as ``EVENT.CAR.toml``; with the names of those used.

    Raises SeasonError where there is no such file, and CodeError for one that can't be read.
    """
    races, used = list[Race](), list[str]()
    for path, car, book, entries in beside(season, place, wanted, folder, ".toml"):
        event = impartial(load_event(path, book))
        races.append(follow(event, facts(Standing(entries), car)))
        used.append(path.name)
    return habits(races), used


def _check_alphabets(season: Season, wanted: Wanted) -> None:
    words: dict[str, tuple[str, str]] = {}
    for digest in dict.fromkeys(one.digest for one in wanted.events(season.events)):
        book = book_in(season, digest)
        for symbol in book.alphabet.symbols:
            word = word_of(book.alphabet, symbol)
            before, name = words.setdefault(symbol, (word, book.name))
            if before != word:
                raise SeasonError(
                    f"{symbol} is {before!r} in the book {name!r} and {word!r} in {book.name!r}",
                    kind="season-alphabets",
                    hint="name the book with --book: each alphabet has a profile of its own",
                )


def _last_said(query: Query) -> list[Any]:
    """Return the last reports whose seconds are known, the latest first."""
    said, ask = list[Any](), _SAID.format(spoken=spoken(query.season))
    events, most = sorted(query.events, key=lambda one: (one.date, one.number)), _AT_ONCE
    while events and len(said) < _MOST:
        said += query.of(events[-most:]).ask(ask)
        del events[-most:]
        most *= 2
    return said[:_MOST]


def _seconds(query: Query) -> tuple[dict[str, MeasuredTime], int]:
    rows = _last_said(query)
    words, given = dict[str, str](), dict[str, float]()
    for code in dict.fromkeys(code for code, _, _ in rows):
        alphabet = book_in(query.season, query.digests[code]).alphabet
        for symbol, word in alphabet.words.items():
            words.setdefault(symbol, word_of(alphabet, symbol))
            given.setdefault(symbol, word.seconds)
    said = [(text, seconds) for _, text, seconds in reversed(rows) if set(text) <= given.keys()]
    found = word_times(said, given)
    if found is None:
        return {}, 0
    return {words[symbol]: one for symbol, one in found.words.items()}, len(said) - found.set_aside
