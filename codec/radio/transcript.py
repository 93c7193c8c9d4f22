"""Transcripts as utterances: plain text, JSON Lines, WebVTT and SubRip, one at a time, however long
the file.

Text           one utterance a line, if need be after a time and a speaker:
               ``[00:12:31.5] Ana: seven one six …``
JSON Lines     one object a line: ``text`` (or ``heard``, ``transcript``); ``speaker`` (or
               ``from``, ``channel``); ``start`` (or ``at``, ``time``) in seconds or ISO 8601;
               ``end``; ``car``; ``lap``; ``confidence``; ``words``: [{``word``, ``confidence``,
               ``alternatives``: [{``word``, ``confidence``}]}];
               ``alternatives``: [{``text``, ``confidence``}]
WebVTT         W3C; voice spans ``<v Ana>`` name the speaker
SubRip         no formal standard; a speaker may stand before a colon
"""

from __future__ import annotations

import datetime
import json
import math
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from codec.sheet.entry import clean

Form = Literal["text", "jsonl", "vtt", "srt"]
FORMS: tuple[Form, ...] = ("text", "jsonl", "vtt", "srt")
MOST_LINE = 100_000  # characters of one line or cue that are looked at
_TIME = re.compile(r"\s*[\[(]?(?:(\d{1,3}):)?(\d{1,3}):(\d{2}(?:[.,]\d{1,6})?)[\])]?\s+(?:-\s+)?")
_NAME = re.compile(r"\s*([^\W_][\w.' #/-]{0,39}?)\s*:\s+(?=\S)")


@dataclass(frozen=True, slots=True)
class HeardWord:
    """A word a recogniser wrote, how sure it is (0 … 1), and what else it may have been."""

    text: str
    confidence: float | None = None
    alternatives: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Utterance:
    """What one speaker said in one go: ``number`` of its line or cue, ``at`` and ``until`` in
    milliseconds.
    """

    number: int
    text: str
    speaker: str = ""
    at: int | None = None
    until: int | None = None
    car: str = ""
    lap: int | None = None
    confidence: float | None = None
    words: tuple[HeardWord, ...] = ()
    alternatives: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A line or utterance nothing was taken from, and why."""

    number: int
    text: str
    reason: str


def form_of(name: str, head: str) -> Form:
    """Return the form of a transcript from its file's name, or from how it begins."""
    start = head.lstrip("\ufeff \t\r\n")
    if start.startswith("WEBVTT"):
        return "vtt"
    suffix = name.rpartition(".")[2].casefold()
    if suffix in ("jsonl", "ndjson", "vtt", "srt"):
        return {"jsonl": "jsonl", "ndjson": "jsonl", "vtt": "vtt", "srt": "srt"}[suffix]  # type: ignore[return-value]
    if start.startswith("{"):
        return "jsonl"
    return "srt" if re.match(r"\d+\s*\n\d+:\d+:\d+[,.]\d+\s*-->", start) else "text"


def utterances(
    lines: Iterable[str], form: Form, *, is_code: Callable[[str], bool]
) -> Iterator[Utterance | LeftOut]:
    """Yield the utterances of a transcript, and what in it can't be read; ``is_code`` tells words
    of the book from a speaker's name.
    """
    if form == "text":
        return _text(lines, is_code)
    if form == "jsonl":
        return _json(lines)
    from codec.radio.cues import cues

    return cues(lines, form, is_code)


def _text(lines: Iterable[str], is_code: Callable[[str], bool]) -> Iterator[Utterance | LeftOut]:
    for number, raw in enumerate(lines, start=1):
        line = raw.rstrip("\r\n")
        if not line or line.isspace():
            continue
        at = None
        found = _TIME.match(line)
        if found:
            try:
                at = clock(*found.groups())
            except ValueError as error:
                yield LeftOut(number, line[:200], str(error))
                continue
            line = line[found.end() :]
        speaker, text = named(line, is_code)
        yield Utterance(number, clean(text), speaker, at)


def clock(hours: str | None, minutes: str, seconds: str) -> int:
    """Return a time written with colons in milliseconds; raises ValueError at 60 seconds or more,
    and at 60 minutes behind hours.
    """
    second = float(seconds.replace(",", "."))
    if second >= 60 or (hours is not None and int(minutes) >= 60):
        written = ":".join(filter(None, (hours, minutes, seconds)))
        raise ValueError(
            f"{written} is no time: hours:minutes:seconds with less than 60 minutes and seconds are"
            " expected"
        )
    return round((int(hours or 0) * 3600 + int(minutes) * 60 + second) * 1000)


