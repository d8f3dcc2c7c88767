"""The stored runs: which they are, and how each is played."""

# ruff: noqa: E501 - an edit stands in one line

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from typing import Any

from benchmarks.same_outcomes.documents import Documents, drawn, loaded
from benchmarks.same_outcomes.edits import apply_one
from benchmarks.same_outcomes.loads import converter_load, recordings

OUTPUT = """{voltage: 0 V .. 36 V, current: 0 A .. 2.5 A, power: 60 W, slew: 1 V/s .. 10 V/ms,
  programming: {voltage: {offset: 8 mV, resolution: 1 mV}, current: {offset: 4 mA, resolution: 1 mA}},
  reading: {voltage: {offset: 6 mV, resolution: 1 mV, noise: 1 mV},
    current: {offset: 3 mA, resolution: 0.1 mA, noise: 0.2 mA}, update: 10 ms, aperture: 8 ms, latency: 2 ms},
  rise: 5 ms, fall: {loaded: 20 ms, unloaded: 200 ms}, limit_response: 1 ms,
  output_capacitance: 100 uF, bleeder: 1 kohm, ovp: {level: 1 V .. 38 V, accuracy: 100 mV, response: 200 us},
  opp: {level: 1 W .. 66 W}, ocp: {level: 0 A .. 2.75 A, delay: 0 s .. 1 s}, trip_delay: 1 ms .. 5 s,
  points: {at_most: 100, dwell: 10 ms .. 300 s, between: [step, line]}, sense: {compensates: 1 V},
  may_join: [series, parallel]}"""

BENCH = """
bench: Bench of stored runs
location: dry
ambient: 23 °C ± 3 °C
supplies:
  left:
    address: TCPIP::127.0.0.1::5025::SOCKET
    dialect: channel-list
    serial: S-1
    calibrated: {on: 2001-03-02, due: 2199-03-02, certificate: C-1}
    outputs: {1: OUTPUT, 2: {same_as: 1}}
  right:
    address: TCPIP::127.0.0.1::5026::SOCKET
    dialect: selected-output
    serial: S-2
    outputs: {1: OUTPUT, 2: {same_as: 1}}
recorders:
  scope: {interval: 50 us, voltage: {of_value: 0.5 %, offset: 20 mV, resolution: 10 mV},
    current: {of_value: 1 %, offset: 1 mA, resolution: 0.1 mA}}
leads:
  pair: {conductor: AWG 18, one_way_length: <0.5..2 m>, contact_resistance_loop: 8 mohm, permitted_current: 8 A}
"""

DEVICE = """
device: Device of stored runs
inputs:
  main:
    nominal: 12 V
    operating: 9 V .. 16 V
    withstands: [{voltage: 24 V}]
    current: {steady: 100 mA .. 700 mA, at_most: 3 A}
    return: isolated
    load: CONVERTER
  aux:
    nominal: 5 V
    operating: 4 V .. 6 V
    withstands: [{voltage: 9 V}]
    current: {steady: 50 mA .. 300 mA, at_most: 1 A}
    return: isolated
    load: [{resistor: <25..50 ohm> ± 5 %}]
""".replace("CONVERTER", converter_load("<200..900 uF>", "<3..4 W>"))

