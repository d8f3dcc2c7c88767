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
from tests.truth.saying import case_documents
from tests.truth.small import fed_by, supply, write
from tests.truth.table import TruthTable, Within

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


@pytest.mark.case("limit-overshoot-zero")
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
    limit: float,
    load: list[Any],
    more: dict[str, Any],
    case: str,
    tmp_path: Path,
    truth_table: TruthTable,
) -> None:
    path = limited(tmp_path, f"{limit} A", *load, **more)
    regulates(path, case, limit, float(load[0]["resistor"]["resistance"].split()[0]), truth_table)


def regulates(path: Path, case: str, limit: float, ohms: float, truth_table: TruthTable) -> None:
    """In the limit its current flows, and the voltage is that current times the resistance."""
    traces = rehearsed(path, case).record.traces["main"]
    ends = int(np.searchsorted(traces.time, 0.5)) - 1
    assert Mode(int(traces.columns["mode"][ends])) is Mode.CC
    current, voltage = (float(traces.columns[name][ends]) for name in ("current", "voltage"))
    truth_table.compare("current in the limit", pytest.approx(limit, rel=2e-4), current, "A")
    truth_table.compare("voltage at the load", pytest.approx(limit * ohms, rel=2e-4), voltage, "V")


@pytest.mark.case("limit-overshoot-zero")
@pytest.mark.parametrize("case", CASES)
def test_the_limit_as_it_was_found(case: str, tmp_path: Path, truth_table: TruthTable) -> None:
    regulates(case_documents("limit-overshoot-zero", tmp_path) / "p.yaml", case, 0.6, 20.0, truth_table)


@pytest.mark.case("solver-oscillates")
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
    ohms: float,
    limit: float,
    sense: str,
    more: dict[str, Any],
    case: str,
    tmp_path: Path,
    truth_table: TruthTable,
) -> None:
    # 24 V where the limit carries them, else limit times resistance; a lead of 0.1 Ω takes its share.
    path = limited(
        tmp_path, f"{limit} A", resistor(ohms), feed={"parallel": ["s.1", "s.2"]}, sense=sense, **more
    )
    expected = pytest.approx(min(24.0, limit * ohms), rel=1e-3 if sense == "at load" else 0.015)
    settles(rehearsed(path, case), "main", expected, ohms, truth_table)


def settles(
    prediction: Prediction,
    name: str,
    expected: object,
    ohms: float,
    truth_table: TruthTable,
    end: float = 0.5,
) -> None:
    """Nothing moves any more by the end [s], and that took no more steps than a start takes."""
    traces = prediction.record.traces[name]
    settled, through = (
        float(np.interp(end, traces.time, traces.columns[each])) for each in ("voltage", "current")
    )
    truth_table.compare("voltage that it settles at", expected, settled, "V")
    truth_table.compare("current at it", pytest.approx(settled / ohms, rel=1e-3), through, "A")
    moments = np.linspace(end - 0.1, end, 101)
    swing = float(np.ptp(np.interp(moments, traces.time, traces.columns["voltage"])))
    truth_table.compare("swing in the last 0.1 s", Within(0.0, 1e-3), swing, "V")
    truth_table.compare("steps of the solver", Within(0, 3000), prediction.steps)


@pytest.mark.case("solver-oscillates")
@pytest.mark.parametrize("case", CASES)
def test_the_pair_as_it_was_found(case: str, tmp_path: Path, truth_table: TruthTable) -> None:
    """24 V into 20 ohm, 200 ms after the converter's input, which takes as many steps again."""
    path = case_documents("solver-oscillates", tmp_path) / "c.procedure.yaml"
    expected = pytest.approx(24.0, rel=1e-3)
    settles(rehearsed(path, case), "valve", expected, 20.0, truth_table, end=0.7)


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
