"""Desks of tests load what they need when it is first of use."""

from __future__ import annotations

import pytest


@pytest.fixture(autouse=True)
def _not_ready_ahead(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let no desk of this process load what hears before somebody speaks: nobody does in most
    tests, and it is what takes their time. ``test_ready.py`` holds that it can be loaded.
    """
    monkeypatch.setattr("codec.desk.sheets.OpenSheet._warm_boards", lambda _: None)
