"""Facts that everybody who works with programmable supplies takes for granted, with figures of our own.

Common practice, no source. Each is worked out in closed form here, and must hold in the rehearsal and on
simulated supplies that a run has spoken to over SCPI, in virtual time.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import TypedDict, Unpack

import numpy as np
import pytest
from benchmarks.disagreement_hunt.drawing import Draw
from benchmarks.disagreement_hunt.playing import Played, play
from tests.twin.network import Client

from railwright.circuit.case import NOMINAL
from railwright.documents.loader import load_documents
from railwright.job import Job
from railwright.physics.simulation import Simulation
from railwright.records.stored import open_run
from railwright.rehearsal.circuit import build_circuit
from railwright.rehearsal.read import as_read
from railwright.traces import Event, EventKind, Mode, Record
from railwright.twin.virtual_network import VirtualNetwork
from railwright.virtual_time import VirtualLoop

OUTPUT = """{voltage: 0 V .. 36 V, current: 0 A .. 2.5 A, power: 60 W, slew: 100 mV/s .. 20 V/ms,
  programming: {voltage: {offset: 2 mV, resolution: 1 mV}, current: {offset: 1 mA, resolution: 0.1 mA}},
  reading: {voltage: {offset: 2 mV, resolution: 1 mV, noise: 0.5 mV},
    current: {offset: 1 mA, resolution: 0.1 mA, noise: 0.1 mA}, update: 10 ms, aperture: 8 ms, latency: 1 ms},
  rise: 1 ms, fall: {loaded: 5 ms, unloaded: 100 ms}, limit_response: 200 us, output_capacitance: 47 uF,
  bleeder: 100 kohm, ovp: {level: 1 V .. 38 V, accuracy: 50 mV, response: 200 us}, opp: {level: 1 W .. 66 W},
  ocp: {level: 0.1 A .. 2.75 A, delay: 0 s .. 1 s}, trip_delay: 1 ms .. 5 s, sense: {compensates: 1 V},
  points: {at_most: 200, dwell: 1 ms .. 300 s, between: [step, line]}, may_join: [series, parallel]}"""
BENCH = """bench: Quay-side bench
location: dry
ambient: 23 °C
supplies:
  s:
    address: TCPIP::127.0.0.1::5025::SOCKET
    dialect: channel-list
    isolation: 240 V
    COUPLED
    outputs: {1: OUTPUT, 2: {same_as: 1}, 3: {same_as: 1}}
