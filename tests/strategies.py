"""Hypothesis strategies: books of every shape, ambiguous ones among them, and their readings.

A book is drawn as a ``Draft``: dictionaries as in the TOML file, and the trees of its layouts, so
that a test can list what the book means without the product. ``drafts()`` may be ambiguous;
``books()`` compile.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from helpers import book_of
from hypothesis import assume
from hypothesis import strategies as st
from laws.field_strategies import either, fields
from laws.reference import (
    ALL,
    DIGITS,
    LETTERS,
    Draft,
    Reference,
    Tree,
    Way,
    notation,
    size,
    tables_of,
)

from codec import Book, BookError

__all__ = ["Drawn", "books", "drafts", "even", "fields", "marked", "said"]

MOST_WAYS = 2500


class Drawn(NamedTuple):
    """A compiled book with the draft it was made from."""

    book: Book
    draft: Draft
    ways: tuple[Way, ...]


class _Plan:
    """The alphabet of a draft: symbols for tables, and symbols kept back for marking parts."""

    def __init__(self, draw: Any, *, checked: bool) -> None:
        self.kind = (
            "digits"
            if checked
            else draw(st.sampled_from(["tiny", "tiny", "digits", "digits", "all"]))
        )
        letters = draw(st.permutations(LETTERS))[:4]
        if self.kind == "tiny":
            self.used = "".join(letters[: draw(st.integers(2, 3))])
            self.marks = letters[3]
        elif self.kind == "digits":
            self.used, self.marks = DIGITS + letters[0] + "-", letters[3]
        else:
            self.used, self.marks = ALL + "*", "*"
        self.spec = self._spec(draw)

    def _spec(self, draw: Any) -> dict[str, Any]:
        symbols = self.used if self.kind == "all" else self.used + self.marks
        spec: dict[str, Any] = {"symbols": "".join(draw(st.permutations(symbols)))}
        spec["figures"] = either(draw, "icao", "itu")
        words: dict[str, Any] = {}
        if "-" in symbols:
            words["-"] = "minus"
        if "*" in symbols:
            words["*"] = {"word": "asterisk", "also": ["star", "big-star"], "milliseconds": 480}
        if self.kind == "tiny":
            spec["symbols"] += (extra := draw(st.sampled_from(["", "01", "7"])))
            spec["retired"] = extra
            if draw(st.booleans()):
                words[self.used[0]] = {"word": "pineapple", "also": ["pine"], "sound": "PINE apple"}
        return spec | ({"words": words} if words else {})

    @property
    def symbols(self) -> str:
        return str(self.used)


def _listed(draw: Any, plan: _Plan, field: dict[str, Any]) -> dict[str, Any]:
    symbols = plan.symbols[:4]
    words = st.text(alphabet=symbols, min_size=1, max_size=3)
    count = size(field)
    partial = draw(st.booleans())
    levels = (
        sorted(draw(st.sets(st.integers(0, count - 1), min_size=1)))
        if partial
        else list(range(count))
    )
    drawn = draw(st.lists(words, min_size=len(levels), max_size=len(levels), unique=True))
    entry: dict[str, Any] = {"kind": "listed", "partial": partial}
    if levels == list(range(len(levels))) and draw(st.booleans()):
        return entry | {"words": drawn}
    keys = [
        _key(field, level) for level in levels
    ]  # bands without names have none: then the codewords are those of the lowest levels
    return entry | {"words": drawn if None in keys else dict(zip(keys, drawn, strict=True))}


def _key(field: dict[str, Any], level: int) -> str | None:
    kind = field["kind"]
    if kind == "choice":
        return str(field["options"][level])
    if kind == "bands":
        return str(field["names"][level]) if "names" in field else None
    if kind == "flags":
        return (
            ",".join(name for bit, name in enumerate(field["flags"]) if level >> bit & 1) or "none"
        )
    return f"{(field['low'] if kind == 'quantity' else 0) + field['step'] * level:f}"


def _table(draw: Any, plan: _Plan, name: str, field: dict[str, Any]) -> dict[str, Any]:
    """Draw a table for one field."""
    kinds = ["listed"]
    if size(field) <= len(plan.symbols):
        kinds.append("scale")
    if plan.kind != "tiny":
        kinds += ["digits", "digits"]
    kind = draw(st.sampled_from(kinds))
    if kind == "listed":
        entry = _listed(draw, plan, field)
    elif kind == "scale":
        entry = {
            "kind": "scale",
            "symbols": "".join(draw(st.permutations(plan.symbols))[: size(field)]),
        }
    else:
        entry = _digits(draw, plan, field)
    return entry | {"field": name}


def _digits(draw: Any, plan: _Plan, field: dict[str, Any]) -> dict[str, Any]:
    entry: dict[str, Any] = {"kind": "digits"}
    if field["kind"] in ("quantity", "wrapped") and draw(st.booleans()):
        entry["count"] = "value"
        if draw(st.booleans()):
            entry["per"] = field["step"] / draw(st.sampled_from([1, 2, 5]))
        if field.get("low", 0) < 0:
            entry["minus"] = "-" if plan.kind == "digits" else "M"
            if draw(st.booleans()):  # a figure may tell the sign where it always stands there
                entry["minus"], entry["plus"] = draw(st.permutations("018"))[:2]
    elif draw(st.booleans()):
        entry["first"] = draw(st.sampled_from([1, 5, 8, 98]))
    if draw(st.integers(0, 3)) == 0:
        entry["width"] = 5
    return entry


def _check(draw: Any, plan: _Plan) -> dict[str, Any]:
    methods = {"tiny": [], "digits": ["iso7064 mod 11,10", "damm", "verhoeff", "luhn"]}.get(
        plan.kind,
        [
            "iso7064 mod 37,36",
            "iso7064 mod 37-2",
            "iso7064 mod 11-2",
            "damm",
            "luhn",
            "iso7064 mod 27,26",
        ],
    )
    entry: dict[str, Any] = {
        "kind": "check",
        "method": draw(st.sampled_from(["weighted sum", *methods])),
    }
    if entry["method"] == "weighted sum":
        weights = draw(st.lists(st.integers(0, 5), max_size=2))
        entry["weights"] = draw(
            st.permutations([*weights, 1])
        )  # weights that are all 0 modulo the modulus are refused
        if draw(st.booleans()):
            entry["modulus"] = draw(st.integers(2, 3))
    return entry


def _over(draw: Any, tree: Tree, check: str) -> dict[str, Any]:
    """Draw what a check covers: everything, or some of the tables before its first place."""
    names = list(tables_of(tree))
    before = list(dict.fromkeys(names[: names.index(check)])) if check in names else []
    return (
        {"over": draw(st.lists(st.sampled_from(before), min_size=1, unique=True))}
        if before and draw(st.booleans())
        else {}
    )


@st.composite
def trees(draw: Any, plan: _Plan, groups: list[list[str]], check: str | None) -> Tree:
    """Draw a layout that says one table of each group (or one of several, as alternatives)."""
    items = [_said(draw, group) for group in draw(st.permutations(groups))]
    parts: list[Tree] = []
    if check is not None:  # a check covers something that is always said
        parts, items = (
            ([items[0]], items[1:]) if len(items) > 1 else ([_literal(draw, plan)], items)
        )
    while items:
        taken, items = items[: (n := draw(st.integers(1, 2)))], items[n:]
        parts.append(_shaped(draw, plan, taken, check))
    if draw(st.integers(0, 2)) == 0:
        parts.insert(draw(st.integers(1 if check else 0, len(parts))), _literal(draw, plan))
    if all(kind == "maybe" or (kind == "again" and not inner[1]) for kind, inner in parts):
        kind, inner = parts[-1]
        parts[-1] = inner if kind == "maybe" else ("again", (inner[0], 1, inner[2]))
    if check is not None and (check not in tables_of(("order", parts)) or draw(st.booleans())):
        parts.insert(draw(st.integers(1, len(parts))), ("table", check))
    return parts[0] if len(parts) == 1 else ("order", _flat(parts))


def _flat(parts: list[Tree]) -> tuple[Tree, ...]:
    return tuple(one for part in parts for one in (part[1] if part[0] == "order" else (part,)))


def _said(draw: Any, group: list[str]) -> Tree:
    if len(group) > 1 and draw(st.booleans()):
        return ("either", tuple(("table", name) for name in group))
    return ("table", draw(st.sampled_from(group)))


def _literal(draw: Any, plan: _Plan) -> Tree:
    return ("literal", draw(st.text(alphabet=plan.symbols[:3], min_size=1, max_size=2)))


def _shaped(draw: Any, plan: _Plan, items: list[Tree], check: str | None) -> Tree:
    """Wrap one or two parts: in order, optional, as alternatives, nested."""
    shape = draw(
        st.sampled_from(
            [
                *("order", "maybe", "either", "nested", "again"),
                *(["checked"] * (1 + (check is not None))),
            ]
        )
    )
    if shape == "again":
        most = draw(st.integers(1, 3))
        part = items[0] if len(items) == 1 else ("order", _flat(items))
        return ("again", (part, draw(st.integers(0, most)), most))
    if shape == "maybe":
        return ("maybe", items[0] if len(items) == 1 else ("order", _flat(items)))
    if shape == "either":
        return ("either", (*items, _literal(draw, plan)) if len(items) == 1 else tuple(items))
    if shape == "nested" and len(items) == 2:
        return ("maybe", ("order", _flat([items[0], ("maybe", items[1])])))
    if shape == "checked" and check is not None:
        return (
            "either",
            (
                ("order", (("table", check), _literal(draw, plan))),
                ("order", _flat([*items, ("table", check)])),
            ),
        )
    return items[0] if len(items) == 1 else ("order", _flat(items))


@st.composite
def drafts(
    draw: Any, *, most_fields: int = 3, most_messages: int = 3, checked: bool = False
) -> Draft:
    """Draw a book that may be ambiguous; its messages together have at most MOST_WAYS ways.

    ``checked`` draws books of digits, every message with a check symbol, often inside alternatives.
    """
    plan = _Plan(draw, checked=checked)
    names = [f"f{n}" for n in range(draw(st.integers(1, most_fields)))]
    spec: dict[str, Any] = {
        "title": draw(st.sampled_from(["", 'Règle "9"\\', "trial"])),
        "alphabet": plan.spec,
    }
    spec["fields"] = {name: draw(fields(4 if plan.kind == "tiny" else 6)) for name in names}
    if draw(st.integers(0, 3)) == 0:
        spec["fields"][names[-1]]["members"] = ["left", "rear left"]
    tables: dict[str, Any] = {}
    groups: list[list[str]] = []
    packed = draw(st.integers(0, 3)) == 3
    if packed:
        tables["p"] = {
            "kind": "packed",
            "fields": (members := names[: draw(st.integers(1, len(names)))]),
            "symbols": plan.symbols,
        }
        groups.append(["p"])
        names = names[len(members) :]
    for name in names:
        groups.append(
            [f"{name}{version}" for version in ("a", "b")[: 1 + (draw(st.integers(0, 2)) == 2)]]
        )
        tables |= {table: _table(draw, plan, name, spec["fields"][name]) for table in groups[-1]}
    layouts: dict[str, Tree] = {}
    checks: dict[str, Any] = {}
    for number in range(draw(st.integers(1, most_messages))):
        check = f"k{number}" if checked or draw(st.booleans()) else None
        if check is not None:
            checks[check] = _check(draw, plan)
        subset = draw(st.lists(st.sampled_from(groups), min_size=1, unique_by=tuple))
        layouts[f"m{number}"] = tree = draw(trees(plan, subset, check))
        if check is not None:
            checks[check] |= _over(draw, tree, check)
    spec["tables"] = tables | checks
    spec["speech"] = {
        "run_together": draw(st.booleans()),
        "whole_numbers": either(draw, "digits", "magnitudes"),
    }
    spec["messages"] = {
        name: {"direction": either(draw, "car", "car", "pit"), "layout": notation(tree)}
        for name, tree in layouts.items()
    }
    draft = Draft(spec, layouts)
    reference = Reference(draft)
    assume(sum(reference.count(tree) for tree in layouts.values()) <= MOST_WAYS)
    return draft


def marked(draft: Draft, marks: str) -> Draft:
    """Return a draft that is easier to tell apart: a literal of its own before every message,
    optional part and alternative.
    """
    counter = iter(range(1, 1000))

    def mark() -> Tree:
        return (
            "literal",
            marks * next(counter) + draft.spec["alphabet"]["symbols"].replace(marks, "")[0],
        )

    def walk(tree: Tree) -> Tree:
        kind, inner = tree
        if kind in ("table", "literal"):
            return tree
        if kind == "maybe":
            return ("maybe", ("order", _flat([mark(), walk(inner)])))
        if kind == "again":
            return ("again", (("order", _flat([mark(), walk(inner[0])])), *inner[1:]))
        if kind == "either":
            return ("either", tuple(("order", _flat([mark(), walk(part)])) for part in inner))
        return ("order", _flat([walk(part) for part in inner]))

    trees = {name: ("order", _flat([mark(), walk(tree)])) for name, tree in draft.trees.items()}
    messages = {
        name: message | {"layout": notation(trees[name])}
        for name, message in draft.spec["messages"].items()
    }
    return Draft(draft.spec | {"messages": messages}, trees)


def even(draft: Draft) -> Draft:
    """Return a draft whose listed codewords all have one length."""
    tables = dict(draft.spec["tables"])
    for name, table in tables.items():
        if table["kind"] == "listed":
            words = (
                table["words"]
                if isinstance(table["words"], list)
                else list(table["words"].values())
            )
            letters = [*sorted(set("".join(words))), "", ""]
            pair = (letters[0], letters[1] or letters[0])
            fixed = (
                ["".join(pair[n >> bit & 1] for bit in range(4)) for n in range(len(words))]
                if pair[0] != pair[1]
                else words
            )
            again = (
                fixed
                if isinstance(table["words"], list)
                else dict(zip(table["words"], fixed, strict=True))
            )
            tables[name] = table | {"words": again}
    return Draft(draft.spec | {"tables": tables}, draft.trees)


@st.composite
def books(draw: st.DrawFn, /, **settings: Any) -> Drawn:
    """Draw a book that compiles; where the first draft is ambiguous, its parts are marked and its
    codewords evened.
    """
    draft = draw(drafts(**settings))
    used = "".join(str(table) for table in draft.spec["tables"].values())
    marks = next(
        (
            s
            for s in reversed(LETTERS + "*")
            if s in draft.spec["alphabet"]["symbols"] and f"{s}" not in used
        ),
        "",
    )
    for attempt in (
        draft,
        *([marked(draft, marks), even(marked(draft, marks))] if marks else [even(draft)]),
    ):
        try:
            book = book_of(attempt.spec)
        except BookError as error:
            if any(problem.kind != "ambiguous" for problem in error.problems):
                assume(False)
            continue
        reference = Reference(attempt)
        return Drawn(
            book, attempt, tuple(way for name in attempt.trees for way in reference.ways(name))
        )
    assume(False)
    raise AssertionError("unreachable")


@st.composite
def said(draw: st.DrawFn, drawn: Drawn) -> Way:
    """Draw one way to say one report of a book."""
    return draw(st.sampled_from(drawn.ways))