def named(line: str, is_code: Callable[[str], bool]) -> tuple[str, str]:
    """Return the speaker before a colon ("" if none) and the rest; words of the code before a colon
    are no name, a single word is.
    """
    found = _NAME.match(line) if ":" in line[:48] else None
    if found is None:
        return "", line
    name = found.group(1)
    if " " in name and is_code(name):
        return "", line
    return clean(name), line[found.end() :]


# JSON Lines


def _json(lines: Iterable[str]) -> Iterator[Utterance | LeftOut]:
    for number, raw in enumerate(lines, start=1):
        line = raw.strip()
        if not line:
            continue
        try:
            facts = json.loads(line)
        except (ValueError, RecursionError) as error:
            yield LeftOut(
                number, line[:200], f"not JSON: {getattr(error, 'msg', 'nested too deeply')}"
            )
            continue
        if not isinstance(facts, dict):
            yield LeftOut(number, line[:200], "a JSON object is expected")
            continue
        try:
            yield _utterance(number, facts)
        except (TypeError, ValueError, OverflowError) as error:
            yield LeftOut(number, line[:200], str(error))


def _utterance(number: int, facts: Mapping[str, Any]) -> Utterance:
    get = facts.get
    others = _others(facts, "text", "transcript")
    text = _first(facts, "text", "heard", "transcript")
    confidence = get("confidence")
    if text is None and others:
        (text, confidence), others = others[0], others[1:]
    if not isinstance(text, str):
        raise TypeError("no text: 'text', 'heard' or 'transcript' is expected")
    lap = get("lap")
    if lap is not None and (isinstance(lap, bool) or not isinstance(lap, int)):
        raise TypeError("'lap' must be a whole number")
    words = tuple(_word(word) for word in _listed(facts, "words"))
    speaker, car = _first(facts, "speaker", "from", "channel"), get("car")
    return Utterance(
        number,
        clean(text),
        "" if speaker is None else clean(str(speaker)),
        milliseconds(_first(facts, "start", "at", "time")),
        milliseconds(get("end")),
        "" if car is None else clean(str(car)),
        lap,
        None if confidence is None else share(confidence),
        words,
        others,
    )


def _first(facts: Mapping[str, Any], *names: str) -> Any:
    for name in names:
        value = facts.get(name)
        if value is not None:
            return value
    return None


def _word(facts: Any) -> HeardWord:
    text = _first(facts, "word", "text") if isinstance(facts, dict) else None
    if not isinstance(text, str):
        raise TypeError("each of 'words' needs a 'word'")
    sure = _first(facts, "confidence", "probability")
    others = _others(facts, "word", "text")
    return HeardWord(clean(text.strip()), None if sure is None else share(sure), others)


def _listed(facts: Mapping[str, Any], name: str) -> list[Any]:
    """Return a list that a line may hold; raises TypeError where something else stands there."""
    found = facts.get(name)
    if found is not None and not isinstance(found, list):
        raise TypeError(f"{name!r} must be a list, not {str(found)[:20]!r}")
    return found or []


def _others(facts: Mapping[str, Any], *names: str) -> tuple[tuple[str, float], ...]:
    found = []
    for other in _listed(facts, "alternatives"):
        text = _first(other, *names) if isinstance(other, dict) else None
        if not isinstance(text, str):
            raise TypeError(f"each of 'alternatives' needs a {names[0]!r}")
        sure = _first(other, "confidence", "probability")
        found.append((clean(text.strip()), 0.0 if sure is None else share(sure)))
    return tuple(found)


def share(value: Any) -> float:
    """Return a confidence 0 … 1; raises ValueError."""
    number = (
        float(value) if isinstance(value, int | float) and not isinstance(value, bool) else math.nan
    )
    if not 0 <= number <= 1:
        raise ValueError(f"a confidence of 0 … 1 is expected, not {str(value)[:20]}")
    return number


def milliseconds(value: Any) -> int | None:
    """Return a time in milliseconds: from seconds, 0 or more, or since 1970 from ISO 8601; raises
    ValueError.
    """
    if value is None:
        return None
    seconds = value
    if isinstance(value, str):
        try:
            seconds = float(value)
        except ValueError:
            seconds = _moment(value)
    if (
        isinstance(seconds, bool)
        or not isinstance(seconds, int | float)
        or not 0 <= seconds <= 1e13
    ):
        raise ValueError(
            f"{str(value)[:30]!r} is no time: seconds, 0 or more, or a time as 2026-05-01T14:03:00Z"
            " (ISO 8601) are expected"
        )
    return round(seconds * 1000)


def _moment(text: str) -> float:
    """Return the seconds since 1970 of a time in ISO 8601 (UTC where it names no zone), NaN where
    it is none.
    """
    try:
        moment = datetime.datetime.fromisoformat(text)
        return (moment if moment.tzinfo else moment.replace(tzinfo=datetime.UTC)).timestamp()
    except (ValueError, OverflowError):
        return math.nan