leads: {pair: {conductor: AWG 14, one_way_length: 1 m, permitted_current: 30 A}}
"""
INPUT = (
    "{nominal: %s V, operating: 0 V .. 110 V, withstands: [{voltage: 120 V}], return: isolated, load: [%s]}"
)


class Given(TypedDict, total=False):
    """What is not as usual."""

    volts: tuple[float, ...]
    sources: tuple[str, ...]
    limits: tuple[str, ...]
    every: str
    settle: str
    coupled: str
    down: bool


def files(loads: tuple[str, ...], steps: str, **given: Unpack[Given]) -> dict[str, bytes]:
    """The bench with one input for each load, called in1, in2, …, and these steps after its power-up."""
    names = [f"in{number}" for number in range(1, len(loads) + 1)]
    volts = given.get("volts", (12.0,) * len(loads))
    sources = given.get("sources", tuple(f"s.{number}" for number in range(1, len(loads) + 1)))
    usual = "{current_limit: 2 A, at_limit: regulate, ovp: 37 V}"
    limits = given.get("limits", (usual,) * len(loads))
    device = ["device: Tide gauge", "inputs:"]
    device += [f"  {n}: {INPUT % (v, load)}" for n, v, load in zip(names, volts, loads, strict=True)]
    lines = ["procedure: Facts", "device: device.yaml", "bench: bench.yaml", "hook_up:"]
    lines += [
        f"  {n}: {{from: {s}, lead: pair, sense: at load}}" for n, s in zip(names, sources, strict=True)
    ]
    lines += ["limits:"] + [f"  {n}: {limit}" for n, limit in zip(names, limits, strict=True)]
    order, settle = ", ".join(names), given.get("settle", "200 ms")
    lines += ["steps:", f"  - power_up: {{order: [{order}], gap: 0 s, settle: {settle}}}", "    name: up"]
    lines += [steps]
    if given.get("down", True):
        lines += [f"  - power_down: {{order: [{order}], gap: 0 s}}"]
    lines += [f"record: {{every: {given.get('every', '10 ms')}}}"]
    bench = BENCH.replace("OUTPUT", " ".join(OUTPUT.split()))
    bench = bench.replace("    COUPLED\n", f"    coupled: {given['coupled']}\n" if "coupled" in given else "")
    texts = {"bench.yaml": bench, "device.yaml": "\n".join(device), "procedure.yaml": "\n".join(lines)}
    return {name: text.encode() for name, text in texts.items()}


def played(folder: Path, loads: tuple[str, ...], steps: str, **given: Unpack[Given]) -> Played:
    """Rehearsed at what is true behind the supplies, and run."""
    return play(Draw("fact", files(loads, steps, **given), 3, {}), folder)


def both(found: Played) -> tuple[Record, Record]:
    """The rehearsal, and what really happened behind the supplies."""
    return found.rehearsed.record, found.truth


def at(record: Record, name: str, time: float, channel: str = "voltage") -> float:
    traces = record.traces[name]
    return float(np.interp(time, traces.time, traces.columns[channel]))


def resistor(ohms: float) -> str:
    return f"{{resistor: {{resistance: {ohms} ohm}}}}"


def trips_of(record: Record) -> list[tuple[str, str]]:
    return [(event.subject, event.kind.trip) for event in record.events if event.kind.trip]


HOLD = "  - hold: 200 ms\n    name: steady"


@pytest.mark.parametrize("count", [2, 3])
def test_equal_outputs_in_series_give_so_many_times_the_voltage(count: int, tmp_path: Path) -> None:
    names = ", ".join(f"s.{n}" for n in range(1, count + 1))
    given: Given = {
        "volts": (30.0 * count,),
        "sources": (f"{{series: [{names}]}}",),
        "limits": (f"{{current_limit: 2 A, at_limit: regulate, ovp: {37 * count} V}}",),
    }
    found = played(tmp_path, (resistor(100.0 * count),), HOLD, **given)
    for record in both(found):
        assert at(record, "in1", 0.35) == pytest.approx(count * 30.0, abs=count * 4e-3)
        assert at(record, "in1", 0.35, "current") == pytest.approx(0.3, rel=1e-3)


@pytest.mark.parametrize("count", [2, 3])
@pytest.mark.parametrize("arrangement", ["series", "parallel"])
def test_equal_outputs_give_at_most_so_many_times_the_current_and_the_power(
    count: int, arrangement: str, tmp_path: Path
) -> None:
    """In parallel N · 2.4 A into 0.5 Ω; and into a load that would take more power, never more than N · 60 W:
    in parallel sqrt(N · 60 W / R), in series each output has its share of R.
    """
    names = ", ".join(f"s.{n}" for n in range(1, count + 1))
    parallel = arrangement == "parallel"
    volts, amperes = (36.0, 2.4 * count) if parallel else (36.0 * count, 2.4)
    ohms = 20.0 / count if parallel else 20.0 * count
    ovp = 37.9 if parallel else 37.9 * count
    given: Given = {
        "volts": (volts,),
        "sources": (f"{{{arrangement}: [{names}]}}",),
        "limits": (f"{{current_limit: {amperes} A, at_limit: regulate, ovp: {ovp} V}}",),
    }
    (tmp_path / "power").mkdir()
    for record in both(played(tmp_path / "power", (resistor(ohms),), HOLD, **given)):
        out = at(record, "in1", 0.35, "terminal_voltage") * at(record, "in1", 0.35, "current")
        assert out <= count * 60.0 * (1.0 + 1e-6)
        assert out == pytest.approx(count * 60.0, rel=2e-3)
        assert at(record, "in1", 0.35) == pytest.approx(math.sqrt(count * 60.0 * ohms), rel=5e-3)
    if parallel:
        (tmp_path / "current").mkdir()
        for record in both(played(tmp_path / "current", (resistor(0.5),), HOLD, **given)):
            assert at(record, "in1", 0.35, "current") == pytest.approx(count * 2.4, abs=count * 1.1e-3)


@pytest.mark.parametrize("ohms", [30.0, 22.0, 21.3, 15.0, 9.8, 9.4, 5.0])
def test_a_power_cap_acts_only_where_voltage_times_current_exceeds_it(ohms: float, tmp_path: Path) -> None:
    """36 V, 2.5 A, 60 W: P/V = 1.667 A at full voltage (21.6 Ω), P/I = 24 V at full current (9.6 Ω)."""
    volts = min(36.0, 2.5 * ohms, math.sqrt(60.0 * ohms))
    given: Given = {
        "volts": (36.0,),
        "limits": ("{current_limit: 2.5 A, at_limit: regulate, ovp: 37.9 V}",),
    }
    for record in both(played(tmp_path, (resistor(ohms),), HOLD, **given)):
        assert at(record, "in1", 0.35) == pytest.approx(volts, rel=8e-3)
        assert at(record, "in1", 0.35, "current") == pytest.approx(volts / ohms, rel=8e-3)
        # While its capacitor is charged it may be in the cap too; what counts is where it stays.
        modes = [e.kind for e in record.events if e.kind.mode and not e.kind.trip and e.time < 0.35]
        assert (modes[-1] is EventKind.ENTERS_CP) == (60.0 * ohms < min(36.0, 2.5 * ohms) ** 2)


@pytest.mark.parametrize("lasts", [0.02, 0.2, 2.0, 20.0])
def test_a_ramp_rises_in_proportion_and_is_constant_afterwards(lasts: float, tmp_path: Path) -> None:
    segments = f"{{line_to: 30 V, over: {lasts} s}}, {{hold: 300 ms}}"
    steps = f"  - shape: {{input: in1, segments: [{segments}]}}\n    name: ramp"
    found = played(tmp_path, (resistor(100.0),), steps, volts=(12.0,), every="50 ms")
    begins = found.check.plan.spans[1].start
    for record in both(found):
        for part in (0.25, 0.5, 0.75, 1.0):
            # The loop's lag and the host's: 1 ms of the ramp, besides the output's 2 mV.
            rate = 18.0 / lasts
            value = at(record, "in1", begins + part * lasts + (2e-3 if part == 1.0 else 0.0))
            assert value == pytest.approx(12.0 + 18.0 * part, abs=4e-3 + 1e-3 * rate)
        later = [at(record, "in1", begins + lasts + t) for t in (0.05, 0.15, 0.25)]
        assert later == pytest.approx([30.0] * 3, abs=4e-3)


@pytest.mark.parametrize(("ohms", "limit"), [(10.0, 0.8), (10.0, 0.3), (24.0, 0.4)])
def test_a_limit_that_is_lowered_while_on_acts_at_once(ohms: float, limit: float, tmp_path: Path) -> None:
    """v = I R once the output's capacitor has followed (47 µF, 24 Ω at most)."""
    segments = f"{{hold: 100 ms}}, {{step_to: 12 V, current_limit: {limit} A}}, {{hold: 200 ms}}"
    steps = f"  - shape: {{input: in1, segments: [{segments}]}}\n    name: lowered"
    found = played(tmp_path, (resistor(ohms),), steps)
    told = found.check.plan.spans[1].start + 0.1
    for record in both(found):
        assert at(record, "in1", told - 0.01) == pytest.approx(12.0, abs=4e-3)
        assert at(record, "in1", told + 0.02) == pytest.approx(limit * ohms, abs=2e-3 * ohms)
        assert mode_at(record, "in1", told + 0.1) is Mode.CC
        (entered,) = entered_limit(record, told)
        assert entered.time == pytest.approx(told, abs=3e-3)
        # It names the new limit, to the accuracy of the output's programming (1 mA), and not the old 2 A.
        assert entered.facts.limit == pytest.approx(limit, abs=1.1e-3)
    # Over SCPI: the event of the setting names the new limit, the mode read after it is CC, at v = I R.
    run = found.outcome.record
    sets = [e for e in run.events if e.kind is EventKind.CURRENT_LIMIT_SET]
    # The other one is that of the step's end, from which on the procedure's own holds again.
    assert [e.facts.limit for e in sets] == [pytest.approx(limit), None]
    assert sets[0].time == pytest.approx(told, abs=3e-3)
    (read,) = entered_limit(run, told)
    assert read.facts.voltage == pytest.approx(limit * ohms, abs=4e-3 + 2e-3 * ohms)
    assert mode_at(run, "in1", told + 0.1) is Mode.CC


