"""What a drill tells after each answer, and the colours of its screen."""

from __future__ import annotations

from prompt_toolkit.formatted_text import StyleAndTextTuples
from prompt_toolkit.styles import Style

from codec.drill.answer import MEANINGS, Answer
from codec.drill.marking import Marked
from codec.drill.session import Session
from grammar.errors import visible

STYLE = Style.from_dict(
    {
        "title": "bold", "quiet": "#888888", "dash": "bold reverse", "signal": "bold bg:#cc0000 #ffffff", "key": "bold",
        "right": "bold #00aa00", "corrected": "bold #aaaa00", "caught": "bold #cc8800", "accepted": "bold #ff4444", "wrong": "bold #ff4444",
    }
)  # fmt: skip


def result(session: Session, answer: Answer, marked: Marked, why: str) -> StyleAndTextTuples:
    """Return what was shown, what was said, and where they part."""
    wrong = marked.wrong_places
    rows: StyleAndTextTuples = [(f"class:{answer.outcome}", MEANINGS[answer.outcome]), ("", "\n\n   shown  ")]
    for place, symbol in enumerate(answer.shown):
        rows.append(("class:wrong" if place in wrong else "", f"{symbol} "))
    if not answer.right:
        rows.append(("", f"\n   said   {' '.join(said or '–' for _, said in marked.pairs) or '–'}"))
        rows.append(("", f"\n   meant  {session.book.alphabet.say(answer.shown)}"))
        if marked.reason:
            rows.append(("class:quiet", f"\n   {visible(marked.reason)}"))
    times = [f"first word {answer.first:.1f} s"] if answer.first is not None else []
    times += [f"all {answer.last:.1f} s"] if answer.last is not None else []
    times += [f"brake signals missed: {answer.missed} of {answer.marks}"] if answer.marks else []
    return [*rows, ("class:quiet", f"\n   {', '.join(times) or 'no times'}\n   asked: {why}\n\n")]
