"""Files as earlier versions wrote them, kept as SQL, made again as files."""

from __future__ import annotations

import contextlib
import sqlite3
from pathlib import Path

FOLDER = Path(__file__).parent


def old(name: str, path: Path) -> Path:
    """Write the file that ``name``.sql describes."""
    with contextlib.closing(sqlite3.connect(path)) as connection:
        connection.executescript((FOLDER / f"{name}.sql").read_text("utf-8"))
    return path
