"""Every static rule: a case in which it fires, at its line and with its numbers, and one in which not."""

from __future__ import annotations

import datetime as dt
import json
import re
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from tests.said import figures, says
from tests.settings.station import TODAY, Edit, line_of, of_rule, settled, station

from railwright.circuit.case import fixed
from railwright.dialects.dialect import load_dialect
from railwright.dialects.files import dialect_text
from railwright.evaluation.evaluate import evaluate
from railwright.measures import MEASURES
from railwright.plan.timeline import build_timeline
from railwright.quantities import show
from railwright.rehearsal.needed import trips
from railwright.settings.constraints.ovp import falling
from railwright.settings.context import sources_of
from railwright.settings.data import as_data, settings_from_data
from railwright.settings.engine_rules import ENGINE_RULES
from railwright.settings.rules import RULES
from railwright.settings.rules.stability import least_capacitance
from railwright.settings.settle import settle
from railwright.traces import Record, Traces

MAIN = "main:       {from: left.1, lead: silicone pair, sense: at load}"
TRANSDUCER = "transducer: {from: right.1, lead: thin pair, sense: at terminals}"
BOTH_LEFT: Edit = (
    "procedure",
    TRANSDUCER,
    "transducer: {from: left.2, lead: thin pair, sense: at terminals}",
)
SERIES: Edit = (
    "procedure",
    MAIN,
    "main: {from: {series: [left.1, left.2]}, lead: silicone pair, sense: at load}",
)
PARALLEL: Edit = (
    "procedure",
    MAIN,
    "main: {from: {parallel: [left.1, left.2]}, lead: silicone pair, sense: at load}",
)
UNSENSED: Edit = ("procedure", MAIN, "main: {from: left.1, lead: silicone pair, sense: at terminals}")
LIMIT = "current_limit: 1 A"
SWEEP = "sweep: {input: main, from: 9 V, to: 16 V, points: 8, dwell: 500 ms}"
POWER_UP = "power_up: {order: [main, transducer], gap: 50 ms, rise: 2 V/ms, settle: 150 ms}"
STOP = "{input: main, current_above: 900 mA, for: 100 ms}"
BANK_GONE: Edit = ("device", "      - capacitor: {capacitance: 1000 uF ± 20 %, esr: 60 mohm}\n", "")
SMALL: Edit = ("device", "capacitor: {capacitance: 10 uF ± 20 %, esr: 200 mohm}", "capacitor: 2 nF")
FALLING = (
    "iv_table: {points: [{voltage: 0 V, current: 0 A}, {voltage: 9 V, current: 60 mA}, "
    "{voltage: 19 V, current: 40 mA}, {voltage: 40 V, current: 40 mA}]}"
)
POWER = "profile: {compliance: 5 V, points: [{time: 0 s, power: 0.4 W}, {time: 1 s, power: 1.2 W}]}"
INRUSH = "    at_most: 60 mA"
CALIBRATED = "calibrated: {on: 2026-03-02, due: 2027-03-02, certificate: QB-26-031}"

OWN_REQUIRED: Edit = (
    "procedure",
    "requires:\n",
    "requires:\n  - {name: runs on, measure: restarts, of: main, during: own shape, at_most: 0}\n",
)


def shape(text: str) -> tuple[Edit, ...]:
    """Another shape before the station's own."""
    return (("procedure", "  - shape:\n", f"  - shape: {{{text}}}\n    name: own shape\n  - shape:\n"),)


def power_up(text: str) -> Edit:
    return ("procedure", POWER_UP, f"power_up: {{{text}}}")


def sweep(text: str) -> Edit:
    return ("procedure", SWEEP, f"sweep: {{input: main, {text}}}")


def dip(to: str) -> tuple[Edit, ...]:
    """Unsensed; in one step below the operating range and up to a voltage; in the others, inside it."""
    line = "- {line_to: 6 V, over: 2 s}"
    return (
        UNSENSED,
        sweep("from: 9.1 V, to: 16 V, points: 8, dwell: 500 ms"),
        ("procedure", line, f"{line}\n        - {{step_to: {to}}}"),
    )


def limit(text: str) -> Edit:
    return ("procedure", LIMIT, f"current_limit: {text}")


def fixture(text: str, where: str = MAIN) -> tuple[Edit, Edit]:
    """A fixture of these parts in the lead of main (or of another)."""
    return (
        ("bench", "\nleads:", f"\nfixtures:\n  box: {{{text}}}\n\nleads:"),
        ("procedure", where, where.replace(", sense", ", fixture: box, sense")),
    )


def inside(text: str) -> Edit:
    """Parts between the connector and the load of main."""
    load = "    load:                                # parts in parallel\n"
    return ("device", load, f"    inside: {{{text}}}\n{load}")


def protections(text: str) -> Edit:
    """More limits of main."""
    return ("procedure", "    trip_delay: 40 ms\n", f"    trip_delay: 40 ms\n{text}")


def fuse(*points: str) -> str:
    pairs = [each.split(" at ") for each in points]
    curve = ", ".join(f"{{current: {current}, time: {time}}}" for time, current in pairs)
    return f"fuse: {{curve: [{curve}], resistance: 40 mohm}}"


OWN_LEVELS: Edit = (
    "bench",
    "        trip_delay: 2 ms .. 5 s\n",
    "        trip_delay: 2 ms .. 5 s\n        opp: {level: 1 W .. 66 W}\n"
    "        ocp: {level: 0.1 A .. 2.75 A, delay: 5 ms .. 1 s}\n",
)


def coupled(by: str, of: str = "voltage") -> tuple[Edit, Edit]:
    """Both outputs of left coupled, one feeding main and one the transducer."""
    groups = f"    coupled: [{{outputs: [1, 2], by: {by}, of: {of}}}]"
    return BOTH_LEFT, ("bench", "    isolation: 150 V", f"{groups}\n    isolation: 150 V")


STOCK: Edit = (
    "bench",
    "\nleads:",
    "\nstock: [{conductor: AWG 20, permitted_current: 0.5 A}, {conductor: AWG 10}, {conductor: AWG 14}]"
    "\nleads:",
)
NEVER_UNDER: Edit = (
    "device",
    "    load:                                # parts",
    "    never_under: 11.6 V\n    load:  # parts",
)


def own_ovp(text: str) -> tuple[Edit, ...]:
    """Something more of the OVP of left.1."""
    ovp = "ovp: {level: 1 V .. 38 V, accuracy: 100 mV, response: 200 us, at: terminals"
    return (("bench", ovp, f"{ovp}, {text}"),)


UNPROTECTED: Edit = ("device", "      - {reverse: 16 V}", "      # unprotected")
REGULATES: Edit = (
    "procedure",
    "at_limit: trip                       # or: regulate (IVI-4.4)\n    trip_delay: 40 ms\n",
    "at_limit: regulate\n",
)
IN_LIMIT: Edit = ("procedure", "at_limit: regulate\n", "at_limit: regulate\n    purpose: current\n")


LIMITED: Edit = (
    "procedure",
    "current_limit: 1 A\n    at_limit: trip                       # or: regulate (IVI-4.4)\n"
    "    trip_delay: 40 ms\n",
    "current_limit: 2.4 A\n    at_limit: regulate\n",
)


def charged(text: str = "") -> tuple[Edit, ...]:
    """A cell behind main, of 11.5 V at first, that is charged; more limits of main."""
    own = IN_LIMIT[2] + "    charge_at_most: 900 C\n" if not text else IN_LIMIT[2] + text
    return BATTERY, REGULATES, (*IN_LIMIT[:2], own)


@dataclass(frozen=True)
class Case:
    """`fires`: edits under which the rule finds something; `silent`: edits under which it does not."""

    rule: str
    about: str
    fires: tuple[Edit, ...]
    line: str
    why: str
    silent: tuple[Edit, ...] = ()
    today: dt.date = TODAY


def probed(of: str, meter: str) -> tuple[Edit, ...]:
    """A multimeter called M at an input."""
    own = f"  M: {{address: TCPIP::127.0.0.1::5030::SOCKET, {meter}, aperture: 20 ms, interval: 50 ms}}"
    return (
        ("bench", "\nleads:\n", f"\nmultimeters:\n{own}\nleads:\n"),
        ("procedure", "\nlimits:\n", f"\nmultimeters: {{M: {{of: {of}}}}}\nlimits:\n"),
    )


RATED = "voltage: 30 V, current: 5 A"
CONNECT = "  - relays: {close: [gate], settle: 100 ms}\n    name: connect\n"
CUT = "  - relays: {open: [gate], settle: 100 ms}\n    name: cut\n"
COIL: Edit = (
    "device",
    "      - capacitor: {capacitance: 1000 uF ± 20 %, esr: 60 mohm}\n",
    "      - coil: {inductance: 80 mH, resistance: 24 ohm}\n",
)


def relayed(
    contact: str = RATED,
    before: str = CONNECT,
    during: str = "",
    starts: str = "open",
    sense: str = "terminals",
) -> tuple[Edit, ...]:
    """A relay's contact in the lead of main; steps before the power-up, and while main is on."""
    own = f"gate: {{channel: 101, fixture: box, without_power: open, {contact}}}"
    address = "address: TCPIP::127.0.0.1::5040::SOCKET"
    relays = f"relays:\n  S: {{{address}, model: Q, serial: R-1, contacts: {{{own}}}}}\n"
    parts = fixture(f"switch: {{starts: {starts}, resistance: 20 mohm}}")
    (bench, hook_up) = parts
    return (
        (*bench[:2], bench[2].replace("\nfixtures:", f"\n{relays}fixtures:")),
        (*hook_up[:2], hook_up[2].replace("at load", f"at {sense}")),
        ("procedure", "steps:\n", f"steps:\n{before}"),
        ("procedure", "  - sweep:", f"{during}  - sweep:"),
    )


ENABLE = "  - relays: {close: [en], settle: 100 ms}\n    name: enable\n"
SOFT_START = "          soft_start: 8 ms\n"


# Many: what a pin and what drives it are.
def pinned(
    pin: str = "active: high, undriven: low",
    contact: str = "closed: high, without_power: open",
    starts: str = "inactive",
    before: str = "",
    during: str = ENABLE,
    enables: bool = True,
    driven: bool = True,
    more: str = "",
) -> tuple[Edit, ...]:
    """A pin that enables the converter of main, and what drives it; steps before the power-up, and while main
    is on.
    """
    address = "address: TCPIP::127.0.0.1::5040::SOCKET"
    own = f"{{{address}, model: Q, serial: R-1, contacts: {{en: {{channel: 3, {contact}}}}}}}"
    pins = f"pins: {{run: {{from: en, starts: {starts}}}}}\n"
    entry = f"{SOFT_START}        enabled_by: run\n" if enables else SOFT_START
    return (
        ("bench", "\nleads:\n", f"\nrelays:\n  P: {own}\nleads:\n"),
        ("device", "\ninputs:\n", f"\npins:\n  run: {{{pin}}}\ninputs:\n"),
        ("device", SOFT_START, entry),
        ("procedure", "\nlimits:\n", f"\n{pins if driven else ''}{more}limits:\n"),
        ("procedure", "steps:\n", f"steps:\n{before}"),
        ("procedure", "  - sweep:", f"{during if driven else ''}  - sweep:"),
    )


def trip_within(limit: str, during: str, by: str = "OVP") -> Edit:
    """A requirement that asks for a trip of `main`."""
    required = f"{{name: trips, measure: trip_time, of: main, during: {during}, at_most: {limit}, by: {by}}}"
    return "procedure", "requires:\n", f"requires:\n  - {required}\n"


LEFT_ADDRESS, RIGHT_ADDRESS = (f"address: TCPIP::127.0.0.1::{port}::SOCKET" for port in (5025, 5026))
AFTER_TRANSDUCER: Edit = ("procedure", "    ovp: 18 V\n", "    ovp: 18 V\n    off_after: [transducer]\n")
ALONE: Edit = ("procedure", "record: {every", "attended: no\nrecord: {every")
INTERLOCK: Edit = (
    "bench",
    "\nsupplies:",
    "\ninterlock: {opened_by: cage door, seen_to_act: 2026-11-02}\nsupplies:",
)
STAYS_OPEN: Edit = (*INTERLOCK[:2], INTERLOCK[2].replace("door,", "contactor, stays_open: yes,"))
NO_LIST: Edit = (
    "bench",
    "        points: {at_most: 200, dwell: 20 ms .. 300 s, between: [step, line]}\n",
    "",
)
RIPPLE = "{ripple: sine, peak_to_peak: 2 V, frequency: 50 Hz, for: 2 s, on: 12 V}"
SLOW_RIPPLE = RIPPLE.replace("50 Hz", "5 Hz")
DIP = "{step_to: 9 V}, {hold: 5 ms}, {step_to: 12 V}, {hold: 1 s}"
COMES_ON: Edit = ("bench", "after_mains: stays off", "after_mains: comes on")
BATTERY: Edit = (
    "device",
    "      - capacitor: {capacitance: 1000 uF ± 20 %, esr: 60 mohm}\n",
    "      - capacitor: {capacitance: 1000 uF ± 20 %, esr: 60 mohm}\n"
    "      - battery: {series_resistance: 500 mohm, capacity: 8000 C, state_of_charge: 50 %, "
    "curve: [{charge: 0 %, voltage: 10 V}, {charge: 100 %, voltage: 13 V}]}\n",
)


def while_off(what: str, sink: str = "sink: 1.5 A", first: bool = True) -> Edit:
    """What left.1 (and with it left.2), or right.1, is while it is off."""
    bleeder = "1 kohm" if first else "2 kohm"
    old = f"        bleeder: {bleeder}\n        when_off: high impedance\n"
    return "bench", old, f"        bleeder: {bleeder}\n        when_off: {what}\n        {sink}\n"


SINKS: Edit = ("bench", "        bleeder: 1 kohm", "        bleeder: 1 kohm\n        sink: 2 A")
SLOW: Edit = ("bench", "slew: 1 V/s .. 2.4 V/ms", "slew: 1 V/s .. 0.4 V/ms")


def at_end(name: str, what: str) -> Edit:
    """What an input does at the end."""
    first = "current_limit: 1 A\n" if name == "main" else "current_limit: 100 mA\n"
    return ("procedure", first, f"{first}    at_end: {what}\n")


def exchange(time: str) -> Edit:
    """Time of one command with its verification, of left."""
    return ("bench", "dialect: channel-list\n", f"dialect: channel-list\n    exchange: {time}\n")


def watchdog(supply: str) -> Edit:
    dialect = f"dialect: {'channel-list' if supply == 'left' else 'selected-output'}\n"
    return ("bench", dialect, f"{dialect}    watchdog: {{times: 1 s .. 3600 s, does: off}}\n")


NEGATIVE: Edit = ("device", "    return: common   ", "    rail: negative\n    return: common   ")


def second(text: str) -> Edit:
    """The second output of left, like the first but for this."""
    return ("bench", "{same_as: 1}", f"{{same_as: 1, {text}}}")


BOTH_WAYS: Edit = ("bench", "voltage: 0 V .. 36 V", "voltage: -3 V .. 36 V")
UNLIKE = second(
    "voltage: 0 V .. 12 V, programming: {voltage: {offset: 50 mV}, "
    "current: {of_value: 0.1 %, offset: 4 mA, resolution: 0.1 mA}}"
)
LESS_EXACT = second("ovp: {level: 1 V .. 38 V, accuracy: 300 mV, response: 200 us, at: terminals}")

