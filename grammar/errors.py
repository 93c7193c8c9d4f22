"""Errors, by who must act: the book's author, the caller, the speaker.

Every error carries the same facts: ``kind`` (a stable slug programs may rely on; the wording may
change), ``message``, the ``source`` text with the ``span`` in it, what was ``expected`` and a
``hint``. ``str()`` prints them with ``^~~~`` under the place.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

Span = tuple[int, int]

_WINDOW = 96  # characters of a source line that are shown around the place
_MOST_EXPECTED = 6


def visible(text: str) -> str:
    """Return ``text`` with control, invisible and direction-changing characters written as escapes.

    A transcript or a book may hold any of them; printed raw they could forge or hide parts of an
    error on a terminal.
    """
    return "".join(
        (
            c
            if c == " " or unicodedata.category(c)[0] not in "CZ"
            else c.encode("unicode_escape").decode()
        )
        for c in text
    )


def caret_lines(source: str, span: Span) -> str:
    """Return the line of ``source`` that holds ``span`` with ``^~~~`` under it, cut to a window
    when it is long.
    """
    start, end = max(0, min(span[0], len(source))), max(0, min(span[1], len(source)))
    left = source.rfind("\n", 0, start) + 1
    right = source.find("\n", start)
    right = len(source) if right < 0 else right
    end = min(max(end, start), right)
    head, tail = max(left, start - _WINDOW // 2), min(right, max(end, start) + _WINDOW // 2)
    tail = min(tail, head + 2 * _WINDOW)
    before = ("…" if head > left else "") + visible(source[head:start])
    marked = visible(source[start : min(end, tail)])
    after = visible(source[min(end, tail) : tail]) + ("…" if tail < right else "")
    return f"  {before}{marked}{after}\n  {' ' * len(before)}^{'~' * max(0, len(marked) - 1)}"


def listed(words: Sequence[str], most: int = _MOST_EXPECTED) -> str:
    """Join ``words`` for a person: ``a, b or c``, at most ``most`` of them, then how many more
    there are.
    """
    shown = list(words[: most if len(words) > most + 1 else most + 1])
    if len(words) > most + 1:  # one more takes no more room than to say so
        return f"{', '.join(shown)} … and {len(words) - most} more"
    return " or ".join([", ".join(shown[:-1]), shown[-1]]) if len(shown) > 1 else "".join(shown)


def counted(count: int, one: str, several: str = "") -> str:
    """Return a number of things in words: ``1 report``, ``2 reports``; ``several`` is the plural
    where it takes more than an s.
    """
    return f"{count} {one if count == 1 else several or one + 's'}"


class CodeError(ValueError):
    """Base of all errors of this project.

    ``kind`` is a stable slug; ``source`` the text the error is about ("" if there is none),
    ``span`` the place in it as character offsets; ``expected`` words for people; ``hint`` what to
    do.
    """

    exit_code = 2

    def __init__(
        self,
        message: str,
        *,
        kind: str,
        source: str = "",
        span: Span | None = None,
        expected: Sequence[str] = (),
        hint: str = "",
    ) -> None:
        """Keep the facts; the text is made when it is asked for."""
        super().__init__(message)
        self.message, self.kind, self.source, self.span = message, kind, source, span
        self.expected, self.hint = tuple(expected), hint

    def __str__(self) -> str:
        lines = [visible_lines(self.message)]
        if self.span is not None and self.source:
            lines.append(caret_lines(self.source, self.span))
        if self.expected:
            lines.append(visible_lines(f"expected: {listed(self.expected)}"))
        if self.hint:
            lines.append(visible_lines(f"hint: {self.hint}"))
        return "\n".join(lines)

    def __reduce__(self) -> tuple[Any, ...]:
        """Pickle by attributes, so that errors cross process borders whole."""
        return (_rebuild, (type(self), self.__dict__))

    def as_dict(self) -> dict[str, Any]:
        """Return the facts for ``--json``: kind, message, span, expected, hint."""
        facts: dict[str, Any] = {"error": self.kind, "message": self.message}
        if self.span is not None:
            facts["span"] = list(self.span)
        if self.expected:
            facts["expected"] = list(self.expected)
        if self.hint:
            facts["hint"] = self.hint
        return facts


def _rebuild(cls: type[CodeError], facts: Mapping[str, Any]) -> CodeError:
    error = cls.__new__(cls)
    error.args = (facts["message"],)
    error.__dict__.update(facts)
    return error


class ReportError(CodeError):
    """The speaker's (or the typist's) report cannot be read; it needs a repeat."""

    exit_code = 1


class UnknownWord(ReportError):
    """A word of the transcript is in no table of the book."""


class UnexpectedWord(ReportError):
    """A known word stands where no message of the book has it."""


class Incomplete(ReportError):
    """The transcript ends before the message does; the span is the end of the text."""


class Ambiguous(ReportError):
    """More than one reading is possible; ``candidates`` describes each.

    Ties are refused, never broken.
    """

    def __init__(self, message: str, *, candidates: Sequence[str], **facts: Any) -> None:
        """Keep the candidates beside the usual facts."""
        super().__init__(message, **facts)
        self.candidates = tuple(candidates)

    def __str__(self) -> str:
        return "\n".join(
            [
                super().__str__(),
                *(
                    visible_lines(f"  either {c}" if i == 0 else f"  or     {c}")
                    for i, c in enumerate(self.candidates)
                ),
            ]
        )

    def as_dict(self) -> dict[str, Any]:
        """Return the facts with the candidates."""
        return {**super().as_dict(), "candidates": list(self.candidates)}


class EncodeError(CodeError):
    """The caller's value cannot be said in this code: outside its domain, missing, or in no
    table.
    """


@dataclass(frozen=True, slots=True)
class Problem:
    """One problem of a book: where (path of keys, line and column from 1, 0 where unknown), what,
    and what to do.

    ``excerpt`` is the line of the file with ``^~~~`` under the place.
    """

    path: str
    line: int
    message: str
    hint: str = ""
    kind: str = "book"
    column: int = 0
    excerpt: str = ""

    @classmethod
    def at(
        cls,
        path: str,
        source: str,
        span: Span | None,
        message: str,
        hint: str = "",
        kind: str = "book",
    ) -> Problem:
        """Return the problem with its place in the text of the file."""
        if span is None:
            return cls(path, 0, message, hint, kind)
        line, start = source.count("\n", 0, span[0]) + 1, source.rfind("\n", 0, span[0]) + 1
        return cls(path, line, message, hint, kind, span[0] - start + 1, caret_lines(source, span))

    def __str__(self) -> str:
        place = (f"line {self.line}" if self.line else "file") + (
            f", column {self.column}" if self.column else ""
        )
        excerpt = "".join(f"\n  {line}" for line in self.excerpt.splitlines())
        hint = f"\n    hint: {self.hint}" if self.hint else ""
        what, *more = self.message.split("\n", maxsplit=1)
        return (
            "\n".join([f"{place}: {self.path + ': ' if self.path else ''}{what}{excerpt}", *more])
            + hint
        )


class BookError(CodeError):
    """The book's author must act; ``problems`` holds every problem found, in file order."""

    def __init__(self, problems: Sequence[Problem], *, name: str = "book") -> None:
        """Keep the problems in file order under the name of the book's file."""
        ordered = sorted(problems, key=lambda p: (p.line, p.column))
        super().__init__(f"{visible(name)}: {counted(len(ordered), 'problem')}", kind="book")
        self.problems, self.name = tuple(ordered), name

    def __str__(self) -> str:
        return "\n".join(
            [
                self.message,
                *("  " + visible_lines(str(p)).replace("\n", "\n  ") for p in self.problems),
            ]
        )

    def as_dict(self) -> dict[str, Any]:
        """Return every problem with path, line, column, message and hint."""
        rows = [
            {
                "path": p.path,
                "line": p.line,
                "column": p.column,
                "kind": p.kind,
                "message": p.message,
                "hint": p.hint,
            }
            for p in self.problems
        ]
        return {"error": self.kind, "message": self.message, "problems": rows}


def visible_lines(text: str) -> str:
    """Make every line of ``text`` visible, keeping the line breaks."""
    return "\n".join(visible(line) for line in text.split("\n"))
