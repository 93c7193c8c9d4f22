"""Cues with times, WebVTT and SubRip, as utterances: a block at a time.

A block ends at a blank line, and at the line of times of the next cue (WebVTT, 6.1: "collect a
WebVTT block"); a number alone on the line before it is the next cue's, where the cues are numbered.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator

from codec.radio.transcript import Form, LeftOut, Utterance, clock, named
from codec.sheet.entry import clean

_VOICE = re.compile(r"<v(?:\.[^ \t>]*)?[ \t]+([^>]*)>")
_TAG = re.compile(r"</?[^>]{0,200}>")
_ARROW = "-->"
_NO_CUES = ("WEBVTT", "NOTE", "STYLE", "REGION")


def cues(
    lines: Iterable[str], form: Form, is_code: Callable[[str], bool]
) -> Iterator[Utterance | LeftOut]:
    """Yield the utterances of a file of cues, and the cues that can't be read."""
    read = _webvtt if form == "vtt" else _subrip
    for number, block in _blocks(lines):
        if _ARROW not in block:
            if not (form == "vtt" and block.lstrip("\ufeff").startswith(_NO_CUES)):
                yield LeftOut(number, block[:200], "not a cue: there is no line of times in it")
            continue
        try:
            at, until, text = read(block)
        except ValueError as error:
            yield LeftOut(number, block[:200], f"not a cue: {error}")
            continue
        for speaker, said in _voices(text, is_code):
            yield Utterance(number, clean(said), speaker, at, until)


def _blocks(lines: Iterable[str]) -> Iterator[tuple[int, str]]:
    """Yield the blocks with the number of their first line."""
    block: list[str] = []
    start, numbered = 1, False
    for number, raw in enumerate(lines, start=1):
        line = raw.rstrip("\r\n")
        timed = _ARROW in line
        if timed and any(_ARROW in other or other.startswith("WEBVTT") for other in block):
            kept = (
                [block.pop()]
                if numbered and len(block) > 1 and block[-1].strip().isdecimal()
                else []
            )
            yield start, "\n".join(block)
            block, start = kept, number - len(kept)
        if timed:
            numbered = bool(block) and block[-1].strip().isdecimal()
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
    return clock(hours[0] if hours else None, minutes, seconds)


def _subrip(block: str) -> tuple[int, int, str]:
    import srt  # type: ignore[import-untyped]

    try:
        cue = next(iter(srt.parse(block + "\n\n")))
    except (srt.SRTParseError, StopIteration, ValueError):
        raise ValueError("no times hh:mm:ss,mmm --> hh:mm:ss,mmm") from None
    at, until = (
        _clock(part.split()[0])
        for part in next(line for line in block.split("\n") if _ARROW in line).split(_ARROW, 1)
    )
    return at, until, cue.content


def _voices(text: str, is_code: Callable[[str], bool]) -> Iterator[tuple[str, str]]:
    """Yield (speaker, words) of a cue: by its voice spans, or by names before colons, a line
    each.
    """
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