DIODE = "diode: {drop: 0.7 V ± 0.1 V, resistance: 60 mohm}"

INRUSH_WITHIN = (
    "requires:\n  - {{name: heat, measure: inrush_i2t, of: main, during: first power, within: {}, "
    "at_most: 2 A²s}}\n"
)
CASES = [
    Case(
        "lead-drop",
        "main",
        (*fixture(DIODE, UNSENSED[2]), UNSENSED)[::-1],
        "sweep:",
        "and fixture 'box' and 0.8 V in its diode",
        silent=(*fixture(DIODE),),
    ),
    Case(
        "reversed",
        "main",
        (
            UNPROTECTED,
            sweep("from: -1 V, to: 16 V, points: 8, dwell: 500 ms"),
        ),
        "sweep:",
        "-1 V reverses the input",
        silent=(
            UNPROTECTED,
            sweep("from: -1 V, to: 16 V, points: 8, dwell: 500 ms"),
            *fixture(DIODE),
        ),
    ),
    Case(
        "sense-compensation",
        "main",
        fixture("diode: {drop: 0.95 V, resistance: 80 mohm}"),
        "silicone pair",
        "1 V",
        silent=fixture(DIODE),
    ),
    Case(
        "trip-before-charged",
        "main",
        fixture("capacitor: {capacitance: 2200 uF, esr: 30 mohm}"),
        "trip_delay: 40 ms",
        "charging 3.62 mF",
    ),
    Case(
        "slow-discharge",
        "main",
        fixture(DIODE),
        "1:",
        "the diode in 'box' blocks",
        silent=(("bench", "bleeder: 1 kohm", "bleeder: 100 ohm"),),
    ),
    Case(
        "fuse-below-need",
        "main",
        fixture(fuse("100 s at 0.5 A", "100 ms at 2 A")),
        "fixture: box",
        "opens after 40.31 s; it bears 0.5 A",
        silent=fixture(fuse("100 s at 0.7 A", "100 ms at 2 A")),
    ),
    Case(
        "fuse-below-need",
        "main",
        (inside(fuse("100 s at 0.5 A", "100 ms at 2 A")),),
        "inside:",
        "the fuse inside opens after 40.31 s; it bears 0.5 A",
        silent=(inside(fuse("100 s at 0.7 A", "100 ms at 2 A")),),
    ),
    Case(
        "fuse-before-trip",
        "main",
        (inside(fuse("1 s at 0.9 A", "1 ms at 1.1 A")),),
        "inside:",
        "the fuse inside opens after",
        silent=(inside(fuse("1 s at 0.9 A", "100 ms at 1.1 A")),),
    ),
    Case(
        "fuse-inside-stays",
        "main",
        (inside(fuse("1 h at 2 A", "1 s at 5 A")),),
        "inside:",
        "which the fuse inside bears for any time (2 A)",
        silent=(inside(fuse("1 h at 0.7 A", "1 s at 5 A")),),
    ),
    # ½ 70 mΩ √(0.8 mF / 10 mH) = 0.0099: 97 % of 12 V above 12 V, half a period of 11 ms after it.
    Case(
        "filter-rings",
        "main",
        (inside("choke: {inductance: 10 mH, resistance: 10 mohm}"),),
        "rise: 2 V/ms",
        "0 V to 12 V within 10.88 ms, half a period of the choke and the capacitors inside: behind them the "
        "voltage may reach 23.63 V",
        silent=(inside("choke: {inductance: 10 uH, resistance: 10 mohm}"),),
    ),
    Case(
        "fuse-before-trip",
        "main",
        fixture(fuse("1 s at 0.9 A", "1 ms at 1.1 A")),
        "fixture: box",
        "40 ms pass before the output trips",
        silent=fixture(fuse("1 s at 0.9 A", "100 ms at 1.1 A")),
    ),
    Case(
        "fuse-before-trip",
        "main",
        (
            REGULATES,
            *fixture(fuse("1 s at 0.9 A", "100 ms at 1.1 A")),
        ),
        "fixture: box",
        "the output regulates there and does not trip",
        silent=fixture(fuse("10 s at 1.1 A", "1 s at 2 A")),
    ),
    Case(
        "switch-open",
        "main",
        fixture("switch: {starts: open}"),
        "switch: {starts: open}",
        "main stays without supply",
        silent=fixture("switch: {resistance: 5 mohm}"),
    ),
    Case(
        "shape-limit-above",
        "main",
        shape("input: main, segments: [{step_to: 12 V, current_limit: 1.2 A}]"),
        "current_limit: 1.2 A",
        "1.2 A is more than the 1 A of 'limits'",
        silent=shape("input: main, segments: [{step_to: 12 V, current_limit: 0.9 A}]"),
    ),
    Case(
        "interruption-low-impedance",
        "main",
        (
            ("bench", "        bleeder: 1 kohm", "        bleeder: 1 kohm\n        sink: 0 A"),
            *shape("input: main, standard: IEC 61000-4-29 interruption, impedance: low, duration: 10 ms"),
        ),
        "impedance: low",
        "asks for 0 V at low impedance; left.1 takes in no current",
        silent=(
            ("bench", "        bleeder: 1 kohm", "        bleeder: 1 kohm\n        sink: 2 A"),
            *shape("input: main, standard: IEC 61000-4-29 interruption, impedance: low, duration: 10 ms"),
        ),
    ),
    Case(
        "interruption-high-impedance",
        "main",
        shape("input: main, standard: IEC 61000-4-29 interruption, impedance: high, duration: 10 ms"),
        "impedance: high",
        "220 µF of output capacitor and 1 kΩ of bleeder (left.1) and a reverse diode stay across the input",
        silent=shape("input: main, segments: [{step_to: 0 V}, {hold: 10 ms}, {step_to: 12 V}]"),
    ),
    Case(
        "shape-not-served",
        "main",
        shape("input: main, segments: [{step_to: 9 V}, {hold: 5 ms}, {step_to: 12 V}, {hold: 1 s}]"),
        "input: main, segments",
        "'own shape' is played up to 1.5 V off what is asked; 70 mV is accepted: set points 5 ms apart",
        silent=shape("input: main, segments: [{step_to: 9 V}, {hold: 50 ms}, {step_to: 12 V}, {hold: 1 s}]"),
    ),
    Case(
        "capture-not-played",
        "main",
        shape("input: main, recording: dip.csv"),
        "input: main, recording: dip.csv",
        "2 of its 2 edges are not played",
        silent=(
            ("bench", "dwell: 20 ms .. 300 s", "dwell: 1 ms .. 300 s"),
            *shape("input: main, recording: dip.csv"),
        ),
    ),
    Case(
        "host-cannot-keep",
        "main",
        (NO_LIST, *shape(f"input: main, segments: [{RIPPLE}]")),
        "ripple: sine",
        "'own shape' asks for 3200 set points of main, 625 µs apart at the closest; the host keeps 20 ms "
        "between two (taken: the bench gives no 'exchange' of left): it would leave out 3100 of them; "
        "left.1 has no point list",
        silent=(NO_LIST, *shape(f"input: main, segments: [{RIPPLE.replace('50 Hz', '1.5 Hz')}]")),
    ),
    Case(
        "host-cannot-keep",
        "main",
        (NO_LIST, exchange("6 ms"), *shape(f"input: main, segments: [{DIP}]")),
        "step_to: 9 V}, {hold: 5 ms}",
        "asks for 2 set points of main, 5 ms apart at the closest; the host keeps 6 ms between two: it would "
        "send set points up to 1 ms late",
        silent=(NO_LIST, exchange("5 ms"), *shape(f"input: main, segments: [{DIP}]")),
    ),
    Case(
        "host-cannot-keep",
        "main",
        shape("input: main, segments: [{off_for: 10 ms}]"),
        "off_for: 10 ms",
        "asks for 2 set points of main, 10 ms apart at the closest; the host keeps 20 ms between two",
        silent=shape("input: main, segments: [{off_for: 20 ms}]"),
    ),
    Case(
        "host-cannot-keep",
        "main",
        shape("input: main, segments: [{step_to: 9 V}, {hold: 5 ms}], at_end: zero"),
        "at_end: zero",
        "asks for 2 set points of main, 5 ms apart at the closest; the host keeps 20 ms between two",
        silent=shape("input: main, segments: [{step_to: 9 V}, {hold: 5 ms}]"),
    ),
    Case(
        "host-cannot-keep",
        "main",
        (sweep("from: 9 V, to: 16 V, points: 71, dwell: 8 ms"),),
        "dwell: 8 ms",
        "'line sweep' asks for 71 set points of main, 8 ms apart at the closest; the host keeps 20 ms "
        "between two (taken: the bench gives no 'exchange' of left): it would leave out 42 of them "
        "and send set points up to 4 ms late",
        silent=(sweep("from: 9 V, to: 16 V, points: 71, dwell: 20 ms"),),
    ),
    Case(  # 5 ms of 8 ms, and 5 ms of 10 ms
        "readings-between-set-points",
        "main",
        (exchange("5 ms"), sweep("from: 9 V, to: 16 V, points: 71, dwell: 8 ms")),
        "dwell: 8 ms",
        "'line sweep' sets main every 8 ms at the closest, and readings are asked for every 10 ms: on one "
        "link, 5 ms each, 112% of its time, so that some are left out. A set point that meets a reading "
        "comes up to 5 ms late; later than 2 ms, it leaves",
        silent=(exchange("2 ms"), sweep("from: 9 V, to: 16 V, points: 71, dwell: 8 ms")),
    ),
    Case(  # 5 ms of 40 ms, and 5 ms of 10 ms: all go, and a tenth of 40 ms is permitted
        "readings-between-set-points",
        "main",
        (exchange("5 ms"), sweep("from: 9 V, to: 16 V, points: 71, dwell: 40 ms")),
        "dwell: 40 ms",
        "on one link, 5 ms each. A set point that meets a reading comes up to 5 ms late; later than 4 ms",
        silent=(exchange("5 ms"), sweep("from: 9 V, to: 16 V, points: 71, dwell: 50 ms")),
    ),
    Case(  # 90 bytes for a set point and 405 for readings of both outputs, of ten bits each
        "readings-between-set-points",
        "main",
        (("bench", LEFT_ADDRESS, "address: ASRL/dev/ttyUSB0::INSTR\n    line: {baud: 57600}"),),
        "points: 8, dwell: 500 ms",
        "A set point that meets a reading comes up to 85.94 ms late; later than 50 ms",
        silent=(("bench", LEFT_ADDRESS, "address: ASRL/dev/ttyUSB0::INSTR\n    line: {baud: 115200}"),),
    ),
    Case(  # 32 lines of a period; nothing hangs on what is played by a list, or on another step
        "readings-between-set-points",
        "main",
        (exchange("5 ms"), OWN_REQUIRED, *shape(f"input: main, segments: [{SLOW_RIPPLE}]")),
        "ripple: sine",
        "'own shape' sets main every 6.25 ms at the closest",
        silent=(exchange("5 ms"), *shape(f"input: main, segments: [{SLOW_RIPPLE}]")),
    ),
    Case(
        "shape-by-list",
        "main",
        (
            ("bench", "dwell: 20 ms .. 300 s", "dwell: 1 ms .. 300 s"),
            *shape("input: main, segments: [{step_to: 9 V}, {hold: 5 ms}, {step_to: 12 V}, {hold: 1 s}]"),
        ),
        "input: main, segments",
        "set points 5 ms apart, the host keeps 20 ms between two; its own list of 2 points in steps",
        silent=shape("input: main, segments: [{step_to: 9 V}, {hold: 50 ms}, {step_to: 12 V}, {hold: 1 s}]"),
    ),
    Case(
        "edge-at-end",
        "main",
        (
            *shape("input: main, segments: [{step_to: 9 V}, {hold: 50 ms}, {step_to: 12 V}]"),
            OWN_REQUIRED,
        ),
        "- shape: {input: main, segments: [{step_to: 9 V}",
        "'own shape' ends with an edge to 12 V at its very end: what comes of it lies in the next step, and "
        "'runs on' does not look there",
        silent=(
            *shape("input: main, segments: [{step_to: 9 V}, {hold: 50 ms}, {step_to: 12 V}, {hold: 50 ms}]"),
            OWN_REQUIRED,
        ),
    ),
    Case(
        "trigger-assumed",
        "main",
        shape("input: main, segments: [{hold: 10 ms}], advance: on trigger"),
        "advance: on trigger",
        "waits for a trigger, at most 60 s; rehearsed as if it came at once",
        silent=shape("input: main, segments: [{hold: 10 ms}]"),
    ),
    Case(
        "repeated-at-most",
        "main",
        shape("input: main, segments: [{hold: 10 ms}], repeat_until: key, at_most: 30"),
        "repeat_until: key",
        "until a key comes: 30 times at most, 300 ms in all",
        silent=shape("input: main, segments: [{hold: 10 ms}], repeat: 30"),
    ),
    Case(
        "held-at-most",
        "main",
        (("procedure", "- hold: 2 s", "- hold: {until: {charge: 1 C, input: main}, at_most: 9 s}"),),
        "hold:",
        "lasts until 1 C have gone in, 9 s at most",
        silent=(("procedure", "- hold: 2 s", "- hold: 9 s"),),
    ),
    Case(
        "recording-recognised",
        "main",
        shape("input: main, recording: recorded.csv"),
        "recording: recorded.csv",
        "'recorded.csv': cells parted by commas, decimal point; names and units in line 1",
        silent=shape("input: main, segments: [{hold: 10 ms}]"),
    ),
    Case(
        "standard-from-memory",
        "main",
        shape("input: main, standard: IEC 61000-4-29 dip, level: 70 %, duration: 10 ms"),
        "standard: IEC",
        "IEC 61000-4-29 dip is played by figures of IEC 61000-4-29:2000, table 1a, from memory",
        silent=shape("input: main, segments: [{hold: 10 ms}]"),
    ),
    Case(
        "standard-leaves-open",
        "main",
        shape("input: main, standard: IEC 61000-4-29 dip, level: 75 %, duration: 100 ms"),
        "level: 75 %",
        "'own shape' plays IEC 61000-4-29 dip with level x, chosen: 75 %: no value of "
        "IEC 61000-4-29:2000, table 1a, from memory, which leaves x to the product",
        silent=shape("input: main, standard: IEC 61000-4-29 dip, level: 0.7, duration: 0.1 s"),
    ),
    Case(
        "standard-repeated-less",
        "main",
        shape(
            "input: main, standard: IEC 61000-4-29 dip, level: 70 %, duration: 100 ms, repeat: 2, "
            "pause_between: 10 s"
        ),
        "repeat: 2",
        "'own shape' plays IEC 61000-4-29 dip: 2 of the 3 repetitions that the standard asks for "
        "(IEC 61000-4-29:2000, 8.2, from memory)",
        silent=shape(
            "input: main, standard: IEC 61000-4-29 dip, level: 70 %, duration: 100 ms, repeat: 3, "
            "pause_between: 10 s"
        ),
    ),
    Case(
        "standard-other-system",
        "main",
        shape("input: main, standard: MIL-STD-704F normal transient, level: under"),
        "standard: MIL",
        "'own shape' plays MIL-STD-704F normal transient with the voltages of a 28 V system on an input of "
        "12 V",
        silent=shape("input: main, standard: ISO 16750-2 momentary drop"),
    ),
    Case(
        "standard-not-played",
        "main",
        shape("input: main, standard: ISO 16750-2 reversed voltage"),
        "standard: ISO",
        "'own shape': ISO 16750-2 reversed voltage is not played: an ordinary supply lacks a voltage below "
        "zero, and a source that drives a battery's current through a device that conducts. 'main' "
        "withstands its reversed 14 V for 60 s by the device document, which shows nothing of how it works "
        "meanwhile (ISO 16750-2:2012, 4.7, from memory)",
        silent=shape("input: main, standard: ISO 16750-2 jump start"),
    ),
    Case(
        "opp-range",
        "main",
        (protections("    opp: 30 W\n"),),
        "opp: 30 W",
        "the bench does not say that left.1 has an over-power protection",
        silent=(OWN_LEVELS, protections("    opp: 30 W\n")),
    ),
    Case(
        "opp-range",
        "main",
        (OWN_LEVELS, protections("    opp: 70 W\n")),
        "opp: 70 W",
        "70 W on left.1, whose over-power protection ranges from 1 W to 66 W",
    ),
    Case(
        "opp-below-need",
        "main",
        (OWN_LEVELS, protections("    opp: 4 W\n")),
        "opp: 4 W",
        "it acts from 4 W on; 'line sweep' plays 9 V with up to 0.5301 A, 4.791 W",
        silent=(OWN_LEVELS, protections("    opp: 8 W\n")),
    ),
    Case(
        "ocp-range",
        "main",
        (protections("    ocp: 800 mA\n"),),
        "ocp: 800 mA",
        "the bench does not say that left.1 has an over-current protection apart from its limit",
        silent=(OWN_LEVELS, protections("    ocp: 800 mA\n")),
    ),
    Case(
        "ocp-range",
        "main",
        (OWN_LEVELS, protections("    ocp: 800 mA\n    ocp_delay: 1 ms\n")),
        "ocp_delay: 1 ms",
        "1 ms on left.1, whose delay of the over-current protection ranges from 5 ms to 1 s",
        silent=(OWN_LEVELS, protections("    ocp: 800 mA\n    ocp_delay: 5 ms\n")),
    ),
    Case(
        "ocp-below-need",
        "main",
        (OWN_LEVELS, protections("    ocp: 600 mA\n")),
        "ocp: 600 mA",
        "it acts from 0.6 A on; the declared steady current is 0.6 A",
        silent=(OWN_LEVELS, protections("    ocp: 800 mA\n")),
    ),
    Case(
        "ocp-above-limit",
        "main",
        (OWN_LEVELS, protections("    ocp: 2 A\n")),
        "ocp: 2 A",
        "holds the current below the 2 A at which it acts",
        silent=(OWN_LEVELS, protections("    ocp: 800 mA\n")),
    ),
    Case(
        "coupled-withstand",
        "main",
        coupled("step"),
        "coupled:",
        "'first power' sets left.2, which takes main along from 12 V to 24 V (coupled by step); "
        "it withstands 20 V",
        silent=(BOTH_LEFT,),
    ),
    Case(
        "coupled-moves",
        "transducer",
        coupled("ratio"),
        "coupled:",
        "'line sweep' sets left.1, which takes transducer along from 30 V to 32 V (coupled by ratio); it "
        "must work from 18 V to 30 V",
        silent=(BOTH_LEFT,),
    ),
    Case(
        "coupled-limits",
        "main",
        coupled("step", "current_limit"),
        "coupled:",
        "the limit of left.2 minus that of left.1 must be -0.9 A, but the supply moves both together: from "
        "their lowest settings the difference can only be 0 A",
        silent=coupled("ratio", "current_limit"),
    ),
    Case(
        "coupled-limits",
        "main",
        (
            (
                "procedure",
                "from: left.1, lead: silicone pair",
                "from: {parallel: [left.1, left.2]}, lead: silicone pair",
            ),
            coupled("step", "current_limit")[1],
            ("bench", "      2: {same_as: 1}", "      2: {same_as: 1, current: 0 A .. 1.5 A}"),
            *shape("input: main, segments: [{step_to: 12 V, current_limit: 0.8 A}, {hold: 20 ms}]"),
        ),
        "current_limit: 0.8 A",
        "and what is told to the others that feed main takes it to",
        silent=(coupled("step", "current_limit")[1],),
    ),
    Case(
        "coupled-limit-above",
        "transducer",
        (
            *coupled("ratio", "current_limit"),
            ("bench", "      2: {same_as: 1}", "      2: {same_as: 1, current: 60 mA .. 2.5 A}"),
            *shape("input: main, segments: [{step_to: 12 V, current_limit: 0.5 A}, {hold: 20 ms}]"),
        ),
        "coupled:",
        "'own shape' sets the current limit of left.1, which takes that of transducer from 0.1 A to 0.12 A "
        "(coupled by ratio): more than the 0.1 A of 'limits'",
        silent=(
            *coupled("ratio", "current_limit"),
            *shape("input: main, segments: [{step_to: 12 V, current_limit: 0.5 A}, {hold: 20 ms}]"),
        ),
    ),
    Case(
        "coupled-limit-moves",
        "transducer",
        (
            *coupled("ratio", "current_limit"),
            *shape("input: main, segments: [{step_to: 12 V, current_limit: 0.2 A}, {hold: 20 ms}]"),
        ),
        "coupled:",
        "'own shape' sets the current limit of left.1, which takes that of transducer from 0.1 A to 20 mA "
        "(coupled by ratio); the limit may be as low as",
        silent=coupled("ratio", "current_limit"),
    ),
    Case(
        "off-after-order",
        "transducer",
        (("procedure", "    trips_when: [main]", "    off_after: [main]\n    trips_when: [main]"),),
        "- power_down",
        "'step 5' switches transducer off while main is on; by its 'off_after' it stays on until main is",
        silent=(
            ("procedure", "    trips_when: [main]", "    off_after: [main]\n    trips_when: [main]"),
            ("procedure", "power_down: {order: [transducer, main]", "power_down: {order: [main, transducer]"),
        ),
    ),
    Case(
        "off-after-order",
        "main",
        (AFTER_TRANSDUCER, *shape("input: main, segments: [{off_for: 50 ms}]")),
        "input: main, segments: [{off_for: 50 ms}]",
        "'own shape' switches main off while transducer is on",
        silent=(AFTER_TRANSDUCER, *shape("input: transducer, segments: [{off_for: 50 ms}]")),
    ),
    Case(
        "off-after-up",
        "transducer",
        (("procedure", "    trips_when: [main]", "    off_after: [main]\n    trips_when: [main]"),),
        "- power_up",
        "'first power' switches main on while transducer is off; by its 'off_after' transducer stays on as",
        silent=(AFTER_TRANSDUCER,),
    ),
    Case(  # 0.25 s that it is read for, less the gap of 20 ms, and what the transducer takes to fall
        "off-after-waits",
        "main",
        (AFTER_TRANSDUCER,),
        "- power_down",
        "switches main off 20 ms after transducer; transducer takes up to",
        silent=(
            AFTER_TRANSDUCER,
            ("procedure", "order: [transducer, main], gap: 20 ms}", "order: [transducer, main], gap: 5 s}"),
        ),
    ),
    Case(
        "off-after-unlinked",
        "main",
        (("procedure", "    trips_when: [main]", "    off_after: [main]"),),
        "main:",
        "should transducer trip, main stays on without it",
        silent=(AFTER_TRANSDUCER,),
    ),
    Case(
        "off-after-stays-on",
        "main",
        (AFTER_TRANSDUCER, at_end("transducer", "{stays_on: cooling fan}")),
        "off_after: [transducer]",
        "main stays on until transducer is off, and transducer stays on, because: cooling fan",
        silent=(
            AFTER_TRANSDUCER,
            at_end("transducer", "{stays_on: cooling fan}"),
            at_end("main", "{stays_on: it warms}"),
        ),
    ),
    Case(
        "stays-on",
        "transducer",
        (at_end("transducer", "{stays_on: cooling fan}"),),
        "at_end: {stays_on",
        "transducer stays on at up to 24 V at the end of a run, also of one that is stopped, because",
        silent=(at_end("transducer", "off"),),
    ),
    Case(
        "stays-on-high",
        "main",
        (SERIES, at_end("main", "{stays_on: cooling fan}")),
        "at_end: {stays_on",
        "left.1, left.2 can reach 72 V, more than 60 V d.c.",
        silent=(at_end("main", "{stays_on: cooling fan}"),),
    ),
    Case(
        "ramp-down-too-fast",
        "main",
        (at_end("main", "{ramp_down: 200 ms}"),),
        "ramp_down: 200 ms",
        "16 V in 200 ms are 80 V/s; 1.42 mF fall to 1 V in up to",
        silent=(at_end("main", "{ramp_down: 5 s}"),),
    ),
    Case(
        "ramp-down-too-fast",
        "main",
        (at_end("main", "{ramp_down: 5 ms}"), SINKS, ("bench", "unloaded: 480 ms", "unloaded: 30 ms")),
        "ramp_down: 5 ms",
        "16 V in 5 ms are 3.2 kV/s; left.1 falls without load at 960 V/s at most",
        silent=(
            at_end("main", "{ramp_down: 17 ms}"),
            SINKS,
            ("bench", "unloaded: 480 ms", "unloaded: 30 ms"),
        ),
    ),
    Case(
        "ramp-down-too-fast",
        "main",
        (at_end("main", "{ramp_down: 20 ms}"), SINKS, SLOW, ("bench", "unloaded: 480 ms", "unloaded: 30 ms")),
        "ramp_down: 20 ms",
        "left.1 can be set to a slew of 400 V/s at most",
        silent=(
            at_end("main", "{ramp_down: 40 ms}"),
            SINKS,
            SLOW,
            ("bench", "unloaded: 480 ms", "unloaded: 30 ms"),
        ),
    ),
    Case(
        "unattended",
        "left, right",
        (ALONE,),
        "attended: no",
        "would switch off: left has no watchdog; right has no watchdog; the bench names no interlock",
        silent=(ALONE, INTERLOCK),
    ),
    Case(
        "unattended",
        "left, right",
        (ALONE, watchdog("left")),
        "attended: no",
        "only this computer would switch off: right has no watchdog; the bench names no interlock",
        silent=(ALONE, watchdog("left"), watchdog("right")),
    ),
    Case(
        "unattended",
        "left, right",
        (ALONE, INTERLOCK),
        "attended: no",
        "its interlock was seen to act on 2026-11-02, after 2026-11-01",
        silent=(ALONE, INTERLOCK, watchdog("left"), watchdog("right")),
        today=dt.date(2026, 11, 1),
    ),
    Case(
        "unattended-high",
        "main",
        (SERIES, ALONE),
        "attended: no",
        "nobody is there, left.1, left.2 can reach 72 V, more than 60 V d.c. (IEC 61010-1, from memory), and",
        silent=(ALONE,),
    ),
    Case(
        "return-short",
        "main",
        (SERIES, ("bench", "    isolation: 150 V", "    common_negative: [1, 2]\n    isolation: 150 V")),
        "series",
        "joins + and − of left.2: left.2 + → left.1 − (series link)",
        silent=(SERIES,),
    ),
    Case(
        "return-short",
        "main",
        (
            SERIES,
            ("device", "return: common ", "return: earth "),
            ("bench", "        power: 60 W", "        power: 60 W\n        negative: earth"),
        ),
        "series",
        "earth",
        silent=(SERIES, ("device", "return: common ", "return: earth ")),
    ),
    Case(
        "may-not-join",
        "main",
        (SERIES, ("bench", "may_join: [series, parallel]", "may_join: [parallel]")),
        "series",
        "may be joined only in parallel",
        silent=(SERIES,),
    ),
    Case(
        "unequal-group",
        "main",
        (SERIES, ("bench", "{same_as: 1}", "{same_as: 1, voltage: 0 V .. 20 V}")),
        "series",
        "20 V, 2.5 A against 36 V",
        silent=(SERIES,),
    ),
    Case(
        "isolation-lost",
        "transducer",
        (
            (
                "device",
                "    current: {steady: 4 mA .. 25 mA, at_most: 150 mA}\n    return: common",
                "    current: {steady: 4 mA .. 25 mA, at_most: 150 mA}\n    return: isolated",
            ),
            ("bench", "        power: 32 W", "        power: 32 W\n        negative: earth"),
        ),
        "return: isolated",
        "0 V is joined",
    ),
    Case(
        "floating",
        "main, transducer",
        (),
        "1:",
        "float",
        silent=(("device", "return: common ", "return: earth "),),
    ),
    Case(
        "voltage-range", "main", (sweep("from: 9 V, to: 40 V, points: 8, dwell: 500 ms"),), "to: 40 V", "36 V"
    ),
    Case(
        "voltage-range",
        "transducer",
        (power_up("order: [main, transducer], gap: 50 ms, settle: 150 ms, voltages: {transducer: 33 V}"),),
        "transducer: 33 V",
        "33 V is more than the 32 V",
    ),
    Case(
        "withstand-played",
        "main",
        (sweep("from: 9 V, to: 27 V, points: 8, dwell: 500 ms"),),
        "to: 27 V",
        "more than the 26 V it withstands",
    ),
    Case(
        "withstand-played",
        "main",
        (sweep("from: 9 V, to: 22 V, points: 3, dwell: 1500 ms"),),
        "to: 22 V",
        "above 20 V for 1.5 s; the input withstands 22.02 V for 1 s",
        silent=(sweep("from: 9 V, to: 22 V, points: 3, dwell: 900 ms"),),
    ),
    Case(
        "reversed",
        "main",
        (sweep("from: 9 V, to: -17 V, points: 8, dwell: 500 ms"),),
        "-17 V",
        "16 V in reverse",
    ),
    Case(
        "outside-operating",
        "main",
        (),
        "line_to: 6 V",
        "'brown-out' plays 6 V",
        silent=(("procedure", "{line_to: 6 V", "{line_to: 10 V"),),
    ),
    Case(
        "outside-operating",
        "main",
        (
            NO_LIST,
            *shape(f"input: main, segments: [{RIPPLE.replace('50 Hz', '0.5 Hz').replace('12 V', '9 V')}]"),
        ),
        "ripple: sine",
        "plays 8 V to 8.805 V (8 voltages), outside from 7.212 s to 8.212 s of the procedure (1 s); "
        "the operating range is 9 V",  # sines of 32nds of a turn
        silent=(("procedure", "{line_to: 6 V", "{line_to: 10 V"),),
    ),
    Case(
        "touch-voltage",
        "main",
        (("bench", "location: dry", "location: wet"),),
        "main:",
        "36 V, whatever is set; above 35 V d.c. counts as dangerous to touch",
    ),
    Case(
        "touch-voltage",
        "main",
        (
            ("bench", "location: dry", "location: wet"),
            ("procedure", SWEEP, SWEEP.replace("to: 16 V", "to: 35.5 V")),
        ),
        "main:",
        "from memory); 35.5 V, which the procedure sets, is itself above that",
        silent=(("procedure", SWEEP, SWEEP.replace("to: 16 V", "to: 35.5 V")),),
    ),
    Case("touch-voltage", "main", (SERIES,), "main:", "72 V, whatever is set; above 60 V"),
    Case(
        "touch-voltage",
        "main",
        (("bench", "        voltage: 0 V .. 36 V", "        voltage: -61 V .. 36 V"),),
        "main:",
        "left.1 can reach 61 V, whatever is set",
    ),
    Case(
        "isolation",
        "main",
        (SERIES, ("bench", "isolation: 150 V", "isolation: 60 V")),
        "main:",
        "can reach 72 V; left.1 is isolated from earth up to 60 V",
        silent=(SERIES,),
    ),
    Case(
        "lead-drop",
        "main",
        (UNSENSED,),
        "from: 9 V, to: 16 V",
        "9 V at the terminals leaves 8.957 V",
        silent=(UNSENSED, sweep("from: 9.1 V, to: 16 V, points: 8, dwell: 500 ms")),
    ),
    Case(
        "lead-drop",  # a step that goes below the range on purpose is judged clearly above its end only
        "main",
        dip("9.035 V"),
        "step_to: 9.035 V",
        "9.035 V at the terminals leaves 8.9",
        silent=dip("9 V"),
    ),
    Case(
        "lead-drop-unsensed",
        "main",
        (UNSENSED, ("bench", "one_way_length: 1.5 m", "one_way_length: 6 m")),
        "at terminals",
        "below the terminals",
        silent=(UNSENSED,),
    ),
    Case(
        "sense-unavailable",
        "transducer",
        (
            ("procedure", TRANSDUCER, "transducer: {from: right.1, lead: thin pair, sense: at load}"),
            (
                "bench",
                "limit_response: 1 ms\n        output_capacitance: 100 uF\n        bleeder: 2 kohm\n"
                "        when_off: high impedance\n"
                "        ovp: {level: 1 V .. 35 V, accuracy: 100 mV, response: 200 us, at: terminals}\n"
                "        trip_delay: 2 ms .. 5 s\n        sense: {compensates: 1 V}",
                "limit_response: 1 ms\n        output_capacitance: 100 uF\n        bleeder: 2 kohm\n"
                "        when_off: high impedance\n"
                "        ovp: {level: 1 V .. 35 V, accuracy: 100 mV, response: 200 us, at: terminals}\n"
                "        trip_delay: 2 ms .. 5 s",
            ),
        ),
        "sense: at load",
        "does not say that output right.1 can sense",
    ),
    Case(
        "sense-compensation",
        "main",
        (("bench", "one_way_length: 1.5 m", "one_way_length: 60 m"),),
        "lead: silicone pair",
        "makes up for 1 V",
    ),
    Case(
        "sense-used-up",
        "main",
        (("bench", "one_way_length: 1.5 m", "one_way_length: 31 m"),),
        "lead: silicone pair",
        "of the 1 V that left.1 makes up for",
    ),
    Case(
        "sense-faults",
        "main",
        (),
        "lead: silicone pair",
        "rises until its OVP trips, at 18.26 V at most; main withstands 20 V for any time; with them open",
        silent=(UNSENSED,),
    ),
    Case(
        "sense-faults",
        "main",
        (("bench", "sense: {compensates: 1 V}", "sense: {compensates: 1 V, open: falls back}"),),
        "lead: silicone pair",
        "open it falls back on its terminals, and no reading shows it",
        silent=(UNSENSED,),
    ),
    Case(
        "lead-from-stock",
        "main",
        (("bench", "one_way_length: 1.5 m", "one_way_length: 60 m"), STOCK),
        "lead: silicone pair",
        "(its drop is more than sensing makes up for); AWG 14 from stock: drop 0.62 V, +0.0",
    ),
    Case(
        "lead-from-stock",
        "main",
        (("bench", "permitted_current: 8 A", "permitted_current: 0.9 A"), STOCK),
        "lead: silicone pair",
        "(it may not carry what the current limit lets through); AWG 14 from stock",
    ),
    Case(
        "lead-from-stock",
        "main",
        (("bench", "permitted_current: 8 A", "permitted_current: 0.5 A"), limit("auto"), STOCK),
        "lead: silicone pair",
        "(it may not carry what is needed); AWG 14 from stock",
        silent=(limit("auto"), STOCK),
    ),
    Case(
        "lead-from-stock",
        "main",
        (("bench", "one_way_length: 1.5 m", "one_way_length: 31 m"), STOCK),
        "lead: silicone pair",
        "of what sensing makes up for); AWG 14 from stock",
    ),
    Case(
        "lead-from-stock",
        "main",
        (("bench", "one_way_length: 1.5 m", "one_way_length: 600 m"), STOCK),
        "lead: silicone pair",
        "no conductor in stock would do",
    ),
    Case(
        "lead-hot",
        "main",
        (("bench", "silicone pair: {conductor: AWG 18", "silicone pair: {conductor: AWG 36"), LIMITED),
        "silicone pair:",
        "touched for a minute, 51 °C burns",
        silent=(LIMITED,),
    ),
    Case(
        "lead-shared",
        "transducer",
        (("procedure", TRANSDUCER, TRANSDUCER.replace("thin pair", "silicone pair")),),
        "lead: silicone pair",
        "lead 'silicone pair' is named for transducer and main; a pair of conductors feeds one input",
    ),
    Case(
        "lead-too-thick",
        "main",
        (("bench", "silicone pair: {conductor: AWG 18", "silicone pair: {conductor: 25 mm2 class 5"),),
        "silicone pair:",
        "lead 'silicone pair' (25 mm2 class 5, 25 mm²) is thicker than the 16 mm² that the terminals of "
        "left.1 take (assumed, as no document says it)",
    ),
    Case(
        "sense-compensation-peak",
        "main",
        (("bench", "one_way_length: 1.5 m", "one_way_length: 30 m"),),
        "lead: silicone pair",
        "at the current limit of 1 A the lead drops",
    ),
    Case(
        "lead-current",
        "main",
        (("bench", "permitted_current: 8 A", "permitted_current: 1 A"),),
        LIMIT,
        "lets 1.005 A through (with programming error); lead 'silicone pair' bears 1 A",
    ),
    Case("current-range", "main", (limit("3 A"),), "current_limit: 3 A", "0 A to 2.5 A"),
    Case("power-range", "main", (("bench", "power: 60 W", "power: 4 W"),), "main", "can give 4 W"),
    Case(
        "power-headroom",
        "main",
        (("bench", "power: 60 W", "power: 5.0 W"),),
        "main",
        "of the 5 W that left.1",
    ),
    Case(
        "power-before-limit",
        "main",
        (("bench", "power: 60 W", "power: 12 W"),),
        LIMIT,
        "would be 16 W; left.1 gives 12 W and limits at 0.75 A",
    ),
    Case("limit-below-need", "main", (limit("500 mA"),), "500 mA", "as low as 0.4955 A"),
    Case(
        "limit-headroom",
        "main",
        (limit("620 mA"),),
        "620 mA",
        "2.6% above the declared steady current, 0.6 A",
    ),
    Case(  # halves of 1 A
        "parallel-in-limit",
        "main",
        (PARALLEL, REGULATES),
        LIMIT,
        "up to its limit, 0.5 A, and with more (the declared steady current, 0.6 A)",
        silent=(PARALLEL, REGULATES, limit("1.21 A")),
    ),
    Case(
        "parallel-in-limit",
        "main",
        (PARALLEL, REGULATES, limit("1.15 A")),
        "1.15 A",
        "up to its limit, 0.575 A",
        silent=(SERIES, REGULATES),
    ),
    Case(  # where it is fed in its limit, all of them are in it
        "parallel-in-limit",
        "main",
        (PARALLEL, REGULATES, limit("400 mA")),
        "400 mA",
        "up to its limit, 0.2 A",
        silent=(PARALLEL, REGULATES, limit("400 mA"), IN_LIMIT),
    ),
    Case("limit-at-low-voltage", "main", (limit("620 mA"),), "line_to: 6 V", "draws 0.6447 A"),
    Case("limit-above-device", "main", (limit("2.498 A"),), "2.498 A", "lets 2.504 A through"),
    Case(  # 1.3 A, 5.3 mA of error and half of 2.5 A; 2 V/ms into 1.2 mF ask for it
        "limit-overshoot",
        "main",
        (limit("1.3 A"),),
        "1.3 A",
        "may draw 2.555 A from a limit of 1.3 A; the device bears 2.5 A",
        silent=(limit("1.2 A"),),
    ),
    Case(
        "declared-current",
        "main",
        (("device", "steady: 180 mA .. 600 mA", "steady: 180 mA .. 500 mA"),),
        "180 mA .. 500 mA",
        "most at 9 V",
    ),
    Case(
        "ramp-in-limit",
        "main",
        (),
        "rise: 2 V/ms",
        "takes 2.937 A to charge",
        silent=(power_up("order: [main, transducer], gap: 150 ms, rise: 0.1 V/ms, settle: 150 ms"),),
    ),
    Case("ovp-range", "main", (("procedure", "ovp: 18 V", "ovp: 39 V"),), "ovp: 39 V", "1 V to 38 V"),
    Case(
        "ovp-above-withstand",
        "main",
        (("procedure", "ovp: 18 V", "ovp: 20 V"),),
        "ovp: 20 V",
        "may let 20.1 V stand",
    ),
    Case(
        "ovp-above-withstand",
        "main",
        (("procedure", "ovp: 18 V", "ovp: 19.82 V"), ("device", "      - {voltage: 26 V, for: 1 s}\n", "")),
        "ovp: 19.82 V",
        "may reach 20.02 V before the OVP acts",
        silent=(("procedure", "ovp: 18 V", "ovp: 19.82 V"),),
    ),
    Case(
        "ovp-below-played",
        "main",
        (("procedure", "ovp: 18 V", "ovp: 16.1 V"),),
        "16.1 V",
        "may trip from 16 V on",
    ),
    Case(
        "ovp-close", "main", (("procedure", "ovp: 18 V", "ovp: 16.4 V"),), "16.4 V", "may trip from 16.3 V on"
    ),
    Case(
        "ovp-at-sense",
        "main",
        (("bench", "at: terminals", "at: sense"),),
        "sense: at load",
        "looks at the sense",
    ),
    Case(
        "trip-delay-range",
        "main",
        (("procedure", "trip_delay: 40 ms", "trip_delay: 1 ms"),),
        "trip_delay: 1 ms",
        "2 ms to 5 s",
    ),
    Case(
        "trip-before-charged",
        "transducer",
        (("procedure", "trip_delay: 60 ms", "trip_delay: 20 ms"),),
        "trip_delay: 20 ms",
        "the trip delay is 20 ms",
    ),
    Case(
        "never-after-trip",
        "main",
        (("device", "outside: -17 V .. 25 V", "outside: -13 V .. 25 V"),),
        "main:",
        "becomes -16 V",
    ),
    Case(
        "linked-trip-by-program",
        "transducer",
        (),
        "trips_when",
        "different supplies (left, right)",
        (BOTH_LEFT,),
    ),
    Case(
        "order-broken",
        "transducer",
        (power_up("order: [transducer, main], gap: 50 ms, settle: 150 ms"),),
        "order: [transducer, main]",
        "before main",
    ),
    Case(
        "order-broken",
        "transducer",
        (power_up("order: [main, transducer], gap: 300 ms, settle: 150 ms"),),
        "gap: 300 ms",
        "0.3 s after main; the device wants 20 ms to 0.2 s".replace("0.3 s", "300 ms").replace(
            "0.2 s", "200 ms"
        ),
    ),
    Case(
        "order-down",
        "transducer",
        (("procedure", "power_down: {order: [transducer, main]", "power_down: {order: [main, transducer]"),),
        "power_down",
        "main goes off before transducer",
    ),
    Case(
        "never-played",
        "transducer",
        (("device", "outside: -17 V .. 25 V", "outside: -17 V .. 17 V"),),
        "shape",
        "is set to 18 V",
    ),
    Case(
        "slew-too-fast",
        "transducer",
        (power_up("order: [main, transducer], gap: 50 ms, rise: 2.3 V/ms, settle: 150 ms"),),
        "rise: 2.3 V/ms",
        "2.3 kV/s is asked for; right.1 can do 2.1 kV/s",
    ),
    Case(
        "slew-out-of-range",
        "main",
        (power_up("order: [main, transducer], gap: 50 ms, rise: 0.5 V/s, settle: 150 ms"),),
        "rise: 0.5 V/s",
        "begins at 1 V/s",
    ),
    Case(
        "ramp-in-stairs",
        "transducer",
        (("bench", "        slew: 1 V/s .. 2.1 V/ms\n", ""),),
        "rise: 2 V/ms",
        "right.1: no slew is given, so that the host plays this line in one step, as steep",
    ),
    Case(
        "fall-too-fast",
        "main",
        (("procedure", "{line_to: 6 V, over: 2 s}", "{line_to: 6 V, over: 20 ms}"),),
        "over: 20 ms",
        "a fall at 300 V/s is asked for; left.1 falls at 60 V/s",
    ),
    Case(
        "dwell-too-short",
        "main",
        (sweep("from: 9 V, to: 16 V, points: 8, dwell: 20 ms"),),
        "dwell: 20 ms",
        "20 ms; a reading comes every 10 ms",
    ),
    Case(
        "requirement-masked",
        "transducer",
        (("procedure", INRUSH, "    at_most: 150 mA"),),
        "at_most: 150 mA",
        "holds the current to 0.1006 A (with its error) once it has responded, in 1 ms; until then up to",
    ),
    Case(
        "requirement-masked",
        "transducer",
        (("procedure", INRUSH, "    at_most: 1 kA"),),
        "at_most: 1 kA",
        "it cannot fail, but the readings cannot see it either",
    ),
    Case(
        "requirement-masked",
        "transducer",
        (("procedure", "at_most: 25 mA", "at_most: 650 mA"),),
        "at_most: 650 mA",
        "holds the current to 0.1006 A (with its error): it cannot fail",
    ),
    Case(
        "requirement-masked",
        "transducer",
        (("procedure", "at_most: 25 mA", "at_most: 200 mA"),),
        "at_most: 200 mA",
        "in 1 ms: the mean can be higher only by what flows before that, again and again",
    ),
    Case(
        "requirement-masked",
        "main",
        (
            ("procedure", "measure: high_state_level", "measure: peak_voltage"),
            ("procedure", "between: 11.9 V .. 12.1 V", "at_most: 19 V"),
        ),
        "at_most: 19 V",
        "which the readings cannot see",
    ),
    Case(
        "requirement-masked",
        "main",
        (("procedure", "between: 11.9 V .. 12.1 V", "between: 11.9 V .. 19 V"),),
        "11.9 V .. 19 V",
        "the OVP trips by 18.1 V",
    ),
    Case(
        "requirement-masked",
        "main",
        (
            ("procedure", "measure: high_state_level", "measure: low_state_level"),
            ("procedure", "between: 11.9 V .. 12.1 V", "at_most: 19 V"),
        ),
        "at_most: 19 V",
        "it cannot fail, for what stays above trips",
    ),
    Case(
        "requirement-out-of-reach",
        "transducer",
        (("procedure", INRUSH, "    at_least: 150 mA"),),
        "at_least: 150 mA",
        "asks for 0.15 A or more",
    ),
    Case(
        "reading-too-slow",
        "transducer",
        (),
        "measure: peak_current",
        "shorter than 18 ms, which the supply's readings average away or miss; by the readings",
        silent=(("procedure", "measure: peak_current", "measure: mean_current"),),
    ),
    Case(
        "reading-too-slow",
        "main",
        (("procedure", "at_most: 60 ms", "at_most: 40 ms"),),
        "measure: start_up_time",
        "the time that 'start-up time' permits is 40 ms; a reading comes every 10 ms",
    ),
    Case(
        "reading-too-seldom",
        "transducer",
        (
            ("procedure", "measure: peak_current", "measure: mean_current"),
            ("procedure", "every: 10 ms", "every: 20 ms"),
        ),
        "measure: mean_current",
        "the readings cover 40% of the time, an aperture of 8 ms every 20 ms",
        silent=(("procedure", "measure: peak_current", "measure: mean_current"),),
    ),
    Case(
        "reading-too-coarse",
        "main",
        (("procedure", "between: 11.9 V .. 12.1 V", "between: 11.98 V .. 12.02 V"),),
        "11.98 V",
        "leaves ±20 mV",
    ),
    Case(
        "step-too-short",
        "main",
        (("procedure", "at_most: 60 ms", "at_most: 400 ms"),),
        "at_most: 400 ms",
        "400 ms",
    ),
    # 3.96 W / 83 % at 7.05 V behind, over 1 mH and 60 mΩ of ESR: it takes the 0.8 mF beside it and more.
    Case(
        "input-oscillates",
        "main",
        (inside("choke: {inductance: 3 mH, resistance: 10 mohm}"),),
        "load:",
        "with what lies inside,",
        silent=(inside("choke: {inductance: 10 uH, resistance: 10 mohm}"),),
    ),
    Case(
        "step-too-short",
        "main",
        (("procedure", "requires:\n", INRUSH_WITHIN.format("300 ms")),),
        "within: 300 ms",
        "is looked at for 300 ms",
        silent=(("procedure", "requires:\n", INRUSH_WITHIN.format("60 ms")),),
    ),
    Case(
        "trip-not-armed",
        "main",
        (trip_within("2 s", "brown-out", "OCP"),),
        "measure: trip_time",
        "a trip by the OCP of main, which is not used",
        silent=(trip_within("2 s", "brown-out", "current limit"),),
    ),
    Case(
        "trip-status-slow",
        "main",
        (trip_within("40 ms", "brown-out"),),
        "measure: trip_time",
        "'trips' leaves 40 ms",
        silent=(trip_within("2 s", "brown-out"),),
    ),
    Case(
        "trip-step-short",
        "main",
        (trip_within("3 s", "steady"),),
        "measure: trip_time",
        "permits 3 s; 'steady' lasts 2 s",
        silent=(trip_within("1 s", "steady"),),
    ),
    Case(
        "trip-ends-run",
        "main",
        (trip_within("1 s", "line sweep"),),
        "during: line sweep",
        "'line sweep' is not played to its end, and 'power over the line range'",
    ),
    Case(
        "trip-leaves-out",
        "main",
        (trip_within("1 s", "steady"),),
        "during: brown-out",
        "'stops at' is judged only where the required trip does not come: it ends the run before 'brown-out'",
        silent=(trip_within("1 s", "brown-out"),),
    ),
    Case(
        "threshold-not-crossed",
        "main",
        (("procedure", "{line_to: 6 V", "{line_to: 7.5 V"),),
        "during: brown-out",
        "plays 7.5 V to 12 V; 'stops at' permits 7 V to 8.2 V",
    ),
    Case(
        "recorded-too-fast",
        "main",
        (("procedure", "record: {every: 10 ms}", "record: {every: 5 ms}"),),
        "every: 5 ms",
        "left.1 makes a new reading every 10 ms",
    ),
    Case(
        "stop-out-of-reach",
        "main",
        (("procedure", STOP, "{input: main, current_above: 1.2 A, for: 100 ms}"),),
        "current_above: 1.2 A",
        "1.2 A is not below the current limit, 1.005 A",
    ),
    Case(
        "stop-out-of-reach",
        "main",
        (("procedure", STOP, "{input: main, voltage_above: 19 V, for: 100 ms}"),),
        "voltage_above: 19 V",
        "the OVP trips by 18.1 V",
    ),
    Case(
        "stop-in-normal",
        "main",
        (("procedure", STOP, "{input: main, current_above: 300 mA, for: 100 ms}"),),
        "current_above: 300 mA",
        "0.6 A, above 0.3 A",
        silent=(("procedure", STOP, "{input: main, current_above: 300 mA, during: steady, for: 100 ms}"),),
    ),
    Case(
        "stop-in-normal",
        "main",
        (("procedure", STOP, "{input: main, voltage_below: 10 V, for: 100 ms}"),),
        "voltage_below: 10 V",
        "plays 9 V, below 10 V",
        silent=(("procedure", STOP, "{input: main, voltage_below: 10 V, during: steady, for: 100 ms}"),),
    ),
    Case(
        "stop-in-normal",
        "main",
        (("procedure", STOP, "{input: main, voltage_above: 15 V, for: 100 ms}"),),
        "voltage_above: 15 V",
        "stays above 15 V for",
        silent=(("procedure", STOP, "{input: main, voltage_above: 15 V, for: 10 s}"),),
    ),
    Case(
        "stop-unseen",
        "main",
        (("procedure", STOP, "{input: main, current_above: 900 mA, for: 5 ms}"),),
        "for: 5 ms",
        "for 5 ms; a reading comes every 10 ms",
    ),
    Case(
        "calibration-overdue",
        "left",
        (),
        "calibrated",
        "due on 2027-03-02, 1 day before 2027-03-03",
        today=dt.date(2027, 3, 3),
    ),
    Case(
        "calibration-ahead", "left", (), "calibrated", "calibrated on 2026-03-02", today=dt.date(2026, 3, 1)
    ),
    Case(
        "multimeter-range",
        "main",
        probed("main", "voltage: {range: 17 V}"),
        "  M:",
        "the level at which the OVP acts is 18 V, the range of M ends at 17 V",
        silent=probed("main", "voltage: {range: 18 V}"),
    ),
    Case(
        "multimeter-in-series",
        "transducer",
        probed("transducer", "current: {range: 1 A}"),
        "  M:",
        "M is in series with transducer",
        silent=probed("transducer", "voltage: {range: 100 V}"),
    ),
    Case(
        "relay-under-load",
        "main",
        relayed(during=CUT),
        "  - relays: {open: [gate]",
        "'gate' opens while main is on, and is not rated to switch under load",
        silent=relayed(f"{RATED}, under_load: yes", during=CUT),
    ),
    Case(
        "relay-under-load",
        "main",
        relayed(before="", during=CONNECT),
        "  - relays: {close: [gate]",
        "'gate' closes while main is on",
        silent=relayed(),
    ),
    Case(
        "relay-load-unrated",
        "main",
        relayed("voltage: 30 V, under_load: yes", during=CUT),
        "  - relays: {open: [gate]",
        "its d.c. rating lacks: current",
        silent=relayed(f"{RATED}, under_load: yes", during=CUT),
    ),
    Case(
        "relay-rating",
        "main",
        relayed("voltage: 18.09 V, current: 5 A"),
        "gate: {channel: 101",
        # 18 V, and 100 mV by which its level may be off.
        "the OVP of main acts at up to 18.1 V, 'gate' is rated 18.09 V d.c.",
        silent=relayed("voltage: 18.11 V, current: 1.006 A"),
    ),
    Case(
        "relay-rating",
        "main",
        relayed("voltage: 19 V, current: 1.004 A"),
        "gate: {channel: 101",
        # 1 A, and 0.1 % and 4 mA by which it may be off.
        "the current limit of main lets through up to 1.005 A, 'gate' is rated 1.004 A d.c.",
        silent=relayed("voltage: 19 V, current: 1.006 A"),
    ),
    Case(
        "relay-settle",
        "main",
        relayed(f"{RATED}, operate: 110 ms"),
        "  - relays: {close: [gate], settle: 100 ms}",
        "'connect' gives its contacts 100 ms, they take 110 ms",
        silent=relayed(f"{RATED}, release: 110 ms"),
    ),
    Case(
        "relay-sense",
        "main",
        relayed(before="", sense="load"),
        "  - power_up:",
        "main is sensed at the load and on in 'first power' while 'gate' is open",
        silent=relayed(sense="load"),
    ),
    Case(
        "relay-sense",
        "main",
        relayed(f"{RATED}, under_load: yes", during=CUT, sense="load"),
        "  - relays: {open: [gate]",
        "on in 'cut' while 'gate' is open",
        silent=relayed(f"{RATED}, under_load: yes", during=CUT),
    ),
    Case(
        "relay-open",
        "main",
        relayed(before=""),
        "  - power_up:",
        "'first power' switches main on while 'gate' in its lead is open",
        silent=relayed(before="", starts="closed"),
    ),
    Case(
        "relay-inductive",
        "main",
        (COIL, *relayed(f"{RATED}, under_load: yes", during=CUT)),
        "  - relays: {open: [gate]",
        "'gate' opens while main is on, whose load is inductive (coil)",
        silent=(COIL, *relayed(f"{RATED}, under_load: yes, suppressed: yes", during=CUT)),
    ),
    Case(
        "relay-isolates-nothing",
        "main",
        relayed(),
        "gate: {channel: 101",
        "'gate' of S lies in the lead of main; open, it isolates nothing",
        silent=fixture("switch: {resistance: 5 mohm}"),
    ),
    Case(
        "pin-undriven",
        "main",
        pinned(driven=False),
        "  run: {active: high",
        "nothing drives pin 'run', which enables a part of main: it takes its own level, low, and stays "
        "inactive",
        silent=pinned(),
    ),
    Case(
        "pin-undriven",
        "main",
        pinned("active: low, undriven: low", driven=False),
        "  run: {active: low",
        "takes its own level, low, and stays active",
        silent=pinned(driven=False, enables=False),
    ),
    Case(
        "pin-undriven",
        "main",
        pinned("active: high", driven=False),
        "  run: {active: high",
        "nothing drives pin 'run', which enables a part of main, and the device document does not say which "
        "level it takes then: active is assumed",
        silent=pinned("active: high", "closed: high, open: low, without_power: open"),
    ),
    Case(
        "pin-undriven",
        "main",
        pinned("active: high"),
        "  run: {active: high",
        "'en' at times does not drive pin 'run', which enables a part of main, and the device document does "
        "not say which level it takes then: inactive is assumed",
        silent=pinned("active: high, undriven: low"),
    ),
    Case(
        "pin-enables-nothing",
        "run",
        pinned(enables=False),
        "pins: {run: {from: en",
        "'en' drives pin 'run', and no part of any input's load has `enabled_by: run`",
        silent=pinned(),
    ),
    Case(
        "pin-polarity",
        "run",
        pinned("active: high, undriven: high"),
        "  P: {address",
        "'en' closed drives pin 'run' high, and open leaves it high: it is always active",
        silent=pinned("active: high, undriven: high", "closed: high, open: low, without_power: open"),
    ),
    Case(
        "pin-polarity",
        "run",
        pinned(contact="closed: low, without_power: closed"),
        "  P: {address",
        "'en' closed drives pin 'run' low, and open leaves it low: it is always inactive",
        silent=pinned("active: high, undriven: high", "closed: low, without_power: closed"),
    ),
    Case(
        "pin-rests-active",
        "run",
        pinned(contact="closed: high, without_power: closed"),
        "  P: {address",
        "'en' is closed without power, which makes pin 'run' active",
        silent=pinned("active: low, undriven: low", "closed: high, without_power: closed"),
    ),
    Case(
        "pin-rests-active",
        "run",
        pinned("active: high, undriven: high", "closed: low, without_power: open"),
        "  P: {address",
        "'en' is open without power, which makes pin 'run' active",
        silent=pinned("active: high, undriven: high", "closed: low, without_power: closed"),
    ),
    Case(
        "pin-never-active",
        "main",
        pinned(during=""),
        "pins: {run: {from: en",
        "where pin 'run' is never active",
        silent=pinned(),
    ),
    Case(
        "pin-feeds-back",
        "main",
        pinned("active: low, undriven: low", "closed: high, without_power: closed"),
        "  P: {address",
        "'en' drives pin 'run' high before it is switched on, while main is off",
        silent=pinned("active: low, undriven: high", "closed: low, without_power: open"),
    ),
    Case(
        "pin-feeds-back",
        "main",
        pinned(before=ENABLE, during=""),
        "  P: {address",
        "'en' drives pin 'run' high before it is switched on, while main is off",
        silent=pinned(during=ENABLE + ENABLE.replace("close", "open").replace("enable", "disable")),
    ),
    Case(
        "proof-overdue",
        "bench",
        (
            (
                "bench",
                "location: dry",
                "proved: {on: 2026-03-02, due: 2027-03-02, record: P-1}\nlocation: dry",
            ),
        ),
        "proved",
        "due on 2027-03-02, 2 days before 2027-03-04 (record P-1)",
        today=dt.date(2027, 3, 4),
    ),
    Case(
        "proof-ahead",
        "bench",
        (
            (
                "bench",
                "location: dry",
                "proved: {on: 2026-12-02, due: 2027-03-02, record: P-1}\nlocation: dry",
            ),
        ),
        "proved",
        "proved on 2026-12-02",
    ),
    Case(
        "calibration-unknown",
        "left",
        (("bench", f"    {CALIBRATED}\n", ""),),
        "left:",
        "no calibration is given",
    ),
    Case(
        "shared-bus",
        "left, right",
        (
            ("bench", LEFT_ADDRESS, "address: GPIB0::5::INSTR"),
            ("bench", RIGHT_ADDRESS, "address: gpib::7::INSTR"),
        ),
        "GPIB0::5",
        "share the bus GPIB0",
        (
            ("bench", LEFT_ADDRESS, "address: GPIB0::5::INSTR"),
            ("bench", RIGHT_ADDRESS, "address: GPIB1::7::INSTR"),
        ),
    ),
    Case(
        "shared-bus",
        "left, right",
        (
            ("bench", LEFT_ADDRESS, LEFT_ADDRESS + "\n    bus: rack"),
            ("bench", RIGHT_ADDRESS, RIGHT_ADDRESS + "\n    bus: rack"),
        ),
        "::5025::",
        "share the bus rack",
        (("bench", LEFT_ADDRESS, LEFT_ADDRESS + "\n    bus: rack"),),
    ),
    Case(
        "shared-bus",
        "left, right",
        (
            ("bench", LEFT_ADDRESS, "address: TCPIP::192.0.2.9::gpib0,5::INSTR"),
            ("bench", RIGHT_ADDRESS, "address: TCPIP0::192.0.2.9::gpib0,6::INSTR"),
        ),
        "gpib0,5",
        "share the bus TCPIP0::192.0.2.9::GPIB0",
        (
            ("bench", LEFT_ADDRESS, "address: TCPIP::192.0.2.9::gpib0,5::INSTR"),
            ("bench", RIGHT_ADDRESS, "address: TCPIP::192.0.2.8::gpib0,6::INSTR"),
        ),
    ),
    Case(
        "line-slow",
        "left",
        (("bench", LEFT_ADDRESS, "address: ASRL/dev/ttyUSB0::INSTR\n    line: {baud: 19200}"),),
        "baud: 19200",
        "at 19200 Bd",
        (("bench", LEFT_ADDRESS, "address: ASRL/dev/ttyUSB0::INSTR\n    line: {baud: 921600}"),),
    ),
    Case(
        "transport-untried",
        "left",
        (("bench", LEFT_ADDRESS, "address: USB0::0x1234::0x5678::Q-0117::INSTR"),),
        "USB0::",
        "USB was not tried",
        (("bench", LEFT_ADDRESS, "address: TCPIP::192.0.2.9::INSTR"),),
    ),
    Case(
        "transport-untried",
        "left",
        (("bench", LEFT_ADDRESS, LEFT_ADDRESS + '\n    visa: "@ivi"'),),
        "::5025::",
        "@ivi was not tried",
    ),
    Case(
        "master-switch",
        "left",
        (("bench", "dialect: channel-list", "dialect: prefixed"),),
        "dialect: prefixed",
        "2 of left",
        (
            ("bench", "dialect: channel-list", "dialect: prefixed"),
            ("procedure", TRANSDUCER, TRANSDUCER.replace("right.1", "left.2")),
        ),
    ),
    Case(
        "master-switch",
        "left",
        (("bench", "dialect: channel-list", "dialect: numbered-header"),),
        "dialect: numbered-header",
        "would go on",
    ),
    Case("comes-on-by-itself", "left", (COMES_ON,), "after_mains: comes on", "left comes on as it was"),
    Case(
        "comes-on-unattended",
        "left",
        (COMES_ON, ALONE),
        "after_mains: comes on",
        "nobody is to be there",
        silent=(COMES_ON, ALONE, STAYS_OPEN),
    ),
    Case(  # a door stays closed while the mains are gone
        "comes-on-unattended",
        "left",
        (COMES_ON, ALONE, INTERLOCK),
        "after_mains: comes on",
        "nobody is to be there",
        silent=(COMES_ON, INTERLOCK),
    ),
    Case(
        "comes-on-unattended",
        "left",
        (COMES_ON, ALONE, (*STAYS_OPEN[:2], STAYS_OPEN[2].replace("open: yes", "open: no"))),
        "after_mains: comes on",
        "nobody is to be there",
        silent=(COMES_ON, STAYS_OPEN),
    ),
    Case(  # nobody has seen it act yet
        "comes-on-unattended",
        "left",
        (COMES_ON, ALONE, STAYS_OPEN),
        "after_mains: comes on",
        "nobody is to be there",
        silent=(ALONE, STAYS_OPEN),
        today=dt.date(2026, 11, 1),
    ),
    Case(
        "comes-on-unattended",
        "left",
        (COMES_ON, ALONE, watchdog("left"), watchdog("right")),
        "after_mains: comes on",
        "nobody is to be there",
        silent=(ALONE,),
    ),
    Case(
        "off-takes-in",
        "main",
        (BATTERY, while_off("held at 0 V")),
        "when_off:",
        "left.1 take in up to 1.5 A while off (held at 0 V), from the device's own source of up to 13 V",
        silent=(BATTERY,),
    ),
    Case(
        "off-takes-in",
        "main",
        (BATTERY, PARALLEL, while_off("sinks")),
        "when_off:",
        "left.1 and left.2 take in up to 3 A while off (sinks)",
        silent=(BATTERY, PARALLEL, while_off("sinks", "sink: 0 A")),
    ),
    Case(
        "off-takes-in",
        "main",
        (BATTERY, SERIES, while_off("sinks")),
        "when_off:",
        "left.1 and left.2 take in up to 1.5 A while off",
        silent=(while_off("sinks"),),
    ),
    Case(
        "source-crowbar",
        "main",
        (BATTERY, *own_ovp("crowbar: 50 mohm")),
        "crowbar: 50 mohm",
        "the OVP of left.1 shorts its terminals when it acts, and with them main's own source of up to 13 V",
        silent=(BATTERY, *own_ovp("crowbar: 50 mohm"), *fixture("diode: {drop: 0.4 V, resistance: 20 mohm}")),
    ),
    Case(
        "source-full",
        "main",
        (*charged(), ("device", "state_of_charge: 50 %", "state_of_charge: 66 %")),  # 10 V + 0.66 · 3 V
        "load:",
        "up to 11.98 V before it goes on, and is set to 12 V",
        silent=charged(),
    ),
    Case(
        "source-under",
        "main",
        (*charged(), NEVER_UNDER),
        "never_under: 11.6 V",
        "down to 11.5 V before it goes on; below 11.6 V nothing is fed into it",
        silent=(*charged(), (*NEVER_UNDER[:2], NEVER_UNDER[2].replace("11.6", "11.4"))),
    ),
    Case(
        "source-charge-limit",
        "main",
        charged("    # no limit of the charge\n"),
        "main:",
        "nothing bounds the charge",
        silent=charged(),
    ),
    Case(
        "source-hidden",
        "main",
        (*charged(), *fixture("diode: {drop: 0.4 V, resistance: 20 mohm}")),
        "diode:",
        "hides its source from the output",
        silent=(
            *charged(),
            *fixture("diode: {drop: 0.4 V, resistance: 20 mohm}"),
            *probed("main", "voltage: {range: 20 V, of_value: 0.003 %, offset: 0.3 mV}"),
        ),
    ),
    Case(
        "source-unwatched",
        "main",
        (*charged(), ALONE, STAYS_OPEN),
        "attended: no",
        "not without a person",
        silent=(
            *charged(),
            ALONE,
            (
                *STAYS_OPEN[:2],
                STAYS_OPEN[2].replace("stays_open: yes", "stays_open: yes, watches: temperature"),
            ),
        ),
    ),
    Case(
        "source-rise", "main", charged(), "rise:", "the rise is not used for it", silent=(REGULATES, IN_LIMIT)
    ),
    Case("identity-unknown", "left", (("bench", "    serial: Q-0117\n", ""),), "left:", "serial not given"),
    Case(
        "off-grid",
        "main",
        (limit("999.95 mA"),),
        "999.95 mA",
        "sets in steps of 100 µA",
    ),
    Case(
        "off-grid",
        "main",
        (sweep("from: 9 V, to: 15.0005 V, points: 8, dwell: 500 ms"),),
        "15.0005 V",
        "15.0005 V on left.1, which sets in steps of 1 mV",
    ),
    Case(
        "input-oscillates",
        "main",
        (BANK_GONE,),
        "load:",
        # 3.96 W / 83 % at 7.4 V: -11.48 Ω; 0.982 µH and 70.84 mΩ ask for L·P/(V²·R) = 1.207 µF.
        "at 7.4 V it acts as -11.48 Ω (dV/dI; of a constant power -V²/P), and no capacitor stands beside it",
    ),
    Case(
        "input-oscillates",
        "main",
        (("device", "capacitance: 1000 uF ± 20 %, esr: 60 mohm", "capacitance: 1.4 uF ± 20 %"),),
        "load:",
        "as little as 1.12 µF with an ESR that is not given, and not counted, stands beside it",
        silent=(("device", "capacitance: 1000 uF ± 20 %, esr: 60 mohm", "capacitance: 1.6 uF ± 20 %"),),
    ),
    Case(
        "input-oscillates",
        "main",
        (
            (
                "device",
                "capacitance: 1000 uF ± 20 %, esr: 60 mohm",
                "capacitance: 0.7 uF ± 20 %, esr: 60 mohm",
            ),
        ),
        "load:",
        "560 nF with an ESR of 60 mΩ stands beside it",
        silent=(("device", "capacitance: 1000 uF ± 20 %", "capacitance: 0.9 uF ± 20 %"),),
    ),
    Case(
        "input-oscillates",
        "transducer",
        (("device", "constant_current: {current: 20 mA ± 5 %, compliance: 9 V}", FALLING), SMALL),
        "load:",
        "V it acts as -500 Ω",
        silent=(SMALL,),
    ),
    Case(
        "input-oscillates",
        "transducer",
        (("device", "constant_current: {current: 20 mA ± 5 %, compliance: 9 V}", POWER), SMALL),
        "load:",
        "at 18 V it acts as -270 Ω",
        silent=(("device", "constant_current: {current: 20 mA ± 5 %, compliance: 9 V}", POWER),),
    ),
    Case(  # each output in series acts on its own half: the less exact one 0.6 V below the level, not 0.4 V
        "ovp-below-played",
        "main",
        (SERIES, LESS_EXACT, ("procedure", "ovp: 18 V", "ovp: 16.5 V")),
        "ovp: 16.5 V",
        "the OVP may trip from 15.9 V on",
        silent=(SERIES, ("procedure", "ovp: 18 V", "ovp: 16.5 V")),
    ),
    Case(  # before there is a limit the drop is left out, and a level below even that is told
        "ovp-below-played",
        "main",
        (limit("auto"), ("device", ", at_most: 2.5 A", ""), ("procedure", "ovp: 18 V", "ovp: 16 V")),
        "ovp: 16 V",
        "the OVP may trip from 15.9 V on",
        silent=(limit("auto"), ("device", ", at_most: 2.5 A", "")),
    ),
    Case(  # 0.2 ms of response, and 1.42 mF that fall by 0.2 V with 0.2 A in 1.4 ms: 1 ms is too brief
        "ovp-above-withstand",
        "main",
        (("procedure", "ovp: 18 V", "ovp: 19.82 V"), ("device", "26 V, for: 1 s", "26 V, for: 1 ms")),
        "ovp: 19.82 V",
        "may reach 20.02 V before the OVP acts; the input withstands 20 V",
        silent=(("procedure", "ovp: 18 V", "ovp: 19.82 V"), ("device", "26 V, for: 1 s", "26 V, for: 20 ms")),
    ),
    Case(  # what is withstood for a time is judged where nothing says what is withstood for any time
        "ovp-above-withstand",
        "main",
        (
            ("procedure", "ovp: 18 V", "ovp: 26 V"),
            ("device", "      - {voltage: 20 V}                  # for any time\n", ""),
        ),
        "ovp: 26 V",
        "may reach 26.21 V before the OVP acts; the input withstands 26 V for 1 s",
        silent=(("device", "      - {voltage: 20 V}                  # for any time\n", ""),),
    ),
    Case(  # in parallel every output is set to the whole voltage
        "voltage-range",
        "main",
        (PARALLEL, second("voltage: 0 V .. 15 V")),
        "to: 16 V",
        "that is sensed away is more than the 15 V that left.1 and left.2 in parallel can give",
        silent=(PARALLEL,),
    ),
    Case(  # at the very end of a range that begins below 0 V is inside it
        "voltage-range",
        "main",
        (BOTH_WAYS, *shape("input: main, segments: [{step_to: -3.1 V}, {hold: 1 s}]")),
        "step_to: -3.1 V",
        "the range of left.1 begins at -3 V; -3.1 V is played on it",
        silent=(BOTH_WAYS, *shape("input: main, segments: [{step_to: -3 V}, {hold: 1 s}]")),
    ),
    Case(  # half of the current comes from the weak output: 4 W together, not 62 W
        "power-range",
        "main",
        (PARALLEL, second("power: 2 W")),
        "",
        "left.1 and left.2 in parallel can give 4 W",
        silent=(PARALLEL, second("power: 4 W")),
    ),
    Case(  # with its + at 0 V an output stands below earth by all that it can reach
        "isolation",
        "main",
        (NEGATIVE, ("bench", "isolation: 150 V", "isolation: 30 V")),
        "main:",
        "left.1 can reach 36 V; left.1 is isolated from earth up to 30 V",
        silent=(("bench", "isolation: 150 V", "isolation: 30 V"),),
    ),
    Case(  # each of two in series rises half as fast as the input
        "slew-out-of-range",
        "main",
        (SERIES, power_up("order: [main, transducer], gap: 50 ms, rise: 1.5 V/s, settle: 150 ms")),
        "rise: 1.5 V/s",
        "1.5 V/s is asked for; the slew of left.1 begins at 1 V/s, with which left.1 and left.2 in series "
        "rise at 2 V/s",
        silent=(power_up("order: [main, transducer], gap: 50 ms, rise: 1.5 V/s, settle: 150 ms"),),
    ),
    Case(  # the slower of two in series does its half with 0.8 V/ms: 1.6 V/ms together, not 3.2 V/ms
        "slew-too-fast",
        "main",
        (SERIES, second("slew: 1 V/s .. 0.8 V/ms")),
        "rise: 2 V/ms",
        "2 kV/s is asked for; left.1, left.2 can do 1.6 kV/s",
        silent=(SERIES,),
    ),
    Case(  # each of two in series falls half as fast as the input, the slower with 30 V/s: 60 V/s
        "fall-too-fast",
        "main",
        (
            SERIES,
            second("fall: {loaded: 60 ms, unloaded: 960 ms}"),
            ("procedure", "{line_to: 6 V, over: 2 s}", "{line_to: 6 V, over: 60 ms}"),
        ),
        "over: 60 ms",
        "a fall at 100 V/s is asked for; left.1, left.2 fall at 60 V/s",
        silent=(SERIES, ("procedure", "{line_to: 6 V, over: 2 s}", "{line_to: 6 V, over: 60 ms}")),
    ),
    Case(  # with the programming error of the limit, as rule lead-current has it
        "lead-from-stock",
        "main",
        (("bench", "permitted_current: 8 A", "permitted_current: 1 A"), STOCK),
        "lead: silicone pair",
        "(it may not carry what the current limit lets through); AWG 14 from stock",
        silent=(("bench", "permitted_current: 8 A", "permitted_current: 1.01 A"), STOCK),
    ),
    Case(
        "stored-energy",
        "main",
        (("device", "1000 uF ± 20 %", "200 mF ± 20 %"),),
        "load:",
        "hold 30.72 J",
    ),
    Case(
        "off-late",
        "main",
        (("device", "1000 uF ± 20 %", "200 mF ± 20 %"),),
        "load:",
        "fall below 1 V in up to ",
    ),
    Case(
        "slow-discharge",
        "main",
        (),
        "1:",
        "discharge from 8.6 V (a load that starts at up to 8.6 V not running, as in a power-up that is",
        silent=(("bench", "bleeder: 1 kohm", "bleeder: 100 ohm"),),
    ),
]


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case.rule}-{case.why[:24]}")
def test_fires(case: Case, tmp_path: Path) -> None:
    found = [
        f
        for f in of_rule(settled(tmp_path, *case.fires, today=case.today), case.rule)
        if f.about == case.about
    ]
    severities = {rule.id: rule.severity for rule in RULES}
    matching = [finding for finding in found if case.why in finding.why]
    assert matching, [finding.why for finding in found]
    assert case.line in line_of(matching[0])
    assert matching[0].severity is severities[case.rule]
    assert matching[0].remedy


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case.rule}-{case.why[:24]}")
def test_silent(case: Case, tmp_path: Path) -> None:
    found = of_rule(settled(tmp_path, *case.silent), case.rule)
    assert [finding.why for finding in found if finding.about == case.about] == []


