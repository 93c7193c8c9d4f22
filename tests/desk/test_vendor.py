"""What the desk brings along of others is what their packages hold, under a free licence."""

from __future__ import annotations

import hashlib
import tomllib
from importlib import resources

VENDOR = resources.files("codec.desk") / "static" / "vendor"
FREE = {"MIT", "BSD-2-Clause", "BSD-3-Clause", "0BSD", "Apache-2.0"}


def test_every_script_of_others_is_the_one_of_its_package() -> None:
    told = tomllib.loads((VENDOR / "vendor.toml").read_text("utf-8"))
    there = {path.name for path in VENDOR.iterdir()} - {"vendor.toml"}
    assert there == {file["name"] for package in told.values() for file in package["files"]}
    for package in told.values():
        assert package["licence"] in FREE
        assert any("LICENSE" in file["name"] for file in package["files"])
        for file in package["files"]:
            found = hashlib.sha256((VENDOR / file["name"]).read_bytes()).hexdigest()
            assert found == file["sha256"], file["name"]
