"""From documents to a circuit of floats: output figures, leads and loads, with every assumption declared."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from railwright.documents.bench import Bench, Lead, Output
from railwright.documents.device import Device
from railwright.documents.figures import figure_assumptions, output_figures
from railwright.documents.fixture import AddedCapacitor, Fixture
from railwright.documents.loader import Documents
from railwright.physics import circuit as physics
from railwright.physics import conductors
from railwright.physics.loads.capacitor import Capacitor
from railwright.physics.output_stage import OutputStage, derive_output_stage, recovery_figures
from railwright.plan.set_points import Feed, SetPoints
from railwright.plan.stairs import WATCH_EVERY, exchange_of
from railwright.quantities import Uncertain
from railwright.rehearsal.case import NOMINAL, Case
from railwright.rehearsal.errors import SetErrors, set_errors

SPACING = 2.0
"""Distance between the axes of a lead's conductors in diameters, where the bench does not give its
inductance.
"""

DAMPING = Uncertain(1.0, 0.7, 1.4, "0.7 .. 1.4")
LIMIT_OVERSHOOT = Uncertain(0.25, 0.0, 0.5, "0 % .. 50 %")
"""What a data sheet leaves open of an output stage, with the bounds that are assumed."""


FIXTURE = "fixture"
"""What a fixture's own quantities are called after: `main.fixture.drop`, `main.fixture.capacitance`."""


class Assumptions:
    """Sentences in the order in which they were first made, each once."""

    def __init__(self) -> None:
        self._said: dict[str, None] = {}

    def add(self, *sentences: str) -> None:
        """Declare what was assumed."""
        self._said.update(dict.fromkeys(sentences))

    def all(self) -> tuple[str, ...]:
        """Every sentence."""
        return tuple(self._said)


def build_circuit(
    documents: Documents, set_points: SetPoints, case: Case = NOMINAL
) -> tuple[physics.Circuit, tuple[str, ...]]:
    """The circuit of every input that has set points, and the assumptions it rests on."""
    assumptions = Assumptions()
    branches = tuple(_branch(documents, feed, case, assumptions) for feed in set_points.values())
    linked = {feed.input: feed.trips_when for feed in set_points.values() if feed.trips_when}
    linked = {name: tuple(c for c in causes if c in set_points) for name, causes in linked.items()}
    later = {
        name: linked_by_host(documents, set_points, name)
        for name, causes in linked.items()
        if not linked_by_supply(set_points, name, causes)
    }
    circuit = physics.Circuit(branches, linked, later_by=later)
    if len(linked) > len(later) or any(len(feed.outputs) > 1 for feed in set_points.values()):
        assumptions.add(
            f"a linked output switches off {circuit.linked_delay * 1e3:g} ms after the trip it follows"
        )
    for name, delay in later.items():
        assumptions.add(
            f"{name}: the program switches it off {delay * 1e3:.3g} ms after the trip it follows, at the "
            "latest: they are on different supplies"
        )
    assumptions.add(*physics.DECLARED)
    return circuit, assumptions.all()


def linked_by_supply(set_points: SetPoints, name: str, causes: Sequence[str]) -> bool:
    """Whether one supply has all outputs of an input and of those it follows, and so links them itself."""
    outputs = [output.output for each in (name, *causes) for output in set_points[each].outputs]
    return len({output.partition(".")[0] for output in outputs}) == 1


def linked_by_host(documents: Documents, set_points: SetPoints, name: str) -> float:
    """Longest time that the program takes to switch an input off after a trip that it follows [s]: until the
    next look at the outputs, the look itself, and the command.
    """
    every = min(documents.procedure.record.every, WATCH_EVERY)
    return every + 2 * exchange_of((output.output for output in set_points[name].outputs), documents.bench)


def uncertain_quantities(documents: Documents, set_points: SetPoints) -> dict[str, Uncertain]:
    """Every uncertain quantity of the circuit by its name, those with equal bounds left out."""
    found: dict[str, Uncertain] = {}

    def note(name: str, value: Uncertain) -> float:
        found[name] = value
        return value.nominal

    build_circuit(documents, set_points, note)
    output_errors(documents, set_points, note)
    return {name: value for name, value in found.items() if not value.certain}


def output_errors(
    documents: Documents, set_points: SetPoints, case: Case = NOMINAL
) -> tuple[dict[str, SetErrors], tuple[str, ...]]:
    """How far each output that has set points is off what it is told, and what was assumed of that."""
    errors: dict[str, SetErrors] = {}
    assumptions = Assumptions()
    for feed in set_points.values():
        for points in feed.outputs:
            name = points.output
            errors[name], made = set_errors(name, documents.bench.output(name), case)
            assumptions.add(*(f"{name}: {sentence}" for sentence in made))
    return errors, assumptions.all()


def _branch(documents: Documents, feed: Feed, case: Case, assumptions: Assumptions) -> physics.Branch:
    bench = documents.bench
    names = tuple(points.output for points in feed.outputs)
    return physics.Branch(
        name=feed.input,
        outputs=names,
        stages=tuple(_stage(name, bench.output(name), case, assumptions) for name in names),
        lead=_lead(feed, bench, case, assumptions),
        loads=_loads(feed, documents, case, assumptions),
        arrangement="single" if feed.arrangement == "alone" else feed.arrangement,
        sense="load" if feed.sense == "at load" else "terminals",
    )


