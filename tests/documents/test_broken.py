"""Broken documents: the demo's, each with one edit, and the lines that loading prints."""
# ruff: noqa: E501 - the lines stand here as they are printed

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import pytest
from tests.bench import BENCH, DEVICE, PROCEDURE, copy_demo, edit
from tests.documents.test_loader import with_more
from tests.said import says

from railwright.documents.loader import load_documents
from railwright.documents.sources import DocumentErrors


class Case(NamedTuple):
    document: str
    old: str
    new: str
    lines: tuple[str, ...]


CASES = (
    Case(
        PROCEDURE,
        "    ovp: 18 V\n",
        "",
        (
            "power-input.procedure.yaml:12:3: expected a key 'ovp' here, got none; add it, such as 'ovp: 12 V'",
        ),
    ),
    Case(
        DEVICE,
        "nominal: 12 V",
        "nominal: 12 A",
        ("tide-gauge.device.yaml:7:14: expected a voltage such as '12 V', got '12 A': 'A' is a current",),
    ),
    Case(
        DEVICE,
        "nominal: 12 V",
        "nominal: 12",
        ("tide-gauge.device.yaml:7:14: expected a voltage such as '12 V', got '12' without a unit; add it",),
    ),
    Case(
        DEVICE,
        "nominal: 12 V",
        "nominl: 12 V",
        ("tide-gauge.device.yaml:7:5: unknown key 'nominl'; did you mean 'nominal'?",),
    ),
    Case(
        DEVICE,
        "nominal: 12 V",
        "nominal:",
        (
            "tide-gauge.device.yaml:7:5: expected a value after 'nominal:', got nothing; write one, or leave it out where it is unknown",
        ),
    ),
    Case(
        DEVICE,
        "operating: 9 V .. 16 V",
        "operating: 16 V .. 9 V",
        (
            "tide-gauge.device.yaml:8:16: expected a range from low to high, got '16 V .. 9 V', which is upside down; write '9 V .. 16 V'",
        ),
    ),
    Case(
        DEVICE,
        "nominal: 12 V",
        "nominal: 17 V",
        ("tide-gauge.device.yaml:7:14: expected 'nominal' inside 'operating' (9 V .. 16 V), got 17 V",),
    ),
    Case(
        DEVICE,
        "nominal: 12 V\n",
        "",
        (
            "tide-gauge.device.yaml:8:5: expected a line that lines up with those above, got another indentation; align the keys",
        ),
    ),
    Case(
        DEVICE,
        "return: common ",
        "return: commn ",
        (
            "tide-gauge.device.yaml:14:13: expected 'isolated', 'common' or 'earth', got 'commn'; did you mean 'common'?",
        ),
    ),
    Case(
        DEVICE,
        "- capacitor: {capacitance: 1000 uF ± 20 %, esr: 60 mohm}",
        "- capacitr: {capacitance: 1000 uF ± 20 %, esr: 60 mohm}",
        ("tide-gauge.device.yaml:16:9: unknown key 'capacitr'; did you mean 'capacitor'?",),
    ),
    Case(
        DEVICE,
        "- capacitor: {capacitance: 1000 uF ± 20 %, esr: 60 mohm}",
        "- capacitor: 1000 mH",
        (
            "tide-gauge.device.yaml:16:20: expected a capacitance such as '1000 uF', got '1000 mH': 'mH' is an inductance",
        ),
    ),
    Case(
        DEVICE,
        "- capacitor: {capacitance: 1000 uF ± 20 %, esr: 60 mohm}",
        "- capacitor: {esr: 60 mohm}",
        (
            "tide-gauge.device.yaml:16:9: expected a key 'capacitance' here, got none; add it, such as 'capacitance: 1000 uF'",
        ),
    ),
    Case(
        DEVICE,
        "stops_at: 7.4 V .. 7.8 V",
        "stops_at: 8.4 V .. 8.5 V",
        (
            "tide-gauge.device.yaml:21:21: expected 'stops_at' wholly below 'starts_at', got 8.4 V .. 8.5 V and 8.2 V .. 8.6 V",
        ),
    ),
    Case(
        DEVICE,
        "{after: main, then: transducer,",
        "{after: mian, then: transducer,",
        ("tide-gauge.device.yaml:34:13: expected one of the inputs, got 'mian'; did you mean 'main'?",),
    ),
    Case(
        DEVICE,
        "  transducer:\n    nominal",
        "  main:\n    nominal",
        (
            "tide-gauge.device.yaml:23:3: expected each key once, got 'main' again (first in line 6); remove one of them",
        ),
    ),
    Case(
        DEVICE,
        "inputs:",
        "inputs: []\nx:",
        (
            "tide-gauge.device.yaml:5:1: expected keys with values, got a list; write 'key: value' lines or {key: value}",
            "tide-gauge.device.yaml:6:1: unknown key 'x'; expected one of device, revision, inputs, pins, order, never",
        ),
    ),
    Case(
        DEVICE,
        "efficiency: 83 % .. 89 %",
        "efficiency: 130 %",
        ("tide-gauge.device.yaml:19:23: expected an efficiency up to 100 %, got 130 %",),
    ),
    Case(
        DEVICE,
        "{voltage: 26 V, for: 1 s}",
        "{voltage: 26 V, reverse: 1 V}",
        ("tide-gauge.device.yaml:11:34: expected exactly one of voltage, reverse, got voltage and reverse",),
    ),
    Case(
        BENCH,
        "{same_as: 1}",
        "{same_as: 3}",
        (
            "quay.bench.yaml:44:20: expected the name of another output in 'same_as', got '3'; the others are called 1, right.1",
        ),
    ),
    Case(
        BENCH,
        "{same_as: 1}",
        "{same_as: 2}",
        ("quay.bench.yaml:44:20: expected 'same_as' to end at an output with figures, got left.2 -> left.2",),
    ),
    Case(
        BENCH,
        "{same_as: 1}",
        "{same_as: right.1, power: 20 A}",
        ("quay.bench.yaml:44:36: expected a power such as '3.6 W', got '20 A': 'A' is a current",),
    ),
    Case(
        BENCH,
        "location: wet",
        "location: damp",
        ("quay.bench.yaml:4:11: expected 'dry' or 'wet', got 'damp'",),
    ),
    Case(
        BENCH,
        "AWG 18",
        "AWG 99",
        (
            "quay.bench.yaml:88:30: expected a conductor such as 'AWG 18' or '0.5 mm2 class 5', got 'AWG 99'; gauges go from AWG 4/0 to AWG 40",
        ),
    ),
    Case(
        BENCH,
        "0.5 mm2 class 5",
        "0.5 mm2",
        (
            "quay.bench.yaml:89:30: expected a conductor such as 'AWG 18' or '0.5 mm2 class 5', got '0.5 mm2'; add its class, such as '0.5 mm2 class 5'",
        ),
    ),
    Case(
        BENCH,
        "dialect: channel-list",
        "dialect: chanel-list",
        (
            "quay.bench.yaml:11:14: expected one of the dialects, got 'chanel-list'; did you mean 'channel-list'?",
        ),
    ),
    Case(
        BENCH,
        "due: 2027-03-02",
        "due: 2025-03-02",
        (
            "quay.bench.yaml:14:39: expected 'due' after 'on' (2026-03-02), got 2025-03-02; correct one of them",
        ),
    ),
    Case(
        BENCH,
        "due: 2027-03-02",
        "due: 02.03.2027",
        ("quay.bench.yaml:14:39: expected a date such as '2026-03-02', got '02.03.2027'",),
    ),
    Case(
        BENCH,
        "5026",
        "5025",
        (
            "quay.bench.yaml:46:14: expected each address once, got 'TCPIP::127.0.0.1::5025::SOCKET' again (first in line 10); give each instrument its own",
        ),
    ),
    Case(
        BENCH,
        "at_most: 200",
        "at_most: 2.5",
        ("quay.bench.yaml:42:27: expected a whole number, got '2.5'; write one without a point or unit",),
    ),
    Case(
        BENCH,
        "between: [step, line]",
        "between: [step, lime]",
        ("quay.bench.yaml:42:71: expected 'step' or 'line', got 'lime'; did you mean 'line'?",),
    ),
    Case(
        BENCH,
        "rise: 12 ms   ",
        "rise: -12 ms   ",
        ("quay.bench.yaml:31:15: expected a time above zero, got '-12 ms'",),
    ),
    Case(
        BENCH,
        "power: 60 W",
        "power: 60 W\n        power: 70 W",
        (
            "quay.bench.yaml:22:9: expected each key once, got 'power' again (first in line 21); remove one of them",
        ),
    ),
    Case(
        BENCH,
        "power: 60 W",
        "power: &a [*a]",
        (
            "quay.bench.yaml:21:20: expected an alias of something above, got '*a', which stands inside its own value",
        ),
    ),
    Case(
        BENCH,
        "power: 60 W",
        "power: !!python/object:os.system 60 W",
        (
            "quay.bench.yaml:21:16: expected a plain value, got the tag 'tag:yaml.org,2002:python/object:os.system'; leave it out",
        ),
    ),
    Case(
        BENCH,
        "    outputs:\n      1:\n        voltage: 0 V .. 36 V",
        "\toutputs:\n      1:\n        voltage: 0 V .. 36 V",
        ("quay.bench.yaml:17:1: expected spaces for indentation, got a tab; replace tabs by spaces",),
    ),
    Case(
        BENCH,
        "bench: Quay bench",
        "bench: Quay: bench",
        (
            "quay.bench.yaml:3:12: expected one ': ' in a line, got another; put a text with a colon in quotes",
        ),
    ),
    Case(
        PROCEDURE,
        "{from: left.1,",
        "{from: lft.1,",
        (
            "power-input.procedure.yaml:7:22: expected one of the bench's outputs, got 'lft.1'; did you mean 'left.1'?",
        ),
    ),
    Case(
        PROCEDURE,
        "{from: right.1,",
        "{from: left.1,",
        (
            "power-input.procedure.yaml:8:22: expected each output once, got 'left.1' again (first in line 7); an output feeds one input; use another",
        ),
    ),
    Case(
        PROCEDURE,
        "lead: thin pair",
        "lead: thn pair",
        (
            "power-input.procedure.yaml:8:37: expected one of the bench's leads, got 'thn pair'; did you mean 'thin pair'?",
        ),
    ),
    Case(
        PROCEDURE,
        "from: left.1",
        "from: {series: [left.1]}",
        ("power-input.procedure.yaml:7:23: expected at least 2 entries, got 1",),
    ),
    Case(
        PROCEDURE,
        "from: left.1",
        "from: {series: [left.1, left.2], parallel: [left.1, left.2]}",
        (
            "power-input.procedure.yaml:7:49: expected exactly one of series, parallel, got series and parallel",
            "power-input.procedure.yaml:7:60: expected each output once, got 'left.1' again (first in line 7); an output feeds one input; use another",
            "power-input.procedure.yaml:7:68: expected each output once, got 'left.2' again (first in line 7); an output feeds one input; use another",
        ),
    ),
    Case(
        PROCEDURE,
        "from: left.1",
        "from: [left.1]",
        (
            "power-input.procedure.yaml:7:16: expected an output, or how several are joined, got a list; write 'left.1'",
        ),
    ),
    Case(
        PROCEDURE,
        "from: left.1",
        "from: [left.1, right.1]",
        (
            "power-input.procedure.yaml:7:16: expected an output, or how several are joined, got a list; write '{series: [left.1, right.1]}' or '{parallel: [left.1, right.1]}'",
        ),
    ),
    Case(
        PROCEDURE,
        "  transducer: {from: right.1, lead: thin pair, sense: at terminals}\n",
        "",
        (
            "power-input.procedure.yaml:6:1: expected what feeds it for each input, got none for 'transducer'; add it",
        ),
    ),
    Case(
        PROCEDURE,
        "  transducer: {from",
        "  transducr: {from",
        (
            "power-input.procedure.yaml:8:3: expected one of the device's inputs, got 'transducr'; did you mean 'transducer'?",
        ),
    ),
    Case(
        PROCEDURE,
        "    trip_delay: 40 ms\n",
        "",
        (
            "power-input.procedure.yaml:14:15: expected a 'trip_delay' beside 'at_limit: trip', got none; add one",
        ),
    ),
    Case(
        PROCEDURE,
        "trips_when: [main]",
        "trips_when: [transducer]",
        (
            "power-input.procedure.yaml:22:18: expected other inputs in 'trips_when', got 'transducer' itself; remove it",
        ),
    ),
    Case(
        PROCEDURE,
        "current_limit: 1 A",
        "current_limit: automatic",
        ("power-input.procedure.yaml:13:20: expected a current such as '250 mA' or auto, got 'automatic'",),
    ),
    Case(
        PROCEDURE,
        "order: [main, transducer]",
        "order: [main, transducr]",
        (
            "power-input.procedure.yaml:25:30: expected one of the device's inputs, got 'transducr'; did you mean 'transducer'?",
        ),
    ),
    Case(
        PROCEDURE,
        "order: [main, transducer]",
        "order: [main]",
        (
            "power-input.procedure.yaml:41:26: expected an input that an earlier step powers up, got 'transducer'; power it up first",
            "power-input.procedure.yaml:65:13: expected a step in which 'transducer' is powered, got 'first power'; name another step",
            "power-input.procedure.yaml:75:13: expected a step in which 'transducer' is powered, got 'steady'; name another step",
        ),
    ),
    Case(
        PROCEDURE,
        "name: steady",
        "name: first power",
        (
            "power-input.procedure.yaml:28:11: expected each name of a step once, got 'first power' again (first in line 26); rename one of them",
            "power-input.procedure.yaml:70:13: expected one of the names of steps (first power, line sweep, brown-out), got 'steady'",
            "power-input.procedure.yaml:75:13: expected one of the names of steps (first power, line sweep, brown-out), got 'steady'",
        ),
    ),
    Case(
        PROCEDURE,
        "{line_to: 6 V, over: 2 s}",
        "{line_to: 6 V}",
        ("power-input.procedure.yaml:36:21: expected 'over' beside 'line_to', got none; add one",),
    ),
    Case(
        PROCEDURE,
        "{line_to: 6 V, over: 2 s}",
        "{line_to: 6 V, over: 0 s}",
        ("power-input.procedure.yaml:36:32: expected a time above zero, got '0 s'",),
    ),
    Case(
        PROCEDURE,
        "points: 8",
        "points: 1",
        ("power-input.procedure.yaml:29:55: expected a whole number of at least 2, got '1'",),
    ),
    Case(
        PROCEDURE,
        "  - hold: 2 s",
        "  - hold: 2 s\n    sweep: {input: main, from: 9 V, to: 16 V, points: 8, dwell: 500 ms}",
        (
            "power-input.procedure.yaml:28:5: expected exactly one of power_up, hold, sweep, shape, power_down, relays, got hold and sweep; begin each step with '- '",
        ),
    ),
    Case(
        PROCEDURE,
        "during: line sweep",
        "during: line swep",
        (
            "power-input.procedure.yaml:80:13: expected one of the names of steps, got 'line swep'; did you mean 'line sweep'?",
        ),
    ),
    Case(
        PROCEDURE,
        "measure: charge",
        "measure: chrge",
        (
            "power-input.procedure.yaml:58:14: expected a known 'measure', got 'chrge'; did you mean 'charge'?",
        ),
    ),
    Case(
        PROCEDURE,
        "at_most: 120 mC",
        "at_most: 120 mA",
        (
            "power-input.procedure.yaml:61:14: expected a charge such as '12 mC', got '120 mA': 'mA' is a current",
        ),
    ),
    Case(
        PROCEDURE,
        "at_most: 120 mC",
        "at_most: 120 mC\n    at_least: 1 mC",
        (
            "power-input.procedure.yaml:62:15: expected exactly one of at_most, at_least, between, got at_most and at_least",
        ),
    ),
    Case(
        PROCEDURE,
        "- name: charge to start",
        "- name: start-up time",
        (
            "power-input.procedure.yaml:57:11: expected each name of a requirement once, got 'start-up time' again (first in line 52); rename one of them",
        ),
    ),
    Case(
        PROCEDURE,
        "guard_band: 1 × U",
        "guard_band: wide",
        ("power-input.procedure.yaml:49:39: expected a guard band such as '1 × U', got 'wide'",),
    ),
    Case(
        PROCEDURE,
        "device: tide-gauge.device.yaml",
        "device: tide.device.yaml",
        (
            "power-input.procedure.yaml:3:9: expected a device document in 'tide.device.yaml', got no such file; correct the path",
        ),
    ),
    Case(
        PROCEDURE,
        "device: tide-gauge.device.yaml",
        "device: quay.bench.yaml",
        (
            "power-input.procedure.yaml:3:9: expected a device document, got a bench document; name the device's file here instead",
        ),
    ),
    Case(
        PROCEDURE,
        "device: tide-gauge.device.yaml",
        "device: .",
        (
            "power-input.procedure.yaml:3:9: expected a device document in '.', got a folder; name the file in it",
        ),
    ),
    Case(
        PROCEDURE,
        "requires:",
        "requres:",
        ("power-input.procedure.yaml:51:1: unknown key 'requres'; did you mean 'requires'?",),
    ),
    Case(
        PROCEDURE,
        "record: {every: 10 ms}",
        "record: 10 ms",
        (
            "power-input.procedure.yaml:47:9: expected keys with values after 'record:', got '10 ms'; write {every: 40 ms}",
        ),
    ),
    Case(
        PROCEDURE,
        "- {input: main, current_above: 900 mA",
        "- {input: main, current_abov: 900 mA",
        ("power-input.procedure.yaml:44:19: unknown key 'current_abov'; did you mean 'current_above'?",),
    ),
    Case(
        PROCEDURE,
        "each_point: worst\n",
        "each_point: wrst\n",
        ("power-input.procedure.yaml:81:17: expected 'worst', got 'wrst'; did you mean 'worst'?",),
    ),
    Case(
        PROCEDURE,
        "order: [transducer, main], gap: 20 ms",
        "order: [transducer, main, main], gap: 20 ms",
        (
            "power-input.procedure.yaml:41:44: expected each input of an order once, got 'main' again (first in line 41); remove one of them",
        ),
    ),
    Case(
        PROCEDURE,
        "order: [transducer, main], gap: 20 ms",
        "order: transducer, gap: 20 ms",
        (
            "power-input.procedure.yaml:41:25: expected a list after 'order:', got 'transducer'; write [..., ...], or lines that begin with '-'",
        ),
    ),
    Case(
        PROCEDURE,
        "hold: 2 s",
        "hold: -2 s",
        ("power-input.procedure.yaml:27:11: expected a time of zero or more, got '-2 s'; remove the minus",),
    ),
    Case(
        PROCEDURE,
        "gap: 50 ms",
        "gap: 50",
        (
            "power-input.procedure.yaml:25:48: expected a time such as '40 ms', got '50' without a unit; add it",
        ),
    ),
    Case(
        PROCEDURE,
        "from: 9 V, to: 16 V",
        "from: 9,5 V, to: 16 V",
        ("power-input.procedure.yaml:29:32: expected a decimal point, got '9,5 V'; write '9.5 V'",),
    ),
    Case(
        PROCEDURE,
        "from: 9 V, to: 16 V",
        "from: 9,5 V .. 16,25 V, to: 16 V",
        (
            "power-input.procedure.yaml:29:32: expected a decimal point, got '9,5 V .. 16,25 V'; write '9.5 V .. 16.25 V'",
        ),
    ),
    Case(
        PROCEDURE,
        "from: 9 V, to: 16 V",
        "from: 9,5 V, to: 16,25 V",
        (
            "power-input.procedure.yaml:29:32: expected a decimal point, got '9,5 V'; write '9.5 V'",
            "power-input.procedure.yaml:29:43: expected a decimal point, got '16,25 V'; write '16.25 V'",
        ),
    ),
    Case(
        PROCEDURE,
        "of: transducer\n    during: first",
        "of: transducr\n    during: first",
        (
            "power-input.procedure.yaml:64:9: expected one of the device's inputs, got 'transducr'; did you mean 'transducer'?",
        ),
    ),
    Case(
        PROCEDURE,
        "during: line sweep\n    at_most: 0",
        "during: line sweep\n    at_most: none",
        ("power-input.procedure.yaml:87:14: expected a number of times such as '0', got 'none'",),
    ),
    Case(
        PROCEDURE,
        "between: 11.9 V .. 12.1 V",
        "between: 11.9 .. 12.1 V",
        (
            "power-input.procedure.yaml:71:14: expected a range with a unit at both ends, got '11.9 .. 12.1 V'; write '11.9 V .. 12.1 V'",
        ),
    ),
    Case(
        PROCEDURE,
        "during: steady\n    between",
        "during: steady\n    each_point: worst\n    between",
        (
            "power-input.procedure.yaml:71:17: expected 'each_point' for a sweep only, got it for 'steady'; remove it",
        ),
    ),
    Case(
        PROCEDURE,
        "- {input: main, current_above: 900 mA",
        "- {input: main, during: stedy, current_above: 900 mA",
        (
            "power-input.procedure.yaml:44:27: expected one of the names of steps, got 'stedy'; did you mean 'steady'?",
        ),
    ),
    Case(
        PROCEDURE,
        "- {input: main, current_above: 900 mA, for: 100 ms}",
        "- {input: main, trips: OVP, for: 100 ms}",
        ("power-input.procedure.yaml:44:36: expected no 'for' beside 'trips', got one; remove it",),
    ),
    Case(
        PROCEDURE,
        "- {input: main, current_above: 900 mA, for: 100 ms}",
        "- {input: main, trips: overvoltage}",
        (
            "power-input.procedure.yaml:44:26: expected 'any', 'OVP', 'OCP', 'OPP', 'OTP' or 'current limit', got 'overvoltage'",
        ),
    ),
    Case(
        PROCEDURE,
        "    measure: peak_current\n",
        "    measure: peak_current\n    by: OCP\n",
        (
            "power-input.procedure.yaml:64:9: expected 'by' beside a measure of a trip, got it beside 'peak_current'; remove it",
        ),
    ),
    Case(
        PROCEDURE,
        "    measure: restarts\n",
        "    measure: trips\n    each_point: worst\n",
        (
            "power-input.procedure.yaml:85:17: expected no 'each_point' beside 'trips', which is about the whole step; remove it",
        ),
    ),
    Case(
        PROCEDURE,
        "- {input: main, current_above: 900 mA, for: 100 ms}",
        "- {input: main, likely: a short}",
        (
            "power-input.procedure.yaml:44:5: expected exactly one of current_above, current_below, voltage_above, voltage_below, trips, got none of them",
        ),
    ),
    Case(
        BENCH,
        "\nleads:",
        "\nstock: [{conductor: AWG 99}]\nleads:",
        (
            "quay.bench.yaml:87:21: expected a conductor such as 'AWG 18' or '0.5 mm2 class 5', got 'AWG 99'; gauges go from AWG 4/0 to AWG 40",
        ),
    ),
    Case(
        PROCEDURE,
        "- {input: transducer, current_above",
        "- {input: transduser, current_above",
        (
            "power-input.procedure.yaml:45:13: expected one of the device's inputs, got 'transduser'; did you mean 'transducer'?",
        ),
    ),
    Case(
        PROCEDURE,
        "sweep: {input: main",
        "sweep: {input: mains",
        (
            "power-input.procedure.yaml:29:20: expected one of the device's inputs, got 'mains'; did you mean 'main'?",
        ),
    ),
    Case(
        PROCEDURE,
        "rise: 2 V/ms, settle",
        "rise: 2 V, settle",
        (
            "power-input.procedure.yaml:25:61: expected a voltage per time such as '1 V/ms' or auto, got '2 V': 'V' is a voltage",
        ),
    ),
    Case(
        PROCEDURE,
        "rise: 2 V/ms, settle",
        "voltages: {mian: 11 V}, settle",
        (
            "power-input.procedure.yaml:25:66: expected one of the inputs in 'order', got 'mian'; did you mean 'main'?",
        ),
    ),
    Case(
        PROCEDURE,
        "bench: quay.bench.yaml\n",
        "",
        ("power-input.procedure.yaml:2:1: expected a key 'bench' here, got none; add it",),
    ),
    Case(
        DEVICE,
        "at_most: 2.5 A",
        "at_most: NaN A",
        ("tide-gauge.device.yaml:13:50: expected a current such as '250 mA', got 'NaN A'",),
    ),
    Case(
        DEVICE,
        "esr: 60 mohm",
        "esr: 60 mOhm",
        (
            "tide-gauge.device.yaml:16:55: expected a resistance such as '60 mohm', got '60 mOhm': 'mOhm' is no unit; did you mean 'mohm'?",
        ),
    ),
    Case(
        DEVICE,
        "1000 uF ± 20 %",
        "1000 uF ± 20",
        (
            "tide-gauge.device.yaml:16:34: expected a tolerance such as '± 10 %' or '± 2 uF', got '1000 uF ± 20'; uneven bounds are written 'low .. high'",
        ),
    ),
    Case(
        DEVICE,
        "1000 uF ± 20 %",
        "1000 uF ± 120 %",
        ("tide-gauge.device.yaml:16:34: expected a capacitance above zero, got '1000 uF ± 120 %'",),
    ),
    Case(
        DEVICE,
        "then: transducer, delay",
        "then: main, delay",
        (
            "tide-gauge.device.yaml:34:25: expected two different inputs in 'after' and 'then', got 'main' twice",
        ),
    ),
    Case(
        DEVICE,
        "load:                                # parts in parallel",
        "load: []  #",
        (
            "tide-gauge.device.yaml:16:7: expected a line that lines up with those above, got another indentation; align the keys",
        ),
    ),
    Case(
        DEVICE,
        "capacitance: 10 uF",
        "capacitance: 1e400 uF",
        (
            "tide-gauge.device.yaml:31:34: expected a capacitance such as '1000 uF', got '1e400 uF', which is too large a number",
        ),
    ),
    Case(
        DEVICE,
        "nominal: 24 V",
        "nominal: 24 V ** 1e9",
        (
            "tide-gauge.device.yaml:24:14: expected a voltage such as '12 V', got '24 V ** 1e9': that is no unit",
        ),
    ),
    Case(
        DEVICE,
        "nominal: 24 V",
        "nominal: 24 V .. 25 V",
        (
            "tide-gauge.device.yaml:24:14: expected a voltage such as '12 V', got '24 V .. 25 V'; write one value, without a range or tolerance",
        ),
    ),
    Case(
        BENCH,
        "ambient: 23 °C ± 3 °C",
        "ambient: 296 K",
        (
            "quay.bench.yaml:5:10: expected a temperature such as '23 °C', got '296 K'; write degrees Celsius as '°C'",
        ),
    ),
    Case(
        BENCH,
        "ambient: 23 °C ± 3 °C",
        "ambient: -400 °C",
        ("quay.bench.yaml:5:10: expected a temperature within -200 °C .. 300 °C, got '-400 °C'; correct it",),
    ),
    Case(
        BENCH,
        "ambient: 23 °C ± 3 °C",
        "ambient: 23 °C ± 300 °C",
        (
            "quay.bench.yaml:5:10: expected a temperature within -200 °C .. 300 °C, got '23 °C ± 300 °C'; correct it",
        ),
    ),
    Case(
        BENCH,
        "ambient: 23 °C ± 3 °C",
        "ambient: 1e5 °C",
        ("quay.bench.yaml:5:10: expected a temperature within -200 °C .. 300 °C, got '1e5 °C'; correct it",),
    ),
    Case(
        BENCH,
        "one_way_length: 2 m,",
        "one_way_length: 1e15 m,",
        ("quay.bench.yaml:89:63: expected a length of at most 10 km, got '1e15 m'; correct its unit",),
    ),
    Case(
        BENCH,
        "one_way_length: 2 m,",
        "one_way_length: 11 km,",
        ("quay.bench.yaml:89:63: expected a length of at most 10 km, got '11 km'; correct its unit",),
    ),
    Case(
        BENCH,
        "isolation: 150 V                     #",
        "isolation: 150 v                     #",
        (
            "quay.bench.yaml:15:16: expected a voltage such as '12 V', got '150 v': 'v' is no unit; did you mean 'V'?",
        ),
    ),
    Case(
        BENCH,
        "on: 2026-03-02, due",
        "on: 2026-02-30, due",
        (
            "quay.bench.yaml:14:22: expected a date such as '2026-03-02', got '2026-02-30', which no calendar has; correct it",
        ),
    ),
    Case(
        BENCH,
        "rise: 12 ms                      # 10",
        "rise: yes                      # 10",
        ("quay.bench.yaml:31:15: expected a time such as '40 ms', got 'yes'",),
    ),
    Case(
        BENCH,
        "one_way_length: 2 m,",
        "one_way_length: 2 m, one_way_length: 3 m,",
        (
            "quay.bench.yaml:89:68: expected each key once, got 'one_way_length' again (first in line 89); remove one of them",
        ),
    ),
    Case(
        PROCEDURE,
        "settle: 150 ms",
        "settle: 150 Ms",
        (
            "power-input.procedure.yaml:25:77: expected a time such as '40 ms', got '150 Ms': 'Ms' has the prefix 'M', far too large here; did you mean 'ms'?",
        ),
    ),
    Case(
        DEVICE,
        "    nominal: 24 V",
        "    nominal:24 V",
        (
            "tide-gauge.device.yaml:24:13: expected a blank after 'nominal:', got 'nominal:24 V'; write 'nominal: 24 V'",
        ),
    ),
    Case(
        DEVICE,
        "{capacitance: 1000 uF ± 20 %, esr",
        "{capacitance:1000 uF, esr",
        (
            "tide-gauge.device.yaml:16:21: expected a blank after 'capacitance:', got 'capacitance:1000 uF'; write 'capacitance: 1000 uF'",
        ),
    ),
    Case(
        PROCEDURE,
        "{step_to: 12 V}",
        "{step_to: 12,0 V}",
        ("power-input.procedure.yaml:34:21: expected a decimal point, got '12,0 V'; write '12.0 V'",),
    ),
    Case(
        PROCEDURE,
        "{line_to: 6 V, over: 2 s}",
        "{line_to: 6 V, over: 2 s",
        (
            "power-input.procedure.yaml:36:11: expected a '}' for the '{' here, got none up to line 37; close it",
        ),
    ),
    Case(
        PROCEDURE,
        "bench: quay.bench.yaml",
        'bench: "C:\\bench\\quay.bench.yaml"',
        (
            "power-input.procedure.yaml:4:18: expected no lone backslash in double quotes, got one; use single quotes, or write '\\\\'",
        ),
    ),
    Case(
        DEVICE,
        "    nominal: 24 V",
        "  \u00a0 nominal: 24 V",
        (
            "tide-gauge.device.yaml:24:3: expected plain spaces for indentation, got a no-break space (U+00A0); replace it by a space",
        ),
    ),
    Case(
        BENCH,
        '"Pier 4, Harbour of Exampleton"',
        "“Pier 4, Harbour of Exampleton”",
        (
            "quay.bench.yaml:6:51: expected a plain quote, got the typographic “; write '\"' at both ends of the text, or no quotes",
        ),
    ),
    Case(
        DEVICE,
        "steady: 4 mA .. 25 mA",
        "steady: 4 A .. 25 A",
        (
            "tide-gauge.device.yaml:27:23: expected 'steady' not above 'at_most' (0.15 A), got 4 A .. 25 A; correct one of them",
        ),
    ),
    Case(
        PROCEDURE,
        "bench: quay.bench.yaml",
        'bench: "C:\\bench\\new.yaml"',
        (
            "power-input.procedure.yaml:4:8: expected a bench document in 'C:\\x08ench\\new.yaml', got no such file; a backslash in double quotes begins an escape; use single quotes",
        ),
    ),
    Case(
        PROCEDURE,
        "  - hold: 2 s\n    name: steady",
        "    hold: 2 s\n    name: steady",
        (
            "power-input.procedure.yaml:27:11: expected exactly one of power_up, hold, sweep, shape, power_down, relays, got power_up and hold; begin each step with '- '",
            "power-input.procedure.yaml:28:5: expected each key once, got 'name' again (first in line 26); remove one of them, or begin a new entry with '- '",
        ),
    ),
)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.new[:40])
def test_a_broken_document_prints_its_line(case, tmp_path, monkeypatch):
    copy_demo(tmp_path)
    edit(tmp_path / case.document, case.old, case.new)
    monkeypatch.chdir(tmp_path)
    with pytest.raises(DocumentErrors) as caught:
        load_documents(PROCEDURE)
    assert str(caught.value).splitlines() == list(case.lines)


