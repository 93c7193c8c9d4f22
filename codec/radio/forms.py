"""Transcripts in: each form of them is one class, which tells its files from others and yields what
was said, an utterance at a time, however long the file.

A new form is a class here, or in a file of its own, and its name in ``FORMS``.
"""

from __future__ import annotations

import datetime
import itertools
import json
import math
import re
from abc import ABC, abstractmethod
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, ClassVar, NamedTuple

from codec.files import clean
from codec.sheet.stretch import SoundStretch
from grammar.errors import CodeError
from grammar.exact import whole

HEAD = 4096  # bytes of a transcript that tell its form
MOST_LINE = 100_000  # characters of one line or cue that are looked at
MOST_DOCUMENT = 64_000_000  # characters of a recogniser's document
_NEW_UTTERANCE = 1.5  # seconds of pause between two words
_MOST_SHOWN = 200  # characters of one that can't be read
_TIME = re.compile(r"\s*[\[(]?(?:(\d{1,3}):)?(\d{1,3}):(\d{2}(?:[.,]\d{1,6})?)[\])]?\s+(?:-\s+)?")
_NAME = re.compile(r"\s*([^\W_][\w.' #/-]{0,39}?)\s*:\s+(?=\S)")
_VOICE = re.compile(r"<v(?:\.[^ \t>]*)?[ \t]+([^>]*)>")
_TAG = re.compile(r"</?[^>]{0,200}>")
_ARROW = "-->"
_MOST_SECONDS = 1e13
_MOST_HOURS = 9999  # of a recording
_MOST_NAME = 255  # characters of a recording's name
_MOST_TIME = 30  # characters shown of what is no time
IsCode = Callable[[str], bool]  # tells words of the book from a speaker's name


@dataclass(frozen=True, slots=True)
class RecognisedWord:
    """A word a recogniser wrote, how sure it is (0 … 1), and what else it may have been."""

    text: str
    confidence: float | None = None
    alternatives: tuple[tuple[str, float], ...] = ()


class Utterance(NamedTuple):
    """What one speaker said in one go: ``number`` of its line or cue, ``at`` and ``until`` in
    milliseconds.

    ``slots``, ``gaps`` and ``scores`` are a recogniser's doubts, as ``codec.hear.Slots`` has them:
    {word: probability} with "" for no word, and log P(sound | string) of some strings of symbols,
    or ``score`` of any. ``sound`` is the stretch of a recording that it was heard in, ``earlier``
    the numbers of those that it goes on with.
    """

    number: int
    text: str
    speaker: str = ""
    at: int | None = None
    until: int | None = None
    car: str = ""
    lap: int | None = None
    confidence: float | None = None
    words: tuple[RecognisedWord, ...] = ()
    alternatives: tuple[tuple[str, float], ...] = ()
    slots: tuple[Mapping[str, float], ...] = ()
    gaps: tuple[Mapping[str, float], ...] = ()
    scores: Mapping[str, float] = MappingProxyType({})
    score: Callable[[Sequence[str]], Sequence[float | None]] | None = None
    sound: SoundStretch | None = None
    earlier: tuple[int, ...] = ()

    @property
    def open_to_doubt(self) -> bool:
        """Whether the recogniser had another text in mind as well."""
        return bool(self.alternatives) or any(word.alternatives for word in self.words)

    def taken_for(self, text: str) -> Utterance:
        """Return the utterance with another text, of which the recogniser says no more."""
        facts = self.number, text, self.speaker, self.at, self.until, self.car, self.lap
        return Utterance(*facts, sound=self.sound, earlier=self.earlier)

    def put_behind(self, before: str) -> Utterance:
        """Return the utterance as what goes on with a text that was said before, as sure as it was
        recognised itself.
        """
        return self._replace(text=f"{before} {self.text}", alternatives=())

    def gone_on_with(self, other: Utterance) -> Utterance:
        """Return this utterance and the one that it goes on in as one, as sure as both are."""
        text, speaker = f"{self.text} {other.text}", other.speaker or self.speaker
        car, lap = other.car or self.car, self.lap if other.lap is None else other.lap
        sound = self.sound and self.sound.up_to(other.sound)
        facts = other.number, text, speaker, self.at, other.until, car, lap
        earlier = (*self.earlier, self.number, *other.earlier)
        known = [one for one in (self.confidence, other.confidence) if one is not None]
        sure = math.prod(known) if known else None
        return Utterance(*facts, sure, self.words + other.words, sound=sound, earlier=earlier)


