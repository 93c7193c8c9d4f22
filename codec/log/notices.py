"""What is wrong with what was just logged: read-backs that do not say what was called, and what the
race notices.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from codec.log.readbacks import ReadBacks

if TYPE_CHECKING:
    from codec.race import Race

_READ_BACK = "readback-differs"


@dataclass(frozen=True, slots=True)
class Notice:
    """Something to look at, in words: the entry it is about, the lap, and whether somebody must ask
    the driver now.
    """

    seq: int
    lap: int
    text: str
    ask: bool


def notices(found: ReadBacks, race: Race | None) -> list[Notice]:
    """Return what there is to look at, in order; of a read-back the race tells more, for it knows
    where the dials stand.
    """
    told = [] if race is None else race.notices
    by_race = {notice.seq for notice in told if notice.kind == _READ_BACK}
    wrong = [back for back in found.done if back.wrong and back.row.first.seq not in by_race]
    seen = [
        Notice(
            back.row.first.seq, back.row.entry.lap or 0, f"WRONG READ-BACK: {back.wrong}", ask=True
        )
        for back in wrong
    ]
    for notice in told:
        ask = notice.kind == _READ_BACK
        seen.append(
            Notice(
                notice.seq,
                notice.lap,
                f"WRONG READ-BACK: {notice.text}" if ask else notice.text,
                ask,
            )
        )
    return sorted(seen, key=lambda notice: notice.seq)