MORE = (
    Case(
        PROCEDURE,
        "fixture: guard",
        "fixture: gaurd",
        (
            "power-input.procedure.yaml:7:60: expected one of the bench's fixtures, got 'gaurd'; did you mean 'guard'?",
        ),
    ),
    Case(
        BENCH,
        "{current: 4 A, time: 100 ms}",
        "{current: 4 A, time: 20 s}",
        (
            "quay.bench.yaml:92:12: expected falling times in 'curve', got point 2 at 20 s after 10 s; put them in order",
        ),
    ),
    Case(
        BENCH,
        "{current: 4 A, time: 100 ms}",
        "{current: 1 A, time: 100 ms}",
        (
            "quay.bench.yaml:92:12: expected rising currents in 'curve', got point 2 at 1 A after 1 A; put them in order",
        ),
    ),
    Case(
        BENCH,
        ", {current: 4 A, time: 100 ms}",
        "",
        ("quay.bench.yaml:92:12: expected at least 2 entries, got 1",),
    ),
    Case(
        BENCH,
        "drop: 0.6 V .. 0.8 V",
        "drop: 90 mV",
        (
            "quay.bench.yaml:93:19: expected a 'drop' above what the resistance alone drops at the current 'at', got 90 mV; correct one of them",
        ),
    ),
    Case(
        BENCH,
        "relay: {switch: {starts: open}}",
        "relay: {}",
        (
            "quay.bench.yaml:96:3: expected at least one of fuse, diode, switch, capacitor, got none of them; add one",
        ),
    ),
    Case(
        BENCH,
        "starts: open",
        "starts: opened",
        ("quay.bench.yaml:96:28: expected 'closed' or 'open', got 'opened'; did you mean 'open'?",),
    ),
    Case(
        BENCH,
        "crowbar: true",
        "crowbar: yes",
        ("quay.bench.yaml:40:95: expected a resistance such as '60 mohm' or true, got 'yes'",),
    ),
    Case(
        BENCH,
        "outputs: [1, 2], by: ratio",
        "outputs: [1, 3], by: ratio",
        ("quay.bench.yaml:15:29: expected one of the outputs of 'left' (1, 2), got '3'",),
    ),
    Case(
        BENCH,
        "outputs: [1, 2], by: ratio",
        "outputs: [1], by: ratio",
        ("quay.bench.yaml:15:16: expected at least 2 entries, got 1",),
    ),
    Case(
        BENCH,
        "by: ratio}",
        "by: ratio}, {outputs: [2, 1], by: step}",
        (
            "quay.bench.yaml:15:56: expected each output once, got '2' again (first in line 15); a set point moves with one group; remove it from the other",
            "quay.bench.yaml:15:59: expected each output once, got '1' again (first in line 15); a set point moves with one group; remove it from the other",
        ),
    ),
    Case(
        PROCEDURE,
        "    ocp: 800 mA\n",
        "",
        ("power-input.procedure.yaml:17:16: expected an 'ocp' beside 'ocp_delay', got none; add one",),
    ),
    Case(
        PROCEDURE,
        "opp: 30 W",
        "opp: 30 V",
        (
            "power-input.procedure.yaml:16:10: expected a power such as '3.6 W' or auto, got '30 V': 'V' is a voltage",
        ),
    ),
)