PROCEDURE = """
procedure: Stored run
device: device.yaml
bench: bench.yaml
hook_up:
  main: {from: left.1, lead: pair, sense: at load}
  aux: {from: right.1, lead: pair, sense: at terminals}
limits:
  main: {current_limit: 1.2 A, at_limit: trip, trip_delay: 60 ms, ovp: 18 V}
  aux: {current_limit: 500 mA, at_limit: trip, trip_delay: 30 ms, ovp: 7 V, trips_when: [main]}
steps:
  - power_up: {order: [main, aux], gap: 50 ms, rise: <0.5..2 V/ms>, settle: 200 ms}
    name: rise
  - hold: 500 ms
    name: steady
  - sweep: {input: main, from: 9 V, to: 15 V, points: 4, dwell: 150 ms}
    name: sweep
  - shape: {input: main, segments: [{step_to: 12 V}, {hold: 200 ms}, {line_to: 6 V, over: 600 ms}, {hold: 150 ms},
      {line_to: 12 V, over: 600 ms}, {hold: 200 ms}]}
    name: brown-out
  - power_down: {order: [aux, main], gap: 20 ms}
record: {every: 10 ms}
requires:
  - {name: starts in time, measure: start_up_time, of: main, during: rise, at_most: 150 ms}
  - {name: charge, measure: charge, of: main, during: rise, at_most: 300 mC}
  - {name: level, measure: high_state_level, of: main, during: steady, between: 11.8 V .. 12.2 V}
  - {name: current, measure: mean_current, of: aux, during: steady, at_most: 300 mA}
  - {name: energy, measure: energy, of: main, during: steady, at_most: 4 J}
  - {name: power, measure: mean_power, of: main, during: sweep, each_point: worst, at_most: 8 W}
  - {name: runs on, measure: restarts, of: main, during: sweep, at_most: 0}
  - {name: stops at, measure: turn_off_voltage, of: main, during: brown-out, between: 7 V .. 8.2 V}
  - {name: starts at, measure: turn_on_voltage, of: main, during: brown-out, between: 8 V .. 9 V}
  - {name: low, measure: low_state_level, of: main, during: brown-out, between: 5.8 V .. 6.2 V}
"""

ASKED = "procedure/requires/- + "
MEAN = f"{ASKED}{{name: mean, measure: mean_current, of: aux, during: steady"


@dataclass
class Run:
    """One stored run: its documents, how it is played, and the arguments of each evaluation.

    folders: of the evaluations, each its own copy of what the run left. spoil: what is done to that before.
    """

    name: str
    kind: str
    files: dict[str, bytes]
    request: dict[str, Any]
    folders: tuple[str, ...]
    evaluations: tuple[tuple[str, ...], ...]
    spoil: Callable[[Path], None] | None = None


@dataclass
class _Kind:
    """A kind of run by what differs from the usual one: edits of its documents (as `edits` has them) and keys
    of its request.
    """

    edits: tuple[str, ...] = ()
    given: dict[str, Any] = field(default_factory=dict)
    spoil: Callable[[Path], None] | None = None


def _killed(folder: Path) -> None:
    """As if the run had died before it could say that it ended: it is read from its log."""
    path = folder / "run.json"
    path.write_text(json.dumps({**json.loads(path.read_text("utf-8")), "ended": None}), "utf-8")


def _edited(folder: Path) -> None:
    """As if somebody had changed a file afterwards."""
    path = folder / "documents" / "procedure.yaml"
    path = path if path.exists() else next(iter(sorted((folder / "documents").rglob("procedure.yaml"))))
    path.write_text(path.read_text("utf-8") + "\n# looked at later\n", "utf-8")


LIST = "procedure/steps/3 + {shape: {input: main, segments: [{step_to: 10 V}, {hold: 12 ms}, {step_to: 12 V}, {hold: 15 ms}, {step_to: 11 V}, {hold: 40 ms}, {step_to: 12 V}, {hold: 100 ms}]}, name: list}"  # fmt: skip

