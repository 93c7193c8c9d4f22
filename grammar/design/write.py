"""Writing a book as TOML with comments: sections in the book's order, long lists wrapped, every
text escaped.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

WIDTH = 136
_PLAIN = ("alphabet", "speech", "hearing", "dash")  # sections of keys alone
_SECTIONS = (*_PLAIN, "fields", "tables", "messages", "phrases")
_ESCAPES = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\t": "\\t", "\r": "\\r"}


def book_text(sections: Mapping[str, Any], head: Sequence[str], notes: Mapping[str, str]) -> str:
    """Return the TOML text of a book given as dictionaries.

    ``head`` are comment lines for the top, ``notes`` comments by section, "tables.lap" or
    "hearing".
    """
    lines = [*_comments(head), ""]
    lines += [
        f"{key_text(key)} = {value_text(value)}"
        for key, value in sections.items()
        if key not in _SECTIONS and value not in ("", None)
    ]
    for section in _SECTIONS:
        entries = sections.get(section)
        if not entries:
            continue
        if section in _PLAIN:
            lines += ["", *_comments([notes[section]] if section in notes else []), f"[{section}]"]
            lines += key_lines(entries)
            continue
        for name, entry in entries.items():
            note = notes.get(f"{section}.{name}")
            lines += ["", *_comments([note] if note else []), f"[{section}.{key_text(name)}]"]
            lines += key_lines(entry)
    return "\n".join(lines) + "\n"


def key_lines(entries: Mapping[str, Any]) -> list[str]:
    """Return a line for each key of a table."""
    return [f"{key_text(key)} = {value_text(value)}" for key, value in entries.items()]


def _comments(texts: Sequence[str]) -> list[str]:
    """Return comment lines, wrapped; control characters of a title can't end one."""
    import textwrap

    lines: list[str] = []
    for text in texts:
        plain = "".join(c if c.isprintable() else " " for c in text)
        lines += [f"# {line}" for line in textwrap.wrap(plain, WIDTH - 2)] or ["#"]
    return lines


def key_text(name: str) -> str:
    """Return a key as TOML writes it."""
    bare = name.isascii() and name.replace("_", "").replace("-", "").isalnum()
    return name if bare else value_text(name)


def value_text(value: Any) -> str:
    """Return a value as TOML writes it; raises TypeError for what no book holds."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return (
            '"'
            + "".join(_ESCAPES.get(c, c if c.isprintable() else f"\\U{ord(c):08X}") for c in value)
            + '"'
        )
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, Decimal):
        text = f"{value:f}"
        return text if "." in text else text + ".0"
    if isinstance(value, Mapping):
        inner = ", ".join(f"{key_text(str(key))} = {value_text(one)}" for key, one in value.items())
        return "{ " + inner + " }" if inner else "{}"
    if isinstance(value, list | tuple):
        return _list([value_text(one) for one in value])
    raise TypeError(f"{type(value).__name__} in a book")


def held(sections: Mapping[str, Any]) -> dict[str, Any]:
    """Return what the text of a book given as dictionaries holds, once it is read."""
    return {
        key: _held(value)
        for key, value in sections.items()
        if (value if key in _SECTIONS else value not in ("", None))
    }


def _held(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {str(key): _held(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [one if type(one) is str else _held(one) for one in value]
    return Decimal(value_text(value)) if isinstance(value, float | Decimal) else value


def _list(items: Sequence[str]) -> str:
    whole = f"[{', '.join(items)}]"
    if len(whole) < WIDTH - 20:
        return whole
    lines, line = [], " "
    for item in items:
        if len(line) + len(item) + 2 > WIDTH:
            lines.append(line)
            line = " "
        line += f" {item},"
    return "\n".join(["[", *lines, line, "]"])