class LeftOut(NamedTuple):
    """A line or utterance nothing was taken from, and why."""

    number: int
    text: str
    reason: str


class Form(ABC):
    """A form of transcripts: how its files are told from others, and what they hold.

    ``suffixes`` are those of its files' names, the usual one first; ``signature`` is what its files
    and no others begin with; ``opening``, a regular expression, is how they begin where neither
    tells.
    """

    name: ClassVar[str]
    by_line: ClassVar[bool] = True  # whether its files are read a line at a time
    suffixes: ClassVar[tuple[str, ...]] = ()
    signature: ClassVar[str | None] = None
    opening: ClassVar[str | None] = None

    @abstractmethod
    def utterances(self, lines: Iterable[str], is_code: IsCode, /) -> Iterator[Utterance | LeftOut]:
        """Yield what was said, and what can't be read."""


class PlainText(Form):
    """One utterance a line, if need be after a time and a speaker: ``[00:12:31] Ana: seven …``."""

    name = "text"

    def utterances(self, lines: Iterable[str], is_code: IsCode, /) -> Iterator[Utterance | LeftOut]:
        """Yield what was said, and lines with a time that is none."""
        for number, raw in enumerate(lines, start=1):
            line = raw.rstrip("\r\n")
            if not line or line.isspace():
                continue
            at = None
            time = _TIME.match(line)
            if time:
                try:
                    at = _clock(*time.groups())
                except ValueError as error:
                    yield LeftOut(number, line[:_MOST_SHOWN], str(error))
                    continue
                line = line[time.end() :]
            speaker, text = _named(line, is_code)
            yield Utterance(number, clean(text), speaker, at)


class JsonLines(Form):
    """One object a line: ``text`` (or ``heard``, ``transcript``); ``speaker`` (or ``from``,
    ``channel``); ``start`` (or ``at``, ``time``) in seconds or ISO 8601; ``end``; ``car``; ``lap``;
    ``confidence``; ``words``: [{``word``, ``confidence``, ``alternatives``: [{``word``,
    ``confidence``}]}]; ``alternatives``: [{``text``, ``confidence``}]; ``recording``, the name of
    the one that ``start`` and ``end`` are seconds of.

    A recogniser's doubts: ``slots``: [{word: probability}], a word "" for no word; ``gaps``:
    [{word: probability}], one more than slots, of words that may have been missed; ``scores``:
    {string of symbols: log P(sound | string)}, which may leave strings out.
    """

    name, suffixes, opening = "jsonl", ("jsonl", "ndjson"), r"\{"

    def utterances(self, lines: Iterable[str], _: IsCode, /) -> Iterator[Utterance | LeftOut]:
        """Yield what was said, and lines that are no such object."""
        for number, raw in enumerate(lines, start=1):
            line = raw.strip()
            if not line:
                continue
            try:
                yield _utterance(number, _object(line))
            except (TypeError, ValueError, OverflowError) as error:
                yield LeftOut(number, line[:_MOST_SHOWN], str(error))


_PLAIN = frozenset(("text", "speaker", "start", "end"))


def _object(line: str) -> Mapping[str, Any]:
    """Return the JSON object of a line; raises ValueError or TypeError."""
    try:
        facts = json.loads(line)
    except (ValueError, RecursionError) as error:
        raise ValueError(f"not JSON: {getattr(error, 'msg', 'nested too deeply')}") from None
    if not isinstance(facts, dict):
        raise TypeError("a JSON object is expected")
    return facts


