"""The demo's documents, fabricated records, and a run as the report takes it."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from ruamel.yaml import YAML

from railwright.documents.bench import Bench
from railwright.documents.device import Device
from railwright.documents.procedure import Procedure
from railwright.rehearsal.setpoints import Feed, OutputSetPoints
from railwright.rehearsal.timeline import Timeline, build_timeline
from railwright.traces import Record
from tests.report.fabricated import DEMO, Rail, readings, recording, simulate

DEMO_FOLDER = Path(__file__).parents[2] / "examples" / "tide-gauge"


def read(name: str) -> dict[str, Any]:
    return YAML(typ="safe").load((DEMO_FOLDER / name).read_text(encoding="utf-8"))


@pytest.fixture(scope="session")
def documents() -> Any:
    bench = read("quay.bench.yaml")
    for supply in bench["supplies"].values():
        outputs = {str(name): output for name, output in supply["outputs"].items()}
        supply["outputs"] = {
            n: outputs[str(o["same_as"])] if "same_as" in o else o for n, o in outputs.items()
        }
    return SimpleNamespace(
        device=Device.model_validate(read("tide-gauge.device.yaml")),
        bench=Bench.model_validate(bench),
        procedure=Procedure.model_validate(read("power-input.procedure.yaml")),
    )


@pytest.fixture(scope="session")
def set_points() -> dict[str, Feed]:
    main = OutputSetPoints("left.1", 1.0, "trip", 0.04, 18.0)
    transducer = OutputSetPoints("right.1", 0.1, "trip", 0.02, 33.0)
    return {
        "main": Feed("main", "alone", (main,), "silicone pair", "at load"),
        "transducer": Feed("transducer", "alone", (transducer,), "thin pair", "at terminals", ("main",)),
    }


@pytest.fixture(scope="session")
def timeline(documents: Any) -> Timeline:
    return build_timeline(documents.procedure, documents.device)


@pytest.fixture(scope="session")
def rehearsal(timeline: Timeline) -> Record:
    return simulate(timeline, DEMO)


@pytest.fixture(scope="session")
def truth(timeline: Timeline) -> Record:
    main: Rail = dataclasses.replace(DEMO["main"], capacitance=1150e-6, power=4.4, starts=8.3)
    return simulate(timeline, {**DEMO, "main": main})


@pytest.fixture(scope="session")
def measured(truth: Record) -> Record:
    return readings(truth, late=0.137)


@pytest.fixture(scope="session")
def external(truth: Record) -> Record:
    return recording(truth, late=0.137, end=0.3)
