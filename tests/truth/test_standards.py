"""A standard's test begins at its own level, is played as often as asked, and is not claimed where it is not.

The truth is worked out here: a dip to 70 % of 12 V goes from 12 V to 8.4 V, whatever stood before; levels are
products of two figures. That it really leaves U_T is read off the rehearsed voltage and off the readings of a
run on simulated supplies: before it last goes a fifth of the way, the voltage stands at U_T for 0.3 s.
Repetitions are counted, and times between two added up, by hand: IEC 61000-4-29 asks for three, 10 s apart,
ISO 16750-2 for ten starts (both from memory).
"""

from __future__ import annotations

import math
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from tests.said import says
from tests.truth.saying import WIDE, case_documents, head, record_of_run, station
from tests.truth.table import TruthTable, Within

from railwright.job import Job
from railwright.settings.findings import Finding

TAIL = """
  - power_down: {order: [transducer, main], gap: 20 ms}
record: {every: 10 ms}
"""
DIP = "input: main, standard: IEC 61000-4-29 dip, level: 70 %, duration: 300 ms"


def shape(text: str, name: str) -> str:
    return f"shape: {{{text}}}, name: {name}"


def procedure(*steps: str, settle: str = "150 ms") -> str:
    return (
        "procedure: A standard's test\n"
        + head(**WIDE, settle=settle)
        + "\n".join(f"  - {{{step}}}" for step in steps)
        + TAIL
    )


STARTS: dict[str, tuple[str, str, str, float, float]] = {
    # What comes before, the test, its input, its own level, the level that it goes to [V].
    "a dip after a sweep down": (
        "sweep: {input: main, from: 16 V, to: 9 V, points: 8, dwell: 100 ms}",
        DIP,
        "main",
        12.0,
        8.4,
    ),
    "a variation up after a step elsewhere": (
        shape("input: main, segments: [{hold: 100 ms}, {step_to: 14 V}]", "before"),
        "input: main, standard: IEC 61000-4-29 variation, level: 120 %, duration: 300 ms",
        "main",
        12.0,
        14.4,
    ),
    "an interruption after zero": (
        shape("input: transducer, segments: [{hold: 1 ms}, {step_to: 0 V}, {hold: 1 s}]", "before"),
        "input: transducer, standard: IEC 61000-4-29 interruption, impedance: low, duration: 1 s",
        "transducer",
        24.0,
        0.0,
    ),
    "a drop from the lowest voltage": (
        "hold: 300 ms",
        "input: main, standard: ISO 16750-2 momentary drop",
        "main",
        9.0,
        4.5,
    ),
    "switched off on another input": (
        "sweep: {input: transducer, from: 18 V, to: 30 V, points: 4, dwell: 100 ms}",
        "input: transducer, standard: IEC 61000-4-29 interruption, impedance: high, duration: 1 s",
        "transducer",
        24.0,
        0.0,
    ),
    "two inputs on one time base": (
        "sweep: {input: transducer, from: 30 V, to: 18 V, points: 4, dwell: 100 ms}",
        "inputs: {main: {segments: [{hold: 100 ms}]}, "
        "transducer: {standard: IEC 61000-4-29 dip, level: 40 %, duration: 300 ms}}",
        "transducer",
        24.0,
        9.6,
    ),
}


def stands_before(time: NDArray[np.float64], voltage: NDArray[np.float64], base: float, to: float) -> float:
    """How long the voltage stands within 1 % of `base` before it goes towards `to` the last time [s]."""
    gone = base + 0.2 * (to - base)
    beyond = (voltage - gone) * (to - base) > 0.0
    at = [number for number, (one, other) in enumerate(pairwise(beyond)) if other and not one]
    if not at:
        return 0.0
    near = np.abs(voltage[: at[-1] + 1] - base) < 0.01 * base
    # The passage itself: from the last instant at the base to a fifth of the way, in 0.15 s at most.
    last = np.flatnonzero(near)
    if not last.size or time[at[-1]] - time[last[-1]] > 0.15:
        return 0.0
    away = np.flatnonzero(~near[: last[-1] + 1])
    first = int(away[-1]) + 1 if away.size else 0
    return float(time[last[-1]] - time[first])


@pytest.mark.case("step-from-wrong-level")
@pytest.mark.parametrize("name", STARTS)
def test_it_leaves_its_own_level(name: str, tmp_path: Path, truth_table: TruthTable) -> None:
    before, text, of, base, to = STARTS[name]
    path = station(tmp_path, procedure(before, shape(text, "test"), "hold: 300 ms"))
    leaves(path, "test", of, base, to, truth_table)


@pytest.mark.case("step-from-wrong-level")
def test_as_it_was_found(tmp_path: Path, truth_table: TruthTable) -> None:
    """A dip to 70 % of 12 V after a sweep from 16 V to 9 V."""
    path = case_documents("step-from-wrong-level", tmp_path) / "sweepdip.procedure.yaml"
    leaves(path, "dip", "main", 12.0, 8.4, truth_table)


