"""What can be left out of a book, or of a needs file, so that the rest is checked as well and every
problem is told at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, get_args

from grammar.errors import Keys
from grammar.inspection import DocumentFormat, Model
from grammar.symbols import AlphabetSpec, Letters, possible

_SPARED = ("direction", "label")  # keys of a message that its layout can be checked without
_TEXTS = ("fillers", "says")  # lists whose texts stand for themselves
_SYMBOLS = ("symbols", "retired", "words")  # keys of the alphabet that tell what is in use


class BookFormat(DocumentFormat[Model]):
    """The format of a file that has sections of a book."""

    def part(self, keys: Keys) -> Keys:
        """Return an entry of a section, or the part of it that the rest can do without."""
        section, *more = keys or ("",)
        spared = section == "messages" and more[1:2] and more[1] in _SPARED
        text = len(keys) > 2 and keys[-2] in _TEXTS
        if section == "alphabet" or text:
            return keys
        return keys[:3] if spared or keys[:2] == ("hearing", "messages") else keys[:2]

    def take_out(self, left: dict[str, Any], keys: Keys) -> Keys | None:
        """Take out a part; of the alphabet's symbols, only those that can't be any.

        What is not known without it is the whole alphabet where its symbols are not known for
        certain, and a phrase of which nothing is left.
        """
        if keys[:1] == ("alphabet",) and len(keys) > 1:
            certain = _without(left["alphabet"], [str(part) for part in keys[1:]])
            return () if certain else ("alphabet",)
        return super().take_out(left, keys)


def _without(alphabet: dict[str, Any], path: Sequence[str]) -> bool:
    """Take out a word or a key of the alphabet; tell whether its symbols are certain."""
    letters: Any = alphabet.get("letters")
    spec = AlphabetSpec(letters=letters) if letters in get_args(Letters) else AlphabetSpec()
    key, published, words = path[0], spec.published, alphabet.get("words")
    own = words if isinstance(words, dict) else {}
    if key == "words" and len(path) > 1:
        own.pop(path[1], None)
        if path[1] in published:
            return True
        key = "symbols"  # without its word it can't be one
    if (
        key == "retired"
        and isinstance(alphabet.get("symbols", ""), str)
        and isinstance(alphabet.get("retired"), str)
    ):
        in_use = (
            AlphabetSpec.declared["symbols"].default
            if "symbols" not in alphabet
            else alphabet["symbols"]
        )
        kept = "".join(symbol for symbol in dict.fromkeys(alphabet["retired"]) if symbol in in_use)
        alphabet["retired"] = kept if set(in_use) - set(kept) else ""
        return True
    if key != "symbols":
        alphabet.pop(key, None)
        return key not in _SYMBOLS
    symbols = alphabet.pop("symbols", "")
    known = [
        symbol
        for symbol in dict.fromkeys(str(symbols))
        if possible(symbol) and (symbol in published or symbol in own)
    ]
    if isinstance(symbols, str) and known:
        alphabet["symbols"] = "".join(known)
    return False
