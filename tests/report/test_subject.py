"""The facts of a run, from what its folder keeps and what the bench document says."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest
from tests.report.cases import RUN

from railwright.documents.loader import Documents
from railwright.report import ReportInput
from railwright.report.subject import NOT_STATED, run_facts

USED, RECORDERS = ("left", "right"), ("transient recorder",)


def test_what_the_run_does_not_say_comes_from_the_bench(documents: Documents) -> None:
    run = run_facts(RUN, documents.bench, USED, RECORDERS)
    assert run.laboratory == "Quay-side test bench"
    assert run.ambient == "23 °C ± 3 °C"
    assert [i.name for i in run.instruments] == ["left", "right", "transient recorder"]
    assert run.instruments[0].certificate == "QB-26-031"
    assert run.instruments[0].identification.startswith("Invented Instruments")
    assert run.start == dt.datetime(2026, 11, 25, 11, 3, 12, tzinfo=dt.UTC)


def test_what_nobody_says_is_not_stated(documents: Documents) -> None:
    run = run_facts({"unit": " "}, documents.bench, USED, ())
    assert run.unit == run.operator == run.customer == run.run_id == NOT_STATED
    assert run.start is None
    assert not run.simulated


def test_the_run_s_own_calibration_comes_before_the_bench_s(documents: Documents) -> None:
    entry = {"name": "left", "calibration": {"on": "2025-01-01", "due": "2026-01-01", "certificate": "OLD-1"}}
    run = run_facts({"instruments": [entry]}, documents.bench, USED, ())
    assert run.instruments[0].certificate == "OLD-1"
    assert run.instruments[0].state(dt.date(2026, 1, 1)) == "valid"
    assert run.instruments[0].state(dt.date(2026, 1, 2)) == "overdue"
    assert run.instruments[0].state(None) == "unknown"


def test_an_unknown_calibration_is_unknown(documents: Documents) -> None:
    run = run_facts({}, documents.bench, (), ("borrowed recorder",))
    assert run.instruments[0].due is None
    assert run.instruments[0].state(dt.date(2026, 1, 1)) == "unknown"


def test_further_instruments_of_the_run_are_listed(documents: Documents) -> None:
    entry = {"name": "thermometer", "kind": "thermometer", "serial": "T-9"}
    run = run_facts({"instruments": [entry]}, documents.bench, USED, ())
    assert run.instruments[-1].serial == "T-9"


def test_a_report_needs_an_evaluation(given: ReportInput) -> None:
    with pytest.raises(ValueError, match="at least one evaluation"):
        replace(given, evaluations=())
