"""What each step of a first power-up is expected to draw, by rehearsal: when all is well, and when it is not.

Currents are means over a reading's aperture within a step, after its first part: what the supply's own
readings can show.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import zip_longest
from typing import TYPE_CHECKING

from railwright.circuit.case import HIGH, LOW, NOMINAL, Case, QuantityName, fixed
from railwright.documents.loader import Documents
from railwright.first_power.figures import aperture_of
from railwright.plan.set_points import SetPoints
from railwright.plan.timeline import timeline_of
from railwright.quantities import Uncertain
from railwright.rehearsal.circuit import uncertain_quantities
from railwright.rehearsal.corners import corner_case, quantities_of
from railwright.rehearsal.design import Design
from railwright.rehearsal.rehearse import programmed_simulation
from railwright.traces import Span

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from railwright.physics.circuit import Branch, Circuit

    Array = NDArray[np.float64]
    Means = Mapping[tuple[str, str], Array]

SETTLING = 0.25
"""First part of each step that is left out."""
CASES = 24
"""Cases drawn within everything that is uncertain, beside nominal, all low and all high."""
LEAST_APERTURE = 1e-3
"""Shortest mean that is looked at [s]."""
LESS = 1 / 3
"""What is left of the capacitance of a device that has too little of it, for what the readings can tell."""

Change = Callable[["Circuit"], "Circuit"]
Bands = Mapping[tuple[str, str], tuple[float, float]]
"""(step, input) -> least and greatest mean current [A]."""


@dataclass(frozen=True, slots=True)
class Suspect:
    """Something that may be wrong: how it is told, and what each step would draw then [A]."""

    words: str
    draws: Mapping[tuple[str, str], float]


def healthy(documents: Documents, set_points: SetPoints, wanted: Sequence[tuple[str, str]]) -> Bands:
    """Least and greatest mean current in each (step, input), over all cases.

    Cases that are drawn seldom come near the corner in which each tolerance asks for more current: of each
    (step, input) the corner with least and the one with greatest current are played, too.
    """
    quantities = uncertain_quantities(documents, set_points)
    means = partial(_means, documents, set_points, wanted)
    drawn = (case for _, case in Design(quantities, CASES, seed=1).numbered()) if quantities else ()
    nominal = means(NOMINAL)
    corners = _corners(means, nominal, set_points, quantities)
    found = [nominal, *(means(case) for case in (LOW, HIGH, *drawn, *corners))]
    return {
        key: (
            min(float(each[key].min()) for each in found),
            max(float(each[key].max()) for each in found),
        )
        for key in wanted
    }


def _corners(
    means: Callable[[Case], Means],
    nominal: Means,
    set_points: SetPoints,
    quantities: Mapping[QuantityName, Uncertain],
) -> Iterator[Case]:
    """The corners at which each (step, input) draws least and most, as one quantity after the other tells.

    Each quantity goes to its upper bound by itself, and the corner has it where that made the current move.
    Inputs do so at the same time, as what one draws does not hang on another's tolerances.
    """
    if not quantities:
        return
    names = list(quantities)
    own = {name: quantities_of(name, feed.names, quantities) for name, feed in set_points.items()}
    signs: dict[tuple[str, str, bool], list[int]] = {
        (step, name, most): [] for step, name in nominal for most in (False, True)
    }
    for places in zip_longest(*own.values()):
        moved = dict(zip(own, places, strict=True))
        found = means(fixed({names[k]: quantities[names[k]].high for k in places if k is not None}))
        for (step, name, most), at_high in signs.items():
            place, key = moved[name], (step, name)
            if place is None:
                continue
            rises = _end(found[key], most) > _end(nominal[key], most)
            at_high += [place] if rises == most else []
    each: dict[str, dict[int, None]] = {name: {} for name in own}
    for (_, name, _), at_high in signs.items():
        each[name][sum(1 << place for place in at_high)] = None
    for numbers in zip_longest(*each.values(), fillvalue=0):
        yield corner_case(quantities, sum(numbers))


def _end(values: Array, most: bool) -> float:
    return float(values.max() if most else values.min())


def exchanged(
    documents: Documents, set_points: SetPoints, wanted: Sequence[tuple[str, str]], pair: tuple[str, str]
) -> Mapping[tuple[str, str], float]:
    """What each step draws with the leads of two inputs exchanged, at nominal values [A]."""

    def change(circuit: Circuit) -> Circuit:
        loads = {branch.name: branch.loads for branch in circuit.branches}
        other = {pair[0]: pair[1], pair[1]: pair[0]}
        return _changed(circuit, lambda b: replace(b, loads=loads[other.get(b.name, b.name)]))

    return _typical(documents, set_points, wanted, change)


def less_capacitance(
    documents: Documents, set_points: SetPoints, wanted: Sequence[tuple[str, str]]
) -> Mapping[tuple[str, str], float]:
    """What each step draws with a third of every input's capacitance, at nominal values [A]."""

    def lessened(branch: Branch) -> Branch:
        loads = tuple(
            replace(load, values={**load.values, "capacitance": LESS * load.values["capacitance"]})
            if load.kind == "capacitor"
            else load
            for load in branch.loads
        )
        return replace(branch, loads=loads)

    return _typical(documents, set_points, wanted, lambda circuit: _changed(circuit, lessened))


def _changed(circuit: Circuit, change: Callable[[Branch], Branch]) -> Circuit:
    return replace(circuit, branches=tuple(change(branch) for branch in circuit.branches))


def _typical(
    documents: Documents, set_points: SetPoints, wanted: Sequence[tuple[str, str]], change: Change
) -> Mapping[tuple[str, str], float]:
    """Mean current of each (step, input) in the nominal case; a limit that is reached does not trip."""
    regulating = {
        name: replace(feed, outputs=tuple(replace(each, at_limit="regulate") for each in feed.outputs))
        for name, feed in set_points.items()
    }
    found = _means(documents, regulating, wanted, NOMINAL, change)
    return {key: float(means.mean()) for key, means in found.items()}


def _means(
    documents: Documents,
    set_points: SetPoints,
    wanted: Sequence[tuple[str, str]],
    case: Case,
    change: Change = lambda circuit: circuit,
) -> dict[tuple[str, str], Array]:
    """Means over the aperture in each (step, input), shape (n,) [A]."""
    timeline = timeline_of(documents.procedure, documents.device)
    simulation, _ = programmed_simulation(documents, set_points, timeline, case, change)
    samples = simulation.advance(timeline.duration).samples
    spans = {span.name: span for span in timeline.spans}
    return {
        (step, name): _windows(
            samples[name].time, samples[name].current, spans[step], _aperture(documents, set_points, name)
        )
        for step, name in wanted
    }


def _aperture(documents: Documents, set_points: SetPoints, name: str) -> float:
    outputs = [documents.bench.output(points.output) for points in set_points[name].outputs]
    return max([LEAST_APERTURE, *map(aperture_of, outputs)])


def _windows(time: Array, current: Array, span: Span, aperture: float) -> Array:
    """Means over windows that lie wholly in a step after its first part; straight lines between instants."""
    import numpy as np

    from railwright.measures.signal import integrals

    first = min(span.start + SETTLING * (span.end - span.start) + aperture, span.end)
    ends = np.linspace(first, span.end, 60)
    return integrals(time, current, ends - aperture, ends) / aperture
