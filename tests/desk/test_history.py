"""A search of the history finds what says all of its words, however long ago it was written."""

from __future__ import annotations

from dataclasses import dataclass

from hypothesis import given
from hypothesis import strategies as st
from sheet.drawn import older, sheets
from sheet.support import race_book, report

from codec.desk.pages.history import searched, words_of
from codec.log.session import Session
from codec.sheet import Entry
from codec.sheet.window import EntryWindow
from grammar.book import Book

WORDS = (
    "rain",
    "ﬂat",
    "GRASS",
    "Grüße",
    "grasse",
    "lap",
    "#1",
    "car",
    "none",
    "a",
    "61",
    "said;",
    "",
)


@dataclass
class Held:
    """What a search asks of a session."""

    book: Book
    entries: EntryWindow


def says(book: Book, entry: Entry, words: list[str]) -> bool:
    """Tell whether an entry has all words in what its line of the history shows of it."""
    facts = f"#{entry.seq} {entry.kind} {entry.writer} {entry.speaker} car {entry.car}"
    text = f"{words_of(book, entry)} {facts} lap {entry.lap}".casefold()
    return all(word in text for word in words)


@given(
    sheets(),
    st.lists(st.sampled_from(WORDS), min_size=40, max_size=40),
    st.lists(st.sampled_from(WORDS), max_size=2),
)
def test_it_finds_the_same_as_looking_at_every_entry(
    entries: list[Entry], heard: list[str], sought: list[str]
) -> None:
    book, window = race_book(), EntryWindow(older(entries), 1)
    for place, entry in enumerate(entries):
        entry = entry.replace(heard=f"{heard[place]} {entry.seq}", note=heard[-place])  # noqa: PLW2901 - as heard
        if entry.kind == "report" and entry.seq % 2:
            entry = report().replace(seq=entry.seq, about=None)  # noqa: PLW2901 - read
        entries[place] = entry
        window.append(entry)
    session: Session = Held(book, window)  # type: ignore[assignment]  # all that is asked of it
    found, place = list[Entry](), len(entries)
    while place:
        some, place = searched(session, " ".join(sought), place)
        found += some
    words = " ".join(sought).casefold().split()
    assert found == [one for one in reversed(entries) if says(book, one, words)]
