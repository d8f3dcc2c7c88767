"""What an input's outputs do with a standard's test into the standard's own verification load."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from railwright.documents.loader import Documents
from railwright.plan.set_points import Feed
from railwright.plan.timeline import Action, Timeline
from railwright.rehearsal.circuit import build_circuit, output_errors
from railwright.rehearsal.playback import asked_edges
from railwright.rehearsal.rehearse import program_outputs
from railwright.waveforms.deviation import Edge, edge
from railwright.waveforms.shapes import GLIDING, Piece, duration_of, moves

SETTLE = 1.0
"""Time that the outputs are given before the test begins, and after it [s]; a slow output gets more."""

RISES = 20.0
"""Rise times of the slowest output that it is given at least."""


def edges_into_load(
    documents: Documents, feed: Feed, pieces: Sequence[Piece], nominal: float, resistance: float
) -> tuple[Edge, ...]:
    """The edges of some pieces, played once, at the outputs' terminals with a resistor in the input's place.

    nominal: voltage before it [V]. resistance: of the load [Ω]. Limits, lead and sensing stay those of the
    feed. Raises `railwright.physics.solver.SolverError`.
    """
    from railwright.physics.circuit import Load
    from railwright.physics.simulation import Simulation

    feeds = {feed.input: feed}
    circuit, _ = build_circuit(documents, feeds)
    errors, _ = output_errors(documents, feeds)
    branch = replace(circuit.branches[0], loads=(Load("resistor", {"resistance": resistance}),))
    if documents.bench.contact_in(feed.fixture) is not None:
        branch = replace(branch, lead=replace(branch.lead, opened=False))  # the procedure closes it
    simulation = Simulation(replace(circuit, branches=(branch,), linked_trips={}))
    rises = [documents.bench.output(points.output).rise or 0.0 for points in feed.outputs]
    settle = max(SETTLE, RISES * max(rises))
    actions = [Action(0.0, "on", feed.input), Action(0.0, "line", feed.input, nominal)]
    for move in moves(pieces, nominal, settle):
        if move.kind in ("line", "off", "on"):
            chord = isinstance(move.piece, GLIDING)
            actions.append(Action(move.time, move.kind, feed.input, move.value, move.over, chord=chord))
    end = 2.0 * settle + duration_of(pieces)
    program_outputs(simulation, documents, feeds, Timeline(tuple(actions), (), end), errors)
    samples = simulation.advance(end).samples[feed.input]
    asked = asked_edges(actions[2:], nominal, end)
    return tuple(edge(each, samples.time, samples.terminal_voltage) for each in asked)
