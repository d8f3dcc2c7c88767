"""From a load's number to its equations: one compiled function over all announced loads for each kind of
equation.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from types import FunctionType
from typing import Any

from railwright.physics.compiled import compiled
from railwright.physics.loads import KINDS

COMPILED_KINDS = tuple(KINDS)
"""Load kinds in the order of their numbers, as they were announced when this module was first imported."""


@cache
def _once(function: Callable[..., Any]) -> Callable[..., Any]:
    """Compile a function of a load, with the plain functions of its own module that it calls."""
    if not isinstance(function, FunctionType):
        return compiled(function)
    known = function.__globals__
    called = {
        name: _once(known[name])
        for name in function.__code__.co_names
        if isinstance(known.get(name), FunctionType) and known[name].__module__ == function.__module__
    }
    if called:
        function = FunctionType(function.__code__, {**known, **called}, function.__name__)
    return compiled(function)


def _choice(name: str, arguments: str) -> Callable[..., Any]:
    """A compiled function `(kind, *arguments)` that calls the function `name` of the load with that number.

    It is written as one chain of comparisons, which compiles into a jump, from the numbers of the loads
    alone.
    """
    lines = [f"def load_{name}(kind, {arguments}):"]
    functions: dict[str, Callable[..., Any]] = {}
    for number, kind in enumerate(COMPILED_KINDS):
        functions[f"load_{number}"] = _once(KINDS[kind].equation(name))
        if number < len(COMPILED_KINDS) - 1:
            lines.append(f"    if kind == {number}:")
            lines.append(f"        return load_{number}({arguments})")
        else:
            lines.append(f"    return load_{number}({arguments})")
    exec("\n".join(lines), functions)  # the text holds nothing but numbers and the names above
    return compiled(functions[f"load_{name}"])


load_current = _choice("current", "v, t, p, y, q")
"""(kind, v, t, p, y, q) -> current [A]"""
load_region = _choice("region", "v, t, p, y, q")
"""(kind, v, t, p, y, q) -> region"""
load_derivatives = _choice("derivatives", "v, t, p, y, q, dy")
"""(kind, v, t, p, y, q, dy): writes dy"""
load_enter = _choice("enter", "region, t, p, q")
"""(kind, region, t, p, q) -> 0, or the number of the load's event + 1"""
load_corner = _choice("corner", "t, p, q")
"""(kind, t, p, q) -> next time at which its law has a corner [s]"""
