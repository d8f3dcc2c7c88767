"""Parts of a circuit, from documents and a case: output stages, leads and loads, with every assumption
declared.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from railwright.assumptions import Assumptions
from railwright.circuit.case import Case, QuantityName
from railwright.circuit.leads import SPACING, lead_inductance, lead_resistance
from railwright.documents.bench import Bench
from railwright.documents.device import Device
from railwright.documents.figures import figure_assumptions, output_figures
from railwright.documents.fixture import AddedCapacitor, Fixture
from railwright.documents.inside import Inside
from railwright.documents.output_name import OutputName
from railwright.documents.translate import annotations_of
from railwright.physics.loads import LoadParameters, inside, labels_of
from railwright.physics.loads.capacitor import Capacitor
from railwright.physics.output_stage import (
    DAMPING,
    LIMIT_OVERSHOOT,
    PASS_LAG,
    OutputStage,
    derive_output_stage,
)
from railwright.quantities import Dimension, Uncertain

if TYPE_CHECKING:
    from pydantic.fields import FieldInfo

    from railwright.physics import circuit as physics

DAMPING_ASSUMED = (
    f"damping of the voltage loop is {DAMPING.nominal:g} ({DAMPING.text}), lag of its pass element "
    f"{PASS_LAG:g}/ω: a data sheet does not say"
)
OVERSHOOT_ASSUMED = (
    "until the current limit has responded the output may exceed it by "
    f"{LIMIT_OVERSHOOT.nominal:.0%} ({LIMIT_OVERSHOOT.text}) of its rated current: a data sheet does not say"
)

FIXTURE = "fixture"
"""What a fixture's own quantities are called after: `main.fixture.drop`, `main.fixture.capacitance`."""


