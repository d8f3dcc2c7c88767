"""The comparison of two trees finds a changed constant, and overlooks a changed sentence."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from random import Random

import pytest
from benchmarks.same_outcomes import loads
from benchmarks.same_outcomes.comparing import Outcome, differences
from benchmarks.same_outcomes.documents import Documents, example, loaded, yaml_text
from benchmarks.same_outcomes.drawing import EXAMPLES, draw
from benchmarks.same_outcomes.edits import apply, pairs
from benchmarks.same_outcomes.runs import KINDS, draw_runs
from benchmarks.same_outcomes.twists import TWISTS

ROOT = Path(__file__).parents[1]
SOURCE = ROOT / "src"
FOUND = {"rule": "ovp-close", "severity": "caution", "why": "300 mV above", "where": {"line": 3, "column": 7}}
GOOD = Outcome(0, {"findings": [FOUND, {**FOUND, "rule": "off-grid"}], "assumptions": ["a", "b"]}, ())


def paths(after: Outcome) -> list[str]:
    return [each.path for each in differences(GOOD, after)]


def changed(**what: object) -> Outcome:
    """The same with another first finding."""
    return replace(GOOD, data={**GOOD.data, "findings": [{**FOUND, **what}, GOOD.data["findings"][1]]})


def test_sentences_are_left_out_and_nothing_else() -> None:
    assert paths(GOOD) == []
    assert paths(changed(why="0.3 V above the highest voltage")) == []
    assert paths(changed(why="")) == ["findings[0].why"]
    assert paths(changed(severity="stop")) == ["findings[0].severity"]
    assert paths(changed(where={"line": 3, "column": 8})) == ["findings[0].where.column"]
    assert paths(changed(where=None)) == ["findings[0].where"]
    assert paths(changed(blocks=False)) == ["findings[0]{}"]
    assert paths(replace(GOOD, code=3)) == ["exit code"]
    assert paths(replace(GOOD, places=("a.yaml:1:2",))) == ["places[]"]
    other = {**GOOD.data, "findings": GOOD.data["findings"][::-1], "assumptions": ["c", "d"]}
    assert paths(replace(GOOD, data=other)) == ["findings[] order"]
    assert paths(changed(rule="ovp-range")) == ["findings[0].rule"]
    more = {**GOOD.data, "findings": [{**FOUND, "rule": "ovp-range"}, *GOOD.data["findings"]]}
    assert [(each.kind, each.before) for each in differences(GOOD, replace(GOOD, data=more))] == [
        ("findings[] - ->", "-")
    ]
    assert paths(replace(GOOD, data={**GOOD.data, "assumptions": ["a"]})) == ["assumptions"]


def test_a_figure_differs_by_its_last_digit() -> None:
    one, other = (Outcome(0, {"peak": value}, ()) for value in (0.1 + 0.2, 0.3))
    assert [each.before for each in differences(one, other)] == ["0.30000000000000004"]
    assert [each.path for each in differences(one, Outcome(0, {"peak": None}, ()))] == ["peak"]


@pytest.mark.parametrize("number", range(0, 200, 9))
def test_a_job_is_drawn_alike_every_time(number: int) -> None:
    job, again = draw(5, number), draw(5, number)
    assert job == again
    assert job.files != draw(6, number).files
    assert {"device.yaml", "bench.yaml", "procedure.yaml"} <= set(job.files)
    assert [each[0] for each in job.commands[:2]] == ["check", "rehearse"]


def test_what_is_written_is_read_back_as_it_was() -> None:
    data = {"a b": ["12 V .. 16 V", "-5 V", "1: 2", "#x", "", {"k": [{"x": "70 %", "y": []}, "no"]}], "c": {}}
    for seed in range(40):
        assert loaded(yaml_text(Random(seed), data)) == data


def test_every_twist_is_in_the_jobs_and_changes_the_documents() -> None:
    placed = [twist for pair in pairs(3) for twist in pair]
    assert sorted(placed) == sorted(TWISTS)
    assert len(pairs(3)) <= 130  # of the 200 jobs that the benchmark plays
    for name, *edits in TWISTS:
        plain, twisted = (example(EXAMPLES / "tide-gauge") for _ in range(2))
        apply(twisted, Random(1), tuple(edits))
        assert _data(plain) != _data(twisted), f"{name}: {edits}"


def _data(documents: Documents) -> tuple[object, ...]:
    return documents.device, documents.bench, documents.procedure


def test_a_kind_of_load_without_a_drawing_of_its_own_is_one_of_its_examples(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """12 V by 0.05 A are 240 ohm, a hundredth of it in henries 2.4 H."""
    monkeypatch.delitem(loads.LOADS, "coil")
    drawn = loads.load(Random(1), "coil", 12.0, 0.05, Documents({}, {}, {}))
    assert drawn == {"coil": {"resistance": "240.0 ohm", "inductance": "2.4 H"}}


def test_every_kind_of_run_is_drawn() -> None:
    assert [run.kind for run in draw_runs(1, len(KINDS))] == list(KINDS)


def compared(after: Path, *options: str) -> tuple[int, list[str]]:
    """Exit code and lines of a comparison with the tree itself."""
    command = [
        sys.executable,
        "-m",
        "benchmarks.same_outcomes",
        "--before",
        str(SOURCE),
        "--after",
        str(after),
    ]
    environment = {**os.environ, "PYTHONPATH": str(SOURCE)}
    ended = subprocess.run(
        [*command, "--static", "--jobs", "3", *options],
        cwd=ROOT, env=environment, capture_output=True, text=True, timeout=300,
    )  # fmt: skip
    assert ended.returncode in (0, 1), ended.stderr
    return ended.returncode, ended.stdout.splitlines()


def test_a_changed_constant_is_found_and_a_changed_sentence_is_not(tmp_path: Path) -> None:
    settings = tmp_path / "railwright" / "settings"
    shutil.copytree(SOURCE / "railwright", tmp_path / "railwright")
    edit(
        settings / "rules" / "leads.py",
        "with its sense leads reversed or shorted, ",
        "with its sense leads turned round, ",
    )
    code, lines = compared(tmp_path)
    assert (code, lines[-1]) == (0, "3 jobs and 0 stored runs compared, 3 commands: 0 differences")
    assert any(line.startswith("rules: ") and "sense-faults" in line for line in lines)
    measures = tmp_path / "railwright" / "measures"
    edit(measures / "start_up_time.py", "\nCURRENT_BAND = 0.10\n", "\nCURRENT_BAND = 0.05\n")
    code, lines = compared(tmp_path)
    assert code == 1
    found = [line for line in lines if line.startswith("000 check --static: ")]
    assert any(".value: " in line and " -> " in line for line in found)
    assert not any("why" in line for line in found)
    assert int(lines[-1].split()[-2]) >= len(found) > 0


def edit(path: Path, old: str, new: str) -> None:
    source = path.read_text("utf-8")
    assert source.count(old) == 1
    path.write_text(source.replace(old, new), "utf-8")
