"""From a load's number to its equations: one compiled function over all announced loads for each kind of
equation.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from railwright.compilation import Compiler, compiled, inlined, with_callees
from railwright.physics.layout import FLAG_AT, KIND, PARAMETER_AT, STATE_AT, AnySystem, Array
from railwright.physics.loads import KINDS, inside, kind_of
from railwright.physics.loads.law import DEFAULTS

COMPILED_KINDS = (*KINDS, inside.NAME)
"""Load kinds in the order of their numbers, as they were announced when this module was first imported."""


def _choice(name: str, arguments: str, how: Compiler = compiled) -> Callable[..., Any]:
    """A compiled function `(kind, *arguments)` that calls the function `name` of the load with that number.

    It is written as one chain of comparisons, which compiles into a jump, from the numbers of the loads
    alone; those that have no such function of their own come last, together.
    """
    lines = [f"def load_{name}(kind, {arguments}):"]
    functions: dict[str, Callable[..., Any]] = {}
    for number, kind in enumerate(COMPILED_KINDS):
        equation = kind_of(kind).equation(name)
        if equation is not DEFAULTS.get(name):
            functions[f"load_{number}"] = last = with_callees(equation, how)
            lines += [f"    if kind == {number}:", f"        return load_{number}({arguments})"]
    functions["load_other"] = with_callees(DEFAULTS[name], how) if name in DEFAULTS else last
    lines.append(f"    return load_other({arguments})")
    exec("\n".join(lines), functions)  # the text holds nothing but numbers and the names above
    return how(functions[f"load_{name}"])


load_current = _choice("current", "v, t, p, y, q", inlined)
"""(kind, v, t, p, y, q) -> current [A]"""
load_region = _choice("region", "v, t, p, y, q")
"""(kind, v, t, p, y, q) -> region"""
load_derivatives = _choice("derivatives", "v, t, p, y, q, dy", inlined)
"""(kind, v, t, p, y, q, dy): writes dy"""
load_enter = _choice("enter", "region, t, p, q")
"""(kind, region, t, p, q) -> 0, or the number of the load's event + 1"""
load_corner = _choice("corner", "t, p, q")
"""(kind, t, p, q) -> next time at which its law has a corner [s]"""


@inlined
def load_parts(m: int, system: AnySystem) -> tuple[int, Array, Array, int, int]:
    """Of the load m: its kind, its parameters, its flags, and where its states begin and end."""
    at = system.loads
    p = system.parameters[at[m, PARAMETER_AT] : at[m + 1, PARAMETER_AT]]
    q = system.flags[at[m, FLAG_AT] : at[m + 1, FLAG_AT]]
    return at[m, KIND], p, q, at[m, STATE_AT], at[m + 1, STATE_AT]
