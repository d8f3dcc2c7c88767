"""Current limits that a supply moves together: every input has, at every instant, the limit that it was taken
to, before it is energised as while it is on.

The truth is worked out by hand: by step, a coupled limit changes by as many amperes, by ratio in the same
proportion, each within what its output can be set to (common practice, no source); an input that would draw
more than its limit I stands at v = I·R (Ohm's law).
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.truth.small import OUTPUT, fed_by, supply, write
from tests.truth.table import TruthTable

from railwright.archive.stored import open_stored
from railwright.documents.loader import Documents
from railwright.evaluation.supply_status import supply_status
from railwright.guard.local_link import LocalLink
from railwright.job import Check, Job, NotSettled
from railwright.records.ended import Ended
from railwright.rehearsal.playback import limit_waveform
from railwright.running.outcome import RunOutcome
from railwright.running.runner import run
from railwright.settings.data import as_data
from railwright.traces import EventKind, Record
from railwright.twin.supply import TwinSupply
from railwright.twin.virtual_network import VirtualNetwork
from railwright.virtual_time import VirtualLoop

HOLD = 0.3
"""Time for which each limit is held [s]."""


@dataclass(frozen=True)
class Case:
    """inputs: what feeds each, its load [ohm] and its limit as it is settled [A]. told: which input is told
    which limit [A], one after the other, 300 ms each. limits: of every input after each of them [A]. ranges:
    of the outputs' limits [A]; grids: of what they can be set to. table: whether the limits stand in a
    table. more: what else is coupled.
    """

    inputs: Mapping[str, tuple[Any, float, float]]
    told: Sequence[tuple[str, float]]
    limits: Sequence[Mapping[str, float]]
    by: str = "step"
    coupled: tuple[int, ...] = (1, 2)
    ranges: tuple[str, ...] = ("0 A .. 3 A", "0 A .. 2.4 A", "0 A .. 2.1 A")
    order: tuple[str, ...] = ("a", "b")
    grids: tuple[str, ...] = ("1 mA", "1 mA", "1 mA")
    every: str = "10 ms"
    dialect: str = "channel-list"
    table: bool = False
    more: tuple[Mapping[str, Any], ...] = ()


CASES = {
    "by step, down and up": Case(
        {"a": ("s.1", 5.0, 2.2), "b": ("s.2", 6.0, 1.6)},
        [("a", 1.2), ("a", 1.7), ("a", 0.9)],
        [{"a": 1.2, "b": 0.6}, {"a": 1.7, "b": 1.1}, {"a": 0.9, "b": 0.3}],
    ),
    # The one with the narrower range leads; read seldom; the other dialect.
    "by step, the other leads": Case(
        {"a": ("s.1", 5.0, 2.0), "b": ("s.2", 6.0, 1.75)},
        [("b", 1.05), ("b", 1.4)],
        [{"a": 1.3, "b": 1.05}, {"a": 1.65, "b": 1.4}],
        order=("b", "a"),
        every="50 ms",
        dialect="selected-output",
    ),
    "three of them, by a table": Case(
        {"a": ("s.1", 5.0, 2.0), "b": ("s.2", 6.0, 1.5), "c": ("s.3", 7.0, 1.4)},
        [("b", 0.9), ("b", 1.3)],
        [{"a": 1.4, "b": 0.9, "c": 0.8}, {"a": 1.8, "b": 1.3, "c": 1.2}],
        coupled=(1, 2, 3),
        order=("c", "a", "b"),
        every="20 ms",
        table=True,
    ),
    # From nothing, by ratio, whatever was settled can be told.
    "by ratio": Case(
        {"a": ("s.1", 6.0, 1.6), "b": ("s.2", 20.0, 0.4)},
        [("a", 0.8), ("a", 1.2)],
        [{"a": 0.8, "b": 0.2}, {"a": 1.2, "b": 0.3}],
        by="ratio",
        ranges=("0 A .. 3 A",) * 3,
    ),
    # Lowest limits above nothing: 0.2 A and 0.1 A. 1.2 A over 0.2 A is 6, 0.6 A over 0.1 A is 6.
    "by ratio, from above nothing": Case(
        {"a": ("s.1", 8.0, 1.2), "b": ("s.2", 12.0, 0.6)},
        [("b", 0.3), ("a", 0.9)],
        [{"a": 0.6, "b": 0.3}, {"a": 0.9, "b": 0.45}],
        by="ratio",
        ranges=("200 mA .. 3 A", "100 mA .. 1.5 A", "0 A .. 2 A"),
    ),
    # Of a only s.1 is coupled: 1 A and 1 A in parallel; b goes down by 0.4 A, and a by as much.
    "half of a parallel": Case(
        {"a": ({"parallel": ["s.1", "s.2"]}, 5.0, 2.0), "b": ("s.3", 8.0, 1.0)},
        [("b", 0.6), ("b", 0.8)],
        [{"a": 1.6, "b": 0.6}, {"a": 1.8, "b": 0.8}],
        coupled=(1, 3),
        ranges=("0 A .. 3 A",) * 3,
    ),
    # The voltages of the same outputs as well: both come up to 24 V.
    "voltages too": Case(
        {"a": ("s.1", 5.0, 2.5), "b": ("s.2", 6.0, 1.9)},
        [("a", 1.9), ("b", 0.8), ("a", 2.1)],
        [{"a": 1.9, "b": 1.3}, {"a": 1.4, "b": 0.8}, {"a": 2.1, "b": 1.5}],
        more=({"outputs": [1, 2], "by": "step"},),
        order=("b", "a"),
    ),
    # Both halves are told the same: the first takes the second along, which then stands where it is told to.
    "both of a parallel": Case(
        {"a": ({"parallel": ["s.1", "s.2"]}, 4.0, 2.8)},
        [("a", 1.4), ("a", 2.2)],
        [{"a": 1.4}, {"a": 2.2}],
        ranges=("0 A .. 3 A",) * 3,
        order=("a",),
        every="20 ms",
    ),
    # a in steps of 10 mA, told 1.207 A: it takes 1.21 A, 0.99 A less, and so does b, in steps of 1 mA.
    "unequal grids": Case(
        {"a": ("s.1", 5.0, 2.2), "b": ("s.2", 6.0, 1.603)},
        [("a", 1.207), ("b", 0.9)],
        [{"a": 1.207, "b": 0.613}, {"a": 1.5, "b": 0.9}],
        grids=("10 mA", "1 mA", "1 mA"),
        every="20 ms",
    ),
    # a is told 1.5 A less, b gets to 0 A; a is told 0.7 A more.
    "to the end of a range": Case(
        {"a": ("s.1", 4.0, 2.4), "b": ("s.2", 8.0, 1.2)},
        [("a", 0.9), ("a", 1.6)],
        [{"a": 0.9, "b": 0.0}, {"a": 1.6, "b": 0.7}],
        ranges=("0 A .. 3 A", "0 A .. 1.5 A", "0 A .. 1 A"),
    ),
}


@pytest.fixture(params=CASES, ids=list(CASES))
def case(request: pytest.FixtureRequest) -> Case:
    return CASES[request.param]


def output(reach: str, grid: str) -> dict[str, Any]:
    """What differs of an output with limits in this range and of this grid."""
    current = {"of_value": "0 %", "offset": "0 mA", "resolution": grid}
    return {"current": reach, "programming": {**OUTPUT["programming"], "current": current}}


def documents(case: Case, folder: Path) -> Path:
    folder.mkdir(exist_ok=True)
    inputs = {
        name: fed_by({"resistor": {"resistance": f"{ohms} ohm"}}, nominal="24 V")
        for name, (_, ohms, _) in case.inputs.items()
    }
    shapes: dict[str, Any] = {}
    steps: list[dict[str, Any]] = []
    if case.table:
        rows = [f"{HOLD},24,{limit}" for _, limit in case.told]
        (folder / "told.csv").write_text("\n".join(["dwell_s,voltage_V,limit_A", *rows, ""]), "utf-8")
        first, _ = case.told[0]
        steps.append({"shape": {"input": first, "table": "told.csv", "at_end": "off"}, "name": "moved"})
    else:
        for name in case.inputs:
            shapes[name] = {
                "segments": [
                    {"hold": f"{HOLD} s", **({"current_limit": f"{limit} A"} if name == told else {})}
                    for told, limit in case.told
                ]
            }
        steps.append({"shape": {"inputs": shapes, "at_end": "off"}, "name": "moved"})
    return write(
        folder,
        inputs,
        {
            "hook_up": {
                name: {"from": source, "lead": "pair", "sense": "at terminals"}
                for name, (source, _, _) in case.inputs.items()
            },
            "limits": {
                name: {
                    "current_limit": f"{limit} A",
                    "at_limit": "regulate",
                    "purpose": "current",
                    "ovp": "36 V",
                }
                for name, (_, _, limit) in case.inputs.items()
            },
            "steps": [
                {
                    "power_up": {"order": list(case.order), "gap": "20 ms", "settle": "300 ms"},
                    "name": "up",
                },
                *steps,
            ],
            "record": {"every": case.every},
        },
        {
            "s": supply(
                *map(output, case.ranges, case.grids),
                isolation="300 V",
                dialect=case.dialect,
                coupled=[
                    {"outputs": list(case.coupled), "by": case.by, "of": "current_limit"},
                    *case.more,
                ],
            )
        },
    )


def played(
    job: Job, check: Check, folder: Path, network_of: Documents | None = None
) -> tuple[RunOutcome, VirtualNetwork]:
    given, loop, settings = job.documents, VirtualLoop(), check.settings
    twins = (network_of or given).bench
    with VirtualNetwork(loop, twins, given.device, given.procedure, seed=2) as network:
        outcome = run(
            given, settings.set_points, unit="T-1", operator="O", folder=folder / "run",
            settings=as_data(settings), link=LocalLink(loop, network.connect),
        )  # fmt: skip
    return outcome, network


def at(record: Record, name: str, time: float, channel: str) -> float:
    traces = record.traces[name]
    return float(np.interp(time, traces.time, traces.columns[channel]))


@pytest.mark.case("coupled-limits")
@pytest.mark.parametrize("name", CASES)
def test_every_input_has_the_limit_that_it_was_taken_to(
    name: str, tmp_path: Path, truth_table: TruthTable
) -> None:
    """Worked out, rehearsed, and read by a run on twins, at the end of each stretch."""
    case = CASES[name]
    job = Job.open(documents(case, tmp_path))
    check = job.check()
    assert not [each for each in check.findings if each.rule.startswith("coupled-limit") and each.blocks]
    outcome, _ = played(job, check, tmp_path)
    assert outcome.ended is Ended.COMPLETED
    stored = open_stored(tmp_path / "run").data.record
    rehearsed = check.rehearse().record
    begins = check.plan.spans[1].start
    settled = {each: limit for each, (_, _, limit) in case.inputs.items()}
    stretches = [
        (begins - 0.03, settled),
        *((begins + HOLD * (n + 0.9), now) for n, now in enumerate(case.limits)),
    ]
    for time, limits in stretches:
        for each, limit in limits.items():
            ohms = case.inputs[each][1]
            worked_out = [a.whole for a in check.plan.limits if a.input == each and a.time < time]
            # The lead is sensed at the terminals, and has 40 milliohm; the output's own bleeder draws 12 mA.
            exact, read = pytest.approx(limit, abs=0.015), pytest.approx(limit, abs=0.02)
            said = {"worked out": worked_out[-1] if worked_out else settled[each]}
            truth_table.compare(f"limit of {each} at {time:.2f} s", pytest.approx(limit, abs=1e-9), said, "A")
            said = {
                "rehearsed": at(rehearsed, each, time, "current"),
                "rehearsed, v/R": at(rehearsed, each, time, "voltage") / ohms,
            }
            truth_table.compare(f"current of {each} at {time:.2f} s", exact, said, "A")
            truth_table.compare(
                f"current of {each} at {time:.2f} s", read, {"run": at(stored, each, time, "current")}, "A"
            )


def test_what_waveform_writes_of_a_shape_s_limits(tmp_path: Path) -> None:
    """Of b, which is told nothing but is held in the shape: 1.6 A, and 1 A less, 0.5 A less, 1.3 A less."""
    check = Job.open(documents(CASES["by step, down and up"], tmp_path)).check(static=True)
    for name, limits in (("a", (1.2, 1.7, 0.9)), ("b", (0.6, 1.1, 0.3))):
        wave = limit_waveform(check.plan, 1, name)
        assert wave.at(np.array([0.15, 0.45, 0.75])) == pytest.approx(limits)
    assert limit_waveform(check.plan, 1, "b").value[0] == pytest.approx(1.6)


def test_what_a_record_may_hide_counts_the_lowest_limit_of_all(tmp_path: Path) -> None:
    """b, told nothing: 1.6 A and 1.3 A less at the lowest, by the end of the shape; 1.6 A before it."""
    job = Job.open(documents(CASES["by step, down and up"], tmp_path))
    check = job.check()
    record = check.rehearse().record
    for step, least in ((0, 1.6), (1, 0.3)):
        found = supply_status(
            job.documents,
            check.plan.timeline,
            check.plan.set_points,
            "b",
            record.spans[step],
            record,
            exact=True,
        )
        assert found.least_limit == pytest.approx(least)


def trips(folder: Path, delay: str, led: float) -> Path:
    """a is told `led` [A] for 250 ms; b draws 1.2 A below a limit of 1.6 A that trips."""
    case = replace(CASES["by step, down and up"], told=[("a", led)])
    path = documents(case, folder)
    data = json.loads(path.read_text("utf-8"))
    data["limits"]["b"] = {"current_limit": "1.6 A", "at_limit": "trip", "trip_delay": delay, "ovp": "36 V"}
    lower = {"hold": "250 ms", "current_limit": f"{led} A"}
    segments = [lower, {"hold": "200 ms", "current_limit": "2.2 A"}]
    data["steps"][1] = {"shape": {"input": "a", "segments": segments}, "name": "moved"}
    path.write_text(json.dumps(data), "utf-8")
    device = folder / "small.device.yaml"
    inputs = json.loads(device.read_text("utf-8"))
    inputs["inputs"]["b"]["nominal"] = "7.2 V"
    device.write_text(json.dumps(inputs), "utf-8")
    return path


@pytest.mark.parametrize(("delay", "led", "acts"), [(100, 1.7, True), (200, 1.5, True), (300, 1.5, False)])
def test_a_limit_that_is_moved_below_what_is_drawn_trips_after_its_delay(
    delay: int, led: float, acts: bool, tmp_path: Path
) -> None:
    """1.6 A less what a is told less, below 1.2 A, for 250 ms: rehearsed, and on twins."""
    job = Job.open(trips(tmp_path, f"{delay} ms", led))
    check = job.check()
    outcome, _ = played(job, check, tmp_path)
    begins = check.plan.spans[1].start
    rehearsed = [event for event in check.rehearse().record.events if event.kind.trip]
    assert [event.subject for event in rehearsed] == (["s.2"] if acts else [])
    assert outcome.ended is (Ended.TRIPPED if acts else Ended.COMPLETED)
    if acts:
        assert rehearsed[0].time == pytest.approx(begins + delay * 1e-3, abs=3e-3)
        assert [each for each in check.findings if each.about == "b" and each.blocks]


@pytest.mark.parametrize("led", [1.5, 1.2])
def test_a_trip_delay_that_is_worked_out_outlasts_it(led: float, tmp_path: Path) -> None:
    check = Job.open(trips(tmp_path, "auto", led)).check()
    (window,) = [w for w in check.settings.windows if (w.about, w.setting) == ("b", "trip_delay")]
    assert window.low is not None
    assert window.low.value == pytest.approx(0.25, abs=5e-3)
    assert check.settings.set_points["b"].outputs[0].trip_delay > 0.25


def test_a_run_says_what_it_moved(case: Case, tmp_path: Path) -> None:
    job = Job.open(documents(case, tmp_path))
    check = job.check(static=True)
    outcome, _ = played(job, check, tmp_path)
    for name in case.inputs:
        sets = [
            e.facts.limit
            for e in outcome.record.events
            if e.kind is EventKind.CURRENT_LIMIT_SET and e.subject == name and e.facts.limit is not None
        ]
        assert sets[: len(case.limits)] == [pytest.approx(each[name]) for each in case.limits]


def test_a_supply_that_does_not_move_them_as_its_bench_says_is_never_energised(
    case: Case, tmp_path: Path
) -> None:
    job = Job.open(documents(case, tmp_path))
    check, given = job.check(static=True), job.documents
    group, *_ = given.bench.supplies["s"].coupled
    otherwise = group.model_copy(update={"by": "ratio" if case.by == "step" else "step"})
    told = [output for each in check.plan.set_points.values() for output in each.names]
    for coupled in ((), (otherwise,)):
        folder = tmp_path / str(len(coupled))
        folder.mkdir()
        one = given.bench.supplies["s"].model_copy(update={"coupled": coupled})
        bench = given.bench.model_copy(update={"supplies": {"s": one}})
        outcome, network = played(job, check, folder, replace(given, bench=bench))
        assert outcome.ended is Ended.INSTRUMENT
        # Where each is told its own, it shows with the first change.
        if case is not CASES["unequal grids"] and (coupled or case is not CASES["by ratio"]):
            assert not any(network.energised(output) for output in told)
        assert not any(network.on(output) for output in told)


@pytest.mark.parametrize("late", [True, False])
def test_a_limit_that_no_longer_follows_ends_the_run(
    late: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Uncoupled at the panel once it is on: the run's next change is read back, and not as reckoned."""
    case = CASES["by step, down and up"]
    job = Job.open(documents(case, tmp_path))
    check = job.check(static=True)
    take_along = TwinSupply.take_along

    def no_longer(supply: TwinSupply, channel: int, of: Any, before: float) -> None:
        if not (late and any(panel.on for panel in supply.panels)):
            take_along(supply, channel, of, before)

    monkeypatch.setattr(TwinSupply, "take_along", no_longer)
    outcome, network = played(job, check, tmp_path)
    assert outcome.ended is (Ended.INSTRUMENT if late else Ended.COMPLETED)
    if late:
        events = [e for e in outcome.record.events if e.kind is EventKind.INSTRUMENT_FAILS]
        assert any("current_limit was set to 0.6" in e.detail for e in events)
    assert not any(network.on(name) for name in ("s.1", "s.2"))


