"""A command and a name of the library load only what they need: without a clock, by the modules
that are there at the end.
"""

from __future__ import annotations

import ast
import importlib
import json
import operator
import subprocess
import sys
from pathlib import Path

import pytest
from helpers import first_short

import codec
from codec.sheet import Journal

ROOT = Path(__file__).parents[1]
HEAVY = frozenset(("lark", "numpy", "pydantic", "rich"))
RACE = "examples/race/race.toml"
REPORT = ["five", "one", "six", "three", "juliett", "romeo", "bravo", "tango"]
ENCODED = ["--message", "lap", "lap=23", "energy=-0.34", "motor=95", "inverter=65", "battery=44"]


def loaded(code: str, typed: str = "") -> set[str]:
    """Return the names of the modules that are loaded when a program ends that was given a text."""
    ending = (
        "import atexit, json, sys\n"
        "atexit.register(lambda: print('\\n' + json.dumps(list(sys.modules))))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", ending + code],
        cwd=ROOT,
        input=typed,
        capture_output=True,
        text=True,
        check=True,
    )
    return set(json.loads(done.stdout.splitlines()[-1]))


@pytest.mark.parametrize(
    ("arguments", "needed"),
    first_short(
        [
            (["--help"], set()),
            (["decode", "--help"], set()),
            (["decode", RACE, *REPORT], {"pydantic"}),
            (["encode", RACE, *ENCODED], {"pydantic"}),
            (["--version"], set()),
            (["decode", "--json", RACE, *REPORT], {"pydantic"}),
            (["encode", "--json", RACE, *ENCODED], {"pydantic"}),
        ],
        4,
    ),
    ids=lambda value: " ".join(value[:2]) if isinstance(value, list) else None,
)
def test_a_command_loads_what_it_needs(
    arguments: list[str], needed: set[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of a book that was read before nothing is checked, so nothing heavy is loaded."""
    monkeypatch.setenv("NINER_CACHE", "on")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    run = f"from codec.cli import main\nraise SystemExit(main({arguments!r}))"
    assert loaded(run) & HEAVY == needed
    assert not needed or not loaded(run) & HEAVY


def test_hearing_a_known_book_loads_nothing_heavy_but_numpy(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("NINER_CACHE", "on")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    codec.load_book(ROOT / RACE)
    for report in (REPORT, ["blah", *REPORT[1:]]):
        run = f"from codec.cli import main\nmain({['hear', RACE, *report]!r})"
        modules = loaded(run)
        assert modules & HEAVY == {"numpy"}
        assert not modules & {"asyncio", "sqlite3", "codec.sheet"}


def test_the_live_log_of_a_known_book_starts_without_anything_heavy(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("NINER_CACHE", "on")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    codec.load_book(ROOT / RACE)
    sheet = str(tmp_path / "race.sheet")
    for arguments in (["log", sheet, "--book", RACE], ["log", sheet]):
        run = f"from codec.cli import main\nraise SystemExit(main({arguments!r}))"
        assert not loaded(run, " ".join(REPORT)) & HEAVY
    with Journal(sheet) as journal:
        assert len(journal) == 2


def test_a_name_of_the_library_is_loaded_when_it_is_asked_for() -> None:
    assert not loaded("import codec") & HEAVY
    assert not loaded("from codec import CodeError") & HEAVY
    with_book = loaded("from codec import load_book")
    assert "grammar.loading" in with_book
    assert "codec.decoding" not in with_book


def test_every_name_of_the_library_is_the_one_where_it_is_defined() -> None:
    tree = ast.parse(Path(codec.__file__).read_text("utf-8"))
    homes = {
        alias.name: node.module
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and node.module and "." in node.module
        for alias in node.names
    }
    assert sorted(homes) == sorted(codec.__all__)
    for name, module in homes.items():
        assert getattr(codec, name) is getattr(importlib.import_module(module), name)
        assert name in dir(codec)
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        operator.attrgetter("nothing")(codec)