@pytest.mark.parametrize(
    ("contact", "rated", "check"),
    [
        ("current: 5 A", "voltage", "the level at which the OVP acts"),
        ("voltage: 30 V", "current", "the current limit"),
    ],
)
def test_a_rating_that_is_not_given_leaves_open_whether_the_contact_bears_it(
    contact: str, rated: str, check: str, tmp_path: Path
) -> None:
    settings = settled(tmp_path, *relayed(contact))
    whys = [f.why for f in of_rule(settings, "unknown-figure") if says(f.why, rated, "gate")]
    assert [says(why, f"whether it bears {check}") for why in whys] == [True]


def two_contacts(first: str, other: str, settle: str) -> tuple[Edit, ...]:
    """Contacts in both leads that take these times to close, in one step."""
    box = "  vent box: {switch: {starts: open, resistance: 20 mohm}}\n"
    own = f"vent: {{channel: 102, fixture: vent box, without_power: open, {RATED}, operate: {other}}}"
    step = f"  - relays: {{close: [gate, vent], settle: {settle}}}\n    name: connect\n"
    return (
        *relayed(f"{RATED}, operate: {first}", before=step),
        ("bench", "contacts: {", f"contacts: {{{own}, "),
        ("bench", "\nfixtures:\n", f"\nfixtures:\n{box}"),
        ("procedure", TRANSDUCER, TRANSDUCER.replace("thin pair", "thin pair, fixture: vent box")),
    )