def _utterance(number: int, facts: Mapping[str, Any]) -> Utterance:
    get = facts.get
    if facts.keys() <= _PLAIN and get("text").__class__ is str:  # as most lines are
        speaker = get("speaker")
        return Utterance(
            number,
            clean(facts["text"]),
            "" if speaker is None else clean(str(speaker)),
            milliseconds(get("start")),
            milliseconds(get("end")),
        )
    others = _others(facts, "text", "transcript")
    text = _first(facts, "text", "heard", "transcript")
    confidence = get("confidence")
    if text is None and others:
        (text, confidence), others = others[0], others[1:]
    if not isinstance(text, str):
        raise TypeError("no text: 'text', 'heard' or 'transcript' is expected")
    lap = get("lap")
    from codec.sheet.state import MOST_LAP  # the sheet is not loaded to name the forms

    if lap is not None and (
        isinstance(lap, bool) or not isinstance(lap, int) or not 0 <= lap <= MOST_LAP
    ):
        raise TypeError(f"'lap' must be a whole number from 0 to {MOST_LAP}")
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
        None if confidence is None else _confidence(confidence),
        words,
        others,
        _doubts(facts, "slots"),
        _doubts(facts, "gaps"),
        _numbers(facts, "scores"),
        sound=_sound(facts),
    )


def _sound(facts: Mapping[str, Any]) -> SoundStretch | None:
    """Return the stretch of a recording that a line names, None where it names none."""
    name, start, end = (facts.get(one) for one in ("recording", "start", "end"))
    if not (isinstance(name, str) and isinstance(start, int | float)) or not isinstance(
        end, int | float
    ):
        return None
    return SoundStretch.of(str(SoundStretch(clean(name)[:_MOST_NAME], start, end)))


def _doubts(facts: Mapping[str, Any], name: str) -> tuple[Mapping[str, float], ...]:
    """Return the probabilities of words at the places of a line."""
    found = []
    for place in _listed(facts, name):
        if not isinstance(place, dict):
            raise TypeError(f"each of {name!r} is expected to be {{word: probability}}")
        found.append({clean(word): _confidence(share) for word, share in place.items()})
        if math.fsum(found[-1].values()) > 1 + 1e-6:
            raise ValueError(f"the words of each of {name!r} are more than 1 together")
    if name == "gaps" and found and len(found) != len(_listed(facts, "slots")) + 1:
        raise ValueError("one more of 'gaps' than of 'slots' is expected")
    return tuple(found)


def _numbers(facts: Mapping[str, Any], name: str) -> Mapping[str, float]:
    found = facts.get(name) or {}
    if not isinstance(found, dict) or not all(
        isinstance(number, int | float) and math.isfinite(number) for number in found.values()
    ):
        raise TypeError(f"{name!r} must be {{string: number}}")
    return {str(string): float(number) for string, number in found.items()}


def _first(facts: Mapping[str, Any], *names: str) -> Any:
    for name in names:
        value = facts.get(name)
        if value is not None:
            return value
    return None


def _word(facts: Any) -> RecognisedWord:
    text = _first(facts, "word", "text") if isinstance(facts, dict) else None
    if not isinstance(text, str):
        raise TypeError("each of 'words' needs a 'word'")
    sure = _first(facts, "confidence", "probability")
    others = _others(facts, "word", "text")
    return RecognisedWord(clean(text.strip()), None if sure is None else _confidence(sure), others)


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
        found.append((clean(text.strip()), 0.0 if sure is None else _confidence(sure)))
    return tuple(found)


def _confidence(value: Any) -> float:
    """Return a confidence 0 … 1; raises ValueError."""
    number = (
        float(value) if isinstance(value, int | float) and not isinstance(value, bool) else math.nan
    )
    if not 0 <= number <= 1:
        raise ValueError(f"a confidence of 0 … 1 is expected, not {str(value)[:20]}")
    return number


class RecogniserJson(Form):
    """What speech recognisers write, one JSON document or several. Whisper: ``segments`` with
    ``text``, ``start``, ``end``, ``speaker``, ``words`` (``word``, ``start``, ``end``,
    ``probability`` or ``score``), or ``transcription`` with ``offsets``. Vosk: ``text``, ``result``
    (``word``, ``start``, ``end``, ``conf``), or ``alternatives``. PocketSphinx: ``t``, ``b``,
    ``d``, ``p``, ``w``.

    Where words have times, a long pause between them, or another speaker, begins a new utterance.
    """

    name, suffixes, by_line = "json", ("json",), False

    def utterances(self, lines: Iterable[str], _: IsCode, /) -> Iterator[Utterance | LeftOut]:
        """Yield what was said, and what is nothing that a recogniser writes."""
        number = 0
        for document in _documents(lines):
            found = [document] if isinstance(document, str) else _recognised(document)
            for facts in found:
                number += 1
                if isinstance(facts, str):
                    yield LeftOut(number, facts[:_MOST_SHOWN], "not JSON that a recogniser writes")
                    continue
                try:
                    yield _utterance(number, facts)
                except (TypeError, ValueError, OverflowError) as error:
                    yield LeftOut(number, str(facts)[:_MOST_SHOWN], str(error))


