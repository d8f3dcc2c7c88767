"""Whether an input draws nothing while its pins say that it is disabled: a pin with the other polarity, or
one that nothing reaches, is told from what the capacitors of the input do not explain.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from railwright.circuit.leads import lead_resistance
from railwright.documents.bench import Output
from railwright.documents.fixture import AddedCapacitor
from railwright.documents.loader import Documents
from railwright.guard.off_level import STEADY
from railwright.physics.loads.capacitor import Capacitor
from railwright.plan.set_points import SetPoints
from railwright.running.outcome import InputReading

WINDOW, AGES = 0.25, 6.0
"""Over how long the charge that flows in is added up at most [s], or so many times the age of a reading where
that is more (chosen).
"""

UNKNOWN_AGE = 0.05
"""How old a reading may be where the bench does not say [s] (chosen)."""

OFF_BY = 0.005
"""Part of a voltage by which two readings may differ while it stands still (chosen)."""


@dataclass(frozen=True, slots=True)
class _Input:
    """One whose every part but capacitors is enabled by a pin. farads: most that they hold. ohms: between
    where its voltage is read and them, at most. none: current that counts as none [A]. age: of a reading, at
    most [s].
    """

    pins: tuple[str, ...]
    farads: float
    ohms: float
    none: float
    age: float


@dataclass(slots=True)
class _Sum:
    """What has flowed since a reading [C]; the last one that was added. most: |current| of one of them [A].
    gap: longest time between two [s].
    """

    since: InputReading
    last: InputReading
    charge: float = 0.0
    most: float = 0.0
    gap: float = 0.0


class IdlePins:
    """Watches the inputs that draw nothing while their pins are inactive. none: input -> current that counts
    as none [A].
    """

    def __init__(self, documents: Documents, set_points: SetPoints, none: Mapping[str, float]) -> None:
        self._inputs = {
            name: found
            for name in set_points
            if (found := _only_enabled(documents, name, none[name])) is not None
        }
        self._sums: dict[str, _Sum] = {}

    def see(self, reading: InputReading, inactive: Mapping[str, float]) -> tuple[str, float] | None:
        """A pin that enables an input which draws a current [A] though all its pins are inactive; None: it
        draws none, or nobody can tell. inactive: pin -> since when it is known to be so [s].
        """
        own = self._inputs.get(reading.input)
        asked = reading.time if reading.asked is None else reading.asked
        # What is averaged and handed over later may still be from before.
        if own is None or any(asked < inactive.get(pin, math.inf) + max(STEADY, own.age) for pin in own.pins):
            self._sums.pop(reading.input, None)
            return None
        told = self._sums.setdefault(reading.input, _Sum(reading, reading))
        lasts = reading.time - told.last.time
        currents = reading.current, told.last.current
        told.charge += 0.5 * sum(currents) * lasts
        told.most, told.gap = max(told.most, *map(abs, currents)), max(told.gap, lasts)
        told.last, first = reading, told.since
        over = reading.time - first.time
        if over >= max(WINDOW, AGES * own.age):
            self._sums[reading.input] = _Sum(reading, reading)
        if not over:
            return None
        moved = abs(reading.voltage - first.voltage) + OFF_BY * max(abs(reading.voltage), abs(first.voltage))
        moved += own.ohms * abs(reading.current - first.current)
        # Voltage and current are of times up to the age of a reading apart, at either end, and between two
        # readings nobody knows the current: what may have flowed then is no charge that is known.
        doubt = told.most * (2.0 * own.age + told.gap)
        drawn = (told.charge - own.farads * moved - doubt) / over
        return (own.pins[0], drawn) if drawn > own.none else None


def _only_enabled(documents: Documents, name: str, none: float) -> _Input | None:
    """An input of which every part but capacitors has a pin; None: it has another."""
    bench, hook_up = documents.bench, documents.procedure.hook_up[name]
    parts = [(each.parameters, each.enabled_by) for each in documents.device.inputs[name].load]
    pins = [pin for each, pin in parts if not isinstance(each, Capacitor)]
    if not pins or None in pins:
        return None
    fixture = bench.fixture(hook_up.fixture)
    held: list[Capacitor | AddedCapacitor] = [each for each, _ in parts if isinstance(each, Capacitor)]
    held += [fixture.capacitor] if fixture is not None and fixture.capacitor is not None else []
    inside = documents.device.inputs[name].inside
    held += [inside.capacitor] if inside is not None and inside.capacitor is not None else []
    ohms = lead_resistance(bench.leads[hook_up.lead], bench, fixture).high
    ohms += inside.resistance.high if inside is not None else 0.0
    ohms += max((each.esr.high for each in held if each.esr is not None), default=0.0)
    farads = sum(each.capacitance.high for each in held)
    known = tuple(dict.fromkeys(pin for pin in pins if pin is not None))
    age = max(_age(bench.output(output)) for output in hook_up.outputs)
    return _Input(known, farads, ohms, none, age)


def _age(output: Output) -> float:
    """How old a reading of an output may be [s]."""
    reading = output.reading
    if reading is None or reading.update is None:
        return UNKNOWN_AGE
    return reading.update + (reading.aperture or 0.0) + (reading.latency or 0.0)
