"""A captured waveform is replayed as captured: planned, rehearsed, and behind simulated supplies over SCPI.

The truth is what the samples are made of (`tests/waveforms/captures.py`): levels, drift, ringing, of which an
oscilloscope made samples with noise, or with a gap.
"""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from tests.settings.station import of_rule
from tests.truth.saying import case_documents, played
from tests.truth.table import TruthTable, Within
from tests.waveforms.captures import CAPTURES, Capture

from railwright.job import Job
from railwright.plan.set_point import waveform
from railwright.traces import EventKind

REACH = 36.0
"""What an output of the station can be set to [V]; it follows a step at 2.4 V/ms."""
SLEW = 2.4e3
LIST = "{at_most: 200, dwell: 20 ms .. 300 s, between: [step, line]}"


def written(capture: Capture, path: Path) -> None:
    np.savetxt(
        path,
        np.column_stack((capture.time, capture.value)),
        fmt=["%.5f", "%.4f"],
        delimiter=",",
        header="time_s,voltage_V",
        comments="",
    )


@pytest.mark.case("captured")
@pytest.mark.parametrize("points", [True, False], ids=["list", "host"])
@pytest.mark.parametrize(
    "capture", [c for c in CAPTURES if "ringing" not in c.name], ids=lambda capture: capture.name
)
def test_a_capture_is_replayed_as_captured(
    capture: Capture, points: bool, tmp_path: Path, truth_table: TruthTable
) -> None:
    """By a point list where the output has one, and by the host."""
    path = case_documents("captured", tmp_path) / "cap.procedure.yaml"
    written(capture, tmp_path / "cap.csv")
    bench = tmp_path / "quay.bench.yaml"
    text = bench.read_text("utf-8")
    assert f"        points: {LIST}\n" in text
    if not points:
        bench.write_text(text.replace(f"        points: {LIST}\n", ""), "utf-8")
    job = Job.open(path)
    check = job.check(static=True)
    (step,) = [number for number, span in enumerate(check.plan.spans) if span.name == "replay"]
    span = check.plan.spans[step]
    own = [a for a in check.plan.played.actions if a.input == "main" and a.path[:2] == ("steps", step)]
    told = waveform(12.0, own, span.start, span.end - span.start).at
    limit = 2e-3 + 0.1 * capture.noise + 1e-3 * float(np.ptp(capture.truth(capture.time)))
    truth_table.compare("r.m.s. off the capture", Within(0.0, limit), capture.rms(told), "V")
    interval = float(np.median(np.diff(capture.time)))
    truth_table.compare("latest edge", Within(0.0, 1.5 * interval), capture.latest(told), "s")
    for rule in ("shape-not-served", "capture-not-played", "host-cannot-keep"):
        assert not [each for each in of_rule(check.settings, rule) if "replay" in each.why]


@pytest.mark.case("captured")
@pytest.mark.parametrize("name", ["given, clean", "given, 10 mV", "given, 20 mV", "gap", "drifting"])
def test_levels_stand_behind_the_supplies(name: str, tmp_path: Path, truth_table: TruthTable) -> None:
    """In the middle of every level, in the rehearsal and at the connector of a run: ± (0.05 % + 8 mV)."""
    (capture,) = [each for each in CAPTURES if each.name == name]
    path = case_documents("captured", tmp_path) / "cap.procedure.yaml"
    written(capture, tmp_path / "cap.csv")
    rehearsed = Job.open(path).rehearse().record
    with played(path, seed=4) as (network, _):
        truly = network.truth()
    start = next(span.start for span in rehearsed.spans if span.name == "replay")
    offset = [next(e.time for e in record.events if e.kind is EventKind.ON) for record in (rehearsed, truly)]
    ends = [0.0, *(edge[0] for edge in capture.edges), capture.duration]
    for begin, end in pairwise(ends):
        middle = 0.5 * (begin + end)
        said = {}
        for place, record, zero in zip(("rehearsed", "true"), (rehearsed, truly), offset, strict=True):
            traces = record.traces["main"]
            at = start + middle - offset[0] + zero
            said[place] = float(np.interp(at, traces.time, traces.columns["voltage"]))
        level = float(capture.truth(np.array([middle]))[0])
        within = pytest.approx(level, abs=8e-3 + 5e-4 * level + 0.1 * capture.noise + 2e-3)
        truth_table.compare(f"level {middle:.2f} s into it", within, said, "V")
