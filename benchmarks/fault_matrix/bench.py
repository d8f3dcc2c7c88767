"""The bench of the fault matrix: two supplies of two dialects, three inputs, a procedure of about two seconds
in which every command of both dialects occurs.
"""

from __future__ import annotations

from pathlib import Path

from railwright.documents.loader import Documents, load_documents
from railwright.documents.output_name import OutputName
from railwright.plan.set_points import Feed, OutputSetPoints, SetPoints

DEVICE = """\
device: Buoy light controller
inputs:
  main:
    nominal: 12 V
    operating: 8 V .. 16 V
    return: isolated
    load:
      - resistor: {resistance: 40 ohm}
      - capacitor: {capacitance: 220 uF, esr: 50 mohm}
  lamp:
    nominal: 6 V
    operating: 5 V .. 7 V
    return: isolated
    load: [{resistor: {resistance: 30 ohm}}]
  radio:
    nominal: 5 V
    operating: 4.5 V .. 5.5 V
    return: isolated
    load:
      - resistor: {resistance: 25 ohm}
      - capacitor: {capacitance: 100 uF, esr: 50 mohm}
"""

OUTPUT = """{voltage: 0 V .. 36 V, current: 0 A .. 2.5 A, power: 60 W, slew: 1 V/s .. 10 V/ms,
        programming: {voltage: {offset: 8 mV, resolution: 1 mV}, current: {offset: 4 mA, resolution: 1 mA}},
        reading: {voltage: {offset: 6 mV, resolution: 1 mV, noise: 1 mV},
                  current: {offset: 3 mA, resolution: 0.1 mA, noise: 0.2 mA},
                  update: 10 ms, aperture: 8 ms, latency: 2 ms},
        rise: 5 ms, fall: {loaded: 20 ms, unloaded: 200 ms}, limit_response: 1 ms,
        recovery: {time: 80 us, band: 20 mV, step: 25 % .. 75 %},
        output_capacitance: 100 uF, bleeder: 1 kohm,
        opp: {level: 1 W .. 66 W, response: 1 ms}, ocp: {level: 0 A .. 2.75 A, delay: 0 s .. 1 s},
        ovp: {level: 1 V .. 38 V, accuracy: 100 mV, response: 200 us}, trip_delay: 1 ms .. 5 s,
        points: {at_most: 100, dwell: 10 ms .. 300 s, between: [step, line]},
        sense: {compensates: 1 V}}"""

BENCH = """\
bench: Harbour bench
location: dry
ambient: 23 °C ± 3 °C
supplies:
  left:
    {left}
    dialect: channel-list
    model: HB-2
    serial: H-1
    outputs:
      1: {output}
      2: {output}
  right:
    {right}
    dialect: selected-output
    model: HB-1
    serial: H-2
    outputs:
      1: {output}
leads:
  pair: {{conductor: AWG 18, one_way_length: 1 m}}
"""

PROCEDURE = """\
procedure: Every command once
device: light.device.yaml
bench: harbour.bench.yaml
hook_up:
  main: {from: left.1, lead: pair, sense: at load}
  lamp: {from: left.2, lead: pair, sense: at terminals}
  radio: {from: right.1, lead: pair, sense: at terminals}
limits:
  main:
    {current_limit: 1.5 A, at_limit: trip, trip_delay: 60 ms, ovp: 18 V, opp: 25 W, ocp: 1.6 A,
     ocp_delay: 80 ms}
  lamp: {current_limit: 500 mA, at_limit: trip, trip_delay: 40 ms, ovp: 9 V, trips_when: [main]}
  radio:
    {current_limit: 700 mA, at_limit: trip, trip_delay: 40 ms, ovp: 7 V, opp: 5 W, ocp: 800 mA,
     ocp_delay: 60 ms}
steps:
  - power_up: {order: [main, lamp, radio], gap: 20 ms, rise: 1 V/ms, settle: 150 ms}
    name: up
  - sweep: {input: main, from: 10 V, to: 14 V, points: 3, dwell: 80 ms}
    name: sweep
  - shape:
      input: radio
      segments:
        [{step_to: 4.6 V, current_limit: 600 mA}, {hold: 80 ms}, {line_to: 5 V, over: 80 ms}, {hold: 40 ms}]
    name: line
  - shape:
      input: main
      segments:
        [{step_to: 9 V}, {hold: 60 ms}, {step_to: 12 V}, {hold: 15 ms}, {step_to: 11 V}, {hold: 60 ms},
         {step_to: 12 V}, {hold: 60 ms}]
    name: list
  - shape:
      input: radio
      segments:
        [{step_to: 4.6 V}, {hold: 60 ms}, {step_to: 5 V}, {hold: 15 ms}, {step_to: 4.8 V}, {hold: 60 ms},
         {step_to: 5 V}, {hold: 60 ms}]
    name: other list
  - hold: 250 ms
    name: steady
  - power_down: {order: [radio, lamp, main], gap: 20 ms}
    name: down
record: {every: 10 ms}
stop_when:
  - {input: main, current_above: 1.2 A, for: 50 ms}
"""

SET_POINTS: SetPoints = {
    "main": Feed(
        "main",
        "alone",
        (OutputSetPoints(OutputName("left.1"), 1.5, "trip", 0.06, 18.0, opp=25.0, ocp=1.6, ocp_delay=0.08),),
        "pair",
        "at load",
    ),
    "lamp": Feed(
        "lamp",
        "alone",
        (OutputSetPoints(OutputName("left.2"), 0.5, "trip", 0.04, 9.0),),
        "pair",
        "at terminals",
        ("main",),
    ),
    "radio": Feed(
        "radio",
        "alone",
        (OutputSetPoints(OutputName("right.1"), 0.7, "trip", 0.04, 7.0, opp=5.0, ocp=0.8, ocp_delay=0.06),),
        "pair",
        "at terminals",
    ),
}

OUTPUTS = {"main": "left.1", "lamp": "left.2", "radio": "right.1"}
"""Input -> the output that feeds it."""


SOCKETS = ("address: TCPIP::127.0.0.1::5025::SOCKET", "address: TCPIP::127.0.0.1::5026::SOCKET")
"""Keys that say how the supplies are reached, of the left and of the right one."""


def lay_out(folder: Path, wires: tuple[str, str] = SOCKETS) -> Documents:
    """The three documents in a folder, loaded. wires: how the supplies are reached."""
    (folder / "light.device.yaml").write_text(DEVICE, "utf-8")
    (folder / "harbour.bench.yaml").write_text(
        BENCH.format(output=OUTPUT, left=wires[0], right=wires[1]), "utf-8"
    )
    path = folder / "every.procedure.yaml"
    path.write_text(PROCEDURE, "utf-8")
    return load_documents(path)
