"""Files that commands write: whole or not at all, and none written over that says something else,
unless asked to; and text that any file can hold.

What is being written is hidden beside its place, and held by a lock; what dead writers left there
is taken away by the next one.
"""

from __future__ import annotations

import contextlib
import errno
import os
import re
import secrets
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any

from grammar.errors import CodeError

if sys.platform != "win32":  # there nobody can take away a file that is open: it needs no locks
    import fcntl

_UNFINISHED = ".niner-unfinished"
_LONGEST_NAME = 200  # bytes; file systems hold 255, and more stands behind it
_LEFT = re.compile(rf"\..*\.[0-9a-f]{{16}}{re.escape(_UNFINISHED)}", re.DOTALL)
PRIVATE = 0o600  # what only its owner reads: secrets, sheets, journals
_SURROGATE = re.compile("[\ud800-\udfff]")
_OPEN = 0o666  # less what the user's umask takes away
_PLACE = "name a file in a folder that is there and may be written to"


def unwritable(
    path: str | Path,
    error: OSError,
    *,
    kind: str = "file",
    hint: str = _PLACE,
    of: type[CodeError] = CodeError,
) -> CodeError:
    """Return the error for a file or folder that can't be written."""
    return of(f"{str(path)!r} can't be written: {error.strerror or error}", kind=kind, hint=hint)


@contextlib.contextmanager
def written(
    path: str | Path, *, kind: str = "file", hint: str = _PLACE, of: type[CodeError] = CodeError
) -> Iterator[None]:
    """Turn what the system says of a file that can't be written into an error of ours."""
    try:
        yield
    except OSError as error:
        raise unwritable(path, error, kind=kind, hint=hint, of=of) from None


@contextlib.contextmanager
def whole(path: str | Path, *, binary: bool = False, private: bool = False) -> Iterator[IO[Any]]:
    """Yield a stream whose text or bytes are the file when all went well; until then, and if it
    fails, what was there stays.

    A new file has the rights that the user's umask leaves, one that is replaced keeps its own;
    ``private`` lets nobody but its owner read it. Raises OSError. What is no plain file (a device,
    a pipe) is written to as it is.
    """
    target = Path(os.path.realpath(path))
    kind: dict[str, Any] = (
        {"mode": "wb"} if binary else {"mode": "w", "encoding": "utf-8", "newline": ""}
    )
    if target.exists() and not target.is_file():
        with target.open(**kind) as stream:
            yield stream
        return
    kept = target.stat().st_mode & 0o777 if target.exists() and not private else None
    _sweep(target.parent)
    handle, made = _unfinished(target, PRIVATE if private else _OPEN if kept is None else kept)
    try:
        with os.fdopen(handle, **kind) as stream:
            yield stream
            stream.flush()
            os.fsync(stream.fileno())
            if kept is not None:
                made.chmod(kept)
            if sys.platform != "win32":
                made.replace(target)  # under the lock: nobody takes it for left behind
        if sys.platform == "win32":
            made.replace(target)
    except BaseException:
        with contextlib.suppress(OSError):
            made.unlink()
        raise


def _unfinished(target: Path, mode: int) -> tuple[int, Path]:
    """Make the hidden file that is to become ``target``, and lock it."""
    name = os.fsdecode(os.fsencode(target.name)[:_LONGEST_NAME])
    while True:
        made = target.with_name(f".{name}.{secrets.token_hex(8)}{_UNFINISHED}")
        handle = os.open(made, os.O_RDWR | os.O_CREAT | os.O_EXCL, mode)
        if sys.platform != "win32":
            with contextlib.suppress(OSError):  # a file system without locks
                fcntl.flock(handle, fcntl.LOCK_EX)
            if not os.fstat(handle).st_nlink:  # swept before it was locked
                os.close(handle)
                continue
        return handle, made


def _sweep(folder: Path) -> None:
    """Take away what dead writers left in a folder: nobody holds its lock."""
    with contextlib.suppress(OSError):
        for left in [one for one in folder.iterdir() if _LEFT.fullmatch(one.name)]:
            with contextlib.suppress(OSError):
                _take_away(left)


def _take_away(left: Path) -> None:
    if sys.platform == "win32":
        left.unlink()
        return
    handle = os.open(left, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        if os.path.samestat(os.fstat(handle), left.stat(follow_symlinks=False)):
            left.unlink()
    finally:
        os.close(handle)


def refuse_unwritable(path: str | Path, *, replace: bool, option: str = "--out") -> None:
    """Raise CodeError where a file can't be written, before the long work that makes what is to be
    in it: what is there already is refused, unless it may be replaced.
    """
    target = Path(os.path.realpath(path))
    with written(path):
        if target.is_dir():
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
        if target.is_file() or not target.exists():
            handle, made = _unfinished(target, PRIVATE)
            os.close(handle)
            made.unlink()
    refuse_replacing(path, None, replace=replace, option=option)


def refuse_replacing(
    path: str | Path, data: str | bytes | None, *, replace: bool, option: str = "--out"
) -> None:
    """Raise CodeError where a file with other contents is there already, unless it may be replaced;
    any contents are others where ``data`` is None, not known yet.
    """
    target, new = Path(path), data.encode() if isinstance(data, str) else data
    with written(path):
        other = not replace and target.is_file() and target.read_bytes() != new
    if other:
        raise CodeError(
            f"{str(path)!r} is there already",
            kind="file",
            hint=f"name another with {option}, or say --replace",
        )


def write(
    path: str | Path,
    data: str | bytes,
    *,
    replace: bool = False,
    option: str = "--out",
    private: bool = False,
) -> None:
    """Write a file; raises CodeError where it can't be written, or says something else already and
    may not be replaced.
    """
    refuse_replacing(path, data, replace=replace, option=option)
    with written(path), whole(path, binary=isinstance(data, bytes), private=private) as stream:
        stream.write(data)


def clean(text: str) -> str:
    """Return text that any file can hold: bytes that were not UTF-8 become the replacement
    character.
    """
    return text if text.isascii() else _SURROGATE.sub("\N{REPLACEMENT CHARACTER}", text)
