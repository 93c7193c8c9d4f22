"""Rooms keep to their arrows: a room imports only those before it, no module stands in a circle,
also for types and inside functions; only screens draw, and heavy libraries wait until used. A
class has a name that means one thing in the whole house.
"""

from __future__ import annotations

import ast
import functools
import gc
import subprocess
import sys
from collections.abc import Iterable, Iterator
from graphlib import CycleError, TopologicalSorter
from pathlib import Path
from typing import NamedTuple

import pytest
from rooms import LAYERS

ROOT = Path(__file__).parents[1]

DRAWING = {"rich", "prompt_toolkit"}
SERVER = "codec.store.server"
DRAWERS = {"codec.screen", "codec.cli"}
HEAVY = {
    *DRAWING,
    "numpy",
    "scipy",
    "matplotlib",
    "openpyxl",
    "frictionless",
    "fsrs",
    "psycopg",
    "duckdb",
}


def _name(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


@functools.cache
def _paths() -> dict[str, Path]:
    return {
        _name(path): path
        for package in ("grammar", "codec")
        for path in sorted((ROOT / package).rglob("*.py"))
    }


def _imported(nodes: Iterable[ast.AST]) -> Iterator[str]:
    """Yield the modules that statements import: for ``from package import module`` the module."""
    for node in nodes:
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are written in full"
            for alias in node.names:
                inner = f"{node.module}.{alias.name}"
                yield inner if inner in _paths() else node.module or ""


def _run_at_import(nodes: Iterable[ast.AST]) -> Iterator[ast.AST]:
    """Yield what runs when a module is imported: all but functions, and what is there for types."""
    for node in nodes:
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
            yield from _run_at_import(node.orelse)
        elif not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda):
            yield node
            if isinstance(node, ast.stmt):  # nothing is imported inside an expression
                yield from _run_at_import(ast.iter_child_nodes(node))


def _statements(nodes: Iterable[ast.AST]) -> Iterator[ast.stmt]:
    """Yield all statements; no expression holds one, so none is looked into."""
    for node in nodes:
        if isinstance(node, ast.stmt):
            yield node
        if isinstance(node, ast.stmt | ast.excepthandler | ast.match_case):
            yield from _statements(ast.iter_child_nodes(node))


class _Module(NamedTuple):
    """What the tests ask of a module; its tree, which is large, is not kept."""

    imports: frozenset[str]
    at_once: frozenset[str]  # of them, those imported when it is itself
    classes: tuple[str, ...]  # public ones


@functools.cache
def _modules() -> dict[str, _Module]:
    gc.disable()  # a tree is a great many new objects, and none of them refers back
    try:
        return {name: _module(name, path) for name, path in _paths().items()}
    finally:
        gc.enable()


def _module(name: str, path: Path) -> _Module:
    tree = ast.parse(path.read_text("utf-8"))
    nodes = list(_statements(tree.body))
    return _Module(
        frozenset(_imported(nodes)) - {name},
        frozenset(_imported(_run_at_import(tree.body))),
        tuple(
            node.name
            for node in nodes
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_")
        ),
    )


@functools.cache
def _imports() -> dict[str, set[str]]:
    return {name: set(module.imports) for name, module in _modules().items()}


def _room(module: str) -> str:
    return ".".join(module.split(".")[:2])


def _faults(imports: dict[str, set[str]]) -> list[str]:
    """Return the imports that climb, and one circle of modules if there is any."""
    graph = {name: imported & imports.keys() for name, imported in imports.items()}
    place = {room: number for number, room in enumerate(LAYERS)}
    found = [
        f"{name} imports {other}, which stands above it"
        for name, others in graph.items()
        for other in sorted(others)
        if place[_room(other)] > place[_room(name)]
    ]
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as error:
        found.append(" → ".join(reversed(error.args[1])))
    return found


def test_every_room_has_its_layer() -> None:
    assert {_room(name) for name in _paths()} == set(LAYERS)
    assert len(LAYERS) == len(set(LAYERS))


def test_rooms_import_only_those_before_them_and_no_module_stands_in_a_circle() -> None:
    assert _faults(_imports()) == []


def test_no_two_public_classes_have_one_name() -> None:
    found: dict[str, list[str]] = {}
    for name, module in _modules().items():
        for one in module.classes:
            found.setdefault(one, []).append(name)
    assert "Book" in found
    assert {name: modules for name, modules in found.items() if len(modules) > 1} == {}


def test_the_packages_import_nothing_of_the_repository_beside_them() -> None:
    beside = {path.name for path in ROOT.iterdir()} - {"grammar", "codec"}
    assert {"tests", "examples"} <= beside
    for name, imported in _imports().items():
        assert not {other.split(".")[0] for other in imported} & beside, name


def test_the_grammar_is_pure() -> None:
    # no clock, no network, no other program, no database
    outside = {"time", "datetime", "socket", "urllib", "http", "subprocess", "sqlite3", "asyncio"}
    for name, imported in _imports().items():
        if name.startswith("grammar"):
            assert not {other.split(".")[0] for other in imported} & outside, name


def test_only_screens_draw() -> None:
    for name, imported in _imports().items():
        drawing = {other.split(".")[0] for other in imported} & DRAWING
        assert not drawing or _room(name) in DRAWERS, name


def test_heavy_libraries_are_imported_where_they_are_used() -> None:
    for name, module in _modules().items():
        imported = module.at_once
        heavy = {other.split(".")[0] for other in imported} & HEAVY
        trains = name.startswith("codec.voice.training.")  # run by hand, imported by nothing else
        serves = name.startswith(SERVER)  # imported where a place is on a server
        assert not heavy or trains or serves or _room(name) == "codec.screen", name
        assert serves or not any(other.startswith(SERVER) for other in imported), name


@pytest.mark.parametrize(
    ("modules", "fault"),
    [
        ({"codec.files": {"codec.cli"}}, "codec.files imports codec.cli, which stands above it"),
        (
            {"codec.cli.a": {"codec.cli.b"}, "codec.cli.b": {"codec.cli.a"}},
            "codec.cli.a → codec.cli.b → codec.cli.a",
        ),
    ],
)
def test_a_climb_and_a_circle_are_found(modules: dict[str, set[str]], fault: str) -> None:
    others = sorted(set().union(*modules.values()) - modules.keys())
    assert _faults(modules | {name: set() for name in others}) == [fault]


def test_reading_a_plain_report_draws_nothing() -> None:
    code = (
        "import sys, codec; b = codec.load_book('examples/starter/starter.toml'); codec.decode(b,"
        " 'seven one six four six');print([m for m in ('rich', 'numpy') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"


def test_plain_reports_and_encoding_load_no_parser() -> None:
    code = (
        "import sys, codec; b = codec.load_book('examples/race/race.toml'); codec.decode_all(b,"
        " 'lima three foxtrot');codec.encode(b, {'target': 1.37}); print('lark' in sys.modules)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "False"
