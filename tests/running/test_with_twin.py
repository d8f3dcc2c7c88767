"""Runs on twins in other processes, through real sockets: the demo's documents with a short procedure."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from railwright.documents.bench import Bench
from railwright.documents.loader import Documents, load_documents
from railwright.documents.output_name import OutputName
from railwright.documents.procedure import Procedure
from railwright.documents.serial_line import SerialLine
from railwright.examples import example
from railwright.plan.set_points import Feed, OutputSetPoints
from railwright.records.ended import Ended
from railwright.records.stored import open_run
from railwright.running.runner import run
from railwright.twin.launcher import TwinBench

pytestmark = pytest.mark.alone

DEMO = example() / "power-input.procedure.yaml"

STEPS = [
    {
        "name": "first power",
        "power_up": {"order": ["main", "transducer"], "gap": "50 ms", "rise": "2 V/ms", "settle": "150 ms"},
    },
    {"name": "steady", "hold": "300 ms"},
    {"power_down": {"order": ["transducer", "main"], "gap": "20 ms"}},
]


def short(documents: Documents) -> Documents:
    """The demo with the first steps of its procedure only."""
    data = {"procedure": "short", "device": "d", "bench": "b", "record": {"every": "10 ms"}, "steps": STEPS}
    fixed = documents.procedure
    hook_up = {
        name: {"from": h.source, "lead": h.lead, "sense": h.sense} for name, h in fixed.hook_up.items()
    }
    limits = {name: {"current_limit": "1 A", "at_limit": "regulate", "ovp": "18 V"} for name in fixed.limits}
    procedure = Procedure.model_validate({**data, "hook_up": hook_up, "limits": limits})
    return replace(documents, procedure=procedure)


def set_points(trip_delay: float) -> dict[str, Feed]:
    main = OutputSetPoints(OutputName("left.1"), 1.0, "trip", trip_delay, 18.0)
    transducer = OutputSetPoints(OutputName("right.1"), 0.1, "trip", 0.06, 34.0)
    return {
        "main": Feed("main", "alone", (main,), "silicone pair", "at load"),
        "transducer": Feed("transducer", "alone", (transducer,), "thin pair", "at terminals", ("main",)),
    }


def over(bench: Bench, wires: str) -> Bench:
    """The bench with its supplies reached another way."""
    updates = {
        "sockets": {},
        "HiSLIP": {"address": "TCPIP::192.0.2.1::hislip0::INSTR"},
        "serial": {"address": "ASRL/dev/ttyUSB0::INSTR", "line": SerialLine(baud=921600)},
    }
    supplies = {name: supply.model_copy(update=updates[wires]) for name, supply in bench.supplies.items()}
    return bench.model_copy(update={"supplies": supplies})


@pytest.fixture(scope="module")
def documents() -> Documents:
    return short(load_documents(DEMO))


@pytest.mark.parametrize("wires", ["sockets", "HiSLIP", "serial"])
def test_a_run_on_twins_comes_out_as_the_device_is(documents: Documents, tmp_path: Path, wires: str) -> None:
    bench = over(documents.bench, wires)
    with TwinBench(bench, documents.device, documents.procedure, seed=5) as twins:
        outcome = run(
            replace(documents, bench=twins.bench),
            set_points(0.04),
            unit="TG-1",
            operator="O",
            folder=tmp_path / "run",
        )
    assert (outcome.ended, outcome.cause, outcome.cautions) == (Ended.COMPLETED, "", ())
    steady = outcome.record.span("steady")
    main = outcome.record.traces["main"].between(steady.start + 0.05, steady.end)
    transducer = outcome.record.traces["transducer"].between(steady.start + 0.05, steady.end)
    assert main.columns["voltage"].mean() == pytest.approx(12.0, abs=0.03)
    power = main.columns["voltage"].mean() * main.columns["current"].mean()
    assert 3.6 * 0.9 / 0.89 * 0.98 < power < 3.6 * 1.1 / 0.83 * 1.02
    assert transducer.columns["current"].mean() == pytest.approx(0.02, rel=0.06)
    whats = [event.what for event in outcome.record.events if event.subject == "main"]
    # Whether a reading falls into the 20 ms at the current limit depends on how busy the machine is.
    unsure = ("enters CC", "off sent", "off confirmed")
    assert [what for what in whats if what not in unsure] == ["on", "enters CV", "off", "fell"]
    fell = outcome.switched_off["main"].fell_after
    assert fell is not None
    assert 0.5 < fell < 4.0
    data = open_run(tmp_path / "run")
    assert data.differences.sound
    assert data.about["instruments"][0]["identification"]["serial"] == "Q-0117"


def test_a_trip_delay_too_short_for_the_inrush_trips(documents: Documents, tmp_path: Path) -> None:
    with TwinBench(documents.bench, documents.device, documents.procedure, seed=5) as twins:
        outcome = run(
            replace(documents, bench=twins.bench),
            set_points(0.003),
            unit="TG-1",
            operator="O",
            folder=tmp_path / "run",
        )
    assert (outcome.ended, outcome.cause) == (Ended.TRIPPED, "main tripped: current limit")
    assert all(off.verified for off in outcome.switched_off.values())
