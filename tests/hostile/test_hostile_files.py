"""Files that are no books, and the command line with hostile input and output: an error of ours and
an exit code, never a traceback.
"""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest
from commands import started
from helpers import first_short
from hostile.watchdog import BOOK, niner, plain, printable, settled
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from codec import Book, BookError, decode, load_book

ENCODED = {
    "Latin-1": BOOK.replace("°", "é").encode("latin-1"),
    "UTF-16": BOOK.encode("utf-16"),
    "UTF-16 without its mark": BOOK.encode("utf-16-le"),
    "UTF-32": BOOK.encode("utf-32"),
    "NUL in the middle": BOOK.encode().replace(b"kWh", b"k\0h"),
    "NUL alone": b"\0" * 1000,
    "half a character": BOOK.encode() + b"# \xe2\x82",
    "surrogates": BOOK.encode() + b"# \xed\xa0\x80",
    "empty": b"",
    "carriage returns alone": BOOK.replace("\n", "\r").encode(),
    "random": bytes(range(256)) * 20,
}


@pytest.fixture
def good(tmp_path: Path) -> Path:
    path = tmp_path / "good.toml"
    path.write_text(BOOK, "utf-8")
    return path


@pytest.fixture
def unreadable(tmp_path: Path) -> dict[str, Path]:
    """Paths that can't be read, whoever runs the test: permissions would not stop an
    administrator.
    """
    loop, dangling = tmp_path / "loop", tmp_path / "dangling"
    loop.symlink_to(loop)
    dangling.symlink_to(tmp_path / "gone")
    return {
        "a directory": tmp_path,
        "missing": tmp_path / "missing.toml",
        "a dangling link": dangling,
        "a link to itself": loop,
        "a file as a directory": Path(__file__) / "book.toml",
        "a name too long": tmp_path / ("x" * 5000),
        "a path too long": tmp_path / "/".join(["x"] * 5000),
        "NUL in the name": tmp_path / "a\0b",
        "a surrogate in the name": tmp_path / "a\udcffb\u202e",
    }


@pytest.mark.parametrize(
    "name",
    [
        "a directory",
        "missing",
        "a dangling link",
        "a link to itself",
        "a file as a directory",
        "a name too long",
        "a path too long",
        "NUL in the name",
        "a surrogate in the name",
    ],
)
def test_a_file_that_cannot_be_read_is_a_book_error(unreadable: dict[str, Path], name: str) -> None:
    error = settled(lambda: load_book(unreadable[name]))
    assert isinstance(error, BookError)
    assert error.problems[0].kind == "file"
    assert printable(str(error))
    if "\0" not in str(unreadable[name]):
        done = (
            niner(["decode", unreadable[name], "S30120"])
            if len(str(unreadable[name])) < 100_000
            else None
        )
        assert done is not None
        assert done.returncode == 2
        assert b"can't be read" in done.stderr


@pytest.mark.parametrize("name", ENCODED)
def test_a_file_in_a_wrong_encoding_is_told(tmp_path: Path, name: str) -> None:
    path = tmp_path / "book.toml"
    path.write_bytes(ENCODED[name])
    error = settled(lambda: load_book(path))
    assert isinstance(error, BookError)
    assert printable(str(error))


def test_a_byte_order_mark_before_a_book_is_accepted(tmp_path: Path) -> None:
    path = tmp_path / "book.toml"
    path.write_bytes(b"\xef\xbb\xbf" + BOOK.replace("\n", "\r\n").encode())
    assert decode(load_book(path), "S30120").said == "S30120"


def test_a_device_without_end_is_refused() -> None:
    error = settled(lambda: load_book("/dev/zero"))
    assert isinstance(error, BookError)


