"""What lies inside a device: a diode, a choke and a fuse before its loads, by closed forms; ngspice judges
the whole in `tests/external/test_inside_ngspice.py`.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from tests.physics.loads.driven import STAGE

from railwright.physics.characteristics import source_of, static_loads
from railwright.physics.circuit import Branch, Circuit, LeadCircuit, Load
from railwright.physics.loads import inside
from railwright.physics.operating_points import Static
from railwright.physics.simulation import Simulation
from railwright.traces import EventKind

CURVE = ((1.0, 100.0), (2.0, 1.0), (10.0, 1e-3))


def between(
    resistance: float = 0.05, inductance: float = 0.0, drop: float | None = None, fuse: bool = False
) -> Load:
    values = {"resistance": resistance, "inductance": inductance, "drop": drop or 0.0}
    points = [math.log(number) for point in CURVE for number in point] if fuse else []
    return Load(inside.NAME, values, (float(drop is not None), len(points) / 2.0, *points))


def resistor(ohms: float) -> Load:
    return Load("resistor", {"resistance": ohms}, behind=True)


def played(
    *loads: Load, until: float = 20e-3, reversed_lead: bool = False, sense: bool = False, **told: float
):
    branch = Branch(
        "main",
        ("out",),
        (STAGE,),
        LeadCircuit(0.1, 1e-6),
        loads,
        reversed_lead=reversed_lead,
        sense="load" if sense else "terminals",
    )
    simulation = Simulation(Circuit((branch,)), relative=1e-7, everything=True)
    simulation.set("out", **{"voltage": 12.0, "current_limit": 8.0, "on": True, **told})
    done = simulation.advance(until)
    return branch, done.samples["main"], done.events


def behind(branch: Branch, samples) -> np.ndarray:
    at = next(n for n, state in enumerate(branch.states) if state.quantity.endswith("voltage behind"))
    return samples.states[:, at]


@pytest.mark.parametrize("inductance", [0.0, 22e-6])
@pytest.mark.parametrize("drop", [None, 0.4])
def test_what_is_lost_on_the_way_to_the_load(inductance: float, drop: float | None) -> None:
    """Sensed at the connector: 12 V there; behind it (12 V - v_f) 24 Ω / (24 Ω + 0.05 Ω)."""
    branch, samples, _ = played(between(0.05, inductance, drop), resistor(24.0), sense=True)
    volts = (12.0 - (drop or 0.0)) * 24.0 / 24.05
    assert samples.voltage[-1] == pytest.approx(12.0, abs=1e-4)
    assert behind(branch, samples)[-1] == pytest.approx(volts, abs=1e-4)
    assert samples.current[-1] == pytest.approx(volts / 24.0, rel=1e-4)
    point = Static(source_of(branch, 12.0, 8.0), static_loads(branch)).meeting({})[0][0]
    assert point == pytest.approx(volts, abs=1e-6)


def test_a_reversed_lead_is_blocked_by_the_diode_and_by_nothing_else() -> None:
    _, blocked, _ = played(between(drop=0.4), resistor(24.0), reversed_lead=True)
    assert np.abs(blocked.current[-1]) < 1e-4
    assert blocked.voltage[-1] == pytest.approx(12.0, abs=1e-2), "at the connector, whichever way round"
    _, through, _ = played(between(), resistor(24.0), reversed_lead=True)
    assert np.abs(through.current[-1]) == pytest.approx(12.0 / 24.15, rel=1e-3)


def test_a_fuse_opens_once_its_curve_is_used_up() -> None:
    """∫ dt / t(i) of the recorded current, summed up here, is 1 as it opens; 3 A: 1 s · 1.5^-4.29."""
    _, samples, events = played(between(fuse=True), resistor(3.85), until=0.3)
    (opened,) = [each for each in events if each.kind is EventKind.FUSE_OPENS]
    assert opened.facts.load == inside.NAME
    slope = math.log(1e-3) / math.log(5.0)
    part = (samples.time <= opened.time) & (samples.current > 2.0)
    time, amperes = samples.time[part], samples.current[part]
    gone = np.trapezoid((amperes / 2.0) ** -slope, time)
    assert gone == pytest.approx(1.0, abs=5e-3)
    assert opened.time == pytest.approx(1.5**slope, rel=0.05)
    assert samples.current[-1] == pytest.approx(0.0, abs=1e-4)
    _, cool, events = played(between(fuse=True), resistor(12.5), until=0.3)
    assert not [each for each in events if each.kind is EventKind.FUSE_OPENS]
    assert cool.current[-1] == pytest.approx(12.0 / 12.65, rel=1e-3)


def test_a_capacitor_behind_a_diode_keeps_its_charge() -> None:
    """After a step down nothing comes back: 470 µF at 11.3 V over 1 kΩ lose e^(-10 ms / 0.47 s)."""
    bank = Load("capacitor", {"capacitance": 470e-6, "esr": 0.05}, behind=True)
    branch = Branch(
        "main", ("out",), (STAGE,), LeadCircuit(0.1, 1e-6), (between(drop=0.7), bank, resistor(1000.0))
    )
    simulation = Simulation(Circuit((branch,)), relative=1e-7, everything=True)
    simulation.set("out", voltage=12.0, current_limit=8.0, on=True)
    simulation.set("out", voltage=3.0, at=30e-3)
    before = behind(branch, simulation.advance(30e-3).samples["main"])[-1]
    samples = simulation.advance(40e-3).samples["main"]
    assert before == pytest.approx(11.3, abs=5e-3)
    assert samples.voltage[-1] == pytest.approx(3.0, abs=0.05)
    assert behind(branch, samples)[-1] == pytest.approx(before * math.exp(-10e-3 / 0.47), rel=1e-3)
    assert samples.load_currents is not None
    assert samples.load_currents[:, 0].min() > -0.05


def test_a_short_at_the_connector_takes_its_current_past_the_fuse() -> None:
    """20 mΩ across the connector: the limit's 8 A flow there, and not through a fuse that opens in 3 ms."""
    branch = Branch("main", ("out",), (STAGE,), LeadCircuit(0.1, 1e-6), (between(fuse=True), resistor(24.0)))
    simulation = Simulation(Circuit((branch,)), everything=True)
    simulation.set("out", voltage=12.0, current_limit=8.0, on=True)
    simulation.change_lead("main", at=10e-3, short=0.02)
    done = simulation.advance(60e-3)
    assert done.samples["main"].current[-1] == pytest.approx(8.0, rel=0.02)
    assert not [each for each in done.events if each.kind is EventKind.FUSE_OPENS]


@pytest.mark.parametrize("loads", [(resistor(1.0),), (resistor(1.0), between()), (between(), between())])
def test_a_branch_has_it_once_and_first(loads: tuple[Load, ...]) -> None:
    with pytest.raises(ValueError, match="once and first"):
        Branch("main", ("out",), (STAGE,), LeadCircuit(0.1, 1e-6), loads)
