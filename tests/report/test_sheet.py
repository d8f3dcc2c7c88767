"""The sheet: what stands on it agrees with the documents, wire by wire, and it is one page."""

from __future__ import annotations

import datetime as dt
import re
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest
from tests.bench import BENCH, EXAMPLE, PROCEDURE, copy_demo
from tests.report.hook_ups import PARALLEL, SERIES, changed

from railwright.documents.loader import Documents, load_documents
from railwright.quantities import state
from railwright.report.sheet import _cautions, _key, sheet_of
from railwright.report.sheet_page import sheet_pdf, sheet_svg
from railwright.settings.findings import Finding, Severity
from railwright.settings.rules import all_rules
from railwright.settings.settle import settle

MADE = dt.datetime(2026, 11, 25, 12, 0, tzinfo=dt.UTC)


def data_of(documents: Documents) -> dict[str, Any]:
    return sheet_of(documents, settle(documents, MADE.date()), MADE.date())


def text_of(data: dict[str, Any], folder: Path) -> tuple[int, str]:
    """Pages and text of the PDF, through a tool that knows nothing of typst (poppler)."""
    tool = shutil.which("pdftotext")
    assert tool, "pdftotext (poppler-utils) is needed by the tests; `make test` installs it"
    path = folder / "sheet.pdf"
    path.write_bytes(sheet_pdf(data, MADE))
    done = subprocess.run([tool, str(path), "-"], capture_output=True, text=True, check=True)
    return done.stdout.count("\f"), re.sub(r"\s+", " ", done.stdout.replace("\u200b", ""))


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


UP = "  - power_up: {order: [main, transducer], gap: 50 ms, rise: 2 V/ms, settle: 150 ms}\n"


@pytest.mark.parametrize(
    ("steps", "rises", "volts"),
    [
        (
            "  - power_up: {order: [main], rise: 2 V/ms}\n"
            "  - power_up: {order: [transducer], rise: 1 V/ms}\n",
            ["2 V/ms", "1 V/ms"],
            ["12 V", "24 V"],
        ),
        (
            "  - power_up: {order: [transducer], voltages: {transducer: 20 V}}\n"
            "  - power_up: {order: [main], rise: 500 V/s}\n",
            ["0.5 V/ms", "—"],
            ["12 V", "20 V"],
        ),
        (
            "  - power_up: {order: [main, transducer], voltages: {transducer: 0 V}, rise: 1 V/ms}\n"
            "  - shape: {input: transducer, segments: [{line_to: 10 V, over: 1 s}, {hold: 1 s}]}\n",
            ["1 V/ms", "by stages"],
            ["12 V", "0 V, by stages up to 10 V"],
        ),
    ],
)
def test_each_column_has_the_rise_and_the_voltage_of_its_own_power_up(
    steps: str, rises: list[str], volts: list[str], tmp_path: Path
) -> None:
    table = data_of(changed(tmp_path, {UP: steps}))["dial"]
    rows = {row[0]: [cell.replace("\u00a0", " ") for cell in row[1:]] for row in table["rows"]}
    assert rows["rise"] == rises
    assert rows["voltage, once on"] == volts


def test_a_channel_stands_where_it_is_not_the_output_s_name(tmp_path: Path) -> None:
    plain = data_of(changed(tmp_path, {}))["dial"]["under"]
    assert plain[0].replace("\u200b", "").startswith("output 1 of QS-362")
    (tmp_path / "quay.bench.yaml").write_text(
        (tmp_path / "quay.bench.yaml").read_text().replace("      1:\n", "      1:\n        channel: 3\n", 1)
    )
    under = data_of(load_documents(tmp_path / "power-input.procedure.yaml"))["dial"]["under"]
    assert under[0].replace("\u200b", "").startswith("output 1 (channel 3) of QS-362")


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


def test_limits_that_move_together_are_dialled_in_an_order_that_takes_them_there(tmp_path: Path) -> None:
    """1 A of 2.5 A and 0.4 A of 1.5 A, by step: up until the narrower one stands at 1.5 A and the other one
    0.6 A higher, and down by 1.1 A.
    """
    path = copy_demo(
        tmp_path,
        (PROCEDURE, "transducer: {from: right.1", "transducer: {from: left.2"),
        (PROCEDURE, "current_limit: 100 mA", "current_limit: 400 mA"),
        (BENCH, "      2: {same_as: 1}", "      2: {same_as: 1, current: 0 A .. 1.5 A}"),
        (
            BENCH,
            "    isolation: 150 V",
            "    coupled: [{outputs: [1, 2], by: step, of: current_limit}]\n    isolation: 150 V",
        ),
    )
    _, (line,) = data_of(load_documents(path))["order"][1]
    assert (
        line.replace("\u00a0", " ").replace("\u200b", "").endswith("in this order, left.1 2.1 A, left.1 1 A.")
    )


