"""External recordings find their place on the run's time base, or are refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.measures.scene import MODEL, RECORDER, UPDATE, Scene, brown_out, power_up

from railwright.evaluation import alignment
from railwright.evaluation.alignment import AlignmentError, align
from railwright.traces import Event, EventKind, Record, Traces

EVERY = 100e-6


def own(scene: Scene, seed: int = 1) -> Record:
    return Record("supply readings", {"main": scene.read(seed)})


def recording(scene: Scene, start: float, end: float, seed: int = 2, zero: float | None = None) -> Record:
    """What a recorder keeps of a scene from start to end, its own time 0 at `zero`."""
    taken = scene.read(seed, RECORDER, every=EVERY).between(start, end)
    moved = Traces(taken.time - (start if zero is None else zero), taken.columns)
    return Record("recorder", {"main": moved}, (Event(0.0, "main", EventKind.OTHER, words="trigger"),))


@pytest.mark.parametrize("seed", range(12))
def test_a_recording_is_put_where_it_belongs(seed: int) -> None:
    scene = power_up()
    found = align(recording(scene, -0.05, 0.2, seed), own(scene, seed + 100), {"main": MODEL})
    assert found.offset == pytest.approx(-0.05, abs=found.uncertainty)
    assert UPDATE / 2 <= found.uncertainty < 2 * UPDATE
    assert found.quality > 0.98
    assert found.channel == "main voltage"
    assert found.record.traces["main"].time[0] == pytest.approx(found.offset, abs=2 * EVERY)
    assert found.record.events[0].time == found.offset


def test_a_part_of_a_long_run_is_found() -> None:
    scene = brown_out()
    found = align(recording(scene, 0.9, 2.0), own(scene), {"main": MODEL})
    assert found.offset == pytest.approx(0.9, abs=found.uncertainty)


def test_the_current_serves_where_the_voltage_is_missing() -> None:
    scene = power_up()
    external = recording(scene, -0.05, 0.2)
    only = Traces(external.traces["main"].time, {"current": external.traces["main"].columns["current"]})
    found = align(replace(external, traces={"main": only}), own(scene), {"main": MODEL})
    assert found.channel == "main current"
    assert found.offset == pytest.approx(-0.05, abs=found.uncertainty)


def test_a_voltage_at_the_other_end_of_the_lead_serves() -> None:
    scene = power_up()
    read = scene.read(1)
    volts, amps = read.columns["voltage"], read.columns["current"]
    there = Traces(read.time, {"terminal_voltage": volts + 0.075 * amps, "current": amps})
    record = Record("supply readings", {"main": there})
    found = align(recording(scene, -0.05, 0.2), record, {"main": MODEL})
    assert found.channel == "main voltage"
    assert found.offset == pytest.approx(-0.05, abs=found.uncertainty)


def test_a_recording_of_something_else_is_refused() -> None:
    other = Scene.of((0.0, 5.0, 0.1), (0.1, 1.0, 0.1), (0.2, 7.0, 0.1), (0.4, 3.0, 0.1))
    with pytest.raises(AlignmentError, match="not match"):
        align(recording(other, 0.02, 0.35), own(power_up()), {"main": MODEL})


def test_a_recording_without_a_change_is_refused() -> None:
    flat = Scene.of((0.0, 12.0, 0.35), (1.0, 12.0, 0.35))
    with pytest.raises(AlignmentError, match="no change"):
        align(recording(flat, 0.1, 0.9), own(power_up()), {"main": MODEL})


def test_a_recording_that_fits_twice_is_refused() -> None:
    corners = [(0.0, 12.0, 0.3)]
    for at in (0.5, 1.5, 2.5):
        corners += [(at, 12.0, 0.3), (at + 0.01, 8.0, 0.4), (at + 0.1, 8.0, 0.4), (at + 0.11, 12.0, 0.3)]
    scene = Scene.of(*corners, (3.5, 12.0, 0.3))
    with pytest.raises(AlignmentError, match="alike"):
        align(recording(scene, 1.4, 1.7), own(scene), {"main": MODEL})


def test_a_recording_of_another_input_is_refused() -> None:
    scene = power_up()
    external = recording(scene, -0.05, 0.2)
    with pytest.raises(AlignmentError, match="this run"):
        align(replace(external, traces={"other": external.traces["main"]}), own(scene), {"main": MODEL})


def test_a_recording_of_a_few_values_is_refused() -> None:
    few = Record("recorder", {"main": Traces(np.arange(3.0), {"voltage": np.arange(3.0)})})
    with pytest.raises(AlignmentError, match="few values"):
        align(few, own(power_up()), {"main": MODEL})


def test_a_recording_that_is_far_too_long_is_refused_and_takes_no_memory() -> None:
    scene = power_up()
    traces = recording(scene, -0.05, 0.2).traces["main"]
    long = Record("recorder", {"main": Traces(traces.time * 1e14, traces.columns)})
    with pytest.raises(AlignmentError, match="too much"):
        align(long, own(scene), {"main": MODEL})


def test_shifts_that_cannot_count_are_not_tried(monkeypatch: pytest.MonkeyPatch) -> None:
    scene = power_up()
    external = recording(scene, -0.05, 0.2)
    tried: list[float] = []
    call = alignment._Cost.__call__

    def counted(cost: alignment._Cost, shift: float) -> float:
        tried.append(call(cost, shift))
        return tried[-1]

    monkeypatch.setattr(alignment._Cost, "__call__", counted)
    found = align(external, own(scene), {"main": MODEL})
    assert found.offset == pytest.approx(-0.05, abs=found.uncertainty)
    assert sum(not np.isfinite(each) for each in tried) < 0.1 * len(tried)
