"""The sheet: what stands on it agrees with the documents, wire by wire, and it is one page."""

from __future__ import annotations

import datetime as dt
import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from tests.report.conftest import DEMO_FOLDER

from railwright.documents.loader import Documents, load_documents
from railwright.report.sheet import in_order, sheet_of, wires
from railwright.report.sheet_page import sheet_pdf, sheet_svg
from railwright.settings.context import sources_of
from railwright.settings.settle import settle

MADE = dt.datetime(2026, 11, 25, 12, 0, tzinfo=dt.UTC)
TRANSDUCER = "transducer: {from: right.1, lead: thin pair, sense: at terminals}"
SERIES = {
    TRANSDUCER: "transducer: {from: {series: [left.1, left.2]}, lead: thin pair, sense: at load}",
    "main:       {from: left.1,": "main: {from: right.1,",
    "current_limit: 1 A": "current_limit: 0.9 A",
}
PARALLEL = {"main:       {from: left.1,": "main: {from: {parallel: [left.1, left.2]},"}


def changed(folder: Path, changes: dict[str, str]) -> Documents:
    for path in DEMO_FOLDER.glob("*.*.yaml"):
        text = path.read_text("utf-8")
        for old, new in changes.items() if "procedure" in path.name else ():
            assert text.count(old) == 1
            text = text.replace(old, new)
        (folder / path.name).write_text(text, "utf-8")
    return load_documents(folder / "power-input.procedure.yaml")


def data_of(documents: Documents) -> dict[str, Any]:
    return sheet_of(documents, settle(documents, MADE.date()), MADE.date())


def text_of(data: dict[str, Any], folder: Path) -> tuple[int, str]:
    """Pages and text of the PDF, through a tool that knows nothing of typst (poppler)."""
    tool = shutil.which("pdftotext")
    assert tool, "pdftotext (poppler-utils) is needed by the tests; `make test` installs it"
    path = folder / "sheet.pdf"
    path.write_bytes(sheet_pdf(data, MADE))
    done = subprocess.run([tool, "-layout", str(path), "-"], capture_output=True, text=True, check=True)
    return done.stdout.count("\f"), re.sub(r"\s+", " ", done.stdout.replace("\u200b", ""))


def test_every_wire_of_the_demo_is_there_and_no_other(documents: Documents) -> None:
    assert list(wires(documents)) == [
        "Lead 'silicone pair' (AWG 18, 1.5 m for each conductor, up to 8 A): left.1 + to main +; left.1 − to "
        "main −.",
        "Sense leads, a twisted pair: left.1 s+ to main +, left.1 s− to main −, at the input's connector.",
        "Lead 'thin pair' (0.5 mm² class 5, 2 m for each conductor, up to 3 A): right.1 + to transducer +; "
        "right.1 − to transducer −.",
        "Sense of right.1: s+ to +, s− to −, at the output itself (links, or the output's setting).",
        "Inside the device the − of main and transducer are joined (0 V): join nothing outside.",
        "Nothing is tied to earth: outputs and device float.",
    ]


def test_a_series_pair_has_its_link_and_senses_at_the_ends_of_the_chain(tmp_path: Path) -> None:
    words = " ".join(wires(changed(tmp_path, SERIES)))
    assert "Link (0.5 mm² class 5 or thicker): left.1 − to left.2 +." in words
    assert "left.1 + to transducer +; left.2 − to transducer −." in words
    assert "left.1 s+ to transducer +, left.2 s− to transducer −" in words
    assert "inside the chain to their own output's terminals: left.1 s−, left.2 s+." in words


def test_a_parallel_pair_has_its_links_and_all_of_it_senses_at_the_load(tmp_path: Path) -> None:
    words = " ".join(wires(changed(tmp_path, PARALLEL)))
    assert "left.1 + and left.2 + joined." in words
    assert "left.1 − and left.2 − joined." in words
    assert "the joined + to main +; the joined − to main −." in words
    assert "left.1 s+ and left.2 s+ to main +, left.1 s− and left.2 s− to main −" in words


def test_what_to_dial_in_is_what_a_run_would_set(documents: Documents) -> None:
    table = data_of(documents)["dial"]
    assert table["head"] == ["left.1", "right.1"]
    rows = {row[0]: [cell.replace("\u00a0", " ") for cell in row[1:]] for row in table["rows"]}
    assert rows["OVP"] == ["18 V", "30 V"]
    assert rows["current limit"] == ["1 A", "0.1 A"]
    assert rows["at the current limit"] == ["trips after 40 ms", "trips after 60 ms"]
    assert rows["sense"] == ["at the load (external)", "at its terminals"]
    assert rows["voltage, once on"] == ["12 V", "24 V"]
    assert rows["rise"] == ["2 V/ms", "2 V/ms"]
    assert next(iter(rows)) == "OVP"
    assert list(rows)[-1] == "voltage, once on"


def test_outputs_in_series_carry_their_shares_and_parallel_ones_their_part_of_the_current(
    tmp_path: Path,
) -> None:
    (tmp_path / "s").mkdir()
    (tmp_path / "p").mkdir()
    series = {row[0]: row[1:] for row in data_of(changed(tmp_path / "s", SERIES))["dial"]["rows"]}
    assert [cell.replace("\u00a0", " ") for cell in series["voltage, once on"]] == ["12 V", "12 V", "12 V"]
    assert [cell.replace("\u00a0", " ") for cell in series["rise"]] == ["2 V/ms", "1 V/ms", "1 V/ms"]
    parallel = {row[0]: row[1:] for row in data_of(changed(tmp_path / "p", PARALLEL))["dial"]["rows"]}
    assert [cell.replace("\u00a0", " ") for cell in parallel["current limit"]] == ["0.5 A", "0.5 A", "0.1 A"]


