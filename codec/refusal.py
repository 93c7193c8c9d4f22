"""Why a transcript has no reading: the furthest place any way of reading gets to, and what could
have stood there.
"""

from __future__ import annotations

from collections.abc import Sequence

from grammar.errors import Incomplete, ReportError, Span, UnexpectedWord
from grammar.message import Message
from grammar.paths import Lattice, Walk
from grammar.symbols import Alphabet


def refusal(walked: Walk, lattice: Lattice, text: str, spans: Sequence[Span]) -> ReportError:
    """Return the error for symbols that no message has.

    ``spans`` gives the place in ``text`` of each place of the lattice.
    """
    place = walked.furthest
    expected = expected_words(walked, place)
    if place == len(lattice):
        end = spans[-1][1] if spans else len(text)
        return Incomplete(
            "the report ends too early",
            kind="incomplete",
            source=text,
            span=(end, end),
            expected=expected,
            hint=_hint_after(text, spans, walked.automaton.messages[0].alphabet),
        )
    span = spans[place]
    shown = text[span[0] : span[1]]
    failed = _failed_check(walked, lattice, place)
    if failed:
        message, hint = (
            (
                f"{shown!r} does not fit as {failed}: a symbol of the report, or this one, was"
                " misread or misheard"
            ),
            "say again",
        )
        return UnexpectedWord(message, kind="check", source=text, span=span, hint=hint)
    if walked.complete(place):
        hint = "several reports are parted by BREAK, or by a line each"
        return UnexpectedWord(
            f"the report is complete before {shown!r}",
            kind="after-the-end",
            source=text,
            span=span,
            expected=expected,
            hint=hint,
        )
    if not any(lattice[place]):
        return UnexpectedWord(
            f"{shown!r} can't be read here",
            kind="unexpected-word",
            source=text,
            span=span,
            hint="say the digits one by one",
        )
    return UnexpectedWord(
        f"{shown!r} can't stand here",
        kind="unexpected-word",
        source=text,
        span=span,
        expected=expected,
        hint="say again",
    )


def _hint_after(text: str, spans: Sequence[Span], alphabet: Alphabet) -> str:
    if not spans:
        return ""
    last = text[spans[-1][0] : spans[-1][1]]
    if last[-1] in alphabet.index and (last.isupper() or last.isdigit()):  # typed as on the dash
        last = alphabet.words[last[-1]].word
    return f'say again all after "{last}"' if len(last) <= 20 else "say again"


def _failed_check(walked: Walk, lattice: Lattice, place: int) -> str:
    """Return the name of a check symbol that stood in its place and did not fit, "" if that is not
    what went wrong.
    """
    in_use = walked.automaton.messages[0].alphabet.index
    symbols = {option[0] for option, _ in lattice[place] if option and option[0] in in_use}
    for (number, leaf), mask in walked.expected(place).items():
        message = walked.automaton.messages[number]
        if message.tables[leaf].check and any(
            mask >> message.alphabet.index[symbol] & 1 for symbol in symbols
        ):
            return f"check symbol ({message.tables[leaf].name})"
    return ""


def expected_words(walked: Walk, place: int) -> list[str]:
    """Return what could follow at a place, in words: the symbols and the table they belong to."""
    words = []
    for (number, leaf), mask in walked.expected(place).items():
        message = walked.automaton.messages[number]
        words.append(_label(message, leaf, message.alphabet.unmask(mask)))
    if walked.complete(place):
        words.append("the end of the report")
    return list(dict.fromkeys(words))


def _label(message: Message, leaf: int, symbols: str) -> str:
    table = message.tables[leaf]
    what = ranges(symbols)
    return what if table.literal is not None else f"{what} ({table.name})"


def ranges(symbols: str) -> str:
    """Write a set of symbols shortly: runs of neighbours as 0–9."""
    ordered = sorted(symbols)
    runs: list[list[str]] = []
    for symbol in ordered:
        if (
            runs
            and ord(symbol) == ord(runs[-1][-1]) + 1
            and symbol.isalnum()
            and runs[-1][-1].isalnum()
        ):
            runs[-1].append(symbol)
        else:
            runs.append([symbol])
    return " ".join(
        (
            run[0]
            if len(run) == 1
            else f"{run[0]}–{run[-1]}"
            if len(run) > 2
            else f"{run[0]} {run[-1]}"
        )
        for run in runs
    )
