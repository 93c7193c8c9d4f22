"""The design commands as their users meet them."""

from __future__ import annotations

import argparse
import hashlib
import json
import re
import tomllib
from pathlib import Path

import pytest
from helpers import first_short

from codec import load_book
from codec.cli import book_analyse, book_export, book_key, design
from codec.hear.scoring import Scorer
from codec.key_file import draw, secret_of
from codec.screen.console import console
from grammar.design.key import event_key, hkdf
from grammar.errors import CodeError

STARTER = "examples/starter/starter.toml"


def run(*arguments: str) -> int:
    parser = argparse.ArgumentParser()
    commands = parser.add_subparsers()
    design.add(commands)
    actions = commands.add_parser("book").add_subparsers()
    for add in (book_export.add_export, book_analyse.add_analyse, book_key.add_key):
        add(actions)
    args = parser.parse_args(arguments)
    code: int = args.run(args)
    return code


@pytest.mark.slow
@pytest.mark.usefixtures("hardly_heard")
def test_design_shows_the_trade_off_and_writes_a_sound_book(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out, plot = tmp_path / "lap.toml", tmp_path / "lap.svg"
    families = ["--family", "variable"]
    past = ["--sheet", "examples/design/past.csv"]
    assert (
        run(
            "design",
            "examples/design/needs.toml",
            *families,
            *past,
            "--draws",
            "150",
            "--out",
            str(out),
            "--plot",
            str(plot),
        )
        == 0
    )
    shown = capsys.readouterr().out
    for text in ("no code that tells its own end", "in all", "picked", "Event regulations"):
        assert text in shown
    assert load_book(out).messages.keys() == {"lap"}
    assert out.read_text("utf-8").startswith("# Corvane lap report, designed: a proposed code")
    assert plot.read_text("utf-8").lstrip().startswith("<?xml")


@pytest.mark.slow
@pytest.mark.usefixtures("hardly_heard")
def test_design_gives_programs_the_same_facts_and_takes_a_book(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert (
        run(
            "design",
            STARTER,
            "--message",
            "lap",
            "--family",
            "variable",
            "--draws",
            "100",
            "--json",
            "--all",
        )
        == 0
    )
    (line,) = capsys.readouterr().out.splitlines()
    facts = json.loads(line)
    assert facts["bound"] == pytest.approx(1.5562, abs=1e-3)
    assert sum(one["picked"] for one in facts["proposals"]) == 1
    assert all(one["seconds"]["mean"] > facts["bound"] * 0.98 for one in facts["proposals"])


@pytest.mark.slow
@pytest.mark.usefixtures("hardly_heard")
@pytest.mark.parametrize(
    ("width", "figures"), first_short([(80, 7), (60, 4), (70, 5), (100, 8), (110, 10)])
)
def test_a_narrow_screen_shows_fewer_figures_but_each_whole(
    width: int, figures: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    console.cache_clear()
    arguments = ["--family", "variable", "--draws", "50", "--all"]
    assert run("design", "examples/design/needs.toml", *arguments) == 0
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= width
    for name in ("variable-all", "variable-all-check", "variable-all-quick", "variable-32-check"):
        row = next(line for line in lines if f" {name} " in line)
        row = re.sub(r"1 in [\d,.]+ ±\d+%", "share", row.replace(name, "", 1))
        assert len(row.split()) - row.startswith((" →", " ·", " !")) == figures - 1
        assert "…" not in row
    assert run("book", "analyse", STARTER, "--pairs", "4", "--quick") == 0
    assert max(map(len, capsys.readouterr().out.splitlines())) <= width
    console.cache_clear()


@pytest.mark.slow
@pytest.mark.usefixtures("hardly_heard")
def test_a_proposal_that_breaks_the_limits_is_marked_and_says_so_in_its_book(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path, needs = tmp_path / "book.toml", tmp_path / "needs.toml"
    text = Path("examples/design/needs.toml").read_text("utf-8")
    needs.write_text(text.replace("seconds = 4.0 ", "seconds = 2.5 "), "utf-8")
    sample = ["--family", "variable", "--draws", "100", "--all"]
    design = ["design", str(needs), *sample, "--out", str(path), "--pick"]
    assert run(*design, "variable-all-check") == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert "it does not keep the limits: at most 2.5 s for the longest report" in shown
    assert "→ variable-all-check " in shown
    assert "! variable-all-quick " in shown
    assert "! variable-32-check " in shown
    assert "! variable-27-check " in shown
    assert (
        "# It does not keep the limits asked for. At most 2.5 s for the longest report: this one"
        in path.read_text("utf-8")
    )
    assert run(*design, "variable-32", "--replace") == 0
    assert "does not keep the limits" not in path.read_text("utf-8")


@pytest.mark.slow
@pytest.mark.usefixtures("hardly_heard")
def test_what_was_drilled_goes_into_the_design(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "book.toml"
    sample = ["--family", "natural", "--draws", "50", "--profile", "examples/drill/ana.json"]
    assert run("design", "examples/design/demands.toml", *sample, "--out", str(path)) == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert "not measured, then drilled." in shown
    assert "of looking down" in shown
    words = load_book(path).alphabet.words
    assert words["7"].seconds != load_book(STARTER).alphabet.words["7"].seconds


def test_a_book_wants_a_message_and_needs_have_one() -> None:
    with pytest.raises(CodeError, match="is a code book"):
        run("design", STARTER)
    with pytest.raises(CodeError, match="names its message itself"):
        run("design", "examples/design/needs.toml", "--message", "lap")


@pytest.mark.slow
@pytest.mark.usefixtures("hardly_heard")
def test_limits_that_no_proposal_keeps_are_told_with_the_nearest(tmp_path: Path) -> None:
    needs = tmp_path / "needs.toml"
    text = (
        Path("examples/design/needs.toml")
        .read_text("utf-8")
        .replace("seconds = 4.0 ", "card = true\nrows = 5\nseconds = 0.5 ")
    )
    needs.write_text(text, "utf-8")
    with pytest.raises(CodeError, match="no proposal keeps the limits") as refused:
        run("design", str(needs), "--family", "monotone", "--draws", "50")
    told = "; ".join(refused.value.expected)
    assert told.startswith(
        "at most 0.5 s for the longest report and at most 5 rows of the card (monotone-"
    )
    assert re.search(r": \d\.\d\d s, \d\.\d\d s too long and 57 rows, 52 too many\)$", told)


@pytest.mark.slow
@pytest.mark.usefixtures("hardly_heard")
def test_a_limit_that_no_proposal_keeps_is_told_alone(tmp_path: Path) -> None:
    needs = tmp_path / "needs.toml"
    text = Path("examples/design/needs.toml").read_text("utf-8")
    needs.write_text(text.replace("wrong = 0.005", "wrong = 1e-11"), "utf-8")
    with pytest.raises(CodeError, match="no proposal keeps the limits") as refused:
        run("design", str(needs), "--family", "fixed", "--draws", "100")
    assert [one.split(" (")[0] for one in refused.value.expected] == [
        "at most 1 in 100,000,000,000 accepted wrong"
    ]  # not what is kept easily


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--pick", "tidy"], "no proposal 'tidy'"),
        (["--draws", "3"], "too little"),
        (["--heard", "3"], "too little"),
        (["--sheet", "examples/design/needs.toml"], "no column"),
        (["--sheet", "nowhere.csv"], "can't be read"),
        (["--sheet", "EMPTY"], "no report to learn from"),
        (["--sheet", "BAD"], "line 3: energy against plan: 'x' is not a number"),
        (["--out", "/nowhere/book.toml"], "can't be written"),
        (["--out", "examples"], "can't be written"),
        (["--out", "EMPTY"], "is there already"),
        (["--plot", "figure.bmp"], "SVG or PNG"),
        (["--plot", "/nowhere/figure.svg"], "can't be written"),
    ],
)
def test_what_design_cannot_do_is_told_before_anything_is_heard(
    arguments: list[str], told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sheets = {"EMPTY": "energy\n", "BAD": "energy\n0.3\nx\n"}
    for name, text in sheets.items():
        (tmp_path / name).write_text(text, "utf-8")
    arguments = [str(tmp_path / one) if one in sheets else one for one in arguments]
    monkeypatch.setattr(Scorer, "__call__", lambda *_: pytest.fail("heard"))
    with pytest.raises(CodeError, match=told):
        run("design", STARTER, "--message", "lap", "--family", "fixed", *arguments)
    assert sorted(one.name for one in tmp_path.iterdir()) == sorted(sheets)


@pytest.mark.slow
def test_analyse_tells_where_seconds_go_and_what_the_designer_would_do(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run("book", "analyse", STARTER) == 0
    shown = capsys.readouterr().out
    for text in (
        "Where the seconds go",
        "six → eight",
        "no check symbol",
        "What the designer would do",
        " saved ",
    ):
        assert text in shown
    assert run("book", "analyse", STARTER, "--quick", "--json", "--pairs", "3") == 0
    facts = json.loads(capsys.readouterr().out)
    assert len(facts["confused"]) == 3
    assert facts["proposals"] == []


@pytest.mark.slow
@pytest.mark.usefixtures("hardly_heard")
@pytest.mark.parametrize(
    ("told", "command", "written"),
    [
        (
            "codec.screen.design.show",
            f"design {STARTER} --message lap --family fixed --draws 50 --out OUT/a.toml",
            ["a.toml"],
        ),
        (
            "codec.cli.book_export.say",
            f"book export {STARTER} c --out OUT",
            ["starter.c", "starter.h"],
        ),
    ],
)
def test_files_are_written_though_nobody_reads_what_is_printed(
    told: str, command: str, written: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def gone(*_: object) -> None:
        raise BrokenPipeError

    monkeypatch.setattr(told, gone)
    with pytest.raises(BrokenPipeError):
        run(*command.replace("OUT", str(tmp_path)).split())
    assert sorted(path.name for path in tmp_path.iterdir()) == written


def test_export_writes_files_or_prints_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("book", "export", STARTER, "c", "--out", str(tmp_path)) == 0
    assert {path.name for path in tmp_path.iterdir()} == {"starter.h", "starter.c"}
    assert run("book", "export", STARTER, "jsgf", "--out", "-") == 0
    assert "#JSGF V1.0" in capsys.readouterr().out
    with pytest.raises(CodeError, match="2 files"):
        run("book", "export", STARTER, "c", "--out", "-")


HEAD = "\n".join(['format = "niner key 1"', f'salt = "{"0" * 32}"'])


def _key(out: Path, *more: str, event: str = "race 1") -> int:
    return run("book", "key", STARTER, "--event", event, "--out", str(out), "--replace", *more)


def test_a_key_needs_a_secret_and_never_stores_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out, secret = tmp_path / "keyed.toml", tmp_path / "secret"
    with pytest.raises(CodeError, match="--secret-file") as refused:
        _key(out)
    assert "--new-secret" in refused.value.hint
    assert run("book", "key", "--new-secret", str(secret)) == 0
    assert secret.stat().st_mode & 0o777 == 0o600
    drawn = tomllib.loads(secret.read_text())
    assert len(bytes.fromhex(drawn["secret"])) == 32
    assert _key(out, "--secret-file", str(secret)) == 0
    first = out.read_text("utf-8")
    assert drawn["secret"] not in first
    assert drawn["salt"] not in first
    assert _key(out, "--secret-file", str(secret)) == 0
    assert out.read_text("utf-8") == first
    assert "coded radio come first" in capsys.readouterr().out
    with pytest.raises(CodeError, match="there already"):  # no key is ever written over
        run("book", "key", "--new-secret", str(secret))
    assert tomllib.loads(secret.read_text()) == drawn


@pytest.mark.slow
def test_a_passphrase_is_stretched_with_the_salt_and_the_cost_of_its_key_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out, salt = tmp_path / "keyed.toml", tmp_path / "salt"
    assert run("book", "key", "--new-secret", str(salt), "--passphrase") == 0
    facts = tomllib.loads(salt.read_text())
    assert facts["scrypt"] == {"n": 131072, "r": 8, "p": 1}
    assert "secret" not in facts
    monkeypatch.setattr("sys.stdin.isatty", lambda: False, raising=False)
    with pytest.raises(CodeError, match="no passphrase"):
        _key(out, "--secret-file", str(salt))
    monkeypatch.setenv(book_key.SECRET, "a phrase that no one guesses")
    words = b"a phrase that no one guesses"
    stretched = hashlib.scrypt(
        words, salt=bytes.fromhex(facts["salt"]), n=131072, r=8, p=1, maxmem=2**28, dklen=32
    )
    assert secret_of(salt, words.decode) == (stretched, bytes.fromhex(facts["salt"]))
    assert _key(out, "--secret-file", str(salt)) == 0
    assert load_book(out).messages.keys() == load_book(STARTER).messages.keys()
    assert "guesses" not in out.read_text("utf-8")


@pytest.mark.parametrize("words", ["short", "a" * 40, "abababababababababab", ""])
def test_a_passphrase_that_is_soon_guessed_is_refused(tmp_path: Path, words: str) -> None:
    draw(tmp_path / "salt", passphrase=True)
    with pytest.raises(CodeError, match="soon guessed"):
        secret_of(tmp_path / "salt", lambda: words)


@pytest.mark.parametrize("mode", [0o644, 0o640, 0o602, 0o777])
def test_a_secret_that_others_can_read_is_refused(tmp_path: Path, mode: int) -> None:
    draw(tmp_path / "secret")
    (tmp_path / "secret").chmod(mode)
    with pytest.raises(CodeError, match=f"others: {mode:04o}"):
        secret_of(tmp_path / "secret", str)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "a phrase that no one guesses\n",
        'format = "niner key 1"\nsalt = "00"\nsecret = "00"\n',
        f'{HEAD}\nsecret = "{"0" * 62}"\n',
        f"{HEAD}\nscrypt = {{ n = 2, r = 8, p = 1 }}\n",
        f"{HEAD}\nscrypt = {{ n = 1{'0' * 90}, r = 8, p = 1 }}\n",
        f"{HEAD}\nscrypt = {{ n = 131072 }}\n",
        f'format = "niner key 1"\nsalt = 5\nsecret = "{"0" * 64}"\n',
        "\0" * 10_000,
    ],
)
def test_what_is_no_key_file_is_told(tmp_path: Path, text: str) -> None:
    path = tmp_path / "secret"
    path.touch(0o600)
    path.write_text(text)
    with pytest.raises(CodeError, match="no key file") as refused:
        secret_of(path, lambda: "a phrase that no one guesses")
    assert "--new-secret" in refused.value.hint


def test_the_key_of_an_event_is_derived_as_rfc_5869_has_it() -> None:
    """RFC 5869, appendix A.1 and A.3 (values from memory of the published test cases)."""
    info = bytes.fromhex("f0f1f2f3f4f5f6f7f8f9")
    assert hkdf(bytes([0x0B]) * 22, bytes(range(13)), info, 42).hex() == (
        "3cb25f25faacd57a90434f64d0362f2a2d2d0a90cf1a5a4c5db02d56ecc4c5bf34007208d5b887185865"
    )
    assert hkdf(bytes([0x0B]) * 22, b"", b"", 42).hex() == (
        "8da4e775a563c18f715f802a063c5a31b8a11f5c5ee1879ec3454e5f3c738d2d9d201395faa4b61a96c8"
    )
    keys = {event_key(b"s" * 32, event, salt) for event in ("1", "2") for salt in (b"a", b"b")}
    assert len(keys) == 4