def entered_limit(record: Record, told: float) -> list[Event]:
    """Events of entering the limit from just before an instant on [s]."""
    return [e for e in record.events if e.kind is EventKind.ENTERS_CC and e.time > told - 0.01]


@pytest.mark.parametrize("count", [1, 3, 7])
@pytest.mark.parametrize("ends", ["stays", "zero", "off"])
def test_cycles_last_their_dwells_and_then_stay_or_go(count: int, ends: str, tmp_path: Path) -> None:
    """N · (70 ms + 50 ms); 10 V is the last level of a cycle."""
    dwells = "{step_to: 14 V}, {hold: 70 ms}, {step_to: 10 V}, {hold: 50 ms}"
    more = "" if ends == "stays" else f", at_end: {ends}"
    steps = f"  - shape: {{input: in1, segments: [{dwells}], repeat: {count}{more}}}\n    name: cycles\n"
    found = played(
        tmp_path, (resistor(20.0),), f"{steps}  - hold: 300 ms\n    name: after", down=ends != "off"
    )
    begins, ended = found.check.plan.spans[1].start, found.check.plan.spans[1].end
    assert ended - begins == pytest.approx(count * 0.12, abs=1e-9)
    span = found.outcome.record.span("cycles")
    assert span.end - span.start == pytest.approx(count * 0.12, abs=1e-3)
    for record in both(found):
        for number in range(count):
            assert at(record, "in1", begins + 0.12 * number + 0.06) == pytest.approx(14.0, abs=4e-3)
            assert at(record, "in1", begins + 0.12 * number + 0.11) == pytest.approx(10.0, abs=4e-3)
        assert at(record, "in1", ended + 0.2) == pytest.approx(10.0 if ends == "stays" else 0.0, abs=0.01)
    (first, *_) = found.energised["s.1"]
    assert first[1] is not None
    assert first[1] == pytest.approx(ended if ends == "off" else ended + 0.3, abs=2e-3)


