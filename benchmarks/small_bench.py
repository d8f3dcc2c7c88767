"""A small bench, its device and procedures, written to a folder: what the benchmarks of a run play on."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from railwright.documents.loader import Documents, load_documents
from railwright.documents.output_name import OutputName
from railwright.guard.local_link import LocalLink
from railwright.plan.set_points import Feed, OutputSetPoints
from railwright.twin.server import ReplyTime
from railwright.twin.virtual_network import VirtualNetwork
from railwright.virtual_time import VirtualLoop

OUTPUT = """{voltage: 0 V .. 36 V, current: 0 A .. 2.5 A, power: 60 W, slew: 1 V/s .. 2.4 V/ms,
        programming: {voltage: {offset: 8 mV, resolution: 1 mV}, current: {offset: 4 mA, resolution: 0.1 mA}},
        reading: {voltage: {offset: 6 mV, resolution: 1 mV, noise: 1 mV},
                  current: {offset: 3 mA, resolution: 0.1 mA, noise: 0.2 mA},
                  update: 10 ms, aperture: 8 ms, latency: 3 ms},
        rise: 12 ms, fall: {loaded: 30 ms, unloaded: 480 ms}, output_capacitance: 220 uF, bleeder: 1 kohm,
        ovp: {level: 1 V .. 38 V, accuracy: 100 mV, response: 200 us, at: terminals},
        opp: {level: 1 W .. 66 W}, ocp: {level: 0.1 A .. 2.75 A, delay: 5 ms .. 1 s},
        LISTS
        trip_delay: 2 ms .. 5 s, sense: {compensates: 1 V}}"""

Outputs = tuple[str, ...]
"""Outputs of a bench, each feeding one input: `left.1`, ..."""


def write_bench(
    folder: Path,
    outputs: Outputs,
    steps: str,
    *,
    every: str,
    coupled: Mapping[str, str] | None = None,
    stop_when: str = "[]",
    points: bool = True,
) -> Documents:
    """Documents of a bench with these outputs, the first input called `in1`, in a folder.

    steps: the procedure's, as YAML. every: interval of its readings. coupled: of a supply, as YAML.
    points: whether its outputs have point lists.
    """
    supplies = list(dict.fromkeys(output.partition(".")[0] for output in outputs))
    lines = ["bench: Benchmark", "location: dry", "ambient: 23 °C ± 3 °C", "supplies:"]
    for number, supply in enumerate(supplies):
        lines += [
            f"  {supply}:",
            f"    address: TCPIP::127.0.0.1::{5025 + number}::SOCKET",
            "    dialect: channel-list",
            f"    serial: B-{number}",
            *([f"    coupled: {groups}"] if (groups := (coupled or {}).get(supply)) else []),
            "    outputs:",
        ]
        own = [output.partition(".")[2] for output in outputs if output.startswith(f"{supply}.")]
        lists = "points: {at_most: 200, dwell: 20 ms .. 300 s, between: [step, line]}," if points else ""
        lines += [f"      {output}: {OUTPUT.replace('LISTS', lists)}" for output in own]
    lines += ["leads:", "  pair: {conductor: AWG 18, one_way_length: 1 m}"]
    (folder / "bench.yaml").write_text("\n".join(lines), "utf-8")
    names = inputs_of(outputs)
    load = "load: [{capacitor: {capacitance: 100 uF, esr: 50 mohm}}, {resistor: {resistance: 40 ohm}}]"
    device = ["device: Load box", "inputs:"]
    device += [
        f"  {name}: {{nominal: 12 V, operating: 4 V .. 16 V, return: isolated, {load}}}" for name in names
    ]
    (folder / "device.yaml").write_text("\n".join(device), "utf-8")
    procedure = ["procedure: Benchmark", "device: device.yaml", "bench: bench.yaml", "hook_up:"]
    procedure += [
        f"  {name}: {{from: {output}, lead: pair, sense: at load}}" for name, output in names.items()
    ]
    procedure += ["limits:"]
    procedure += [f"  {name}: {{current_limit: 1 A, at_limit: regulate, ovp: 18 V}}" for name in names]
    procedure += ["steps:", steps, f"stop_when: {stop_when}", f"record: {{every: {every}}}"]
    (folder / "procedure.yaml").write_text("\n".join(procedure), "utf-8")
    return load_documents(folder / "procedure.yaml")


def inputs_of(outputs: Outputs) -> dict[str, str]:
    """Input -> the output that feeds it."""
    return {f"in{number}": output for number, output in enumerate(outputs, start=1)}


def set_points_of(outputs: Outputs) -> dict[str, Feed]:
    """What the check would settle: every protection of every output in use."""
    return {
        name: Feed(
            name,
            "alone",
            (
                OutputSetPoints(
                    OutputName(output), 1.0, "regulate", 0.0, 18.0, opp=20.0, ocp=2.0, ocp_delay=0.06
                ),
            ),
            "pair",
            "at load",
        )
        for name, output in inputs_of(outputs).items()
    }


@contextmanager
def virtual_bench(
    documents: Documents,
    reply_times: Mapping[str, ReplyTime] | None = None,
    *,
    keep: float = 10.0,
    link: type[LocalLink] = LocalLink,
) -> Iterator[tuple[VirtualNetwork, LocalLink]]:
    """The supplies of a bench and a guard in one process and in virtual time, for one run."""
    loop = VirtualLoop()
    with VirtualNetwork(
        loop,
        documents.bench,
        documents.device,
        documents.procedure,
        reply_times=reply_times,
        keep=keep,
    ) as network:
        yield network, link(loop, network.connect)
