"""A book without what is wrong in it, so that the rest is checked as well and every problem is told
at once.
"""

from __future__ import annotations

import copy
from collections.abc import Mapping, Sequence
from typing import Any

from grammar.data import table
from grammar.symbols import AlphabetSpec, possible

SECTIONS = ("fields", "tables", "messages", "phrases")
ALPHABET = "alphabet"
_SPARED = ("direction", "label")  # keys of a message that its layout can be checked without


def mended(
    raw: Mapping[str, Any], paths: Sequence[Sequence[str | int]], broken: set[str]
) -> dict[str, Any] | None:
    """Return the document without what stands at these paths, None where too little is left to be
    checked.

    What was left out and may be referred to goes into ``broken`` ("section.name", or "alphabet"
    where its symbols are not known for certain): what refers to it is not to be blamed.
    """
    left: dict[str, Any] = copy.deepcopy(dict(raw))
    for path in sorted(set(map(tuple, paths)), key=_last_first):
        if not path or (len(path) == 1 and path[0] in ("fields", "tables")):
            return None
        section = str(path[0])
        if section == "messages" and len(path) == 1:
            left[section] = {}
        elif section == ALPHABET and len(path) > 1:
            _alphabet(left[section], [str(part) for part in path[1:]], broken)
        elif section in SECTIONS and len(path) > 1:
            _entry(left, section, path[1:], broken)
        elif len(path) > 1 and isinstance(left.get(section), dict):
            _part(left[section], path[1:])
        else:
            left.pop(section, None)
            broken |= {ALPHABET} & {section}
    hearing = left.get("hearing")
    if isinstance(hearing, dict):
        _hearing(hearing, broken)
    return left


def _last_first(path: tuple[str | int, ...]) -> int:
    """Sort the last places of lists first, for what is taken out moves those behind it."""
    return -path[-1] if path and isinstance(path[-1], int) else 1


def _entry(left: dict[str, Any], section: str, path: Sequence[Any], broken: set[str]) -> None:
    """Take out one entry, or only the part of it that the rest can do without."""
    entries, name = left[section], path[0]
    spared = (section == "messages" and path[1:2] and path[1] in _SPARED) or (
        section == "phrases" and len(path) == 3
    )
    if spared and isinstance(entries.get(name), dict):
        _part(entries[name], path[1:])
        if entries[name].get("says") != []:
            return
    entries.pop(name, None)
    broken.add(f"{section}.{name}")


def _part(entry: dict[str, Any], path: Sequence[Any]) -> None:
    """Take out one key, or one text of a list of texts."""
    value = entry.get(path[0])
    if (
        len(path) == 2
        and isinstance(value, list)
        and isinstance(path[1], int)
        and path[0] in ("fillers", "says")
    ):
        entry[path[0]] = [text for number, text in enumerate(value) if number != path[1]]
    else:
        entry.pop(path[0], None)


def _alphabet(alphabet: dict[str, Any], path: Sequence[str], broken: set[str]) -> None:
    """Take out a word or a key of the alphabet; of the symbols, only those that can't be any."""
    key, published, words = path[0], table("icao"), alphabet.get("words")
    own = words if isinstance(words, dict) else {}
    if key == "words" and len(path) > 1:
        own.pop(path[1], None)
        if path[1] in published:
            return
        key = "symbols"  # without its word it can't be one
    if (
        key == "retired"
        and isinstance(alphabet.get("symbols", ""), str)
        and isinstance(alphabet.get("retired"), str)
    ):
        in_use = (
            AlphabetSpec.model_fields["symbols"].default
            if "symbols" not in alphabet
            else alphabet["symbols"]
        )
        kept = "".join(symbol for symbol in dict.fromkeys(alphabet["retired"]) if symbol in in_use)
        alphabet["retired"] = kept if set(in_use) - set(kept) else ""
        return
    if key != "symbols":
        alphabet.pop(key, None)
        return
    broken.add(ALPHABET)
    symbols = alphabet.pop("symbols", "")
    known = [
        symbol
        for symbol in dict.fromkeys(str(symbols))
        if possible(symbol) and (symbol in published or symbol in own)
    ]
    if isinstance(symbols, str) and known:
        alphabet["symbols"] = "".join(known)


def _hearing(hearing: dict[str, Any], broken: set[str]) -> None:
    """Take out of ``[hearing]`` what names entries that were left out."""
    messages = hearing.get("messages")
    if isinstance(messages, dict):
        hearing["messages"] = {
            name: often for name, often in messages.items() if f"messages.{name}" not in broken
        }
    if ALPHABET in broken:
        hearing.pop("confusions", None)
        hearing.pop("counts", None)
