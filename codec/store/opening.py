"""A journal opened, wherever it is: in a file, or on a server."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Sequence
from pathlib import Path

from codec.store.file import FileStore
from codec.store.place import Place, ServerPlace
from codec.store.store import JournalFormat, Make, Store
from codec.store.table import Execute
from grammar.libraries import needed

EXTRA = "server"  # what must be installed for a server


def opened(
    place: Place, form: JournalFormat, make: Make | None = None, *, when_needed: bool = False
) -> Store:
    """Open a journal and bring it up to this version; where there is none, make it, and let
    ``make`` write what a new one begins with: with ``when_needed`` when the first transaction
    begins, and until then nothing is anywhere. Raises ``form.error``.
    """
    if isinstance(place, Path):
        return FileStore(place, form, make, when_needed=when_needed)
    needed("psycopg", EXTRA)
    from codec.store.server.store import ServerStore

    return ServerStore(place, form, make, when_needed=when_needed)


def set_up(place: ServerPlace, forms: Sequence[JournalFormat]) -> dict[str, tuple[int, int]]:
    """Bring a server's tables of these kinds of journals up to this version; return of each, by its
    name, the version before (0: none) and now. Raises the error of the first kind.
    """
    needed("psycopg", EXTRA)
    from codec.store.server import setting_up

    return setting_up.set_up(place, forms)


@contextlib.contextmanager
def asking(place: ServerPlace, form: JournalFormat) -> Iterator[Execute]:
    """Ask a server about all its journals; raises ``form.error``."""
    needed("psycopg", EXTRA)
    from codec.store.server.connection import ServerConnection

    with contextlib.closing(ServerConnection(place, form)) as server, server.telling():
        yield server


def is_there(place: Place, form: JournalFormat) -> bool:
    """Tell whether there is a journal; raises ``form.error`` where that can't be told."""
    if isinstance(place, Path):
        # who was killed before anything was written leaves an empty file
        return place.exists() and (place.is_dir() or place.stat().st_size > 0)
    try:
        opened(place, form).close()
    except form.error as error:
        if error.kind != f"{form.word}-missing":
            raise
        return False
    return True
