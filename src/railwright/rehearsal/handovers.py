"""Cases in which the outputs of a group hand over to each other what an input takes.

Outputs in parallel share the current, outputs in series in their limit the voltage, by what their set points
are off: where one is above the other, it takes over, and the sooner, the farther they are apart. With exact
set points nothing is handed over. The sum does not change by it, but what each output reads does.
"""

from __future__ import annotations

from collections.abc import Iterator

from railwright.circuit.case import HIGH, Case, fixed
from railwright.circuit.errors import QUANTITIES, SetErrors
from railwright.documents.loader import Documents
from railwright.physics.output_stage import OutputStage
from railwright.plan.set_points import Feed, OutputSetPoints, SetPoints
from railwright.rehearsal.circuit import build_circuit, output_errors
from railwright.rehearsal.read import reading_times
from railwright.traces import Record

UPDATES = (0.0, 1.0, 8.0)
"""For how many updates of the readings a handover lasts: as briefly as the errors let it, so that apertures
of one output see what falls between those of another; for one update; and for so many that rows in succession
show a wrong sum (chosen).
"""

OPPOSED = QUANTITIES[:4]
"""Errors of the outputs that are opposed: those of voltage and limit."""


def handovers(documents: Documents, set_points: SetPoints, record: Record) -> Iterator[Case]:
    """Cases with opposed errors of the outputs that feed an input together, at most as large as the bench
    lets them be, for handovers of each duration of `UPDATES`; none, where there are no such outputs, or their
    set points are exact. record: of a rehearsal at nominal values.
    """
    groups = [feed for feed in set_points.values() if len(feed.outputs) > 1 and feed.input in record.traces]
    if not groups:
        return
    circuit, _ = build_circuit(documents, set_points)
    stages = {
        name: stage
        for branch in circuit.branches
        for name, stage in zip(branch.outputs, branch.stages, strict=True)
    }
    bounds, _ = output_errors(documents, set_points, HIGH)
    seen: list[dict[str, float]] = []
    for turn, updates in enumerate(UPDATES):
        values: dict[str, float] = {}
        for feed in groups:
            lasts = updates * reading_times(documents.bench, feed.names)[0]
            for place, points in enumerate(feed.outputs):
                own, stage = bounds[points.output], stages[points.output]
                part = _part(feed, points, record, (own, stage), lasts)
                sign = 1.0 if (place + turn) % 2 == 0 else -1.0
                values |= {f"{points.output}.{each}": sign * part * getattr(own, each) for each in OPPOSED}
        if any(values.values()) and values not in seen:
            seen.append(values)
            yield fixed(values)


def _part(
    feed: Feed, points: OutputSetPoints, record: Record, output: tuple[SetErrors, OutputStage], lasts: float
) -> float:
    """Which part of its errors lets an output, and its opposite the other way, hand over its share within
    `lasts` [s]: all of them, where those are too small. output: its largest errors, and its stage.

    In parallel the integrators of the voltage loops part by K_i times the error, in series the capacitors of
    the outputs by the error of the limit over C.
    """
    bounds, stage = output
    if lasts <= 0.0:
        return 1.0
    columns, among = record.traces[feed.input].columns, len(feed.outputs)
    if feed.arrangement == "parallel":
        needed = float(columns["current"].max()) / among / (stage.k_i * lasts)
        volts = float(columns["terminal_voltage"].max())
        largest = bounds.voltage_gain * volts + bounds.voltage_offset
    else:
        needed = stage.capacitance * float(columns["terminal_voltage"].max()) * points.share / lasts
        largest = bounds.limit(points.current_limit) - points.current_limit
    return min(1.0, needed / largest) if largest > 0.0 else 1.0
