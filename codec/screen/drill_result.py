"""What a drill tells after each answer, and the colours of its screen."""

from __future__ import annotations

from collections.abc import Sequence

from prompt_toolkit.formatted_text import StyleAndTextTuples
from prompt_toolkit.styles import Style

from codec.drill.answer import MEANINGS, Answer
from codec.drill.marking import Marked
from codec.drill.session import Session
from codec.screen.drill_lines import spaced, wrapped
from grammar.errors import visible

STYLE = Style.from_dict(
    {
        "title": "bold", "quiet": "#888888", "dash": "bold reverse",
        "signal": "bold bg:#cc0000 #ffffff", "key": "bold",
        "right": "bold #00aa00", "corrected": "bold #aaaa00", "caught": "bold #cc8800",
        "accepted": "bold #ff4444", "wrong": "bold #ff4444",
    }
)  # fmt: skip
_INDENT = 3
_LABEL = len("shown  ")


def result(
    session: Session, answer: Answer, marked: Marked, why: str, columns: int
) -> StyleAndTextTuples:
    """Return what was shown, what was said, and where they part, in lines of so many columns."""
    wrong = marked.wrong_places
    rows: StyleAndTextTuples = [(f"class:{answer.outcome}", MEANINGS[answer.outcome]), ("", "\n\n")]
    rows += _symbols(
        "shown", [(symbol, place in wrong) for place, symbol in enumerate(answer.shown)], columns
    )
    if not answer.right:
        rows += _symbols(
            "said", [(said or "–", False) for _, said in marked.pairs] or [("–", False)], columns
        )
        meant = wrapped(session.book.alphabet.say(answer.shown), columns, _INDENT + _LABEL)
        rows.append(
            (
                "",
                "\n".join([f"{'':{_INDENT}}{'meant':{_LABEL}}{meant[0].lstrip()}", *meant[1:]])
                + "\n",
            )
        )
        if marked.reason:
            rows.append(("class:quiet", _paragraph(visible(marked.reason), columns)))
    times = [f"first word {answer.first:.1f} s"] if answer.first is not None else []
    times += [f"all {answer.last:.1f} s"] if answer.last is not None else []
    times += [f"brake signals missed: {answer.missed} of {answer.marks}"] if answer.marks else []
    told = _paragraph(", ".join(times) or "no times", columns) + _paragraph(
        f"asked: {why}", columns
    )
    return [*rows, ("class:quiet", f"{told}\n")]


def _symbols(label: str, symbols: Sequence[tuple[str, bool]], columns: int) -> StyleAndTextTuples:
    """Return symbols behind a label; those told to be wrong stand out."""
    rows: StyleAndTextTuples = [("", f"{'':{_INDENT}}{label:{_LABEL}}")]
    each = spaced(len(symbols), columns, _INDENT + _LABEL)
    for place, (symbol, wrong) in enumerate(symbols):
        if place and place % each == 0:
            rows.append(("", f"\n{'':{_INDENT + _LABEL}}"))
        rows.append(("class:wrong" if wrong else "", f"{symbol} "))
    return [*rows, ("", "\n")]


def _paragraph(text: str, columns: int) -> str:
    return "\n".join(wrapped(text, columns, _INDENT)) + "\n"
