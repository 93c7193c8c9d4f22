"""Events, needs and profiles tell all that is wrong in them in one run, like books: each problem
with line, column, the line itself with the place marked, and what to do; and any text is read or
refused so.
"""

from __future__ import annotations

import copy
import json
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import tomli_w
from hypothesis import given, settings
from hypothesis import strategies as st

from codec import BookError, load_book, parse_book
from codec.cli import main
from codec.profile import ProfileError, parse_profile
from codec.race import EventError, parse_event
from codec.wheel import WheelFileError, parse_wheel
from grammar.design import parse_needs
from grammar.errors import DocumentError

BOOK = Path("examples/race/race.toml")
GOOD_EVENT = Path("examples/race/event.toml")
GOOD_NEEDS = Path("examples/design/needs.toml")
GOOD_PROFILE = Path("examples/drill/ana.json")
TORQUE = "did you mean 'torque map'?"
WRONG = Path(__file__).with_name("problems")  # files full of problems, each with what is told of it


def event(text: str, name: str = "event") -> object:
    return parse_event(text, load_book(BOOK), name)


def refused(parse: Callable[[str, str], object], text: str, name: str) -> DocumentError:
    with pytest.raises(DocumentError) as caught:
        parse(text, name)
    return caught.value


# everything at once


@pytest.mark.parametrize(
    ("name", "parse", "error"),
    [
        ("event.toml", event, EventError),
        ("wheel.toml", parse_wheel, WheelFileError),
        ("needs.toml", parse_needs, BookError),
        ("profile.json", parse_profile, ProfileError),
    ],
)
def test_a_file_tells_all_that_is_wrong_in_it(
    name: str, parse: Callable[[str, str], object], error: type[DocumentError]
) -> None:
    found = refused(parse, (WRONG / name).read_text("utf-8"), name)
    assert type(found) is error
    told = (WRONG / name).with_suffix(".txt").read_text("utf-8")
    assert f"{found}\n" == told


def test_the_facts_of_a_problem_are_the_same_for_programs() -> None:
    facts = refused(parse_profile, '{"lost": {"five": -2}}', "ana.json").as_dict()
    assert facts == {
        "error": "profile",
        "message": "ana.json: 1 problem",
        "problems": [
            {
                "path": "lost.five",
                "line": 1,
                "column": 11,
                "kind": "profile",
                "message": "'-2' can't stand here; expected is a number of 0 or more",
                "hint": "how often nothing was heard of a word that was said",
            }
        ],
    }


# one slip is one problem, and what rests on it is not blamed


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("usable = 34.0", "usabel = 34.0", [("energy.usabel", "did you mean 'usable'?")]),
        (
            "laps = 24\nlap_seconds = 74",
            "minutes = 45\nlap_time = 74",
            [("distance.lap_time", "did you mean 'lap_seconds'?")],
        ),
        (
            "laps = 24\nlap_seconds = 74",
            "minutes = 45",
            [("distance.lap_seconds", "give the usual lap time, in seconds")],
        ),
        (
            "laps = 24",
            'laps = "many"\nreserve = 0.4',
            [
                ("distance.laps", "write it without quotes or point"),
                ("distance.reserve", "did you mean 'reserve' in [energy]?"),
            ],
        ),
        (
            "laps = 24",
            "lap = 24",
            [("distance.lap", "did you mean 'laps'?")],
        ),
        (
            "per_lap = 1.4",
            "per_lap = [1.4, 1.4]",
            [("plan.per_lap", "give one for each lap, or one for all")],
        ),
        ("start = 2 }", "strat = 2 }", [("dials.torque map.strat", "did you mean 'start'?")]),
        (
            '"torque map" =',
            '"torque mapp" =',
            [("dials.torque mapp", TORQUE)],
        ),
        ("[reports.energy]", "[reports.enrgy]", [("reports.enrgy", "did you mean 'energy'?")]),
    ],
)
def test_one_slip_in_an_event_is_one_problem(
    old: str, new: str, told: list[tuple[str, str]]
) -> None:
    text = GOOD_EVENT.read_text("utf-8")
    assert text.count(old) == 1
    found = refused(event, text.replace(old, new), "event").problems
    assert [(problem.path, problem.hint) for problem in found] == told
    assert all(problem.line and problem.column and problem.excerpt for problem in found)


