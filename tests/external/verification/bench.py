"""The two outputs that the circuits use, from figures as a data sheet gives them; netlists hold their
coefficients as numbers.
"""

from __future__ import annotations

from typing import Literal

from railwright.physics.circuit import NODE_CAPACITANCE, Branch, LeadCircuit, Load
from railwright.physics.loads import KINDS
from railwright.physics.output_stage import OutputFigures, OutputStage, derive_output_stage

SMALL: OutputStage = derive_output_stage(
    OutputFigures(
        voltage_max=36.0,
        current_max=2.5,
        power=60.0,
        rise=12e-3,
        fall_loaded=30e-3,
        fall_unloaded=0.4,
        recovery_time=80e-6,
        recovery_band=20e-3,
        recovery_step=0.5,
        limit_response=1e-3,
        output_capacitance=220e-6,
        ovp_response=200e-6,
    )
)[0]
"""36 V, 2.5 A, 60 W, which cannot sink."""

LARGE: OutputStage = derive_output_stage(
    OutputFigures(
        voltage_max=40.0,
        current_max=10.0,
        rise=5e-3,
        fall_loaded=5e-3,
        recovery_time=100e-6,
        recovery_band=40e-3,
        recovery_step=0.5,
        limit_response=500e-6,
        output_capacitance=470e-6,
        sink_current=5.0,
        bleeder=500.0,
        ovp_response=100e-6,
    )
)[0]
"""40 V, 10 A, which sinks up to 5 A."""


def load(kind: str, **given: object) -> Load:
    """A load from what a device document says of it, at nominal values."""
    parameters = KINDS[kind].model(**given)
    values, _ = parameters.floats(lambda name, value: value.nominal)
    return Load(kind, values, parameters.table())


def coefficients(stage: OutputStage) -> dict[str, float]:
    """An output's coefficients under the names that they have in the netlists."""
    return {
        "plim": stage.power if stage.power < 1e9 else 1e9,
        "cout": stage.capacitance,
        "rbleed": stage.bleeder,
        "lag": stage.lag,
        "kp": stage.k_p,
        "ki": stage.k_i,
        "kc": stage.k_c,
        "over": stage.overshoot,
        "sink": stage.sink,
        "vdiode": stage.diode_drop,
        "rdiode": stage.diode_resistance,
    }


def alone(
    stage: OutputStage,
    lead: LeadCircuit,
    *loads: Load,
    sense: Literal["terminals", "load"] = "terminals",
    node: float = NODE_CAPACITANCE,
    name: str = "main",
    output: str = "out",
) -> Branch:
    """One input with one output."""
    return Branch(name, (output,), (stage,), lead, loads, sense=sense, node_capacitance=node)


def usual(branch: Branch) -> dict[str, float]:
    """Coefficients of an input's output, lead and connector under their names in the netlists."""
    return {
        **coefficients(branch.stages[0]),
        "rlead": branch.lead.resistance,
        "llead": branch.lead.inductance,
        "cnode": branch.node_capacitance,
    }
