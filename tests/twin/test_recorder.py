"""The external recorder: trigger, own time, own errors, the file."""

import numpy as np
import pytest
from tests.twin.bench import BENCH

from railwright.twin.recorder import Trigger, as_csv, capture, first_crossing

SCOPE = BENCH.recorders["scope"]
TIME = np.array([0.0, 1.0, 1.012, 2.0])
TRUE = {"main": (TIME, np.array([0.0, 0.0, 12.0, 12.0]), np.array([0.0, 0.0, 0.5, 0.5]))}
TRIGGER = Trigger("main", "voltage", 6.0, before=0.01, length=0.05)


def test_crossings() -> None:
    _, voltage, _ = TRUE["main"]
    assert first_crossing(TIME, voltage, 6.0, "rise") == pytest.approx(1.006)
    assert first_crossing(TIME, voltage, 6.0, "rise", after=1.5) is None
    assert first_crossing(TIME, voltage, 6.0, "fall") is None
    assert first_crossing(TIME, -voltage, -6.0, "fall") == pytest.approx(1.006)


def test_a_recording_has_its_own_zero_grid_and_errors() -> None:
    columns = capture("scope", SCOPE, TRUE, TRIGGER, seed=3)
    assert columns is not None
    assert list(columns) == ["time_s", "main_voltage_V", "main_current_A"]
    time, voltage = columns["time_s"], columns["main_voltage_V"]
    assert (time[0], time[-1], len(time)) == (pytest.approx(-0.01), pytest.approx(0.04), 2501)
    assert np.interp(0.0, time, voltage) == pytest.approx(6.0, abs=0.09)
    assert np.allclose(np.round(voltage / 0.01) * 0.01, voltage)
    assert np.mean(voltage[time > 0.01]) == pytest.approx(12.0, abs=0.08)
    assert np.std(voltage[time > 0.01]) == pytest.approx(0.0057, rel=0.2)


def test_the_same_seed_records_the_same_and_another_something_else() -> None:
    first, again, other = (capture("scope", SCOPE, TRUE, TRIGGER, seed=seed) for seed in (1, 1, 2))
    assert first is not None
    assert again is not None
    assert other is not None
    assert np.array_equal(first["main_voltage_V"], again["main_voltage_V"])
    assert not np.array_equal(first["main_voltage_V"], other["main_voltage_V"])


def test_nothing_is_recorded_before_it_is_complete() -> None:
    assert capture("scope", SCOPE, TRUE, Trigger("main", "voltage", 6.0, length=5.0), seed=1) is None
    assert capture("scope", SCOPE, TRUE, Trigger("main", "voltage", 13.0), seed=1) is None


def test_the_file() -> None:
    columns = capture("scope", SCOPE, TRUE, TRIGGER, seed=3)
    assert columns is not None
    lines = as_csv(columns).splitlines()
    assert lines[0] == "time_s,main_voltage_V,main_current_A"
    assert len(lines) == 2502
    assert float(lines[1].split(",")[0]) == pytest.approx(-0.01)
