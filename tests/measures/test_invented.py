"""A measure that nobody knew is announced, and goes from the documents to the report."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.evaluation.stored_runs import store

from railwright.documents.loader import load_documents
from railwright.documents.procedure import Requirement, accept_announced_measures
from railwright.documents.reference import reference as documents_reference
from railwright.documents.schema import json_schema
from railwright.documents.sources import DocumentErrors
from railwright.evaluation.reference import reference
from railwright.job import Job, Run
from railwright.measures import MEASURES, register
from railwright.measures.measure import measure
from railwright.measures.outcome import CannotMeasure, Measured
from railwright.measures.signal import View
from railwright.report.limits import limits_of

PROCEDURE = "procedures/short.procedure.yaml"
CURRENT, VOLTAGE = 0.3, 12.0
REQUIRES = """\
requires:
  - {name: effective, measure: input_resistance, of: main, during: steady, between: 30 ohm .. 50 ohm}
  - {name: too little, measure: input_resistance, of: main, during: steady, at_most: 30 ohm}
"""


@measure("ohm", "effective input resistance", ("voltage", "current"))
def input_resistance(view: View) -> Measured:
    """Resistance that the input shows.

    Computed: the mean voltage divided by the mean current.
    Window: the step.
    Uncertainty: 'errors of the readings' (their bounds, as a part of each mean).
    Standard: none; Ohm's law.
    """
    import numpy as np

    from railwright.measures.budget import Budget

    voltage, current = (
        each.evenly(view) if view.model.exact else each.between(view.begin, view.end)
        for each in (view.voltage(), view.current())
    )
    if current.time.size < 2:
        raise CannotMeasure("the record holds no values in this step")
    volts, amperes = float(np.mean(voltage.values)), float(np.mean(current.values))
    part = sum(abs(float(np.mean(each.shape))) for each in voltage.systematic) / volts
    part += sum(abs(float(np.mean(each.shape))) for each in current.systematic) / amperes
    budget = Budget(view)
    budget.bounded("errors of the readings", part * volts / amperes)
    return budget.result(volts / amperes, "mean voltage by mean current")


@pytest.fixture
def invented() -> Iterator[None]:
    register(input_resistance)
    yield
    del MEASURES[input_resistance.name]
    accept_announced_measures()


@pytest.fixture
def folder(invented: None, tmp_path: Path) -> Path:
    """Of a run that read 12 V and 0.3 A throughout; its documents lie beside it."""
    return store(tmp_path / "case", current=CURRENT, requires=REQUIRES)


def test_it_is_predicted_by_check_and_rehearsal(folder: Path) -> None:
    """A load of 40 Ω behind the lead."""
    check = Job.open(folder.parent / PROCEDURE).check()
    can = {each.requirement: each for each in check.measurable}
    assert can["effective"].unit == "ohm"
    assert can["effective"].expected == pytest.approx(40.0, rel=1e-3)
    assert can["effective"].leaves == pytest.approx(10.0, rel=1e-2)
    predicted = check.rehearse().evaluation
    assert {each.requirement: each.outcome.value for each in predicted.results} == {
        "effective": "pass",
        "too little": "fail",
    }
    assert predicted["effective"].measured.value == pytest.approx(40.0, rel=1e-3)


@pytest.mark.slow
def test_a_run_is_evaluated_and_reported_by_it(folder: Path) -> None:
    run = Run.read(folder)
    found = run.evaluate()
    value = found["effective"].measured
    assert value is not None
    assert value.value == pytest.approx(VOLTAGE / CURRENT)
    assert value.low <= VOLTAGE / CURRENT <= value.high
    assert (found["effective"].unit, found["effective"].outcome.value) == ("ohm", "pass")
    assert found["too little"].outcome.value == "fail"
    assert run.evaluations[-1]["effective"] == found["effective"]
    pdf = run.report()
    told = json.loads((pdf.parent / "report.json").read_text("utf-8"))
    assert "input_resistance" in json.dumps(told)
    assert "effective input resistance" in subprocess.run(
        ["pdftotext", "-layout", str(pdf), "-"], capture_output=True, text=True, check=True
    ).stdout.replace("\n", " ")


def test_documents_schema_and_pages_know_it(folder: Path) -> None:
    required = json_schema("procedure")["$defs"]["Requirement"]["properties"]
    assert "input_resistance" in required["measure"]["enum"]
    assert "`input_resistance`" in documents_reference()
    assert "| `input_resistance` | ohm |" in reference()
    wanted = Requirement(name="r", measure="input_resistance", of="main", during="on", at_most="2 kohm")
    assert (wanted.unit, wanted.limits) == ("ohm", (None, 2000.0))
    drawn, words = limits_of([wanted], "on")
    assert drawn == ()
    assert words[0].startswith("r: ")


def test_its_limits_have_its_dimension(folder: Path) -> None:
    path = folder.parent / PROCEDURE
    path.write_text(path.read_text("utf-8").replace("at_most: 30 ohm", "at_most: 30 V"), "utf-8")
    with pytest.raises(DocumentErrors, match=r"expected .*ohm.*, got '30 V'"):
        load_documents(path)


def test_a_name_is_taken_once(invented: None) -> None:
    with pytest.raises(ValueError, match="input_resistance"):
        register(input_resistance)


def test_what_is_not_announced_is_no_measure(folder: Path) -> None:
    path = folder.parent / PROCEDURE
    load_documents(path)
    del MEASURES[input_resistance.name]
    try:
        with pytest.raises(DocumentErrors, match=r"got '?input_resistance"):
            load_documents(path)
    finally:
        register(input_resistance)


@pytest.mark.slow
def test_importing_the_measures_loads_no_numpy() -> None:
    code = "import sys, railwright.measures; print(sorted({'numpy', 'pydantic', 'numba'} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
