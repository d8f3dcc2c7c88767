"""A run whose folder is not whole and unchanged is no pass: what evaluate, report and JUnit say of it."""

from __future__ import annotations

import errno
import json
import os
import shutil
import xml.etree.ElementTree as ET
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pytest
from pyarrow import parquet
from tests.evaluation.stored_runs import REQUIRES, store
from typer.testing import CliRunner

from railwright.archive.stored import evaluate_run, evaluations_of, open_stored
from railwright.cli.app import app
from railwright.records.manifest import write_manifest

PROCEDURE = "documents/procedures/short.procedure.yaml"
READINGS = "record-main.parquet"
MANIFEST = "manifest.json"
STRICT = REQUIRES.replace("at_most: 1 A", "at_most: 100 mA")
"""Requirements that the readings of the stored run, at 300 mA, do not meet."""


def edit(folder: Path, old: str, new: str, name: str = PROCEDURE) -> None:
    text = (folder / name).read_text("utf-8")
    assert old in text
    (folder / name).write_text(text.replace(old, new), "utf-8")


def unlist(folder: Path, *names: str) -> None:
    data = json.loads((folder / MANIFEST).read_text())
    for name in names or tuple(data["files"]):
        del data["files"][name]
    (folder / MANIFEST).write_text(json.dumps(data))


def rewrite(folder: Path, change: Callable[[pa.Table], pa.Table]) -> None:
    parquet.write_table(change(parquet.read_table(folder / READINGS)), folder / READINGS)


def scaled(table: pa.Table) -> pa.Table:
    place = table.column_names.index("main_current_A")
    return table.set_column(place, "main_current_A", pa.array(table["main_current_A"].to_numpy() * 0.3))


def from_another_run(folder: Path) -> None:
    other = store(folder.parent / "other", current=0.2)
    shutil.copy(other / READINGS, folder / READINGS)


DAMAGE: dict[str, tuple[Callable[[Path], object], str]] = {
    "documents changed": (lambda f: edit(f, "1 A, at_limit", "2 A, at_limit"), PROCEDURE),
    "requirement deleted": (lambda f: edit(f, REQUIRES.splitlines()[2] + "\n", ""), PROCEDURE),
    "settings changed": (lambda f: edit(f, "0.03", "0.04", "settings.json"), "settings.json"),
    "settings unlisted": (lambda f: unlist(f, "settings.json"), "settings.json"),
    "manifest missing": (lambda f: (f / MANIFEST).unlink(), MANIFEST),
    "manifest junk": (lambda f: (f / MANIFEST).write_text("["), MANIFEST),
    "manifest a list": (lambda f: (f / MANIFEST).write_text("[]"), MANIFEST),
    "manifest empty": (unlist, PROCEDURE),
    "documents unlisted": (lambda f: unlist(f, PROCEDURE), PROCEDURE),
    "a document added": (lambda f: (f / "documents" / "mine.yaml").write_text("x"), "documents/mine.yaml"),
    "run.json unlisted": (lambda f: unlist(f, "run.json"), "run.json"),
    "log cut": (lambda f: (f / "log.ndjson").write_text(""), "log.ndjson"),
    "log missing": (lambda f: (f / "log.ndjson").unlink(), "log.ndjson"),
    "log unlisted and gone": (
        lambda f: (unlist(f, "log.ndjson"), (f / "log.ndjson").unlink()),
        "log.ndjson",
    ),
    "readings scaled": (lambda f: rewrite(f, scaled), READINGS),
    "readings twice": (lambda f: rewrite(f, lambda t: pa.concat_tables([t, t])), READINGS),
    "readings of another run": (from_another_run, READINGS),
    "readings missing": (lambda f: (f / READINGS).unlink(), READINGS),
    "readings of no input": (lambda f: shutil.copy(f / READINGS, f / "record-x.parquet"), "record-x.parquet"),
    "events changed": (lambda f: (f / "events.json").write_text("[ ]"), "events.json"),
    "counts disagree": (
        lambda f: (
            edit(f, '"rows": {"main": ', '"rows": {"main": 1', "run.json"),
            write_manifest(f, ["run.json"]),
        ),
        READINGS,
    ),
}


def rows_of(folder: Path) -> dict[str, int]:
    return {
        name: parquet.read_metadata(folder / f"record-{name}.parquet").num_rows for name in ("main", "aux")
    }


def finished(folder: Path, **about: Any) -> Path:
    """A run that passes, with the counts of its readings."""
    place = store(folder / "made", **about)
    data = json.loads((place / "run.json").read_text())
    (place / "run.json").write_text(json.dumps({**data, "rows": rows_of(place)}))
    (place / "events.json").write_text("[]\n")
    write_manifest(place)
    return place


def invoke(command: str, folder: Path, *more: str) -> tuple[int, str]:
    result = CliRunner().invoke(app, [command, str(folder), *more])
    return result.exit_code, " ".join(result.output.split())


