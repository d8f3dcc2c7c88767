"""Where the voltage loops of a supply's outputs measure and what its meters then show, also through sense
leads that lie wrong.

An output that no longer sees its voltage rises until it is at its ceiling: a voltage loop that senses
v · V_set / V_ceiling asks for all it can until v is there. Crossed sense leads tell each of two outputs the
other's voltage, which moves in a straight line over one tick.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from railwright.documents.bench import Output
from railwright.physics.output_stage import blind_weight
from railwright.twin.faults import SENSE_KINDS, TwinFault, has, partner_of
from railwright.twin.wiring import Wiring

if TYPE_CHECKING:
    from railwright.physics.player import PlayedSamples
    from railwright.physics.simulation import Simulation
    from railwright.traces import Array

CROSSED_TICK = 1e-3
"""Longest stretch that is computed at once where sense leads are crossed [s]."""

LEAST_SEEN = 20e-3
"""Set point from which a blind output is at its ceiling for certain [V]."""


class Sensing:
    """Sense leads of one supply's outputs. `external`: which of them are told to sense at the load.

    figures: output -> what its data sheet says.
    """

    def __init__(self, wiring: Wiring, figures: Mapping[str, Output], faults: Sequence[TwinFault]) -> None:
        self._wiring, self._figures, self._faults = wiring, figures, tuple(faults)
        self.external: dict[str, bool] = dict.fromkeys(wiring.branch_of, False)
        self._voltage: dict[str, float] = {}
        self._rate: dict[str, float] = {}

    @property
    def tick(self) -> float:
        """Longest stretch that may be computed at once [s]."""
        crossed = any(fault.kind == "sense crossed" for fault in self._faults)
        return CROSSED_TICK if crossed else math.inf

    def switch(self, simulation: Simulation, output: str, external: bool) -> None:
        """Tell an output where to sense: at its terminals, or by its sense leads, where there are any."""
        self.external[output] = external and output in self._wiring.sensed
        if not self.external[output]:
            simulation.set(output, sense="terminals", sense_error=(0.0, 0.0))
        elif not self._fault(output):
            simulation.set(output, sense="load")
        elif self._fault(output) == "sense open" and self._falls_back(output):
            simulation.set(output, sense="terminals")
        else:
            self.moves(simulation, output, 0.0, None)

    def moves(self, simulation: Simulation, output: str, goal: float, at: float | None) -> None:
        """The set point of an output goes to `goal` [V]: one that is blind rises to its ceiling then."""
        fault = self._fault(output) if self.external[output] else ""
        if fault in ("", "sense crossed") or (fault == "sense open" and self._falls_back(output)):
            return  # crossed ones are told anew before each tick
        told = max(goal, simulation.output(output).reference)
        simulation.set(output, at=at, sense=(self._weight(output, told), 0.0))

    def before_tick(self, simulation: Simulation) -> None:
        """Tell outputs with crossed sense leads the voltage that they see now."""
        for output, branch in self._wiring.branch_of.items():
            partner = partner_of(self._faults, "sense crossed", branch.name)
            if partner is None or not self.external[output]:
                continue
            share = self._share(output)
            seen, rate = share * self._voltage.get(partner, 0.0), share * self._rate.get(partner, 0.0)
            weight = self._weight(output, simulation.output(output).reference)
            simulation.sense_elsewhere(output, weight, seen, rate)

    def after_tick(self, samples: dict[str, PlayedSamples], length: float) -> None:
        """Remember where the inputs' voltages have come to, and how they move."""
        for name, rows in samples.items():
            last = float(rows.voltage[-1])
            self._rate[name] = (last - self._voltage.get(name, 0.0)) / length if length > 0.0 else 0.0
            self._voltage[name] = last

    def shown(self, output: str, own: Array, rows: PlayedSamples) -> Array:
        """What the output's meter sees [V], shape (n,); own: the voltage at its terminals.

        Sense leads of a group are at its ends: each output's meter sees its share of the lead's drop less.
        """
        if not self.external[output]:
            return own
        branch = self._wiring.branch_of[output]
        parts = len(branch.outputs) if branch.arrangement == "series" else 1
        at_load = own - (rows.terminal_voltage - rows.voltage) / parts
        match self._fault(output):
            case "sense open":
                return own
            case "sense shorted":
                return 0.0 * own
            case "sense reversed":
                return -at_load
            case "sense crossed":
                partner = partner_of(self._faults, "sense crossed", branch.name)
                assert partner is not None, "there is another input"
                return 0.0 * own + self._share(output) * self._voltage.get(partner, 0.0)
        return at_load

    def _fault(self, output: str) -> str:
        name = self._wiring.branch_of[output].name
        return next((kind for kind in SENSE_KINDS if has(self._faults, kind, name)), "")

    def _falls_back(self, output: str) -> bool:
        sense = self._figures[output].sense
        return sense is not None and sense.open == "falls back"

    def _weight(self, output: str, told: float) -> float:
        return blind_weight(max(told, LEAST_SEEN), self._figures[output].voltage.high)

    def _share(self, output: str) -> float:
        """Part of its input's voltage that an output carries: by full scale in series."""
        branch = self._wiring.branch_of[output]
        if branch.arrangement != "series":
            return 1.0
        full = sum(self._figures[name].voltage.high for name in branch.outputs)
        return self._figures[output].voltage.high / full
