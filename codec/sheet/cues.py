"""Cues with times, WebVTT and SubRip, as utterances: a block between blank lines at a time."""

from __future__ import annotations

import datetime
import re
from collections.abc import Callable, Iterable, Iterator

from codec.sheet.entry import clean
from codec.sheet.transcript import Form, LeftOut, Utterance, named

_VOICE = re.compile(r"<v(?:\.[^ \t>]*)?[ \t]+([^>]*)>")
_TAG = re.compile(r"</?[^>]{0,200}>")
_ARROW = "-->"


def cues(lines: Iterable[str], form: Form, is_code: Callable[[str], bool]) -> Iterator[Utterance | LeftOut]:
    """Yield the utterances of a file of cues, and the cues that can't be read."""
    read = _webvtt if form == "vtt" else _subrip
    for number, block in _blocks(lines):
        if _ARROW not in block:
            continue  # a header, a note, a style
        try:
            at, until, text = read(block)
        except ValueError as error:
            yield LeftOut(number, block[:200], f"not a cue: {error}")
            continue
        for speaker, said in _voices(text, is_code):
            yield Utterance(number, clean(said), speaker, at, until)


def _blocks(lines: Iterable[str]) -> Iterator[tuple[int, str]]:
    """Yield the blocks between blank lines with the number of their first line."""
    block: list[str] = []
    start = 1
    for number, raw in enumerate(lines, start=1):
        line = raw.rstrip("\r\n")
        if line.strip("\ufeff \t"):
            if not block:
                start = number
            block.append(line)
        elif block:
            yield start, "\n".join(block)
            block = []
    if block:
        yield start, "\n".join(block)


def _webvtt(block: str) -> tuple[int, int, str]:
    import webvtt
    from webvtt.errors import MalformedCaptionError, MalformedFileError

    try:
        cues = webvtt.from_string("WEBVTT\n\n" + block).captions
    except (MalformedFileError, MalformedCaptionError) as error:
        raise ValueError(error) from None
    if not cues:
        raise ValueError("no times hh:mm:ss.mmm --> hh:mm:ss.mmm")
    return _clock(cues[0].start), _clock(cues[0].end), cues[0].raw_text


def _clock(text: str) -> int:
    *hours, minutes, seconds = text.split(":")
    return round((int(hours[0] if hours else 0) * 3600 + int(minutes) * 60 + float(seconds)) * 1000)


def _subrip(block: str) -> tuple[int, int, str]:
    import srt  # type: ignore[import-untyped]

    try:
        cue = next(iter(srt.parse(block + "\n\n")))
    except (srt.SRTParseError, StopIteration, ValueError):
        raise ValueError("no times hh:mm:ss,mmm --> hh:mm:ss,mmm") from None
    second = datetime.timedelta(milliseconds=1)
    return cue.start // second, cue.end // second, cue.content


def _voices(text: str, is_code: Callable[[str], bool]) -> Iterator[tuple[str, str]]:
    """Yield (speaker, words) of a cue: by its voice spans, or by names before colons, a line each."""
    import html

    pieces = _VOICE.split(text)
    if len(pieces) > 1:
        for speaker, said in zip(["", *pieces[1::2]], pieces[::2], strict=True):
            plain = html.unescape(_TAG.sub("", said)).replace("\n", " ").strip()
            if plain:
                yield clean(html.unescape(speaker).strip()[:40]), plain
        return
    speaker, said = "", ""
    for line in html.unescape(_TAG.sub("", text)).split("\n"):
        name, rest = named(line.strip().removeprefix("- "), is_code)
        if name and said:
            yield speaker, said
            said = ""
        speaker, said = name or speaker, f"{said} {rest}".strip()
    if said:
        yield speaker, said
