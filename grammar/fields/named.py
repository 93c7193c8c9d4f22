"""Fields that name: one of several options, or any set of flags."""

from __future__ import annotations

import functools
from collections.abc import Iterable, Iterator, Sequence
from typing import Any, ClassVar, Literal

from grammar.declared import takes
from grammar.errors import Problem
from grammar.fields.base import (
    FieldBase,
    Rounded,
    labelled,
    looked_up,
    not_among,
    not_unique,
    numbered,
)


class Choice(FieldBase):
    """One of several named options; level n is the n-th."""

    kind: Literal["choice"]
    options: list[str] = takes(min_length=1, max_length=10_000, description="The names, in order.")
    warn: list[str] = takes(
        default_factory=list, description="Options whose reading carries a warning."
    )
    usual: str | None = takes(
        default=None,
        description="The usual option; optional parts that carry it may be left unsaid.",
    )

    described: ClassVar[str] = "choice"
    numbering: ClassVar[str] = "the option's place from 0"

    def problems(self) -> Iterator[Problem]:
        """Yield options that do not differ, and what names no option."""
        yield from not_unique(self.options, "options", "option")
        yield from not_among(self.options, self.warn, "warn", "options")
        for problem in not_among(
            self.options, [] if self.usual is None else [self.usual], "usual", "options"
        ):
            yield Problem(("usual",), problem.message, problem.hint)

    @functools.cached_property
    def _numbers(self) -> dict[str, int]:
        return numbered(self.options)

    @functools.cached_property
    def _warned(self) -> set[int | None]:
        return {looked_up(self._numbers, name) for name in self.warn}

    @property
    def size(self) -> int:
        """The number of options."""
        return len(self.options)

    @property
    def one_of(self) -> Sequence[str]:
        """The options."""
        return self.options

    @property
    def domain(self) -> str:
        """The options."""
        return "one of " + ", ".join(self.options[:8]) + (" …" if len(self.options) > 8 else "")

    @property
    def usual_level(self) -> int | None:
        """The level of the usual option."""
        return None if self.usual is None else self.level(self.usual).level

    def level(self, value: Any) -> Rounded:
        """Return the number of the option with this name, whatever its case."""
        index = looked_up(self._numbers, value)
        if index is None:
            raise self.refuse(value, f"no option {str(value)[:40]!r}")
        return Rounded(index)

    def value(self, level: int) -> str:
        """Return the option's name."""
        return self.options[level]

    def text(self, level: int) -> str:
        """Return the option's name."""
        return self.options[level]

    def from_text(self, text: str) -> str:
        """Return the option's name as it was written."""
        return text

    def warns_when(self) -> list[str]:
        """Return the options to warn of."""
        return _warns_of(self.warn)

    def warnings(self, level: int) -> Sequence[str]:
        """Return a warning if the option is one to warn of."""
        return [f"{self.title}: {self.options[level]}"] if level in self._warned else ()


class Flags(FieldBase):
    """Several yes-or-no facts at once; bit n of the level is the n-th flag."""

    kind: Literal["flags"]
    flags: list[str] = takes(min_length=1, max_length=32, description="The names, in order.")
    warn: list[str] = takes(
        default_factory=list, description="Flags that carry a warning when set."
    )
    usual: list[str] | None = takes(default=None, description="The flags usually set; [] for none.")

    described: ClassVar[str] = "flags"
    numbering: ClassVar[str] = "flags as bits, the first is 1"
    reports_warnings: ClassVar[bool] = True

    def problems(self) -> Iterator[Problem]:
        """Yield flags that do not differ or can't be listed, and what names no flag."""
        yield from not_unique(self.flags, "flags", "flag")
        for number, name in enumerate(self.flags):
            if "," in name or name.casefold() == "none":
                yield Problem(
                    ("flags", number),
                    f"flag {name!r}: a name without comma, and not 'none', is needed",
                    "flags set are listed with commas",
                )
        yield from not_among(self.flags, self.warn, "warn", "flags")
        yield from not_among(self.flags, self.usual or [], "usual", "flags")

    @property
    def value_names(self) -> Sequence[str]:
        """The flags."""
        return self.flags

    @property
    def size(self) -> int:
        """The number of sets of flags."""
        return 1 << len(self.flags)

    @property
    def domain(self) -> str:
        """The flags."""
        return "any of " + ", ".join(self.flags) + " (or none)"

    @property
    def usual_level(self) -> int | None:
        """The level of the usual set of flags."""
        return None if self.usual is None else self.level(self.usual).level

    def level(self, value: Any) -> Rounded:
        """Return the level of a set of names; text is split at commas, and "none" or "" is the
        empty set.
        """
        if isinstance(value, str):
            value = [] if value.strip().casefold() in ("", "none") else value.split(",")
        if not isinstance(value, Iterable):
            raise self.refuse(value, "a set of flags is expected")
        level = 0
        for name in value:
            index = labelled(self.flags, name)
            if index is None:
                raise self.refuse(name, f"no flag {str(name)[:40]!r}")
            level |= 1 << index
        return Rounded(level)

    def value(self, level: int) -> frozenset[str]:
        """Return the names of the flags set."""
        return frozenset(name for bit, name in enumerate(self.flags) if level >> bit & 1)

    def text(self, level: int) -> str:
        """Write the flags set in the book's order, or "none"."""
        return ", ".join(name for bit, name in enumerate(self.flags) if level >> bit & 1) or "none"

    def from_text(self, text: str) -> frozenset[str]:
        """Return the flags that were written with commas between them."""
        return frozenset() if text == "none" else frozenset(text.split(", "))

    def harm(self, said: int, read: int) -> float:
        """Return the share of the flags that differ."""
        return (said ^ read).bit_count() / len(self.flags)

    def warns_when(self) -> list[str]:
        """Return the flags to warn of."""
        return _warns_of(self.warn)

    def warnings(self, level: int) -> Sequence[str]:
        """Return one warning for each flag set that is to warn."""
        return [
            f"{self.title}: {n}"
            for bit, n in enumerate(self.flags)
            if level >> bit & 1 and labelled(self.warn, n) is not None
        ]


def _warns_of(names: Sequence[str]) -> list[str]:
    return ["warns of " + ", ".join(names)] if names else []
