"""The book of a chosen proposal, with comments that say what it is, what it costs, and how far it
is from what is possible.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from typing import Any

from grammar.design.carry_over import joined
from grammar.design.ears import one_in
from grammar.design.frontier import Proposal, broken
from grammar.design.needs import Needs
from grammar.design.write import book_text
from grammar.parsing import parse_book

CAUTION = (
    "Codes are learned in a parked car, a simulator or at a desk. A temperature, voltage or"
    " insulation warning is handled by the event's and the team's own safety procedures and"
    " qualified people. Event regulations on radio use, and on coded messages, come first."
)


def written(needs: Needs, proposal: Proposal, seed: int) -> tuple[str, dict[str, str]]:
    """Return the TOML text of a proposal's book with comments; it is loaded once more, so that what
    is written is what was proven.

    With it come the messages of the team's book that can't go on beside the new one, each with the
    reason.
    """
    bound = proposal.bound
    spoken = (
        f"A report takes {proposal.mean:.2f} s on average, {proposal.worst:.2f} s at most. The"
        f" values carry {bound.bits:.2f} bits, the words {bound.capacity:.2f} bits a second: no"
        f" code that tells its own end takes less than {bound.seconds:.2f} s. This one takes"
        f" {proposal.over:.1%} more{', its check symbol included' if proposal.checked else ''}."
    )
    met = proposal.met
    who = (
        "the tool weighs what it hears and asks"
        if proposal.ear == "tool"
        else "people take each word as they hear it, and ask for all that is no report"
    )
    heard = (
        f"In the noise of [hearing], where {who}: with questions a report takes {met.seconds:.2f} s"
        f" (standard error {met.seconds_error:.2f}), {met.ask:.1%} are asked about,"
        f" {one_in(met.wrong, met.wrong_error)} accepted with a wrong reading."
    )
    missed = [f"{asked}: this one {came}" for asked, came in broken(proposal, needs).items()]
    head = [
        f"{needs.title}: a proposed code, {proposal.name}: {proposal.candidate.about}.",
        "",
        spoken,
        heard,
        (
            "People can read it from a card."
            if proposal.readable
            else "It needs the dash to show the string and the tool to read it."
        ),
        *(
            [f"It does not keep the limits asked for. {'; '.join(missed).capitalize()}."]
            if missed
            else []
        ),
        _learnt(proposal),
        *needs.demands.told(),
        *(
            f"{needs.fields[name].title}: nothing is known of how often its values occur; they are"
            f" taken as equally likely, {bits:.2f} bits of the {bound.bits:.2f}. Were they spread"
            f" as values mostly are, {bits - less:.1f} bits less."
            for name, (bits, less) in needs.flat.items()
        ),
        *(
            [f"How often values occur was learned from {needs.learned} reports."]
            if needs.learned
            else []
        ),
        f"Made with seed {seed}; the same needs and seed give the same book.",
        "",
        CAUTION,
    ]
    sections, notes = proposal.candidate.sections, proposal.candidate.notes
    left_out: dict[str, str] = {}
    shown = functools.partial(_on_dash, needs.sections["dash"], proposal.most.glance)
    if needs.rest is not None:
        sections, left_out = joined(
            sections, needs.rest, needs.message, lambda book: book_text(shown(book), [], {})
        )
        head += [
            "",
            *(
                f"Left out of the book it comes from: message {name}. {reason}"
                for name, reason in left_out.items()
            ),
        ]
    text = book_text(shown(sections), head, notes)
    parse_book(text, needs.name)
    return text, left_out


def _on_dash(dash: Mapping[str, Any], most: int, sections: Mapping[str, Any]) -> dict[str, Any]:
    """Return a book with the dash it is for: without the places that a glance of up to so many
    symbols has not room in, which is a limit not kept, and without colours of what it does not say.
    """
    kept = dict(dash)
    if most > kept.get("places", most):
        del kept["places"]
    if "lit" in kept:
        kept["lit"] = {name: one for name, one in dash["lit"].items() if name in sections["fields"]}
    return {**sections, "dash": kept}


def _learnt(proposal: Proposal) -> str:
    """Return what there is to learn of a proposal, table by table, in words."""
    tables = "; ".join(
        f"{one.table} {one.pairs:,}"
        + ("" if one.regular is None else f", {one.regular:.0%} in order")
        for one in proposal.learning.tables
    )
    return (
        f"To learn: {proposal.learning.text}. Pairs by table, and how many neighbours follow each"
        f" other: {tables}."
    )
