"""Rules about stored energy: what stays in the capacitors, and for how long after switching off."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import NamedTuple

from railwright.documents.figures import off_sink
from railwright.quantities import Statement, joined, named, state
from railwright.settings.context import FedInput
from railwright.settings.findings import Ranking, Severity
from railwright.settings.rule import Hit, Outcome, Unknown, of_every, rule
from railwright.settings.rules.judge import inputs

HAZARDOUS_ENERGY = 20.0
"""Stored energy that is a hazard at 2 V or more [J] (IEC 60950-1, energy hazards, from memory)."""

FALLEN = 1.0
"""Voltage below which an input counts as discharged [V]; a choice of this program."""

PATIENCE = 1.0
"""Time after switching off within which an input should be discharged [s]; a choice of this program."""


@rule("stored-energy", Severity.CAUTION, worst=Ranking("energy"))
@of_every(inputs)
def stored_energy(source: FedInput) -> Outcome:
    """The capacitors of an input hold, at the highest voltage played, an energy that can do harm (½CV²)."""
    highest, most = source.played.highest, source.load.capacitance.high
    energy = 0.5 * most * highest.voltage**2 if highest is not None else 0.0
    if highest is not None and energy >= HAZARDOUS_ENERGY:
        yield Hit(
            source.name,
            (*source.at_input, "load"),
            state(
                "{capacitance} at {highest} hold {energy}; {hazardous_energy:g} J count as hazardous "
                "(IEC 60950-1, from memory)",
                capacitance=(most, "F"),
                highest=(highest.voltage, "V"),
                energy=(energy, "J"),
                hazardous_energy=(HAZARDOUS_ENERGY, "J"),
            ),
            "let it discharge through a resistor before touching or unplugging anything",
        )


@rule("slow-discharge", Severity.NOTE, worst=Ranking("discharge_time"))
@of_every(inputs)
def slow_discharge(source: FedInput) -> Outcome:
    """After switching off, only a bleeder, or what the output takes in then, discharges the input, and that
    takes long.
    """
    highest, found = source.played.highest, discharge_of(source)
    if highest is not None and found is not None:
        if found.through is None:
            yield Unknown(
                source.name,
                (*source.at_output, "bleeder"),
                "bleeder of the output",
                "how long it stays charged after switching off",
            )
        elif found.time is not None and found.time > PATIENCE:
            yield Hit(
                source.name,
                source.at_output,
                state(
                    "{capacitance} discharge from {highest} to {discharged} in {emptied}",
                    capacitance=(found.farads, "F"),
                    highest=(highest.voltage, "V"),
                    discharged=(FALLEN, "V"),
                    emptied=found.emptied,
                ),
                "after switching off, wait that long before touching or unplugging anything",
            )


class Discharge(NamedTuple):
    """How an input's capacitors empty.

    farads: of all that empty together [F]. time: longest, from the highest voltage played to `FALLEN` [s];
    None: unknown. through: by what, for people; None: the bleeder is unknown.
    """

    farads: float
    time: float | None
    through: str | None

    @property
    def emptied(self) -> Statement:
        """In how long, where that is known, and through what: 'up to 3 s (bleeder 1 kΩ, ...)'."""
        takes = (
            named("discharge_time", self.time, "s")
            if self.time is not None and self.time < math.inf
            else "a time that no figure gives"
        )
        return state(
            "up to {takes} ({through}, least draw of the load)", takes=takes, through=self.through or ""
        )


def discharge_of(source: FedInput, *, sinks: bool = False) -> Discharge | None:
    """How an input empties; None: nothing is there to empty.

    sinks: its outputs are on, and take in what they can; else they are off, and take in what they take then.
    """
    highest, most = source.played.highest, source.load.capacitance.high
    if highest is None or highest.voltage <= FALLEN or most == 0.0:
        return None
    # Through a diode neither the output's bleeder nor its capacitor has a part in it.
    if source.fixture is not None and source.fixture.diode is not None:
        time = discharging_time(source, most, math.inf, highest.voltage)
        return Discharge(most, time, f"the diode in '{source.fixture_name}' blocks")
    bleeder = source.bleeder
    if bleeder is None:
        return Discharge(most, None, None)
    own, farads = source.output_capacitance, source.holding
    through, sunk = state("bleeder {bleeder}", bleeder=(bleeder, "ohm")), _own(source, sinks)
    if taken := (sum if source.parallel else min)(each for _, _, each in sunk):
        through = state("{bleeder}, {sunk} into the output", bleeder=through, sunk=(taken, "A"))
    if source.series and own is not None:
        time = _in_series(source, highest.voltage, sunk)
        each = [
            state(
                "{capacitance} with {bleeder} in {output}",
                capacitance=(f, "F"),
                bleeder=(r, "ohm"),
                output=name,
            )
            for name, (f, r, _) in zip(source.names, sunk, strict=True)
        ]
        through = state("{bleeder}: {each}", bleeder=through, each=joined(", ", each))
    else:
        time = discharging_time(source, farads, bleeder, highest.voltage, taken)
    if own is None:
        through = state(
            "{bleeder}, the output's own capacitor not counted, as it is not given", bleeder=through
        )
    return Discharge(farads, time, through)


def _own(source: FedInput, on: bool) -> list[tuple[float, float, float]]:
    """Of each output its capacitor [F], its bleeder [Ω] and what it takes in, while it is on or off [A]; 0
    where that is unknown, and not counted on.
    """
    return [
        (o.output_capacitance or 0.0, o.bleeder or 0.0, (o.sink if on else off_sink(o)) or 0.0)
        for o in source.rows
    ]


def _in_series(source: FedInput, voltage: float, own: list[tuple[float, float, float]]) -> float | None:
    """Longest time in which outputs in series, each with its own capacitor and bleeder, and the load's
    capacitor fall from `voltage` to `FALLEN` together [s], at the load's least draw. None: that is unknown.
    """
    from railwright.physics import series_discharge

    load = source.load
    if load.current(voltage) is None:
        return None

    def drawn(level: float) -> float:
        return max(bounds.low, 0.0) if (bounds := load.current(level)) is not None else 0.0

    farads, ohms, sunk = zip(*own, strict=True)
    begin = [voltage * share for share in source.shares]
    return series_discharge.discharging_time(begin, farads, ohms, sunk, load.capacitance.high, drawn, FALLEN)


def discharging_time(
    source: FedInput, most: float, bleeder: float, voltage: float, taken: float = 0.0
) -> float | None:
    """Longest time from `voltage` down to `FALLEN` [s]: ∫ C dv / (v/R + I_load(v) + I_taken), least draw."""
    time = 0.0
    for above, below in pairwise(voltage * (FALLEN / voltage) ** (index / 200) for index in range(201)):
        middle = math.sqrt(above * below)
        drawn = source.load.current(middle)
        if drawn is None:
            return None
        flows = middle / bleeder + max(drawn.low, 0.0) + taken
        if flows == 0.0:
            return math.inf
        time += most * (above - below) / flows
    return time
