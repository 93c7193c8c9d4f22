"""Parts of a book that are declared once: a plain class with its keys, and out of the same
declaration the pydantic model that checks a document for them.

A program that only rebuilds what was checked before makes the plain objects and loads no pydantic;
the model is made when a document is to be checked, or its format told.
"""

from __future__ import annotations

import functools
import inspect
import operator
import typing
from abc import ABC
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Annotated, Any, ClassVar, Self, dataclass_transform

from grammar.errors import Problem

if TYPE_CHECKING:
    from pydantic import BaseModel, GetCoreSchemaHandler
    from pydantic_core import CoreSchema

_NEEDED: Any = object()  # in place of a default, for keys that a document has to give


@dataclass(frozen=True, slots=True)
class Key:
    """What is declared of a key besides its type: its default, and pydantic's settings for it."""

    default: Any
    factory: Callable[[], Any] | None
    settings: Mapping[str, Any]

    def value(self) -> Any:
        """Return what a key is that is not given."""
        return self.default if self.factory is None else self.factory()


def takes(
    *,
    default: Any = _NEEDED,
    default_factory: Callable[[], Any] | None = None,
    description: str = "",
    **bounds: Any,
) -> Any:
    """Declare a key: its default (none: it is needed), what it means, and the bounds of its value
    as pydantic names them.
    """
    if description:
        bounds["description"] = description
    return Key(default, default_factory, bounds)


@dataclass(frozen=True, slots=True)
class Checked:
    """Annotates a type with how pydantic checks it: ``make`` returns the annotation in pydantic's
    own terms, when there is a document to check.
    """

    make: Callable[[], Any]

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        """Return the schema of what is made."""
        return handler.generate_schema(self.make())


@dataclass(frozen=True, slots=True)
class OneKindOf:
    """Annotates a part that is of one of several kinds, told apart by their key ``kind``."""

    kinds: Sequence[type[Declared]]

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        """Return the schema of the union of the kinds there are when a model is built."""
        from pydantic import Field

        union = functools.reduce(operator.or_, self.kinds)
        return handler.generate_schema(Annotated[union, Field(discriminator="kind")])


@dataclass_transform(kw_only_default=True, frozen_default=True, field_specifiers=(takes,))
class Declared(ABC):
    """A part of a book: its annotated attributes are its keys, and nothing of it changes.

    Made by hand it takes its keys as they are; ``read`` checks them, and so does every model of
    pydantic that holds such a part.
    """

    declared: ClassVar[dict[str, Key]] = {}
    _given: frozenset[str]

    def __init_subclass__(cls, **options: Any) -> None:
        """Gather the keys, those of the bases first."""
        super().__init_subclass__(**options)
        own: dict[str, Key] = {}
        for name, annotation in inspect.get_annotations(cls).items():
            if name.startswith("_") or str(annotation).startswith("ClassVar"):
                continue
            setting = cls.__dict__.get(name, _NEEDED)
            own[name] = setting if isinstance(setting, Key) else Key(setting, None, {})
            if name in cls.__dict__:
                delattr(cls, name)
        cls.declared = {**cls.declared, **own}

    def __init__(self, **given: Any) -> None:
        """Take the keys given, and the defaults of the others; raises TypeError for a key that is
        unknown or needed.
        """
        values = self.__dict__
        for name, one in self.declared.items():
            values[name] = given[name] if name in given else one.value()
            if values[name] is _NEEDED:
                raise TypeError(f"{type(self).__name__} needs {name!r}")
        if not given.keys() <= self.declared.keys():
            unknown = ", ".join(given.keys() - self.declared.keys())
            raise TypeError(f"{type(self).__name__} has no {unknown}")
        values["_given"] = frozenset(given)

    def __setattr__(self, name: str, value: object) -> None:
        """Refuse: nothing changes after loading."""
        raise AttributeError(f"{type(self).__name__}.{name} can't be changed")

    def __eq__(self, other: object) -> bool:
        return type(self) is type(other) and all(
            self.__dict__[name] == getattr(other, name) for name in self.declared
        )

    def __hash__(self) -> int:
        found: int | None = self.__dict__.get("_hash")
        if found is None:  # worked out once, as nothing changes
            found = self.__dict__["_hash"] = hash((type(self), repr(self)))
        return found

    def __getstate__(self) -> dict[str, Any]:
        """Return what is pickled: not the hash, which is another in another process."""
        return {name: value for name, value in self.__dict__.items() if name != "_hash"}

    def __repr__(self) -> str:
        told = ", ".join(f"{name}={getattr(self, name)!r}" for name in self.declared)
        return f"{type(self).__name__}({told})"

    def problems(self) -> Iterator[Problem]:
        """Yield what does not fit in this part, each with its keys from here."""
        yield from ()

    def given_keys(self) -> dict[str, Any]:
        """Return the keys that were given, in the order of their declaration."""
        return {name: getattr(self, name) for name in self.declared if name in self._given}

    @classmethod
    def read(cls, raw: object) -> Self:
        """Return the part that a document holds; raises pydantic's ValidationError."""
        return cls._of(cls.model().model_validate(raw))

    @classmethod
    def model(cls) -> type[BaseModel]:
        """Return the pydantic model of the keys."""
        return _model(cls)

    @classmethod
    def _of(cls, model: BaseModel) -> Self:
        from grammar.problems import refuse

        made = cls(**{name: getattr(model, name) for name in model.model_fields_set})
        refuse(made.problems())
        return made

    @classmethod
    def __get_pydantic_core_schema__(
        cls, source: object, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        """Return the model's schema, and behind it the step from its object to a plain one."""
        from pydantic_core import core_schema

        return core_schema.no_info_after_validator_function(
            cls._of,
            handler.generate_schema(cls.model()),
            serialization=core_schema.plain_serializer_function_ser_schema(_told),
        )


@functools.cache
def _model(cls: type[Declared]) -> type[BaseModel]:
    from pydantic import ConfigDict, Field, create_model

    base: type[Declared] = next(one for one in cls.__mro__[1:] if issubclass(one, Declared))
    hints = typing.get_type_hints(cls, include_extras=True)
    own: dict[str, Any] = {}
    for name in inspect.get_annotations(cls):
        if name in cls.declared:
            one = cls.declared[name]
            default = {} if one.default is _NEEDED else {"default": one.default}
            factory = {} if one.factory is None else {"default_factory": one.factory}
            own[name] = (hints[name], Field(**(factory or default), **one.settings))
    strict = ConfigDict(extra="forbid", frozen=True, defer_build=True, validate_default=False)
    made: type[BaseModel] = create_model(
        cls.__name__,
        __doc__=cls.__doc__,
        __module__=cls.__module__,
        **({"__config__": strict} if base is Declared else {"__base__": base.model()}),
        **own,
    )
    return made


def _told(value: Any) -> Any:
    """Return a part as JSON has it, with the keys that were given; numbers that are exact as
    text.
    """
    if isinstance(value, Declared):
        return {name: _told(one) for name, one in value.given_keys().items()}
    if isinstance(value, Mapping):
        return {name: _told(one) for name, one in value.items()}
    if isinstance(value, list):
        return [_told(one) for one in value]
    return str(value) if isinstance(value, Decimal) else value
