"""The stretch of a recording that an entry was heard in.

Written as a name with seconds behind it, ``radio.wav#t=12.3,16.7``, as "Media Fragments URI 1.0"
(W3C), 4.2.1, has it. The name is that of the recording beside the sheet, or as it lies below the
sheet's folder; of what lies elsewhere the file's name alone, so that a sheet that is handed on
tells nothing of the disk it was on.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from grammar.errors import CodeError

if TYPE_CHECKING:
    from codec.sheet.entry import Entry
    from codec.sheet.state import Standing

_SECONDS = r"\d{1,7}(?:\.\d{1,3})?"
_WRITTEN = re.compile(rf"(?s)(.+)#t=({_SECONDS}),({_SECONDS})")


@dataclass(frozen=True, slots=True)
class SoundStretch:
    """From ``start`` to ``end``, in seconds, of the recording of a name."""

    recording: str
    start: float
    end: float

    def __str__(self) -> str:
        """Return it as it is written."""
        return f"{self.recording}#t={self.start:.2f},{self.end:.2f}"

    @classmethod
    def of(cls, text: str) -> SoundStretch | None:
        """Return the stretch that is written so, None where none is."""
        found = _WRITTEN.fullmatch(text)
        if found is None or float(found[2]) >= float(found[3]):
            return None
        return cls(found[1], float(found[2]), float(found[3]))

    def up_to(self, other: SoundStretch | None) -> SoundStretch:
        """Return the stretch from here to the end of another that goes on in the same recording."""
        if other is None or other.recording != self.recording:
            return self
        return SoundStretch(self.recording, self.start, max(self.end, other.end))

    def within(self, folder: Path) -> Path | None:
        """Return the recording's file below a folder, None where it is not there; a name that leads
        out of the folder is none.
        """
        whole = folder.resolve()
        for name in dict.fromkeys((self.recording, self.recording.rpartition("/")[2])):
            try:
                found = (whole / name).resolve()
                if found.is_relative_to(whole) and found.is_file():
                    return found
            except (OSError, ValueError):  # no name of a file
                continue
        return None


def recording_name(path: Path, folder: Path) -> str:
    """Return how a recording is called in a sheet that stands in a folder."""
    whole, place = path.resolve(), folder.resolve()
    return whole.relative_to(place).as_posix() if whole.is_relative_to(place) else path.name


def heard_in(standing: Standing, number: int) -> tuple[Entry, SoundStretch]:
    """Return an entry by its number and the stretch that it was heard in, or the report was that it
    puts right; raises CodeError (kind "sheet-entry") where there is none.
    """
    if not 0 < number <= len(standing.entries):
        raise CodeError(f"there is no entry {number} in the sheet", kind="sheet-entry")
    entry = standing.entries[number - 1]
    row = standing.row_of(entry)
    written = [entry.sound, *([row.entry.sound, row.first.sound] if row is not None else [])]
    found = next(filter(None, map(SoundStretch.of, written)), None)
    if found is None:
        raise CodeError(
            f"entry {number} was not heard in a recording",
            kind="sheet-entry",
            hint="those of niner sheet import SHEET RECORDING were, from this version on",
        )
    return entry, found


def recording_of(stretch: SoundStretch, folders: Sequence[Path], hint: str) -> Path:
    """Return the file of a recording, in the first folder that has it; raises CodeError (kind
    "recording") where none has.
    """
    found = next(filter(None, map(stretch.within, folders)), None)
    if found is None:
        raise CodeError(
            f"the recording {stretch.recording!r} is not here", kind="recording", hint=hint
        )
    return found
