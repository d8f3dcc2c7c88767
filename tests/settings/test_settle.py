"""Settling: the demo's findings, what is asked stays as asked, overrides, plain data, a light start."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from tests.said import figures, says
from tests.settings.hookup.scene import needs, output, scene, supply
from tests.settings.station import DEMO, TODAY, Edit, line_of, of_rule, settled, station

from railwright.documents.loader import load_documents
from railwright.documents.sources import DocumentErrors
from railwright.rehearsal.rehearse import rehearse
from railwright.settings.data import as_data, window_as_data
from railwright.settings.findings import Severity
from railwright.settings.hookup import hooked_up
from railwright.settings.settle import by_severity, settle
from railwright.settings.windows.window import End, Window

NO_LIMIT: Edit = ("procedure", "ovp: 18 V", "ovp: 21 V")


def overrides(*entries: str) -> Edit:
    lines = "".join(f"  - {entry}\n" for entry in entries)
    return ("procedure", "requires:\n", f"overrides:\n{lines}\nrequires:\n")


def test_the_demo_may_be_energised() -> None:
    settings = settle(load_documents(DEMO), TODAY)
    assert not settings.blocked
    assert [f for f in settings.findings if f.severity is Severity.STOP] == []
    assert set(settings.set_points) == {"main", "transducer"}
    rules = {(finding.rule, finding.about) for finding in settings.findings}
    assert {
        ("touch-voltage", "main"),
        ("reading-too-slow", "transducer"),
        ("outside-operating", "main"),
        ("ramp-in-limit", "main"),
        ("slow-discharge", "main"),
    } <= rules
    assert not any(rule == "unknown-figure" for rule, _ in rules)


def test_findings_of_the_station(tmp_path: Path) -> None:
    assert [
        (finding.severity.value, finding.rule, finding.about) for finding in settled(tmp_path).findings
    ] == [
        ("caution", "reading-too-slow", "transducer"),
        ("note", "floating", "main, transducer"),
        ("note", "outside-operating", "main"),
        ("note", "sense-faults", "main"),
        ("note", "ramp-in-limit", "main"),
        ("note", "ramp-in-limit", "transducer"),
        ("note", "linked-trip-by-program", "transducer"),
        ("note", "slow-discharge", "main"),
    ]


def test_what_is_asked_stays_as_asked(tmp_path: Path) -> None:
    settings = settled(tmp_path)
    main = settings.set_points["main"]
    (points,) = main.outputs
    assert (points.output, points.current_limit, points.at_limit, points.trip_delay, points.ovp) == (
        "left.1",
        1.0,
        "trip",
        0.04,
        18.0,
    )
    assert (main.arrangement, main.lead, main.sense) == ("alone", "silicone pair", "at load")
    assert settings.set_points["transducer"].trips_when == ("main",)
    reasons = {(reason.about, reason.setting): reason for reason in settings.reasons}
    assert len(reasons) == 6
    assert figures(reasons["main", "ovp"].why)[0].startswith("1.91")
    assert reasons["main", "ovp"].where is not None


def test_regulating_has_no_delay(tmp_path: Path) -> None:
    trip = "at_limit: trip                       # or: regulate (IVI-4.4)\n    trip_delay: 40 ms\n"
    settings = settled(tmp_path, ("procedure", trip, "at_limit: regulate\n"))
    (points,) = settings.set_points["main"].outputs
    assert (points.at_limit, points.trip_delay) == ("regulate", 0.0)
    assert ("main", "trip_delay") not in {(reason.about, reason.setting) for reason in settings.reasons}


def test_an_override_accepts_a_stop(tmp_path: Path) -> None:
    because = "the clamp on the input was measured"
    accepted = f"{{finding: ovp-above-withstand, about: main, because: {because}}}"
    settings = settled(tmp_path, NO_LIMIT, overrides(accepted))
    (finding,) = of_rule(settings, "ovp-above-withstand")
    assert finding.overridden == because
    assert not finding.blocks
    assert not settings.blocked
    assert settled(tmp_path, NO_LIMIT).blocked


def test_an_override_of_another_input_accepts_nothing(tmp_path: Path) -> None:
    accepted = "{finding: ovp-above-withstand, about: transducer, because: it is clamped}"
    settings = settled(tmp_path, NO_LIMIT, overrides(accepted))
    assert settings.blocked
    (note,) = of_rule(settings, "override-no-effect")
    assert says(note.why, "nothing")
    assert "ovp-above-withstand" in line_of(note)


def test_an_override_of_a_caution_or_an_impossible_auto_is_noted(tmp_path: Path) -> None:
    caution = "{finding: touch-voltage, because: covered}"
    impossible = "{finding: auto-impossible, because: never mind}"
    auto = ("procedure", "current_limit: 1 A", "current_limit: auto")
    settings = settled(tmp_path, auto, ("device", ", at_most: 2.5 A", ""), overrides(caution, impossible))
    whys = [note.why for note in of_rule(settings, "override-no-effect")]
    assert any(says(why, "caution") for why in whys)
    assert any(says(why, "no value") for why in whys)
    assert settings.blocked


def test_an_override_of_an_unknown_rule_is_a_document_error(tmp_path: Path) -> None:
    documents = station(tmp_path, overrides("{finding: ovp-above-withstnd, because: typing}"))
    with pytest.raises(DocumentErrors) as caught:
        settle(documents, TODAY)
    (problem,) = caught.value.problems
    assert says(problem.message, "ovp-above-withstand")
    line = (tmp_path / "procedure.yaml").read_text().splitlines()[problem.location.line - 1]
    assert "ovp-above-withstnd" in line


def test_an_override_of_a_rehearsed_rule_waits_for_the_rehearsal(tmp_path: Path) -> None:
    settings = settled(tmp_path, overrides("{finding: trips-rehearsed, because: wanted}"))
    assert of_rule(settings, "override-no-effect") == []


def test_stops_come_first(tmp_path: Path) -> None:
    findings = settled(tmp_path, NO_LIMIT).findings
    assert findings == by_severity(reversed(by_severity(reversed(findings))))
    assert findings[0].severity is Severity.STOP


def test_as_data_is_json_with_stable_keys(tmp_path: Path) -> None:
    data = json.loads(json.dumps(as_data(settled(tmp_path, NO_LIMIT)), allow_nan=False))
    assert list(data) == ["blocked", "set_points", "reasons", "windows", "findings", "rises"]
    assert data["blocked"] is True
    assert data["set_points"]["main"]["outputs"][0] == {
        "output": "left.1",
        "current_limit": 1.0,
        "at_limit": "trip",
        "trip_delay": 0.04,
        "ovp": 21.0,
        "share": 1.0,
        "opp": None,
        "ocp": None,
        "ocp_delay": None,
    }
    assert list(data["findings"][0]) == [
        "rule",
        "severity",
        "about",
        "where",
        "why",
        "remedy",
        "overridden",
        "figures",
        "blocks",
    ]
    assert list(data["reasons"][0]) == ["about", "setting", "value", "unit", "where", "why", "figures"]
    ovp = next(each for each in data["windows"] if each["setting"] == "ovp")
    withstands = next(each for each in ovp["demands"] if each["demand"] == "withstands")
    assert withstands["figures"] == [
        {"name": "withstood", "value": 20.0, "unit": "V"},
        {"name": "accuracy", "value": 0.1, "unit": "V"},
    ]


@pytest.mark.slow
def test_the_static_check_loads_neither_numpy_nor_numba() -> None:
    code = (
        "import sys, datetime as dt\n"
        "from railwright.documents.loader import load_documents\n"
        "from railwright.settings.settle import settle\n"
        f"settle(load_documents({str(DEMO)!r}), dt.date(2026, 11, 25))\n"
        "print([name for name in ('numpy', 'numba', 'scipy', 'matplotlib') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_settings_with_an_end_that_lies_nowhere_are_json() -> None:
    """A window without an end on one side is infinite there; a run has to keep it in a file."""
    end = End(float("inf"), "low", "test", "none is enough", ("bench",), "test", False, relax=lambda low: "")
    window = Window("main", "trip_delay", "s", 1e-4, "", (end,), (), {"left.1": 1.0}, None)
    data = window_as_data(replace(window, recommended=float("inf")))
    assert data["demands"][0]["value"] is None
    assert json.loads(json.dumps(data, allow_nan=False))["recommended"] is None


@pytest.mark.parametrize("at_limit", ["regulate", "trip"])
def test_an_input_that_is_not_played_is_hooked_up_and_stays_off(at_limit: str) -> None:
    """A test of one input leaves the other off: its levels are settled by what device and outputs bear."""
    inputs = {"main": needs(12, 0.5), "spare": needs(24, 0.5, withstands=[{"voltage": "30 V"}])}
    documents = scene({"a": supply(output(30, 2), output(30, 2))}, inputs, at_limit=at_limit)
    power_up = documents.procedure.steps[0].power_up
    assert power_up is not None
    first = documents.procedure.steps[0].model_copy(
        update={"power_up": power_up.model_copy(update={"order": ("main",)})}
    )
    procedure = documents.procedure.model_copy(update={"steps": (first, *documents.procedure.steps[1:])})
    documents = replace(documents, procedure=procedure)
    settings = settle(documents, TODAY)
    assert [each for each in settings.findings if each.blocks] == []
    (points,) = settings.set_points["spare"].outputs
    assert 0.0 < points.ovp < 30.0
    record = rehearse(hooked_up(documents).documents, settings.set_points).record
    assert float(abs(record.traces["spare"].columns["voltage"]).max()) < 0.1
