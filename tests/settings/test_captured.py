"""A captured waveform through the check: what is played of it, and what the findings are."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
from tests.settings.station import TODAY, of_rule, settled, station
from tests.settings.test_rules import shape
from tests.settings.test_settle import overrides
from tests.waveforms.captures import CAPTURES, Capture

from railwright.documents.loader import load_documents
from railwright.examples import example
from railwright.plan.plan import plan_of
from railwright.plan.set_point import waveform
from railwright.settings.findings import Severity
from railwright.settings.settle import settle

GIVEN = [capture for capture in CAPTURES if capture.name.startswith("given")]


def written(capture: Capture, path: Path) -> None:
    np.savetxt(
        path,
        np.column_stack((capture.time, capture.value)),
        fmt=["%.4f", "%.4f"],
        delimiter=",",
        header="time_s,voltage_V",
        comments="",
    )


@pytest.mark.parametrize("capture", GIVEN, ids=lambda capture: capture.name)
def test_a_capture_is_replayed_as_captured(capture: Capture, tmp_path: Path) -> None:
    """12 V, 9 V, 10 V, 12 V for 2, 1, 1 and 1 s, once a flat 11 V for the last two."""
    for file in example().glob("*.yaml"):
        shutil.copy(file, tmp_path)
    written(capture, tmp_path / "captured.csv")
    procedure = tmp_path / "power-input.procedure.yaml"
    text = procedure.read_text("utf-8")
    replay = "  - shape: {input: main, recording: captured.csv}\n    name: replay\n"
    procedure.write_text(text.replace("  - power_down:", f"{replay}  - power_down:", 1), "utf-8")
    documents = load_documents(procedure)
    settings = settle(documents, TODAY)
    plan = plan_of(documents, settings.set_points)
    (step,) = [number for number, span in enumerate(plan.spans) if span.name == "replay"]
    span = plan.spans[step]
    own = [a for a in plan.played.actions if a.input == "main" and a.path[:2] == ("steps", step)]
    told = waveform(12.0, own, span.start, span.end - span.start).at
    assert capture.rms(told) < 2e-3
    assert capture.latest(told) <= 1e-4
    assert told(np.array([1.0, 2.5, 3.5, 4.5])) == pytest.approx([12.0, 9.0, 10.0, 12.0], abs=2e-3)
    for rule in ("shape-not-served", "capture-not-played", "host-cannot-keep", "shape-by-list"):
        assert not [each for each in of_rule(settings, rule) if "replay" in each.why]


def test_what_is_not_the_capture_any_longer_stops_and_can_be_overridden(tmp_path: Path) -> None:
    edits = shape("input: main, recording: dip.csv")
    (finding,) = of_rule(settled(tmp_path, *edits), "capture-not-played")
    assert (finding.severity, finding.about) == (Severity.STOP, "main")
    assert finding.remedy
    entry = "{finding: capture-not-played, because: the dip does not matter}"
    settings = settle(station(tmp_path, *edits, overrides(entry)), TODAY)
    (finding,) = of_rule(settings, "capture-not-played")
    assert finding.overridden is not None
    assert not finding.blocks