def test_two_sequences_of_different_length_run_at_once(tmp_path: Path) -> None:
    short = "{segments: [{step_to: 9 V}, {hold: 100 ms}, {step_to: 11 V}, {hold: 50 ms}]}"
    long = "{segments: [{step_to: 4 V}, {hold: 250 ms}, {step_to: 6 V}, {hold: 250 ms}]}"
    steps = f"  - shape: {{inputs: {{in1: {short}, in2: {long}}}}}\n    name: two"
    found = played(tmp_path, (resistor(40.0), resistor(20.0)), steps, volts=(12.0, 5.0))
    span = found.check.plan.spans[1]
    assert span.end - span.start == pytest.approx(0.5)
    expected = {0.08: (9.0, 4.0), 0.14: (11.0, 4.0), 0.24: (11.0, 4.0), 0.30: (11.0, 6.0), 0.49: (11.0, 6.0)}
    for record in both(found):
        for time, levels in expected.items():
            for name, level in zip(("in1", "in2"), levels, strict=True):
                assert at(record, name, span.start + time) == pytest.approx(level, abs=4e-3)


def test_coupled_set_points_move_by_equal_steps_from_unequal_levels(tmp_path: Path) -> None:
    """in2 goes to 12 V and takes in1 along; in1 goes to 30 V, and in2 with it as far as it can, to 20 V. From
    there in1 goes to 26 V and to 29 V: in2 to 16 V and to 19 V.
    """
    segments = "{step_to: 26 V}, {hold: 100 ms}, {step_to: 29 V}, {hold: 100 ms}"
    steps = f"  - shape: {{input: in1, segments: [{segments}]}}\n    name: moved"
    given: Given = {"volts": (30.0, 12.0), "coupled": "[{outputs: [1, 2], by: step}]"}
    own = files((resistor(60.0), resistor(40.0)), steps, **given)
    own["procedure.yaml"] = own["procedure.yaml"].replace(
        b"order: [in1, in2], gap: 0 s, s", b"order: [in2, in1], gap: 20 ms, s"
    )
    own["bench.yaml"] = own["bench.yaml"].replace(
        b"2: {same_as: 1}", b"2: {same_as: 1, voltage: 0 V .. 20 V}"
    )
    found = play(Draw("fact", own, 3, {}), tmp_path)
    begins = found.check.plan.spans[1].start
    for record in both(found):
        for time, levels in ((-0.02, (30.0, 20.0)), (0.08, (26.0, 16.0)), (0.18, (29.0, 19.0))):
            for name, level in zip(("in1", "in2"), levels, strict=True):
                assert at(record, name, begins + time) == pytest.approx(level, abs=8e-3)


