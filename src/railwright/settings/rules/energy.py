"""Rules about stored energy: what stays in the capacitors, and for how long after switching off."""

from __future__ import annotations

import math

from railwright.quantities import show
from railwright.settings.context import Context
from railwright.settings.findings import Severity
from railwright.settings.rule import Hit, Outcome, Unknown, rule

HAZARDOUS_ENERGY = 20.0
"""Stored energy that is a hazard at 2 V or more [J] (IEC 60950-1, energy hazards, from memory)."""

FALLEN = 1.0
"""Voltage below which an input counts as discharged [V]; a choice of this program."""

PATIENCE = 1.0
"""Time after switching off within which an input should be discharged [s]; a choice of this program."""


@rule("stored-energy", Severity.CAUTION)
def stored_energy(context: Context) -> Outcome:
    """The capacitors of an input hold, at the highest voltage played, an energy that can do harm (½CV²)."""
    for source in context.sources.values():
        highest = source.played.highest
        if highest is None:
            continue
        most = source.load.capacitance.high
        energy = 0.5 * most * highest.voltage**2
        if energy >= HAZARDOUS_ENERGY:
            yield Hit(
                source.name,
                (*source.at_input, "load"),
                f"{show(most, 'F')} at {show(highest.voltage, 'V')} hold {show(energy, 'J')}; "
                f"{HAZARDOUS_ENERGY:g} J "
                "count as hazardous (IEC 60950-1, from memory)",
                "let it discharge through a resistor before touching or unplugging anything",
            )


@rule("slow-discharge", Severity.NOTE)
def slow_discharge(context: Context) -> Outcome:
    """After switching off, only a bleeder discharges the input, and that takes long."""
    for source in context.sources.values():
        highest = source.played.highest
        most = source.load.capacitance.high
        if highest is None or highest.voltage <= FALLEN or most == 0.0:
            continue
        # Through a diode neither the output's bleeder nor its capacitor has a part in it.
        blocked = source.fixture is not None and source.fixture.diode is not None
        bleeders = [output.bleeder for output in source.rows if output.bleeder is not None]
        if len(bleeders) < source.count and not blocked:
            path = (*source.at_output, "bleeder")
            yield Unknown(
                source.name, path, "bleeder of the output", "how long it stays charged after switching off"
            )
            continue
        if blocked:
            bleeder, through = math.inf, f"the diode in '{source.hook_up.fixture}' blocks"
        else:
            bleeder = sum(bleeders) if source.series else 1.0 / sum(1.0 / each for each in bleeders)
            through = f"bleeder {show(bleeder, 'ohm')}"
            most += source.output_capacitance or 0.0
        time = discharging_time(context, source.name, most, bleeder, highest.voltage)
        if time is not None and time > PATIENCE:
            takes = show(time, "s") if time < math.inf else "a time that no figure gives"
            yield Hit(
                source.name,
                source.at_output,
                f"{show(most, 'F')} fall from {show(highest.voltage, 'V')} to {show(FALLEN, 'V')} in up to "
                f"{takes} ({through}, least draw of the load)",
                "wait so long after switching off before touching or unplugging anything",
            )


def discharging_time(
    context: Context, name: str, most: float, bleeder: float, voltage: float
) -> float | None:
    """Longest time from `voltage` down to `FALLEN` [s]: ∫ C dv / (v/R + I_load(v)), least draw."""
    time, previous = 0.0, voltage
    for index in range(1, 201):
        current = voltage * (FALLEN / voltage) ** (index / 200)
        middle = math.sqrt(previous * current)
        drawn = context.sources[name].load.current(middle)
        if drawn is None:
            return None
        flows = middle / bleeder + max(drawn.low, 0.0)
        if flows == 0.0:
            return math.inf
        time += most * (previous - current) / flows
        previous = current
    return time
