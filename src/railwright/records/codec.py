"""Values as JSON and back, each format stated once for both directions; standard library only.

A `Codec` writes a value as what JSON has, and reads it back. Codecs are put together: `fields` of a dataclass
from those of its fields, `many`, `optional`, `named`, `by_name`. What is read may come from anywhere: `read`
raises `Misfit` where it is something else.
"""

from __future__ import annotations

import math
import reprlib
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Generic, TypeVar

T = TypeVar("T")
E = TypeVar("E", bound=StrEnum)

_NOTHING: Any = object()


class Misfit(ValueError):
    """Data that are something else than was expected; as text: where in them, what was expected, what came.

    place: keys and positions, from the whole to the part.
    """

    def __init__(self, told: str, *place: str | int) -> None:
        self.told, self.place = told, place
        where = "".join(f"[{each}]" if isinstance(each, int) else f".{each}" for each in place)
        super().__init__(f"{where.removeprefix('.')}: {told}" if where else told)


@contextmanager
def placed(*place: str | int) -> Iterator[None]:
    """What is no fit inside is said to be at this place."""
    try:
        yield
    except Misfit as error:
        raise Misfit(error.told, *place, *error.place) from None
    except (KeyError, TypeError, ValueError, OverflowError) as error:
        raise Misfit(f"expected another value, got {error!r}", *place) from None


def _unfit(wanted: str, data: Any) -> Misfit:
    return Misfit(f"expected {wanted}, got {reprlib.repr(data)}")


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
        data, own = _as_mapping(data), {}
        for name, key in known.items():
            if key.codec is None:
                continue
            with placed(name):
                if name in data:
                    own[key.field or name] = key.codec.read(data[name])
                elif key.missing is _NOTHING:
                    raise Misfit("expected a value, got none")
                else:
                    own[key.field or name] = key.missing
        return made(**own)

    return Codec(write, read)


def many(each: Codec[T]) -> Codec[tuple[T, ...]]:
    """Of several: a list."""

    def read(data: Any) -> tuple[T, ...]:
        if not isinstance(data, list):
            raise _unfit("a list", data)
        return tuple(_read_at(place, each, item) for place, item in enumerate(data))

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
        return {
            name: _read_at(name, each, {**_as_mapping(entry), field: name})
            for name, entry in _as_mapping(data).items()
        }

    return Codec(write, read)


def named(each: Codec[T]) -> Codec[Mapping[str, T]]:
    """Of values that do not hold their names: a mapping."""
    return Codec(
        lambda values: {name: each.write(value) for name, value in values.items()},
        lambda data: {name: _read_at(name, each, value) for name, value in _as_mapping(data).items()},
    )


def _read_at(place: str | int, each: Codec[T], data: Any) -> T:
    with placed(place):
        return each.read(data)


def _as_mapping(data: Any) -> Mapping[str, Any]:
    if not isinstance(data, Mapping):
        raise _unfit("keys with values", data)
    return data


def choice(kinds: type[E]) -> Codec[E]:
    """Of one of an enumeration: its word."""
    words = [str(each) for each in kinds]

    def read(data: Any) -> E:
        if data not in words:
            raise _unfit(f"one of {', '.join(words)}", data)
        return kinds(data)

    return Codec(str, read)


def number(null: float | None = None) -> Codec[float]:
    """Of a number. null: which number a null stands for, for JSON has neither infinity nor NaN."""

    def write(value: float | None) -> float | None:
        if null is None:
            return value
        return float(value) if value is not None and math.isfinite(value) else None

    def read(data: Any) -> float:
        return null if data is None and null is not None else _as_number(data)

    return Codec(write, read)


def _as_number(data: Any) -> float:
    """A number that JSON has: finite, and none that is too large for what computes with it."""
    if isinstance(data, int | float) and not isinstance(data, bool):
        with suppress(OverflowError):
            if math.isfinite(found := float(data)):
                return found
    raise _unfit("a number", data)


def _as_whole(data: Any) -> int:
    if isinstance(data, bool) or not isinstance(data, int):
        raise _unfit("a whole number", data)
    return data


def _as_flag(data: Any) -> bool:
    if not isinstance(data, bool):
        raise _unfit("true or false", data)
    return data


def _as_text(data: Any) -> str:
    if not isinstance(data, str):
        raise _unfit("text", data)
    return data


TEXT: Codec[str] = Codec(str, _as_text)
NUMBER: Codec[float] = number()
WHOLE: Codec[int] = Codec(int, _as_whole)
FLAG: Codec[bool] = Codec(bool, _as_flag)