def _documents(pieces: Iterable[str]) -> Iterator[Any]:
    """Yield the JSON documents of a text, and as a text what is none."""
    text = ""
    for piece in pieces:
        text += piece
        if len(text) > MOST_DOCUMENT:
            yield text[:_MOST_SHOWN]
            return
    decoder, place = json.JSONDecoder(), 0
    while True:
        place += len(text[place:]) - len(text[place:].lstrip("\ufeff \t\r\n,"))
        if place >= len(text):
            return
        try:
            document, place = decoder.raw_decode(text, place)
        except (ValueError, RecursionError):
            yield text[place:]
            return
        yield document


def _recognised(document: Any) -> Iterator[Mapping[str, Any] | str]:
    """Yield the utterances of a recogniser's document as JSON Lines have them, and as a text what
    is none.
    """
    if isinstance(document, list):
        for one in document:
            yield from _recognised(one)
    elif not isinstance(document, dict):
        yield str(document)
    else:
        yield from _of_document(document)


def _of_document(document: Mapping[str, Any]) -> Iterator[Mapping[str, Any] | str]:
    listed = {name: document[name] for name in document if isinstance(document[name], list)}
    if "segments" in listed:
        for one in listed["segments"]:
            yield from _segment(one)
    elif "transcription" in listed:
        yield from map(_by_offsets, listed["transcription"])
    elif "alternatives" in listed and "text" not in document:
        yield _n_best(listed["alternatives"])
    elif "text" in document or "t" in document:
        words = document.get("result", document.get("words"))
        facts = {**document, "words": words} if "text" in document else _pocket(document)
        if facts["text"] != "":  # nothing was said
            yield from _segment(facts)
    elif "partial" not in document:  # of which the whole follows
        yield json.dumps(document)


def _segment(facts: Any) -> Iterator[Mapping[str, Any] | str]:
    """Yield the utterances of a stretch of words with their times."""
    if not isinstance(facts, dict):
        yield str(facts)
        return
    words = facts.get("words")
    timed = (
        isinstance(words, list)
        and bool(words)
        and all(isinstance(word, dict) for word in words)
        and any("start" in word for word in words)
    )
    if not timed:
        yield {name: facts.get(name) for name in ("text", "start", "end", "speaker", "confidence")}
        return
    run: list[Mapping[str, Any]] = []
    speaker = facts.get("speaker")
    for word in words or ():
        last = run[-1] if run else None
        who = word.get("speaker", speaker)
        if last is not None and (
            who != last.get("speaker", speaker) or _pause(last, word) > _NEW_UTTERANCE
        ):
            yield _of_words(run, speaker, facts)
            run = []
        run.append(word)
    yield _of_words(run, speaker, facts)


def _pause(last: Mapping[str, Any], word: Mapping[str, Any]) -> float:
    end, start = last.get("end"), word.get("start")
    known = isinstance(end, int | float) and isinstance(start, int | float)
    return float(start) - float(end) if known and start is not None and end is not None else 0.0


def _of_words(
    words: list[Mapping[str, Any]], speaker: Any, facts: Mapping[str, Any]
) -> Mapping[str, Any]:
    first, last = words[0], words[-1]
    listed = []
    for word in words:
        sure = _first(word, "probability", "score", "conf", "confidence")
        listed.append({"word": word.get("word", word.get("text")), "confidence": sure})
    text = " ".join(str(word["word"]).strip() for word in listed)
    return {
        "text": text,
        "start": first.get("start", facts.get("start")),
        "end": last.get("end", facts.get("end")),
        "speaker": first.get("speaker", speaker),
        "words": listed,
    }


def _by_offsets(facts: Any) -> Mapping[str, Any] | str:
    offsets = facts.get("offsets") if isinstance(facts, dict) else None
    if not isinstance(offsets, dict):
        return str(facts)
    start, end = (offsets.get(name) for name in ("from", "to"))
    return {
        "text": facts.get("text"),
        "start": start / 1000 if isinstance(start, int | float) else None,
        "end": end / 1000 if isinstance(end, int | float) else None,
        "speaker": facts.get("speaker"),
    }


