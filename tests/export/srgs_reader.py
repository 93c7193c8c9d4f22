"""Reads SRGS of niner's shape with lxml: every rule is one-of items that are words, a rule
reference, a tag.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from lxml import etree

NAMESPACE = "{http://www.w3.org/2001/06/grammar}"


class Item(NamedTuple):
    """Words, then a rule (None: nothing more), then the tag."""

    said: tuple[str, ...]
    target: str | None
    tag: str


class Srgs:
    """A grammar: the items of each rule by its id."""

    def __init__(self, text: bytes) -> None:
        self.root = etree.fromstring(text)
        self.script = "".join(tag.text for tag in self.root.findall(f"{NAMESPACE}tag"))
        self.rules = {
            rule.get("id"): [self._item(item) for item in rule.iter(f"{NAMESPACE}item")]
            for rule in self._all("rule")
        }

    def _all(self, name: str) -> Iterator[etree._Element]:
        yield from self.root.iter(f"{NAMESPACE}{name}")

    def _item(self, item: etree._Element) -> Item:
        reference = item.find(f"{NAMESPACE}ruleref")
        target = (
            None if reference.get("special") == "NULL" else reference.get("uri").removeprefix("#")
        )
        return Item(
            tuple((item.text or "").lower().split()), target, item.findtext(f"{NAMESPACE}tag")
        )

    def paths(self, words: list[str]) -> Iterator[list[Item]]:
        """Yield every way to say the words, as items from the root rule on."""
        dead: set[tuple[str, int]] = set()

        def follow(rule: str, place: int) -> Iterator[list[Item]]:
            if (rule, place) in dead:
                return
            found = False
            for item in self.rules[rule]:
                after = place + len(item.said)
                if tuple(words[place:after]) != item.said:
                    continue
                if item.target is None:
                    found = found or after == len(words)
                    yield from [[item]] if after == len(words) else []
                else:
                    for rest in follow(item.target, after):
                        found = True
                        yield [item, *rest]
            if not found:
                dead.add((rule, place))

        yield from follow(self.root.get("root"), 0)

    def accepts(self, words: list[str]) -> bool:
        return next(self.paths(words), None) is not None
