"""The tables of keys in examples/files.md, made from what the formats' models say of themselves.

A document marks where a table stands::

    <!-- keys: EnergySpec -->
    …
    <!-- end -->

``keys`` names a model that a format's own model leads to, or a base of one; ``columns`` an exported
sheet's columns; ``forms`` those of transcripts; ``words`` a module whose docstring tells a form, of
which all but the first paragraph is shown. ``python tests/readme.py`` fills all of them anew.
"""

from __future__ import annotations

import importlib
import inspect
import re
import types
from collections.abc import Iterable, Iterator
from decimal import Decimal
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from annotated_types import Ge, Gt, Le, Lt, MaxLen, MinLen
from pydantic import BaseModel
from pydantic.fields import FieldInfo

from codec.race.event import EventSpec
from codec.radio.forms import FORMS
from codec.sheet.table import ENTRIES
from codec.wheel.map import WheelMapSpec
from grammar.declared import Checked, Declared, OneKindOf
from grammar.design.needs import NeedsSpec
from grammar.exact import plain
from grammar.models import BookSpec
from grammar.profile import Profile

MODELS: tuple[type[BaseModel], ...] = (BookSpec, EventSpec, WheelMapSpec, NeedsSpec, Profile)
_MARKED = re.compile(r"<!-- (keys|columns|forms|words): ([\w.]+) -->\n(.*?)<!-- end -->", re.DOTALL)
_PLAIN: dict[Any, str] = {
    str: "text",
    int: "a whole number",
    float: "a number",
    Decimal: "a number",
    bool: "`true` or `false`",
}
_SEVERAL: dict[Any, str] = {
    str: "texts",
    int: "whole numbers",
    float: "numbers",
    Decimal: "numbers",
}


def models() -> dict[str, type[BaseModel]]:
    """Return every model that the formats lead to, by its class's name."""
    found: dict[str, type[BaseModel]] = {}
    waiting = list(MODELS)
    while waiting:
        model = waiting.pop()
        if model.__name__ not in found:
            found[model.__name__] = model
            for key in model.model_fields.values():
                waiting += _models_in(key.annotation)
    return found


def _models_in(annotation: Any) -> Iterator[type[BaseModel]]:
    model = _model_of(annotation)
    if model is not None:
        yield model
    for part in _kinds(annotation) or get_args(annotation):
        yield from _models_in(part)


def _model_of(annotation: Any) -> type[BaseModel] | None:
    """Return the model that an annotation is, or that is made out of it."""
    if not inspect.isclass(annotation):
        return None
    if issubclass(annotation, Declared):
        return annotation.model()
    return annotation if issubclass(annotation, BaseModel) else None


def _kinds(annotation: Any) -> list[type[BaseModel]]:
    """Return the models of the kinds that a part annotated with them may be of."""
    return [
        kind.model()
        for one in get_args(annotation)
        if isinstance(one, OneKindOf)
        for kind in one.kinds
    ]


def bases(model: type[BaseModel]) -> list[type[BaseModel]]:
    """Return a model and its bases that have keys of their own, the most general last."""
    return [
        base
        for base in model.__mro__
        if inspect.isclass(base) and issubclass(base, BaseModel) and own_keys(base)
    ]


def own_keys(model: type[BaseModel]) -> list[str]:
    """Return the keys that a model itself declares."""
    return [name for name in model.model_fields if name in inspect.get_annotations(model)]


def filled(text: str) -> str:
    """Return a document with every marked table made anew; raises KeyError for a model that no
    format leads to.
    """
    known = {base.__name__: base for model in models().values() for base in bases(model)}

    def block(found: re.Match[str]) -> str:
        kind, name, _ = found.groups()
        match kind:
            case "keys":
                lines = key_table(known[name])
            case "columns":
                lines = _column_table()
            case "forms":
                lines = _form_table()
            case _:
                lines = _words_of(name)
        return f"<!-- {kind}: {name} -->\n" + "\n".join(lines) + "\n\n<!-- end -->"

    return _MARKED.sub(block, text)


def marked(text: str) -> set[str]:
    """Return the models whose keys a document shows."""
    return {name for kind, name, _ in _MARKED.findall(text) if kind == "keys"}


def key_table(model: type[BaseModel]) -> list[str]:
    """Return the keys that a model itself declares as a table of Markdown; raises ValueError for a
    key that is not described.
    """
    rows = []
    schema = model.model_json_schema()["properties"]
    for name in own_keys(model):
        key, options = model.model_fields[name], schema[name].get("enum", [])
        only = get_args(key.annotation) if get_origin(key.annotation) is Literal else ()
        meaning = key.description or ("Which kind it is." if len(only) == 1 else "")
        if not meaning:
            raise ValueError(f"{model.__name__}.{name} has no description")
        takes = _either([f"`{option}`" for option in options]) if options else _takes(key)
        rows.append((f"`{name}`", takes, _default(key), meaning))
    return [
        f'<a id="{model.__name__.lower()}"></a>',
        "",
        *_table(("key", "takes", "without it", "meaning"), rows),
    ]


