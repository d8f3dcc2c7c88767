"""Dialects that do not come with the package: where they are looked for, what is said of a wrong one."""

from __future__ import annotations

import threading
import time
from pathlib import Path

import pytest
from tests.truth.saying import station

from railwright.dialects import files
from railwright.dialects.files import dialect_text
from railwright.documents.sources import DocumentErrors
from railwright.examples import example
from railwright.job import Job
from railwright.running.off_bench import read_bench

PROCEDURE = (example() / "power-input.procedure.yaml").read_text("utf-8")
LEFT = "dialect: channel-list"
OWN = (
    dialect_text("channel-list")
    .replace(LEFT, "dialect: mine", 1)
    .replace("SOURce:VOLTage\n", "SOURce:VOLT\n", 1)
)


def bench_of(folder: Path, written: str) -> Path:
    return station(folder, PROCEDURE, {"quay.bench.yaml": [(LEFT, f"dialect: {written}")]})


@pytest.mark.parametrize(
    ("written", "place"),
    [
        # Each plays the example; one of them between two edits.
        pytest.param("speech/mine.yaml", "speech/mine.yaml", marks=pytest.mark.slow),
        pytest.param("mine", "mine.dialect.yaml", marks=pytest.mark.slow),
        pytest.param("mine", "user/dialects/mine.yaml", marks=pytest.mark.slow),
        ("mine", "other/package.yaml"),
    ],
)
def test_it_is_found_used_and_kept_with_the_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, written: str, place: str
) -> None:
    """Also where the user's folder is gone when the run is read again."""
    documents, elsewhere = tmp_path / "documents", tmp_path / "elsewhere"
    file = (documents if not place.startswith(("user", "other")) else elsewhere) / place
    file.parent.mkdir(parents=True)
    file.write_text(OWN, "utf-8")
    monkeypatch.setenv(files.USER_FOLDER, str(elsewhere / "user"))
    if place.startswith("other"):
        monkeypatch.setattr(files, "_of_packages", lambda name: file if name == "mine" else None)
    path = bench_of(documents, written)
    left = Job.open(path).documents.bench.supplies["left"]
    assert left.dialect.name == "mine"
    assert left.dialect.set_unit("voltage", 1, 5.0) == "SOURce:VOLT 5,(@1)"
    assert len(left.dialect.digest) == 64
    run = Job.open(path).check(static=True).run(unit="S", operator="O", folder=tmp_path / "run", twins=True)
    assert run.outcome is not None
    assert run.outcome.off_confirmed
    if file.is_relative_to(elsewhere):
        file.unlink()
        monkeypatch.setattr(files, "_of_packages", lambda name: None)
        again = Job.open(next((tmp_path / "run" / "documents").rglob("*.procedure.yaml")))
        assert again.documents.bench.supplies["left"].dialect.digest == left.dialect.digest


@pytest.mark.parametrize(
    ("written", "place"), [("speech/mine.yaml", "speech/mine.yaml"), ("mine", "mine.dialect.yaml")]
)
def test_what_switches_off_reads_the_same_file(tmp_path: Path, written: str, place: str) -> None:
    (tmp_path / place).parent.mkdir(parents=True, exist_ok=True)
    (tmp_path / place).write_text(OWN.replace("output: OUTPut:STATe", "output: OUTPut", 1), "utf-8")
    bench_of(tmp_path, written)
    left, _ = read_bench((tmp_path / "quay.bench.yaml").read_text("utf-8"), tmp_path)
    assert [each.off.off for each in left.outputs if each.off] == [("OUTPut OFF,(@1)",), ("OUTPut OFF,(@2)",)]


@pytest.mark.parametrize(
    ("written", "text", "told"),
    [
        ("speech.yaml", None, "quay.bench.yaml:11:14: expected a dialect in 'speech.yaml', got no such file"),
        ("spoken", None, "quay.bench.yaml:11:14: expected one of the dialects"),
        ("/speech.yaml", None, "quay.bench.yaml:11:14: expected a path relative to this document"),
        ("speech.yaml", "dialect: x\naddressing: telepathy\n", "speech.yaml:2:13: expected 'none', "),
        (
            "speech.yaml",
            OWN.replace("SOURce:VOLT\n", "SOURce:{volts}\n", 1),
            "{channel} or {value} in braces",
        ),
        (
            "mine",
            OWN.replace("dialect: mine", "dialect: yours", 1),
            "expected 'dialect: mine', as the file is called",
        ),
    ],
)
def test_what_is_wrong_is_said_at_its_place(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, written: str, text: str | None, told: str
) -> None:
    path = bench_of(tmp_path, written)
    if text is not None:
        (tmp_path / (written if written.endswith(".yaml") else f"{written}.dialect.yaml")).write_text(
            text, "utf-8"
        )
    monkeypatch.chdir(tmp_path)
    with pytest.raises(DocumentErrors) as raised:
        Job.open(path.name)
    assert told in str(raised.value)


def test_a_dialect_that_is_looked_for_without_end_leaves_no_other_supply_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another package's code may hang, or end in any error."""
    over = threading.Event()

    def endless(_: str) -> Path | None:
        over.wait(30.0)
        return None

    def faulty(_: str) -> Path | None:
        raise RuntimeError("not ours")

    monkeypatch.setenv(files.USER_FOLDER, str(tmp_path / "none"))
    bench_of(tmp_path, "elsewhere")
    text = (tmp_path / "quay.bench.yaml").read_text("utf-8")
    try:
        for number, given in enumerate((endless, faulty)):
            monkeypatch.setattr(files, "_of_packages", given)
            began = time.monotonic()
            left, right = read_bench(text.replace("elsewhere", f"elsewhere-{number}"), tmp_path)
            assert time.monotonic() - began < 5.0
            assert (left.plan, right.plan is None) == (None, False)
            assert all("elsewhere" in each.fault for each in left.outputs)
    finally:
        over.set()
