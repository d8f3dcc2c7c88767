"""Files of a report in its folder, and that starting up stays light."""

from __future__ import annotations

import json
import subprocess
import sys
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import pytest

from railwright.report import ReportInput, build_report
from railwright.traces import Record


def test_everything_is_written_and_nothing_half(written: Path) -> None:
    names = sorted(path.relative_to(written).as_posix() for path in written.rglob("*") if path.is_file())
    assert names == [
        "figures/01-first-power.svg",
        "figures/02-steady.svg",
        "figures/03-line-sweep.svg",
        "figures/04-brown-out.svg",
        "figures/05-power-down-step-5.svg",
        "report.json",
        "report.junit.xml",
        "report.pdf",
        "wiring.svg",
    ]
    assert (written / "report.pdf").read_bytes().startswith(b"%PDF-")
    for name in names:
        if name.endswith((".svg", ".xml")):
            ET.parse(written / name)


def test_all_files_carry_the_same_id(written: Path) -> None:
    report = json.loads((written / "report.json").read_text())["report_id"]
    properties = ET.parse(written / "report.junit.xml").getroot().iter("property")
    assert report in {p.get("value") for p in properties}


def test_a_second_report_replaces_the_first(given: ReportInput, tmp_path: Path) -> None:
    bare = replace(given, measured=Record("supply readings", {}), rehearsal=None, external=())
    first = build_report(bare, tmp_path / "new" / "report")
    content = first.read_bytes()
    assert build_report(bare, tmp_path / "new" / "report").read_bytes() == content


def test_a_folder_that_cannot_be_made_is_an_error(given: ReportInput, tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file")
    bare = replace(given, measured=Record("supply readings", {}), rehearsal=None, external=())
    with pytest.raises(OSError, match="taken"):
        build_report(bare, tmp_path / "taken")


def test_importing_the_package_loads_no_heavy_library() -> None:
    heavy = "numpy", "matplotlib", "typst", "schemdraw", "pint"
    code = f"import sys, railwright.report; print([m for m in {heavy!r} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