def _table(head: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> list[str]:
    return [
        "| " + " | ".join(cell.replace("|", "\\|") for cell in row) + " |"
        for row in (head, tuple("---" for _ in head), *rows)
    ]


def _takes(key: FieldInfo) -> str:
    return _typed(_made(key.metadata, key.annotation)) + _range(key.metadata, key.annotation)


def _made(metadata: Iterable[Any], annotation: Any) -> Any:
    """Return what an annotation is in pydantic's own terms."""
    return next((one.make() for one in metadata if isinstance(one, Checked)), annotation)


def _typed(annotation: Any) -> str:
    """Return in words what a key takes."""
    origin, args = get_origin(annotation), get_args(annotation)
    if kinds := _kinds(annotation):
        return _either([_linked(kind) for kind in kinds])
    if origin is Annotated:
        inner = [part for part in args[1:] if isinstance(part, FieldInfo)]
        return _typed(_made(args[1:], args[0])) + _range(
            [one for part in inner for one in part.metadata], args[0]
        )
    if origin is None and annotation in _PLAIN:
        return _PLAIN[annotation]
    if origin is Literal:
        return _either([f"`{value}`" for value in args])
    if origin in (Union, types.UnionType):
        return _either(list(dict.fromkeys(_typed(part) for part in args if part is not type(None))))
    if origin in (list, tuple):
        return "a list of " + _SEVERAL.get(_bare(args[0]), _typed(args[0]))
    if origin is dict:
        holds = _typed(args[1])
        names = "two names" if holds.startswith("by name: ") else "name"
        return f"by {names}: {holds.removeprefix('by name: ')}"
    model = _model_of(annotation)
    if model is not None:
        return _linked(model)
    raise TypeError(f"no words for {annotation!r}")


def _linked(model: type[BaseModel]) -> str:
    """Return a link to a model's table, named by the kind it is of where it has one."""
    kind = get_args(model.model_fields["kind"].annotation) if "kind" in model.model_fields else ()
    return f"[{kind[0] if kind else 'a table'}](#{model.__name__.lower()})"


def _bare(annotation: Any) -> Any:
    return get_args(annotation)[0] if get_origin(annotation) is Annotated else annotation


def _either(parts: list[str]) -> str:
    return " or ".join(filter(None, (", ".join(parts[:-1]), parts[-1])))


def _range(metadata: list[Any], annotation: Any) -> str:
    """Return the bounds of a key in words, with a comma before them."""
    low, high = _bound(metadata, Ge, "ge"), _bound(metadata, Le, "le")
    above, below = _bound(metadata, Gt, "gt"), _bound(metadata, Lt, "lt")
    least, most = _bound(metadata, MinLen, "min_length"), _bound(metadata, MaxLen, "max_length")
    kinds = {get_origin(part) for part in (annotation, *get_args(annotation))}
    several = bool(kinds & {list, tuple, dict})
    of = "entries" if several else "characters"
    parts = [
        f"{low} … {high}" if low and high else f"{low} or more" if low else "",
        f"above {above}" if above else "",
        f"at most {high}" if high and not low else "",
        f"below {below}" if below else "",
        "one character" if least == most == "1" else "",
        f"at least {least} {of}" if least not in ("", "1") else "",
        f"at most {most} {of}" if most not in ("", "1") else "",
    ]
    return "".join(f", {part}" for part in parts if part)


def _bound(metadata: list[Any], kind: type, name: str) -> str:
    return next((_number(getattr(one, name)) for one in metadata if isinstance(one, kind)), "")


def _number(value: Any) -> str:
    return f"{value:,.0f}" if value > 9999 else plain(Decimal(str(value)))


def _default(key: FieldInfo) -> str:
    """Return what holds where a key is left out."""
    if key.is_required():
        return "needed"
    value = key.get_default(call_default_factory=True)
    if isinstance(value, BaseModel | Declared) or (isinstance(value, list) and value):
        return "as below"
    if value is None or value in ("", [], {}, ()):
        return "–"
    if isinstance(value, bool):
        return f"`{str(value).lower()}`"
    return f"`{value}`" if isinstance(value, str) else _number(value)


def _form_table() -> list[str]:
    """Return the forms of transcripts: what ``--form`` calls them, their files and what they
    hold.
    """
    rows = [
        (
            f"`{name}`",
            ", ".join(f"`.{suffix}`" for suffix in form.suffixes) or "any other",
            " ".join((inspect.getdoc(form) or "").replace("``", "`").split()),
        )
        for name, form in FORMS.items()
    ]
    return _table(("form", "files", "holds"), rows)


def _words_of(module: str) -> list[str]:
    """Return a module's docstring without its first paragraph; columns of words stay columns."""
    told = inspect.getdoc(importlib.import_module(module)) or ""
    lines = told.partition("\n\n")[2].replace("``", "`").splitlines()
    return ["```text", *lines, "```"] if any("  " in line for line in lines) else lines


def _column_table() -> list[str]:
    """Return the columns of an exported sheet, as its Table Schema has them."""
    rows = [
        (
            f"`{column['name']}`",
            _column_takes(column),
            "needed" if column.get("constraints", {}).get("required") else "–",
            column["description"],
        )
        for column in ENTRIES.table_schema({})["fields"]
    ]
    return _table(("column", "holds", "empty", "meaning"), rows)


def _column_takes(column: dict[str, Any]) -> str:
    limits = column.get("constraints", {})
    if "enum" in limits:
        return _either([f"`{value}`" for value in limits["enum"]])
    words = {"integer": "a whole number", "number": "a number", "datetime": "a time, UTC"}
    return words.get(column["type"], "text")
