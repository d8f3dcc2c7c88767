"""How the outputs of one supply are wired, as a circuit of true values: hook-up, leads, loads, output stages.

Without a procedure every output stands open. Groups in series or in parallel are simulated within one supply;
a group over two supplies cannot be, because each supply is a process of its own, and is refused.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from railwright.documents.bench import Bench, Output
from railwright.documents.device import Device
from railwright.documents.figures import figure_assumptions, output_figures
from railwright.documents.fixture import Fixture
from railwright.documents.hook_up import HookUp
from railwright.documents.procedure import Procedure
from railwright.documents.translate import annotations_of
from railwright.physics import conductors
from railwright.physics.loads.capacitor import Capacitor
from railwright.physics.loads.law import LoadParameters
from railwright.quantities import Dimension, Uncertain
from railwright.twin.faults import TwinFault, has, partner_of, reversed_load
from railwright.twin.truth import Truth

if TYPE_CHECKING:
    from pydantic.fields import FieldInfo

    from railwright.physics.circuit import Branch, Circuit, Load
    from railwright.physics.circuit import Lead as CircuitLead
    from railwright.physics.output_stage import OutputStage

ASSUMED_SPACING = 2.0  # between the axes of a pair, in conductor diameters


class WiringError(ValueError):
    """The bench is wired in a way that no twin can simulate; one line for people."""


@dataclass(frozen=True)
class Wiring:
    """The circuit behind one supply. branch_of: output -> branch name; sensed: outputs with sense leads to
    the load.

    group_of: output -> number of outputs in its group. shorted: inputs with a short across their connector.
    """

    circuit: Circuit
    branch_of: Mapping[str, str]
    arrangement_of: Mapping[str, str]
    group_of: Mapping[str, int]
    sensed: frozenset[str]
    inputs: tuple[str, ...]
    shorted: frozenset[str] = frozenset()


def wire(
    supply: str,
    bench: Bench,
    device: Device | None,
    procedure: Procedure | None,
    truth: Truth,
    faults: Sequence[TwinFault] = (),
) -> Wiring:
    """The circuit of one supply of the bench with true values from `truth`. Raises WiringError."""
    from railwright.physics.circuit import DECLARED, Branch, Circuit

    stages = {
        f"{supply}.{name}": _stage(f"{supply}.{name}", output, truth)
        for name, output in bench.supplies[supply].outputs.items()
    }
    branches, branch_of, arrangement_of, group_of, sensed = [], {}, {}, {}, set()
    inputs = []
    for name, hook_up in (procedure.hook_up if procedure and device else {}).items():
        assert device is not None
        ours = [output for output in hook_up.outputs if output in stages]
        if not ours:
            continue
        _check_group(name, hook_up, supply)
        arrangement = "single" if hook_up.arrangement == "alone" else hook_up.arrangement
        for output in hook_up.outputs:
            branch_of[output], arrangement_of[output], group_of[output] = (
                name,
                arrangement,
                len(hook_up.outputs),
            )
        if hook_up.sense == "at load":
            sensed |= set(hook_up.outputs)
        _check_sense(name, hook_up, supply, procedure, faults)
        branches.append(
            Branch(
                name=name,
                outputs=hook_up.outputs,
                stages=tuple(stages[output] for output in hook_up.outputs),
                arrangement=arrangement,
                sense="terminals",
                lead=_lead(name, hook_up, bench, truth),
                loads=_connected(name, device, bench.fixture(hook_up.fixture), truth, faults),
            )
        )
        if has(faults, "open", name):
            branches[-1] = replace(branches[-1], lead=replace(branches[-1].lead, opened=True))
        inputs.append(name)
    branches += [_open(output, stage) for output, stage in stages.items() if output not in branch_of]
    for output in stages:
        branch_of.setdefault(output, output)
        arrangement_of.setdefault(output, "single")
        group_of.setdefault(output, 1)
    for sentence in DECLARED:
        truth.assume(sentence)
    circuit = Circuit(branches=tuple(branches))
    shorted = frozenset(name for name in inputs if has(faults, "short", name))
    return Wiring(circuit, branch_of, arrangement_of, group_of, frozenset(sensed), tuple(inputs), shorted)


def _check_sense(
    name: str, hook_up: HookUp, supply: str, procedure: Procedure | None, faults: Sequence[TwinFault]
) -> None:
    """A fault of sense leads needs sense leads, and two that are crossed need one supply."""
    wrong = next((f for f in faults if f.kind.startswith("sense ") and name in f.inputs), None)
    if wrong is None or procedure is None:
        return
    if hook_up.sense != "at load":
        raise WiringError(f"'{wrong.kind}': input '{name}' is sensed at the terminals, it has no sense leads")
    other = partner_of(faults, "sense crossed", name)
    theirs = procedure.hook_up[other].outputs if other is not None else hook_up.outputs
    if {output.partition(".")[0] for output in theirs} != {supply}:
        raise WiringError(
            f"'sense crossed': a twin simulates it only within one supply, and '{other}' is fed by another"
        )


def _connected(
    name: str, device: Device, fixture: Fixture | None, truth: Truth, faults: Sequence[TwinFault]
) -> tuple[Load, ...]:
    """What hangs at the lead of an input: its own load, another's, or what a reversed input is."""
    there = partner_of(faults, "exchanged", name) or name
    loads = _loads(there, device, fixture, truth)
    if not has(faults, "reversed", name):
        return loads
    if device.inputs[there].draws_either_way and (fixture is None or fixture.diode is None):
        truth.assume(f"{there}: reversed, it draws the same, as resistors and capacitors do: assumed")
        return loads
    loads, sentence = reversed_load(device.inputs[there].blocks_reversed)
    truth.assume(f"{there}: {sentence}")
    return loads


