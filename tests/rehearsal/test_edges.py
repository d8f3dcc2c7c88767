"""The table of a shape's edges against a brute-force reading of the same rehearsal: states, 10 to 90 %, 50 %,
overshoot, largest and r.m.s. deviation, at a tenth of a microsecond to two microseconds.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest
from numpy.typing import NDArray
from tests.bench import BENCH, PROCEDURE, Edit, demo_with

from railwright.documents.output_name import OutputName
from railwright.plan.plan import Plan, plan_of
from railwright.plan.set_points import Feed, OutputSetPoints
from railwright.rehearsal.playback import PlayedShape, played_shapes
from railwright.rehearsal.rehearse import rehearse
from railwright.traces import Traces

NO_SLEW: Edit = (BENCH, "        slew: 1 V/s .. 2.4 V/ms          # programmable rise and fall\n", "")
NO_LIST: Edit = (BENCH, "        points: {at_most: 200, dwell: 20 ms .. 300 s, between: [step, line]}\n", "")
QUICK_LIST: Edit = (BENCH, "dwell: 20 ms .. 300 s", "dwell: 1 ms .. 300 s, dwell_resolution: 1 ms")
"""The list of the output that feeds the input: it is the first in the file."""


def feed(sense: str, limit: float) -> Feed:
    points = OutputSetPoints(OutputName("left.1"), limit, "regulate", 0.0, 18.0)
    return Feed("main", "alone", (points,), "silicone pair", sense)


class Case(NamedTuple):
    shape: str
    sense: str = "at terminals"
    limit: float = 2.0
    edits: tuple[Edit, ...] = ()
    by: str = "host"
    samples: NDArray[np.float64] | None = None


def captured(noise: float, *states: tuple[float, float]) -> NDArray[np.float64]:
    """States of so many volts, each until so many seconds, at every millisecond; with noise [V]."""
    levels, ends = np.array(states).T
    time = np.arange(0.0, ends[-1], 1e-3)
    clean = levels[np.searchsorted(ends, time)]
    return np.column_stack((time, clean + np.random.default_rng(7).normal(0.0, noise, time.size)))


LONG = (12.0, 0.1505), (9.4, 0.3005), (11.0, 0.6)
BRIEF = (12.0, 0.1005), (10.0, 0.1155), (11.0, 0.1305), (12.0, 0.4)


def segments(*written: str) -> str:
    return f"input: main, segments: [{', '.join(f'{{{each}}}' for each in written)}]"


STEPS = segments(
    "step_to: 12 V", "hold: 200 ms", "step_to: 9 V", "hold: 300 ms", "step_to: 13 V", "hold: 200 ms"
)
RECORDED = "input: main, recording: captured.csv"
DIP = "input: main, standard: IEC 61000-4-29 dip, level: 70 %, duration: 100 ms"

CASES = {
    "steps, sensed at the terminals": Case(STEPS),
    "steps, sensed at the load": Case(STEPS, "at load"),
    "steps, in the current limit": Case(STEPS, limit=0.9),
    "dip at the terminals": Case(DIP),
    "dip at the load": Case(DIP, "at load"),
    "ramps of 20 ms by the slew": Case(
        segments(
            "step_to: 12 V", "hold: 100 ms", "line_to: 9 V, over: 20 ms", "hold: 100 ms",
            "line_to: 14 V, over: 30 ms", "hold: 100 ms",
        )
    ),
    "ramps of 100 ms in the host's stairs": Case(
        segments("step_to: 12 V", "hold: 300 ms", "line_to: 9 V, over: 100 ms", "hold: 400 ms"),
        edits=(NO_SLEW, NO_LIST),
    ),
    "small steps, of 10 mV, smaller than the lead's drop": Case(
        segments(
            "step_to: 12 V", "hold: 200 ms", "step_to: 12.01 V", "hold: 200 ms", "step_to: 12 V",
            "hold: 200 ms",
        )
    ),
    "interruption at high impedance": Case(
        "input: main, standard: IEC 61000-4-29 interruption, impedance: high, duration: 30 ms"
    ),
    "captured": Case(RECORDED, samples=captured(0.0, *LONG)),
    "captured with noise": Case(RECORDED, samples=captured(5e-3, *LONG)),
    "captured with noise, sensed at the load": Case(RECORDED, "at load", samples=captured(5e-3, *LONG)),
    "captured with noise, by a list that plays its edges early": Case(
        RECORDED, edits=(QUICK_LIST,), by="list", samples=captured(5e-3, *BRIEF)
    ),
    "brief steps by a list": Case(
        segments(
            "step_to: 12 V", "hold: 100.4 ms", "step_to: 10 V", "hold: 15.3 ms", "step_to: 11 V",
            "hold: 15.3 ms", "step_to: 12 V", "hold: 80 ms",
        ),
        edits=(QUICK_LIST,),
        by="list",
    ),
}  # fmt: skip


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple[Case, Plan, Traces, PlayedShape]]:
    return {name: play(tmp_path_factory.mktemp("case"), case) for name, case in CASES.items()}


def play(folder: Path, case: Case) -> tuple[Case, Plan, Traces, PlayedShape]:
    """A case with a hold of 1 s after its shape: its plan, its trace and what is shown of it."""
    if case.samples is not None:
        np.savetxt(
            folder / "captured.csv",
            case.samples,
            fmt="%.6f",
            delimiter=",",
            header="time_s,voltage_V",
            comments="",
        )
    own = f"  - shape: {{{case.shape}}}\n    name: own\n  - hold: 1 s\n  - shape:\n"
    documents = demo_with(folder, (PROCEDURE, "  - shape:\n", own), *case.edits)
    feeds = {"main": feed(case.sense, case.limit)}
    plan = plan_of(documents, feeds)
    record = rehearse(documents, feeds, timeline=plan.played).record
    (found,) = (each for each in played_shapes(plan, record) if each.span.name == "own")
    assert all(each.by == case.by for each in plan.deliveries if each.step == found.step)
    return case, plan, record.traces["main"], found


class Read(NamedTuple):
    """An edge as it is read off an oscilloscope."""

    before: float
    after: float
    duration: float
    late: float
    overshoot: float


def read(traces: Traces, start: float, time: float, over: float, until: float, beside: float) -> Read:
    """Brute force: samples at even times from `beside` before an edge to `beside` before the next."""
    length = until - time
    t = np.linspace(start + time - beside, start + until - beside, max(500_001, int(length / 1e-6)))
    v = np.interp(t, traces.time, traces.columns["voltage"])
    before, after = v[0], v[-1]
    part = (v - before) / (after - before)
    high = int(np.flatnonzero(part >= 0.9)[0])
    low = int(np.flatnonzero(part[:high] <= 0.1)[-1])
    middle = int(np.flatnonzero(part >= 0.5)[0])
    late = t[middle] - (start + time + 0.5 * over)
    return Read(float(before), float(after), float(t[high] - t[low]), float(late), float(part.max() - 1.0))


@pytest.mark.parametrize("name", CASES)
def test_edges_are_those_that_brute_force_reads(
    shown: dict[str, tuple[Case, Plan, Traces, PlayedShape]], name: str
) -> None:
    case, _, traces, found = shown[name]
    assert len(found.edges) >= (1 if "impedance" in name else 2)
    for each in found.edges:
        asked = each.asked
        beside = 3e-3 if case.by == "list" else 0.0
        own = read(traces, found.span.start, asked.time, asked.over, asked.until, beside)
        assert each.reached
        assert each.settled
        assert each.before == pytest.approx(own.before, abs=2e-4)
        assert each.after == pytest.approx(own.after, abs=2e-4)
        assert each.duration == pytest.approx(own.duration, rel=5e-3, abs=3e-6)
        assert each.late == pytest.approx(own.late, abs=5e-6)
        assert each.overshoot == pytest.approx(own.overshoot, abs=2e-3)


@pytest.mark.parametrize("name", CASES)
def test_the_deviations_are_those_of_even_samples(
    shown: dict[str, tuple[Case, Plan, Traces, PlayedShape]], name: str
) -> None:
    _, _, traces, found = shown[name]
    length = found.asked.duration
    t = (np.arange(1_000_000) + 0.5) * length / 1_000_000
    off = np.interp(found.span.start + t, traces.time, traces.columns["voltage"]) - found.asked.at(t)
    for begins, ends in found.away:  # off, on purpose
        off[(t >= begins) & (t <= ends)] = 0.0
    assert abs(found.whole.largest) == pytest.approx(float(np.abs(off).max()), rel=5e-3, abs=1e-4)
    assert found.whole.rms == pytest.approx(math.sqrt(float(np.mean(off**2))), rel=5e-3, abs=1e-5)
