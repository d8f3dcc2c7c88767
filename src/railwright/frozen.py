"""What was worked out once serves every question after it: mappings that stay as they are, results that are
kept.

A frozen mapping is a dict all the same, so that it can be pickled, copied and written as JSON, unlike
`types.MappingProxyType`. Standard library only.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import wraps
from typing import Any, Concatenate, NoReturn, ParamSpec, TypeVar

K = TypeVar("K")
V = TypeVar("V")
Owner = TypeVar("Owner")
Given = ParamSpec("Given")


class FrozenDict(dict[K, V]):
    """A dict that cannot be changed: TypeError. `dict(...)` of it can."""

    def _refuse(self, *_: Any, **__: Any) -> NoReturn:
        raise TypeError("expected a mapping that stays as it is, got a change of it; change a copy of it")

    __setitem__ = __delitem__ = __ior__ = _refuse
    clear = pop = popitem = setdefault = update = _refuse

    def __reduce__(self) -> tuple[type[FrozenDict[K, V]], tuple[dict[K, V]]]:
        return FrozenDict, (dict(self),)


def freeze(made: object, *fields: str) -> None:
    """Keep these fields of a frozen dataclass from changes, those of them that are a dict; for its
    `__post_init__`.
    """
    for name, value in frozen_values({name: getattr(made, name) for name in fields}).items():
        object.__setattr__(made, name, value)


def frozen_values(values: Mapping[str, Any]) -> dict[str, Any]:
    """Those of the values that are a dict, frozen."""
    return {name: FrozenDict(value) for name, value in values.items() if type(value) is dict}


def kept(method: Callable[Concatenate[Owner, Given], V]) -> Callable[Concatenate[Owner, Given], V]:
    """A method of an object that stays as it is, which is worked out once for the same arguments: its results
    are kept with the object, in its `__dict__`.
    """
    place = f"_kept_{method.__name__}"

    @wraps(method)
    def found(self: Owner, /, *given: Given.args, **named: Given.kwargs) -> V:
        results: dict[Any, V] = vars(self).setdefault(place, {})
        asked = given, *named.items()
        if asked not in results:
            results[asked] = method(self, *given, **named)
        return results[asked]

    return found