def _check_group(name: str, hook_up: HookUp, supply: str) -> None:
    supplies = sorted({output.partition(".")[0] for output in hook_up.outputs})
    if len(supplies) > 1:
        raise WiringError(
            f"input '{name}' is fed by outputs of {' and '.join(supplies)}: "
            f"a twin simulates a {hook_up.arrangement} group only within one supply; "
            f"take all of them from {supply}, or run on real supplies"
        )


def _stage(name: str, output: Output, truth: Truth) -> OutputStage:
    from railwright.physics.output_stage import derive_output_stage

    stage, assumptions = derive_output_stage(output_figures(output))
    for sentence in (*assumptions, *figure_assumptions(output)):
        truth.assume(f"{name}: {sentence}")
    return stage


def _lead(name: str, hook_up: HookUp, bench: Bench, truth: Truth) -> CircuitLead:
    """Lead with a resistance between the geometric value, cold, and the tabulated maximum, warm; and what a
    fixture has in series with it.
    """
    from railwright.physics.circuit import Lead as CircuitLead

    lead, fixture = bench.leads[hook_up.lead], bench.fixture(hook_up.fixture)
    conductor, length = lead.conductor, lead.one_way_length
    area = conductor.section
    contact = lead.contact_resistance_loop
    if contact is None:
        truth.assume(f"{name}: contact resistance is not given: none assumed for its lead")
        contact = Uncertain(0.0, 0.0, 0.0)
    low, middle, high = (
        conductors.loop_resistance(area, length, temperature) + contacts
        for temperature, contacts in (
            (bench.ambient.low, contact.low),
            (bench.ambient.nominal, contact.nominal),
            (bench.ambient.high, contact.high),
        )
    )
    if conductor.iec_class is not None:
        highest = conductors.maximum_resistance_per_metre(area, conductor.iec_class, bench.ambient.high)
        high = max(high, 2 * length * highest + contact.high)
    if fixture is not None:
        own = fixture.resistance
        low, middle, high = low + own.low, middle + own.nominal, high + own.high
        for part in fixture.unknown:
            truth.assume(f"{name}: resistance of the {part} is not given: none assumed for its lead")
    resistance = truth.choose(f"{name}.lead.resistance", Uncertain(middle, low, high), "ohm")
    per_metre = lead.inductance
    if per_metre is None:
        diameter = conductors.diameter_of_area(area)
        per_metre = conductors.pair_inductance_per_metre(diameter, ASSUMED_SPACING * diameter)
        truth.assume(
            f"{name}: inductance of its lead is not given: "
            f"that of two wires {ASSUMED_SPACING:g} diameters apart, {per_metre * 1e6:.2f} µH/m, assumed"
        )
    henries = per_metre * length
    inductance = truth.choose(f"{name}.lead.inductance", Uncertain(henries, henries, henries), "H")
    if fixture is None:
        return CircuitLead(resistance=resistance, inductance=inductance)
    drop = truth.choose(f"{name}.fixture.drop", fixture.drop, "V") if fixture.diode else None
    curve = tuple((point.current, point.time) for point in fixture.fuse.curve) if fixture.fuse else ()
    return CircuitLead(resistance, inductance, drop, curve, fixture.opened)


def _loads(name: str, device: Device, fixture: Fixture | None, truth: Truth) -> tuple[Load, ...]:
    """The input's loads; a second load of one kind is called `capacitor_2` in the names of its parameters,
    and the capacitor of a fixture `fixture`.
    """
    from railwright.physics.circuit import Load

    loads, count = [], dict[str, int]()
    parts: list[tuple[str, str, LoadParameters]] = []
    for entry in device.inputs[name].load:
        count[entry.kind] = count.get(entry.kind, 0) + 1
        label = entry.kind if count[entry.kind] == 1 else f"{entry.kind}_{count[entry.kind]}"
        parts.append((label, entry.kind, entry.parameters))
    if fixture is not None and fixture.capacitor is not None:
        added = Capacitor(capacitance=fixture.capacitor.capacitance, esr=fixture.capacitor.esr)
        parts.append(("fixture", "capacitor", added))
    for label, kind, parameters in parts:
        fields = type(parameters).model_fields

        def choose(
            field: str,
            uncertain: Uncertain,
            load: str = f"{name}.{label}",
            fields: Mapping[str, FieldInfo] = fields,
        ) -> float:
            return truth.choose(f"{load}.{field}", uncertain, _unit(fields[field]))

        values, assumptions = parameters.floats(choose)
        for sentence in assumptions:
            truth.assume(f"{name}: {sentence}{' (its fixture)' if label == 'fixture' else ''}")
        loads.append(Load(kind, values, parameters.table()))
    return tuple(loads)


def _unit(field: FieldInfo) -> str:
    """SI unit of a quantity of a document."""
    annotations = (*field.metadata, *annotations_of(field.annotation))
    return next((each.unit for each in annotations if isinstance(each, Dimension)), "")


def _open(output: str, stage: OutputStage) -> Branch:
    """An output with nothing connected."""
    from railwright.physics.circuit import Branch
    from railwright.physics.circuit import Lead as CircuitLead

    return Branch(
        name=output,
        outputs=(output,),
        stages=(stage,),
        arrangement="single",
        sense="terminals",
        lead=CircuitLead(resistance=0.01, inductance=1e-6),
        loads=(),
    )
