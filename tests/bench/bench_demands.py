"""What demands cost, and how soon people learn what is demanded; seeded, all of it is printed and
nothing asserted, some minutes: python tests/bench/bench_demands.py [REPORTS HEARD] [LEARNERS].

- cost: for two needs files, the same two proposals without and with each demand, by the same draws:
  one that the tool hears (packed-all-order), one that people read from a card
  (variable-all-order); and the two families made to be learnt
- people: simulated people (``tests/design/people.py``) learn the card's proposal without demands
  and the one in which no symbol has two meanings
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from design.people import MEMORIES, errors

from codec.hear.scoring import Scorer
from grammar.book import Book
from grammar.design import Needs, Proposal, candidates, costs, one_in, parse_needs, proposals
from grammar.design.ears import Ear, Met
from grammar.message import Message

FOLDER = Path(__file__).parents[2] / "examples" / "design"
SEED = 11
DEMANDS = {
    "needs": {
        "none": "",
        "own codeword: push is P": '[codewords.mode]\nfixed = { push = "P" }',
        "battery in order": "[codewords.battery]\nin_order = true",
        "energy without figures": '[codewords.energy]\nwithout = "0123456789"',
        "mode never joined": '[report]\nalone = ["mode"]',
        "groups of 2, 0.2 s apart": "[report]\ngroups = 2",
        "battery at the first glance": '[report]\nfirst = ["battery"]',
        "7 segments": '[dash]\ndisplay = "7 segments"',
        "14 segments": '[dash]\ndisplay = "14 segments"',
        "5x7 dots": '[dash]\ndisplay = "5x7 dots"',
        "N and M avoided": '[people]\navoid = "NM"',
    },
    "rain": {
        "none": "",
        "own codeword: wet is W": '[codewords.grip]\nfixed = { wet = "W" }',
        "spent in order": "[codewords.spent]\nin_order = true",
        "tyres without figures": '[codewords.tyres]\nwithout = "0123456789"',
        "warnings never joined": '[report]\nalone = ["warned"]',
        "groups of 3, 0.2 s apart": "[report]\ngroups = 3",
        "grip at the first glance": '[report]\nfirst = ["grip"]',
        "7 segments": '[dash]\ndisplay = "7 segments"',
        "14 segments": '[dash]\ndisplay = "14 segments"',
        "5x7 dots": '[dash]\ndisplay = "5x7 dots"',
        "N and M avoided": '[people]\navoid = "NM"',
    },
}


def found(needs: Needs, family: str, ear: Ear, heard: int) -> Proposal | None:
    """Return the proposal of a family with all symbols and a check that notices swaps."""
    wanted = f"{family}-all-order"
    for make in list(candidates(needs, [family]))[:4]:
        made = make()
        if made is not None and made.name == wanted:
            some = proposals(
                needs, [lambda one=made: one], draws=2000, seed=SEED, listener=Only(heard, ear)
            )
            return next((one for one in some if one.ear == ear), None)
    return None


class Only:
    """Hears by one ear alone; of the other nothing is known."""

    def __init__(self, heard: int, ear: Ear) -> None:
        self.scorer, self.ear = Scorer(heard), ear

    def __call__(self, book: Book, message: Message, ear: Ear, seed: int) -> Met:
        scorer = self.scorer if ear == self.ear else replace(self.scorer, reports=2, more=1)
        return scorer(book, message, ear, seed)


def row(one: Proposal | None) -> str:
    if one is None:
        return "– | –"
    wrong = one_in(one.wrong, one.met.wrong_error)
    return f"{one.seconds:.2f} ± {one.met.seconds_error:.2f} | {wrong}"


def cost(heard: int) -> None:
    for name, demands in DEMANDS.items():
        text = (FOLDER / f"{name}.toml").read_text("utf-8")
        print(f"\n{name}.toml, {heard} reports heard by the tool, {6 * heard} by card, seed {SEED}")
        print("| demand | by tool, s | wrong | by card, s | wrong | pairs |")
        print("|---|---|---|---|---|---|")
        for demand, section in demands.items():
            needs = parse_needs(f"{text}\n{section}\n", name)
            tool = found(needs, "packed", "tool", heard)
            card = found(needs, "variable", "card", heard)
            pairs = "–" if card is None else card.learning.pairs
            print(f"| {demand} | {row(tool)} | {row(card)} | {pairs} |", flush=True)
        needs = parse_needs(text, name)
        for family in ("natural", "single"):
            card = found(needs, family, "card", heard)
            pairs = "–" if card is None else card.learning.pairs
            print(f"| family {family} | – | – | {row(card)} | {pairs} |", flush=True)


def people(heard: int, learners: int) -> None:
    for name in DEMANDS:
        needs = parse_needs((FOLDER / f"{name}.toml").read_text("utf-8"), name)
        print(f"\n{name}.toml, {learners} learners of each kind, seeds from {SEED}")
        for family in ("variable", "single"):
            one = found(needs, family, "card", heard)
            assert one is not None
            spent = costs(one, needs)["the radio"]
            print(
                f"  {one.name}: {one.learning.pairs} pairs, {len(one.learning.several)} symbols"
                f" with several meanings; {spent:.2f} s with questions, {one_in(one.wrong)} wrong,"
                f" {one.ask:.1%} asked, {one.looked:.2f} s looked down"
            )
            for memory in MEMORIES:
                runs = [errors(one, memory, 800, SEED + n) for n in range(learners)]
                told = ", ".join(
                    f"{sum(each[after] for each in runs) / learners:.0%} after {after}"
                    for after in runs[0]
                )
                print(f"    reports misunderstood, {memory}: {told}", flush=True)


if __name__ == "__main__":
    heard = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    cost(heard)
    people(heard, int(sys.argv[2]) if len(sys.argv) > 2 else 20)