@pytest.mark.parametrize(
    ("first", "other", "settle"),
    [("100 ms", "200 ms", "300 ms"), ("10 ms", "50 ms", "60 ms"), ("200 ms", "400 ms", "600 ms")],
)
def test_contacts_that_take_just_the_time_of_their_step_are_still_by_its_end(
    first: str, other: str, settle: str, tmp_path: Path
) -> None:
    """0.1 s and 0.2 s are 0.30000000000000004 s where they are added up."""
    assert of_rule(settled(tmp_path, *two_contacts(first, other, settle)), "relay-settle") == []
    late = settled(tmp_path, *two_contacts(first, other.replace(" ms", ".1 ms"), settle))
    assert [each.about for each in of_rule(late, "relay-settle")] == ["main"]


@pytest.mark.parametrize("left_out", ["main", "transducer"])
def test_a_contact_in_the_lead_of_an_input_that_nothing_feeds_is_not_counted(
    left_out: str, tmp_path: Path
) -> None:
    """As a hook-up leaves it that was to be worked out, where nothing fits."""
    documents = station(tmp_path, *two_contacts("70 ms", "70 ms", "60 ms"))
    fed = {name: each for name, each in documents.procedure.hook_up.items() if name != left_out}
    found = of_rule(settle(documents.with_procedure(hook_up=fed), TODAY), "relay-settle")
    assert [each.about for each in found] == list(fed)
    assert [says(each.why, "60 ms", "70 ms") for each in found] == [True]


