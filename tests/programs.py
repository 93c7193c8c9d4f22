"""Programs that tests drive beside Python, which a bare machine need not have."""

from __future__ import annotations

import shutil

import pytest


def program(name: str) -> str:
    """Return where a program stands; a test that drives one which is missing is skipped, with what
    to install.

    The names are those of Debian's packages as well. ``.ci/run`` has them all, and fails where
    anything was skipped.
    """
    path = shutil.which(name)
    if path is None:
        pytest.skip(f"{name} is not installed: apt-get install {name}")
    return path
