"""Key files: the secret that shuffles a book for an event, or the salt of a passphrase.

A key file is TOML, for its owner alone (mode 0600). It holds either ``secret``, 32 random bytes,
or, for a passphrase that stands nowhere, how that is stretched: ``scrypt`` with its cost ``n``,
``r``, ``p`` (RFC 7914). Both have a ``salt``, random as well, so that the same words give another
team another key. Bytes are written in hexadecimal.
"""

from __future__ import annotations

import hashlib
import os
import secrets
import tomllib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from codec.files import unwritable
from grammar.design.key import LEAST_SECRET
from grammar.errors import CodeError

FORMAT = "niner key 1"
BYTES = 32  # of a secret, drawn or stretched
_SALT = 16  # bytes, as NIST SP 800-132 asks for at least
_COST = {"n": 2**17, "r": 8, "p": 1}  # 128 MiB and about half a second a guess
_MOST_MEMORY = 2**30  # bytes that a file may ask for
_MOST_PARALLEL = 16
_MOST_FILE = 4096
_FEWEST = 6  # different characters of a passphrase
_DRAW = "draw one: niner book key --new-secret FILE"


def draw(path: str | Path, *, passphrase: bool = False) -> None:
    """Write a new key file: with a secret, or for a passphrase with its salt alone.

    It is for its owner alone from the first moment. Raises CodeError where it can't be written; a
    file that is there is never written over.
    """
    kept = (
        "scrypt = { " + ", ".join(f"{name} = {cost}" for name, cost in _COST.items()) + " }"
        if passphrase
        else f'secret = "{secrets.token_hex(BYTES)}"'
    )
    text = f'format = "{FORMAT}"\nsalt = "{secrets.token_hex(_SALT)}"\n{kept}\n'
    try:
        with os.fdopen(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600), "w") as stream:
            stream.write(text)
    except FileExistsError:
        raise CodeError(
            f"{str(path)!r} is there already",
            kind="file",
            hint="a key is never written over: name another file",
        ) from None
    except OSError as error:
        raise unwritable(path, error) from None


def secret_of(path: str | Path, passphrase: Callable[[], str]) -> tuple[bytes, bytes]:
    """Return the secret and the salt of a key file; ``passphrase`` is asked for one where the file
    holds none.

    Raises CodeError for a file that others can read, one that is no key file, and a passphrase that
    is soon guessed.
    """
    facts = _facts(path)
    try:
        if facts.get("format") != FORMAT or ("secret" in facts) == ("scrypt" in facts):
            raise ValueError
        salt = bytes.fromhex(facts["salt"])
        secret = bytes.fromhex(facts["secret"]) if "secret" in facts else None
        if len(salt) < _SALT or (secret is not None and len(secret) < BYTES):
            raise ValueError
        if secret is None:
            secret = _stretched(passphrase(), salt, **facts["scrypt"])
        return secret, salt
    except CodeError:
        raise
    except (KeyError, TypeError, ValueError):
        raise CodeError(f"{str(path)!r} is no key file", kind="secret", hint=_DRAW) from None


def _facts(path: str | Path) -> Mapping[str, Any]:
    """Return what a key file holds; raises CodeError where others can read it, or it is none."""
    try:
        with Path(path).open("rb") as stream:
            mode = os.fstat(stream.fileno()).st_mode
            text = stream.read(_MOST_FILE + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise CodeError(f"{str(path)!r} can't be read: {reason}", kind="file") from None
    if os.name == "posix" and mode & 0o077:
        raise CodeError(
            f"{str(path)!r} can be read or written by others: {mode & 0o777:04o}",
            kind="secret",
            hint="draw a new one, which nobody else has seen: niner book key --new-secret FILE",
        )
    try:
        return tomllib.loads(text.decode()) if len(text) <= _MOST_FILE else {}
    except ValueError:
        return {}


def _stretched(words: str, salt: bytes, *, n: int, r: int, p: int) -> bytes:
    """Return the secret that a passphrase gives; raises ValueError for a cost that is none."""
    if len(words.encode()) < LEAST_SECRET or len(set(words)) < _FEWEST:
        raise CodeError(
            "this passphrase is soon guessed",
            kind="secret",
            expected=[f"{LEAST_SECRET} or more characters, {_FEWEST} of them different"],
            hint=f"six words drawn by dice would do; better, {_DRAW}",
        )
    memory = 128 * n * r
    if not (n >= _COST["n"] and 0 < p <= _MOST_PARALLEL and r > 0 and memory <= _MOST_MEMORY):
        raise ValueError
    return hashlib.scrypt(
        words.encode(), salt=salt, n=n, r=r, p=p, maxmem=memory + 2**26, dklen=BYTES
    )
