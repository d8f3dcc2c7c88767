"""A recording that was sampled otherwise than its recorder is said to: what it shows counts.

The truth is worked out from the waveform that the samples are made of, in closed form; how they were taken
(jitter, lost samples, another rate, a coarse grid) is chosen here.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from tests.measures.scene import MODEL, Scene

from railwright.documents.bench import Recorder
from railwright.evaluation.alignment import Alignment, align
from railwright.evaluation.reading import recorder_model
from railwright.evaluation.sampling import sampling_of
from railwright.measures import MEASURES
from railwright.measures.outcome import CannotMeasure, Measured
from railwright.measures.signal import View
from railwright.traces import Record, Traces

SEEDS = 100
EVERY = 2e-4
DECLARED: dict[str, Any] = {
    "interval": "200 us",
    "current": {"of_value": "0 %", "offset": "0.01 mA", "resolution": "1 mA", "noise": "0.1 mA"},
    "voltage": {"of_value": "0 %", "offset": "0.1 mV", "resolution": "1 mV", "noise": "1 mV"},
}


def model(time: Any, drift: float = 0.0, **more: Any) -> Any:
    """How samples at these times came about, aligned without an error."""
    recorder = Recorder.model_validate({**DECLARED, **more})
    alignment = Alignment(Record("recorder", {}), 0.0, 0.0, 1.0, "", drift=drift)
    return recorder_model("recorder", recorder, alignment, sampling_of(time), MODEL)


def view(time: Any, amps: Any, **more: Any) -> View:
    volts = np.full(time.size, 12.0)
    own = Traces(np.arange(-0.5, 2.5, 1e-2), {"voltage": np.full(300, 12.0), "current": np.full(300, 0.4)})
    # Of 5000 samples/s more is asked beside a supply that reads faster.
    beside = View(own, replace(MODEL, update=0.04, aperture=0.03), 0.0, 2.0, every=0.04)
    taken = Traces(time, {"voltage": volts, "current": amps})
    return View(taken, model(time, **more), 0.0, 2.0, beside=beside)


def even(every: float = EVERY) -> Any:
    return np.arange(-0.1, 2.1, every)


def hump(time: Any) -> Any:
    """0.3 A and a top of 0.2 A at 1 s; its charge over 2 s is 0.6 A s + 0.2 A · 0.1 s · √π."""
    return 0.3 + 0.2 * np.exp(-(((time - 1.0) / 0.1) ** 2))


CHARGE, PEAK = 0.6 + 0.02 * math.sqrt(math.pi), 0.5


def on_grid(values: Any, step: float) -> Any:
    return np.round(values / step) * step


@pytest.mark.parametrize("step", [1e-3, 5e-3, 20e-3, 50e-3])
def test_a_grid_that_is_coarser_than_declared_counts(step: float) -> None:
    """The grid's error is the same all over a flat top, wherever that lies."""
    inside = 0
    for seed in range(SEEDS):
        rng = np.random.default_rng(seed)
        time, level = even(), rng.uniform(0.35, 0.45)
        wave = level + 0.25 * np.clip((time - 1.0) / 0.4, -1.0, 1.0)
        amps = on_grid(wave + rng.normal(0.0, 1e-4, time.size), step)
        found = MEASURES["peak_current"](view(time, amps))
        inside += found.low <= level + 0.25 <= found.high
        if step > 1e-3:
            assert any(f"shows steps of {step * 1e3:g} mA" in line for line in found.assumptions)
        else:
            assert not any("shows steps" in line for line in found.assumptions)
    assert inside >= 88  # of 100 at 95 %: fewer with a probability of 0.2 % (binomial)


