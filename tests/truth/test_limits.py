"""An exact current limit holds exactly that current, wherever the tolerances lie; two outputs in parallel
settle.

The truth is Ohm's law: in the limit I the voltage at a resistor R is I·R, and what flows is I. A data sheet
states the limit of what leaves the terminals, so that the bleeder across them takes nothing of it.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.truth.small import fed_by, supply, write

from railwright.circuit.case import HIGH, LOW, NOMINAL
from railwright.job import Job
from railwright.plan.plan import plan_of
from railwright.rehearsal.rehearse import Prediction, rehearse
from railwright.traces import EventKind, Mode

CASES = {"low": LOW, "nominal": NOMINAL, "high": HIGH}


def rehearsed(path: Path, case: str = "nominal") -> Prediction:
    """The procedure as its plan plays it."""
    job = Job.open(path)
    points = job.check().settings.set_points
    return rehearse(job.documents, points, CASES[case], plan_of(job.documents, points).played)


def limited(
    folder: Path, limit: str, *load: Any, feed: Any = "s.1", sense: str = "at terminals", **output: Any
) -> Path:
    procedure = {
        "hook_up": {"main": {"from": feed, "lead": "pair", "sense": sense}},
        "limits": {"main": {"current_limit": limit, "at_limit": "regulate", "ovp": "32 V"}},
        "steps": [{"power_up": {"order": ["main"], "rise": "4 V/ms", "settle": "500 ms"}, "name": "up"}],
        "record": {"every": "10 ms"},
    }
    supplies = {"s": supply(output, output)}
    return write(folder, {"main": fed_by(*load)}, procedure, supplies)


def resistor(ohms: float) -> dict[str, Any]:
    return {"resistor": {"resistance": f"{ohms} ohm"}}


BIG = {"capacitor": {"capacitance": "470 uF ± 20 %", "esr": "50 mohm"}}


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize(
    ("limit", "load", "more"),
    [
        (0.6, [resistor(20.0)], {}),
        (0.6, [resistor(20.0)], {"bleeder": "200 ohm"}),
        (1.25, [resistor(10.0), BIG], {"bleeder": "500 ohm", "sense": "at load"}),
        (0.05, [resistor(300.0)], {"bleeder": "1 kohm", "sink": None}),
        (0.4, [resistor(40.0)], {"feed": {"series": ["s.1", "s.2"]}, "bleeder": "300 ohm"}),
        (0.8, [resistor(25.0)], {"feed": {"parallel": ["s.1", "s.2"]}, "bleeder": "400 ohm"}),
    ],
)
def test_an_exact_limit_regulates_at_the_limit(
    limit: float, load: list[Any], more: dict[str, Any], case: str, tmp_path: Path
) -> None:
    traces = rehearsed(limited(tmp_path, f"{limit} A", *load, **more), case).record.traces["main"]
    ends = int(np.searchsorted(traces.time, 0.5)) - 1
    assert Mode(int(traces.columns["mode"][ends])) is Mode.CC
    current = float(traces.columns["current"][ends])
    assert current == pytest.approx(limit, rel=2e-4)
    at_load = limit * float(load[0]["resistor"]["resistance"].split()[0])
    assert float(traces.columns["voltage"][ends]) == pytest.approx(at_load, rel=2e-4)


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize(
    ("ohms", "limit", "sense", "more"),
    [
        (20.0, 5.5, "at load", {}),
        (20.0, 5.5, "at terminals", {"programming": None}),
        (9.0, 5.5, "at load", {"output_capacitance": "330 uF", "sink": None}),
        (1000.0, 2.0, "at terminals", {"bleeder": None, "sink": None}),
        (8.2, 2.2, "at load", {"bleeder": "300 ohm"}),
    ],
)
def test_two_outputs_in_parallel_settle(
    ohms: float, limit: float, sense: str, more: dict[str, Any], case: str, tmp_path: Path
) -> None:
    # 24 V where the limit carries them, else limit times resistance; a lead of 0.1 Ω takes its share.
    path = limited(
        tmp_path, f"{limit} A", resistor(ohms), feed={"parallel": ["s.1", "s.2"]}, sense=sense, **more
    )
    prediction = rehearsed(path, case)
    traces = prediction.record.traces["main"]
    settled, through = (
        float(np.interp(0.5, traces.time, traces.columns[each])) for each in ("voltage", "current")
    )
    expected = min(24.0, limit * ohms)
    assert settled == pytest.approx(expected, rel=1e-3 if sense == "at load" else 0.015)
    assert through == pytest.approx(settled / ohms, rel=1e-3)
    # It has settled: nothing moves any more, and that took no more steps than a start takes.
    moments = np.linspace(0.4, 0.5, 101)
    assert np.ptp(np.interp(moments, traces.time, traces.columns["voltage"])) < 1e-3
    assert prediction.steps < 3000


@pytest.mark.parametrize("case", ["nominal", "low"])
@pytest.mark.parametrize(
    ("steps", "limits"),
    [
        # 24 V into 20 Ω draw 1.2 A: the lowered limit holds, and is told though the old one is back later.
        ([("0.5 A", 0.1)], [0.5]),
        ([("0.9 A", 0.08), ("2 A", 0.08), ("0.3 A", 0.08), ("2 A", 0.08)], [0.9, 0.3]),
        ([("2 A", 0.05), ("0.2 A", 0.09)], [0.2]),
        ([("1.1 A", 0.09), ("1 A", 0.09)], [1.1]),
    ],
)
def test_an_event_names_the_limit_that_holds(
    steps: list[tuple[str, float]], limits: list[float], case: str, tmp_path: Path
) -> None:
    segments = [{"hold": f"{time} s", "current_limit": limit} for limit, time in steps]
    procedure = {
        "hook_up": {"main": {"from": "s.1", "lead": "pair", "sense": "at terminals"}},
        "limits": {"main": {"current_limit": "2 A", "at_limit": "regulate", "ovp": "32 V"}},
        "steps": [
            {"power_up": {"order": ["main"], "rise": "1 V/ms", "settle": "200 ms"}, "name": "up"},
            {"shape": {"input": "main", "segments": segments}, "name": "low"},
            {"hold": "100 ms"},
        ],
        "record": {"every": "10 ms"},
    }
    prediction = rehearsed(write(tmp_path, {"main": fed_by(resistor(20.0))}, procedure), case)
    told = [e.facts.limit for e in prediction.record.events if e.kind is EventKind.ENTERS_CC and e.time > 0.2]
    assert told == pytest.approx(limits)