@pytest.mark.parametrize("case", MORE, ids=lambda case: case.new[:40])
def test_a_broken_fixture_protection_or_coupling_prints_its_line(case, tmp_path, monkeypatch):
    with_more(tmp_path)
    edit(tmp_path / case.document, case.old, case.new)
    monkeypatch.chdir(tmp_path)
    with pytest.raises(DocumentErrors) as caught:
        load_documents(PROCEDURE)
    assert str(caught.value).splitlines() == list(case.lines)


MAIN = "  main:       {from: left.1, lead: silicone pair, sense: at load}\n"
TRANSDUCER = "  transducer: {from: right.1, lead: thin pair, sense: at terminals}\n"
BOTH = f"hook_up:\n{MAIN}{TRANSDUCER}"
AUTO = (
    Case(
        PROCEDURE,
        BOTH,
        "hook_up: atuo\n",
        (
            "power-input.procedure.yaml:6:10: expected 'auto' or an entry for each input, got 'atuo'; did you mean 'auto'?",
        ),
    ),
    Case(
        PROCEDURE,
        MAIN,
        "  main: atuo\n",
        (
            "power-input.procedure.yaml:7:9: expected 'auto' or {from: ..., lead: ..., sense: ...}, got 'atuo'; did you mean 'auto'?",
        ),
    ),
    Case(
        PROCEDURE,
        MAIN,
        "  main: {from: left.1}\n",
        (
            "power-input.procedure.yaml:7:3: expected a key 'lead' here, got none; add it",
            "power-input.procedure.yaml:7:3: expected a key 'sense' here, got none; add it: 'at load', 'at terminals' or 'auto'",
        ),
    ),
    Case(
        PROCEDURE,
        MAIN,
        "  main: {lead: auto, sense: auto}\n",
        ("power-input.procedure.yaml:7:3: expected a key 'from' here, got none; add it",),
    ),
    Case(
        PROCEDURE,
        MAIN,
        "  main: {from: auto, lead: thick pair}\n",
        (
            "power-input.procedure.yaml:7:28: expected one of the bench's leads, got 'thick pair'; did you mean 'thin pair'?",
        ),
    ),
    Case(
        PROCEDURE,
        MAIN,
        "  main: {from: auto, sense: at laod}\n",
        (
            "power-input.procedure.yaml:7:29: expected 'at load', 'at terminals' or 'auto', got 'at laod'; did you mean 'at load'?",
        ),
    ),
    Case(
        PROCEDURE,
        MAIN,
        "  main: {from: {series: [auto, left.1]}, lead: auto, sense: auto}\n",
        (
            "power-input.procedure.yaml:7:26: expected one of the bench's outputs (left.1, left.2, right.1), got 'auto'",
        ),
    ),
    Case(
        PROCEDURE,
        MAIN + TRANSDUCER,
        "  main: auto\n",
        (
            "power-input.procedure.yaml:6:1: expected what feeds it for each input, got none for 'transducer'; add it",
        ),
    ),
    Case(
        BENCH,
        "  thin pair: ",
        "  auto: ",
        (
            "power-input.procedure.yaml:8:37: expected one of the bench's leads, got 'thin pair'; did you mean 'silicone pair'?",
            "quay.bench.yaml:89:3: expected another name for a lead than 'auto', which a procedure writes to have one chosen; rename it",
        ),
    ),
    Case(
        DEVICE,
        "    return: common                       #",
        "    rail: negativ\n    return: common                       #",
        (
            "tide-gauge.device.yaml:14:11: expected 'positive' or 'negative', got 'negativ'; did you mean 'negative'?",
        ),
    ),
    Case(
        DEVICE,
        "    nominal: 12 V\n    operating: 9 V .. 16 V\n",
        "    nominal: -12 V\n    operating: -16 V .. -9 V\n    rail: negative\n",
        (
            "tide-gauge.device.yaml:8:16: expected amounts, without a sign, beside 'rail: negative', got -16 V .. -9 V; remove the minus signs and write the range from low to high",
        ),
    ),
)