@pytest.mark.parametrize("order", [["b", "a", "c"], ["c", "b", "a"], ["a", "c", "b"]])
@pytest.mark.parametrize("limit", ["102 mA", "4 A"])
def test_an_input_that_nothing_feeds_beside_coupled_limits_is_a_finding(
    order: list[str], limit: str, tmp_path: Path
) -> None:
    """Its output gives 90 mA at most, so that no hook-up is left for it and it has no set points: the rule
    about limits that others move ended in a traceback.
    """
    coupled = [{"outputs": [1, 2], "by": "step", "of": "current_limit"}]
    supplies = {
        "s": supply({}, {}, coupled=coupled),
        "t": supply({"current": "0 A .. 90 mA"}, port=6000),
    }
    load = {"resistor": {"resistance": "24 ohm"}}
    hook_up = {
        name: {"from": output, "lead": "pair", "sense": sense}
        for name, output, sense in (
            ("a", "s.1", "at terminals"), ("b", "s.2", "at terminals"), ("c", "t.1", "auto"),
        )
    }  # fmt: skip
    limits = {
        name: {"current_limit": own, "at_limit": "regulate", "ovp": "30 V"}
        for name, own in (("a", "1.5 A"), ("b", "1.2 A"), ("c", limit))
    }
    steps = [
        {"power_up": {"order": order, "gap": "20 ms", "settle": "150 ms"}, "name": "up"},
        {
            "shape": {
                "input": "a",
                "segments": [{"step_to": "24 V", "current_limit": "1.1 A"}, {"hold": "200 ms"}],
            },
            "name": "limits",
        },
        {"power_down": {"order": order[::-1], "gap": "0 s"}},
    ]
    procedure = {"hook_up": hook_up, "limits": limits, "steps": steps, "record": {"every": "20 ms"}}
    path = write(tmp_path / "p", {name: fed_by(load) for name in "abc"}, procedure, supplies)
    with pytest.raises(NotSettled, match="nothing feeds c"):
        Job.open(path).settle()
