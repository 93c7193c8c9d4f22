"""Words heard for others over a season: every hearing of a report laid beside what stands of it.

What stands is taken for what was said. A mistake that nobody noticed counts as heard right, so the
shares are at least these.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

from codec.debrief.symbols import heard_symbols, side_by_side
from codec.radio.doubt import NOISY
from codec.season.events import Wanted
from codec.season.queries import HEARD, named, reports
from codec.season.source import Season, book_in
from grammar.book import Book
from grammar.errors import CodeError
from grammar.profile import word_of
from grammar.symbols import normal

AS_STANDS, AGAIN, NOISE, READ_BACK = "as it stands", "again", "noise", "read back"
SOURCES = {  # where a pair is from
    AGAIN: "heard, and said again or put right since",
    NOISE: "taken all the same for what it most likely was, by the posterior or by a person",
    READ_BACK: "a call, and how it was read back word for word: either side may have misheard",
}
_LONGEST = 60  # characters of a word
_ALIKE = 0.5  # of its symbols a hearing must have right to be laid beside what stands
# the notes of reports whose string is not simply that of the words heard
_TAKEN = (NOISY, "taken by hand", "by voice", "by voice, taken by hand")
_TAKEN_FOR = "taken for: "
# Of what was heard as it stands the strings of one length are put behind each other: to count the
# symbols in one text is quicker than to take many apart.
_COUNTED = f"""
, {HEARD}, heard AS (
    SELECT journal, car, writer, last, exact, same,
        CASE WHEN same THEN length(string) END AS length,
        CASE WHEN NOT exact THEN words END AS words,
        CASE WHEN exact AND NOT same THEN read_as END AS read_as,
        CASE WHEN NOT same THEN string END AS string,
        count(*) AS times, string_agg(CASE WHEN same THEN string END, '') AS every
    FROM (
        SELECT journal, car, writer, last, words, read_as, string, exact,
            exact AND read_as = string AS same
        FROM (
            SELECT journal, car, writer, last, words, read_as, string,
                read_as <> '' AND (how = '' OR (
                    how NOT IN ({", ".join(f"'{note}'" for note in _TAKEN)})
                    AND NOT starts_with(how, '{_TAKEN_FOR}'))) AS exact
            FROM hearing WHERE counts AND string <> '' AND (read_as <> '' OR words <> '')
            {{apart}}
        ) AS heard {{apart}}
    ) AS beside
    GROUP BY 1, 2, 3, 4, 5, 6, 7, 8, 9, 10
),
told AS MATERIALIZED ({named("heard")}),
back AS (
    SELECT call.journal, call.car, call.writer, back.string AS back, call.string, count(*) AS times
    FROM touched AS call
    JOIN part AS back ON back.journal = call.journal AND back.root = call.seq
    WHERE call.kind = 'call' AND call.counts AND call.string <> ''
    AND back.kind = 'readback' AND NOT back.taken_back AND back.string <> ''
    AND back.message = call.message AND back.string <> call.string
    GROUP BY 1, 2, 3, 4, 5
)
SELECT '{AS_STANDS}', code, '', '', every, CAST(times AS bigint) FROM told WHERE same
UNION ALL
SELECT CASE WHEN last THEN '{NOISE}' ELSE '{AGAIN}' END, code, coalesce(words, ''),
    coalesce(read_as, ''), string, CAST(sum(times) AS bigint)
