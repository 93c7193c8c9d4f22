"""What is said beside reports: phrases, questions, answers; told from talk about them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from codec.radio.found import Found
from grammar.speech.kinds import WordKind

if TYPE_CHECKING:
    from codec.radio.search import Search


def asides(search: Search) -> None:
    """Find phrases, questions and answers."""
    seen = set()
    for place, word in enumerate(search.words):
        meaning = word.meaning
        if meaning.kind is WordKind.SEPARATOR and meaning.value and meaning.value not in seen:
            start, end = search.sentence(place)
            if "?" in search.text[word.span[1] : search.until(end)] or search.finder.hedged(
                search.forms[start:end]
            ):
                search.heard.reason = f"{search.forms[place]!r} is talked about"
                continue
            others = sum(1 for other in search.words[start:end] if other.kind is WordKind.UNKNOWN)
            if others > 3 * len(search.forms[place].split()):
                search.heard.reason = f"{search.forms[place]!r} in the middle of other talk"
                continue
            seen.add(meaning.value)
            search.heard.found.append(
                Found("phrase", word.span, name=meaning.value, number=_number(search, place + 1))
            )
        elif meaning.kind is WordKind.ASK:
            search.heard.found.append(Found("ask", word.span, name=_asked(search, place)))
        elif meaning.kind is WordKind.ANSWER and len(search.words) <= 4:
            search.heard.found.append(Found("answer", word.span, name=meaning.value))


def _asked(search: Search, place: int) -> str:
    following = [
        search.forms[n]
        for n in range(place, min(place + 6, len(search.words)))
        if search.words[n].kind is not WordKind.UNKNOWN
    ]
    return " ".join(following)


def _number(search: Search, place: int) -> int | None:
    if place < len(search.words):
        meaning = search.words[place].meaning
        if (
            meaning.kind in (WordKind.UNIT, WordKind.TO)
            and meaning.options
            and meaning.options[0].isdigit()
        ):
            return int(meaning.options[0])
        if meaning.kind in (WordKind.TEEN, WordKind.TENS):
            return int(meaning.value)
        if meaning.kind is WordKind.TYPED and meaning.options[0].isdigit():
            return int(meaning.options[0])
    return None
