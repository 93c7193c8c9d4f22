"""The lap sheet: the journal of an event, transcripts into it, tables out of it.

from codec.sheet import Journal, Entry, import_transcript, export
"""

from __future__ import annotations

from codec.sheet.entry import Entry, Kind, SheetError
from codec.sheet.journal import Journal

__all__ = ["Entry", "Journal", "Kind", "SheetError"]
