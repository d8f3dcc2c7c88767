"""A fuse in the lead that melts in a run: what the supply reads at its terminals is not at the input then.

The truth is that of the simulated supplies.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from benchmarks.disagreement_hunt.drawing import Draw
from benchmarks.disagreement_hunt.playing import Played, play

from railwright.evaluation.outcome import Result

from .small import fed_by, supply, write

READING = {
    "voltage": {"of_value": "0.05 %", "offset": "8 mV", "resolution": "1 mV", "noise": "1 mV"},
    "current": {"of_value": "0.1 %", "offset": "1 mA", "resolution": "0.1 mA", "noise": "0.1 mA"},
    "update": "20 ms",
    "aperture": "16 ms",
    "latency": "3 ms",
}


def played(folder: Path, source: Any, true: dict[str, str]) -> Played:
    """A resistor and a capacitor behind a fuse, at 12 V and then at 8 V; its outputs take current in."""
    outputs = ({"reading": READING, "sink": None}, {"reading": READING, "sink": None})
    device = fed_by(
        {"resistor": {"resistance": "120 ohm"}},
        {"capacitor": {"capacitance": "47 uF", "esr": "50 mohm"}},
        nominal="12 V",
        operating="5 V .. 15 V",
        withstands=[{"voltage": "24 V"}],
    )
    fuse = {"curve": [{"current": "250 mA", "time": "100 s"}, {"current": "800 mA", "time": "50 ms"}]}
    box = {"fuse": {**fuse, "resistance": "40 mohm"}}
    requires = [
        {"name": f"{measure} {step}", "measure": measure, "of": "in", "during": step, "at_most": "14 V"}
        for step in ("high", "low")
        for measure in ("peak_voltage", "mean_voltage")
    ]
    procedure = {
        "hook_up": {"in": {"from": source, "lead": "pair", "sense": "at terminals", "fixture": "box"}},
        "limits": {"in": {"current_limit": "2 A", "at_limit": "regulate", "ovp": "20 V"}},
        "steps": [
            {"power_up": {"order": ["in"], "gap": "10 ms", "settle": "300 ms"}, "name": "up"},
            {"hold": "400 ms", "name": "high"},
            {"shape": {"input": "in", "segments": [{"step_to": "8 V"}, {"hold": "500 ms"}]}, "name": "low"},
            {"power_down": {"order": ["in"], "gap": "10 ms"}},
        ],
        "record": {"every": "20 ms"},
        "requires": requires,
    }
    path = write(folder / "given", {"in": device}, procedure, {"s": supply(*outputs)}, fixtures={"box": box})
    files = {each.name: each.read_bytes() for each in path.parent.iterdir()}
    files["procedure.yaml"] = files.pop(path.name)
    (folder / "played").mkdir()
    return play(Draw("fuse", files, 7, true), folder / "played")


def measured(found: Played) -> dict[str, Result]:
    return {each.requirement: each for each in found.evaluated.results}


@pytest.mark.parametrize("source", ["s.1", {"parallel": ["s.1", "s.2"]}], ids=["one", "parallel"])
@pytest.mark.parametrize("ohms", ["x0.07", "x0.1", "x0.13"])
def test_nothing_is_told_of_the_input_behind_a_fuse_that_melted(
    source: Any, ohms: str, tmp_path: Path
) -> None:
    found = played(tmp_path, source, {"in.resistor.resistance": ohms})
    blown = next(each.time for each in found.truth.events if each.kind.name == "FUSE_OPENS")
    told = measured(found)
    after = [step for step in ("high", "low") if found.outcome.record.span(step).end > blown + 0.1]
    assert "low" in after
    for step in after:
        assert told[f"mean_voltage {step}"].measured is None
        assert told[f"peak_voltage {step}"].measured is None
        assert told[f"mean_voltage {step}"].outcome.value == "inconclusive"


@pytest.mark.parametrize("source", ["s.1", {"parallel": ["s.1", "s.2"]}], ids=["one", "parallel"])
@pytest.mark.parametrize("ohms", ["x1", "x0.6", "x3"])
def test_a_fuse_that_conducts_hides_nothing(source: Any, ohms: str, tmp_path: Path) -> None:
    found = played(tmp_path, source, {"in.resistor.resistance": ohms})
    assert not any(each.kind.name == "FUSE_OPENS" for each in found.truth.events)
    for each in measured(found).values():
        assert each.measured is not None, each
