"""A class has a name that means one thing in the whole house."""

from __future__ import annotations

import ast
from collections import defaultdict
from pathlib import Path

ROOT = Path(__file__).parents[1]


def test_no_two_public_classes_have_one_name() -> None:
    found = defaultdict(list)
    for room in ("grammar", "codec"):
        for path in (ROOT / room).rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text("utf-8"))):
                if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                    found[node.name].append(str(path.relative_to(ROOT)))
    assert "Book" in found
    assert {name: places for name, places in found.items() if len(places) > 1} == {}
