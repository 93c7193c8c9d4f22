"""What a line that can't be read may have been is weighed once: while it is typed, or beside others
that are written.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from sheet.support import REPORT, new

from codec.log.expected import Expected, Weighed
from codec.log.session import Session

UNREAD = "five one six three juliett romeo papa tango"
LINES = [
    REPORT,
    UNREAD,
    "five one six",
    "three juliett romeo bravo tango",  # what the one before it lacked
    "say again all after juliett",
    "motor one oh five",
    "correction seven one six three juliett romeo bravo tango",
    "copy that, box this lap",
    "full course yellow",
    "battery 700",
    "lemon",
    "six one six three juliett lemon alfa tango",
    UNREAD,
]


@pytest.fixture
def session(tmp_path: Path) -> Session:
    """A session with car 7."""
    session = Session(new(tmp_path))
    session.enter("/car 7 Ana")
    return session


def test_just_the_lines_that_would_be_heard_are_told_to_be(
    session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked, weigh = list[str](), Expected.weigh

    def watched(expected: Expected, said: str) -> Weighed:
        asked.append(said)
        return weigh(expected, said)

    monkeypatch.setattr(Expected, "weigh", watched)
    told = []
    for text in LINES:
        told.append(session.to_be_heard(text) is not None)
        asked.clear()
        session.enter(text)
        assert (text in asked) == told[-1], text
    assert told.count(True) == 5


def test_what_was_weighed_while_it_was_typed_is_told_and_not_weighed_again(
    session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    session.enter(REPORT)
    expected = session.to_be_heard(UNREAD)
    assert expected is not None
    assert session.look(UNREAD).lines[0].startswith("'papa' does not fit")
    session.remember(UNREAD, expected, expected.weigh(UNREAD))
    monkeypatch.setattr(Expected, "weigh", lambda *_: pytest.fail("weighed once more"))
    assert session.to_be_heard(UNREAD) is None
    looked = session.look(UNREAD)
    assert looked.lines[0].endswith(" sure)")
    assert session.enter(UNREAD).lines[0] == looked.lines[0]


def test_what_was_weighed_before_something_else_was_reported_is_weighed_anew(
    session: Session,
) -> None:
    expected = session.to_be_heard(UNREAD)
    assert expected is not None
    session.remember(UNREAD, expected, expected.weigh(UNREAD))
    session.enter(REPORT)
    assert session.to_be_heard(UNREAD) is not None
