"""The lines of the lap sheet fit the width and lose nothing."""

from __future__ import annotations

from pathlib import Path

import pytest
from sheet.support import new

from codec.log.session import Session
from codec.screen.sheet import lap_lines

CALL = "wheel setting change: dial brake balance, way down, clicks 2"
ASKED = "one two one two eight sierra lemon quebec golf tango"


@pytest.mark.parametrize("width", [30, 40, 60, 80, 120])
def test_a_long_line_goes_on_below_and_loses_no_word(tmp_path: Path, width: int) -> None:
    session = Session(new(tmp_path), "7")
    for line in ("one two one two eight sierra alfa", "whiskey bravo sierra two", ASKED):
        session.enter(line)
    lines = [line.plain for line in lap_lines(session.book, session.standing, "7", width)]
    assert all(
        len(line) <= width for line in lines[3:]
    )  # the columns of numbers are as wide as they are
    told = " ".join(" ".join(lines).split())
    assert CALL in told
    assert ASKED in told
    question = session.entries[-1]
    assert question.kind == "question"
    assert f"asked: {question.heard}" in told