def _n_best(others: list[Any]) -> Mapping[str, Any] | str:
    """Return an utterance of several texts; scores that are no probabilities are taken for their
    logarithms.
    """
    known = [one for one in others if isinstance(one, dict) and isinstance(one.get("text"), str)]
    if not known:
        return str(others)
    scores = [one.get("confidence") for one in known]
    numbers = [float(score) if isinstance(score, int | float) else 0.0 for score in scores]
    if any(not 0 <= number <= 1 for number in numbers):
        weights = [math.exp(max(-60.0, number - max(numbers))) for number in numbers]
        numbers = [weight / sum(weights) for weight in weights]
    words = [one.get("result") for one in known]
    first = words[0][0] if isinstance(words[0], list) and words[0] else {}
    last = words[0][-1] if isinstance(words[0], list) and words[0] else {}
    return {
        "start": first.get("start") if isinstance(first, dict) else None,
        "end": last.get("end") if isinstance(last, dict) else None,
        "alternatives": [
            {"text": one["text"], "confidence": number}
            for one, number in zip(known, numbers, strict=True)
        ],
    }


def _pocket(facts: Mapping[str, Any]) -> Mapping[str, Any]:
    """Return PocketSphinx's short names as the others': t text, b begin, d duration, p probability,
    w words; silences and noises stand in angle brackets or square ones.
    """

    def word(one: Any) -> Mapping[str, Any]:
        begin, length = one.get("b"), one.get("d")
        timed = isinstance(begin, int | float) and isinstance(length, int | float)
        return {
            "word": re.sub(r"\(\d+\)$", "", str(one.get("t", ""))),
            "start": begin,
            "end": begin + length if timed else None,
            "probability": min(1.0, one["p"]) if isinstance(one.get("p"), int | float) else None,
        }

    listed = facts.get("w")
    words = [one for one in listed if isinstance(one, dict)] if isinstance(listed, list) else []
    spoken = [word(one) for one in words if str(one.get("t", ""))[:1] not in "<["]
    return {"text": facts["t"], "start": facts.get("b"), "words": spoken}


class Cues(Form):
    """Cues with times, in blocks.

    A block ends at a blank line, and at the line of times of the next cue (WebVTT, 6.1: "collect a
    WebVTT block"); a number alone on the line before it is the next cue's, where the cues are
    numbered.
    """

    other_blocks: ClassVar[tuple[str, ...]] = ()  # how blocks begin that are no cues

    @abstractmethod
    def cue(self, block: str) -> tuple[int, int, str]:
        """Return when a cue begins and ends, and its text; raises ValueError."""

    def utterances(self, lines: Iterable[str], is_code: IsCode, /) -> Iterator[Utterance | LeftOut]:
        """Yield what was said, and the cues that can't be read."""
        for number, block in _blocks(lines):
            shown = block[:_MOST_SHOWN]
            if _ARROW not in block:
                if not block.lstrip("\ufeff").startswith(self.other_blocks):
                    reason = "not a cue: there is no line of times in it"
                    yield LeftOut(number, shown, reason)
                continue
            try:
                at, until, text = self.cue(block)
            except ValueError as error:
                yield LeftOut(number, shown, f"not a cue: {error}")
                continue
            for speaker, words in _voices(text, is_code):
                yield Utterance(number, clean(words), speaker, at, until)


class WebVTT(Cues):
    """W3C WebVTT; voice spans ``<v Ana>`` name the speaker."""

    name, suffixes, signature = "vtt", ("vtt",), "WEBVTT"
    other_blocks = ("WEBVTT", "NOTE", "STYLE", "REGION")

    def cue(self, block: str) -> tuple[int, int, str]:
        """Return when a cue begins and ends, and its text; raises ValueError."""
        import webvtt
        from webvtt.errors import MalformedCaptionError, MalformedFileError

        try:
            cues = webvtt.from_string("WEBVTT\n\n" + block).captions
        except (MalformedFileError, MalformedCaptionError) as error:
            raise ValueError(error) from None
        if not cues:
            raise ValueError("no times hh:mm:ss.mmm --> hh:mm:ss.mmm")
        return _cue_time(cues[0].start), _cue_time(cues[0].end), cues[0].raw_text


