"""Inspecting a file: reading it, finding every problem in it at once, and telling each with its
place.

The same for every kind of file (books, needs, events, profiles); ``DocumentFormat`` is what they
differ in.
Where something is wrong, the rest is checked without it, and what refers to what was left out is
not blamed.
"""

from __future__ import annotations

import copy
import difflib
import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Generic, Self, TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError, model_validator

from grammar.document import MOST_BYTES, TOML, Syntax, place_of, read
from grammar.errors import DocumentError, Keys, Problem, visible
from grammar.problems import NOTHING, inside, problems_of, refuse

Model = TypeVar("Model", bound=BaseModel)
# context of validation: entries were left out because they are wrong, so none may be left
PARTLY = "partly"
_MOST_ROUNDS = 6  # what is found only once something else was left out
_MOST_ITEMS = 10**9  # of a list
_OF_ANY = ("title", "notes")  # keys that tell nothing of what kind a file is


class Strict(BaseModel):
    """Base of the models of files: unknown keys are problems, nothing changes after loading."""

    model_config = ConfigDict(extra="forbid", frozen=True, defer_build=True, validate_default=False)

    def problems(self) -> Iterator[Problem]:
        """Yield what does not fit in this part, each with its keys from here."""
        yield from ()

    @model_validator(mode="after")
    def _all_fits(self) -> Self:
        refuse(self.problems())
        return self


@dataclass(frozen=True)
class DocumentFormat(Generic[Model]):
    """A kind of file: ``what`` it is called ("a book"), its model, the error that tells its
    problems, and the slug of their kind.

    ``stand_ins`` are sections to go on with where one that is needed is wrong; a format whose parts
    hang together in other ways overrides ``part`` and ``take_out``.
    """

    what: str
    model: type[Model]
    error: type[DocumentError]
    kind: str
    stand_ins: Mapping[str, Any] = field(default_factory=dict)
    syntax: Syntax = TOML
    most: int = MOST_BYTES

    def read(self, path: str | Path) -> str:
        """Return the text of such a file; raises the format's error where it can't be read."""
        return read(Path(path), self.what, self.error, self.syntax.name, self.most)

    def part(self, keys: Keys) -> Keys:
        """Return the keys of the smallest part that can be left out where something is wrong at
        ``keys``: the rest has its meaning without.
        """
        return keys[:2]

    def take_out(self, left: dict[str, Any], keys: Keys) -> Keys | None:
        """Take a part out of a document; return the keys of what is not known without it, None
        where the rest can't be checked.
        """
        if len(keys) > 1:
            del inside(left, *keys[:-1])[keys[-1]]
        elif not keys or (
            keys[0] in self.model.model_fields
            and self.model.model_fields[str(keys[0])].is_required()
            and keys[0] not in self.stand_ins
        ):
            return None
        elif keys[0] in self.stand_ins:
            left[str(keys[0])] = copy.deepcopy(self.stand_ins[str(keys[0])])
        else:
            left.pop(str(keys[0]), None)
        return keys

    def inspect(self, text: str, name: str) -> Inspection[Model]:
        """Begin to inspect a text; raises the format's error where it isn't even TOML or JSON."""
        return Inspection(self, text, name)


