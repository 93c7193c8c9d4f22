"""Ordered rewriting rules from letters to phones, as written in ``tables/phones.toml``.

A rule ``left(letters)right=PHONES`` says that between ``left`` and ``right`` the ``letters`` sound
like PHONES. At each place of the text the first rule that fits is applied, and reading goes on
after its letters.
"""

from __future__ import annotations

import functools
import re
from typing import NamedTuple

from grammar.data import table

_SHAPE = re.compile(r"(?P<left>.*?)\((?P<letters>[a-z]+)\)(?P<right>.*)=(?P<phones>[A-Z ]*)")
_CLASSES = {"V": "[aeiouy]", "C": "[bcdfghjklmnpqrstvwxz]", "E": "[eiy]"}


class Rule(NamedTuple):
    """One rule; ``left`` must match just before the letters, ``right`` just after them."""

    left: str
    letters: str
    right: str
    phones: tuple[str, ...]

    def fits(self, text: str, place: int) -> bool:
        """Tell whether the rule applies to ``text`` at ``place``."""
        return (
            text.startswith(self.letters, place)
            and _context(self.left).search(text, 0, place) is not None
            and _context(self.right).match(text, place + len(self.letters)) is not None
        )


@functools.cache  # made when first wanted: most rules are never asked how far they fit
def _context(pattern: str) -> re.Pattern[str]:
    return re.compile(re.sub("[VCE]", lambda found: _CLASSES[found[0]], pattern))


def _rule(line: str) -> Rule:
    parts = _SHAPE.fullmatch(line)
    if parts is None:
        raise ValueError(f"not a rule: {line!r}")  # only a damaged table of ours comes here
    left, phones = f"(?:{parts['left']})\\Z", tuple(parts["phones"].split())
    return Rule(left, parts["letters"], parts["right"], phones)


@functools.cache
def _rules(name: str) -> dict[str, tuple[Rule, ...]]:
    """Return the rules of a list by their first letter, in order."""
    groups: dict[str, list[Rule]] = {}
    for line in table("phones")[name]:
        rule = _rule(line)
        groups.setdefault(rule.letters[0], []).append(rule)
    return {letter: tuple(rules) for letter, rules in groups.items()}


def rewrite(text: str, name: str) -> tuple[str, ...]:
    """Return the phones of ``text`` (letters a–z and ``_`` at the edges) by the rules called
    ``name``.

    Every letter has a rule without context, so reading never stops short.
    """
    rules, found, place = _rules(name), list[str](), 0
    while place < len(text):
        if text[place] == "_":
            place += 1
            continue
        rule = next(rule for rule in rules[text[place]] if rule.fits(text, place))
        found += rule.phones
        place += len(rule.letters)
    return tuple(found)
