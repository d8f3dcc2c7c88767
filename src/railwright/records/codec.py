"""Values as JSON and back, each format stated once for both directions; standard library only.

A `Codec` writes a value as what JSON has, and reads it back. Codecs are put together: `fields` of a dataclass
from those of its fields, `many`, `optional`, `by_name`. What is read may come from anywhere: `read` raises
KeyError, TypeError or ValueError where it is something else.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Generic, TypeVar

T = TypeVar("T")
E = TypeVar("E", bound=StrEnum)

_NOTHING: Any = object()


@dataclass(frozen=True, slots=True)
class Codec(Generic[T]):
    """How a value is written, and read back."""

    write: Callable[[T], Any]
    read: Callable[[Any], T]


@dataclass(frozen=True, slots=True)
class Key:
    """A key that is not just the field of its name.

    codec: of its value; None: the key is written for readers and not read back. field: which field holds the
    value; '': the one of the key's name. of: what is written, from the whole value, where that is not the
    field as it is. missing: the field's value where an earlier version did not write the key; left out: the
    key has to be there.
    """

    codec: Codec[Any] | None = None
    field: str = ""
    of: Callable[[Any], Any] | None = None
    missing: Any = _NOTHING


def derived(of: Callable[[Any], Any]) -> Key:
    """A key that follows from the rest: written for readers, as it is, and not read back."""
    return Key(of=of)


def fields(made: type[T], **keys: Codec[Any] | Key) -> Codec[T]:
    """Of a dataclass: a mapping with these keys, in this order."""
    known = {name: each if isinstance(each, Key) else Key(each) for name, each in keys.items()}

    def write(value: T) -> dict[str, Any]:
        data = {}
        for name, key in known.items():
            own = getattr(value, key.field or name) if key.of is None else key.of(value)
            data[name] = own if key.codec is None else key.codec.write(own)
        return data

    def read(data: Any) -> T:
        if not isinstance(data, Mapping):
            raise TypeError(f"expected keys with values, got {type(data).__name__}")
        own = {
            key.field or name: key.missing
            if name not in data and key.missing is not _NOTHING
            else key.codec.read(data[name])
            for name, key in known.items()
            if key.codec is not None
        }
        return made(**own)

    return Codec(write, read)


def many(each: Codec[T]) -> Codec[tuple[T, ...]]:
    """Of several: a list."""

    def read(data: Any) -> tuple[T, ...]:
        if not isinstance(data, list):
            raise TypeError(f"expected a list, got {type(data).__name__}")
        return tuple(each.read(item) for item in data)

    return Codec(lambda values: [each.write(value) for value in values], read)


def optional(each: Codec[T]) -> Codec[T | None]:
    """Of a value that may not be there: null."""
    return Codec(
        lambda value: None if value is None else each.write(value),
        lambda data: None if data is None else each.read(data),
    )


def by_name(each: Codec[T], field: str) -> Codec[Mapping[str, T]]:
    """Of values by their names: a mapping. field: the key of each value that holds its name, not written
    again.
    """

    def write(values: Mapping[str, T]) -> dict[str, Any]:
        data = {name: dict(each.write(value)) for name, value in values.items()}
        for entry in data.values():
            del entry[field]
        return data

    def read(data: Any) -> dict[str, T]:
        if not isinstance(data, Mapping):
            raise TypeError(f"expected names with values, got {type(data).__name__}")
        return {name: each.read({**entry, field: name}) for name, entry in data.items()}

    return Codec(write, read)


def choice(kinds: type[E]) -> Codec[E]:
    """Of one of an enumeration: its word."""
    return Codec(str, kinds)


def number(null: float | None = None) -> Codec[float]:
    """Of a number. null: which number a null stands for, for JSON has neither infinity nor NaN."""

    def write(value: float | None) -> float | None:
        if null is None:
            return value
        return float(value) if value is not None and math.isfinite(value) else None

    def read(data: Any) -> float:
        return null if data is None and null is not None else _within(float, data)

    return Codec(write, read)


def _within(kind: Callable[[Any], T], data: Any) -> T:
    """A number as this kind of number; a whole number may be larger than any other, and infinity is none."""
    try:
        return kind(data)
    except OverflowError as error:
        raise ValueError(str(error)) from None


def _as_text(data: Any) -> str:
    if not isinstance(data, str):
        raise TypeError(f"expected text, got {type(data).__name__}")
    return data


TEXT: Codec[str] = Codec(str, _as_text)
NUMBER: Codec[float] = number()
WHOLE: Codec[int] = Codec(int, lambda data: _within(int, data))
FLAG: Codec[bool] = Codec(bool, bool)
