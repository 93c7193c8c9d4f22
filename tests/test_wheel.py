"""The wheel holds the two packages with all their data, the demo's books, and nothing else."""

from __future__ import annotations

import re
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def names(tmp_path_factory: pytest.TempPathFactory) -> Iterator[list[str]]:
    folder = tmp_path_factory.mktemp("wheel")
    code = f"from hatchling.build import build_wheel; build_wheel({str(folder)!r})"
    subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=True, capture_output=True)
    (wheel,) = folder.glob("niner-*.whl")
    with zipfile.ZipFile(wheel) as archive:
        yield archive.namelist()


@pytest.mark.slow
def test_only_the_two_packages_are_in_it(names: list[str]) -> None:
    assert {name.split("/")[0] for name in names if ".dist-info" not in name} == {
        "codec",
        "grammar",
    }


@pytest.mark.slow
def test_both_packages_are_typed(names: list[str]) -> None:
    assert {"codec/py.typed", "grammar/py.typed"} <= set(names)


def test_every_data_table_is_in_it(names: list[str]) -> None:
    tables = {f"grammar/tables/{path.name}" for path in (ROOT / "grammar" / "tables").iterdir()}
    assert len(tables) > 5
    assert tables <= set(names)


def test_every_module_is_in_it(names: list[str]) -> None:
    modules = {
        str(path.relative_to(ROOT))
        for package in ("codec", "grammar")
        for path in (ROOT / package).rglob("*.py")
        if "training" not in path.parts
    }
    assert modules <= set(names)


def test_the_acoustic_model_is_in_it_and_its_training_is_not(names: list[str]) -> None:
    assert {"codec/voice/acoustic.onnx", "codec/voice/acoustic.json"} <= set(names)
    assert not [name for name in names if "training" in name]


def test_the_demo_has_what_it_reads_and_nothing_else(names: list[str]) -> None:
    text = (ROOT / "codec" / "cli" / "demo.py").read_text("utf-8")
    files = set(re.findall(r'examples / "(\w+)" / "([\w.-]+)"', text))
    assert len(files) == 6
    assert {name for name in names if "demo_data" in name} == {
        f"codec/demo_data/{folder}/{file}" for folder, file in files
    }


def test_no_test_is_in_it(names: list[str]) -> None:
    assert not [name for name in names if "test" in name]


def test_an_editable_installation_has_no_copy_of_the_demo(tmp_path: Path) -> None:
    code = f"from hatchling.build import build_editable; build_editable({str(tmp_path)!r})"
    subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=True, capture_output=True)
    (wheel,) = tmp_path.glob("niner-*.whl")
    with zipfile.ZipFile(wheel) as archive:
        assert not [name for name in archive.namelist() if name.startswith(("codec", "grammar"))]
