"""Two inputs whose sense leads are exchanged, played side by side: each output sees the other's voltage.

The inputs of a circuit are solved one by one, so that what they tell each other moves in a straight line over
short windows (co-simulation). Windows grow once nothing changes quickly any more.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from railwright.documents.bench import Output
from railwright.physics.output_stage import blind_weight
from railwright.plan.set_points import OutputSetPoints

if TYPE_CHECKING:
    from railwright.physics.simulation import Advance, Simulation

SHORTEST, LONGEST = 20e-6, 2e-3
"""Windows [s]."""
FIRST = 5e-3
"""Time in which all windows are the shortest [s]."""
QUICK = 2e-3
"""Change of a voltage within a window, in parts of the outputs' range, from which on windows get shorter."""
APART = 1e-3
"""Difference of the two readings at first [V]: two equal voltages would stay so, as nothing disturbs them."""

Outputs = Mapping[str, Sequence[tuple[OutputSetPoints, Output]]]
"""Input -> each of its outputs with its set points."""


def play_crossed(
    simulation: Simulation, outputs: Outputs, start: Mapping[str, float], until: float
) -> list[Advance]:
    """Play to a time [s] with the sense leads of two inputs exchanged; samples and events of every window.

    outputs: of the two inputs. start: their voltages at the connector now [V].
    """
    found: list[Advance] = []
    one, other = outputs
    partner = {one: other, other: one}
    began, window = simulation.time, SHORTEST
    now, rates = dict(start), dict.fromkeys(outputs, 0.0)
    now[one] += APART
    told = {p.output: simulation.output(p.output).reference for rows in outputs.values() for p, _ in rows}
    scale = {name: sum(output.voltage.high for _, output in rows) for name, rows in outputs.items()}
    while simulation.time < until and _any_on(simulation, outputs):
        for name, rows in outputs.items():
            for points, output in rows:
                seen, rate = now[partner[name]] * points.share, rates[partner[name]] * points.share
                weight = blind_weight(told[points.output], output.voltage.high)
                simulation.sense_elsewhere(points.output, weight, seen, rate)
        length = min(window, until - simulation.time)
        advance = simulation.advance(simulation.time + length)
        found.append(advance)
        later = {name: float(advance.samples[name].voltage[-1]) for name in outputs}
        rates = {name: (later[name] - now[name]) / length for name in outputs}
        quick = any(abs(later[name] - now[name]) > QUICK * scale[name] for name in outputs)
        if simulation.time - began > FIRST:
            window = max(SHORTEST, 0.5 * window) if quick else min(LONGEST, 1.5 * window)
        now = later
    if simulation.time < until:
        found.append(simulation.advance(until))
    return found


def _any_on(simulation: Simulation, outputs: Outputs) -> bool:
    return any(simulation.output(points.output).on for rows in outputs.values() for points, _ in rows)