def leaves(path: Path, step: str, of: str, base: float, to: float, truth_table: TruthTable) -> None:
    """It stands at its own level for 0.3 s before it leaves it, rehearsed and read."""
    job = Job.open(path)
    stands: dict[str, float] = {}
    for place, record in (("rehearsed", job.rehearse().record), ("read", record_of_run(path, seed=5))):
        span = next(each for each in record.spans if each.name == step)
        traces = record.traces[of].between(span.start, span.end)
        columns = traces.columns
        voltage = columns["voltage"] if "voltage" in columns else columns["terminal_voltage"]
        stands[place] = stands_before(traces.time, voltage, base, to)
    what = f"time at {base:g} V before it goes to {to:g} V"
    truth_table.compare(what, Within(0.3, math.inf), stands, "s")
    assert not rules(job.check().findings, "standard-start")


STOPPED: dict[str, tuple[tuple[str, ...], str, dict[str, list[tuple[str, str]]]]] = {
    "no pause between two": ((shape(f"{DIP}, repeat: 2", "test"),), "150 ms", {}),
    "switched on just before": (
        (shape(DIP.replace("main", "transducer"), "test"),),
        "0 ms",
        {},
    ),
    "back just before": (
        (
            "sweep: {input: main, from: 9 V, to: 16 V, points: 4, dwell: 100 ms}",
            shape("input: main, segments: [{hold: 100 ms}, {step_to: 12 V}]", "back"),
            shape(DIP, "test"),
        ),
        "150 ms",
        {},
    ),
    "a lead that drops too much": (
        (shape(DIP, "test"),),
        "150 ms",
        {
            "truth.procedure.yaml": [("silicone pair, sense: at load", "silicone pair, sense: at terminals")],
            "quay.bench.yaml": [("AWG 18, one_way_length: 1.5 m", "AWG 24, one_way_length: 20 m")],
        },
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", STOPPED)
def test_the_check_stops_where_it_is_not_at_its_level(name: str, tmp_path: Path) -> None:
    steps, settle, edits = STOPPED[name]
    check = Job.open(station(tmp_path, procedure(*steps, settle=settle), edits)).check()
    (finding,) = rules(check.findings, "standard-start")
    assert finding.blocks
    assert "standard: IEC" in line(finding)


REPEATED: dict[str, tuple[tuple[str, ...], str]] = {
    # Steps, and what is told: the count of repetitions, the time between two; '': nothing.
    "three, 10 s apart": ((shape(f"{DIP}, repeat: 3, pause_between: 10 s", "a"),), ""),
    "one": ((shape(DIP, "a"),), "1 of the 3 repetitions"),
    "two": ((shape(f"{DIP}, repeat: 2, pause_between: 12 s", "a"),), "2 of the 3 repetitions"),
    "three, 5 s apart": ((shape(f"{DIP}, repeat: 3, pause_between: 5 s", "a"),), "5 s after the one before"),
    # After a dip its step stays at its last level for 1 s.
    "three steps, 10 s apart": (
        (shape(DIP, "a"), "hold: 9 s", shape(DIP, "b"), "hold: 9 s", shape(DIP, "c")),
        "",
    ),
    "three steps, 8 s apart": (
        (shape(DIP, "a"), "hold: 9 s", shape(DIP, "b"), "hold: 7 s", shape(DIP, "c")),
        "8 s after the one before",
    ),
    "another level too soon": (
        (
            shape(f"{DIP}, repeat: 3, pause_between: 10 s", "a"),
            shape(f"{DIP.replace('70', '40')}, repeat: 3, pause_between: 10 s", "b"),
            shape(f"{DIP.replace('70', '0.7')}", "c").replace("0.7 %", "0.7"),
        ),
        "",
    ),
    "three, but one at another level": (
        (
            shape(f"{DIP}, repeat: 2, pause_between: 10 s", "a"),
            "hold: 10 s",
            shape(f"{DIP.replace('70', '40')}, repeat: 3, pause_between: 10 s", "b"),
        ),
        "2 of the 3 repetitions",
    ),
    "four starts of an engine": (
        (shape("input: main, standard: ISO 16750-2 starting, level: I, repeat: 4, pause_between: 2 s", "a"),),
        "4 of the 10 repetitions",
    ),
    "ten starts of an engine": (
        (
            shape(
                "input: main, standard: ISO 16750-2 starting, level: I, repeat: 10, pause_between: 2 s", "a"
            ),
        ),
        "",
    ),
}


@pytest.mark.parametrize("name", REPEATED)
def test_repetitions_and_intervals_below_what_is_asked_are_told(name: str, tmp_path: Path) -> None:
    steps, told = REPEATED[name]
    check = Job.open(station(tmp_path, procedure(*steps))).check(static=True)
    found = rules(check.findings, "standard-repeated-less")
    assert [told in finding.why for finding in found] == ([True] if told else []), found


def of_nominal(voltage: str) -> dict[str, list[tuple[str, str]]]:
    """The input main of another nominal voltage, which works from half of it to one and a half of it."""
    low, high = (f"{part * float(voltage.split()[0]):g} V" for part in (0.5, 1.5))
    edits = [
        ("nominal: 12 V", f"nominal: {voltage}"),
        ("operating: 9 V .. 16 V", f"operating: {low} .. {high}"),
    ]
    return {"tide-gauge.device.yaml": edits}


SYSTEMS = {
    # The test, the input's nominal voltage, and the system that it is for, where that is another one.
    "aircraft on 12 V": ("MIL-STD-704F normal transient, level: under", "12 V", "28 V system"),
    "airborne on 12 V": ("RTCA DO-160G abnormal surge, level: A", "12 V", "28 V system"),
    "airborne on 14 V": ("RTCA DO-160G abnormal surge, level: Z", "14 V", "28 V system on an input of 14 V"),
    "aircraft on 28 V": ("MIL-STD-704F normal transient, level: over", "28 V", ""),
    "road on 12 V": ("ISO 16750-2 momentary drop", "12 V", ""),
    "road on 14 V": ("ISO 16750-2 jump start", "14 V", ""),
    "road on 24 V": ("ISO 16750-2 over-voltage", "24 V", ""),
    "road on 5 V": ("ISO 16750-2 momentary drop", "5 V", "12 V system on an input of 5 V"),
    "road on 36 V": ("ISO 16750-2 momentary drop", "36 V", "24 V system on an input of 36 V"),
    "parts of any voltage": ("EN 50155 temporary dip", "12 V", ""),
}  # fmt: skip


@pytest.mark.parametrize("name", SYSTEMS)
def test_the_figures_of_another_system_are_a_stop(name: str, tmp_path: Path) -> None:
    text, nominal, told = SYSTEMS[name]
    steps = procedure(shape(f"input: main, standard: {text}", "test"))
    check = Job.open(station(tmp_path, steps, of_nominal(nominal))).check(static=True)
    found = rules(check.findings, "standard-other-system")
    assert [told in finding.why and finding.blocks for finding in found] == ([True] if told else []), found


PULSES = {
    # The test, what the input withstands, and what is said of it.
    "load dump": ("load dump, level: A", "{voltage: 20 V}", "101 V", "more than the 20 V"),
    "suppressed": ("load dump, level: B", "{voltage: 20 V}", "35 V", "more than the 20 V"),
    "suppressed, for long": ("load dump, level: B", "{voltage: 36 V, for: 500 ms}", "35 V", "withstands its"),
    "suppressed, too long": ("load dump, level: B", "{voltage: 36 V, for: 300 ms}", "35 V", "or for longer"),
    "reversed": ("reversed voltage", "{reverse: 16 V}", "14 V", "withstands its"),
    "reversed, too long": ("reversed voltage", "{reverse: 16 V, for: 1 s}", "14 V", "or for longer"),
    "reversed, unknown": ("reversed voltage", "{voltage: 20 V}", "14 V", "does not say"),
}  # fmt: skip


@pytest.mark.parametrize("name", PULSES)
def test_what_a_supply_cannot_play_is_checked_at_most(name: str, tmp_path: Path) -> None:
    text, withstands, voltage, told = PULSES[name]
    old = (
        "\n      - {voltage: 20 V}                  # for any time\n      - {voltage: 26 V, for: 1 s}\n"
        "      - {reverse: 16 V}                  # protected; leave out when it is not\n"
    )
    device = [(old, f"\n      - {withstands}\n")]
    steps = procedure(shape(f"input: main, standard: ISO 16750-2 {text}", "test"), "hold: 300 ms")
    steps += "overrides: [{finding: standard-not-played, because: it is hoped that this does}]\n"
    job = Job.open(station(tmp_path, steps, {"tide-gauge.device.yaml": device}))
    findings = job.check(static=True).findings
    (finding,) = rules(findings, "standard-not-played")
    assert finding.blocks  # the override accepts nothing
    assert says(finding.why, "not played", "lacks")
    assert voltage in finding.why
    assert told in finding.why
    assert not rules(findings, "standard-from-memory")  # which says that it is played
    assert not [action for action in job.timeline.actions if action.path[:2] == ("steps", 1)]
    lacks = ["below zero"] if "reversed" in text else ["source resistance", "500 mΩ", "4 Ω"]
    assert says(finding.why, *lacks)


def rules(findings: tuple[Finding, ...], rule: str) -> list[Finding]:
    return [finding for finding in findings if finding.rule == rule]


def line(finding: Finding) -> str:
    return Path(finding.where.file).read_text("utf-8").splitlines()[finding.where.line - 1]
