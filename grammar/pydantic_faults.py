"""Faults that pydantic finds in a document, told in words for the people who write it: where, what,
and what to do.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from grammar.errors import CodeError, listed, visible
from grammar.problems import MISFIT

_TABLE = ("a table of keys", "put the keys in braces, or under a heading of its own")
_NUMBER, _WHOLE, _EITHER = (
    ("a number", "write it without quotes"),
    ("a whole number", "write it without quotes or point"),
    ("true or false", ""),
)
# pydantic's kinds of fault: what is expected, with the facts it gives in braces, and a hint
_KINDS = {
    "string_type": ("text", "put it in quotes"),
    "int_type": _WHOLE,
    "int_parsing": _WHOLE,
    "int_from_float": _WHOLE,
    "int_parsing_size": ("a smaller number", ""),
    "float_type": _NUMBER,
    "float_parsing": _NUMBER,
    "finite_number": ("a finite number", ""),
    "decimal_type": _NUMBER,
    "bool_type": _EITHER,
    "bool_parsing": _EITHER,
    "list_type": ("a list", "put its items in brackets: [ … ]"),
    "dict_type": _TABLE,
    "model_type": _TABLE,
    "model_attributes_type": _TABLE,
    "greater_than": ("a number greater than {gt:g}", ""),
    "greater_than_equal": ("a number of {ge:g} or more", ""),
    "less_than": ("a number less than {lt:g}", ""),
    "less_than_equal": ("a number of {le:g} or less", ""),
    "literal_error": ("{expected}", ""),
    "string_too_short": ("text of {min_length} or more characters", "add what is missing"),
    "string_too_long": ("text of at most {max_length} characters", "shorten it"),
    "too_short": ("a list of {min_length} or more", "add what is missing"),
    "too_long": ("a list of at most {max_length}", "leave some out"),
}


def told(
    fault: Mapping[str, Any],
    raw: Mapping[str, Any],
    keys: Callable[[Sequence[str | int]], Sequence[str]],
) -> tuple[tuple[str | int, ...], str, str]:
    """Turn a fault of pydantic's into path, message and hint; ``keys`` gives the keys allowed where
    an unknown one was found.
    """
    kind, facts = fault["type"], fault.get("ctx", {})
    path = _in_document(fault["loc"], raw, absent=kind in ("missing", MISFIT))
    if kind == MISFIT:
        return path, visible(facts["message"]), visible(facts["hint"])
    if kind == "extra_forbidden":
        return (
            path,
            visible(f"unknown key {path[-1]!r}" if path else "unknown key"),
            _close(str(fault["loc"][-1]), keys(fault["loc"]), "remove it"),
        )
    if kind == "missing":
        return path, visible(f"{fault['loc'][-1]!r} is missing"), "add it"
    if kind == "union_tag_invalid":
        known = [tag.strip("' ") for tag in facts["expected_tags"].split(",")]
        return (
            (*path, "kind"),
            visible(f"kind {facts['tag']!r} is unknown"),
            _close(facts["tag"], known, f"kinds are {facts['expected_tags']}"),
        )
    if kind == "union_tag_not_found":
        return path, "'kind' is missing", "say what kind it is"
    if kind in ("value_error", "assertion_error"):
        return path, *_ours(facts.get("error"), str(fault["msg"]))
    if kind not in _KINDS:
        return path, visible(f"{fault['msg']} (found {_shown(fault.get('input'))})"), ""
    expected, hint = _KINDS[kind]
    found = fault.get("input")
    known = (
        [word.strip("' ") for word in facts["expected"].replace(" or ", ",").split(",")]
        if kind == "literal_error"
        else []
    )
    message = f"{_shown(found)} can't stand here; expected is {expected.format(**facts)}"
    return path, visible(message), visible(_close(str(found), known, hint))


def _shown(value: Any) -> str:
    """Return what was found, short."""
    if isinstance(value, dict | list):
        return f"a {'table' if isinstance(value, dict) else 'list'} of {len(value)}"
    return repr(value if isinstance(value, bool) else str(value)[:40])


def _close(found: str, known: Sequence[str], otherwise: str) -> str:
    close = difflib.get_close_matches(found[:100], known, n=1)
    return f"did you mean {close[0]!r}?" if close else otherwise


def _ours(error: object, said: str) -> tuple[str, str]:
    """Return message and hint of an error that a validator raised; what a CodeError expected goes
    on a line of its own.
    """
    if not isinstance(error, CodeError):
        return visible(said.removeprefix("Value error, ").removeprefix("Assertion failed, ")), ""
    expected = f"\n    expected: {visible(listed(error.expected))}" if error.expected else ""
    return visible(error.message) + expected, visible(error.hint)


def _in_document(location: Sequence[str | int], raw: Any, *, absent: bool) -> tuple[str | int, ...]:
    """Drop the parts of a location that pydantic adds (tags of unions) and the document does not
    have.

    ``absent`` tells that the last part names a key that may be missing.
    """
    path: list[str | int] = []
    node: Any = raw
    # the tag of a union comes before the keys of its table, one of which may be called the same
    entered = True
    for number, part in enumerate(location):
        tag = entered and isinstance(node, Mapping) and node.get("kind") == part
        entered = False
        inner = None if tag else _inside(node, part)
        if inner is not None:
            node, entered = inner, True
        elif tag or not absent or number < len(location) - 1 or not isinstance(node, Mapping):
            continue
        path.append(part)
    return tuple(path)


def _inside(node: Any, part: str | int) -> Any:
    """Return what a key or an index leads to, None if it leads nowhere."""
    if isinstance(node, Mapping):
        return node.get(part)
    return (
        node[part]
        if isinstance(node, list) and isinstance(part, int) and part < len(node)
        else None
    )
