"""Cells of the matrix in real time: twins in processes of their own, the guard in its own, real sockets."""

from __future__ import annotations

import json
import shutil
import tempfile
from dataclasses import replace
from pathlib import Path

from benchmarks.fault_matrix.bench import OUTPUTS, SET_POINTS, lay_out
from benchmarks.fault_matrix.cells import Cell
from benchmarks.fault_matrix.play import Played, read_back

from railwright.guard.process_link import ProcessLink
from railwright.running.runner import run
from railwright.twin.launcher import TwinBench
from railwright.twin.mischief.script import parse_mischief

DELAY = 0.3
"""How much later than it should a machine with two cores may do a thing while others work on it [s]; in
virtual time nothing is late.
"""


def play_real(cell: Cell, folder: Path) -> Played:
    """Play a cell with the real guard; times are of the monotonic clock [s]."""
    place = Path(tempfile.mkdtemp(dir=folder))
    documents = lay_out(place)
    script = parse_mischief([cell.line], documents.bench.supplies)
    try:
        with TwinBench(
            documents.bench, documents.device, documents.procedure, mischief=script, ports="free"
        ) as twins:
            link = ProcessLink()
            outcome, error = None, ""
            try:
                outcome = run(
                    replace(documents, bench=twins.bench),
                    SET_POINTS,
                    unit="B-1",
                    operator="Matrix",
                    folder=place / "run",
                    link=link,
                    decay_limit=1.0,
                    wait_for_lost=4.0,
                )
            except Exception as failure:  # noqa: BLE001 - any of them is a finding
                error = repr(failure)
            acts, energised = twins.acts(), twins.energised()
            over = link.now()
        readable, last = read_back(place / "run")
        return Played(
            outcome,
            error,
            acts[0].time if acts else None,
            _begun(place / "run" / "guard.ndjson"),
            over,
            {name: energised[output] for name, output in OUTPUTS.items()},
            readable,
            last,
            None,
            delay=DELAY,
        )
    finally:
        shutil.rmtree(place, ignore_errors=True)


def _begun(journal: Path) -> float | None:
    """When the guard began to switch off [s], as its own log says."""
    if not journal.exists():
        return None
    for line in journal.read_text("utf-8").splitlines():
        data = json.loads(line)
        if data["kind"] == "off begun":
            return float(data["time"])
    return None
