"""The Jacobian by hand against differences of the right-hand side, for every arrangement and every loop in
charge.
"""

import numpy as np
import pytest
from tests.physics.bench import STAGE, capacitor, constant_current, converter, keep_regions, resistor

from railwright.compilation import with_way_in
from railwright.physics import equations, layout
from railwright.physics.circuit import Branch, LeadCircuit
from railwright.physics.player import Player
from railwright.physics.simulation import FINE, RELATIVE

rhs, regions = with_way_in(equations.rhs), with_way_in(equations.regions)
jacobian_of = with_way_in(equations.jacobian)
LOADS = (capacitor(1e-3), converter(), resistor(50.0), constant_current(0.2, 3.0))


def player_of(arrangement, sense):
    count = 1 if arrangement == "single" else 2
    names = tuple(f"left.{n}" for n in range(1, count + 1))
    branch = Branch(
        "main", names, (STAGE,) * count, LeadCircuit(0.07, 1e-6), LOADS, arrangement=arrangement, sense=sense
    )
    player = Player(branch, 0.0, RELATIVE, FINE)
    player.system.settings[:, layout.ON] = 1.0
    player.system.settings[:, layout.REF_GOAL] = 12.0
    player.system.settings[:, layout.REF_START] = 2.0
    player.system.settings[:, layout.REF_RATE] = 1000.0
    player.system.flags[:] = (1.0, 0.0, 1.0)
    return player


@pytest.mark.parametrize("arrangement", ["single", "series", "parallel"])
@pytest.mark.parametrize("sense", ["terminals", "load"])
@pytest.mark.parametrize("case", ["voltage", "current", "power", "off", "diode", "ceiling"])
def test_jacobian_and_slope_are_the_derivatives_of_the_right_hand_side(arrangement, sense, case):
    player = player_of(arrangement, sense)
    y, system = player.y, player.system
    outputs = len(player.branch.outputs)
    first = 3 * outputs
    y[first:] = 9.0
    y[0 : 3 * outputs : 3] = 0.4
    y[1 : 3 * outputs : 3] = 0.3
    y[2 : 3 * outputs : 3] = 0.7
    t = 0.007 - 1e-4
    if case == "current":
        system.settings[:, layout.LIMIT] = -0.6
        y[2 : 3 * outputs : 3] = 0.5
    elif case == "power":
        system.settings[:, layout.POWER] = 1e-3
    elif case == "off":
        system.settings[:, layout.ON] = 0.0
    elif case == "diode":
        y[first] = -2.0
    elif case == "ceiling":
        y[first:] = 37.5
        y[first + (1 if arrangement == "parallel" else outputs) + 1] = 0.5
        y[0 : 3 * outputs : 3] = 1.0
    if case in ("voltage", "power"):
        y[1 : 3 * outputs : 3] = 200.0 if case == "power" else 45.0
    keep_regions(t, y, system)
    n = y.size
    jacobian, slope, work = np.zeros((n, n)), np.zeros(n), np.zeros(n)
    jacobian_of(t, y, jacobian, slope, system)
    f0, f1 = np.zeros(n), np.zeros(n)
    scale = np.abs(jacobian).max(axis=1) + 1.0
    for j in range(n):
        step = 1e-6
        up, down = y.copy(), y.copy()
        up[j] += step
        down[j] -= step
        rhs(t, up, f1, system)
        rhs(t, down, f0, system)
        work = (f1 - f0) / (2 * step)
        assert np.abs((work - jacobian[:, j]) / scale).max() < 1e-5, player.branch.states[j]
    step = 1e-9
    rhs(t + step, y, f1, system)
    rhs(t - step, y, f0, system)
    work = (f1 - f0) / (2 * step)
    assert np.abs((work - slope) / (np.abs(slope) + scale)).max() < 1e-3


def test_the_ceiling_is_a_region_of_its_own():
    """Sensing 0 V at the load it is asked for more than 1.05 · 36 V from 37.8 - 12 V at the terminals on."""
    player = player_of("single", "load")
    y, system = player.y, player.system
    out = np.zeros(6, dtype=np.int64)
    for own, held in ((25.7, False), (25.9, True), (37.0, True)):
        y[3], y[5] = own, 0.0
        regions(1.0, y, out, system)
        assert bool(out[0] & 256) == held, own


def test_regions_name_who_is_in_charge():
    player = player_of("single", "load")
    y, system = player.y, player.system
    y[3:] = 9.0
    out = np.zeros(6, dtype=np.int64)
    system.settings[0, layout.REF_RATE], system.settings[0, layout.REF_GOAL] = 0.0, 9.0
    y[1] = 0.5
    regions(0.0, y, out, system)
    assert out[0] & 7 == layout.VOLTAGE
    system.settings[0, layout.LIMIT], y[2] = 0.2, 0.0
    regions(0.0, y, out, system)
    assert out[0] & 7 == layout.CURRENT
    system.settings[0, layout.POWER] = 0.9
    regions(0.0, y, out, system)
    assert out[0] & 7 == layout.POWER_LIMIT
    system.settings[0, layout.OVP] = 8.0
    regions(0.0, y, out, system)
    assert out[0] & 8 == 8