def test_the_order_is_that_of_the_procedure_and_every_input_is_verified(documents: Documents) -> None:
    settings = settle(documents, MADE.date())
    sources, _ = sources_of(documents)
    power_up = documents.procedure.steps[0].power_up
    lines = list(in_order(documents, settings.set_points, sources, power_up))
    up = [n for n, line in enumerate(lines) if " on, " in line]
    assert [lines[n].split(" on,")[0] for n in up] == ["left.1", "50 ms later: right.1"]
    assert lines[up[0] + 1].startswith("Verify main: 12 V ± 14 mV at the connector, 0.303 A to 0.398 A")
    assert "Off in this order, 20 ms apart: right.1, then left.1." in lines
    assert "Should main trip, switch transducer off at once: linked trip." in lines


@pytest.mark.parametrize("changes", [{}, SERIES, PARALLEL])
def test_it_is_one_page_with_all_of_its_words(changes: dict[str, str], tmp_path: Path) -> None:
    data = data_of(changed(tmp_path, changes))
    count, text = text_of(data, tmp_path)
    assert count == 1
    for words in ("set-up sheet", "Wires", "Dial in", "In this order", "Cautions", "join nothing outside"):
        assert words in text
    for row in data["dial"]["rows"]:
        assert row[0] in text
    assert sheet_svg(data).count("<svg") >= 1


def test_what_must_not_be_energised_stands_on_top(tmp_path: Path) -> None:
    data = data_of(changed(tmp_path, {"ovp: 18 V": "ovp: 30 V"}))
    assert data["blocked"]
    count, text = text_of(data, tmp_path)
    assert count == 1
    assert "Must not be energised like this." in text


def test_text_of_a_user_is_never_markup(documents: Documents, tmp_path: Path) -> None:
    data = {**data_of(documents), "subject": '#eval("1") $x$ *b* <tag> [#lorem(9)]', "paper": "a4"}
    _, text = text_of(data, tmp_path)
    assert '#eval("1") $x$ *b* <tag> [#lorem(9)]' in text


def test_a_tall_drawing_stands_beside_the_words_on_one_page(tmp_path: Path) -> None:
    """Six inputs from eight outputs, in series, in parallel and alone."""
    text = (DEMO_FOLDER / "quay.bench.yaml").read_text("utf-8")
    begin, end = text.index("  left:"), text.index("  right:")
    left = text[begin:end]
    supplies = [
        left.replace("  left:", f"  {name}:").replace("5025", str(port)).replace("Q-0117", f"Q-{port}")
        for port, name in enumerate("abcdef", start=6000)
    ]
    bench = text[:begin] + "".join(supplies) + text[text.index("recorders:") :]
    (tmp_path / "b.yaml").write_text(bench, "utf-8")
    given = (
        "    {nominal: 12 V, operating: 9 V .. 16 V, withstands: [{voltage: 20 V}], current: {at_most: 4 A}, "
        "return: common, load: [{resistor: {resistance: 24 ohm}}]}\n"
    )
    sources = ("a.1", "{series: [b.1, b.2]}", "{parallel: [c.1, c.2]}", "d.1", "e.1", "f.1")
    names = [f"input {number}" for number in range(1, 7)]
    inputs = "".join(f"  {n}:\n{given}" for n in names)
    (tmp_path / "d.yaml").write_text(f"device: Six\ninputs:\n{inputs}", "utf-8")
    hook_up = "".join(
        f"  {n}: {{from: {s}, lead: thin pair, sense: at load}}\n"
        for n, s in zip(names, sources, strict=True)
    )
    limits = "".join(f"  {n}: {{current_limit: 1 A, at_limit: regulate, ovp: 18 V}}\n" for n in names)
    (tmp_path / "p.yaml").write_text(
        f"procedure: All\ndevice: d.yaml\nbench: b.yaml\nhook_up:\n{hook_up}limits:\n{limits}steps:\n"
        f"  - power_up: {{order: [{', '.join(names)}], gap: 50 ms}}\nrecord: {{every: 10 ms}}\n",
        "utf-8",
    )
    data = data_of(load_documents(tmp_path / "p.yaml"))
    count, words = text_of(data, tmp_path)
    assert count == 1
    for name in names:
        assert f"Verify {name}:" in words
    for output in ("a.1", "b.2", "c.2", "f.1"):
        assert output in words
    assert words.count("Too quick by hand") == 1
    assert words.count("can reach") == 1  # told once, with the inputs for which it holds too


def test_a_negative_rail_is_wired_to_0_v_and_minus(documents: Documents) -> None:
    """Its 0 V is where the output's + goes; nothing on the sheet may send anybody to another terminal."""
    rail = documents.device.inputs["transducer"].model_copy(update={"rail": "negative"})
    device = documents.device.model_copy(update={"inputs": {**documents.device.inputs, "transducer": rail}})
    lines = list(wires(replace(documents, device=device)))
    (lead,) = [line for line in lines if line.startswith("Lead 'thin pair'")]
    assert "right.1 + to transducer 0 V; right.1 − to transducer −." in lead
    assert (
        "Inside the device the − of main and the 0 V of transducer are joined (0 V): join nothing outside."
        in lines
    )
