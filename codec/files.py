"""Files that commands write: whole or not at all, and none written over that says something else,
unless asked to; and text that any file can hold.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any

from grammar.errors import CodeError

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
def whole(path: str | Path, *, binary: bool = False) -> Iterator[IO[Any]]:
    """Yield a stream whose text or bytes are the file when all went well; until then, and if it
    fails, what was there stays.

    Raises OSError. What is no plain file (a device, a pipe) is written to as it is.
    """
    target = Path(os.path.realpath(path))
    kind: dict[str, Any] = (
        {"mode": "wb"} if binary else {"mode": "w", "encoding": "utf-8", "newline": ""}
    )
    if target.exists() and not target.is_file():
        with target.open(**kind) as stream:
            yield stream
        return
    handle, name = tempfile.mkstemp(prefix=f".{target.name}.", dir=target.parent)
    try:
        with os.fdopen(handle, **kind) as stream:
            yield stream
            stream.flush()
            os.fsync(stream.fileno())
        made = Path(name)
        made.chmod(target.stat().st_mode & 0o777 if target.exists() else 0o644)
        made.replace(target)
    except BaseException:
        with contextlib.suppress(OSError):
            Path(name).unlink()
        raise


def refuse_replacing(
    path: str | Path, data: str | bytes, *, replace: bool, option: str = "--out"
) -> None:
    """Raise CodeError where a file with other contents is there already, unless it may be
    replaced.
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
    path: str | Path, data: str | bytes, *, replace: bool = False, option: str = "--out"
) -> None:
    """Write a file; raises CodeError where it can't be written, or says something else already and
    may not be replaced.
    """
    refuse_replacing(path, data, replace=replace, option=option)
    with written(path), whole(path, binary=isinstance(data, bytes)) as stream:
        stream.write(data)


def clean(text: str) -> str:
    """Return text that any file can hold: bytes that were not UTF-8 become the replacement
    character.
    """
    return "".join(
        "\N{REPLACEMENT CHARACTER}" if "\ud800" <= character <= "\udfff" else character
        for character in text
    )