def test_a_folder_as_the_run_left_it_passes_with_files_of_ones_own_beside(tmp_path: Path) -> None:
    place = finished(tmp_path)
    (place / "notes.txt").write_text("warm to the touch")
    (place / "photos").mkdir()
    (place / "photos" / "run.json.jpg").write_bytes(b"x")
    assert invoke("evaluate", place)[0] == 0
    assert invoke("evaluate", place)[0] == 0
    assert open_stored(place).differences == ()


@pytest.mark.parametrize("damage", DAMAGE)
def test_what_decides_and_is_not_as_the_run_left_it_withholds_a_pass(tmp_path: Path, damage: str) -> None:
    place = finished(tmp_path)
    act, named = DAMAGE[damage]
    act(place)
    code, said = invoke("evaluate", place)
    assert code == 5, said
    assert named in said.partition("no pass: ")[2]
    found = evaluate_run(open_stored(place), [])
    assert (found.outcome, named in found.withheld) == ("inconclusive", True)


def test_readings_that_were_never_folded_are_read_from_the_log(tmp_path: Path) -> None:
    """As after a disk that was full at the end: the log is listed, and holds as many as were taken."""
    place = finished(tmp_path)
    unlist(place, READINGS)
    (place / READINGS).unlink()
    code, said = invoke("evaluate", place)
    assert (code, READINGS in said, "log.ndjson" in said) == (0, True, True)


@pytest.mark.parametrize("hidden", [lambda f: None, unlist, lambda f: (f / MANIFEST).unlink()])
def test_a_loosened_limit_makes_no_pass_of_a_failed_run(
    tmp_path: Path, hidden: Callable[[Path], object]
) -> None:
    place = finished(tmp_path, requires=STRICT)
    assert invoke("evaluate", place)[0] == 1
    edit(place, "at_most: 100 mA", "at_most: 1 A")
    hidden(place)
    code, said = invoke("evaluate", place)
    assert code == 5
    assert "no pass" in said


def test_what_fails_is_still_told_of_a_changed_folder(tmp_path: Path) -> None:
    place = finished(tmp_path, requires=STRICT)
    unlist(place)
    assert invoke("evaluate", place)[0] == 1


def test_a_report_of_a_changed_folder_is_no_pass_in_any_of_its_files(tmp_path: Path) -> None:
    place = finished(tmp_path)
    assert invoke("evaluate", place)[0] == 0
    edit(place, "at_most: 1 A", "at_most: 2 A")
    assert invoke("report", place)[0] == 5
    data = json.loads((place / "report" / "report.json").read_text())
    assert (data["outcome"], PROCEDURE in data["evaluation"]["withheld"]) == ("inconclusive", True)
    suite = ET.parse(place / "report" / "report.junit.xml").getroot()
    errors = {case.get("name"): case.find("error") for case in suite.iter("testcase")}
    error = errors["the run's folder is whole and unchanged"]
    assert error is not None
    assert PROCEDURE in str(error.get("message"))
    assert (suite.get("errors"), suite.get("failures")) == ("1", "0")


def test_an_evaluation_of_a_changed_folder_is_no_pass_once_that_is_restored(tmp_path: Path) -> None:
    """Its results came from what had been changed."""
    place = finished(tmp_path)
    edit(place, "at_most: 1 A", "at_most: 2 A")
    assert invoke("evaluate", place)[0] == 5
    edit(place, "at_most: 2 A", "at_most: 1 A")
    assert open_stored(place).differences == ()
    assert invoke("report", place)[0] == 5
    assert invoke("evaluate", place)[0] == 0
    assert invoke("report", place)[0] == 0


def test_an_evaluation_that_was_edited_or_put_there_is_no_pass(tmp_path: Path) -> None:
    place = finished(tmp_path, requires=STRICT)
    assert invoke("evaluate", place)[0] == 1
    edited = shutil.copytree(place, tmp_path / "edited")
    edit(edited, '"fail"', '"pass"', "evaluations/01.json")
    put = shutil.copytree(place, tmp_path / "put")
    shutil.copy(edited / "evaluations/01.json", put / "evaluations/02.json")
    assert (invoke("report", edited)[0], invoke("report", put)[0]) == (5, 5)
    errors = ET.parse(put / "report" / "report.junit.xml").getroot().iter("error")
    assert ["evaluations/02.json" in str(error.get("message")) for error in errors] == [True]
    # The run's own readings are judged afresh, so nothing stands against that.
    assert (invoke("evaluate", edited)[0], invoke("report", edited)[0]) == (1, 1)


def test_an_evaluation_that_was_taken_away_is_missed(tmp_path: Path) -> None:
    place = finished(tmp_path)
    assert [invoke("evaluate", place)[0] for _ in range(3)] == [0, 0, 0]
    (place / "evaluations/01.json").unlink()
    assert invoke("report", place)[0] == 0
    (place / "evaluations/03.json").unlink()
    assert invoke("report", place)[0] == 5
    assert invoke("evaluate", place)[0] == 0
    assert sorted(each.name for each in (place / "evaluations").iterdir()) == ["02.json", "03.json"]
    assert invoke("report", place)[0] == 0