KINDS: dict[str, _Kind] = {
    "passed": _Kind(),
    "failed": _Kind((MEAN + ", at_most: <50..90 mA>}",)),
    "failed and inconclusive": _Kind(
        (
            MEAN + ", at_least: 1 A}",
            ASKED + "{name: peak, measure: peak_current, of: main, during: rise, at_most: 2 A}",
        )
    ),
    "tripped": _Kind(given={"true": {"aux.resistor.resistance": "=<4..8 >"}}),
    "restarts": _Kind(given={"true": {"main.converter.output_power": "x<3.3..3.8 >"}}),
    "stopped by its condition": _Kind(
        ("procedure/stop_when = [{input: aux, current_above: <60..90 mA>, for: 50 ms, during: steady}]",)
    ),
    "stopped by a person": _Kind(given={"stop_at": "sweep"}),
    "series": _Kind(
        (
            "procedure/hook_up/main = {from: {series: [left.1, left.2]}, lead: pair, sense: at terminals}",
            "procedure/limits/main/ovp = 18 V",
        )
    ),
    "parallel": _Kind(("procedure/hook_up/main = {from: {parallel: [left.1, left.2]}, lead: pair, sense: at load}",)),
    "list": _Kind(
        (
            LIST,
            ASKED + "{name: bears the list, measure: restarts, of: main, during: list, at_most: 0}",
            ASKED + "{name: lowest, measure: low_state_level, of: main, during: list, at_least: 9 V}",
        )
    ),
    "recording": _Kind(
        (
            "procedure/steps/3 + {shape: {input: main, recording: recorded.csv}, name: recorded}",
            ASKED + "{name: recorded, measure: mean_voltage, of: main, during: recorded, between: 9 V .. 12 V}",
        )
    ),
    "external recorder": _Kind(
        (ASKED + "{name: inrush, measure: peak_current, of: main, during: rise, at_most: <2..4 A>}",),
        given={"recorder": "scope", "trigger": ["main", "voltage", 1.0, "rise", 0.05, 0.5]},
    ),
    "inconclusive": _Kind(
        (
            ASKED + "{name: fine, measure: mean_voltage, of: main, during: steady, between: 11.99 V .. 12.01 V}",
            ASKED + "{name: peak, measure: peak_voltage, of: main, during: sweep, at_most: 15.05 V}",
        )
    ),
    "simple decision": _Kind(("procedure/decision = {rule: simple}", MEAN + ", at_most: <130..170 mA>}")),
    "lost": _Kind(given={"mischief": ["left: refuses at 1.2 s"]}),
    "not confirmed off": _Kind(given={"mischief": ["right.1: stays on at 1.5 s"]}),
    "overheated": _Kind(given={"mischief": ["right.1: overheats at 1.0 s"]}),
    "killed": _Kind(spoil=_killed),
    "stopped and killed": _Kind(given={"stop_at": "brown-out"}, spoil=_killed),
    "edited later": _Kind(spoil=_edited),
}  # fmt: skip


def draw_runs(seed: int, count: int) -> Iterator[Run]:
    """So many runs, each kind in turn."""
    for number in range(count):
        dice = Random(f"run {seed} {number}")
        kind = list(KINDS)[number % len(KINDS)]
        yield _drawn(dice, f"run{number:02d}", kind)


def _drawn(dice: Random, name: str, kind: str) -> Run:
    how = KINDS[kind]
    device, procedure = (loaded(drawn(dice, text)) for text in (DEVICE, PROCEDURE))
    bench = loaded(drawn(dice, BENCH).replace("OUTPUT", " ".join(OUTPUT.split())))
    documents = Documents(device, bench, procedure, recordings(dice, 12.0))
    for edit in how.edits:
        apply_one(documents, drawn(dice, edit))
    given = {
        "do": "play",
        "procedure": f"{name}/procedure.yaml",
        "folder": f"{name}/run",
        "seed": dice.randrange(1000),
        "true": {},
        "mischief": [],
        "stop_at": "",
        "recorder": "",
        "trigger": [],
        "capture": f"{name}/scope.csv",
        **how.given,
    }
    given["true"] = {key: drawn(dice, text).strip() for key, text in given["true"].items()}
    options: list[tuple[str, ...]] = [()]
    if given["recorder"]:
        options.append(("--record", given["capture"], "--recorder", given["recorder"]))
    folders = tuple(f"{name}/evaluated{number}" for number in range(len(options)))
    evaluations = (
        ("evaluate", folder, *each, "--json") for folder, each in zip(folders, options, strict=True)
    )
    return Run(name, kind, dict(documents.written(dice)), given, folders, tuple(evaluations), how.spoil)
