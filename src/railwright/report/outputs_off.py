"""How the outputs went off, in words, from what a run's folder says of each input."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from railwright.quantities import show
from railwright.records.ends import last_told


def outputs_off(switched_off: Mapping[str, Mapping[str, Any]]) -> tuple[tuple[str, str], ...]:
    """(input, how its outputs went off) of each input, in the order of the mapping.

    switched_off: as in `run.json`; `confirmed`, `holds` [V] and `stays_on` are missing in an earlier
    version's. "Off" is said only where it was read.
    """
    return tuple((name, _words(off)) for name, off in switched_off.items())


def _words(off: Mapping[str, Any]) -> str:
    if off.get("stays_on"):
        return f"stays on, because {str(off['stays_on']).removeprefix('because ')}"
    if off.get("confirmed") is None:
        return _earlier(off)
    if not off["confirmed"]:
        return f"off not confirmed{last_told(off, ', ')}"
    if off.get("holds") is not None:
        return f"off confirmed, device holds {show(float(off['holds']), 'V')}"
    return f"off confirmed{_fell(off)}"


def _earlier(off: Mapping[str, Any]) -> str:
    """Of a version that asked for the output's state, and did not confirm off by current and voltage."""
    version = " (as recorded by an earlier version)"
    if not off.get("verified"):
        return f"off not confirmed{last_told(off, ', ')}{version}"
    return f"state read as off{_fell(off) or last_told(off, ', ')}{version}"


def _fell(off: Mapping[str, Any]) -> str:
    if off.get("fell_after") is None or off.get("threshold") is None:
        return ""
    return f", below {show(float(off['threshold']), 'V')} after {show(float(off['fell_after']), 's')}"
