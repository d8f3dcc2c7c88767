"""A bench output and small circuits that several tests use."""

import math

import numpy as np

from railwright.compilation import with_way_in
from railwright.physics import equations
from railwright.physics.circuit import Branch, Circuit, LeadCircuit, Load
from railwright.physics.output_stage import OutputFigures, OutputStage, derive_output_stage

FIGURES = OutputFigures(
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
STAGE: OutputStage = derive_output_stage(FIGURES)[0]


def resistor(ohms: float) -> Load:
    return Load("resistor", {"resistance": ohms})


def constant_current(amperes: float, compliance: float = 1.0) -> Load:
    return Load("constant_current", {"current": amperes, "compliance": compliance})


def capacitor(farads: float, esr: float = 0.06) -> Load:
    return Load("capacitor", {"capacitance": farads, "esr": esr})


def converter(
    power: float = 3.6,
    starts: float = 8.4,
    stops: float = 7.6,
    soft_start: float = 8e-3,
    limit: float = math.inf,
    drop_out: float = 0.0,
) -> Load:
    return Load(
        "converter",
        {
            "output_power": power,
            "efficiency": 0.86,
            "starts_at": starts,
            "stops_at": stops,
            "soft_start": soft_start,
            "input_current_limit": limit,
            "drop_out": drop_out,
        },
    )


def single(
    *loads: Load, stage: OutputStage = STAGE, resistance: float = 0.01, sense: str = "terminals"
) -> Branch:
    return Branch("main", ("left.1",), (stage,), LeadCircuit(resistance, 1e-6), loads, sense=sense)


def pair(arrangement: str, *loads: Load, stage: OutputStage = STAGE) -> Circuit:
    names = ("left.1", "left.2")
    return Circuit(
        (Branch("main", names, (stage, stage), LeadCircuit(0.01, 1e-6), loads, arrangement=arrangement),)
    )


_regions, _keep = with_way_in(equations.regions), with_way_in(equations.keep)


def keep_regions(t, y, system):
    """Keep who is in charge of each output of a system, and what is saturated, as they are at (t, y)."""
    out = np.zeros(system.fixed.shape[0] + system.loads.shape[0], dtype=np.int64)
    _regions(t, np.ascontiguousarray(y), out, system)
    for bits, settings in zip(out, system.settings, strict=False):
        _keep(bits, settings)