FROM told WHERE NOT same GROUP BY last, exact, code, words, read_as, string
UNION ALL
SELECT '{READ_BACK}', code, '', back, string, CAST(sum(times) AS bigint)
FROM ({named("back")}) AS told GROUP BY code, back, string
"""  # noqa: S608 - texts that the program declares


@dataclass(frozen=True, slots=True)
class Confused:
    """A word said and what was heard for it: how often, by where the pairs are from, and how often
    the word was said in all, that anybody knows. ``heard`` is "" where nothing was.
    """

    said: str
    heard: str
    sources: dict[str, int]
    of: int

    @property
    def times(self) -> int:
        """How often."""
        return sum(self.sources.values())

    def as_dict(self) -> dict[str, object]:
        """Return the facts for JSON."""
        return {"said": self.said, "heard": self.heard, "times": self.times, "of": self.of} | {
            "sources": self.sources
        }


@dataclass(slots=True)
class WordsHeard:
    """What was counted: ``pairs`` of words (said, heard) by where they are from, "" for nothing
    said or nothing heard; ``marks`` of each report which words were heard, as a profile has them;
    how many ``hearings`` there were, and how many were too ``unlike`` what stands to be laid beside
    it.
    """

    pairs: dict[str, Counter[tuple[str, str]]] = field(
        default_factory=lambda: {source: Counter() for source in SOURCES}
    )
    right: Counter[str] = field(default_factory=Counter)
    marks: Counter[str] = field(default_factory=Counter)
    hearings: Counter[str] = field(default_factory=Counter)
    unlike: int = 0

    @property
    def confused(self) -> list[Confused]:
        """The words heard for others, or lost or added, the most frequent first."""
        of = Counter(self.right)
        found: dict[tuple[str, str], dict[str, int]] = {}
        for source, pairs in self.pairs.items():
            for (said, heard), count in pairs.items():
                of[said] += count if source != READ_BACK else 0
                if said != heard:
                    found.setdefault((said, heard), {})[source] = count
        listed = [Confused(*pair, sources, of[pair[0]]) for pair, sources in found.items()]
        return sorted(listed, key=lambda one: (-one.times, one.said, one.heard))

    @property
    def said(self) -> int:
        """How many words were said that anybody knows, read-backs aside."""
        laid = (pairs for source, pairs in self.pairs.items() if source != READ_BACK)
        return self.right.total() + sum(
            count for pairs in laid for (said, _), count in pairs.items() if said
        )

    @property
    def heard(self) -> Counter[tuple[str, str]]:
        """The pairs of reports, those heard right among them: what a channel learns from."""
        found = Counter({(word, word): count for word, count in self.right.items()})
        return found + self.pairs[AGAIN] + self.pairs[NOISE]


def words_heard(season: Season, wanted: Wanted) -> WordsHeard:
    """Return the words heard for others; raises CodeError."""
    found, query = WordsHeard(), reports(season, wanted)
    books = {
        code: book
        for code, digest in enumerate(query.digests)
        if (book := _book(season, digest)) is not None
    }
    rows = query.ask_apart(_COUNTED.format(apart=season.apart))
    for what, code, words, read_as, string, count in rows:
        book = books.get(code)
        if book is None:
            continue
        found.hearings[what] += count
        if what == AS_STANDS:
            found.marks["=" * (len(string) // count)] += count
            for symbol in book.alphabet.symbols:
                found.right[_word(book, symbol)] += string.count(symbol)
        else:
            _lay(book, found, what, string, words, read_as, count)
    found.right = +found.right
    return found


def _book(season: Season, digest: str) -> Book | None:
    try:
        return book_in(season, digest)
    except CodeError:
        name = next(one.event for one in season.events if one.digest == digest)
        season.left_out.append(f"{name}: its book can't be read, so its words are not counted")
        return None


def _lay(
    book: Book, found: WordsHeard, source: str, string: str, words: str, read_as: str, count: int
) -> None:
    """Lay a hearing beside what was said, and count."""
    raw = [] if read_as else heard_symbols(book, words)
    symbols: Sequence[str] = list(read_as) or [heard.symbol for heard in raw]
    beside = side_by_side(string, symbols)
    if beside.marks.count("=") < _ALIKE * len(string):
        found.unlike += count
        return
    pairs, cut = found.pairs[source], beside.marks.rstrip("-")
    foreign = [heard.word for heard in raw] if len(raw) == len(string) else []
    for place, (said, heard) in enumerate(beside.pairs):
        word = _word(book, heard) if heard else _foreign(foreign[place]) if foreign else ""
        if heard or word:
            pairs[_word(book, said), word] += count
    if set(cut) <= {"="} and len(cut) < len(beside.marks):
        return  # it broke off: what was to come was not lost among other words
    for symbol in beside.lost:
        pairs[_word(book, symbol), ""] += count
    for symbol in beside.added:
        pairs["", _word(book, symbol)] += count
    if source != READ_BACK:
        found.marks[beside.marks] += count


def _foreign(word: str) -> str:
    """Return a word heard that is none of the book's, as a profile has it; "" for what is none."""
    compared = normal(word)
    return compared if len(compared) <= _LONGEST and compared.isprintable() else ""


def _word(book: Book, symbol: str) -> str:
    return word_of(book.alphabet, symbol) if symbol in book.alphabet.words else symbol.casefold()