def test_names_are_looked_up_although_distance_and_energy_are_wrong() -> None:
    text = "distance = 3\n[reports.enrgy]\nsays = 'used'\n[calls.pace]\nmessage = 'pase'\n"
    found = refused(event, text, "event").problems
    assert [(problem.path, problem.line) for problem in found] == [
        ("energy", 0),
        ("distance", 1),
        ("reports.enrgy", 2),
        ("calls.pace.target", 4),
    ]


@pytest.mark.parametrize(
    ("old", "new", "paths"),
    [
        # the field goes on without a key that nobody knows; without a value that is wrong it can't
        ("step = 5\n", "step = 0\ncolour = 'red'\n", {"fields.motor.step", "fields.motor.colour"}),
        ("alert? check", "alret? chekc", {"messages.lap.layout"}),
        ("retired = ", "retird = ", {"alphabet.retird"}),
        ("[fields.energy]", "[fields.enrgy]", {"tables.energy"}),
    ],
)
def test_a_book_tells_all_and_blames_nothing_else(old: str, new: str, paths: set[str]) -> None:
    text = BOOK.read_text("utf-8").replace(old, new, 1)
    assert {problem.path for problem in refused(parse_book, text, "book").problems} == paths


def test_every_unknown_name_of_a_layout_is_told() -> None:
    text = BOOK.read_text("utf-8").replace("alert? check", "alret? chekc")
    found = refused(parse_book, text, "book").problems
    assert [problem.message.splitlines()[0] for problem in found] == [
        "there is no table 'alret'",
        "there is no table 'chekc'",
    ]


# a file of another kind


@pytest.mark.parametrize(
    ("first", "second", "told"),
    [
        (BOOK, GOOD_EVENT, ("a book", "distance, energy, plan", "fields, tables, messages")),
        (BOOK, BOOK, ("an event file", "alphabet, speech, hearing", "distance, energy")),
    ],
)
def test_a_file_of_another_kind_is_told_in_one_line(
    first: Path, second: Path, told: tuple[str, str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["race", "check", str(first), str(second)]) == 2
    head, problem, hint = capsys.readouterr().err.splitlines()
    what, has, needed = told
    assert head == f"niner: {second}: 1 problem"
    assert problem.startswith(f"  file: this is not {what}: it has {has}")
    assert hint == f"      hint: {what} has {needed}; are two arguments in each other's place?"


# any text


JUNK: st.SearchStrategy[Any] = (
    st.integers(-3, 10**6)
    | st.integers(10**29, 10**40)
    | st.floats()
    | st.booleans()
    | st.text(max_size=5)
    | st.lists(st.text(max_size=2), max_size=3)
    | st.dictionaries(st.text(max_size=3), st.integers(0, 3), max_size=2)
)


def places(node: Any, keys: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """List the keys that lead to each entry below a node."""
    inner = node.items() if isinstance(node, dict) else ()
    return [found for key, one in inner for found in ((*keys, key), *places(one, (*keys, key)))]


@st.composite
def spoiled(draw: st.DrawFn, tree: dict[str, Any]) -> dict[str, Any]:
    """Draw a document with a few entries dropped, replaced, renamed or copied elsewhere."""
    tree = copy.deepcopy(tree)
    for _ in range(draw(st.integers(1, 4))):
        found = places(tree)
        if not found:
            break
        *where, key = draw(st.sampled_from(found))
        node: Any = tree
        for part in where:
            node = node[part]
        change = draw(st.sampled_from(["drop", "junk", "rename", "copy"]))
        value = node.pop(key) if change in ("drop", "rename") else node[key]
        if change == "junk":
            node[key] = draw(JUNK)
        elif change == "rename":
            node[key + draw(st.sampled_from(["s", "x", "_", "é"]))] = value
        elif change == "copy":
            node[draw(st.sampled_from(found))[-1]] = copy.deepcopy(value)
    return tree


def read_or_refused(parse: Callable[[str, str], object], text: str) -> None:
    """Parse a text: it is read, or every problem lies in it and prints plainly."""
    error: DocumentError | None = None
    try:
        parse(text, "file")
    except DocumentError as found:
        error = found
    if error is None:
        return
    lines = text.replace("\r\n", "\n").split("\n")
    assert error.problems
    for problem in error.problems:
        assert problem.message
        assert 0 <= problem.line <= len(lines)
        assert 0 <= problem.column <= (len(lines[problem.line - 1]) + 1 if problem.line else 0)
        assert (problem.column > 0) == bool(problem.excerpt)
    assert all(character.isprintable() for character in str(error).replace("\n", ""))
    json.dumps(error.as_dict())


TREES = {
    "event": tomllib.loads(GOOD_EVENT.read_text("utf-8")),
    "needs": tomllib.loads(Path("examples/design/demands.toml").read_text("utf-8")),
    "profile": json.loads(GOOD_PROFILE.read_text("utf-8")),
}
PARSERS: dict[str, tuple[Callable[[str, str], object], Callable[[Any], str]]] = {
    "event": (event, tomli_w.dumps),
    "needs": (parse_needs, tomli_w.dumps),
    "profile": (parse_profile, lambda tree: json.dumps(tree, indent=1)),
}


@pytest.mark.slow
@pytest.mark.parametrize("kind", TREES)
@settings(max_examples=40, deadline=None)
@given(st.data())
def test_a_spoiled_file_is_read_or_refused_with_lines(kind: str, data: st.DataObject) -> None:
    parse, dumps = PARSERS[kind]
    read_or_refused(parse, dumps(data.draw(spoiled(TREES[kind]))))


@pytest.mark.slow
@pytest.mark.parametrize(
    "good", [GOOD_EVENT, GOOD_NEEDS, GOOD_PROFILE], ids=["event", "needs", "profile"]
)
@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2000), st.integers(0, 40), st.text(max_size=3))
def test_a_file_changed_anywhere_is_read_or_refused_with_lines(
    good: Path, place: int, length: int, new: str
) -> None:
    kind = {GOOD_EVENT: "event", GOOD_NEEDS: "needs"}.get(good, "profile")
    text = good.read_text("utf-8")[:4000]
    read_or_refused(PARSERS[kind][0], text[:place] + new + text[place + length :])


