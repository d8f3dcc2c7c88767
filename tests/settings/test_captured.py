"""A captured waveform through the check: what the findings are."""

from __future__ import annotations

from pathlib import Path

from tests.settings.station import TODAY, of_rule, settled, station
from tests.settings.test_rules import shape
from tests.settings.test_settle import overrides

from railwright.settings.findings import Severity
from railwright.settings.settle import settle


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