def test_a_document_that_is_read_from_outside_the_folder_is_the_one_of_the_run(tmp_path: Path) -> None:
    """An absolute path in a document points to where it did, and that may have changed since."""
    place = finished(tmp_path)
    bench = tmp_path / "made" / "bench.yaml"
    edit(place, "../bench.yaml", str(bench))
    write_manifest(place)
    assert invoke("evaluate", place)[0] == 0
    bench.write_text(bench.read_text() + "# later\n")
    code, said = invoke("evaluate", place)
    assert (code, "documents/bench.yaml" in said.partition("no pass: ")[2]) == (5, True)


def test_a_recording_that_an_evaluation_used_and_was_changed_since_is_no_pass(tmp_path: Path) -> None:
    place = finished(tmp_path)
    evaluate_run(open_stored(place), [])
    path = place / "evaluations" / "01.json"
    data = json.loads(path.read_text())
    (place / "recordings").mkdir()
    scope = place / "recordings" / "01-scope.csv"
    scope.write_text("time_s,main_voltage_V\n" + "".join(f"{n / 100},12\n" for n in range(100)))
    used = [{"recorder": "scope", "file": "recordings/01-scope.csv", "keys": ""}]
    path.write_text(json.dumps({**data, "recordings": used, "offsets": [0.0]}))
    write_manifest(place)
    assert [each.outcome for each in evaluations_of(open_stored(place))[0]] == ["pass"]
    unlist(place, "recordings/01-scope.csv")
    (found,), _ = evaluations_of(open_stored(place))
    assert (found.outcome, "recordings/01-scope.csv" in found.withheld) == ("inconclusive", True)
    write_manifest(place)
    scope.write_text(scope.read_text().replace("0.5,12\n", "0.5,11\n"))
    assert evaluations_of(open_stored(place))[0][0].outcome == "inconclusive"


@pytest.mark.parametrize("name", [READINGS, "settings.json", "events.json", "log.ndjson"])
@pytest.mark.parametrize("what", ["taken away", "changed"])
def test_a_file_that_went_after_the_run_was_read_is_a_doubt(tmp_path: Path, name: str, what: str) -> None:
    place = finished(tmp_path)
    stored = open_stored(place)
    assert evaluate_run(stored, []).unsound == ()
    if what == "changed":
        (place / name).write_bytes((place / name).read_bytes() + b"\n")
    else:
        (place / name).unlink()
    found = evaluate_run(stored, [])
    assert (found.outcome, any(name in line for line in found.unsound)) == ("inconclusive", True)
    assert json.loads((place / "evaluations" / "02.json").read_text())["unsound"] == list(found.unsound)


def test_readings_that_are_no_numbers_are_reported_as_inconclusive(tmp_path: Path) -> None:
    turns = "  - {name: four, measure: turn_off_voltage, of: main, during: sweep, between: 7 V .. 8 V}\n"
    place = finished(tmp_path, requires=REQUIRES + turns)

    def no_numbers(table: pa.Table) -> pa.Table:
        for name in ("main_voltage_V", "main_current_A"):
            place = table.column_names.index(name)
            table = table.set_column(place, name, pa.array(np.full(table.num_rows, np.nan)))
        return table

    rewrite(place, no_numbers)
    assert (invoke("evaluate", place)[0], invoke("report", place)[0]) == (5, 5)


def test_a_report_that_fails_says_that_the_earlier_one_stays(tmp_path: Path) -> None:
    place = finished(tmp_path)
    assert invoke("report", place)[0] == 0
    (place / READINGS).write_bytes(b"PAR1 not really")
    code, said = invoke("report", place)
    assert code == 2
    assert "report.junit.xml there are of an earlier one" in said
    code, said = invoke("report", tmp_path)
    assert (code, "earlier" in said) == (2, False)


@pytest.mark.parametrize("written", [0, 3])
def test_a_disk_that_is_full_leaves_nothing_half_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, written: int
) -> None:
    """The files of a report are replaced together or not at all; the one that has no room is named."""
    place = finished(tmp_path)
    assert (invoke("evaluate", place)[0], invoke("report", place)[0]) == (0, 0)
    before = {path: path.read_bytes() for path in place.rglob("*") if path.is_file()}
    count = iter(range(100))

    def full(descriptor: int) -> None:
        if next(count) >= written:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    for command in ("report", "evaluate"):
        with monkeypatch.context() as patched:
            patched.setattr("railwright.records.manifest.os.fsync", full)
            code, said = invoke(command, place)
        assert (code, said.count("No space left on device"), "Traceback" in said) == (2, 1, False)
        assert str(place.name) in said
        assert {path: path.read_bytes() for path in place.rglob("*") if path.is_file()} == before
