"""Reads the finite-state grammar text of the Sphinx recognisers, without regard to how niner writes
it.
"""

from __future__ import annotations


class Fsg:
    """States and what is said between them."""

    def __init__(self, text: str) -> None:
        lines = [
            line.split() for line in text.splitlines() if line.strip() and not line.startswith("#")
        ]
        assert (lines[0][0], lines[-1]) == ("FSG_BEGIN", ["FSG_END"])
        facts = {line[0]: int(line[1]) for line in lines[1:4]}
        self.states, self.start, self.final = (
            facts[name] for name in ("NUM_STATES", "START_STATE", "FINAL_STATE")
        )
        self.steps: dict[int, list[tuple[str, int]]] = {}
        for kind, before, after, probability, *word in lines[4:-1]:
            assert kind == "TRANSITION"
            assert 0 < float(probability) <= 1
            assert {int(before), int(after)} <= set(range(self.states))
            assert len(word) <= 1
            self.steps.setdefault(int(before), []).append(("".join(word), int(after)))

    def accepts(self, words: list[str]) -> bool:
        states = self._silently({self.start})
        for word in words:
            states = self._silently(
                {
                    after
                    for state in states
                    for said, after in self.steps.get(state, ())
                    if said == word
                }
            )
        return self.final in states

    def _silently(self, states: set[int]) -> set[int]:
        waiting = list(states)
        for state in waiting:
            for said, after in self.steps.get(state, ()):
                if not said and after not in states:
                    states.add(after)
                    waiting.append(after)
        return states
