"""From a load's number to its equations: chains of compiled functions over all announced loads."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from railwright.physics.compiled import compiled
from railwright.physics.loads import KINDS

COMPILED_KINDS = tuple(KINDS)
"""Load kinds in the order of their numbers, as they were announced when this module was first imported."""


def _current(functions: list[Callable[..., Any]]) -> Callable[..., Any]:
    first = compiled(functions[0])
    if len(functions) == 1:

        def last(kind, v, t, p, y, q):  # type: ignore[no-untyped-def]
            return first(v, t, p, y, q)

        return compiled(last)
    others, number = _current(functions[1:]), len(COMPILED_KINDS) - len(functions)

    def call(kind, v, t, p, y, q):  # type: ignore[no-untyped-def]
        if kind == number:
            return first(v, t, p, y, q)
        return others(kind, v, t, p, y, q)

    return compiled(call)


def _derivatives(functions: list[Callable[..., Any]]) -> Callable[..., Any]:
    first = compiled(functions[0])
    if len(functions) == 1:

        def last(kind, v, t, p, y, q, dy):  # type: ignore[no-untyped-def]
            first(v, t, p, y, q, dy)

        return compiled(last)
    others, number = _derivatives(functions[1:]), len(COMPILED_KINDS) - len(functions)

    def call(kind, v, t, p, y, q, dy):  # type: ignore[no-untyped-def]
        if kind == number:
            first(v, t, p, y, q, dy)
        else:
            others(kind, v, t, p, y, q, dy)

    return compiled(call)


def _enter(functions: list[Callable[..., Any]]) -> Callable[..., Any]:
    first = compiled(functions[0])
    if len(functions) == 1:

        def last(kind, region, t, p, q):  # type: ignore[no-untyped-def]
            return first(region, t, p, q)

        return compiled(last)
    others, number = _enter(functions[1:]), len(COMPILED_KINDS) - len(functions)

    def call(kind, region, t, p, q):  # type: ignore[no-untyped-def]
        if kind == number:
            return first(region, t, p, q)
        return others(kind, region, t, p, q)

    return compiled(call)


_MODULES = [KINDS[name].equations for name in COMPILED_KINDS]
load_current = _current([module.current for module in _MODULES])
"""(kind, v, t, p, y, q) -> current [A]"""
load_region = _current([module.region for module in _MODULES])
"""(kind, v, t, p, y, q) -> region"""
load_derivatives = _derivatives([module.derivatives for module in _MODULES])
"""(kind, v, t, p, y, q, dy): writes dy"""
load_enter = _enter([module.enter for module in _MODULES])
"""(kind, region, t, p, q) -> 0, or the number of the load's event + 1"""
