"""How the outputs of one supply are wired, as a circuit of true values: hook-up, leads, loads, output stages.

Without a procedure every output stands open. Groups in series or in parallel are simulated within one supply;
a group over two supplies cannot be, because each supply is a process of its own, and is refused.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from railwright.circuit.case import QuantityName
from railwright.circuit.parts import Parts
from railwright.documents.bench import Bench
from railwright.documents.device import Device
from railwright.documents.fixture import Fixture
from railwright.documents.hook_up import HookUp
from railwright.documents.output_name import OutputName
from railwright.documents.procedure import Procedure
from railwright.plan.off_order import held_voltage
from railwright.quantities import Uncertain
from railwright.twin.faults import SENSE_KINDS, TwinFault, has, partner_of, reversed_load
from railwright.twin.truth import Truth

if TYPE_CHECKING:
    from railwright.physics.circuit import Branch, Circuit, LeadCircuit, Load
    from railwright.physics.output_stage import OutputStage


class WiringError(ValueError):
    """The bench is wired in a way that no twin can simulate; one line for people."""


@dataclass(frozen=True)
class Wiring:
    """The circuit behind one supply. branch_of: output -> its branch; sensed: outputs with sense leads to the
    load. inputs: those that are connected. shorted: with a short across their connector; reversed: with the
    conductors of their lead exchanged.
    """

    circuit: Circuit
    branch_of: Mapping[str, Branch]
    sensed: frozenset[str]
    inputs: tuple[str, ...]
    shorted: frozenset[str] = frozenset()
    reversed: frozenset[str] = frozenset()


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

    parts: Parts = Parts(bench, lambda name, bounds: _true(truth, parts, name, bounds), truth.assumptions)
    outputs = [OutputName.of(supply, name) for name in bench.supplies[supply].outputs]
    stages = {output: parts.stage(output) for output in outputs}
    branches, sensed = list[Branch](), set[OutputName]()
    for name, hook_up in (procedure.hook_up if procedure and device else {}).items():
        assert device is not None
        if not any(output in stages for output in hook_up.outputs):
            continue
        _check_group(name, hook_up, supply)
        if hook_up.sense == "at load":
            sensed |= set(hook_up.outputs)
        _check_sense(name, hook_up, supply, procedure, faults)
        branches.append(
            Branch(
                name=name,
                outputs=hook_up.outputs,
                stages=tuple(stages[output] for output in hook_up.outputs),
                arrangement="single" if hook_up.arrangement == "alone" else hook_up.arrangement,
                sense="terminals",
                lead=_lead(name, hook_up, bench, parts, faults),
                loads=_connected(name, device, bench.fixture(hook_up.fixture), parts, faults),
                reversed_lead=has(faults, "reversed", name) and _is_source(name, device, faults),
            )
        )
    inputs = tuple(branch.name for branch in branches)
    fed = {output for branch in branches for output in branch.outputs}
    branches += [_open(output, stage) for output, stage in stages.items() if output not in fed]
    parts.assumptions.add("", *DECLARED)
    truth.know_units(parts.units)
    return Wiring(
        Circuit(branches=tuple(branches)),
        {output: branch for branch in branches for output in branch.outputs},
        frozenset(sensed),
        inputs,
        shorted=frozenset(name for name in inputs if has(faults, "short", name)),
        reversed=frozenset(name for name in inputs if has(faults, "reversed", name)),
    )


def _true(truth: Truth, parts: Parts, name: QuantityName, bounds: Uncertain) -> float:
    """The true value of a quantity. WiringError where it was given, and no document could have it."""
    value = truth.choose(name, bounds)
    if name in parts.dimensions:
        try:
            truth.check_given(name, parts.dimensions[name])
        except ValueError as error:
            raise WiringError(str(error)) from None
    return value


def _lead(name: str, hook_up: HookUp, bench: Bench, parts: Parts, faults: Sequence[TwinFault]) -> LeadCircuit:
    """The lead of an input as it stands before anything is told: a relay was just switched on."""
    lead = parts.lead(name, hook_up.lead, bench.fixture(hook_up.fixture))
    contact = bench.contact_in(hook_up.fixture)
    if contact is not None:
        lead = replace(lead, opened=bench.contacts[contact][1].without_power == "open")
    return replace(lead, opened=True) if has(faults, "open", name) else lead


def _check_sense(
    name: str, hook_up: HookUp, supply: str, procedure: Procedure | None, faults: Sequence[TwinFault]
) -> None:
    """A fault of sense leads needs sense leads, and two that are crossed need one supply."""
    wrong = next((f for f in faults if f.kind in SENSE_KINDS and name in f.inputs), None)
    if wrong is None or procedure is None:
        return
    if hook_up.sense != "at load":
        raise WiringError(f"'{wrong.kind}': input '{name}' is sensed at the terminals, it has no sense leads")
    other = partner_of(faults, "sense crossed", name)
    theirs = procedure.hook_up[other].outputs if other is not None else hook_up.outputs
    if {output.supply for output in theirs} != {supply}:
        raise WiringError(
            f"'sense crossed': a twin simulates it only within one supply, and '{other}' is fed by another"
        )


def _connected(
    name: str, device: Device, fixture: Fixture | None, parts: Parts, faults: Sequence[TwinFault]
) -> tuple[Load, ...]:
    """What hangs at the lead of an input: its own load, another's, or what a reversed input is."""
    there = partner_of(faults, "exchanged", name) or name
    loads = parts.loads(there, device, fixture)
    if not has(faults, "reversed", name):
        return loads
    if _is_source(name, device, faults):
        parts.assumptions.add(there, "reversed, its own source drives current the other way: nothing blocks")
        return loads
    if device.inputs[there].draws_either_way and (fixture is None or fixture.diode is None):
        parts.assumptions.add(there, "reversed, it draws the same, as resistors and capacitors do: assumed")
        return loads
    loads, sentence = reversed_load(device.inputs[there].blocks_reversed)
    parts.assumptions.add(there, sentence)
    return loads


def _is_source(name: str, device: Device, faults: Sequence[TwinFault]) -> bool:
    """Whether what hangs at the lead of an input has a source of its own."""
    return held_voltage(device, partner_of(faults, "exchanged", name) or name) is not None


def _check_group(name: str, hook_up: HookUp, supply: str) -> None:
    supplies = sorted({output.supply for output in hook_up.outputs})
    if len(supplies) > 1:
        raise WiringError(
            f"input '{name}' is fed by outputs of {' and '.join(supplies)}: "
            f"a twin simulates a {hook_up.arrangement} group only within one supply; "
            f"take all of them from {supply}, or run on real supplies"
        )


def _open(output: str, stage: OutputStage) -> Branch:
    """An output with nothing connected."""
    from railwright.physics.circuit import Branch, LeadCircuit

    return Branch(
        name=output,
        outputs=(output,),
        stages=(stage,),
        arrangement="single",
        sense="terminals",
        lead=LeadCircuit(resistance=0.01, inductance=1e-6),
        loads=(),
    )
