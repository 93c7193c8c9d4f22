"""The phones of a word: from a respelling, from the table, from a pronouncing dictionary, or by
estimate.

Phones are ARPAbet without stress marks. Words the tables know are said the radio way (``five`` as
FIFE); ``plain=True`` gives the everyday way. Other words are looked up in the CMU Pronouncing
Dictionary where the package ``pocketsphinx``, which carries it, is installed, and estimated from
their letters where it is not or does not know them.

>>> phones("quebec")
('K', 'EH', 'B', 'EH', 'K')
>>> respelled("DELL tah")
('D', 'EH', 'L', 'T', 'AA')
"""

from __future__ import annotations

import functools
import importlib.util
import re
import unicodedata
from collections.abc import Iterable
from pathlib import Path

from grammar.data import table
from grammar.errors import CodeError
from grammar.sound.articulation import Phones, is_vowel
from grammar.sound.rules import rewrite

_LONGEST = 100  # characters; the longest word of any dictionary is far shorter


def _folded(text: str, what: str) -> str:
    """Return ``text`` as lower-case words of a–z between single spaces: accents, hyphens and
    apostrophes go.
    """
    plain = "".join(
        c
        for c in unicodedata.normalize("NFKD", text[: _LONGEST + 1])
        if not unicodedata.combining(c)
    ).lower()
    folded = " ".join(re.sub(r"['’.]", "", plain).replace("-", " ").split())
    if not folded or len(text) > _LONGEST or re.fullmatch(r"[a-z ]+", folded) is None:
        raise CodeError(
            f"no sound can be given for the {what} {text[:40]!r}",
            kind="no-sound",
            source=text[:_LONGEST],
            expected=(f"letters a to z, at most {_LONGEST} characters",),
            hint="write digits and signs as words, or give a respelling such as 'DELL tah'",
        )
    return folded


@functools.cache
def _known(plain: bool) -> dict[str, tuple[Phones, ...]]:
    data = table("phones")
    spoken = {
        word: tuple(tuple(one.split()) for one in ([said] if isinstance(said, str) else said))
        for word, said in data["words"].items()
    }
    spoken |= {word: spoken[other] for word, other in data["alike"].items()}
    if plain:
        spoken |= {word: (tuple(said.split()),) for word, said in data["plain"].items()}
    return {word.replace("-", " "): said for word, said in spoken.items()}


@functools.cache
def _dictionary() -> bytes:
    """Return the text of the pronouncing dictionary, empty where it is not installed.

    Searching the text takes a millisecond or two; a dictionary of its lines takes more than half a
    second to build. The package itself, a recogniser, is not loaded.
    """
    found = importlib.util.find_spec("pocketsphinx")
    if found is None or found.origin is None:
        return b""
    path = Path(found.origin).with_name("model") / "en-us" / "cmudict-en-us.dict"
    return b"\n" + path.read_bytes() if path.is_file() else b""


@functools.lru_cache(maxsize=4096)
def _looked_up(word: str) -> Phones | None:
    text = _dictionary()
    place = text.find(f"\n{word} ".encode())
    if place < 0:
        return None
    line = text[place + 1 : text.index(b"\n", place + 1)].partition(b"#")[0]
    return tuple(line.decode().split()[1:])


def respelled(text: str) -> Phones:
    """Return the phones of a respelling such as ``DELL tah`` or ``NIN-er``: syllables apart, each
    spelled as it sounds.

    Vowels: ``a`` hat (``ah`` at the end), ``ah`` father, ``ay`` day, ``ai`` air, ``e`` bed (``ee``
    at the end), ``ee``, ``i`` bit, ``i`` before consonant and ``e`` as in mike, ``o`` hot (``oh``
    at the end), ``oh``, ``oo``, ``ow`` low, ``oy``, ``u`` cut. The rules are ``respelling`` in
    ``tables/phones.toml``. Raises CodeError where there is anything but letters.
    """
    found = rewrite(f"_{_folded(text, 'respelling').replace(' ', '_')}_", "respelling")
    # a consonant written at the end of a syllable and again at the start of the next is said once:
    # AIR rah
    return tuple(
        one
        for one, before in zip(found, ("", *found), strict=False)
        if one != before or is_vowel(one)
    )


@functools.lru_cache(maxsize=4096)
def estimate(word: str) -> Phones:
    """Return the phones of an English word guessed from its letters alone; raises CodeError for
    anything but letters.

    About one phone in five differs from a pronouncing dictionary (the tests measure it), mostly in
    unstressed vowels. That is good enough to compare words and to time them, not to speak them.
    """
    return tuple(
        phone for part in _folded(word, "word").split() for phone in rewrite(f"_{part}_", "letters")
    )


@functools.lru_cache(maxsize=4096)
def pronunciations(word: str, *, plain: bool = False) -> tuple[Phones, ...]:
    """Return every pronunciation known of a word, the usual one first; see ``phones``."""
    folded, known = _folded(word, "word"), _known(plain)
    if folded in known:
        return known[folded]
    return (
        _joined(
            known[part][0] if part in known else _looked_up(part) or estimate(part)
            for part in folded.split()
        ),
    )


def _joined(parts: Iterable[Phones]) -> Phones:
    return tuple(phone for part in parts for phone in part)


def phones(word: str, *, respelling: str | None = None, plain: bool = False) -> Phones:
    """Return the phones of a word, or of several words with spaces or hyphens between them.

    A respelling (``DELL tah``) is taken at its word. Without one the table comes first, then the
    pronouncing dictionary if it is installed, then the estimate from letters. ``plain`` asks for
    everyday speech instead of the radio's sounds of the digits. Raises CodeError where the text
    holds anything but letters, hyphens and apostrophes.

    >>> phones("five"), phones("five", plain=True)
    (('F', 'AY', 'F'), ('F', 'AY', 'V'))
    """
    return respelled(respelling) if respelling is not None else pronunciations(word, plain=plain)[0]
