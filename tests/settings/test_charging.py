"""How long normal operation stays in a current limit by the closed form, of whole documents."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from tests.settings.station import station

from railwright.settings.context import sources_of

WATTS = 1.1 * 3.6 / 0.83
"""Greatest input power of the station's converter, which starts at 8.2 V and stops at 7.4 V at the lowest."""


def beside(start: float, stop: float, amperes: float) -> float:
    """∫ dv / (I - P/v), in closed form [V/A]."""
    log = math.log((amperes * stop - WATTS) / (amperes * start - WATTS))
    return (stop - start + WATTS / amperes * log) / amperes


@pytest.mark.parametrize("amperes", [0.6, 0.64, 0.65, 0.8, 1.2])
@pytest.mark.parametrize("rise", ["2 V/ms", "10 V/ms"])
def test_a_power_up_counts_a_converter_from_its_start_on(tmp_path: Path, amperes: float, rise: str) -> None:
    """Below P / 7.4 V = 0.645 A a running converter would hang there; one that starts at 8.2 V comes up."""
    source = sources_of(station(tmp_path, ("procedure", "rise: 2 V/ms", f"rise: {rise}")))[0]["main"]
    charging = source.longest_charging(amperes)
    assert charging is not None
    exact = source.capacitance * (8.2 / amperes + beside(8.2, 12.0, amperes))
    assert charging.time == pytest.approx(exact, rel=1e-6)
    assert charging.time >= exact * (1.0 - 1e-9)


@pytest.mark.parametrize("lowest", ["3 V", "1 V", "0 V"])
def test_after_a_dip_a_converter_may_still_run(tmp_path: Path, lowest: str) -> None:
    """A dip of 1 ms does not stop it: then it is counted from its lowest stopping voltage on."""
    dip = (
        ("procedure", "{line_to: 6 V, over: 2 s}", f"{{step_to: {lowest}}}"),
        ("procedure", "- {hold: 500 ms}\n        - {line_to: 12 V, over: 2 s}",
         "- {hold: 1 ms}\n        - {step_to: 12 V}"),
    )  # fmt: skip
    source = sources_of(station(tmp_path, *dip))[0]["main"]
    charging = source.longest_charging(0.7)
    assert charging is not None
    assert charging.move.step == "brown-out"
    below, exact = 7.4 - float(lowest.split()[0]), beside(7.4, 12.0, 0.7)
    assert charging.time == pytest.approx(source.capacitance * (below / 0.7 + exact), rel=1e-6)
    hangs = source.longest_charging(0.6)
    assert hangs is not None
    assert math.isinf(hangs.time)