UNEQUAL = "{current_limit: %s A, at_limit: regulate, ovp: 37 V}"


def coupled_limits(
    folder: Path, limits: tuple[float, float], told: tuple[float, ...], also: str = "", ends: str = "stay"
) -> Played:
    """12 V into 4 ohm and 6 V into 3 ohm, each in its limit below 3 A and 2 A, on outputs of 2.5 A and 2 A
    whose limits are coupled by step; in1 is told these limits, 200 ms each. also: what in2 plays beside.
    """
    segments = ", ".join(f"{{step_to: 12 V, current_limit: {each} A}}, {{hold: 200 ms}}" for each in told)
    inputs = f"in1: {{segments: [{segments}]}}{also}"
    steps = f"  - shape: {{inputs: {{{inputs}}}, at_end: {ends}}}\n    name: moved"
    given: Given = {
        "volts": (12.0, 6.0),
        "limits": tuple(UNEQUAL % each for each in limits),
        "coupled": "[{outputs: [1, 2], by: step, of: current_limit}]",
        "down": ends != "off",
    }
    own = files((resistor(4.0), resistor(3.0)), steps, **given)
    own["bench.yaml"] = own["bench.yaml"].replace(b"2: {same_as: 1}", b"2: {same_as: 1, current: 0 A .. 2 A}")
    return play(Draw("fact", own, 3, {}), folder)


def mode_at(record: Record, name: str, time: float) -> Mode:
    """The mode that holds at a time [s]: that of the last row by then."""
    traces = record.traces[name]
    row = int(np.searchsorted(traces.time, time, side="right")) - 1
    return Mode(round(float(traces.columns["mode"][row])))


