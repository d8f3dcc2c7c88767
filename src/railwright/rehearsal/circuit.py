"""The circuit of the inputs that have set points, as it is rehearsed."""

from __future__ import annotations

from railwright.assumptions import Assumption, Assumptions
from railwright.circuit.case import NOMINAL, Case, QuantityName
from railwright.circuit.errors import SetErrors, set_errors
from railwright.circuit.parts import Parts
from railwright.documents.bench import Output
from railwright.documents.figures import output_figures
from railwright.documents.loader import Documents
from railwright.physics import circuit as physics
from railwright.physics.output_stage import recovery_figures
from railwright.plan.linking import linked_by_program, linked_trips
from railwright.plan.set_points import Feed, SetPoints
from railwright.quantities import Uncertain


def build_circuit(
    documents: Documents, set_points: SetPoints, case: Case = NOMINAL
) -> tuple[physics.Circuit, tuple[Assumption, ...]]:
    """The circuit of every input that has set points, and the assumptions it rests on."""
    parts = Parts(documents.bench, case)
    assumptions = parts.assumptions
    branches = tuple(_branch(documents, feed, parts) for feed in set_points.values())
    linked = linked_trips(set_points)
    later = linked_by_program(set_points, documents.bench, documents.procedure.record.every)
    circuit = physics.Circuit(branches, linked, later_by=later)
    if any((name, cause) not in later for name, causes in linked.items() for cause in causes):
        assumptions.add(
            "", f"a linked output switches off {circuit.linked_delay * 1e3:g} ms after the trip it follows"
        )
    for (name, cause), delay in later.items():
        following = "of its other outputs" if name == cause else f"of {cause}"
        assumptions.add(
            name,
            f"the program switches it off {delay * 1e3:.3g} ms after the trip it follows ({following}): "
            "that is the latest, no supply links them",
        )
    assumptions.add("", *physics.DECLARED)
    return circuit, assumptions.all()


def uncertain_quantities(documents: Documents, set_points: SetPoints) -> dict[QuantityName, Uncertain]:
    """Every uncertain quantity of the circuit by its name, those with equal bounds left out."""
    found: dict[QuantityName, Uncertain] = {}

    def note(name: QuantityName, value: Uncertain) -> float:
        found[name] = value
        return value.nominal

    build_circuit(documents, set_points, note)
    output_errors(documents, set_points, note)
    return {name: value for name, value in found.items() if not value.certain}


def output_errors(
    documents: Documents, set_points: SetPoints, case: Case = NOMINAL
) -> tuple[dict[str, SetErrors], tuple[Assumption, ...]]:
    """How far each output that has set points is off what it is told, and what was assumed of that."""
    errors: dict[str, SetErrors] = {}
    assumptions = Assumptions()
    for feed in set_points.values():
        for points in feed.outputs:
            name = points.output
            errors[name], made = set_errors(name, documents.bench.output(name), case)
            assumptions.add(name, *made)
    return errors, assumptions.all()


def _branch(documents: Documents, feed: Feed, parts: Parts) -> physics.Branch:
    names = feed.names
    fixture = documents.bench.fixture(feed.fixture)
    return physics.Branch(
        name=feed.input,
        outputs=names,
        stages=tuple(parts.stage(name) for name in names),
        lead=parts.lead(feed.input, feed.lead, fixture),
        loads=parts.loads(feed.input, documents.device, fixture),
        arrangement="single" if feed.arrangement == "alone" else feed.arrangement,
        sense="load" if feed.sense == "at load" else "terminals",
    )


def stage_figures(output: Output) -> tuple[float, float, float]:
    """Time [s], band [V] and current [A] of the load step that an output's gains are derived from."""
    return recovery_figures(output_figures(output))[:3]
