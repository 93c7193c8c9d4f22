"""What is dropped on a desk: a transcript or an exported sheet goes into the sheet that is open, as
``niner sheet import`` does it.
"""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from codec.radio.crews import crews_of
from codec.radio.forms import HEAD, form_of, head_text
from codec.radio.importing import Summary, bounded, import_export, import_transcript
from codec.sheet.exports import read_export
from codec.sheet.journal import Journal
from grammar.errors import visible


def bring(sheet: Path, writer: str, name: str, body: bytes, crews: Sequence[str]) -> dict[str, Any]:
    """Write what a file holds into a sheet, and return what it brought and what was left out, with
    examples. ``name`` is the file's, ``crews`` who drives what, as ``CAR=DRIVER,ENGINEER…``.

    Raises CodeError where it can't be read or written.
    """
    with tempfile.TemporaryDirectory(prefix="niner-") as folder:
        ending = "".join(one for one in Path(name).suffix[:20] if one.isalnum())
        path = Path(folder) / f"brought.{ending}"
        path.write_bytes(body)
        read = read_export(path)
        with Journal(sheet, writer=writer) as journal:
            if read is not None:
                return _told(import_export(journal, read))
            form = form_of(name, head_text(body[:HEAD], repr(name))).name
            with path.open("rb") as stream:
                summary = import_transcript(journal, bounded(stream), form, crews_of(crews))
            return _told(summary)


def _told(summary: Summary) -> dict[str, Any]:
    most_first = sorted(summary.left_out.items(), key=lambda item: -item[1])
    left = [
        {
            "reason": visible(reason),
            "count": count,
            "lines": [f"line {one.number}: {visible(one.text)}" for one in examples],
        }
        for reason, count in most_first
        for examples in [summary.examples[reason]]
    ]
    return {
        "written": summary.written,
        "refused": summary.refused,
        "there": summary.there,
        "left_out": left,
    }
