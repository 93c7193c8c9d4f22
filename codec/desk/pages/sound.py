"""The stretch of a recording that an entry was heard in, for those who write.

Only recordings in the sheet's own folder, or in the one the desk was given, are ever opened, and
what is answered is that stretch alone, made anew: neither a path nor another file gets out.
"""

from __future__ import annotations

import asyncio
from pathlib import Path

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from codec.desk.access import Role
from codec.desk.parts import Desk, DeskPage, number
from codec.sheet.stretch import SoundStretch, heard_in, recording_of
from codec.store.place import Place
from codec.voice.recordings import cut, is_recording
from grammar.errors import CodeError

_AT_ONCE = 2  # stretches that are cut at the same time


def part(desk: Desk) -> DeskPage:
    """Return where what an entry was heard in is got."""
    turns = asyncio.Semaphore(_AT_ONCE)

    async def sound(request: Request) -> Response:
        sheet, asked = desk.sheet(request), number(request, "entry", 0)
        _, stretch = await sheet.ask(lambda session: heard_in(session.standing, asked))
        folders = folders_of(desk, sheet.path)
        async with turns:
            wav = await asyncio.to_thread(_cut, stretch, folders)
        return Response(wav, media_type="audio/wav")

    return DeskPage([Route("/sound/{sheet}", sound)], needed={"/sound/": Role.WRITE})


def folders_of(desk: Desk, place: Place) -> list[Path]:
    """Return where recordings of a sheet are looked for."""
    beside = [place.parent] if isinstance(place, Path) else []
    return beside if desk.recordings is None else [desk.recordings]


def _cut(stretch: SoundStretch, folders: list[Path]) -> bytes:
    hint = "put it beside the sheet, or begin the desk with --recordings FOLDER"
    if not is_recording(stretch.recording):
        raise CodeError(f"{stretch.recording!r} is no recording", kind="recording")
    found = recording_of(stretch, folders, hint)
    return cut(found, repr(stretch.recording), stretch.start, stretch.end)[0]
