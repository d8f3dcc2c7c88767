"""The uncertainty of a current of outputs in parallel, of which nothing tells which carries how much."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.evaluation.test_evaluate import demo

from railwright.documents.output_name import OutputName
from railwright.evaluation.reading import supply_model
from railwright.measures.signal import View
from railwright.measures.uncertainty import COVERAGE, half_interval, rectangular
from railwright.plan.set_points import Feed, OutputSetPoints
from railwright.traces import Traces

DRAWS = 400_000


def bound(gains, offsets, limits, value: float) -> float:
    """U of one reading of the group's current, without noise [A]."""
    bench = demo()[0].bench
    left = bench.supplies["left"]
    outputs, settings = dict(left.outputs), []
    for number, (gain, offset, limit) in enumerate(zip(gains, offsets, limits, strict=True), 1):
        own = left.outputs["1"]
        assert own.reading is not None
        current = own.reading.current.model_copy(
            update={"of_value": gain, "offset": offset, "resolution": 0.0, "noise": 0.0}
        )
        reading = own.reading.model_copy(update={"current": current})
        outputs[str(number)] = own.model_copy(update={"reading": reading, "programming": None})
        name = OutputName(f"left.{number}")
        settings.append(OutputSetPoints(name, limit, "regulate", 0.0, 10.0))
    supplies = bench.supplies | {"left": left.model_copy(update={"outputs": outputs})}
    feed = Feed("main", "parallel", tuple(settings), "silicone pair", "at load")
    model = supply_model(bench.model_copy(update={"supplies": supplies}), feed)
    time = np.linspace(0.0, 1.0, 11)
    view = View(Traces(time, {"current": np.full(11, value)}), replace(model, update=None), 0.0, 1.0)
    signal = view.current()
    return half_interval([rectangular(each.source, each.shape[5]) for each in signal.systematic])


def coverage(gains, offsets, carried, half: float) -> float:
    """Part of drawn errors within ±half, where the outputs carry these currents."""
    random = np.random.default_rng(7)
    error = np.zeros(DRAWS)
    for gain, offset, own in zip(gains, offsets, carried, strict=True):
        error += random.uniform(-gain * own, gain * own, DRAWS) + random.uniform(-offset, offset, DRAWS)
    return float(np.mean(np.abs(error) <= half))


@pytest.mark.parametrize(
    ("gains", "offsets", "limits", "value"),
    [
        ((2e-3, 1e-3), (3e-3, 1.5e-3), (1.875, 1.125), 2.0),
        ((2e-3, 2e-3), (0.0, 0.0), (2.0, 2.0), 1.5),
        ((1e-3, 4e-3), (1e-3, 1e-3), (3.0, 0.5), 2.0),
        ((1e-3, 2e-3), (0.0, 0.0), (10.0, 1.0), 5.0),
        ((1e-3, 2e-3, 3e-3), (1e-3, 1e-3, 1e-3), (1.0, 1.0, 1.0), 2.2),
    ],
)
def test_a_parallel_current_is_uncertain_as_its_worst_division_is(gains, offsets, limits, value) -> None:
    """No division covers less than 95 %, and the worst one just about that."""
    half = bound(gains, offsets, limits, value)
    random, found = np.random.default_rng(3), []
    for leader in [*range(len(gains))] * 3 + [-1] * 20:
        # One leads up to its limit, and the others follow in any order; or anything in between.
        order = random.permutation(len(gains))
        if leader >= 0:
            order = np.array([leader, *(each for each in order if each != leader)])
        carried, left = np.zeros(len(gains)), value
        for place, each in enumerate(order):
            rest = sum(limits[other] for other in order[place + 1 :])
            top = min(left, limits[each])
            carried[each] = top if leader >= 0 else random.uniform(max(0.0, left - rest), top)
            left -= carried[each]
        found.append(coverage(gains, offsets, carried, half))
    assert min(found) == pytest.approx(COVERAGE, abs=4e-3)
