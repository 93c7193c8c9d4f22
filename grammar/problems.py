"""Problems and pydantic: what it finds in a document is told in words for the people who write it,
and what our own checks find passes through it as it is.
"""

from __future__ import annotations

import difflib
import functools
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic_core import InitErrorDetails

from grammar.errors import CodeError, Keys, Problem, listed, visible

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
    "tuple_type": ("a list", "put its items in brackets: [ … ]"),
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

NOTHING = object()  # where keys lead nowhere
_CLOSE = 0.7  # how like a name has to be to be suggested for another
_MOST_SEARCHED = 200  # problems for which the whole format is searched


def refuse(problems: Iterable[Problem]) -> None:
    """Raise pydantic's ValidationError with every problem at its keys; do nothing where there is
    none.

    For validators of the models: pydantic puts the keys of what holds them before theirs.
    """
    found = [
        InitErrorDetails(type="value_error", input=None, ctx={"error": problem})
        for problem in problems
    ]
    if found:
        raise ValidationError.from_exception_data("part", found)


def problems_of(
    error: ValidationError, raw: Mapping[str, Any], model: type[BaseModel]
) -> list[Problem]:
    """Return all that pydantic found in a document, with the keys of the document; ``model`` is
    that of the whole, whose keys are suggested where one is unknown.

    A key that is missing is not told where an unknown one seems to stand for it.
    """
    faults = error.errors(include_url=False)
    unknown = [fault for fault in faults if fault["type"] == "extra_forbidden"]
    form = _Format(model, raw)
    found = [
        form.unknown(fault, widely=number < _MOST_SEARCHED) for number, fault in enumerate(unknown)
    ]
    meant = {problem.meant for problem in found}
    for number, fault in enumerate(faults):
        if fault["type"] == "missing":
            keys = (*_in_document(fault["loc"][:-1], raw), fault["loc"][-1])
            if keys not in meant:
                found.append(Problem(keys, visible(f"{keys[-1]!r} is missing"), "add it"))
        elif fault["type"] != "extra_forbidden":
            problem = _problem(fault, _in_document(fault["loc"], raw))
            if fault["type"] in _KINDS and not problem.hint and number < _MOST_SEARCHED:
                problem.hint = visible(form.description(problem.keys))
            found.append(problem)
    return found


def _problem(fault: Mapping[str, Any], keys: Keys) -> Problem:
    """Return a fault other than an unknown or a missing key; our own come out as they went in."""
    kind, facts = fault["type"], fault.get("ctx", {})
    problem = facts.get("error")
    if isinstance(problem, Problem):
        return problem.below(*keys)
    if isinstance(problem, CodeError):
        return Problem.of(keys, problem)
    if kind == "union_tag_invalid":
        known = [tag.strip("' ") for tag in facts["expected_tags"].split(",")]
        hint = nearest(facts["tag"], known, f"kinds are {facts['expected_tags']}")
        return Problem((*keys, "kind"), visible(f"kind {facts['tag']!r} is unknown"), hint)
    if kind == "union_tag_not_found":
        return Problem(keys, "'kind' is missing", "say what kind it is")
    if problem is not None:  # what another validator raised
        return Problem(keys, visible(str(problem)))
    value = fault.get("input")
    if kind not in _KINDS:
        return Problem(keys, visible(f"{fault['msg']} (found {_shown(value)})"))
    expected, hint = _KINDS[kind]
    known = (
        [word.strip("' ") for word in facts["expected"].replace(" or ", ",").split(",")]
        if kind == "literal_error"
        else []
    )
    message = f"{_shown(value)} can't stand here; expected is {expected.format(**facts)}"
    return Problem(keys, visible(message), visible(nearest(str(value), known, hint)))


def _shown(value: Any) -> str:
    """Return what was found, short."""
    if isinstance(value, dict | list):
        return f"a {'table' if isinstance(value, dict) else 'list'} of {len(value)}"
    return repr(value if isinstance(value, bool) else str(value)[:40])


def nearest(word: str, known: Iterable[str], otherwise: str) -> str:
    """Return a hint: the known word nearest to one that is unknown, or else ``otherwise``."""
    close = _closest(word, known)
    return f"did you mean {listed([repr(one) for one in close])}?" if close else otherwise


def _closest(word: str, known: Iterable[str]) -> list[str]:
    """Return the known words that are most like another; several where they are equally like."""
    near = difflib.get_close_matches(word[:100], list(known), cutoff=_CLOSE)
    likeness = {one: difflib.SequenceMatcher(None, one, word[:100]).ratio() for one in near}
    return sorted(one for one in near if likeness[one] == likeness[near[0]])


# where a key stands in the document


