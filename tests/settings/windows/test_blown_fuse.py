"""The OVP window of an input that senses at the load, behind a fuse that opens while it is on: the output
rises at its current limit, and no further than to 1.05 times its rated voltage, an OVP's error above which
its level never acts.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.settings.station import TODAY, station

from railwright.settings.check import settled
from railwright.settings.hookup import hooked_up

FUSED = (
    "\nleads:",
    "\nfixtures:\n  guard: {fuse: {curve: [{current: 100 mA, time: 400 ms}, {current: 5 A, time: 20 ms}]}}\n"
    "\nleads:",
)
RATED = "voltage: 0 V .. 36 V"


@pytest.mark.parametrize(
    ("rated", "hold"), [("36 V", "2 s"), ("36 V", "20 s"), ("30 V", "2 s"), ("20 V", "5 s")]
)
def test_an_ovp_need_not_lie_above_what_an_output_can_reach(tmp_path: Path, rated: str, hold: str) -> None:
    documents = station(
        tmp_path,
        ("bench", *FUSED),
        ("bench", RATED, f"voltage: 0 V .. {rated}"),
        ("procedure", "lead: silicone pair, sense", "lead: silicone pair, fixture: guard, sense"),
        ("procedure", "hold: 2 s", f"hold: {hold}"),
    )
    output = documents.bench.output(documents.procedure.hook_up["main"].outputs[0])
    assert output.ovp is not None
    assert output.ovp.accuracy is not None
    (window,) = [
        window
        for window in settled(hooked_up(documents), TODAY).windows
        if (window.about, window.setting) == ("main", "ovp")
    ]
    assert window.low is not None
    assert window.low.key == "rehearsed"
    reach = 1.05 * output.voltage.high + output.ovp.accuracy
    assert 0.99 * reach < window.low.value < 1.005 * reach