@pytest.mark.parametrize(
    ("limits", "told", "expected"),
    [
        # Down by 0.5 A and by 0.4 A more, and up by 0.6 A.
        ((2.0, 1.5), (1.5, 1.1, 1.7), ((1.5, 1.0), (1.1, 0.6), (1.7, 1.2))),
        ((1.6, 1.4), (0.9, 1.3), ((0.9, 0.7), (1.3, 1.1))),
        ((2.3, 1.8), (1.1, 0.7, 2.3), ((1.1, 0.6), (0.7, 0.2), (2.3, 1.8))),
    ],
)
def test_coupled_limits_move_by_equal_steps_from_unequal_levels(
    limits: tuple[float, float],
    told: tuple[float, ...],
    expected: tuple[tuple[float, float], ...],
    tmp_path: Path,
) -> None:
    """v = I R of both, also before the first change and after the last, which is back to what was settled."""
    found = coupled_limits(tmp_path, limits, told)
    begins, ends = found.check.plan.spans[1].start, found.check.plan.spans[1].end
    stood = {-0.02: limits, **{0.2 * n + 0.18: pair for n, pair in enumerate(expected)}}
    for record in (*both(found), found.outcome.record):
        for time, pair in stood.items():
            for name, ohms, limit in zip(("in1", "in2"), (4.0, 3.0), pair, strict=True):
                assert at(record, name, begins + time) == pytest.approx(limit * ohms, abs=0.01)
                assert mode_at(record, name, begins + time) is Mode.CC
    # Over SCPI: every change of either is in the log, with the limit that was read back.
    sets = [e for e in found.outcome.record.events if e.kind is EventKind.CURRENT_LIMIT_SET]
    expected_sets = [*expected, limits]
    if told[-1] == limits[0]:  # told again: the other one stays
        assert [e.subject for e in sets[-1:]] == ["in1"]
        sets.pop()
        expected_sets.pop()
    assert [e.facts.limit for e in sets if e.subject == "in2"] == [pytest.approx(b) for _, b in expected_sets]
    assert [e.facts.limit for e in sets if e.subject == "in1"][: len(told)] == list(told)
    assert ends - begins == pytest.approx(0.2 * len(told))


def test_a_coupled_limit_stops_at_the_end_of_its_range(tmp_path: Path) -> None:
    """From 2.3 A and 1.8 A down by 1.9 A: the other one gets to 0 A, and up by 0.5 A from there. Both are
    switched off before the first one is back at 2.3 A, and the other one 0.1 A above what was settled.
    """
    beside = ", in2: {segments: [{hold: 400 ms}]}"
    found = coupled_limits(tmp_path, (2.3, 1.8), (0.4, 0.9), beside, "off")
    begins = found.check.plan.spans[1].start
    for record in (*both(found), found.outcome.record):
        for time, pair in ((-0.02, (2.3, 1.8)), (0.18, (0.4, 0.0)), (0.38, (0.9, 0.5))):
            for name, ohms, limit in zip(("in1", "in2"), (4.0, 3.0), pair, strict=True):
                assert at(record, name, begins + time) == pytest.approx(limit * ohms, abs=0.01)
    assert "coupled-limit-above" not in {each.rule for each in found.check.findings}


def test_a_coupled_limit_that_ends_above_its_own_is_a_stop(tmp_path: Path) -> None:
    """The same with both on: 1.8 A - 1.8 A + 0.5 A + 1.4 A."""
    found = coupled_limits(tmp_path, (2.3, 1.8), (0.4, 0.9))
    (above,) = [each for each in found.check.findings if each.rule == "coupled-limit-above"]
    assert above.blocks
    assert "to 1.9 A" in above.why
    # It is what would happen.
    sets = [e for e in found.outcome.record.events if e.kind is EventKind.CURRENT_LIMIT_SET]
    assert sets[-1].subject == "in2"
    assert sets[-1].facts.limit == pytest.approx(1.9)


PROTECTED = "{current_limit: 2.5 A, at_limit: regulate, ovp: %s V, opp: %s W, ocp: %s A, ocp_delay: 10 ms}"


