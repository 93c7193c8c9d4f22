"""Sheets at random, as laws about what stands in them need them."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from decimal import Decimal

from hypothesis import strategies as st

from codec.sheet import Entry
from codec.sheet.entry import Kind
from codec.sheet.order import CLOCK
from codec.sheet.table import ENTRIES
from codec.sheet.window import Sought

KINDS: tuple[Kind, ...] = ("report", "call", "event", "note", "note", "note", "note", "car")
PARTS: tuple[Kind, ...] = ("question", "answer", "readback", "correction", "withdrawal")
_NOON = 1_795_000_000_000


def _logged(at: int) -> str:
    moment = datetime.datetime.fromtimestamp(at / 1000, datetime.UTC)
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")


@st.composite
def sheets(draw: st.DrawFn) -> list[Entry]:
    """Entries of two cars by two writers whose clocks go back, each about earlier ones, however
    long ago; some put clocks right.
    """
    entries: list[Entry] = []
    for seq in range(1, draw(st.integers(1, 40)) + 1):
        part = seq > 1 and draw(st.integers(0, 3)) == 0
        kind = draw(st.sampled_from(PARTS if part else KINDS))
        at = draw(st.none() | st.integers(0, 9).map(lambda n: _NOON + 7000 * n))
        message = draw(st.sampled_from(("neutralised", "marker", "lap", "")))
        entry = Entry(
            kind=kind, seq=seq, car=draw(st.sampled_from(("7", "61", ""))), at=at,
            about=draw(st.integers(1, seq - 1)) if part else None, message=message,
            heard=f"said {seq}", writer=draw(st.sampled_from("ab")),
            desk=draw(st.sampled_from(("", "pit"))),
            logged=_logged(_NOON + 3000 * seq if at is None else at), lap=draw(st.integers(1, 3)),
            uid=f"u{seq}",
        )  # fmt: skip
        if seq > 1 and draw(st.integers(0, 9)) == 0:
            about = draw(st.integers(1, seq - 1))
            entry = entry.replace(kind="note", message=CLOCK, amount=Decimal(60), about=about)
        entries.append(entry)
    return entries


def older(entries: Sequence[Entry]) -> Callable[..., list[Entry]]:
    """Return what reads some of these entries, as a journal does."""

    def wanted(entry: Entry, sought: Sought) -> bool:
        row = ENTRIES.row(entry)
        return sought.says(entry.seq, *(row[name] for name in sought.columns))

    def read(first: int, last: int, sought: Sought | None = None) -> list[Entry]:
        part = entries[first - 1 : last]
        return [one for one in part if sought is None or wanted(one, sought)]

    return read
