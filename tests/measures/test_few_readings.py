"""State levels of steps that few readings lie in, and drop-outs before a load has run. The truth is what the
scene holds, in closed form (common practice, no source).
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.measures.scene import MODEL, Scene, view

from railwright.measures.outcome import CannotMeasure
from railwright.measures.restarts import restarts
from railwright.measures.state_level import high_state_level, low_state_level


def stairs(levels: tuple[float, ...], dwell: float) -> Scene:
    """12 V, from 0 s on each level for its dwell, and 12 V again."""
    corners = [(-0.5, 12.0, 0.3), (0.0, 12.0, 0.3)]
    for number, level in enumerate(levels):
        corners += [(number * dwell + 1e-4, level, 0.3), ((number + 1) * dwell, level, 0.3)]
    end = len(levels) * dwell
    return Scene.of(*corners, (end + 1e-4, 12.0, 0.3), (end + 0.5, 12.0, 0.3))


@pytest.mark.parametrize("every", [5e-3, 10e-3, 20e-3])
@pytest.mark.parametrize("levels", [(8.5, 9.5, 10.5, 11.5, 12.5), (15.0, 6.0, 14.0), (6.0, 9.0)])
@pytest.mark.parametrize("measure", [high_state_level, low_state_level])
def test_one_reading_that_is_asked_often_is_no_level(every, levels, measure) -> None:
    """A mean over 40 ms of steps of 25 ms was told as a level that the voltage had: 10.92 V for 12.5 V."""
    model = replace(MODEL, update=50e-3, aperture=40e-3)
    traces = stairs(levels, 25e-3).read(3, model, every)
    with pytest.raises(CannotMeasure, match=r"fewer than 3 readings|holds 2 values"):
        measure(view(traces, model, 0.0, 25e-3 * len(levels)))


@pytest.mark.parametrize("every", [5e-3, 10e-3, 50e-3])
@pytest.mark.parametrize("level", [6.0, 9.0, 14.0])
def test_a_level_that_three_readings_show_is_told(every: float, level: float) -> None:
    model = replace(MODEL, update=50e-3, aperture=40e-3)
    traces = stairs((level,), 0.4).read(4, model, every)
    for measure in (high_state_level, low_state_level):
        found = measure(view(traces, model, 0.0, 0.4))
        assert found.low <= level <= found.high


@pytest.mark.parametrize("starts", [14.0, 15.0, 18.0])
@pytest.mark.parametrize("charging", [6e-3, 12e-3, 25e-3])
@pytest.mark.parametrize("seed", [1, 2])
def test_what_charges_an_input_is_no_load_that_has_run(starts: float, charging: float, seed: int) -> None:
    """A converter that starts once, while its input is charged: a constant current of C dV/dt before was as
    much as half of its usual one in proportion to the voltage, and its start a restart.
    """
    rise = 24.0 / 0.12
    begins = starts / rise
    scene = Scene.of(
        (-0.2, 0.0, 0.0), (0.0, 0.0, 0.0), (1e-4, 0.02, charging), (begins, starts, charging),
        (begins + 1e-4, starts + 0.02, charging + 0.07), (0.12, 24.0, charging + 0.05),
        (0.1201, 24.0, 0.05), (0.5, 24.0, 0.05),
    )  # fmt: skip
    seen = view(
        scene.read(seed), MODEL, 0.0, 0.3, switched_on=0.0, supplied=(0.0, 1e9), stops_at=(12.6, 13.3),
        capacitance=(3e-5, 1.3e-4),
    )  # fmt: skip
    assert restarts(seen).value == 0.0
