"""Devices whose loads were announced by somebody else."""

from __future__ import annotations

import subprocess
import sys

import pytest
from tests.bench import DEVICE, copy_demo, edit

ANNOUNCE = """
import sys, types
from pydantic import Field
from railwright.documents.loader import load_device
from railwright.documents.schema import json_schema
from railwright.documents.sources import DocumentErrors
from railwright.physics.loads import LoadKind, LoadParameters, register
from railwright.quantities import UncertainWatts

class Heater(LoadParameters):
    'A heater.'
    power: UncertainWatts = Field(description='what it draws')

register(LoadKind('heater', Heater, types.ModuleType('heater')))
for path in sys.argv[1:]:
    try:
        entry = load_device(path).model.inputs['main'].load[0]
        print(entry.kind, entry.parameters.power.low)
    except DocumentErrors as errors:
        print(errors)
print('heater' in json_schema('device')['$defs']['LoadEntry']['properties'])
"""


@pytest.mark.slow
def test_a_load_announced_after_the_models_were_made(tmp_path):
    copy_demo(tmp_path)
    capacitor = "- capacitor: {capacitance: 1000 uF ± 20 %, esr: 60 mohm}"
    text = (tmp_path / DEVICE).read_text(encoding="utf-8")
    (tmp_path / "wrong.yaml").write_text(text, encoding="utf-8")
    edit(tmp_path / DEVICE, capacitor, "- heater: {power: 2 W ± 50 %}")
    edit(tmp_path / "wrong.yaml", capacitor, "- heater: {power: 2 A}")
    # in a process of its own, as an announcement lasts as long as the process
    done = subprocess.run(
        [sys.executable, "-c", ANNOUNCE, DEVICE, "wrong.yaml"],
        capture_output=True,
        text=True,
        cwd=tmp_path,
        check=True,
    )
    assert done.stdout.splitlines() == [
        "heater 1.0",
        "wrong.yaml:16:25: expected a power such as '3.6 W', got '2 A': 'A' is a current",
        "True",
    ]
