"""One procedure over every transport: the same outcomes, the same values within the readings' uncertainty."""

from __future__ import annotations

import gc
from pathlib import Path

import pytest
from tests.truth.saying import station

from railwright.evaluation.outcome import Outcome
from railwright.examples import example
from railwright.job import Job, Run
from railwright.records.ended import Ended

INCONCLUSIVE = Outcome.INCONCLUSIVE
PROCEDURE = (example() / "power-input.procedure.yaml").read_text("utf-8")
SOCKETS = ("address: TCPIP::127.0.0.1::5025::SOCKET", "address: TCPIP::127.0.0.1::5026::SOCKET")


def line(name: str, settings: str) -> str:
    return f"address: ASRL/dev/tty-{name}::INSTR\n    line: {{{settings}}}"


FAST = {
    "serial, 921600 Bd": [line(name, "baud: 921600") for name in ("left", "right")],
    "HiSLIP": [f"address: TCPIP::192.0.2.{n}::hislip0::INSTR" for n in (1, 2)],
    "HiSLIP beside a line": ["address: TCPIP::192.0.2.1::hislip0,4881::INSTR", line("right", "baud: 921600")],
    "a line beside a socket": [line("left", "baud: 921600"), SOCKETS[1]],
}
SLOW = {
    "serial, 38400 Bd, 7 data bits": [
        line(name, "baud: 38400, data_bits: 7, parity: even, stop_bits: 2, flow_control: hardware")
        for name in ("left", "right")
    ],
    "serial, 19200 Bd": [line(name, "baud: 19200") for name in ("left", "right")],
}
"""Lines that carry fewer readings than the procedure asks for."""


def run_over(addresses: list[str], folder: Path) -> Run:
    """The demo's procedure, run on simulated supplies with these addresses."""
    edits = [(old, new) for old, new in zip(SOCKETS, addresses, strict=True) if old != new]
    path = station(folder, PROCEDURE, {"quay.bench.yaml": edits})
    check = Job.open(path).check(static=True)
    return check.run(unit="S-1", operator="O", folder=folder / "run", twins=True, seed=3)


@pytest.fixture(scope="module")
def usual(tmp_path_factory: pytest.TempPathFactory) -> Run:
    return run_over([*SOCKETS], tmp_path_factory.mktemp("usual"))


def test_nothing_is_left_of_a_session_when_a_run_is_over(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """`Task was destroyed but it is pending!` stood below the run."""
    gc.collect()
    caplog.clear()  # what tests before this one left
    run_over(FAST["HiSLIP"], tmp_path)
    gc.collect()
    assert [each.message for each in caplog.records if each.name == "asyncio"] == []


@pytest.mark.parametrize("transport", [*FAST, *SLOW])
def test_a_procedure_comes_to_the_same_over_every_transport(
    transport: str, usual: Run, tmp_path: Path
) -> None:
    made = run_over({**FAST, **SLOW}[transport], tmp_path)
    assert made.outcome is not None
    assert made.outcome.ended is Ended.COMPLETED, made.outcome.cause
    assert made.outcome.off_confirmed
    here, there = made.evaluate(), usual.evaluate()
    assert [each.requirement for each in here.results] == [each.requirement for each in there.results]
    assert len(here.results) == 9
    decided = 0
    for one, other in zip(here.results, there.results, strict=True):
        decided += one.outcome is other.outcome
        # A line that carries fewer readings leaves more open, and decides nothing otherwise.
        assert one.outcome in ({other.outcome} if transport in FAST else {other.outcome, INCONCLUSIVE})
        if one.measured is None or other.measured is None:
            assert transport in SLOW
            continue
        # Both intervals hold the one true value: what is true behind the supplies is the same.
        assert one.measured.low <= other.measured.high, one.requirement
        assert other.measured.low <= one.measured.high, one.requirement
    # A line of 19200 Bd carries so few readings that most of the nine stay open.
    assert decided == 9 if transport in FAST else decided >= 1
