"""Profiles as files, and what ``encode``, ``hear`` and ``design`` take from them.

    profile = load_profile("ana.json").merged(load_profile("ben.json"))
    encode(book, values, profile=profile)  # the string that takes this person the least time
    hear(book, "five seven ?", noise=channel_of(book, profile))  # what these two mistake
    needs_text(book, profile)  # times and confusions for a needs file of the designer

The file is JSON (RFC 8259), every key but the first may be left out:

    {"format": "niner profile 1", "people": [names],
     "startup": {"seconds": s, "error": s, "count": n},
     "seconds": {word: {"seconds": s, "error": s, "count": n}},
     "read": {word shown: {word said: n}},
     "heard": {word said: {word heard: n}}, "lost": {word said: n}, "added": {word heard: n},
     "swapped": n, "reports": {marks: n}}

Words stand in their compared form: small letters, hyphens as spaces.
"""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path
from typing import TYPE_CHECKING

from codec.files import whole, written
from grammar.document import JSON
from grammar.errors import CodeError, DocumentError
from grammar.inspection import DocumentFormat
from grammar.profile import (
    MeasuredTime,
    Profile,
    heard_rows,
    needs_of_profile,
    rate,
    symbol_counts,
    word_of,
    word_seconds,
)

if TYPE_CHECKING:
    from codec.hear.channel import Channel, Noise
    from grammar.book import Book
    from grammar.symbols import Alphabet

__all__ = [
    "MeasuredTime",
    "Profile",
    "ProfileError",
    "channel_of",
    "heard_rows",
    "load_profile",
    "needs_text",
    "parse_profile",
    "profile_for",
    "profile_with",
    "save_profile",
    "symbol_counts",
    "word_of",
    "word_seconds",
]


class ProfileError(DocumentError):
    """The author of a profile must act; ``problems`` holds every problem found, in file order."""

    kind_of_file = "profile"


_PROFILE = DocumentFormat(
    "a profile", Profile, ProfileError, "profile", syntax=JSON, most=5_000_000
)


def load_profile(path: str | Path) -> Profile:
    """Return the profile in a file; raises ProfileError with every problem, of kind
    ``profile-file`` where the file can't be read.
    """
    try:
        text = _PROFILE.read(path)
    except ProfileError as error:
        error.kind = "profile-file"
        raise
    return parse_profile(text, str(path))


def profile_for(book: Book, path: str | Path) -> Profile:
    """Return the profile in a file, to be used with a book; raises ProfileError, and CodeError
    where it knows words, but none of the book's (``profile-other``).
    """
    return profile_with(book.alphabet, path, f"the words of {book.title!r}")


def profile_with(alphabet: Alphabet, path: str | Path, words: str = "its words") -> Profile:
    """Return the profile in a file, to be used with an alphabet, whose ``words`` are called so;
    raises as ``profile_for`` does.
    """
    profile = load_profile(path)
    known = {word_of(alphabet, symbol) for symbol in alphabet.symbols}
    if profile.words and not profile.words & (known | alphabet.spoken.keys()):
        raise CodeError(
            f"{str(path)!r} is of another book: it knows none of {words}",
            kind="profile-other",
            expected=sorted(known)[:5],
            hint="name a profile made with this book",
        )
    return profile


def parse_profile(text: str, name: str = "profile") -> Profile:
    """Return the profile in a JSON text; raises ProfileError (kind ``profile``) with every problem
    and its place.
    """
    inspection = _PROFILE.inspect(text, name)
    profile = inspection.model()
    inspection.settle()
    return profile


def save_profile(profile: Profile, path: str | Path) -> None:
    """Write a profile: all of it or none, so that a full disk leaves what was there.

    Raises CodeError (kind ``profile-file``).
    """
    target = Path(path)
    text = json.dumps(
        {"format": profile.format, **profile.model_dump(mode="json", exclude_defaults=True)},
        indent=1,
        ensure_ascii=False,
    )
    with written(path, kind="profile-file"), whole(target) as stream:
        stream.write(text + "\n")


def channel_of(book: Book, profile: Profile, noise: Noise | None = None) -> Channel:
    """Return the channel of a book corrected by a profile's counts; the book's own is worth
    ``[hearing] strength`` counts a word, its conditions ``learning.WORTH`` reports.

    Confusions come from words heard, slips of reading from words read (among the confusions, and
    how often neighbours are swapped), bad moments from whole reports.
    """
    from codec.hear.channel import channel, from_rows
    from codec.hear.learning import learnt

    base, spec = channel(book, noise), book.hearing
    rows = heard_rows(profile, book.alphabet, _rows(base), spec.strength)
    worth = spec.strength * len(book.alphabet.symbols)
    insertion = rate(profile.added, profile.heard, base.insertion, worth)
    deletion = rate(profile.lost, profile.heard, base.deletion, worth)
    made = from_rows(book.alphabet, rows, insertion, deletion, base.noise)
    swapped = rate({"": profile.swapped}, profile.read, base.swapped, worth)
    known = dataclasses.replace(
        base, table=made.table, insertion=insertion, deletion=deletion, swapped=swapped
    )
    return learnt(known, profile.reports)


def _rows(base: Channel) -> dict[str, dict[str, float]]:
    symbols = base.alphabet.symbols
    return {
        said: dict(zip(symbols, map(float, row), strict=True))
        for said, row in zip(symbols, base.table, strict=True)
    }


def needs_text(book: Book, profile: Profile, noise: Noise | None = None) -> str:
    """Return ``[times]`` and ``[hearing.confusions]`` in TOML, to stand in a needs file with ``book
    = "…"``.
    """
    from codec.hear.channel import channel

    facts = needs_of_profile(
        profile, book.alphabet, _rows(channel(book, noise)), book.hearing.strength
    )
    lines = [
        "[times]",
        *(
            f"{json.dumps(symbol)} = {milliseconds}"
            for symbol, milliseconds in facts["times"].items()
        ),
    ]
    lines += [
        "",
        "[hearing]",
        f"noise = {json.dumps(book.hearing.noise if noise is None else noise)}",
        "",
        "[hearing.confusions]",
    ]
    for said, row in facts["confusions"].items():
        shares = ", ".join(f"{json.dumps(heard)} = {share:.9f}" for heard, share in row.items())
        lines.append(f"{json.dumps(said)} = {{ {shares} }}")
    return "\n".join(lines) + "\n"