def _stage(name: str, output: Output, case: Case, assumptions: Assumptions) -> OutputStage:
    figures = replace(
        output_figures(output),
        damping=case(f"{name}.damping", DAMPING),
        limit_overshoot=case(f"{name}.limit_overshoot", LIMIT_OVERSHOOT),
    )
    stage, made = derive_output_stage(figures)
    assumptions.add(*(f"{name}: {sentence}" for sentence in (*made, *figure_assumptions(output))))
    return stage


def stage_figures(output: Output) -> tuple[float, float, float]:
    """Time [s], band [V] and current [A] of the load step that an output's gains are derived from."""
    return recovery_figures(output_figures(output))[:3]


def lead_resistance(
    lead: Lead, bench: Bench, fixture: Fixture | None = None
) -> tuple[Uncertain, tuple[str, ...]]:
    """Loop resistance of a lead with its contacts and a fixture's parts in series [Ω], and what was assumed.

    Nominal and least are geometric, most is the maximum of IEC 60228 where the conductor has a class in its
    table; each at the ambient temperature's nominal, lowest and highest value. A fixture's bounds add to
    them: the whole is one quantity, taken as equally likely between its bounds.
    """
    assumptions: tuple[str, ...] = ()
    contacts = lead.contact_resistance_loop
    if contacts is None:
        contacts = Uncertain(0.0, 0.0, 0.0)
        assumptions = ("contact resistance is not given: none assumed",)
    conductor, length, ambient = lead.conductor, lead.one_way_length, bench.ambient
    area = lead.conductor.section
    low = conductors.loop_resistance(area, length, ambient.low, contacts.low)
    nominal = conductors.loop_resistance(area, length, ambient.nominal, contacts.nominal)
    try:
        high = conductors.loop_resistance(
            area, length, ambient.high, contacts.high, conductor.iec_class, "maximum"
        )
    except ValueError:  # a section that the table does not have
        high = conductors.loop_resistance(area, length, ambient.high, contacts.high)
    whole = Uncertain(nominal, low, max(high, nominal))
    if fixture is None:
        return whole, assumptions
    own = fixture.resistance
    whole = Uncertain(whole.nominal + own.nominal, whole.low + own.low, whole.high + own.high)
    left_out = (f"resistance of the {part} is not given: none assumed" for part in fixture.unknown)
    return whole, (*assumptions, *left_out)


def _lead(feed: Feed, bench: Bench, case: Case, assumptions: Assumptions) -> physics.Lead:
    name, lead, fixture = feed.input, bench.leads[feed.lead], bench.fixture(feed.fixture)
    resistance, made = lead_resistance(lead, bench, fixture)
    assumptions.add(*(f"{name}: {sentence} for its lead" for sentence in made))
    per_metre = lead.inductance
    if per_metre is None:
        diameter = conductors.diameter_of_area(lead.conductor.section)
        per_metre = conductors.pair_inductance_per_metre(diameter, SPACING * diameter)
        assumptions.add(
            f"{name}: inductance of its lead is not given: "
            f"that of two wires {SPACING:g} diameters apart, {per_metre * 1e6:.2f} µH/m, assumed"
        )
    inductance = per_metre * lead.one_way_length
    chosen = (
        case(f"{name}.lead.resistance", resistance),
        case(f"{name}.lead.inductance", Uncertain(inductance, inductance, inductance)),
    )
    if fixture is None:
        return physics.Lead(*chosen)
    drop = case(f"{name}.{FIXTURE}.drop", fixture.drop) if fixture.diode else None
    curve = tuple((point.current, point.time) for point in fixture.fuse.curve) if fixture.fuse else ()
    return physics.Lead(*chosen, drop, curve, fixture.opened)


def load_labels(device: Device, name: str, fixture: Fixture | None = None) -> tuple[str, ...]:
    """What the loads of an input are called in names of quantities: their kinds, the second one with _2; a
    fixture's capacitor comes last.
    """
    labels: list[str] = []
    count = dict[str, int]()
    for entry in device.inputs[name].load:
        count[entry.kind] = count.get(entry.kind, 0) + 1
        labels.append(entry.kind if count[entry.kind] == 1 else f"{entry.kind}_{count[entry.kind]}")
    if fixture is not None and fixture.capacitor is not None:
        labels.append(FIXTURE)
    return tuple(labels)


def as_load(capacitor: AddedCapacitor) -> Capacitor:
    """A fixture's capacitor as a load, which it is to the circuit."""
    return Capacitor(capacitance=capacitor.capacitance, esr=capacitor.esr)


def _loads(
    feed: Feed, documents: Documents, case: Case, assumptions: Assumptions
) -> tuple[physics.Load, ...]:
    name, fixture = feed.input, documents.bench.fixture(feed.fixture)
    parts = [(entry.kind, entry.parameters) for entry in documents.device.inputs[name].load]
    if fixture is not None and fixture.capacitor is not None:
        parts.append(("capacitor", as_load(fixture.capacitor)))
    loads = []
    labels = load_labels(documents.device, name, fixture)
    for label, (kind, parameters) in zip(labels, parts, strict=True):

        def choose(field: str, value: Uncertain, prefix: str = f"{name}.{label}") -> float:
            return case(f"{prefix}.{field}", value)

        values, made = parameters.floats(choose)
        whose = " (its fixture)" if label == FIXTURE else ""
        assumptions.add(*(f"{name}: {sentence}{whose}" for sentence in made))
        loads.append(physics.Load(kind, values, parameters.table()))
    return tuple(loads)