WHILE_OFF = "        when_off: high impedance\n"


@pytest.mark.parametrize(
    ("joined", "first", "other", "unknown"),
    [
        (SERIES, "", "when_off: high impedance", []),
        (SERIES, "        when_off: sinks\n", "when_off: high impedance, sink: 0 A", []),
        (SERIES, "", "when_off: sinks, sink: 0 A", []),
        (SERIES, "", "when_off: sinks, sink: 1 A", ["left.1"]),
        (PARALLEL, "", "when_off: high impedance", ["left.1"]),
    ],
)
def test_in_series_one_output_that_takes_in_nothing_lets_none_whatever_the_others_are(
    joined: Edit, first: str, other: str, unknown: list[str], tmp_path: Path
) -> None:
    settings = settled(tmp_path, BATTERY, joined, ("bench", WHILE_OFF, first), second(other))
    assert of_rule(settings, "off-takes-in") == []
    lacks = [f for f in of_rule(settings, "unknown-figure") if says(f.why, "from the device's own source")]
    assert [each.about for each in lacks] == unknown


@pytest.mark.parametrize(
    ("what", "told"),
    [
        ("held at 0 V\n        sink: 0 A", ""),
        ("sinks\n        sink: 0 A", ""),
        ("high impedance", ""),
        ("held at 0 V", "a current that is not given that it takes in while off"),
        ("sinks\n        sink: 1.5 A", "1.5 A that it takes in while off"),
    ],
)
def test_what_an_output_that_is_off_leaves_is_said_with_what_it_takes_in(
    what: str, told: str, tmp_path: Path
) -> None:
    high = "input: main, standard: IEC 61000-4-29 interruption, impedance: high, duration: 10 ms"
    edit: Edit = ("bench", WHILE_OFF, f"        when_off: {what}\n")
    (found,) = of_rule(settled(tmp_path, edit, *shape(high)), "interruption-high-impedance")
    assert says(found.why, "220 µF", "1 kΩ")
    assert ("takes in" in found.why) is bool(told)
    assert told in found.why


