"""A part of the fault matrix (`python -m benchmarks.faults` plays more of it): runs in virtual time, with one
thing that goes wrong in each, judged by the twins' physics.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest
from benchmarks.fault_matrix.cells import KINDS, Cell
from benchmarks.fault_matrix.judge import COMPLETED, CONFIRMED, NOT_CONFIRMED, judge
from benchmarks.fault_matrix.real import play_real
from benchmarks.faults import drawn, repeatable, undisturbed, verdict_of

cells_of_the_demo = cache(undisturbed)
OF_EACH = 3
"""So many cells of each kind of fault."""


def of_kind(name: str, count: int = OF_EACH, seed: int = 7) -> list[Cell]:
    return drawn([cell for cell in cells_of_the_demo() if cell.kind.name == name], count, seed)


@pytest.mark.parametrize("name", [kind.name for kind in KINDS])
def test_whatever_fails_the_outputs_are_off_and_the_ending_says_how(name: str, tmp_path: Path) -> None:
    cells = of_kind(name)
    assert cells
    for cell in cells:
        verdict = verdict_of(cell, tmp_path)
        assert verdict.wrong == "", f"{cell.line}: {verdict.ending}: {verdict.wrong}"


WIRES = {
    "HiSLIP": tuple(f"address: TCPIP::192.0.2.{number}::hislip0::INSTR" for number in (1, 2)),
    "serial": tuple(f"address: ASRL/dev/tty-{side}::INSTR\n    line: {{baud: 921600}}" for side in "lr"),
    "HiSLIP beside serial": (
        "address: TCPIP::192.0.2.1::hislip0,4881::INSTR",
        "address: ASRL/dev/tty-r::INSTR\n    line: {baud: 460800}",
    ),
}


@pytest.mark.parametrize("wires", WIRES)
@pytest.mark.parametrize("name", [kind.name for kind in KINDS])
def test_it_is_the_same_over_every_transport(name: str, wires: str, tmp_path: Path) -> None:
    for cell in of_kind(name, 1, seed=len(wires)):
        verdict = verdict_of(cell, tmp_path, wires=WIRES[wires])
        assert verdict.wrong == "", f"{cell.line}: {verdict.ending}: {verdict.wrong}"


def test_every_command_of_both_dialects_is_in_it() -> None:
    commands = {(cell.supply, cell.command.rstrip()) for cell in cells_of_the_demo()}
    for supply in ("left", "right"):
        of_supply = {command for name, command in commands if name == supply}
        assert {
            "*IDN?",
            "*CLS",
            "SYSTem:ERRor?",
            "OUTPut:STATe",
            "OUTPut:STATe?",
            "INITiate",
            "ABORt",
        } <= of_supply
        assert {
            "SOURce:LIST:DWELl",
            "SOURce:VOLTage:MODE",
            "SOURce:CURRent:PROTection:LEVel:DELay",
        } <= of_supply
    assert ("right", "INSTrument:NSELect") in commands
    assert ("left", "OUTPut:PROTection:LINK") in commands


def test_an_output_that_does_not_go_off_is_not_called_off(tmp_path: Path) -> None:
    endings = {verdict_of(cell, tmp_path).ending for cell in of_kind("output stays on and says off", 6)}
    assert NOT_CONFIRMED in endings
    assert CONFIRMED not in endings


@pytest.mark.parametrize("without", ["verification", "guard"])
def test_without_it_the_matrix_fails(without: str, tmp_path: Path) -> None:
    kind = "the run is killed" if without == "guard" else "output stays on"
    verdicts = [verdict_of(cell, tmp_path, without) for cell in of_kind(kind, 16)]
    assert any(verdict.wrong for verdict in verdicts)


@pytest.mark.alone
def test_the_real_guard_ends_runs_as_the_one_in_virtual_time(tmp_path: Path) -> None:
    for cell in drawn(repeatable(cells_of_the_demo()), 4, 11):
        real, virtual = judge(cell, play_real(cell, tmp_path)), verdict_of(cell, tmp_path)
        assert (real.ending, real.wrong) == (virtual.ending, virtual.wrong), cell.line
        assert real.ending in (COMPLETED, CONFIRMED, NOT_CONFIRMED)
