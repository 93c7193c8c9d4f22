"""What is kept in the user's cache folder, so that the next command need not do it again: books
checked and proven, what they are heard by, data tables read, words held against each other by their
sounds.

An entry is named by the digest of what it was made from, such as a book's text, and of the program
that made it, and begins with the digest of that name and of what it holds. It is written whole or
not at all, and whatever does not fit is as good as none: a folder that can't be read or written is
no error.
``NINER_CACHE=off`` keeps nothing and believes nothing.

The folder is ``niner`` in ``$XDG_CACHE_HOME``, else in ``~/.cache`` (XDG Base Directory
Specification 0.8).
"""

from __future__ import annotations

import contextlib
import functools
import hashlib
import os
import sys
from collections.abc import Callable
from pathlib import Path

from grammar import __version__

FORMAT = 5  # of the compiled form; a form that older programs can't rebuild has the next number
MOST_KEPT = 200  # entries
MOST_BYTES = 20_000_000  # of an entry; what is larger is neither kept nor read


def wanted() -> bool:
    """Tell whether anything is to be kept."""
    return os.environ.get("NINER_CACHE", "").casefold() != "off"


def found(text: str) -> str | None:
    """Return what was kept of a book's text by this very program, None where there is nothing that
    fits.
    """
    if not wanted():
        return None
    try:
        named = _digest(text.encode())
        with _entry(named).open("rb") as file:
            content = file.read(MOST_BYTES + 1)
    except (OSError, ValueError, RuntimeError):
        return None
    digest, _, held = content.partition(b"\n")
    if len(content) > MOST_BYTES or digest.decode("ascii", "replace") != _digest(
        named.encode(), held
    ):
        return None
    return held.decode("ascii")


def keep(text: str, told: str) -> None:
    """Keep what was made of a book's text; of too many books the oldest go."""
    named, held = _digest(text.encode()), told.encode("ascii")
    content = _digest(named.encode(), held).encode() + b"\n" + held
    if len(content) > MOST_BYTES:
        return
    with contextlib.suppress(OSError, ValueError, RuntimeError):
        import tempfile

        entry = _entry(named)
        entry.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=".", dir=entry.parent)
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(content)
            Path(name).replace(entry)
        except BaseException:
            with contextlib.suppress(OSError):
                Path(name).unlink()
            raise
        _bound(entry.parent)


def kept_or_made(named: str, make: Callable[[], str]) -> str:
    """Return what was kept under a name; else make it, and keep it."""
    told = found(named)
    if told is None:
        told = make()
        if wanted():
            keep(named, told)
    return told


def folder() -> Path:
    """Return the folder; raises RuntimeError where the user has no home."""
    base = Path(os.environ.get("XDG_CACHE_HOME", ""))
    if not base.is_absolute():
        base = Path.home() / ".cache"
        if not base.parent.is_dir():  # it is not for us to make
            raise RuntimeError("the home folder is missing")
    return base / "niner"


def _bound(place: Path) -> None:
    """Remove the files written longest ago, of writers that were stopped too."""
    entries = [(one.stat().st_mtime_ns, one.path) for one in os.scandir(place) if one.is_file()]
    for _, path in sorted(entries)[:-MOST_KEPT]:
        Path(path).unlink(missing_ok=True)


def _entry(named: str) -> Path:
    return folder() / f"{named}.kept"


def _digest(*parts: bytes) -> str:
    return hashlib.sha256(b"\n".join((_program(), *parts))).hexdigest()


@functools.cache
def _program() -> bytes:
    """Return what tells this program from every other: its version, and, since a checkout changes
    without it, when its files were written.
    """
    here = Path(__file__).parent
    files = written(*(here / part for part in ("", "codes", "fields", "speech", "sound", "tables")))
    return f"{FORMAT} {__version__} {sys.version_info[:3]} {files}\n".encode()


def written(*folders: Path) -> list[tuple[str, int, int]]:
    """Return the name, the size and the time of writing of each program file and data table in some
    folders of niner.
    """
    return sorted(
        (one.name, one.stat().st_size, one.stat().st_mtime_ns)
        for folder in folders
        for one in os.scandir(folder)
        if one.name.endswith((".py", ".toml"))
    )