UNKNOWN = [
    (("bench", ", permitted_current: 8 A", ""), "main", "permitted current of lead 'silicone pair'"),
    (
        ("bench", ", contact_resistance_loop: 8 mohm", ""),
        "main",
        "contact resistance of lead 'silicone pair'",
    ),
    (("bench", "sense: {compensates: 1 V}", "sense: {}"), "left.1", "how much drop sensing makes up for"),
    (("bench", "accuracy: 100 mV, ", ""), "main", "accuracy of the OVP"),
    (("bench", ", response: 200 us", ""), "main", "response of the OVP"),
    (("bench", "        trip_delay: 2 ms .. 5 s\n", ""), "left.1", "range of the trip delay"),
    (("bench", "        bleeder: 1 kohm\n", ""), "main", "bleeder of the output"),
    (("bench", "          update: 10 ms\n", ""), "left.1", "update interval of the reading"),
    (
        ("bench", ", resolution: 0.1 mA}\n        reading", "}\n        reading"),
        "left.1",
        "step of the current limit",
    ),
    (
        (
            "bench",
            "current: {of_value: 0.1 %, offset: 3 mA, resolution: 0.1 mA, noise: 0.2 mA}",
            "current: {resolution: 0.1 mA, noise: 0.2 mA}",
        ),
        "left.1",
        "accuracy of the readings ('of_value', 'offset' of current)",
    ),
    (("device", ", at_most: 2.5 A", ""), "main", "current that does the input no harm (at_most)"),
    (("device", "steady: 180 mA .. 600 mA, ", ""), "main", "declared steady current"),
]


