"""What holds for every load: nothing at 0 V, finite everywhere, played through whatever a supply does."""

from __future__ import annotations

import math

import numpy as np
import pytest
from tests.physics.bench import capacitor
from tests.physics.loads.driven import bench, load_of, p_of

from railwright.physics.loads import KINDS
from railwright.physics.simulation import Simulation

EXAMPLES = {
    f"{kind} {how}".strip(): (kind, given)
    for kind, known in KINDS.items()
    for how, given in known.equations.examples(12.0, 0.5).items()
}


def example(name: str):
    kind, given = EXAMPLES[name]
    return load_of(kind, **given)


def test_every_load_has_an_example():
    assert {kind for kind, _ in EXAMPLES.values()} == set(KINDS)


@pytest.mark.parametrize("name", EXAMPLES)
def test_its_law_is_finite_at_every_voltage_and_nothing_flows_at_zero(name):
    load = example(name)
    kind, p = KINDS[load.kind], p_of(load)
    law, derivatives = kind.equation("current"), kind.equation("derivatives")
    cold = list(kind.equation("at_start")(p)) or [0.0] * len(kind.states)
    for flag in (0.0, 1.0):
        q = [flag, *kind.flags_at_start[1:]] if kind.flags_at_start else []
        if "starts" in kind.events:
            q[1] = 0.0
        for v in (-1e3, -12.0, -1e-9, 0.0, 1e-9, 0.5, 12.0, 1e3):
            change = [0.0] * len(cold)
            derivatives(v, 0.0, p, cold, q, change)
            assert all(math.isfinite(value) for value in (law(v, 0.0, p, cold, q), *change))
            assert isinstance(kind.equation("region")(v, 0.0, p, cold, q), int)
            assert math.isfinite(kind.heat(v, 0.0, p, cold, q))
    if load.kind not in ("battery", "converter"):  # one has a voltage of its own, the other is off there
        flags = list(kind.flags_at_start)
        assert law(0.0, 0.0, p, cold, flags) == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("name", EXAMPLES)
def test_played_through_whatever_a_supply_does_to_it(name):
    """On, dip, off, on in its limit, reversed, at a rehearsal's tolerance: it ends, and stays finite."""
    sim = Simulation(bench(example(name), capacitor(47e-6)).circuit, everything=True)
    sim.set("out", voltage=12.0, current_limit=5.0, on=True)
    sim.set("out", at=0.3, voltage=5.5)
    sim.set("out", at=0.32, voltage=12.0)
    sim.set("out", at=0.5, on=False)
    sim.set("out", at=1.0, current_limit=0.3, on=True)
    sim.set("out", at=1.5, current_limit=5.0, voltage=30.0)
    sim.change_lead("main", at=2.0, reversed_lead=True)
    sim.change_lead("main", at=2.3, opened=True)
    samples = sim.advance(2.5).samples["main"]
    assert samples.states is not None
    assert samples.load_currents is not None
    assert np.isfinite(samples.states).all()
    assert np.isfinite(samples.load_currents).all()
    assert sim.steps < 20_000


@pytest.mark.parametrize(
    "name", [name for name in EXAMPLES if hasattr(KINDS[example(name).kind].equations, "draws")]
)
@pytest.mark.parametrize("volts", [9.0, 12.0])
def test_what_it_draws_is_what_it_settles_at(name, volts):
    load = example(name)
    least, most = KINDS[load.kind].equations.draws(volts, p_of(load))
    sim = Simulation(bench(load, capacitor(47e-6), resistance=0.0).circuit, everything=True)
    sim.set("out", voltage=volts, current_limit=20.0, on=True)
    sim.advance(20.0)
    samples = sim.advance(20.2).samples["main"]
    assert samples.load_currents is not None
    drawn = samples.load_currents[:, 0]
    assert least - 1e-3 <= drawn.min()
    assert drawn.max() <= most + 1e-3
    if least == most:
        assert drawn[-1] == pytest.approx(most, rel=2e-3, abs=1e-4)