@pytest.mark.parametrize(
    ("ovp", "opp", "ocp", "acts"),
    [(15.0, 60.0, 2.0, "OVP"), (37.0, 14.0, 2.0, "OPP"), (37.0, 60.0, 1.05, "OCP"), (37.0, 60.0, 2.0, "")],
)
def test_of_several_protections_the_first_exceeded_acts_alone(
    ovp: float, opp: float, ocp: float, acts: str, tmp_path: Path
) -> None:
    """A ramp to 20 V into 14 Ω: 15 V at 1.07 A and 16 W, 14 W at 14 V, 1.05 A at 14.7 V."""
    ramp = "{line_to: 20 V, over: 400 ms}, {hold: 100 ms}"
    steps = f"  - shape: {{input: in1, segments: [{ramp}]}}\n    name: ramp"
    found = played(tmp_path, (resistor(14.0),), steps, limits=(PROTECTED % (ovp, opp, ocp),))
    for record in both(found):
        assert trips_of(record) == ([("s.1", acts)] if acts else [])
        # 20 V/s from 12 V: when its quantity passes the level, 10 ms later for the over-current.
        if acts:
            level = {"OVP": ovp, "OPP": math.sqrt(opp * 14.0), "OCP": ocp * 14.0}[acts]
            when = found.check.plan.spans[1].start + (level - 12.0) / 20.0 + (0.01 if acts == "OCP" else 0.0)
            (trip,) = [event for event in record.events if event.kind.trip]
            assert trip.time == pytest.approx(when, abs=6e-3)
    read = [event.kind.trip for event in found.outcome.record.events if event.kind.trip]
    assert read == ([acts] if acts else [])


@pytest.mark.parametrize(("pulse", "trips"), [(20, False), (55, False), (65, True), (200, True)])
@pytest.mark.parametrize("times", [1, 4])
def test_a_pulse_shorter_than_the_delay_never_trips(
    pulse: int, trips: bool, times: int, tmp_path: Path
) -> None:
    """12 V and 15 V into 10 Ω, 1.35 A, 60 ms: however often a short pulse comes."""
    cycle = f"{{step_to: 15 V}}, {{hold: {pulse} ms}}, {{step_to: 12 V}}, {{hold: 40 ms}}"
    steps = f"  - shape: {{input: in1, segments: [{cycle}], repeat: {times}}}\n    name: pulses"
    limits = ("{current_limit: 1.35 A, at_limit: trip, trip_delay: 60 ms, ovp: 37 V}",)
    found = played(tmp_path, (resistor(10.0),), steps, limits=limits)
    for record in both(found):
        assert trips_of(record) == ([("s.1", "current limit")] if trips else [])
        if trips:
            (trip,) = [event for event in record.events if event.kind.trip]
            assert trip.time == pytest.approx(found.check.plan.spans[1].start + 0.06, abs=4e-3)


@pytest.mark.parametrize(("every", "hold"), [(10, 800), (20, 800), (50, 1300)])
def test_a_log_has_a_row_more_than_its_length_by_its_interval(every: int, hold: int, tmp_path: Path) -> None:
    """The procedure lasts 200 ms + hold; rows outside it, of the way to off, are not counted."""
    steps = f"  - hold: {hold} ms\n    name: steady"
    found = played(tmp_path, (resistor(40.0),), steps, every=f"{every} ms", down=False)
    time = open_run(tmp_path / "run").record.traces["in1"].time
    lasts = found.check.plan.duration
    assert lasts == pytest.approx(0.2 + hold * 1e-3)
    # A row's time is the instant at which it was asked for, less the readings' latency of 1 ms.
    asked = time + 1e-3
    plan = found.check.plan
    predicted = as_read(
        found.rehearsed.record,
        found.documents,
        plan.set_points,
        plan.timeline,
        dict.fromkeys(plan.set_points, every * 1e-3),
    )
    for rows in (asked, predicted.traces["in1"].time):
        inside = rows[(rows > -2e-3) & (rows < lasts + 2e-3)]
        assert inside.size == round(lasts / (every * 1e-3)) + 1