@pytest.mark.parametrize(("edit", "about", "figure"), UNKNOWN, ids=lambda value: str(value)[:30])
def test_what_a_data_sheet_does_not_say_is_a_note(
    edit: Edit, about: str, figure: str, tmp_path: Path
) -> None:
    found = of_rule(settled(tmp_path, edit), "unknown-figure")
    whys = [finding.why for finding in found if finding.about == about]
    assert any(figure in why and "checked" in why for why in whys), whys
    assert of_rule(settled(tmp_path), "unknown-figure") == []


@pytest.mark.parametrize("takes", ["", "        power: 900 W\n"])
def test_an_output_without_a_power_rating_gives_its_voltage_times_its_current(
    takes: str, tmp_path: Path
) -> None:
    """As documents.md has it: so nothing is left unchecked, and nothing is assumed of it."""
    settings = settled(tmp_path, ("bench", "        power: 60 W\n", takes))
    assert of_rule(settings, "unknown-figure") == []
    assert not any("power" in each.why and "assumed" in each.why for each in settings.findings)


def test_unknown_accuracy_is_said_once_with_every_check_that_wanted_it(tmp_path: Path) -> None:
    bare = (
        "        programming:                     # bounds: ± (of_value · value + offset)\n"
        "          voltage: {of_value: 0.05 %, offset: 8 mV, resolution: 1 mV}\n"
        "          current: {of_value: 0.1 %, offset: 4 mA, resolution: 0.1 mA}\n"
    )
    settings = settled(tmp_path, ("bench", bare, ""))
    whys = [f.why for f in of_rule(settings, "unknown-figure") if f.about == "left.1"]
    assert [says(why, "accuracy", "set points", "every margin") for why in whys] == [True]


@pytest.mark.parametrize("esr", [0.0, 0.06])
@pytest.mark.parametrize(("share", "grows"), [(0.97, True), (1.03, False)])
def test_the_least_capacitance_is_where_disturbances_begin_to_die_away(
    esr: float, share: float, grows: bool
) -> None:
    """Eigenvalues of lead, capacitor and negative resistance: L di/dt = -R i - v, C du/dt = i + G v = i_c,
    v = u + ESR i_c.
    """
    slope, inductance, resistance = 1.0 / 11.48, 0.982e-6, 0.0708
    farads = share * least_capacitance(slope, inductance, resistance + esr)
    left = 1.0 / (1.0 - esr * slope)
    system = np.array(
        [
            [-(resistance + esr * left) / inductance, -left / inductance],
            [left / farads, slope * left / farads],
        ]
    )
    assert (np.linalg.eigvals(system).real.max() > 0.0) == grows


def test_a_part_of_a_fixture_without_resistance_is_a_note(tmp_path: Path) -> None:
    edits = fixture("switch: {}, diode: {drop: 0.7 V, resistance: 0}")
    (found,) = of_rule(settled(tmp_path, *edits), "unknown-figure")
    assert says(found.why, "box")
    assert says(found.why, "drop")


def test_what_a_dialect_has_no_command_for_is_a_stop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    dialect = load_dialect("channel-list")
    poor = {key: header for key, header in dialect.settings.items() if not key.startswith("ocp")}
    edits = (OWN_LEVELS, protections("    ocp: 800 mA\n    opp: 8 W\n"))
    assert of_rule(settled(tmp_path, *edits), "dialect-cannot-set") == []
    monkeypatch.setattr(
        "railwright.documents.bench.load_dialect",
        lambda name: dialect.model_copy(update={"settings": poor}),
    )
    (found,) = of_rule(settled(tmp_path, *edits), "dialect-cannot-set")
    assert found.blocks
    assert says(found.why, "channel-list", "left.1")
    assert "ocp: 800 mA" in line_of(found)


