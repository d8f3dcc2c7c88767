"""Inrush charge and I²t of the example: the window that a requirement states, rehearsed and read."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from benchmarks.virtual_record import record_case
from tests.bench import PROCEDURE, demo_with
from tests.said import says
from tests.settings.station import TODAY

from railwright.evaluation.evaluate import evaluate
from railwright.plan.timeline import build_timeline
from railwright.rehearsal.rehearse import rehearse
from railwright.settings.settle import settle

REQUIRES = """requires:
  - {name: charge in it, measure: inrush_charge, of: main, during: first power, within: 60 ms, at_most: 60 mC}
  - {name: heat, measure: inrush_i2t, of: main, during: first power, within: 60 ms, at_most: 1 A²s}
  - {name: heat beyond, measure: inrush_i2t, of: main, during: first power, within: 60 ms, at_most: 1e-3 A²s}
  - {name: after it, measure: inrush_charge, of: main, during: steady, within: 100 ms, at_most: 60 mC}
  - {name: too long, measure: inrush_charge, of: main, during: first power, within: 1 s, at_most: 60 mC}
"""


def test_a_window_from_the_switching_on_in_rehearsal_and_readings(tmp_path: Path) -> None:
    documents = demo_with(tmp_path / "demo", (PROCEDURE, "requires:\n", REQUIRES))
    settings = settle(documents, TODAY)
    played = rehearse(documents, settings.set_points).record
    expected = {each.requirement: each for each in evaluate(documents, settings.set_points, played).results}
    traces = played.traces["main"]
    on = min(each.time for each in played.events if each.kind == "on" and each.subject == "left.1")
    fine = np.linspace(on, on + 60e-3, 200_001)
    amperes = np.interp(fine, traces.time, traces.columns["current"])
    judged = {"charge in it": np.trapezoid(amperes, fine), "heat": np.trapezoid(amperes**2, fine)}
    for name, value in judged.items():
        assert expected[name].measured.value == pytest.approx(value, rel=1e-4)
    assert expected["after it"].measured.value == pytest.approx(0.1 * 3.6 / 0.86 / 12.0, rel=2e-3)
    assert expected["too long"].outcome == "inconclusive"
    assert says(expected["too long"].reason, "1 s", "first power")
    timeline = build_timeline(documents.procedure, documents.device)
    for seed in range(3):
        read, truth = record_case(documents, settings.set_points, seed, timeline)
        true, seen = (
            {each.requirement: each for each in evaluate(documents, settings.set_points, record).results}
            for record in (truth, read)
        )
        for name in ("charge in it", "heat", "after it"):
            found = seen[name].measured
            assert found.low <= true[name].measured.value <= found.high
        assert [seen[name].outcome for name in ("charge in it", "heat", "heat beyond")] == [
            "pass",
            "inconclusive",
            "fail",
        ]
