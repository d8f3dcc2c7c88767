"""A file of a run that somebody damaged is one line with the place, whoever reads the run."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from tests.evaluation.stored_runs import store
from typer.testing import CliRunner

from railwright.archive.stored import evaluate_run, evaluations_of, open_stored
from railwright.cli.app import app
from railwright.records.stored import NoRun

INSTRUMENT = {
    "name": "left",
    "kind": "supply",
    "calibration": {"on": "2026-03-02", "due": "2027-03-02", "certificate": "QB-26-031"},
    "identification": {"maker": "Any", "model": "QS-362", "serial": "Q-0117", "version": "1"},
}
PROVED = {"output": "left.1", "proved": {"ovp": {"at": "now", "by": "me", "how": "a load"}}, "missing": []}
WHOLE: dict[str, Any] = {
    "began": "2026-11-25T11:03:12+00:00",
    "instruments": [INSTRUMENT, {**INSTRUMENT, "name": "right"}],
    "proved": [PROVED],
    "cautions": [],
    "deviations": [],
    "rows": {},
    "dialects": {"channel-list": "20e9"},
}


def change(folder: Path, name: str, place: tuple[str | int, ...], value: object) -> None:
    path = folder / name
    data = json.loads(path.read_text())
    part = data
    for key in place[:-1]:
        part = part[key]
    part[place[-1]] = value
    path.write_text(json.dumps(data))


DAMAGE: Mapping[str, tuple[tuple[str | int, ...], object]] = {
    "dialects": (("dialects",), "x"),
    "dialects.channel-list": (("dialects", "channel-list"), 5),
    "instruments[1]": (("instruments", 1), 3),
    "instruments[0].calibration": (("instruments", 0, "calibration"), "2026"),
    "instruments[0].calibration.due": (("instruments", 0, "calibration", "due"), "soon"),
    "instruments[0].identification.maker": (("instruments", 0, "identification", "maker"), [1]),
    "cautions": (("cautions",), 3),
    "deviations": (("deviations",), 5),
    "deviations[0]": (("deviations",), [{}]),
    "proved": (("proved",), 3),
    "proved[0].proved.ovp": (("proved", 0, "proved", "ovp"), "yes"),
    "proved[0].missing": (("proved", 0, "missing"), 1),
    "began": (("began",), "x"),
    "finished": (("finished",), "2026-11-25"),
    "ended": (("ended",), ["completed"]),
    "switched_off.main": (("switched_off", "main"), True),
    "switched_off.main.confirmed": (("switched_off", "main", "confirmed"), "no"),
    "switched_off.main.residual": (("switched_off", "main", "residual"), "0 V"),
    "off_confirmed": (("off_confirmed",), "no"),
    "not_confirmed": (("not_confirmed",), 1),
    "documents.device": (("documents", "device"), 1),
    "sensed": (("sensed",), ["main"]),
    "rows.main": (("rows",), {"main": 0.5}),
    "steps": (("steps",), "x"),
    "steps[1]": (("steps", 1), None),
    "steps[1].end": (("steps", 1, "end"), "late"),
    "laboratory": (("laboratory",), 7),
    "unit": (("unit",), {}),
}


def invoke(command: str, folder: Path) -> tuple[int, str]:
    result = CliRunner().invoke(app, [command, str(folder)])
    return result.exit_code, result.output


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = store(tmp_path_factory.mktemp("whole") / "run", **WHOLE)
    assert [invoke(command, folder)[0] for command in ("evaluate", "report")] == [0, 0]
    return folder


@pytest.mark.parametrize("place", DAMAGE)
def test_a_damaged_run_json_is_one_line_for_evaluate_and_report(run: Path, place: str) -> None:
    before = (run / "run.json").read_bytes()
    try:
        change(run, "run.json", *DAMAGE[place])
        for command in ("evaluate", "report"):
            code, said = invoke(command, run)
            lines = [line for line in said.splitlines() if not line.startswith("caution: ")]
            assert (code, len(lines)) == (2, 1), said
            assert re.match(re.escape(f"{run / 'run.json'}: {place}: expected "), lines[0]), said
    finally:
        (run / "run.json").write_bytes(before)


@pytest.mark.parametrize(
    ("name", "place", "value", "told"),
    [
        ("evaluations/01.json", ("requirements", 2, "lower"), float("nan"), "NaN"),
        ("evaluations/01.json", ("requirements", 0, "measured", "value"), float("inf"), "Infinity"),
        (
            "evaluations/01.json",
            ("requirements", 2, "lower"),
            "x",
            "requirements[2].lower: expected a number",
        ),
        ("evaluations/01.json", ("requirements", 1), 5, "requirements[1]: expected keys"),
        ("evaluations/01.json", ("recordings",), [{"file": "../a", "recorder": "b"}], "recordings[0].file"),
        ("evaluations/01.json", ("recordings",), [{"file": "/a", "recorder": "b"}], "recordings[0].file"),
        ("settings.json", ("set_points", "main", "outputs", 0, "ovp"), float("nan"), "NaN"),
        ("settings.json", ("set_points", "main", "outputs", 0, "ovp"), "x", "set_points.main.outputs[0].ovp"),
        ("events.json", (0,), {"time": "x", "subject": "main", "what": "on", "detail": ""}, "[0]: expected"),
        ("events.json", (0,), {"time": 1e999, "subject": "main", "what": "on", "detail": ""}, "Infinity"),
        ("events.json", (0,), 3, "[0]: expected"),
        ("manifest.json", ("files", "run.json"), float("nan"), ""),
    ],
)
def test_what_is_no_number_or_out_of_place_is_told(
    tmp_path: Path, name: str, place: tuple[str | int, ...], value: object, told: str
) -> None:
    folder = store(tmp_path / "run", **WHOLE)
    evaluate_run(open_stored(folder), [])
    if name == "events.json":
        (folder / name).write_text("[0]")
    change(folder, name, place, value)
    if name == "manifest.json":
        assert "NaN" in open_stored(folder).data.differences.manifest
        return
    with pytest.raises(NoRun) as raised:
        evaluations_of(open_stored(folder))
    assert str(raised.value).startswith(f"{folder / name}: ")
    assert told in str(raised.value)


def test_what_an_earlier_version_did_not_write_is_no_damage(tmp_path: Path) -> None:
    folder = store(tmp_path / "run", finished=None, energised=None, switched_off=None)
    assert invoke("report", folder)[0] in (0, 5)
    assert open_stored(folder).data.about.get("energised") is None