@settings(
    max_examples=2 * settings().max_examples,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(st.integers(0, len(BOOK.encode())), st.integers(0, 30), st.binary(max_size=6))
def test_any_bytes_in_a_book_are_read_or_told(
    tmp_path: Path, place: int, length: int, new: bytes
) -> None:
    path, data = tmp_path / "book.toml", BOOK.encode()
    path.write_bytes(data[:place] + new + data[place + length :])
    found = settled(lambda: load_book(path))
    assert isinstance(found, Book | BookError)
    assert isinstance(found, Book) or printable(str(found))


LINES = (
    b"S 3 0 1 2 0\nS 3 \xff\xfe 1\nS 3 0 1 2 \xed\xa0\x80\n\0\n\xe2\x80\xae\n[red]\n"
    + b"4" * 1_000_000
    + b"\n"
    + b"4 " * 500_000
    + b"\nS 3 0 1 2 1\r\n"
)


@pytest.mark.parametrize(
    "flags", first_short([["--json"], ["--all"], [], ["--all", "--json"]], 2), ids=" ".join
)
def test_lines_that_are_no_text_are_refused_one_by_one(good: Path, flags: list[str]) -> None:
    done = niner(["decode", good, *flags], LINES)
    assert (
        done.returncode == 2
    )  # a line too long is the caller's to change, all others need a repeat
    assert done.stdout.count(b"S30120") + done.stdout.count(b"S30121") >= 2
    shown = (done.stdout + done.stderr).decode("utf-8")
    assert printable(shown)
    if "--json" in flags:
        rows = [json.loads(line) for line in done.stdout.decode("utf-8").splitlines()]
        assert sum("error" in row for row in rows) == 7


@pytest.mark.slow
@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "utf-16"])
@pytest.mark.parametrize("flags", [[], ["--json"]], ids=" ".join)
def test_an_output_that_lacks_characters_is_no_reason_to_fail(
    good: Path, encoding: str, flags: list[str]
) -> None:
    done = plain(
        started(
            ["decode", good, *flags],
            "S 3 0 1 2 1\nшесть\n".encode(),
            environment={"PYTHONIOENCODING": encoding, "PYTHONUTF8": "0"},
        )
    )
    assert done.returncode == 1
    assert "S30121" in done.stdout.decode(encoding)


@pytest.mark.parametrize("flags", first_short([[], ["--json"]]), ids=" ".join)
def test_a_full_device_is_told(good: Path, flags: list[str]) -> None:
    with Path("/dev/full").open("wb") as full:
        done = plain(started(["decode", good, *flags, "S30120"], stdout=full))
    assert done.returncode == 2
    assert b"can't write" in done.stderr


def test_a_closed_output_is_no_reason_to_fail(good: Path) -> None:
    reader, writer = os.pipe()
    os.close(reader)
    with os.fdopen(writer, "wb") as output:
        done = plain(started(["decode", good, "S30120"], stdout=output))
    assert done.returncode == 0


@pytest.mark.parametrize(
    "words",
    [
        [b"S \xff\xfe"],
        ["S\n30120"],
        ["--near", "lap"],
        ["--near", "=", "S30120"],
        ["--near", "lap=nan", "L 3 3 0 1 2 0 A"],
        ["--direction", "x"],
        ["\u202e"],
        ["[red]"],
        ["--", "--json"],
    ],
    ids=repr,
)
def test_hostile_arguments_are_told(good: Path, words: list[str | bytes]) -> None:
    done = niner(["decode", good, *words])
    assert done.returncode in (1, 2)
    assert done.stderr


def test_text_that_looks_like_markup_is_shown_as_it_stands(tmp_path: Path) -> None:
    text = "[red]hot[/red] :fire: [link=x]y[/link]"
    path = tmp_path / "book.toml"
    path.write_text(
        BOOK.replace('unit = "kWh"', f'unit = "[b]u[/b]"\nlabel = "{text}"').replace(
            '"motor hot"', f'"{text}"'
        ),
        "utf-8",
    )
    done = plain(started(["decode", path, "S 3 0 1 2 1"], environment={"COLUMNS": "300"}))
    shown = done.stdout.decode()
    assert shown.count(text) >= 2
    assert "[b]u[/b]" in shown


@pytest.mark.parametrize(
    "value",
    [
        "nan",
        "inf",
        "1e999999999",
        "9" * 5000,
        "",
        "\u202e",
        "[red]",
        "0x10",
        "1_0",
        "--1",
        "\ud800",
    ],
)
def test_hostile_values_to_encode_are_told(good: Path, value: str) -> None:
    arguments: list[str | bytes] = [
        "encode",
        os.fsencode(good),
        b"energy=" + value.encode("utf-8", "surrogatepass"),
        b"motor=100",
    ]
    done = niner(arguments)
    assert done.returncode == 2


@pytest.mark.parametrize(
    "line",
    [
        "[" * 100_000,
        "nul",
        "[]",
        '{"energy": NaN}',
        '{"energy": 1e999999999}',
        '{"energy": ' + "9" * 5000 + "}",
        '{"energy": {"a": [1]}, "motor": null}',
        '{"energy": [1e9], "motor": "\\ud800"}',
        '{"": 1}',
        "\0",
        "{" + '"a":{' * 50_000,
    ],
)
def test_hostile_json_to_encode_is_told(good: Path, line: str) -> None:
    done = niner(["encode", good, "--json"], line.encode())
    assert done.returncode == 2
    for row in done.stdout.decode().splitlines():
        assert "error" in json.loads(row)
