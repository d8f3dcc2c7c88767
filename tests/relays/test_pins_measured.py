"""What is measured in a step in which a pin moves holds what is true behind the simulated supply."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from tests.multimeter.station import network_of
from tests.relays.pins import documents, steps
from tests.relays.station import LEFT

from railwright.archive.stored import evaluate_run, open_stored
from railwright.guard.local_link import LocalLink
from railwright.running.runner import run
from railwright.settings.data import as_data
from railwright.traces import EventKind

REQUIRES = "".join(
    f"  - {{name: {measure} {step}, measure: {measure}, of: main, during: {step}, at_most: {most}}}\n"
    for measure, most in (("charge", "60 mC"), ("mean_current", "1 A"))
    for step in ("enable", "disable", "idle")
)


@pytest.mark.parametrize("seed", [2, 3, 5])
@pytest.mark.parametrize("settle", ["60 ms", "100 ms"])
def test_charge_and_mean_of_a_step_that_begins_with_a_pin_hold_the_truth(
    settle: str, seed: int, tmp_path: Path
) -> None:
    """Readings that reach over its beginning hold what was drawn before: no part of the step."""
    own = steps().replace("settle: 100 ms", f"settle: {settle}")
    procedure = documents(tmp_path / "s", requires=REQUIRES, procedure=own)
    with network_of(procedure, seed=seed) as (job, network, loop):
        settings = job.check(static=True).settings
        outcome = run(
            job.documents, settings.set_points, unit="T-1", operator="O", folder=procedure.parent / "run",
            settings=as_data(settings), link=LocalLink(loop, network.connect),
        )  # fmt: skip
        assert network.energised(LEFT)
        history = network.servers["left"].supply.plant.input_history["main"]
        time, _, _, current, _ = history.between(0.0, 1e9)
    # Switched on, 2 V/ms charge 1 mF with 2 A at once.
    began = time[int(np.argmax(np.abs(current) > 0.05))]
    told = next(e.time for e in outcome.record.events if (e.kind, e.subject) == (EventKind.ON, "main"))
    spans = {span.name: span for span in outcome.record.spans}
    results = evaluate_run(open_stored(procedure.parent / "run"), []).results
    assert len(results) == 6
    for each in results:
        span = spans[each.during]
        grid = np.linspace(span.start, span.end, 100_001)
        true = float(np.trapezoid(np.interp(grid + began - told, time, current), grid))
        true /= span.end - span.start if each.measure == "mean_current" else 1.0
        assert each.measured is not None, each.requirement
        assert each.measured.low <= true <= each.measured.high, each.requirement