def test_a_tripped_output_refuses_on_until_it_is_cleared_and_each_linked_one_by_itself(
    tmp_path: Path,
) -> None:
    """Said to the supply itself, over SCPI: 1 is over-loaded, 2 and 3 go off with it."""
    for name, content in files((resistor(1.0), resistor(40.0), resistor(40.0)), HOLD).items():
        (tmp_path / name).write_bytes(content)
    documents = load_documents(tmp_path / "procedure.yaml")
    loop = VirtualLoop()
    network = VirtualNetwork(loop, documents.bench, documents.device, documents.procedure, seed=3)

    each_on = [f"OUTP ON,(@{number})" for number in (1, 2, 3)]

    async def speak() -> None:
        client = Client(await network.connect(documents.bench.supplies["s"].address))

        async def tell(*lines: str) -> None:
            for line in lines:
                await client.tell(line)
            await client.ask("*OPC?")

        async def on() -> list[bool]:
            assert await client.ask("*OPC?")
            return [network.on(f"s.{number}") for number in (1, 2, 3)]

        await tell("VOLT 12,(@1:3)", "CURR 2,(@1:3)", "CURR:PROT:STAT ON,(@1)", "CURR:PROT:DEL 0.02,(@1)")
        await tell("OUTP:PROT:LINK (@1),(@2)", "OUTP:PROT:LINK (@1),(@3)", "OUTP ON,(@2:3)")
        assert await on() == [False, True, True]
        await tell("OUTP ON,(@1)")
        loop_time = loop.now()
        while loop.now() < loop_time + 0.1:
            await client.ask("*OPC?")
        assert await on() == [False, False, False]
        await tell(*each_on)
        assert await on() == [False, False, False]
        await tell("OUTP:PROT:CLE (@2)", *each_on)
        assert await on() == [False, True, False]
        await tell("OUTP:PROT:CLE (@3)", *each_on)
        assert await on() == [False, True, True]
        await tell("CURR:PROT:STAT OFF,(@1)", "OUTP:PROT:CLE (@1)")
        assert await on() == [False, True, True]
        await tell("OUTP ON,(@1)")
        assert await on() == [True, True, True]

    with network:
        loop.complete(speak())


def test_a_tripped_output_refuses_on_in_the_rehearsal_too(tmp_path: Path) -> None:
    """The rehearsal's circuit, told what the supply is told above: 12 V into 1 Ω at 2 A; 2 and 3 go off with
    1, as soon as it does. Each is on again when it was cleared itself and told so, and not before.
    """
    trips = "{current_limit: 2 A, at_limit: trip, trip_delay: 20 ms, ovp: 37 V}"
    linked = "{current_limit: 2 A, at_limit: regulate, ovp: 37 V, trips_when: [in1]}"
    loads, names = (resistor(1.0), resistor(40.0), resistor(40.0)), ("s.1", "s.2", "s.3")
    for name, content in files(loads, HOLD, limits=(trips, linked, linked)).items():
        (tmp_path / name).write_bytes(content)
    job = Job.open(tmp_path / "procedure.yaml")
    circuit, _ = build_circuit(job.documents, job.check(static=True).settings.set_points, NOMINAL)
    simulation = Simulation(circuit)

    def on() -> list[bool]:
        return [simulation.output(each).on for each in names]

    def tell(*told: str, **what: bool) -> list[bool]:
        for each in told:
            simulation.set(each, **what)
        simulation.advance(simulation.time + 1e-3)
        return on()

    for each in names:
        simulation.set(each, voltage=12.0, current_limit=2.0, ovp=37.0)
    simulation.set("s.1", at_limit="trip", trip_delay=0.02)
    assert tell("s.2", "s.3", on=True) == [False, True, True]
    simulation.set("s.1", on=True)
    events = simulation.advance(simulation.time + 0.1).events
    tripped = {event.subject: event.time for event in events if event.kind.trip}
    assert tripped["s.1"] == pytest.approx(1e-3 + 0.02, abs=2e-3)
    assert sorted(tripped) == ["s.1", "s.2", "s.3"]
    assert on() == [False, False, False]
    assert tell(*names, on=True) == [False, False, False]
    assert tell("s.2", clear=True) == [False, False, False]
    assert tell(*names, on=True) == [False, True, False]
    assert tell("s.3", clear=True) == [False, True, False]
    assert tell(*names, on=True) == [False, True, True]
    simulation.set("s.1", at_limit="regulate")
    assert tell("s.1", clear=True) == [False, True, True]
    assert tell("s.1", on=True) == [True, True, True]
