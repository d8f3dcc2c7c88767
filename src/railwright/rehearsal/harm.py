"""Whether a device and a lead bear what a fault does to them: yes, no, or unknown where no document says."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from railwright.documents.bench import Lead
from railwright.documents.device import Input
from railwright.physics import conductors
from railwright.physics.loads import KINDS
from railwright.quantities import show

if TYPE_CHECKING:
    from numpy.typing import NDArray

EXACT = 2e-3
"""Part of a level by which a computed voltage or current may lie above it and still count as at it."""
HARMLESS_REVERSE = 1.0
"""Reverse voltage that does no harm to any input [V]: what a conducting diode leaves, such as the freewheel
diode of a coil; an electrolytic capacitor bears as much (common practice, no source).
"""
CLAMPS = 0.1
"""Reverse voltage from which on a diode that is assumed across a load counts as what holds it [V] (chosen:
far below what a diode drops, far above what a computation leaves).
"""
ADIABATIC = 5.0
"""Longest time for which the adiabatic limit of a conductor holds [s]: IEC 60364-5-54 (from memory)."""


Borne = tuple[bool | None, str]
"""Whether something is borne (None: unknown), and why, in words."""


@dataclass(frozen=True, slots=True)
class Stress:
    """Time spent above a voltage that the device document names.

    level [V], reverse: of which polarity. time [s]: spent above it altogether, inf: for as long as the fault
    lasts. permitted [s]: for how long the document permits more than the level; 0: not at all, None: it
    does not say.
    """

    level: float
    reverse: bool
    time: float
    permitted: float | None

    @property
    def borne(self) -> bool | None:
        """Whether the input survives it; None: unknown."""
        if self.time == 0.0:
            return True
        return None if self.permitted is None else self.time <= self.permitted

    @property
    def words(self) -> str:
        """For people."""
        above = f"{'reversed by more than' if self.reverse else 'above'} {show(self.level, 'V')}"
        long = "for as long as it lasts" if math.isinf(self.time) else f"for {show(self.time, 's')} in all"
        if self.permitted is None:
            return f"{above} {long}, and the device document does not say what it withstands"
        if self.permitted == 0.0:
            return f"{above} {long}, which it does not withstand"
        if math.isinf(self.permitted):
            return f"{above} {long}, which it withstands"
        return f"{above} {long}; {show(self.permitted, 's')} are withstood"


def assumed_clamp(wanted: Input, lowest: float) -> Borne | None:
    """Unknown, with the reason, where the device was driven below 0 V, to `lowest` [V], and a diode held it
    whose figures no document gives; None otherwise. The figures are assumed for the computation alone: no
    document says whether the diode is there and bears this.
    """
    if wanted.diode_inside is not None:
        # It keeps a reversed voltage off the load; what it bears itself is told by its own figure.
        return None
    for entry in wanted.load:
        kind = KINDS[entry.kind]
        missing = [name for name in kind.clamp if getattr(entry.parameters, name) is None]
        if missing and lowest < -CLAMPS:
            words = " and ".join(f"'{name}'" for name in missing)
            return None, (
                f"driven below 0 V, held at {show(lowest, 'V')} by a diode of the {kind.name} that is only "
                f"assumed: the device document does not give {words}"
            )
    return None


@dataclass(frozen=True, slots=True)
class LeadStress:
    """What a fault current does to a lead.

    peak [A]; i2t [A²s]: since the fault, against limit [A²s], the k²S² that the insulation survives, and
    melts [A²s], at which the conductor itself melts (Onderdonk). after [A]: r.m.s. current that goes on once
    everything has tripped that will, against permitted [A] (None: unknown).
    """

    peak: float
    i2t: float
    limit: float
    after: float
    permitted: float | None
    melts: float
    borne: bool | None
    words: str


def time_above(time: NDArray[np.float64], values: NDArray[np.float64], level: float) -> float:
    """Time for which a trace of straight lines lies above a level [s]; inf: it does so at its end."""
    if values[-1] > level:
        return math.inf
    over = values - level
    a, b, gap = over[:-1], over[1:], np.diff(time)
    size = np.abs(a) + np.abs(b)
    crossing = np.divide(np.maximum(a, b), size, out=np.zeros_like(size), where=size > 0.0)
    part = np.where((a > 0.0) & (b > 0.0), 1.0, np.where((a > 0.0) | (b > 0.0), crossing, 0.0))
    return float((part * gap).sum())


def forward_levels(wanted: Input) -> list[tuple[float, float | None]]:
    """(voltage, time for which more than that is permitted), rising; None: the document does not say.

    Up to the end of the operating range everything is borne for any time; so is what is withstood for any
    time. Above a level the longest time counts that is given for any higher one.
    """
    borne, given = wanted.operating.high, wanted.withstood
    return _levels(borne, given) if given else [(borne, None)]


def reverse_levels(wanted: Input) -> list[tuple[float, float | None]]:
    """The same for a reversed voltage; an input that gives forward voltages alone is not protected, unless
    nothing in it has a polarity: then it bears reversed what it bears forward.
    """
    given = wanted.withstood_reversed
    if not given and wanted.diode_inside is not None:
        return [(HARMLESS_REVERSE, None)]  # it blocks, up to a voltage that no document gives
    if not given and all(KINDS[entry.kind].bears_reverse for entry in wanted.load):
        return forward_levels(wanted)
    if not given:
        return [(HARMLESS_REVERSE, 0.0 if wanted.withstands else None)]
    return _levels(HARMLESS_REVERSE, given)


def _levels(borne: float, given: list[tuple[float, float]]) -> list[tuple[float, float | None]]:
    """From what is borne for ever on [V]: of each given voltage the longest time given for a higher one."""
    edges = sorted({borne, *(v for v, _ in given if v > borne)})
    return [(edge, max((t for v, t in given if v > edge), default=0.0)) for edge in edges]


def stresses(wanted: Input, time: NDArray[np.float64], voltage: NDArray[np.float64]) -> tuple[Stress, ...]:
    """Time spent above each voltage that the device document names, forward and reverse."""
    found = []
    for reverse, levels in ((False, forward_levels(wanted)), (True, reverse_levels(wanted))):
        values = -voltage if reverse else voltage
        for level, permitted in levels:
            spent = time_above(time, values, level * (1.0 + EXACT))
            found.append(Stress(level, reverse, spent, permitted))
    return tuple(found)


def lead_stress(
    lead: Lead, ambient: float, peak: float, i2t: float, after: float, healthy: float
) -> LeadStress:
    """Whether a lead bears a fault current.

    ambient [°C]. peak [A], i2t [A²s]: since the fault. after [A]: what goes on. healthy [A]: the steady
    current without the fault, which it bears anyway. k²S² is that of PVC, which other insulations exceed.
    """
    area = lead.conductor.section
    limit, permitted = conductors.adiabatic_limit(area), lead.permitted_current
    melts = conductors.onderdonk_fusing_i2t(area, ambient)
    borne: bool | None = True
    heat = f"{i2t:.3g} A²s against the {limit:.3g} A²s that its insulation bears"
    if i2t > limit:
        borne, words = False, f"the lead takes {heat}" + (", and melts" if i2t > melts else "")
    elif after <= max(healthy, permitted or 0.0) * (1.0 + EXACT):
        words = f"the lead bears it: {heat}"
    elif permitted is None:
        borne, words = None, f"{show(after, 'A')} go on in the lead, whose permitted current is not given"
    else:
        borne = False
        words = f"{show(after, 'A')} go on in the lead, which bears {show(permitted, 'A')}"
    return LeadStress(peak, i2t, limit, after, permitted, melts, borne, words)


def all_borne(parts: Iterable[Borne]) -> bool | None:
    """No where one part says no, else unknown where one is unknown, else yes."""
    found = [borne for borne, _ in parts]
    return False if False in found else None if None in found else True


def reasons(parts: Sequence[Borne]) -> str:
    """What decides: each no, else each unknown; empty where all is borne."""
    verdict = all_borne(parts)
    return "" if verdict else "; ".join(words for borne, words in parts if borne is verdict)
