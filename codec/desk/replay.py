"""A race that was written, written once more as it went, only quicker."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from pathlib import Path

from codec.sheet.entry import Entry
from codec.sheet.journal import Journal
from grammar.book import Book


class Replay(threading.Thread):
    """Writes entries into a new sheet at the moments at which they were said, so many times as
    fast; what has no time comes with the one before it. ``stop`` ends it.
    """

    def __init__(self, path: Path, book: Book, entries: Sequence[Entry], speed: float) -> None:
        super().__init__(daemon=True)
        self.path, self.book, self.entries, self.speed = path, book, entries, speed
        self._over = threading.Event()

    def run(self) -> None:
        """Write them all, unless stopped."""
        times = [entry.at for entry in self.entries if entry.at is not None]
        before = min(times, default=0)
        with Journal(self.path, self.book) as journal:
            for entry in self.entries:
                wait = 0 if entry.at is None else max(0, entry.at - before) / 1000 / self.speed
                before = before if entry.at is None else max(before, entry.at)
                if self._over.wait(wait):
                    return
                journal.append(entry.replace(seq=0, logged=""))

    def stop(self) -> None:
        """Write no more."""
        self._over.set()
        self.join()
