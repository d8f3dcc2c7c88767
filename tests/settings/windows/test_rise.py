"""The window of the rate of rise, by C·dV/dt and by what the procedure and the device ask."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from tests.bench import demo_with
from tests.said import says
from tests.settings.station import Edit, settled

from railwright.settings.context import sources_of
from railwright.settings.played import Slope
from railwright.settings.windows.window import Window

NO_TIME: Edit = ("procedure", "    at_most: 60 ms", "    at_most: 60 s")


def rise(folder: Path, *edits: Edit, about: str = "main") -> Window:
    windows = settled(folder, *edits).windows
    return next(each for each in windows if (each.about, each.setting) == (about, "rise"))


def test_slow_enough_for_the_limit(tmp_path: Path) -> None:
    """1 A less 5 mA; 1.2 mF and the output's own 220 µF at a rate 0.05 % too high; 3.96 W / 0.83 from 8.2 V
    on, of which the most flows where its soft start of 8 ms is over: r C + P / (8.2 V + r · 8 ms); and what
    its growing drop along the sensed lead charges the output's own with.
    """
    high = rise(tmp_path).high
    assert high is not None
    watts, ohms = 3.96 / 0.83, 72.3e-3

    def asked(rate: float) -> float:
        drawn = watts / (8.2 + 8e-3 * rate)
        return 1.0005 * rate * (1.2e-3 + 220e-6) + drawn + ohms * 220e-6 * drawn / 8e-3

    assert high.value == next(rate for rate in range(300, 500) if asked(rate + 1) > 1.0 - 0.005)
    assert "by C·dV/dt" in high.why


def test_fast_enough_for_the_start_up_time_that_is_required(tmp_path: Path) -> None:
    low = rise(tmp_path).low
    assert low is not None
    # 12 V + 14 mV of error, as 1.2 mF draw more than a tenth of 0.18 A until the slope is over; then it
    # fades.
    assert 12.014 / 60e-3 < low.value < 12.014 / 59.3e-3
    assert says(low.why, "start-up time", "60 ms", "12.01 V")


def test_fast_enough_for_the_input_that_follows(tmp_path: Path) -> None:
    low = rise(tmp_path, NO_TIME).low
    assert low is not None
    assert low.value == 9.0 / 50e-3
    assert says(low.why, "transducer", "50 ms")


def test_a_soft_start_asks_for_nothing(tmp_path: Path) -> None:
    """It may end while the ramp goes on: what is drawn then the current limit carries."""
    gap = ("procedure", "gap: 50 ms", "gap: 200 ms")
    found = rise(tmp_path, NO_TIME, gap)
    assert {end.key for end in found.ends if end.side == "low"} == {"slew", "order", "required"}
    assert found.low is not None
    assert found.low.value == 9.0 / 200e-3


def test_within_the_slew_of_the_output(tmp_path: Path) -> None:
    found = rise(
        tmp_path, ("procedure", "current_limit: 100 mA", "current_limit: 140 mA"), about="transducer"
    )
    slews = {end.side: end.value for end in found.ends if end.key == "slew"}
    assert slews == {"low": 1.0, "high": 2100.0}
    assert found.recommended is not None
    assert found.low is not None
    assert found.low.value <= found.recommended


def test_a_rise_that_is_left_out_has_a_window_all_the_same(tmp_path: Path) -> None:
    found = rise(tmp_path, ("procedure", "rise: 2 V/ms, settle", "settle"))
    assert not found.used
    assert found.asked is None
    assert found.recommended == 320.0


def test_in_stairs_the_limit_may_act_all_the_same(tmp_path: Path) -> None:
    """Without a slew each stair is as steep as the output makes it: C·dV/dt holds for the line as a whole."""
    high = rise(
        tmp_path, ("bench", "        slew: 1 V/s .. 2.4 V/ms          # programmable rise and fall\n", "")
    ).high
    assert high is not None
    assert says(high.why, "slew", "stair")
    high = rise(tmp_path).high
    assert high is not None
    assert "stair" not in high.why


@pytest.mark.parametrize("at_most", ["4.17 ms", "1 ms", "20 us"])
@pytest.mark.parametrize("limit", ["current_limit: 1 A", "current_limit: 300 mA"])
def test_a_start_up_time_that_no_rate_reaches_is_said(at_most: str, limit: str, tmp_path: Path) -> None:
    """12 V within 4.17 ms ask for 2.9 V/ms and more, 3.5 A into the capacitors: there is no such rate, and a
    stop says it.
    """
    found = settled(
        tmp_path,
        ("procedure", "    at_most: 60 ms", f"    at_most: {at_most}"),
        ("procedure", "current_limit: 1 A", limit),
    )
    window = next(each for each in found.windows if (each.about, each.setting) == ("main", "rise"))
    assert window.recommended is None
    assert "empty-window" in {each.rule for each in found.findings if each.about == "main"}


@pytest.mark.parametrize(("start", "number", "key"), [(0.0, 0, "power_up"), (11.0, 1, "sweep")])
def test_a_jump_asks_for_any_current(start: float, number: int, key: str, tmp_path: Path) -> None:
    """The output's own capacitor is without resistance."""
    source = sources_of(demo_with(tmp_path))[0]["main"]
    jump = Slope(start, 12.0, math.inf, "jump", ("procedure", "steps", number, key))
    assert source.asks_for(jump) == math.inf