class Parts:
    """Makes parts of a circuit; `case` chooses the value of each uncertain quantity.

    assumptions: what was taken where a document says nothing. units: SI unit of each quantity by its name.
    dimensions: what a document may say of it, where one does.
    """

    def __init__(self, bench: Bench, case: Case, assumptions: Assumptions | None = None) -> None:
        self.assumptions = assumptions if assumptions is not None else Assumptions()
        self.units: dict[str, str] = {}
        self.dimensions: dict[str, Dimension] = {}
        self._bench, self._case = bench, case

    def _choose(self, name: QuantityName, value: Uncertain, unit: str) -> float:
        self.units[name] = unit
        return self._case(name, value)

    def stage(self, name: OutputName) -> OutputStage:
        """The output of that name."""
        output = self._bench.output(name)
        figures = output_figures(output)._replace(
            damping=self._choose(QuantityName(name, "damping"), DAMPING, "1"),
            limit_overshoot=self._choose(QuantityName(name, "limit_overshoot"), LIMIT_OVERSHOOT, "1"),
        )
        stage, made = derive_output_stage(figures)
        made += (DAMPING_ASSUMED, OVERSHOOT_ASSUMED, *figure_assumptions(output))
        self.assumptions.add(name, *made)
        return stage

    def lead(self, name: str, written: str, fixture: Fixture | None) -> physics.LeadCircuit:
        """The lead of an input, called `written` in the bench, with what a fixture has in series with it."""
        from railwright.physics.circuit import LeadCircuit

        lead = self._bench.leads[written]
        found = lead_resistance(lead, self._bench, fixture)
        for part in found.missing:
            self.assumptions.add(name, f"{part} is not given: none assumed for its lead", part="lead")
        if lead.conductor.iec_class is None:
            self.assumptions.add(
                name,
                f"no table gives the largest resistance of {lead.conductor.text}: that of its section, "
                f"{lead.conductor.section * 1e6:.3g} mm², is taken; stranded wire may have more",
                part="lead",
            )
        inductance = lead_inductance(lead)
        if lead.inductance is None:
            per_metre = inductance / lead.one_way_length
            self.assumptions.add(
                name,
                "inductance of its lead is not given: "
                f"that of two wires {SPACING:g} diameters apart, {per_metre * 1e6:.2f} µH/m, assumed",
                part="lead",
            )
        exact = Uncertain(inductance, inductance, inductance)
        for part, unit in (("resistance", "ohm"), ("inductance", "H")):
            self.dimensions[QuantityName(name, "lead", part)] = Dimension(unit, nonnegative=True)
        chosen = (
            self._choose(QuantityName(name, "lead", "resistance"), found.value, "ohm"),
            self._choose(QuantityName(name, "lead", "inductance"), exact, "H"),
        )
        if fixture is None:
            return LeadCircuit(*chosen)
        drop = self._choose(QuantityName(name, FIXTURE, "drop"), fixture.drop, "V") if fixture.diode else None
        curve = tuple((point.current, point.time) for point in fixture.fuse.curve) if fixture.fuse else ()
        return LeadCircuit(*chosen, drop, curve, fixture.opened)

    def loads(self, name: str, device: Device, fixture: Fixture | None) -> tuple[physics.Load, ...]:
        """What an input of the device is to its lead, a fixture's capacitor with it."""
        from railwright.physics.circuit import Load

        wanted = device.inputs[name]
        between = wanted.inside if wanted.inside is not None and wanted.inside.in_series else None
        parts: list[tuple[str, LoadParameters, str]] = []
        if between is not None:
            parts.append((inside.NAME, self._inside(name, between), ""))
        parts += [(entry.kind, entry.parameters, entry.enabled_by or "") for entry in wanted.load]
        if wanted.inside is not None and wanted.inside.capacitor is not None:
            parts.append(("capacitor", as_load(wanted.inside.capacitor), ""))
        behind = range(1, len(parts)) if between is not None else ()
        if fixture is not None and fixture.capacitor is not None:
            parts.append(("capacitor", as_load(fixture.capacitor), ""))
        loads = []
        labels = load_labels(device, name, fixture)
        for number, (label, (kind, parameters, pin)) in enumerate(zip(labels, parts, strict=True)):
            fields: Mapping[str, FieldInfo] = type(parameters).model_fields

            def choose(
                field: str,
                value: Uncertain,
                label: str = label,
                fields: Mapping[str, FieldInfo] = fields,
            ) -> float:
                called, dimension = QuantityName(name, label, field), _dimension(fields[field])
                if dimension is not None:
                    self.dimensions[called] = dimension
                return self._choose(called, value, dimension.unit if dimension is not None else "")

            values, made = parameters.floats(choose)
            whose = " (its fixture)" if label == FIXTURE else ""
            self.assumptions.add(name, *(f"{text}{whose}" for text in made))
            loads.append(Load(kind, values, parameters.table(), pin, number in behind))
        return tuple(loads)

    def _inside(self, name: str, between: Inside) -> inside.InsideParameters:
        """What lies in series inside an input, as the circuit has it, with what is assumed of it."""
        for part in between.unknown:
            self.assumptions.add(name, f"resistance of the {part} inside is not given: none assumed")
        curve = tuple((point.current, point.time) for point in between.fuse.curve) if between.fuse else ()
        given, least = between.resistance, inside.LEAST_RESISTANCE
        ohms = Uncertain(max(given.nominal, least), max(given.low, least), max(given.high, least))
        return inside.InsideParameters(
            resistance=ohms,
            inductance=between.inductance,
            drop=between.drop,
            blocks=between.diode is not None,
            curve=curve,
        )


def load_labels(device: Device, name: str, fixture: Fixture | None = None) -> tuple[str, ...]:
    """What the loads of an input are called in names of quantities: their kinds, the second one with _2; what
    lies inside comes first, a capacitor there behind the loads, a fixture's last.
    """
    wanted = device.inputs[name]
    kinds = [entry.kind for entry in wanted.load]
    if wanted.inside is not None and wanted.inside.capacitor is not None:
        kinds.append("capacitor")
    labels = labels_of(kinds)
    if wanted.inside is not None and wanted.inside.in_series:
        labels = (inside.NAME, *labels)
    return (*labels, FIXTURE) if fixture is not None and fixture.capacitor is not None else labels


def as_load(capacitor: AddedCapacitor) -> Capacitor:
    """A fixture's capacitor as a load, which it is to the circuit."""
    return Capacitor(capacitance=capacitor.capacitance, esr=capacitor.esr)


def _dimension(field: FieldInfo) -> Dimension | None:
    """What a quantity of a document is; None: none of the usual ones."""
    annotations = (*field.metadata, *annotations_of(field.annotation))
    return next((each for each in annotations if isinstance(each, Dimension)), None)
