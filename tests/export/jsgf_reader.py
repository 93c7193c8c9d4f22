"""Reads JSGF as its specification has it (Java Speech Grammar Format 1.0, 1998), without regard to
how niner writes it.

Comments, the header, rule definitions, alternatives, sequences, groups, optional groups, quoted
tokens, <NULL>. Rules are shared and may stand anywhere in a sequence; a string is accepted if the
public rule can say all of it.
"""

from __future__ import annotations

import functools
import re
import sys
from collections.abc import Iterator

_TOKEN = re.compile(r'"(?:[^"\\]|\\.)*"|<[^<>]+>|[][()|=;]|[^][()|=;<>"\s]+')
sys.setrecursionlimit(20_000)  # a reader this plain goes as deep as rules do
Expansion = tuple[str, object]  # (kind, what it holds)


class Jsgf:
    """A grammar: ``rules`` by name, ``public`` the name of the rule that may be said."""

    def __init__(self, text: str) -> None:
        header, _, body = text.partition("\n")
        assert header.startswith("#JSGF V1.0"), header
        body = re.sub(r"//[^\n]*|/\*.*?\*/", " ", body, flags=re.DOTALL)
        self.tokens = _TOKEN.findall(body)
        assert "".join(self.tokens) == "".join(body.split()), "every character belongs to a token"
        self.place = 0
        self.rules: dict[str, Expansion] = {}
        self.public = ""
        self._next("grammar")
        self.name = self._next()
        self._next(";")
        while self.place < len(self.tokens):
            self._definition()

    def _next(self, wanted: str | None = None) -> str:
        token: str = self.tokens[self.place]
        assert wanted in (None, token), (wanted, token)
        self.place += 1
        return token

    def _definition(self) -> None:
        if self.tokens[self.place] == "public":
            self._next()
            self.public = self.tokens[self.place]
        name = self._next()
        assert name.startswith("<"), name
        assert name not in self.rules, f"{name} is defined twice"
        self._next("=")
        self.rules[name] = self._alternatives()
        self._next(";")

    def _alternatives(self) -> Expansion:
        ways = [self._sequence()]
        while self.tokens[self.place] == "|":
            self._next()
            ways.append(self._sequence())
        return ("any", ways)

    def _sequence(self) -> Expansion:
        parts: list[Expansion] = []
        while self.tokens[self.place] not in ("|", ";", ")", "]"):
            piece = self._next()
            if piece in ("(", "["):
                inner = self._alternatives()
                self._next(")" if piece == "(" else "]")
                parts.append(inner if piece == "(" else ("any", [inner, ("all", [])]))
            elif piece == "<NULL>":
                parts.append(("all", []))
            elif piece.startswith("<"):
                parts.append(("rule", piece))
            else:
                parts.append(
                    (
                        "word",
                        re.sub(r"\\(.)", r"\1", piece[1:-1]) if piece.startswith('"') else piece,
                    )
                )
        assert parts, "a sequence must not be empty"
        return ("all", parts)

    def accepts(self, words: list[str]) -> bool:
        """Tell whether the public rule can say the words."""

        @functools.cache
        def ends(rule: str, place: int) -> frozenset[int]:
            return frozenset(said(self.rules[rule], place))

        def said(expansion: Expansion, place: int) -> Iterator[int]:
            kind, held = expansion
            if kind == "word":
                if place < len(words) and words[place] == held:
                    yield place + 1
            elif kind == "rule":
                yield from ends(str(held), place)
            elif kind == "any":
                for way in held:  # type: ignore[attr-defined]
                    yield from said(way, place)
            else:
                places = {place}
                for part in held:  # type: ignore[attr-defined]
                    places = {after for before in places for after in said(part, before)}
                yield from places

        return len(words) in ends(self.public, 0)
