"""What is not as it was from one state of a book to the next: all that differs is told, to whom it
concerns, and what was right and would now be read as something else is counted.
"""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import pytest
from commands import Argument, called
from helpers import book_of, toml_text
from hypothesis import given, settings
from strategies import Drawn, books

from codec import Book, load_book
from grammar.difference import BookChange, changes, misread

RACE = Path("examples/race/race.toml")
STARTER = Path("examples/starter/starter.toml")
SMALL: dict[str, Any] = {
    "fields": {
        "mode": {"kind": "choice", "options": ["save", "plan", "push"], "usual": "plan"},
        "way": {"kind": "choice", "options": ["up", "down"]},
    },
    "tables": {
        "mode": {"kind": "scale", "symbols": "SPQ"},
        "way": {"kind": "scale", "symbols": "NX"},
    },
    "messages": {
        "lap": {"layout": "mode"},
        "turn": {"layout": '"W" way', "direction": "pit"},
    },
}


def changed(*path: str, to: object) -> tuple[Book, Book]:
    """Return the small book as it was, and with one key changed."""
    spec = copy.deepcopy(SMALL)
    place = spec
    for key in path[:-1]:
        place = place.setdefault(key, {})
    place[path[-1]] = to
    return book_of(SMALL), book_of(spec)


def only(found: list[BookChange]) -> BookChange:
    [change] = found
    return change


def test_codewords_that_changed_places_are_told_and_counted() -> None:
    old, new = changed("tables", "mode", "symbols", to="PSQ")
    change = only(changes(old, new))
    assert change.concerns == ("engineer", "dash", "tool")  # a driver reads them off the dash
    assert set(change.rows) == {("save", "S", "P"), ("plan", "P", "S")}
    [car, pit] = misread(old, new, 500, 1)
    assert car.other > 0
    assert car.refused == 0
    assert car.same + car.other == car.drawn
    assert car.example is not None
    assert pit.same == pit.drawn > 0


def test_codewords_of_calls_concern_the_driver_too() -> None:
    assert "driver" in only(changes(*changed("tables", "way", "symbols", to="XN"))).concerns


@pytest.mark.parametrize(
    ("path", "to", "concerns", "told"),
    [
        (("messages", "turn", "layout"), 'way "W"', "driver", "order"),
        (("fields", "mode", "usual"), "push", "engineer", "usual value"),
        (("phrases",), {"rain": {"says": ["drops here"]}}, "driver", "new, said"),
        (("alphabet",), {"retired": "0"}, "dash", "no longer in use"),
        (("hearing",), {"threshold": 0.9}, "tool", "threshold"),
        (("speech",), {"run_together": True}, "driver", "one after the other"),
        (("fields", "mode", "label"), "pace", "engineer", "pace"),
    ],
)
def test_a_change_of_anything_else_is_told(
    path: tuple[str, ...], to: object, concerns: str, told: str
) -> None:
    change = only(changes(*changed(*path, to=to)))
    assert concerns in change.concerns
    assert told in change.text


@settings(max_examples=8)
@given(one=books(), other=books())
def test_books_that_differ_in_nothing_told_read_each_others_strings_alike(
    one: Drawn, other: Drawn
) -> None:
    assert changes(one.book, one.book) == []
    for old, new in ((one.book, one.book), (one.book, other.book)):
        counts = misread(old, new, 5, 1)
        assert all(count.same + count.refused + count.other == count.drawn for count in counts)
        if not changes(old, new):
            assert all(count.same == count.drawn for count in counts)


@pytest.mark.slow
def test_the_command_tells_programs_and_writes_a_card(tmp_path: Path) -> None:
    card = tmp_path / "new.html"
    arguments: list[Argument] = [
        "book",
        "diff",
        STARTER,
        RACE,
        "--for",
        "engineer",
        "--draws",
        "20",
    ]
    done = called([*arguments, "--json", "--card", card])
    assert done.returncode == 0
    facts = [json.loads(line) for line in done.stdout.splitlines()]
    assert all("engineer" in fact["concerns"] for fact in facts[:-1])
    assert facts[-1]["old strings"]["refused"] == facts[-1]["old strings"]["drawn"] == 20
    assert f"Book {load_book(RACE).digest[:8]}, was {load_book(STARTER).digest[:8]}." in (
        card.read_text("utf-8")
    )
    again = called([*arguments, "--card", card])
    assert again.returncode == 2
    assert b"--replace" in again.stderr


def test_the_command_shows_what_was_right_and_would_be_read_as_something_else(
    tmp_path: Path,
) -> None:
    old, new = (tmp_path / "old.toml", tmp_path / "new.toml")
    old.write_text(toml_text(SMALL), "utf-8")
    spec = copy.deepcopy(SMALL)
    spec["tables"]["mode"]["symbols"] = "PSQ"
    new.write_text(toml_text(spec), "utf-8")
    shown = called(["book", "diff", old, new]).stdout.decode()
    assert "as something else" in shown
    assert "2 of 3 codewords are not what they were" in shown
    assert "nothing is other" in called(["book", "diff", old, old]).stdout.decode()


def test_a_card_is_for_one_reader() -> None:
    done = called(["book", "diff", STARTER, RACE, "--card", "x.html"])
    assert done.returncode == 2
    assert b"--for" in done.stderr
