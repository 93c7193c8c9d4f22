"""Files that commands write are whole or not there, and none is lost to another."""

from __future__ import annotations

import errno
from pathlib import Path

import pytest

from codec import CodeError
from codec.cli import main
from codec.files import refuse_replacing, whole, write
from codec.key_file import draw


def test_what_was_there_stays_when_writing_fails_halfway(tmp_path: Path) -> None:
    path = tmp_path / "sheet.csv"
    path.write_text("lap\n1\n")

    def written_halfway() -> None:
        with whole(path) as stream:
            stream.write("lap\n2")
            raise OSError(errno.ENOSPC, "the disk is full")

    with pytest.raises(OSError, match="full"):
        written_halfway()
    assert path.read_text() == "lap\n1\n"
    assert list(tmp_path.iterdir()) == [path]


def test_nothing_else_is_written_over_unless_asked_to(tmp_path: Path) -> None:
    path = tmp_path / "book.toml"
    write(path, "one")
    write(path, "one")
    with pytest.raises(CodeError, match="is there already"):
        write(path, "two")
    with pytest.raises(CodeError, match="is there already"):
        refuse_replacing(path, b"two", replace=False)
    assert path.read_text() == "one"
    write(path, b"two", replace=True)
    assert path.read_text() == "two"


def test_a_link_and_the_rights_of_a_file_stay(tmp_path: Path) -> None:
    path, link = tmp_path / "book.toml", tmp_path / "link.toml"
    path.write_text("one")
    path.chmod(0o600)
    link.symlink_to(path)
    write(link, "two", replace=True)
    assert link.is_symlink()
    assert path.read_text() == "two"
    assert path.stat().st_mode & 0o777 == 0o600


def test_a_device_is_written_to_and_not_replaced() -> None:
    write("/dev/null", "anything")
    assert Path("/dev/null").is_char_device()


def test_a_file_that_cannot_be_written_is_named_with_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(CodeError) as refused:
        write(tmp_path / "nowhere" / "book.toml", "x")
    assert "nowhere/book.toml' can't be written: No such file" in str(refused.value)
    assert "hint: name a file in a folder that is there" in str(refused.value)


@pytest.mark.slow
@pytest.mark.usefixtures("hardly_heard")
@pytest.mark.parametrize(
    "command",
    [
        [
            "design",
            "examples/design/needs.toml",
            "--family",
            "monotone",
            "--draws",
            "50",
            "--pick",
            "monotone-all",
            "--out",
        ],
        [
            "book",
            "key",
            "examples/starter/starter.toml",
            "--event",
            "Port Tessel",
            "--secret-file",
            "SECRET",
            "--out",
        ],
    ],
)
def test_a_book_by_hand_is_not_lost_to_one_that_is_made(
    command: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path, secret = tmp_path / "book.toml", tmp_path / "secret"
    path.write_text("# months of work\n")
    draw(secret)
    command = [str(secret) if part == "SECRET" else part for part in command]
    assert main([*command, str(path)]) == 2
    assert "say --replace" in capsys.readouterr().err
    assert path.read_text() == "# months of work\n"
    assert main([*command, str(path), "--replace"]) == 0
    assert "months of work" not in path.read_text()
