"""Faults that a twin can be given: what lies wrong between its outputs and the device, before it starts.

Each is a line of words: `short main`, `exchanged main aux`, `sense reversed main`. What a fault does to the
device's insides is in no document; what is assumed of it is declared.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from railwright.physics.circuit import Load

SHORT = 10e-3
"""Resistance of a short across the connector [Ω] (declared)."""

KINDS = {
    "short": 1,
    "open": 1,
    "reversed": 1,
    "exchanged": 2,
    "sense open": 1,
    "sense reversed": 1,
    "sense shorted": 1,
    "sense crossed": 2,
    "probe off": 1,
    "contact welded": 1,
    "contact stuck": 1,
    "pin stuck": 1,
    "pin inverted": 1,
}
"""Every fault, and how many inputs it is about. 'probe off': what multimeters have at this input. 'contact
welded', 'contact stuck': the relay's contact in its lead stays closed, or open, whatever it is told. 'pin
stuck', 'pin inverted': the pins that enable its load stay as they are without power, or do the opposite."""

SENSE_KINDS = ("sense open", "sense shorted", "sense reversed", "sense crossed")
"""Those that lie in sense leads."""

OF_A_LEAD = ("short", "open", "reversed", "sense open", "sense reversed", "sense shorted")
"""Those that one lead has by itself, wherever it leads, without another, a multimeter or a relay."""


class FaultError(ValueError):
    """A fault that there is not; one line for people."""


@dataclass(frozen=True, slots=True)
class TwinFault:
    """One fault: its kind, a key of `KINDS`, and the inputs whose leads it is in."""

    kind: str
    inputs: tuple[str, ...]


def parse_faults(
    texts: Iterable[str],
    inputs: Sequence[str],
    kinds: Iterable[str] = tuple(KINDS),
    named: str = "input of the device",
) -> tuple[TwinFault, ...]:
    """The faults that these texts name, of these kinds, of a device with these inputs; FaultError where none
    is such. named: what the inputs are, where they are others.
    """
    counts = {kind: KINDS[kind] for kind in kinds}
    return tuple(_parse(text, inputs, counts, named) for text in texts)


def _parse(text: str, inputs: Sequence[str], kinds: Mapping[str, int], what: str) -> TwinFault:
    words = " ".join(text.split())
    for kind, count in sorted(kinds.items(), key=lambda each: -len(each[0])):
        if not words.startswith(f"{kind} "):
            continue
        rest = words[len(kind) + 1 :]
        # Names of inputs may have blanks in them: every way to cut the rest into so many names.
        blanks = [0, *(n for n, letter in enumerate(rest) if letter == " "), len(rest)]
        cuts = [(0, len(rest))] if count == 1 else [(0, cut, len(rest)) for cut in blanks[1:-1]]
        for cut in cuts:
            named = tuple(rest[a:b].strip() for a, b in pairwise(cut))
            if all(name in inputs for name in named) and len(set(named)) == count:
                return TwinFault(kind, named)
        noun, _, rest_of = what.partition(" ")
        wanted = f"{'one' if count == 1 else 'two'} {noun}{'s' * (count > 1)} {rest_of}"
        known = ", ".join(inputs) or "none"
        raise FaultError(f"expected {wanted} ({known}) after '{kind}', got '{rest}'")
    place = what.partition(" ")[0].upper()
    samples = ", ".join(f"'{kind}{f' {place}' * count}'" for kind, count in kinds.items())
    raise FaultError(f"expected one of the faults {samples}, got '{text}'")


def partner_of(faults: Iterable[TwinFault], kind: str, name: str) -> str | None:
    """The other input of a fault that is about two, one of which has this name; None: there is no such."""
    for fault in faults:
        if fault.kind == kind and name in fault.inputs:
            return next(other for other in fault.inputs if other != name)
    return None


def has(faults: Iterable[TwinFault], kind: str, name: str) -> bool:
    """Whether there is a fault of this kind at this input."""
    return any(fault.kind == kind and name in fault.inputs for fault in faults)


def reversed_load(protected: bool) -> tuple[tuple[Load, ...], str]:
    """What an input is to a lead with its conductors exchanged, and the assumption that this is.

    protected: its document gives a reverse voltage that it withstands. Silicon conducts at some 0.7 V (common
    practice, no source).
    """
    if protected:
        return (), "reversed, it blocks, as its document says that it withstands a reverse voltage: assumed"
    diode = {
        "count": 1.0,
        "forward_voltage": 0.7,
        "rated_current": 1.0,
        "series_resistance": 0.0,
        "dynamic_resistance": 0.06,
        "ideality": 1.0,
    }
    sentence = (
        "reversed, it conducts like a diode from some 0.7 V on, as no document says that it is protected"
    )
    return (Load("led_string", diode),), f"{sentence}: assumed"