class SubRip(Cues):
    """SubRip, of which there is no formal standard; a speaker may stand before a colon."""

    name, suffixes = "srt", ("srt",)
    opening = r"\d+\s*\n\d+:\d+:\d+[,.]\d+\s*-->"

    def cue(self, block: str) -> tuple[int, int, str]:
        """Return when a cue begins and ends, and its text; raises ValueError."""
        import srt  # type: ignore[import-untyped]

        try:
            cue = next(iter(srt.parse(block + "\n\n")))
        except (srt.SRTParseError, StopIteration, ValueError, OverflowError):
            raise ValueError("no times hh:mm:ss,mmm --> hh:mm:ss,mmm") from None
        at, until = (
            _cue_time(part.split()[0])
            for part in next(line for line in block.split("\n") if _ARROW in line).split(_ARROW, 1)
        )
        return at, until, cue.content


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


def _voices(text: str, is_code: IsCode) -> Iterator[tuple[str, str]]:
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
        name, rest = _named(line.strip().removeprefix("- "), is_code)
        if name and said:
            yield speaker, said
            said = ""
        speaker, said = name or speaker, f"{said} {rest}".strip()
    if said:
        yield speaker, said


def _cue_time(text: str) -> int:
    *hours, minutes, seconds = text.split(":")
    return _clock(hours[0] if hours else None, minutes, seconds)


def _clock(hours: str | None, minutes: str, seconds: str) -> int:
    """Return a time written with colons in milliseconds; raises ValueError at 60 seconds or more,
    and at 60 minutes behind hours.
    """
    written = ":".join(filter(None, (hours, minutes, seconds)))
    second = float(seconds.replace(",", "."))
    try:
        hour = whole(hours or "0", 0, _MOST_HOURS)
        minute = whole(minutes, 0, 999 if hours is None else 59)
    except ValueError:
        second = math.inf
    if not 0 <= second < 60:
        raise ValueError(
            f"{written[:_MOST_TIME]} is no time: hours:minutes:seconds with less than 60 minutes"
            f" and seconds, and at most {_MOST_HOURS} hours, are expected"
        )
    return round((hour * 3600 + minute * 60 + second) * 1000)


def _named(line: str, is_code: IsCode) -> tuple[str, str]:
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


def milliseconds(value: Any) -> int | None:
    """Return a time in milliseconds: from seconds, 0 or more, or since 1970 from ISO 8601; raises
    ValueError.
    """
    if value is None:
        return None
    if value.__class__ is float and 0 <= value <= _MOST_SECONDS:
        return round(value * 1000)
    seconds = value
    if isinstance(value, str):
        try:
            seconds = float(value)
        except ValueError:
            seconds = _moment(value)
    if (
        isinstance(seconds, bool)
        or not isinstance(seconds, int | float)
        or not 0 <= seconds <= _MOST_SECONDS
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


FORMS: Mapping[str, Form] = {
    form.name: form for form in (PlainText(), JsonLines(), RecogniserJson(), WebVTT(), SubRip())
}


def suffixes() -> list[str]:
    """Return the forms as people name them: by the suffix of their files."""
    return [f".{form.suffixes[0]}" if form.suffixes else name for name, form in FORMS.items()]


def head_text(head: bytes, name: str) -> str:
    """Return how a transcript begins, from its first ``HEAD`` bytes; raises CodeError where it is
    empty, or no text. ``name`` is what to call it.
    """
    *others, last = suffixes()
    forms = [f"a transcript: {', '.join(others)} or {last}"]
    if not head.strip():
        raise CodeError(f"{name} is empty", kind="usage", expected=forms)
    if b"\0" in head:
        raise CodeError(
            f"{name} is no text", kind="usage", expected=forms, hint="save it as UTF-8 text"
        )
    return head.decode("utf-8", "replace")


def form_of(name: str, head: str) -> Form:
    """Return the form of a transcript from how it begins, or from its file's name."""
    start, suffix = head.lstrip("\ufeff \t\r\n"), name.rpartition(".")[2].casefold()
    forms = FORMS.values()
    return next(
        itertools.chain(
            (form for form in forms if form.signature and start.startswith(form.signature)),
            (form for form in forms if suffix in form.suffixes),
            (form for form in forms if form.opening and re.match(form.opening, start)),
        ),
        FORMS["text"],
    )