@pytest.mark.parametrize("case", AUTO, ids=lambda case: case.new[:40])
def test_a_broken_auto_hook_up_prints_its_line(case, tmp_path, monkeypatch):
    copy_demo(tmp_path)
    edit(tmp_path / case.document, case.old, case.new)
    monkeypatch.chdir(tmp_path)
    with pytest.raises(DocumentErrors) as caught:
        load_documents(PROCEDURE)
    assert str(caught.value).splitlines() == list(case.lines)


def test_an_input_that_is_not_played_is_said_to_stay_off(tmp_path, monkeypatch):
    """Left out of hook-up and limits because nothing is played on it, it is to be written all the same."""
    monkeypatch.chdir(tmp_path)
    copy_demo(
        Path(),
        (PROCEDURE, "  transducer: {from: right.1, lead: thin pair, sense: at terminals}\n", ""),
        (PROCEDURE, "order: [main, transducer], gap: 50 ms", "order: [main]"),
        (PROCEDURE, "order: [transducer, main], gap: 20 ms", "order: [main]"),
    )
    with pytest.raises(DocumentErrors) as errors:
        load_documents(PROCEDURE)
    (said,) = [line for line in str(errors.value).splitlines() if "what feeds it" in line]
    assert said.startswith(f"{PROCEDURE}:6:1: ")
    assert says(said, "'transducer'", "add it", "nothing is played", "stays off")


def test_the_table_is_long_enough():
    assert len(CASES) >= 25


def test_all_problems_of_all_documents_come_at_once(tmp_path, monkeypatch):
    copy_demo(tmp_path)
    edit(tmp_path / DEVICE, "nominal: 12 V", "nominal: 12 A")
    edit(tmp_path / DEVICE, "return: common", "return: commn")
    edit(tmp_path / BENCH, "location: wet", "location: damp")
    edit(tmp_path / PROCEDURE, "lead: thin pair", "lead: thn pair")
    edit(tmp_path / PROCEDURE, "measure: charge", "measure: chrge")
    monkeypatch.chdir(tmp_path)
    with pytest.raises(DocumentErrors) as caught:
        load_documents(PROCEDURE)
    places = [str(problem.location) for problem in caught.value.problems]
    assert places == [
        f"{PROCEDURE}:8:37",
        f"{PROCEDURE}:58:14",
        f"{BENCH}:4:11",
        f"{DEVICE}:7:14",
        f"{DEVICE}:14:13",
    ]
