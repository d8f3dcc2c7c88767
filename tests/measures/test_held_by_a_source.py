"""A cell in the device holds the input up behind a diode in the lead, which blocks: what readings at the
output's terminals tell of the connector's voltage. That is the cell's, all the time.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from railwright.measures import MEASURES
from railwright.measures.outcome import CannotMeasure
from railwright.traces import Traces

from .scene import MODEL, Scene, view

SEEDS = 12
DROP = (0.4, 0.6)


def read(scene: Scene, seed: int) -> Traces:
    """At the terminals."""
    own = scene.read(seed, MODEL)
    columns = {"terminal_voltage": own.columns["voltage"], "current": own.columns["current"]}
    return Traces(own.time, columns)


@pytest.mark.parametrize("measure", ["mean_voltage", "peak_voltage", "low_state_level", "high_state_level"])
@pytest.mark.parametrize(
    ("cell", "fed"), [(3.12, 3.3), (3.12, 2.0), (9.0, 8.0), (13.0, 12.0), (24.0, 24.2), (20.0, 5.0)]
)
@pytest.mark.parametrize("on", [True, False])
def test_the_voltage_of_a_cell_is_in_the_interval(measure: str, cell: float, fed: float, on: bool) -> None:
    """Switched on at 0 s, or held at one level: no current flows, as the cell stands higher than the diode
    lets through.
    """
    before = 0.0 if on else fed
    scene = Scene.of((-0.5, before, 0.0), (0.0, before, 0.0), (0.02, fed, 0.0), (0.6, fed, 0.0))
    model = replace(MODEL, drop=DROP)
    more = {"switched_on": 0.0} if on else {}
    measured = 0
    for seed in range(SEEDS):
        try:
            got = MEASURES[measure](view(read(scene, seed), model, 0.0, 0.4, holds=cell, **more))
        except CannotMeasure:
            continue
        assert got.low <= cell <= got.high
        measured += 1
    # A lower state of an input that is switched on in the step cannot be told.
    assert measured or (on and measure == "low_state_level")


def test_a_cell_below_what_is_fed_holds_nothing_up() -> None:
    """Charged through the diode: its voltage adds nothing to what is open."""
    scene = Scene.of((-0.5, 12.0, 0.3), (0.6, 12.0, 0.3))
    model = replace(MODEL, drop=DROP)
    for seed in range(SEEDS):
        with_cell, without = (
            MEASURES["mean_voltage"](view(read(scene, seed), model, 0.0, 0.4, holds=each))
            for each in (11.0, 0.0)
        )
        assert (with_cell.low, with_cell.high) == (without.low, without.high)
