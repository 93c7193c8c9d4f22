"""A desk in the process of the test, as a browser sees it."""

from __future__ import annotations

import contextlib
import secrets
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from sheet.support import ROOT, race_book
from starlette.testclient import TestClient

from codec.desk.access import Links
from codec.desk.app import application
from codec.desk.mirroring import Mirroring
from codec.desk.sheets import OpenSheet
from codec.desk.shelf import Shelf
from codec.sheet import Entry, Journal
from codec.store.place import Place

NAME = "127.0.0.1:8899"
REPORT = "one two zero one yankee alfa quebec"


def sheet_at(folder: Path) -> Path:
    """Make a sheet of two cars."""
    path = folder / "race.sheet"
    with Journal(path, race_book()) as journal:
        journal.append(Entry(kind="car", car="7", message="Ilse Marrow"))
        journal.append(Entry(kind="car", car="61", message="Teo Vash"))
    return path


@contextlib.contextmanager
def desk(
    path: Place,
    links: Links | None = None,
    name: str = NAME,
    mirroring: Mirroring | None = None,
) -> Iterator[TestClient]:
    """Serve a sheet to a client that asks as a page of the desk does."""
    with served(Shelf({path.stem: OpenSheet(path, mirroring=mirroring)}), links, name) as client:
        yield client


@contextlib.contextmanager
def served(sheets: Shelf, links: Links | None = None, name: str = NAME) -> Iterator[TestClient]:
    """Serve sheets to a client that asks as a page of the desk does."""
    guarded = application(sheets, names=[NAME], links=links)
    client = TestClient(
        guarded, base_url=f"http://{name}", headers={"origin": f"http://{name}"},
        follow_redirects=False,
    )  # fmt: skip
    with client:
        yield client


def line(text: str, car: str = "7", writer: str = "Quill", key: str = "") -> dict[str, Any]:
    """Return what a page sends for a line."""
    return {"key": key or secrets.token_hex(16), "writer": writer, "car": car, "text": text}


def design() -> dict[str, Any]:
    """Return what ``niner design --json`` tells, of two proposals that are books at hand."""
    figures = {"mean": 2.0, "error": 0.01, "worst": 3.5, "with_questions_error": 0.02}
    starter = (ROOT / "examples" / "starter" / "starter.toml").read_text("utf-8")
    told = {"family": "packed", "frontier": True, "keeps_limits": True}
    return {
        "needs": "A lap, designed",
        "bound": 1.31,
        "limits": {"seconds": 4.0, "wrong": 0.005},
        "explained": "joined-32, heard by the tool, takes 2.5 s.",
        "proposals": [
            {**told, "name": name, "seconds": {**figures, "with_questions": seconds}, "ear": ear,
             "wrong": wrong, "rows": 74, "picked": ear == "tool", "book": book,
             "names": ["picked", "best by tool"] if ear == "tool" else ["best by card"]}
            for name, seconds, wrong, ear, book in [
                ("joined-32", 2.5, 0.002, "tool", race_book().source),
                ("one-table", 3.1, 0.0, "card", starter),
            ]
        ],
    }  # fmt: skip
