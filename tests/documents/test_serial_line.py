"""Serial lines and VISA libraries of supplies: what a bench says, and what the guard gets of it."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.bench import BENCH, copy_demo, edit

from railwright.documents.loader import load_bench
from railwright.documents.sources import DocumentErrors
from railwright.guard.off_plan import OffPlan, SupplyOff
from railwright.guard.session_settings import LineSettings, SessionSettings
from railwright.running.off_bench import read_bench

ADDRESS = "address: TCPIP::127.0.0.1::5025::SOCKET"
SERIAL = "address: ASRL/dev/ttyUSB0::INSTR\n    "


def bench_with(folder: Path, text: str) -> Path:
    copy_demo(folder)
    edit(folder / BENCH, ADDRESS, text)
    return folder / BENCH


@pytest.mark.parametrize(
    ("text", "line", "visa"),
    [
        ("", LineSettings(), ""),
        ("line: {baud: 115200}\n    ", LineSettings(115200), ""),
        (
            "line: {baud: 19200, data_bits: 7, parity: even, stop_bits: 2, flow_control: hardware}\n    ",
            LineSettings(19200, 7, "even", 2, "hardware"),
            "",
        ),
        (
            "line: {parity: odd, flow_control: software}\n    ",
            LineSettings(9600, 8, "odd", 1, "software"),
            "",
        ),
        ("visa: '@ivi'\n    ", LineSettings(), "@ivi"),
        ("visa: /opt/visa/libvisa.so\n    ", LineSettings(), "/opt/visa/libvisa.so"),
    ],
)
def test_guard_and_off_by_hand_get_the_line_that_is_written(
    tmp_path: Path, text: str, line: LineSettings, visa: str
) -> None:
    path = bench_with(tmp_path, SERIAL + text)
    supply = load_bench(path).model.supplies["left"]
    assert supply.session_settings == SessionSettings(line=line, visa=visa)
    by_hand = read_bench(path.read_text("utf-8"), tmp_path)[0].plan
    assert by_hand is not None
    assert by_hand.session_settings == supply.session_settings
    plan = OffPlan((SupplyOff("left", "a", "*IDN?", "", (), session_settings=supply.session_settings),), ())
    assert OffPlan.from_json(plan.to_json()) == plan


@pytest.mark.parametrize(
    ("text", "place", "words"),
    [
        (SERIAL + "line: {baud: 9601}", "11:18", ("9600", "9601")),
        (SERIAL + "line: {baud: 300}", "11:18", ("1200", "300")),
        (SERIAL + "line: {baud: fast}", "11:18", ("fast",)),
        (SERIAL + "line: {data_bits: 9}", "11:23", ("8", "9")),
        (SERIAL + "line: {parity: mark}", "11:20", ("even", "mark")),
        (SERIAL + "line: {stop_bits: 3}", "11:23", ("2", "3")),
        (SERIAL + "line: {flow_control: rts}", "11:26", ("hardware", "rts")),
        (SERIAL + "line: {speed: 9600}", "11:12", ("speed",)),
        (ADDRESS + "\n    line: {baud: 9600}", "11:5", ("ASRL", "TCPIP::127.0.0.1::5025::SOCKET")),
    ],
)
def test_what_no_line_can_be_is_one_line_at_its_place(
    tmp_path: Path, text: str, place: str, words: tuple[str, ...]
) -> None:
    path = bench_with(tmp_path, text)
    with pytest.raises(DocumentErrors) as caught:
        load_bench(path)
    (problem,) = caught.value.problems
    assert f"{problem.location.line}:{problem.location.column}" == place, str(problem)
    for word in words:
        assert word in str(problem)


def test_off_by_hand_takes_what_can_be_read_of_a_broken_line(tmp_path: Path) -> None:
    path = bench_with(tmp_path, SERIAL + "line: {baud: 57600, parity: mark, data_bits: many}")
    plan = read_bench(path.read_text("utf-8"), tmp_path)[0].plan
    assert plan is not None
    assert plan.session_settings.line == LineSettings(57600)