def test_levels_that_the_device_takes_are_no_grid() -> None:
    time = even()
    amps = np.repeat([0.1, 0.35, 0.2, 0.4, 0.1], time.size // 5 + 1)[: time.size]
    assert not any("shows steps" in line for line in view(time, amps).assumptions())
    noisy = amps + np.random.default_rng(1).normal(0.0, 1e-4, time.size)
    assert not any("shows steps" in line for line in view(time, noisy).assumptions())


@pytest.mark.parametrize(("jitter", "declared", "told"), [
    (0.0, None, False), (20e-6, None, True), (20e-6, "5 us", True), (20e-6, "50 us", False),
    (40e-6, None, True),
])  # fmt: skip
def test_jitter_of_the_instants_counts(jitter: float, declared: str | None, told: bool) -> None:
    rng = np.random.default_rng(3)
    time = even()
    stamps = np.sort(time + rng.normal(0.0, jitter, time.size)) if jitter else time
    given = {} if declared is None else {"jitter": declared}
    found = view(stamps, hump(time), **given)
    assert any("scatter by" in line for line in found.assumptions()) is told
    larger = max(jitter, 0.0 if declared is None else float(declared.split()[0]) * 1e-6)
    assert found.model.clock == pytest.approx(math.sqrt(3.0) * larger, rel=0.05, abs=1e-9)


@pytest.mark.parametrize("lost", [5, 50, 500])
@pytest.mark.parametrize("surge", [0.0, 0.3])
def test_what_lies_where_samples_are_lost_is_not_taken_for_nothing(lost: int, surge: float) -> None:
    """A surge that lies in the gap altogether: no interval that leaves it out may be called the peak."""
    time = even()
    first = int(np.searchsorted(time, 0.5))
    keep = np.ones(time.size, dtype=bool)
    keep[first : first + lost] = False
    gap = (time[first - 1], time[first + lost])
    seen = view(time[keep], hump(time[keep]))
    peak, charge = MEASURES["peak_current"](seen), MEASURES["charge"](seen)
    assert peak.unseen
    assert peak.high >= PEAK + surge
    hidden = surge * (gap[1] - gap[0])
    assert charge.low <= CHARGE + hidden <= charge.high
    assert any("samples are missing" in line for line in peak.assumptions)
    whole = view(time, hump(time))
    assert not MEASURES["peak_current"](whole).unseen
    assert not any("missing" in line for line in whole.assumptions())
    # The gap makes the interval wider by what may lie in it: the limit of 1.005 A, and for the 1 ms until
    # that responds 18.1 V over the lead's 70 mohm.
    wider = widths(charge) - widths(MEASURES["charge"](whole))
    length = gap[1] - gap[0]
    assert hidden < wider <= 2.0 * (1.005 * length + 18.1 / 0.07 * min(length, 1e-3))


def test_a_gap_beside_the_step_takes_nothing_away() -> None:
    time = even()
    keep = (time < -0.08) | (time > -0.05)
    assert not MEASURES["peak_current"](view(time[keep], hump(time[keep]))).unseen


def drop_out(time: Any) -> Any:
    return np.where((time > 0.9) & (time < 0.93), 0.0, 0.35)


def test_a_drop_out_where_samples_are_lost_is_told() -> None:
    time = even()
    keep = (time < 0.88) | (time > 0.95)
    found = MEASURES["restarts"](view(time[keep], drop_out(time[keep])))
    assert (found.value, bool(found.unseen)) == (0.0, True)
    shown = MEASURES["restarts"](view(time, drop_out(time)))
    assert (shown.value, bool(shown.unseen)) == (1.0, False)


def test_a_start_that_may_go_on_where_samples_are_lost_is_not_timed() -> None:
    time = even()
    amps = np.where(time < 0.2, 0.0, np.where(time < 0.3, 0.7, 0.35))
    up = replace(view(time, amps), switched_on=0.1)
    assert MEASURES["start_up_time"](up).value == pytest.approx(0.2, abs=1e-3)
    keep = (time < 0.5) | (time > 0.52)
    lost = replace(view(time[keep], amps[keep]), switched_on=0.1)
    with pytest.raises(CannotMeasure, match="missing for 20"):
        MEASURES["start_up_time"](lost)


def test_samples_closer_than_the_recorder_takes_them_do_not_outline_a_peak() -> None:
    """A file of 20 us, made of samples of 200 us: a spike of one sample stands on lines between three."""
    slow = even()
    spike = np.where(np.abs(slow - 1.0) < 1e-5, 0.9, 0.3)
    time = even(2e-5)
    between = np.interp(time, slow, spike)
    found = MEASURES["peak_current"](view(time, between))
    assert found.unseen
    assert any("20 µs apart" in line for line in found.assumptions)
    assert not MEASURES["peak_current"](view(time, hump(time))).unseen


@pytest.mark.parametrize("noise", [1e-3, 5e-3])
def test_noise_of_uneven_samples_is_estimated(noise: float) -> None:
    """Instants drawn anywhere; the true peak lies in its interval as often as stated."""
    inside = 0
    for seed in range(SEEDS):
        rng = np.random.default_rng(seed)
        time = np.sort(rng.uniform(-0.1, 2.1, 11_000))
        found = MEASURES["peak_current"](
            view(time, hump(time) + rng.normal(0.0, noise, time.size), interval="1 ms")
        )
        assert any("shows a noise" in line for line in found.assumptions)
        inside += found.low <= PEAK <= found.high
    assert inside >= 88


TEETH = Scene.of(
    (-0.2, 0.0, 0.0), (0.0, 0.0, 0.0), (0.01, 12.0, 0.35), (0.6, 12.0, 0.35), (0.61, 8.0, 0.5),
    (1.0, 8.0, 0.5), (1.01, 12.0, 0.35), (1.9, 12.0, 0.35), (1.91, 9.0, 0.4), (2.3, 9.0, 0.4),
    (2.31, 12.0, 0.35), (3.5, 12.0, 0.35),
)  # fmt: skip


@pytest.mark.parametrize("drift", [0.0, 5e-5, 0.01, -0.01, 0.02])
@pytest.mark.parametrize("seed", range(3))
def test_a_wrong_rate_is_found_against_the_run(drift: float, seed: int) -> None:
    """Samples of 200 us that are called so, but were taken (1 + drift) times as far apart."""
    own = Record("supply readings", {"main": TEETH.read(seed)})
    nominal = np.arange(0.0, 3.4 / (1.0 + drift), EVERY)
    real = -0.15 + nominal * (1.0 + drift)
    true = {name: TEETH.at(real, name) for name in ("voltage", "current")}
    noise = np.random.default_rng(seed).normal(0.0, 1e-3, nominal.size)
    record = Record("recorder", {"main": Traces(nominal, {**true, "voltage": true["voltage"] + noise})})
    found = align(record, own, {"main": MODEL})
    assert found.drift == (pytest.approx(drift, abs=0.003) if abs(drift) > 1e-3 else 0.0)
    time = found.record.traces["main"].time
    made = model(time, drift=found.drift)
    assert any("its clock differs" in line for line in made.assumptions) is (abs(drift) > 1e-3)
    # Where the samples really belong lies within the clock's bound of where they were put.
    recorder = recorder_model("recorder", Recorder.model_validate(DECLARED), found, sampling_of(time), MODEL)
    assert np.max(np.abs(time - real)) <= recorder.clock


def test_a_charge_is_as_uncertain_as_the_clock_it_was_timed_by() -> None:
    time = even()
    plain = MEASURES["charge"](view(time, hump(time)))
    declared = MEASURES["charge"](view(time, hump(time), time_base="1 %"))
    (share,) = [c.standard for c in declared.contributions if c.source == "time base of the recorder"]
    assert share == pytest.approx(0.01 * CHARGE / math.sqrt(3.0), rel=1e-3)
    assert widths(declared) > widths(plain)


def widths(measured: Measured) -> float:
    return measured.high - measured.low
