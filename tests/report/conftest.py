"""The demo's documents, fabricated records, a report's input, and the report as it was written."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest
from tests.report.cases import the_input
from tests.report.fabricated import DEMO, Rail, readings, recording, simulate

from railwright.documents.loader import Documents
from railwright.documents.output_name import OutputName
from railwright.plan.set_points import Feed, OutputSetPoints
from railwright.plan.timeline import Timeline, build_timeline
from railwright.report import ReportInput, build_report
from railwright.traces import Record


@pytest.fixture(scope="session")
def set_points() -> dict[str, Feed]:
    main = OutputSetPoints(OutputName("left.1"), 1.0, "trip", 0.04, 18.0)
    transducer = OutputSetPoints(OutputName("right.1"), 0.1, "trip", 0.06, 33.0)
    return {
        "main": Feed("main", "alone", (main,), "silicone pair", "at load"),
        "transducer": Feed("transducer", "alone", (transducer,), "thin pair", "at terminals", ("main",)),
    }


@pytest.fixture(scope="session")
def timeline(documents: Documents) -> Timeline:
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


@pytest.fixture(scope="session")
def given(
    documents: Documents, set_points: dict[str, Feed], rehearsal: Record, measured: Record, external: Record
) -> ReportInput:
    return the_input(documents, set_points, rehearsal, measured, external)


@pytest.fixture(scope="session")
def written(given: ReportInput, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the demo's report."""
    return build_report(given, tmp_path_factory.mktemp("report")).parent
