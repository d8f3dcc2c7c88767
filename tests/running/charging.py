"""A buffer cell of the tide gauge that is charged at the quay-side bench, in virtual time, with what is true
behind the supply beside what the run says.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from railwright.evaluation.outcome import Evaluation
from railwright.guard.local_link import LocalLink
from railwright.job import Job, Run
from railwright.running.outcome import InputReading, Progress, RunOutcome
from railwright.running.runner import run
from railwright.settings.data import as_data
from railwright.traces import Record
from railwright.twin.faults import TwinFault
from railwright.twin.virtual_network import VirtualNetwork
from railwright.virtual_time import VirtualLoop

BENCH = """bench: Quay bench
location: dry
ambient: 23 °C ± 3 °C
supplies:
  left:
    address: TCPIP::127.0.0.1::5025::SOCKET
    dialect: selected-output
    isolation: 250 V
    outputs:
      1:
        voltage: 0 V .. 24 V
        current: 0 A .. 2 A
        power: 48 W
        programming:
          voltage: {of_value: 0.05 %, offset: 5 mV, resolution: 1 mV}
          current: {of_value: 0.1 %, offset: 3 mA, resolution: 0.5 mA}
        reading:
          voltage: {of_value: 0.05 %, offset: 5 mV, resolution: 1 mV, noise: 1 mV}
          current: {of_value: 0.1 %, offset: 3 mA, resolution: 0.5 mA, noise: 0.2 mA}
          update: 20 ms
          aperture: 16 ms
          latency: 3 ms
        rise: 10 ms
        fall: {loaded: 20 ms, unloaded: 400 ms}
        slew: 0.5 V/s .. 2 V/ms
        limit_response: 1 ms
        output_capacitance: 220 uF
        bleeder: 2 kohm
        sink: 500 mA
        when_off: high impedance
        ovp: {level: 1 V .. 26 V, accuracy: 100 mV, response: 200 us, at: terminals}
        sense: {compensates: 1 V, open: falls back, lead_resistance: 100 mohm}
leads:
  short pair:
    {conductor: AWG 16, one_way_length: 0.5 m, contact_resistance_loop: 6 mohm, permitted_current: 10 A}
"""
BLEEDS = -4.2 / 2000.0
"""The most that the output's own bleeder takes out of the cell at any time, on or off [A]."""

DEVICE = """device: Buffer cell of the tide gauge
inputs:
  cell:
    nominal: 4.1 V
    operating: 2.8 V .. 4.2 V
    withstands: [{voltage: 6 V}]
    current: {at_most: 1 A}
    return: isolated
    never_under: 2.5 V
    load:
      - battery:
          series_resistance: 0.2 ohm
          capacity: 0.002 Ah
          state_of_charge: 30 %
          curve:
            - {charge: 0 %, voltage: 3.0 V}
            - {charge: 50 %, voltage: 3.7 V}
            - {charge: 100 %, voltage: 4.1 V}
"""

PROCEDURE = """procedure: Charge the buffer cell
device: cell.device.yaml
bench: quay.bench.yaml
hook_up: {cell: {from: left.1, lead: short pair, sense: at load}}
limits:
  cell: {current_limit: 400 mA, at_limit: regulate, purpose: current, charge_at_most: 6 C, ovp: 4.4 V}
steps:
  - {name: start, power_up: {order: [cell], settle: 100 ms}}
  - {name: charge, hold: HOLD}
  - power_down: {order: [cell]}
record: {every: 50 ms}
requires:
  - {name: taken, measure: charge, of: cell, during: charge, between: 0.3 C .. 8 C}
"""

FULL = "{until: {current_below: 100 mA, for: 200 ms}, at_most: 60 s}"
"""A hold that ends when the cell is charged."""

Edit = tuple[str, str, str]
"""Document, and what to replace by what in it."""


@dataclass(frozen=True)
class Played:
    """A run, how it was judged (None: nothing was), and what was true behind it."""

    outcome: RunOutcome
    evaluation: Evaluation | None
    truth: Record

    @property
    def outcomes(self) -> set[str]:
        """The outcomes of its requirements."""
        return set() if self.evaluation is None else {each.outcome.value for each in self.evaluation.results}

    @property
    def least(self) -> float:
        """The lowest current into the cell at any time [A]."""
        return float(self.truth.traces["cell"].columns["current"].min())

    def said(self, kind: str) -> list[str]:
        """What events of a kind say."""
        return [event.detail for event in self.outcome.record.events if event.what == kind]


def written(folder: Path, *edits: Edit, hold: str = "2 s") -> Job:
    """The documents with edits, each found exactly once. hold: how long it is charged."""
    texts = {"bench": BENCH, "device": DEVICE, "procedure": PROCEDURE.replace("HOLD", hold)}
    for document, old, new in edits:
        assert texts[document].count(old) == 1, (document, old)
        texts[document] = texts[document].replace(old, new)
    folder.mkdir(parents=True, exist_ok=True)
    for document, name in (("bench", "quay"), ("device", "cell")):
        (folder / f"{name}.{document}.yaml").write_text(texts[document], "utf-8")
    path = folder / "charge.procedure.yaml"
    path.write_text(texts["procedure"], "utf-8")
    return Job.open(path)


# Many: what is played, and what lies or goes wrong with it.
def played(
    folder: Path,
    job: Job,
    faults: Sequence[str] = (),
    true: dict[str, str] | None = None,
    opens: float | None = None,
    **given: Any,
) -> Played:
    """The procedure of a job on twins with these faults, `true` behind them, whatever its check says. opens:
    when the lead of its input opens, in the record's time [s].
    """
    check = job.check(static=True, simulated=True)
    documents, set_points = check.checked.documents, check.settings.set_points
    name = "cell"
    loop = VirtualLoop()
    parts = (documents.bench, documents.device, documents.procedure)
    lies = [TwinFault(kind, (name,)) for kind in faults]
    with VirtualNetwork(loop, *parts, faults=lies, overrides=true or {}, keep=1e6) as network:
        plant = network.servers["left"].supply.plant

        class Opening(Progress):
            def reading(self, reading: InputReading) -> None:
                if opens is not None and reading.time > opens:
                    plant.open_lead(name, True, plant.time)

        options = {"unit": "U-1", "operator": "A. Keeper", "settings": as_data(check.settings), **given}
        link = LocalLink(loop, network.connect)
        outcome = run(documents, set_points, folder=folder, link=link, progress=Opening(), **options)
        truth = network.truth()
    evaluation = Run.read(folder).evaluate().evaluation if outcome.energised else None
    return Played(outcome, evaluation, truth)
