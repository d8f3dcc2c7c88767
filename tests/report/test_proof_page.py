"""The page of a proved bench: its figures, its outcome, and lines to sign; any text is set as it stands."""

from __future__ import annotations

import datetime as dt
import subprocess
from pathlib import Path

import pytest

from railwright.documents.bench import Calibration
from railwright.documents.output_name import OutputName
from railwright.instruments.supply import Identity
from railwright.proving.bench import BenchProofRecord, ProvedStage, UsedInstrument
from railwright.proving.lines import ProofLine, ProvedFigure
from railwright.report.proof_page import entry_of, proof_content, proof_pdf

AT = dt.datetime(2026, 11, 29, 12, 30, tzinfo=dt.UTC)
GOOD = (
    ProofLine("provoked: on", "3 V, 0.45 A", seen="on, 3 V, 0 A, on, CV"),
    ProofLine("level", "12 V", "V", (ProvedFigure("set point of left.1", 12.0, 0.01),)),
    ProofLine("drop along the lead", "1 A", "ohm", (ProvedFigure("lead", 0.072, 0.003),), 0.07, 0.073),
)
BAD = ProofLine(
    "trip delay", "200 ms", "s", (ProvedFigure("after", 0.4, 1e-3),), 0.17, 0.23, False, "it is slow"
)
OPEN = ProofLine("remote sense", "3 V", passed=None, why="the OVP was not seen to act")


def record(
    *lines: ProofLine, maker: str = "Invented", bench: str = "Quay bench", **more: str
) -> BenchProofRecord:
    calibrated = Calibration.model_validate({"on": "2025-03-02", "due": "2026-03-02", "certificate": "QB-1"})
    used = UsedInstrument("left", "supply", Identity(maker, "QS-362", "Q-0117", "1.4"), calibrated)
    stage = ProvedStage(OutputName("left.1"), "silicone pair", lines, more.get("not_confirmed", ""))
    return BenchProofRecord(
        "P-20261129-123000-ab12", bench, "A. Keeper", AT, dt.date(2027, 11, 29), (stage,), (used,), ()
    )


def test_what_passed_is_due_again_and_has_its_entry() -> None:
    made = record(*GOOD)
    content = proof_content(made)
    assert (content["passed"], content["due"], content["found"]) == (True, "2027-11-29", [])
    assert entry_of(made) == "proved: {on: 2026-11-29, due: 2027-11-29, record: P-20261129-123000-ab12}"
    (stage,) = content["stages"]
    assert [row["word"] for row in stage["rows"]] == ["pass"] * 3
    assert stage["rows"][2]["between"].replace("\u00a0", " ") == "70 mΩ to 73 mΩ"
    assert content["instruments"][0]["state"] == "overdue"


@pytest.mark.parametrize(
    "made",
    [record(*GOOD, BAD), record(*GOOD, not_confirmed="left.1: lost"), record(*GOOD, maker="Railwright")],
)
def test_what_was_found_or_is_not_off_or_is_simulated_has_no_entry(made: BenchProofRecord) -> None:
    assert entry_of(made) == ""
    assert bool(proof_content(made)["due"]) is made.passed


def test_outcomes_are_told_by_shape_and_word() -> None:
    content = proof_content(record(*GOOD, BAD, OPEN))
    assert [(row["shape"], row["word"]) for row in content["stages"][0]["rows"][-2:]] == [
        ("cross", "found"),
        ("dash", "not judged"),
    ]
    assert len(content["found"]) == len(content["unjudged"]) == 1


@pytest.mark.parametrize("bench", ["Quay bench", "#panic[x] $ \\ ` * _ <a> @b", "桟橋", "\U00013000"])
def test_any_text_is_set_as_it_stands(tmp_path: Path, bench: str) -> None:
    made = record(*GOOD, BAD, OPEN, bench=bench)
    pdf = proof_pdf(made)
    assert pdf == proof_pdf(made)
    path = tmp_path / "proof.pdf"
    path.write_bytes(pdf)
    text = subprocess.run(
        ["pdftotext", "-layout", path, "-"], capture_output=True, text=True, check=True
    ).stdout
    for wanted in (
        "Proof of outputs and leads",
        "P-20261129-123000-ab12",
        "Proved by",
        "Checked by",
        "Signature",
    ):
        assert wanted in text
    assert text.count("Signature") == text.count("Date") == 2
    if bench.isascii():
        assert bench in text
