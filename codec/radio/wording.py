"""The words of a line of radio, as recognisers write them: code words written together, strung with
dashes or commas, and figures and words without a blank between them, are taken apart where that can
be done in one way only.

Elsewhere in niner words are matched whole or not at all. Here a line is not typed by somebody who
can put it right: it is what a program wrote of what somebody said.
"""

from __future__ import annotations

import difflib
import functools
import re
from collections.abc import Iterator

from grammar.speech.kinds import SPOKEN, WordKind
from grammar.speech.lexicon import Lexicon
from grammar.speech.words import Word, Wording, cut

_PAUSE = re.compile(r"[-–—.…,;:~_*]+")  # written for a pause, and no word
_LISTED = re.compile(r"\w+(?:[,./_·–—]\w+){2,}")  # 5,1,6,3
_FIGURES_AND_WORDS = re.compile(r"\d*(?:[^\W\d_]{3,}\d+)*(?:[^\W\d_]{3,})?")
_SHAPES = re.compile(r"\d+|[^\W\d_]+")
# figures alone in a line: a program takes them for a sum of money, a share, a time or a day
_ONLY_FIGURES = re.compile(r"\s*[$€£]?\s?\d[\d\s,.:/'’–-]*[%°]?[\s.!?]*", re.ASCII)
_PARTED_FIGURES = re.compile(r"\d[.:/']\d", re.ASCII)  # 2.3 2.1 1.9 are several numbers
_LAP_TIME = re.compile(r"\s*\d{1,2}[.:]\d\d\.\d{1,3}[\s.!?]*", re.ASCII)
_BETWEEN_FIGURES = re.compile(r"[^\d]", re.ASCII)
_MOST_TOGETHER = 60  # characters of one word
_KEPT = 50_000
_RECENT = 64  # lines, whose words are asked for more than once
_SPARED = "to for too won ate oh o a i"  # words that are found in others by chance
_PLAINLY = 4  # letters of a word that is found in another by itself
_ALIKE = 0.7  # of the letters: of a word misheard beside one written together with it


def only_figures(text: str) -> bool:
    """Tell whether a line is nothing but figures, with whatever a program writes between them:
    12,026 and 321.28, $21,935 and 7:18:31.
    """
    return (
        text[:1] <= "Z"
        and _ONLY_FIGURES.fullmatch(text) is not None
        and _LAP_TIME.fullmatch(text) is None
        and (len(text.split()) == 1 or _PARTED_FIGURES.search(text) is None)
    )


def _unread(word: Word, *, alone: bool) -> bool:
    """Tell whether a word may be words written together: it is none, or figures with a word behind
    or before them (19Lima), which can be symbols that somebody typed only where all are capitals,
    or all are small and nothing else is said.
    """
    if word.kind is not WordKind.TYPED:
        return word.kind is WordKind.UNKNOWN
    text = word.text
    typed = text.isdecimal() or text.isupper() or (alone and text.islower())
    return not typed and _FIGURES_AND_WORDS.fullmatch(text) is not None


