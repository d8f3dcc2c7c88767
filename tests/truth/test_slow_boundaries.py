"""A step that ends where the law changes gets there, and past it, however slowly the states move.

Charging a cell once came so slowly out of its current limit that no step of the solver moved it: "something
oscillates" (the documents of `current-is-the-purpose`, 30 s of charging). The truth is in closed form: of a
straight line, and of a cell whose open-circuit voltage rises in lines.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from tests.bench import replaced
from tests.truth.saying import case_documents
from tests.truth.table import TruthTable, Within

from railwright.compilation import compiled, with_way_in
from railwright.job import Job
from railwright.physics.solver import make_solver, work_space
from railwright.rehearsal.rehearse import rehearse
from railwright.traces import EventKind


@compiled
def drift(t, y, dy, system):
    """One state that rises at a rate, and one that follows it in a microsecond."""
    dy[0] = system[0]
    dy[1] = 1e6 * (y[0] - y[1])


@compiled
def drift_jacobian(t, y, out, slope, system):
    out[:] = 0.0
    slope[:] = 0.0
    out[1, 0] = 1e6
    out[1, 1] = -1e6


@compiled
def beyond(t, y, out, system):
    """The region changes at a level, told from a difference that is rounded like the states."""
    out[0] = 1 if system[2] * (system[1] - y[1]) < 0.0 else 0


@pytest.fixture(scope="module")
def compiled_parts():
    return with_way_in(make_solver(drift, drift_jacobian, beyond)), with_way_in(beyond)


@pytest.mark.case("solver-oscillates")
@pytest.mark.parametrize("rate", [0.02, 1e-3, 1e-4])
@pytest.mark.parametrize("start", [10.8, 3000.0])
def test_a_boundary_that_is_reached_slowly_is_passed(
    compiled_parts, rate: float, start: float, truth_table: TruthTable
) -> None:
    """The state passes a level after (level - 4 V) / rate: in a few steps, at that time to its rounding."""
    step, regions = compiled_parts
    most, latest = 0, 0.0
    draw = np.random.default_rng(1)
    for level in 4.0 + rate * draw.uniform(1e-5, 1e-3, 100):
        system, work = np.array([rate, level, 12.9]), work_space(np.full(2, 1e-9), 1)
        y, t, taken, crossed = np.array([4.0, 4.0 - rate * 1e-6]), start, 0, None
        while t < start + 2e-3:
            _, end, _, _ = step(t, y, start + 2e-3, 2.3e-5, 1e-6, system, work)
            y[:], t, taken = work.new, end, taken + 1
            before = work.before.copy()
            regions(t, y, work.before, system)
            if crossed is None and (work.before != before).any():
                crossed = t
            if taken > 200:
                break
        true = start + (level - 4.0) / rate + 1e-6
        most, latest = max(most, taken), max(latest, abs((crossed or np.inf) - true))
    truth_table.compare("steps for 2 ms of 23 us each", Within(80, 110), most)
    # What rounding hides of the level is 4 ulp, and of the time some: 4e-15 V at the rate.
    off = 4e-15 / rate + 4.0 * float(np.spacing(start)) + 1e-10
    truth_table.compare("crossed off its time by", Within(0.0, off), latest, "s")


@pytest.mark.case("solver-oscillates")
@pytest.mark.parametrize(
    ("milliamperes", "ohms", "hours", "charged", "lasts"),
    [
        (400, 0.2, 0.002, 30, 30),
        (450, 0.1, 0.002, 30, 60),
        (800, 0.5, 0.003, 40, 20),
        (350, 0.3, 0.001, 50, 60),
        (250, 0.2, 0.002, 40, 30),
        (500, 0.15, 0.004, 30, 40),
    ],
)
def test_a_cell_leaves_its_limit(
    milliamperes: int,
    ohms: float,
    hours: float,
    charged: int,
    lasts: int,
    tmp_path: Path,
    truth_table: TruthTable,
) -> None:
    """4.1 V are reached at an open-circuit voltage of 4.1 V - I R, which the curve has at 50 % and 125 % more
    for every volt above 3.7 V; the charge up to there takes its time at I, and the rise and the output's
    capacitor, 220 uF, some milliseconds before.
    """
    folder = case_documents("current-is-the-purpose", tmp_path)
    for name, edits in (
        ("chg.procedure.yaml", (("400 mA", f"{milliamperes} mA"), ("hold: 30 s", f"hold: {lasts} s"))),
        (
            "bat.device.yaml",
            (("0.2 ohm", f"{ohms} ohm"), ("0.002 Ah", f"{hours} Ah"), ("30 %", f"{charged} %")),
        ),
    ):
        (folder / name).write_text(replaced((folder / name).read_text("utf-8"), *edits), "utf-8")
    job = Job.open(folder / "chg.procedure.yaml")
    prediction = rehearse(job.documents, job.check(static=True).settings.set_points)
    amperes = milliamperes * 1e-3
    full = 0.5 + 1.25 * (4.1 - amperes * ohms - 3.7)
    true = (full - charged / 100.0) * hours * 3600.0 / amperes
    left = [e.time for e in prediction.record.events if e.kind is EventKind.ENTERS_CV and e.time > 0.5]
    truth_table.compare("leaves the limit at", [pytest.approx(true, abs=8e-3)], left, "s")
    truth_table.compare("steps of the solver", Within(0, 1000), prediction.steps)