def _in_document(place: Sequence[str | int], raw: Any) -> Keys:
    """Return a location of pydantic's without the parts that it adds (tags of unions, "[key]") and
    the document does not have.
    """
    keys: list[str | int] = []
    node: Any = raw
    # the tag of a union comes before the keys of its table, one of which may be called the same
    entered = True
    for part in place:
        tag = entered and isinstance(node, Mapping) and node.get("kind") == part
        inner = NOTHING if tag else inside(node, part)
        entered = inner is not NOTHING
        if entered:
            node = inner
            keys.append(part)
    return tuple(keys)


def inside(node: Any, *keys: str | int) -> Any:
    """Return what keys and indices lead to, NOTHING if they lead nowhere."""
    for key in keys:
        if isinstance(node, Mapping):
            node = node.get(key, NOTHING)
        else:
            within = isinstance(node, list) and isinstance(key, int) and key < len(node)
            node = node[key] if within else NOTHING
    return node


class _Format:
    """The keys of a kind of file, out of the JSON Schema of its model."""

    def __init__(self, model: type[BaseModel], raw: Mapping[str, Any]) -> None:
        self._model, self._raw = model, raw

    @functools.cached_property
    def _schema(self) -> dict[str, Any]:
        return self._model.model_json_schema()

    def description(self, keys: Keys) -> str:
        """Return what the model says of a key, or of the nearest that holds it."""
        lengths = range(len(keys) - 1, -1, -1)
        said = (self._here(keys[:length]).get(str(keys[length]), "") for length in lengths)
        text = next(filter(None, said), "").removesuffix(".")
        return text[:1].lower() + text[1:] if text[1:2].islower() else text

    def unknown(self, fault: Mapping[str, Any], *, widely: bool) -> Problem:
        """Return the problem of an unknown key: the hint names the key that is nearest in its own
        table, by its letters or as the description of one says it; else one of another table.
        """
        *table, key = _in_document(fault["loc"], self._raw)
        word, hint, meant = str(key)[:100], "remove it", ""
        here = self._here(table)
        close = _closest(word, here)
        if not close and widely and word not in self._everywhere and len(word) > len("key"):
            words = re.compile(rf"\b{re.escape(word.replace('_', ' '))}\b", re.IGNORECASE)
            said = [name for name, description in here.items() if words.search(description)]
            close = said if len(said) == 1 else []
        if close:
            meant = close[0] if len(close) == 1 else ""
            hint = f"did you mean {listed([repr(one) for one in close])}?"
        elif widely and (other := _closest(word, self._everywhere)):
            hint = f"did you mean {other[0]!r} {self._everywhere[other[0]]}?"
        return Problem(
            (*table, key),
            visible(f"unknown key {key!r}"),
            visible(hint),
            meant=(*table, meant) if meant else (),
        )

    def _choices(self, node: Mapping[str, Any], here: Any = None) -> list[Any]:
        """Return the schemas that a part of the schema stands for; of kinds told apart by a key,
        that of what stands ``here``.
        """
        if "$ref" in node:
            return self._choices(self._schema["$defs"][node["$ref"].rpartition("/")[2]], here)
        kinds = node.get("discriminator", {}).get("mapping", {})
        kind = here.get(node["discriminator"]["propertyName"]) if kinds and here else None
        if isinstance(kind, str) and kind in kinds:
            return self._choices({"$ref": kinds[kind]}, here)
        several = [one for key in ("anyOf", "oneOf", "allOf") for one in node.get(key, ())]
        return [node, *(inner for one in several for inner in self._choices(one, here))]

    def _here(self, table: Sequence[str | int]) -> dict[str, str]:
        """Return the keys that may stand in a table, with their descriptions."""
        raw: Any = self._raw
        nodes = self._choices(self._schema)
        for key in table:
            raw = inside(raw, key)
            inner = [
                one
                for node in nodes
                for one in (
                    node.get("properties", {}).get(key),
                    node.get("additionalProperties"),
                    node.get("items"),
                )
                if isinstance(one, dict)
            ]
            stands = raw if isinstance(raw, Mapping) else None
            nodes = [choice for one in inner for choice in self._choices(one, stands)]
        return {
            key: str(one.get("description", ""))
            for node in nodes
            for key, one in node.get("properties", {}).items()
        }

    @functools.cached_property
    def _everywhere(self) -> dict[str, str]:
        """Every key of the format with the table it stands in, the first it is found in."""
        known: dict[str, str] = {}
        nodes: list[tuple[Any, tuple[str, ...]]] = [(self._schema, ())]
        for node, path in nodes:
            for choice in self._choices(node):
                for key, inner in choice.get("properties", {}).items():
                    known.setdefault(key, f"in [{'.'.join(path)}]" if path else "at the top")
                    nodes.append((inner, (*path, key)))
                for inner in (choice.get("additionalProperties"), choice.get("items")):
                    below = (*path, "*") if "additionalProperties" in choice else path
                    nodes += [(inner, below)] if isinstance(inner, dict) else []
        return known