@pytest.mark.parametrize(
    ("lacks", "reach", "found"),
    [
        ("trip_delay", None, ["trip_delay: 40 ms"]),
        # A delay that it has anyway needs no command; one that is not the asked one is another finding.
        ("trip_delay", "40 ms .. 40 ms", []),
        ("trip_at_limit", None, ["at_limit: trip"]),
        ("trip_at_limit", "40 ms .. 40 ms", ["at_limit: trip"]),
        ("ovp", None, ["ovp: 18 V"]),
        ("voltage_mode", None, []),
    ],
)
def test_what_a_trip_or_an_ovp_needs_a_dialect_must_have(
    lacks: str, reach: str | None, found: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    dialect = load_dialect("channel-list")
    poor = {key: header for key, header in dialect.settings.items() if key != lacks}
    monkeypatch.setattr(
        "railwright.documents.bench.load_dialect",
        lambda name: (
            dialect.model_copy(update={"settings": poor}) if name == "channel-list" else load_dialect(name)
        ),
    )
    edits = [] if reach is None else [("bench", "trip_delay: 2 ms .. 5 s", f"trip_delay: {reach}")]
    told = of_rule(settled(tmp_path, *edits), "dialect-cannot-set")
    assert [line_of(each).strip().split("   ")[0] for each in told] == found
    assert all(each.blocks and says(each.why, "channel-list", "left.1") for each in told)


@pytest.mark.parametrize(("pause", "slow"), [("0", False), ("0.0015", False), ("0.003", True)])
@pytest.mark.parametrize("compound", [True, False])
def test_pauses_between_messages_count_in_what_a_reading_takes(
    pause: str, slow: bool, compound: bool, tmp_path: Path
) -> None:
    """State, voltage, current, what regulates and what tripped of one output are five messages with a pause
    before each, or one; a reading is wanted every 10 ms.
    """
    text = dialect_text("channel-list").replace("dialect: channel-list", "dialect: own", 1)
    text = text.replace("compound: true", f"compound: {str(compound).lower()}")
    text = text.replace("instrument:  ", f"session: {{pause: {pause}}}\ninstrument:  ", 1)
    (tmp_path / "own.dialect.yaml").write_text(text)
    found = of_rule(settled(tmp_path, ("bench", "dialect: channel-list", "dialect: own")), "line-slow")
    slow = slow and not compound
    assert [line_of(each).strip() for each in found] == ["dialect: own"] * slow
    if slow:
        assert says(found[0].why, "15 ms", "3 ms", "10 ms")


@pytest.mark.parametrize(("asked", "compound"), [(True, False), (False, False), (False, True)])
def test_a_selection_that_cannot_be_asked_is_a_caution(asked: bool, compound: bool, tmp_path: Path) -> None:
    """Where it goes in the same message as what is told to the output, nobody comes between."""
    text = dialect_text("selected-apart").replace("dialect: selected-apart", "dialect: own", 1)
    text = text.replace("compound: false", f"compound: {str(compound).lower()}")
    if not asked:
        text = "\n".join(line for line in text.splitlines() if not line.startswith("  selected:"))
    (tmp_path / "own.dialect.yaml").write_text(text)
    settings = settled(tmp_path, ("bench", "dialect: channel-list", "dialect: own"))
    found = of_rule(settings, "selection-unseen")
    assert [each.about for each in found] == ["left"] * (not asked and not compound)
    assert [line_of(each).strip() for each in found] == ["dialect: own"] * len(found)


@pytest.mark.parametrize(
    ("told", "after", "seen"),
    [
        ("", "comes on", False),
        ("", None, False),
        ("", "stays off", True),
        ('  event_status: "*ESR?"', "comes on", True),
        ('  power_on: {query: "WOKE?", words: "YES", nothing: "NO"}', "comes on", True),
    ],
)
def test_a_restart_that_nothing_tells_is_a_caution(
    told: str, after: str | None, seen: bool, tmp_path: Path
) -> None:
    text = dialect_text("channel-list").replace("dialect: channel-list", "dialect: own", 1)
    lines = [told if line.startswith("  event_status:") else line for line in text.splitlines()]
    (tmp_path / "own.dialect.yaml").write_text("\n".join(lines))
    mains = "" if after is None else f"after_mains: {after}"
    edits = (("bench", "dialect: channel-list", "dialect: own"), ("bench", COMES_ON[1], mains))
    found = of_rule(settled(tmp_path, *edits), "restart-unseen")
    assert [each.about for each in found] == ["left"] * (not seen)
    assert [line_of(each).strip() for each in found] == ["dialect: own"] * len(found)


def test_own_levels_are_divided_among_a_group(tmp_path: Path) -> None:
    levels = protections("    ocp: 800 mA\n    opp: 8 W\n")
    side_by_side = settled(tmp_path, PARALLEL, OWN_LEVELS, levels).set_points["main"].outputs
    assert [(each.ocp, each.opp, each.ocp_delay) for each in side_by_side] == [(0.4, 4.0, 5e-3)] * 2
    in_line = settled(tmp_path, SERIES, OWN_LEVELS, levels).set_points["main"].outputs
    assert [(each.ocp, each.opp) for each in in_line] == [(0.8, 4.0)] * 2
    settings = settled(tmp_path, PARALLEL, OWN_LEVELS, levels)
    assert settings_from_data(json.loads(json.dumps(as_data(settings)))).set_points == settings.set_points


def test_the_error_of_a_groups_reading_is_that_of_what_a_run_makes_of_its_outputs(tmp_path: Path) -> None:
    """In parallel currents add up, and voltages are averaged; in series it is the other way round. All of 1 A
    may flow through the first output, whose error grows with it: 0.1 % and 3 mA.
    """
    accuracy = "reading: {voltage: {offset: 10 mV}, current: {offset: 5 mA}, update: 10 ms}"
    expected = {PARALLEL: (11e-3, 4e-3 + 5e-3), SERIES: (9e-3 + 10e-3, 4.5e-3)}
    for edit, errors in expected.items():
        sources, _ = sources_of(station(tmp_path, edit, second(accuracy)))
        main = sources["main"]
        found = main.reading_error("voltage", 12.0), main.reading_error("current", 1.0)
        assert found == pytest.approx(errors)


@pytest.mark.parametrize(("range_of_second", "share"), [("36 V", 0.5), ("12 V", 0.25), ("4 V", 0.1)])
def test_an_ovp_in_series_is_stopped_below_what_trips_in_a_rehearsal(
    range_of_second: str, share: float, tmp_path: Path
) -> None:
    """The second output stands 50 mV high and its OVP 100 mV low: on its own share of the voltage both count
    by as much more as the share is smaller. The rehearsal plays it and judges each output by itself;
    above that level 10 mV of it are left for what passes in a step.
    """
    unsensed = MAIN.replace("left.1", "{series: [left.1, left.2]}").replace("at load", "at terminals")
    unlike = (UNLIKE[0], UNLIKE[1], UNLIKE[2].replace("12 V", range_of_second))
    adverse = fixed({"left.2.voltage_offset": 0.05, "left.2.ovp_error": -0.1})
    least = 16.0 + (0.05 + 0.1) / share
    for level, stopped in ((least - 0.02, True), (least + 0.01 / share, False)):
        edits = (("procedure", MAIN, unsensed), unlike, ("procedure", "ovp: 18 V", f"ovp: {level} V"))
        documents = station(tmp_path, *edits)
        settings = settle(documents, TODAY)
        found = [each for each in of_rule(settings, "ovp-below-played") if each.about == "main"]
        assert bool(found) is stopped
        timeline = build_timeline(documents.procedure, documents.device)
        assert trips(documents, settings.set_points["main"], adverse, timeline) is stopped


def test_an_input_falls_through_its_load_and_the_bleeders_of_its_group(tmp_path: Path) -> None:
    """1.2 mF and the outputs' own: 110 µF and 2 kΩ in series, 440 µF and 500 Ω in parallel."""
    for edit, farads, ohms in ((SERIES, 1.31e-3, 2000.0), (PARALLEL, 1.64e-3, 500.0)):
        sources, _ = sources_of(station(tmp_path, edit))
        main = sources["main"]
        assert main.bleeder == pytest.approx(ohms)
        drawn = main.load.current(20.0)
        assert drawn is not None
        assert falling(main, 0.5, 20.0) == pytest.approx(farads * 0.5 / (drawn.low + 20.0 / ohms))


def test_what_no_figure_tells_of_the_inside_is_unknown(tmp_path: Path) -> None:
    """Resistances that are not given, and a reverse voltage of which nobody says that the diode blocks it."""
    settings = settled(tmp_path, inside("diode: {drop: 0.4 V}, choke: {inductance: 10 uH}"))
    whys = [each.why for each in of_rule(settings, "unknown-figure") if each.about == "main"]
    for part in ("diode", "choke"):
        assert [why for why in whys if says(why, "resistance", part, "inside")]
    given = "diode: {drop: 0.4 V, resistance: 40 mohm}"
    negative = sweep("from: -1 V, to: 16 V, points: 8, dwell: 500 ms")
    for blocks, stops, unknown in (("", 0, 1), (", blocks: 40 V", 0, 0), (", blocks: 0.5 V", 1, 0)):
        folder = tmp_path / f"n{len(blocks)}"
        folder.mkdir()
        edit = inside(given.replace("}", f"{blocks}}}"))
        found = settled(folder, UNPROTECTED, negative, edit)
        assert len(of_rule(found, "reversed")) == stops
        lacks = [each for each in of_rule(found, "unknown-figure") if says(each.why, "reverse", "diode")]
        assert len(lacks) == unknown


def test_what_the_load_draws_is_seen_from_the_connector(tmp_path: Path) -> None:
    """0.4 V ± 0.05 V and 100 mΩ before a converter of 3.24 W to 3.96 W at 83 % to 89 %: at 12 V its
    input lies between 12 V - 0.45 V - 0.1 Ω · 0.6 A and 12 V - 0.35 V. It stops 0.35 V to 0.51 V higher.
    """
    sources, _ = sources_of(
        station(tmp_path, inside("diode: {drop: 350 mV .. 450 mV, resistance: 100 mohm}"))
    )
    load = sources["main"].load
    drawn = load.current(12.0)
    assert drawn is not None
    assert drawn.low == pytest.approx(3.24 / 0.89 / 11.65)
    assert drawn.high == pytest.approx(3.96 / 0.83 / (12.0 - 0.45 - 0.1 * 3.96 / 0.83 / 7.4), rel=1e-3)
    (converter,) = load.converters
    assert (converter.stops_at.low, converter.starts_at.low) == pytest.approx((7.75, 8.55))
    assert converter.stops_at.high == pytest.approx(7.8 + 0.45 + 0.1 * 3.96 / 0.83 / 7.4, rel=1e-3)
    nothing = load.current(7.7, came_from=0.0)
    assert nothing is not None
    assert (nothing.low, nothing.high) == (0.0, 0.0)


def test_every_rule_has_a_case() -> None:
    tried = {case.rule for case in CASES}
    by_themselves = {"lead-contacts", "accuracy-unknown", "fixture-resistance", "dialect-cannot-set"}
    by_themselves.add("inside-resistance")
    assert {rule.id for rule in RULES} - tried == by_themselves | {"selection-unseen", "restart-unseen"}


def test_rules_are_well_formed() -> None:
    ids = [rule.id for rule in RULES]
    assert len(ids) == len(set(ids)) >= 15
    assert not set(ids) & set(ENGINE_RULES)
    for rule in RULES:
        assert rule.title.endswith(".") or rule.title.endswith(")"), rule.id
        assert rule.id == rule.id.lower()


@pytest.mark.parametrize(
    ("edits", "written", "advised", "ends"),
    [
        # 1.1 × 0.6 A and what programming is off: 4 mA and a thousandth
        ((), "620 mA", (0.66 + 4e-3) / 0.999, None),
        ((), "640 mA", (0.66 + 4e-3) / 0.999, None),
        # a lead that bears 0.65 A of a limit with its error
        ((("bench", "permitted_current: 8 A", "permitted_current: 0.65 A"),), "620 mA", None, 0.6453),
        # the device bears 0.655 A
        ((("device", "at_most: 2.5 A", "at_most: 0.655 A"),), "630 mA", None, 0.6503),
        (
            (("device", "steady: 180 mA .. 600 mA", "steady: 180 mA .. 800 mA"),),
            "850 mA",
            0.884 / 0.999,
            None,
        ),
    ],
)
def test_more_headroom_is_advised_as_far_as_the_window_goes(
    edits: tuple[Edit, ...], written: str, advised: float | None, ends: float | None, tmp_path: Path
) -> None:
    """And what is advised is enough: the caution is silent there."""
    settings = settled(tmp_path, *edits, limit(written))
    (finding,) = of_rule(settings, "limit-headroom")
    window = next(w for w in settings.windows if (w.about, w.setting) == ("main", "current_limit"))
    if ends is not None:
        assert window.high is not None
        assert window.high.value == pytest.approx(ends, rel=2e-3)
        assert says(finding.remedy, show(window.high.value, "A"))
        return
    assert advised is not None
    assert advised <= quantity(finding.remedy) <= 1.001 * advised
    after = settled(tmp_path, *edits, limit(f"{quantity(finding.remedy)} A"))
    assert of_rule(after, "limit-headroom") == []


def quantity(text: str) -> float:
    """The first current in a text [A]."""
    number, unit = figures(text)[0].split()
    return float(number) * {"A": 1.0, "mA": 1e-3}[unit]


def test_parallel_outputs_divide_the_limit(tmp_path: Path) -> None:
    settings = settled(tmp_path, PARALLEL)
    points = settings.set_points["main"].outputs
    assert [each.current_limit for each in points] == [0.5, 0.5]
    assert [each.ovp for each in points] == [18.0, 18.0]


def test_what_is_no_mean_can_be_higher_by_what_passes_before_the_limit_responds(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An r.m.s. value, say: a surge raises it by more than its charge raises a mean."""
    monkeypatch.setitem(MEASURES, "mean_current", replace(MEASURES["mean_current"], mean=False))
    documents = station(tmp_path, ("procedure", "at_most: 25 mA", "at_most: 500 mA"))
    (masked,) = of_rule(settle(documents, TODAY), "requirement-masked")
    assert says(masked.why, "0.1006 A", "1 ms", "until then up to", "149.9 mΩ", "30.56 V")
    assert "cannot fail" not in masked.why


def test_what_the_check_says_of_a_masked_peak_is_what_the_evaluation_says(tmp_path: Path) -> None:
    """No 'cannot fail' where evaluate is inconclusive, and the same bound, with the same reason, in both."""
    documents = station(tmp_path, ("procedure", INRUSH, "    at_most: 150 mA"))
    settings = settle(documents, TODAY)
    (masked,) = of_rule(settings, "requirement-masked")
    assert "cannot fail" not in masked.why
    time = np.arange(0.0, 3.0, 0.01)
    flat = {"voltage": np.full(time.size, 24.0), "current": np.full(time.size, 0.02)}
    spans = build_timeline(documents.procedure, documents.device).spans
    record = Record("run", {"transducer": Traces(time, flat)}, (), spans)
    judged = evaluate(documents, settings.set_points, record).results
    inrush = next(each for each in judged if each.requirement == "transducer inrush")
    assert inrush.outcome == "inconclusive"
    said = re.search(r"up to ([\d.]+) A, which the lead's", masked.why)
    unseen = re.search(r"up to ([\d.]+) A, which the lead's", inrush.reason)
    assert said is not None
    assert unseen is not None
    assert float(said[1]) == pytest.approx(float(unseen[1]), rel=1e-3)


@pytest.mark.parametrize(
    ("text", "noted"),
    [
        ("input: main, standard: IEC 61000-4-29 dip, level: 70 %, duration: 10 ms", False),
        ("input: main, segments: [{hold: 50 ms}, {step_to: 12 V}, {step_to: 9 V}, {step_to: 12 V}]", True),
        ("input: main, segments: [{step_to: 12 V}, {hold: 50 ms}, {step_to: 12 V}]", False),
        ("input: main, segments: [{step_to: 12 V}, {off_for: 50 ms}]", True),
        ("input: main, segments: [{step_to: 12 V}, {hold: 50 ms}], at_end: zero", False),
    ],
)
def test_only_a_change_at_the_very_end_of_a_step_is_an_edge_there(tmp_path, text, noted):
    findings = of_rule(settled(tmp_path, *shape(text), OWN_REQUIRED), "edge-at-end")
    assert bool(findings) is noted


def test_a_rise_in_the_limit_is_told_its_window(tmp_path: Path) -> None:
    """202 V/s for the start-up time of 60 ms, 406 V/s by C·dV/dt; for 20 ms no rise is right."""
    (note,) = [f for f in of_rule(settled(tmp_path), "ramp-in-limit") if f.about == "main"]
    assert says(note.remedy, "202 V/s", "406 V/s")
    quick = ("procedure", "    at_most: 60 ms", "    at_most: 20 ms")
    (note,) = [f for f in of_rule(settled(tmp_path, quick), "ramp-in-limit") if f.about == "main"]
    assert says(note.remedy, "start-up time", "20 ms", "12.01 V")
    assert says(note.remedy, "1.2937 A", "1.245 A")


def test_a_rise_that_the_limit_may_not_carry_by_its_error_is_told(tmp_path: Path) -> None:
    """408 V/s and 0.416 A ask for 0.996 A: a limit of 1 A may be as low as 0.995 A. The note begins where the
    window ends.
    """
    for rate, notes in (("407 V/s", 1), ("406 V/s", 0)):
        rise = power_up(f"order: [main, transducer], gap: 150 ms, rise: {rate}, settle: 150 ms")
        found = [f for f in of_rule(settled(tmp_path, rise), "ramp-in-limit") if f.about == "main"]
        assert len(found) == notes


def test_a_level_that_a_standard_leaves_open_is_not_said_to_be_of_its_table(tmp_path):
    text = "input: main, standard: IEC 61000-4-29 dip, level: 75 %, duration: 250 ms"
    settings = settled(tmp_path, *shape(text))
    for rule in ("standard-from-memory", "standard-leaves-open"):
        (finding,) = of_rule(settings, rule)
        assert "level x, chosen: 75 %" in finding.why
        assert "duration x, chosen: 250 ms" in finding.why


@pytest.mark.parametrize(("length", "can"), [("10 m", True), ("60 m", False)])
def test_sensing_is_no_remedy_for_a_drop_that_it_does_not_make_up_for(
    tmp_path: Path, length: str, can: bool
) -> None:
    """left.1 makes up for 1 V; at 0.6 A a lead of 10 m (AWG 18, 21 mΩ a metre, twice) drops 0.25 V, one of
    60 m 1.5 V. Neither takes 12 V out of the range from 9 V on.
    """
    edits = (UNSENSED, ("bench", "one_way_length: 1.5 m", f"one_way_length: {length}"), STOCK)
    (finding,) = of_rule(settle(station(tmp_path, *edits), TODAY), "lead-from-stock")
    assert "will not do" not in finding.why
    assert says(finding.why, "will do", "noticed")
    assert says(finding.remedy, "sense", "left.1") == can


@pytest.mark.parametrize(
    ("edits", "about", "figure"),
    [
        (
            (ALONE, ("bench", "    after_mains: stays off\n", "")),
            "left",
            "what it does when its mains return",
        ),
        ((BATTERY, ("bench", "        when_off: high impedance\n", "")), "left.1", "while it is off"),
        ((BATTERY, while_off("sinks", "# no sink")), "left.1", "current that the output can take in"),
    ],
)
def test_what_a_supply_does_by_itself_is_asked_for_where_it_matters(
    edits: tuple[Edit, ...], about: str, figure: str, tmp_path: Path
) -> None:
    found = of_rule(settled(tmp_path, *edits), "unknown-figure")
    assert [f.about for f in found if figure in f.why] == [about]


@pytest.mark.parametrize("what", ["held at 0 V", "sinks"])
def test_what_an_output_takes_in_while_it_is_off_empties_its_input(what: str, tmp_path: Path) -> None:
    """1.2 mF and 0.22 mF of left.1, from 16 V to 1 V."""
    weak = ("bench", "bleeder: 1 kohm", "bleeder: 100 kohm")
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
    (slow,) = [f for f in of_rule(settled(tmp_path / "a", weak), "slow-discharge") if f.about == "main"]
    quicker = of_rule(settled(tmp_path / "b", while_off(what, "sink: 2 mA"), weak), "slow-discharge")
    (quick,) = [f for f in quicker if f.about == "main"]
    times = [{figure.name: figure.value for figure in f.figures}["discharge_time"] for f in (slow, quick)]
    assert times[0] > 100.0
    # The converter has stopped at some voltage; from there on R C ln v takes the one, and C (v - 1 V) / I,
    # less what flows through R, the other.
    stopped = np.exp(times[0] / (1e5 * 1.42e-3))
    most_of_it = 1.42e-3 * (stopped - 1.0) / 2e-3
    assert 0.95 * most_of_it < times[1] < 1.01 * most_of_it
    assert says(quick.why, "2 mA into the output")
