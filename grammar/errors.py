"""Errors, by who must act: the book's author, the caller, the speaker.

Every error carries the same facts: ``kind`` (a stable slug programs may rely on; the wording may
change), ``message``, the ``source`` text with the ``span`` in it, what was ``expected`` and a
``hint``. ``str()`` prints them with ``^~~~`` under the place.
"""

from __future__ import annotations

import itertools
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, TypeVar

Rebuilt = TypeVar("Rebuilt", bound=ValueError)
Span = tuple[int, int]
Keys = tuple[str | int, ...]  # from the top of a document to one of its parts

_WINDOW = 96  # characters of a source line that are shown around the place
_MOST_EXPECTED = 6
_MOST_RAISED = 20  # problems of one table


def shown(character: str) -> bool:
    """Tell whether a character is one that people see: no control, no mark that changes the
    direction, no space but the plain one.
    """
    return character == " " or unicodedata.category(character)[0] not in "CZ"


def visible(text: str) -> str:
    """Return ``text`` with control, invisible and direction-changing characters written as escapes.

    A transcript or a book may hold any of them; printed raw they could forge or hide parts of an
    error on a terminal. Whatever is shown or printed for people passes through here.
    """
    if text.isprintable():  # the same of all of it
        return text
    return "".join(c if shown(c) else c.encode("unicode_escape").decode() for c in text)


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


def _rebuild(cls: type[Rebuilt], facts: Mapping[str, Any]) -> Rebuilt:
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


class Problem(ValueError):
    """One problem of a file, the same from the check that finds it to the screen.

    A check yields it, or raises it where it can't go on; whoever holds the part that was checked
    puts the keys that lead there before it (``below``), and whoever has the text adds the place
    (``placed``). ``keys`` lead from the top of the document to what it is about, the last of them
    perhaps one that is missing; ``message`` says what is wrong, ``hint`` what to do; ``kind`` is a
    slug. ``rests_on`` are keys of other parts: a problem that rests on what is wrong itself is not
    told. ``meant`` are, for an unknown key, those it seems to stand for, or none.
    ``line`` and ``column``
    count from 1 (0 where unknown); ``excerpt`` is the line of the file with ``^~~~`` under the
    place.
    """

    def __init__(
        self,
        keys: Keys,
        message: str,
        hint: str = "",
        kind: str = "",
        *,
        rests_on: Sequence[Keys] = (),
        meant: Keys | None = None,
    ) -> None:
        """Keep the facts; its place is not known yet."""
        super().__init__(message)
        self.keys, self.message, self.hint, self.kind = tuple(keys), message, hint, kind
        self.rests_on, self.meant = tuple(rests_on), meant
        self.line, self.column, self.excerpt = 0, 0, ""

    @classmethod
    def of(cls, keys: Keys, error: CodeError, hint: str = "") -> Problem:
        """Return the problem that an error of ours is: what it expected goes on a line of its own,
        and ``hint`` stands where it has none.
        """
        expected = f"\n    expected: {visible(listed(error.expected))}" if error.expected else ""
        return cls(keys, visible_lines(error.message) + expected, error.hint or hint)

    def __reduce__(self) -> tuple[Any, ...]:
        """Pickle by attributes, so that problems cross process borders whole."""
        return (_rebuild, (Problem, self.__dict__))

    def at(self, keys: Keys) -> Problem:
        """Return the problem with other keys."""
        return _rebuild(Problem, {**self.__dict__, "keys": keys})

    def below(self, *keys: str | int) -> Problem:
        """Return the problem as seen from what holds its part under ``keys``."""
        return self.at((*keys, *self.keys))

    def placed(self, source: str, span: Span | None, kind: str = "") -> Problem:
        """Return the problem with its place in the text of the file, and a kind if it has none."""
        made = _rebuild(Problem, {**self.__dict__, "kind": self.kind or kind})
        if span is not None:
            start = source.rfind("\n", 0, span[0]) + 1
            made.line, made.column = source.count("\n", 0, span[0]) + 1, span[0] - start + 1
            made.excerpt = caret_lines(source, span)
        return made

    @property
    def path(self) -> str:
        """The keys, joined by points."""
        return ".".join(map(str, self.keys))

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

    def as_dict(self) -> dict[str, Any]:
        """Return path, line, column, kind, message and hint."""
        return {
            key: getattr(self, key) for key in ("path", "line", "column", "kind", "message", "hint")
        }


class DocumentError(CodeError):
    """The author of a file must act; ``problems`` holds every problem found, in file order."""

    kind_of_file = "document"

    def __init__(self, problems: Sequence[Problem], *, name: str = "") -> None:
        """Keep the problems in file order under the name of the file."""
        ordered = sorted(problems, key=lambda p: (p.line, p.column))
        name = name or self.kind_of_file
        message = f"{visible(name)}: {counted(len(ordered), 'problem')}"
        super().__init__(message, kind=self.kind_of_file)
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
        return {
            "error": self.kind,
            "message": self.message,
            "problems": [problem.as_dict() for problem in self.problems],
        }


class BookError(DocumentError):
    """The author of a book, or of a needs file, must act."""

    kind_of_file = "book"


def visible_lines(text: str) -> str:
    """Make every line of ``text`` visible, keeping the line breaks."""
    if text.isprintable():
        return text
    return "\n".join(visible(line) for line in text.split("\n"))


def raise_all(problems: Iterable[Problem]) -> None:
    """Raise a group of problems, of very many the first; do nothing where there is none."""
    found = list(itertools.islice(problems, _MOST_RAISED))
    if found:
        raise ExceptionGroup("problems", found)
