"""Set points that a supply moves together: what an input is taken to counts as played on it.

The truth is worked out by hand: by step, a coupled set point changes by as many volts, on or off; by ratio,
in the same proportion (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.truth.small import fed_by, supply, write
from tests.truth.table import TruthTable

from railwright.archive.stored import open_stored
from railwright.guard.local_link import LocalLink
from railwright.job import Job
from railwright.running.runner import run
from railwright.settings.context import sources_of
from railwright.settings.data import as_data
from railwright.traces import EventKind
from railwright.twin.virtual_network import VirtualNetwork
from railwright.virtual_time import VirtualLoop


@dataclass(frozen=True)
class Case:
    """inputs: nominal voltages [V], in the order in which they are switched on, and what feeds them. sweep:
    of a, from and to [V]. highest: what each input is taken to [V].
    """

    inputs: Mapping[str, tuple[float, Any]]
    by: str
    outputs: tuple[int, ...]
    sweep: tuple[float, float]
    highest: Mapping[str, float]
    gap: str = "0 ms"
    rise: Mapping[str, str] = field(default_factory=lambda: {"rise": "1 V/ms"})


CASES = {
    # a: 12 V, b the same: the sweep takes b to 10 V and on to 14 V.
    "by step": Case(
        {"a": (12.0, "s.1"), "b": (12.0, "s.2")}, "step", (1, 2), (10.0, 14.0), {"a": 14.0, "b": 14.0}
    ),
    # a comes up after b, by 7 V from where b has taken it: b goes from 5 V to 12 V, and on to 16 V.
    "by step, from unequal levels": Case(
        {"b": (5.0, "s.2"), "a": (12.0, "s.1")}, "step", (1, 2), (12.0, 16.0), {"a": 16.0, "b": 16.0}, "20 ms"
    ),
    # b stands at half of a, and follows to half of 15 V.
    "by ratio": Case(
        {"a": (12.0, "s.1"), "b": (6.0, "s.2")}, "ratio", (1, 2), (12.0, 15.0), {"a": 15.0, "b": 7.5}, "20 ms"
    ),
    # a: 12 V; b follows to 12 V, set to 8 V: a 8 V; c: 8 V, set to 10 V: a and b 10 V. The sweep begins with
    # a at 9 V: b and c 9 V; ends at 13 V: all of them.
    "three of them": Case(
        {"a": (12.0, "s.1"), "b": (8.0, "s.2"), "c": (10.0, "s.3")},
        "step",
        (1, 2, 3),
        (9.0, 13.0),
        {"a": 13.0, "b": 13.0, "c": 13.0},
        "20 ms",
    ),
    # Of a only s.1, its upper half, is coupled. a: 6 V + 6 V; b is at 6 V, set to 9 V: a 9 V + 6 V. The sweep
    # sets both halves to 6 V, b back to 6 V, then to 8 V, b to 8 V.
    "half of a series": Case(
        {"a": (12.0, {"series": ["s.1", "s.2"]}), "b": (9.0, "s.3")},
        "step",
        (1, 3),
        (12.0, 16.0),
        {"a": 16.0, "b": 9.0},
        "20 ms",
    ),
    # No rise: set at once. b comes up by 1 V from where a has taken it: a 11 V. The sweep: both 10 V to 12 V.
    "without a rise": Case(
        {"a": (10.0, "s.1"), "b": (11.0, "s.3")},
        "step",
        (1, 3),
        (10.0, 12.0),
        {"a": 12.0, "b": 12.0},
        "30 ms",
        {},
    ),
}


@pytest.fixture(params=CASES, ids=list(CASES))
def case(request: pytest.FixtureRequest) -> Case:
    return CASES[request.param]


def documents(case: Case, folder: Path) -> Path:
    load = {"resistor": {"resistance": "60 ohm"}}
    inputs = {name: fed_by(load, nominal=f"{volts} V") for name, (volts, _) in case.inputs.items()}
    required = [
        {
            "name": f"{name} follows",
            "measure": "peak_voltage",
            "of": name,
            "during": "sweep" if case.highest[name] > max(volts, 9.0) else "up",
            "between": f"{case.highest[name] - 0.2} V .. {case.highest[name] + 0.2} V",
        }
        for name, (volts, _) in case.inputs.items()
    ]
    low, high = case.sweep
    return write(
        folder,
        inputs,
        {
            "hook_up": {
                name: {"from": source, "lead": "pair", "sense": "at terminals"}
                for name, (_, source) in case.inputs.items()
            },
            "limits": {
                name: {"current_limit": "2 A", "at_limit": "regulate", "ovp": "36 V"} for name in inputs
            },
            "steps": [
                {
                    "power_up": {"order": list(inputs), "gap": case.gap, "settle": "300 ms", **case.rise},
                    "name": "up",
                },
                {
                    "sweep": {
                        "input": "a",
                        "from": f"{low} V",
                        "to": f"{high} V",
                        "points": 5,
                        "dwell": "200 ms",
                    },
                    "name": "sweep",
                },
                {"hold": "200 ms", "name": "after"},
                {"power_down": {"order": list(inputs)}},
            ],
            "record": {"every": "10 ms"},
            "requires": required,
        },
        {
            "s": supply(
                {}, {}, {}, isolation="300 V", coupled=[{"outputs": list(case.outputs), "by": case.by}]
            )
        },
    )


@pytest.mark.case("tracking")
@pytest.mark.parametrize("case", CASES.values(), ids=list(CASES))
def test_what_is_said_to_be_played_is_where_coupling_takes_it(
    case: Case, tmp_path: Path, truth_table: TruthTable
) -> None:
    sources, _ = sources_of(Job.open(documents(case, tmp_path)).documents)
    for name, highest in case.highest.items():
        played = sources[name].played
        assert played.highest is not None
        truth_table.compare(f"highest of {name}", pytest.approx(highest), played.highest.voltage, "V")
        assert played.reach[1] == pytest.approx(highest)
        assert max(max(each.before, each.after) for each in played.pieces) == pytest.approx(highest)
        # Exact outputs, sensed at the terminals.
        assert sources[name].highest_terminals(1.0) == pytest.approx(highest)


def test_the_rehearsal_reaches_it_and_nothing_says_that_it_cannot(case: Case, tmp_path: Path) -> None:
    job = Job.open(documents(case, tmp_path))
    check = job.check()
    for name, highest in case.highest.items():
        peak = float(check.rehearse().record.traces[name].columns["terminal_voltage"].max())
        assert highest - 0.01 < peak < highest + 0.15  # an edge may overshoot
    said = {each.rule for each in check.findings}
    assert not said & {"requirement-out-of-reach", "not-settled", "hangs-low"}
    for window in check.settings.windows:
        if window.setting == "ovp" and window.low.value is not None:
            assert window.low.value >= case.highest[window.about] - 0.05


def test_the_readings_of_a_run_show_it(case: Case, tmp_path: Path) -> None:
    job, loop, folder = Job.open(documents(case, tmp_path)), VirtualLoop(), tmp_path / "run"
    given, settings = job.documents, job.check(static=True).settings
    with VirtualNetwork(loop, given.bench, given.device, given.procedure, seed=2) as network:
        run(
            given, settings.set_points, unit="T-1", operator="O", folder=folder,
            settings=as_data(settings), link=LocalLink(loop, network.connect),
        )  # fmt: skip
    record = open_stored(folder).data.record
    for name, highest in case.highest.items():
        read = record.traces[name].columns["terminal_voltage"]
        assert read.max() == pytest.approx(highest, abs=0.1)


@pytest.mark.parametrize(
    ("by", "volts", "outputs", "goal", "over"),
    [
        ("step", (12.0, 12.0), ("s.1", "s.2"), 16.0, 0.2),
        ("step", (12.0, 12.0), ("s.2", "s.1"), 7.0, 0.4),
        ("ratio", (12.0, 6.0), ("s.1", "s.2"), 15.0, 0.2),
        ("ratio", (8.0, 12.0), ("s.1", "s.3"), 4.0, 0.3),
    ],
)
def test_what_goes_along_with_a_line_takes_as_long(
    by: str, volts: tuple[float, float], outputs: tuple[str, str], goal: float, over: float, tmp_path: Path
) -> None:
    """Once a is there b is set to where it belongs; then a moves in a line, and jumps back. b was rehearsed
    in the same line, and jumped in the run, at its own slew: volts away for as long as the line took. By step
    it goes by as many volts, by ratio in proportion, in the same time.
    """
    numbers = sorted(int(each.partition(".")[2]) for each in outputs)
    load = {"resistor": {"resistance": "24 ohm"}}
    inputs = {"a": fed_by(load, nominal=f"{volts[0]} V"), "b": fed_by(load, nominal=f"{volts[1]} V")}
    segments = [
        {"line_to": f"{goal} V", "over": f"{over} s"}, {"hold": "200 ms"},
        {"step_to": f"{volts[0]} V"}, {"hold": "200 ms"},
    ]  # fmt: skip
    shape = {"shape": {"input": "a", "segments": segments}, "name": "line"}
    path = write(
        tmp_path / "p",
        inputs,
        {
            "hook_up": {
                name: {"from": own, "lead": "pair", "sense": "at terminals"}
                for name, own in zip("ab", outputs, strict=True)
            },
            "limits": {
                name: {"current_limit": "2 A", "at_limit": "regulate", "ovp": "36 V"} for name in "ab"
            },
            "steps": [
                # a takes b along only as long as b is not set itself, which comes after it.
                {"power_up": {"order": ["a", "b"], "gap": "50 ms", "settle": "300 ms"}, "name": "up"},
                {"shape": {"input": "b", "segments": [{"step_to": f"{volts[1]} V"}, {"hold": "100 ms"}]}},
                shape,
                {"power_down": {"order": ["b", "a"]}},
            ],
            "record": {"every": "20 ms"},
        },
        {"s": supply({}, {}, {}, coupled=[{"outputs": numbers, "by": by}])},
    )
    job, loop = Job.open(path), VirtualLoop()
    given, check = job.documents, job.check(static=True)
    with VirtualNetwork(loop, given.bench, given.device, given.procedure, seed=2) as network:
        run(
            given, check.settings.set_points, unit="T-1", operator="O", folder=tmp_path / "run",
            settings=as_data(check.settings), link=LocalLink(loop, network.connect),
        )  # fmt: skip
        truth = network.truth()
    on = next(each.time for each in truth.events if each.kind is EventKind.ON)
    begins = on + check.plan.spans[2].start
    a, b = (truth.traces[name] for name in "ab")
    there = (
        float(np.interp(begins - 0.02, a.time, a.columns["voltage"])),
        float(np.interp(begins - 0.02, b.time, b.columns["voltage"])),
    )
    for part in (0.2, 0.5, 0.8):
        own = there[0] + (goal - there[0]) * part
        other = there[1] + own - there[0] if by == "step" else there[1] * own / there[0]
        at = begins + over * part
        assert np.interp(at, a.time, a.columns["voltage"]) == pytest.approx(own, abs=0.06)
        assert np.interp(at, b.time, b.columns["voltage"]) == pytest.approx(other, abs=0.08)