class RadioWords:
    """Cuts lines into the words of a book."""

    def __init__(self, lexicon: Lexicon) -> None:
        """Gather the words that others may be made of."""
        self.lexicon = lexicon
        spared = frozenset(_SPARED.split())
        self._parts = {
            form.replace(" ", "").replace("-", ""): form
            for form, meaning in lexicon.meanings.items()
            if meaning.kind in SPOKEN and meaning.kind is not WordKind.AND and len(form) > 2
        }
        self._by_chance = spared & self._parts.keys()
        self._longest = max(map(len, self._parts), default=0)
        self.apart = functools.lru_cache(_KEPT)(self._apart)
        self.cut = functools.lru_cache(_RECENT)(self._cut)

    def _cut(self, text: str) -> Wording:
        """Return the words of a line; raises CodeError for one too long to be read at once."""
        if only_figures(text):
            figures = cut(self.lexicon, _BETWEEN_FIGURES.sub(" ", text))
            return Wording(text, figures.words)
        wording = cut(self.lexicon, text)
        alone = len(wording) == 1
        if not any(_unread(word, alone=alone) for word in wording):
            return wording
        return Wording(text, list(self._taken_apart(wording)))

    def _taken_apart(self, wording: Wording) -> Iterator[Word]:
        words, text, place, alone = wording.words, wording.text, 0, len(wording) == 1
        while place < len(words):
            word, place = words[place], place + 1
            (start, end), known = word.span, not _unread(word, alone=alone)
            dashed = place < len(words) and text[end : end + 1] == "-"
            if known and not (dashed and words[place].kind is WordKind.UNKNOWN):
                yield word
                continue
            if _PAUSE.fullmatch(word.text):
                continue
            if dashed:  # one x-ray written together
                following = words[place]
                parts = self.apart(f"{word.text}-{following.text}")
                if parts and following.span[0] == end + 1:
                    place += 1
                    yield from self._words(text, start, parts)
                    continue
            parts = () if known else self.apart(word.text)
            if parts:
                yield from self._words(text, start, parts)
            else:
                yield word

    def _words(self, text: str, start: int, parts: tuple[tuple[int, int], ...]) -> Iterator[Word]:
        """Yield the words of parts of a text, each as it is cut among others."""
        for first, last in parts:
            piece = text[start + first : start + last]
            form = self._parts.get(piece.replace("-", "").casefold(), piece)
            for word in cut(self.lexicon, f"… {form}")[1:]:
                yield Word(word.meaning, (start + first, start + last), piece)

    def _apart(self, raw: str) -> tuple[tuple[int, int], ...]:
        """Return where the words of a word written together begin and end, () where it is none or
        can be taken apart in more than one way.
        """
        if len(raw) > _MOST_TOGETHER:
            return ()
        if _LISTED.fullmatch(raw):
            shapes = [found.span() for found in re.finditer(r"\w+", raw)]
            if any(end - start > 1 and raw[start:end].isdigit() for start, end in shapes):
                return ()  # a lap time, 1.32.4
        else:
            shapes = [found.span() for found in _SHAPES.finditer(raw)]
            if sum(end - start for start, end in shapes) < len(raw.replace("-", "")):
                return ()
            if "-" in raw:
                shapes = [(0, len(raw))]
        found: list[tuple[int, int]] = []
        for start, end in shapes:
            ways = self._ways(raw, start, end)
            if len(ways) != 1:
                return ()
            found += ways[0]
        return tuple(found) if len(found) > 1 else ()

    def _ways(self, raw: str, start: int, end: int) -> list[list[tuple[int, int]]]:
        """Return the ways to take a stretch of letters apart (figures are one part), two at
        most.
        """
        if raw[start:end].isdigit():
            typed = self.lexicon.typed(raw[start:end], alone=False)
            return [] if typed is None else [[(start, end)]]
        if end - start == 1:
            single = raw[start:end]
            known = single.isupper() and self.lexicon.typed(single, alone=False) is not None
            return [[(start, end)]] if known else []
        form = raw.casefold()
        ways = self._parted(form, start, end).get(end, [])
        if not ways and start == 0 and end == len(raw):
            return self._nearly(form)
        return [way for way in ways if any(self._plainly(form, part) for part in way)]

    def _plainly(self, form: str, part: tuple[int, int]) -> bool:
        return form[slice(*part)].replace("-", "") not in self._by_chance

    def _parted(self, form: str, start: int, end: int) -> dict[int, list[list[tuple[int, int]]]]:
        """Return the ways to take a word apart from its start up to each place, two at most."""
        ways: dict[int, list[list[tuple[int, int]]]] = {start: [[]]}
        for place in range(start, end):
            for way in ways.get(place, ()):
                for last in range(place + 3, min(end, place + self._longest + 2) + 1):
                    part = form[place:last]
                    if part.replace("-", "") in self._parts and part.strip("-") == part:
                        ways.setdefault(last, []).append([*way, (place, last)])
                        del ways[last][2:]
        return ways

    def _nearly(self, form: str) -> list[list[tuple[int, int]]]:
        """Return the ways to take a word apart into words and, before or behind them, one that is
        written much like one, misheard: as few letters as can be. Two at most.
        """
        whole = len(form)
        if not form.isalpha() or whole < 2 * _PLAINLY:
            return []
        odd = [
            ((end, whole), way)
            for end, ways in self._parted(form, 0, whole).items()
            for way in ways
            if end
        ]
        odd += [
            ((0, begin), [(begin, whole)])
            for begin in range(1, whole)
            if form[begin:] in self._parts
        ]
        sizes = dict[int, list[list[tuple[int, int]]]]()
        for rest, way in odd:
            size = rest[1] - rest[0]
            plainly = any(
                self._plainly(form, part) and part[1] - part[0] >= _PLAINLY for part in way
            )
            if plainly and 2 < size <= self._longest and self._like(form[slice(*rest)]):
                sizes.setdefault(size, []).append(sorted([*way, rest]))
        return sizes[min(sizes)][:2] if sizes else []

    def _like(self, form: str) -> bool:
        return bool(difflib.get_close_matches(form, self._parts, n=1, cutoff=_ALIKE))