def test_every_wrong_codeword_of_a_table_is_told() -> None:
    text = BOOK.read_text("utf-8").replace(
        'words = { save = "S", plan = "P", push = "Q" }',
        'words = { save = "S", plan = "S", pushed = "Q", push = "s" }',
    )
    found = refused(parse_book, text, "book").problems
    assert [(problem.path, problem.message) for problem in found] == [
        ("tables.mode.words", "codeword 'S' means both save and plan"),
        (
            "tables.mode.words",
            "'pushed' is no value of mode: mode: no option 'pushed'",
        ),
        ("tables.mode.words", "'s' not in use in this alphabet"),
    ]


def test_a_place_in_json_is_found_whatever_stands_before_it() -> None:
    text = '{"people": ["a \\"{,}[\\" b", "\\u00e9"],\n "lost": {"\\u0061lfa": 1,\n "b\\/c": -1}}'
    (problem,) = refused(parse_profile, text, "profile").problems
    assert (problem.path, problem.line, problem.column) == ("lost.b/c", 3, 2)
    assert problem.excerpt == '   "b\\/c": -1}}\n   ^~~~~~~~~~'


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "not JSON: no value stands here"),
        ('{"people": ["Ana",]}', "not JSON: "),
        ('{"people": ["Ana" "Ben"]}', "not JSON: no comma stands here"),
        ("{people: []}", "not JSON: no key stands here"),
        ('{"people" []}', "not JSON: no : after the key"),
        ('{"people": ["Ana]}', "not JSON: a text is not closed"),
        ('{"people": ["\\A"]}', "not JSON: a \\ that begins nothing"),
        ("{}{}", "not JSON: more follows the end"),
        ("[1]", "not a table of keys"),
        ('{"people": ["\\ud800"]}', "half of a character stands in a text"),
        ('{"lost": {"five": NaN}}', "not JSON: NaN is no number"),
        ("[" * 100_000, "not JSON: nested too deeply"),
        ('{"lost": {"five": ' + "9" * 5000 + "}}", "a whole number of thousands of digits"),
    ],
)
def test_what_is_no_json_is_told(text: str, message: str) -> None:
    (problem,) = refused(parse_profile, text, "profile").problems
    assert problem.message.startswith(message)