@pytest.mark.parametrize("changes", [{}, SERIES, PARALLEL])
def test_it_is_one_page_with_all_of_its_words(changes: dict[str, str], tmp_path: Path) -> None:
    data = data_of(changed(tmp_path, changes))
    count, text = text_of(data, tmp_path)
    assert count == 1
    for words in ("set-up sheet", "Wires", "Dial in", "In this order", "Cautions", "join nothing outside"):
        assert words in text
    for entry in ("revision C2", "Unit (serial number)", "Set up by", "Checked by", "Date"):
        assert entry in text
    assert text.index("Cautions") < text.index("In this order")
    for row in data["dial"]["rows"]:
        assert row[0] in text
    assert sheet_svg(data).count("<svg") >= 1


def test_what_must_not_be_energised_stands_on_top(tmp_path: Path) -> None:
    data = data_of(changed(tmp_path, {"ovp: 18 V": "ovp: 30 V"}))
    assert data["blocked"]
    count, text = text_of(data, tmp_path)
    assert count == 1
    assert "Not to be energised. main: the OVP may let 30.1 V stand" in text


def test_text_of_a_user_is_never_markup(documents: Documents, tmp_path: Path) -> None:
    data = {**data_of(documents), "subject": '#eval("1") $x$ *b* <tag> [#lorem(9)]', "paper": "a4"}
    _, text = text_of(data, tmp_path)
    assert '#eval("1") $x$ *b* <tag> [#lorem(9)]' in text


def test_a_tall_drawing_stands_beside_the_words_on_one_page(tmp_path: Path) -> None:
    """Six inputs from eight outputs, in series, in parallel and alone."""
    text = (EXAMPLE / BENCH).read_text("utf-8")
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
    assert words.count("too quick by hand") == 1
    assert data["order"][10][0].startswith("All off in this order: f.1, then e.1, then d.1, then c.1 and c.2")
    assert words.count("can reach") == 1  # told once, with the inputs for which it holds too


def test_the_key_goes_by_0_v_and_is_true_of_either_rail() -> None:
    assert "Coloured: the wire that is not 0 V; black: the 0 V side; the colours are" in _key()
    assert "+ and − at a wire's ends: the supply's terminal that it comes from" in _key()


def found(rule: str, severity: Severity, overridden: str | None = None) -> Finding:
    return Finding(rule, severity, "main", None, f"{rule} in numbers", "mind it", overridden)


def test_what_only_the_author_can_mend_is_left_to_the_check() -> None:
    lines = _cautions(
        [
            found("declared-current", Severity.CAUTION),
            found("reading-too-slow", Severity.CAUTION),
            found("lead-hot", Severity.CAUTION),
            found("ramp-in-limit", Severity.NOTE),
        ]
    )
    assert lines[0] == "main: lead-hot in numbers. Mind it."
    assert len(lines) == 2


def test_the_same_holds_for_another_input_only_at_the_same_voltages() -> None:
    def lead_drop(about: str, volts: float) -> Finding:
        why = state("{level} at the terminals leaves less", level=(volts, "V"))
        return Finding("lead-drop", Severity.CAUTION, about, None, why, "mind it", figures=why.figures)

    lines = _cautions([lead_drop("minus", 11), lead_drop("controller", 16), lead_drop("aux", 11)])
    assert lines[0] == (
        "minus: 11 V at the terminals leaves less. Mind it. The same holds for aux. Likewise, at other "
        "voltages, controller: 'railwright check' tells them."
    )


def test_a_stop_that_the_procedure_accepts_is_a_caution_of_the_sheet() -> None:
    lines = _cautions([found("declared-current", Severity.STOP, "measured twice")])
    assert lines[0] == "main: declared-current in numbers. Accepted: measured twice."
    assert len(_cautions([found("lead-current", Severity.STOP)])) == 1  # it stands at the top instead


def test_who_decides_is_said_once(documents: Documents) -> None:
    lines = data_of(documents)["cautions"]
    assert any("above 35\u00a0V d.c. counts as dangerous to touch in a wet place" in line for line in lines)
    assert sum("competent persons decide" in line for line in lines) == 1
    assert "competent persons decide" in lines[-1]


def test_each_rule_says_whether_its_cautions_are_for_whoever_sets_up() -> None:
    for known in all_rules():
        lines = _cautions([found(known.id, Severity.CAUTION)])
        assert lines[0].startswith(f"main: {known.id} in numbers.") is known.on_sheet, known.id
    kept = {known.id for known in all_rules() if known.on_sheet}
    assert {"lead-hot", "touch-voltage"} < kept
    assert not {"outside-window", "dwell-too-short", "stop-in-normal", "trip-delay-margin"} & kept