class Inspection(Generic[Model]):
    """The problems found in a file so far, and what was left out of it to go on.

    ``raw`` is what the file holds, as it stands.
    """

    def __init__(
        self,
        form: DocumentFormat[Model],
        text: str,
        name: str,
        raw: dict[str, Any] | None = None,
    ) -> None:
        """Read the text, if what it holds is not known."""
        self.form, self.name = form, name
        self._text = text.removeprefix("\ufeff").replace("\r\n", "\n")
        self._found: list[Problem] = []
        self._left_out: set[Keys] = set()
        self._above: set[Keys] = set()  # what holds something that was left out, and that itself
        try:
            self.raw = form.syntax.parse(self._text) if raw is None else raw
        except Problem as problem:
            raise form.error([problem], name=name) from None

    def note(self, *problems: Problem) -> None:
        """Take in problems, but those that rest on what was left out."""
        for problem in problems:
            keys = self._as_written(problem.keys)
            if keys not in self._above and not any(map(self.lacks, problem.rests_on)):
                self._found.append(problem.at(keys))

    def lacks(self, keys: Keys) -> bool:
        """Tell whether something was left out that stands at ``keys``, or holds it."""
        return any(keys[:length] in self._left_out for length in range(1, len(keys) + 1))

    def leave_out(self, keys: Keys) -> None:
        """Remember that what stands at ``keys`` is wrong: what rests on it is not told."""
        self._left_out.add(keys)
        self._above.update(keys[:length] for length in range(1, len(keys) + 1))

    def settle(self) -> None:
        """Raise the format's error with every problem at its place; do nothing where there is
        none.
        """
        if self._found:
            places = self.form.syntax.places(self._text)
            raise self.form.error(
                [
                    problem.placed(self._text, place_of(places, problem.keys), self.form.kind)
                    for problem in self._found
                ],
                name=self.name,
            )

    def model(self) -> Model:
        """Return the model of the file; where something is wrong, of the file without it, so that
        the rest can be checked as well. Raises the format's error where too little is left.
        """
        self._refuse_others()
        left: dict[str, Any] | None = self.raw
        for _ in range(_MOST_ROUNDS):
            if left is None:
                break
            try:
                return self.form.model.model_validate(left, context=PARTLY if self._found else None)
            except ValidationError as error:
                left = self._without(left, problems_of(error, left, self.form.model))
        self.settle()
        raise AssertionError("a file without problems has a model")  # pragma: no cover

    def _without(self, left: dict[str, Any], problems: Sequence[Problem]) -> dict[str, Any] | None:
        """Note problems, and return the document without the parts that they are about."""
        self.note(*problems)
        parts: set[Keys] = set()
        unknown: set[Keys] = set()  # keys that nobody knows go alone
        lacking: list[Keys] = []
        for problem in problems:
            meant = problem.meant
            if meant is None or (meant and self.form.part(meant) != meant):
                parts.add(_standing(left, self.form.part(meant or problem.keys)))
            else:
                unknown.add(problem.keys)
                lacking += [meant] if meant else []
        left = copy.deepcopy(left)
        for keys in sorted(parts | unknown, key=lambda keys: (_last_first(keys), str(keys))):
            if any(keys[:length] in parts for length in range(1, len(keys))):
                continue  # it goes with what holds it
            gone = self.form.take_out(left, keys)
            if gone is None:
                return None
            if gone and keys not in unknown:
                lacking.append(self._as_written(gone))
        for keys in lacking:
            self.leave_out(keys)
        return left

    def _as_written(self, keys: Keys) -> Keys:
        """Return keys with the numbers that items of lists have in the file: some may have been
        left out.
        """
        place = next((place for place, key in enumerate(keys) if isinstance(key, int)), 0)
        holder = keys[:place]
        if holder not in self._above:
            return keys
        there = (n for n in itertools.count() if (*holder, n) not in self._left_out)
        number = next(itertools.islice(there, int(keys[place]), None))
        return (*holder, number, *keys[place + 1 :])

    def _refuse_others(self) -> None:
        """Raise one clear problem where the file is of another kind: most of its keys are like none
        of this one's.
        """
        known = [key for key in self.form.model.model_fields if key not in _OF_ANY]
        strange = [
            key for key, value in self.raw.items() if isinstance(value, dict) and key not in _OF_ANY
        ]
        if len(strange) <= 1 or set(strange) & set(known):
            return
        near = [key for key in strange if difflib.get_close_matches(key[:100], known, n=1)]
        if len(near) * 2 >= len(strange):
            return
        needed = [key for key, one in self.form.model.model_fields.items() if one.is_required()]
        problem = Problem(
            (),
            visible(f"this is not {self.form.what}: it has {', '.join(strange[:6])}"),
            f"{self.form.what} has {', '.join((needed or known)[:6])}; are two arguments in each"
            " other's place?",
        )
        raise self.form.error([problem.placed("", None, self.form.kind)], name=self.name)


def _standing(left: Mapping[str, Any], keys: Keys) -> Keys:
    """Return keys as far as they lead to something."""
    while len(keys) > 1 and inside(left, *keys) is NOTHING:
        keys = keys[:-1]
    return keys


def _last_first(keys: Keys) -> int:
    """Sort what is no place of a list first, then the last places of lists: what is taken out of a
    list moves those behind it.
    """
    return -keys[-1] if keys and isinstance(keys[-1], int) else -_MOST_ITEMS
