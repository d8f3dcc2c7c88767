"""A bench whose program speaks a changed dialect, and whose simulated supplies speak the shipped one."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from benchmarks.changed_entries.changes import NAME

from railwright.dialects.dialect import Dialect, load_dialect
from railwright.dialects.proofs import Provoked
from railwright.documents.loader import Documents, load_documents
from railwright.documents.output_name import OutputName
from railwright.guard.local_link import LocalLink
from railwright.instruments.errors import InstrumentError
from railwright.instruments.guarded import open_guarded
from railwright.instruments.provoking import Connected
from railwright.instruments.supply import SupplyDriver
from railwright.plan.needed_proofs import needed_proofs
from railwright.plan.set_points import Feed, OutputSetPoints, SetPoints
from railwright.running.by_hand import SimulatedHands
from railwright.running.energised import OffNotConfirmed
from railwright.running.outcome import RunOutcome
from railwright.running.provoke import BESIDE, ITS_OUTPUT, bare_supply, provoke
from railwright.running.runner import run
from railwright.twin.faults import TwinFault
from railwright.twin.virtual_network import VirtualNetwork
from railwright.virtual_time import VirtualLoop

DEVICE = """\
device: Tide-gauge logger, two resistors
inputs:
  main: {nominal: 12 V, operating: 5 V .. 16 V, return: isolated, load: [{resistor: {resistance: 40 ohm}}]}
  aux:  {nominal: 5 V, operating: 4 V .. 6 V, return: isolated, load: [{resistor: {resistance: 40 ohm}}]}
"""
_OUTPUT = """{voltage: 0 V .. 36 V, current: 0 A .. 2.5 A, power: 60 W, slew: 1 V/s .. 10 V/ms,
        programming: {voltage: {offset: 5 mV, resolution: 1 mV}, current: {offset: 1 mA, resolution: 0.1 mA}},
        reading: {voltage: {offset: 5 mV, resolution: 1 mV}, current: {offset: 1 mA, resolution: 0.1 mA},
                  update: 10 ms, latency: 2 ms},
        OWN
        ovp: {level: 1 V .. 38 V}, trip_delay: 1 ms .. 5 s, sense: {compensates: 1 V}}"""
_OWN = "opp: {level: 0 W .. 66 W}, ocp: {level: 0 A .. 2.75 A, delay: 0 s .. 1 s},"
_BENCH = """\
bench: Quay bench
location: dry
ambient: 23 °C ± 3 °C
laboratory: {name: Quay-side test bench, address: Exampleton}
leads:
  pair: {conductor: AWG 18, one_way_length: 3 m, contact_resistance_loop: 8 mohm}
supplies:
"""
_PROCEDURE = """\
procedure: A short one
device: device.yaml
bench: BENCH
hook_up:
  main: {from: left.1, lead: pair, sense: at load}
  aux: {from: SECOND, lead: pair, sense: at terminals}
limits:
  main: {current_limit: 1 A, at_limit: trip, trip_delay: 40 ms, ovp: 18 V}
  aux: {current_limit: 500 mA, at_limit: trip, trip_delay: 20 ms, ovp: 7 V, trips_when: [main]}
steps:
  - power_up: {order: [main, aux], gap: 10 ms, rise: 2 V/ms, settle: 30 ms}
    name: up
  - hold: 300 ms
    name: steady
  - power_down: {order: [aux, main], gap: 20 ms}
record: {every: 10 ms}
requires:
"""
_REQUIRED = (
    "  - {{name: {measure} of {of}, measure: {measure}, of: {of}, during: steady, at_most: 100 {unit}}}\n"
)
_REQUIRES = "".join(
    _REQUIRED.format(measure=measure, of=of, unit=unit)
    for measure, unit in (("mean_voltage", "V"), ("mean_current", "A"))
    for of in ("main", "aux")
)

PROVOKED_AT = 3.0, 0.1
"""What `dialect try --provoke` works with where nobody says otherwise [V, A]."""


@dataclass(frozen=True)
class Stand:
    """The documents twice: as the program has them, and as the supplies are."""

    program: Documents
    truth: Documents
    set_points: SetPoints


@dataclass
class Proved:
    """missing: what was provoked, is needed, and did not come; wrong: what was said of it and is not so."""

    missing: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)


def lay_out(folder: Path, shipped: str, text: str) -> Stand:
    """The bench in a folder; text: the changed dialect. DocumentErrors where the program refuses it."""
    folder.mkdir(parents=True, exist_ok=True)
    dialect = load_dialect(shipped)
    own = _OWN if dialect.can_set("opp") else ""
    output = _OUTPUT.replace("OWN", own)
    one = dialect.addressing == "none"
    second = "right.1" if one else "left.2"
    (folder / "device.yaml").write_text(DEVICE, "utf-8")
    (folder / f"{NAME}.dialect.yaml").write_text(text, "utf-8")
    found = []
    for name, speaks in (("program", NAME), ("truth", shipped)):
        bench, port = _BENCH, 5025
        for supply in ("left", "right") if one else ("left",):
            bench += f"  {supply}:\n    address: TCPIP::127.0.0.1::{port}::SOCKET\n    dialect: {speaks}\n"
            bench += f"    outputs:\n      1: {output}\n" + ("" if one else f"      2: {output}\n")
            port += 1
        (folder / f"{name}.bench.yaml").write_text(bench, "utf-8")
        procedure = _PROCEDURE.replace("BENCH", f"{name}.bench.yaml").replace("SECOND", second) + _REQUIRES
        (folder / f"{name}.procedure.yaml").write_text(procedure, "utf-8")
        found.append(load_documents(folder / f"{name}.procedure.yaml"))
    main = _points("left.1", 1.0, 0.04, 18.0, 20.0, 0.9, bool(own))
    aux = _points(second, 0.5, 0.02, 7.0, 3.0, 0.4, bool(own))
    points = {
        "main": Feed("main", "alone", (main,), "pair", "at load"),
        "aux": Feed("aux", "alone", (aux,), "pair", "at terminals", ("main",)),
    }
    return Stand(found[0], found[1], points)


# Many: the figures of one output.
def _points(
    output: str, limit: float, delay: float, ovp: float, opp: float, ocp: float, own: bool
) -> OutputSetPoints:
    more = {"opp": opp, "ocp": ocp, "ocp_delay": 0.06} if own else {}
    return OutputSetPoints(OutputName(output), limit, "trip", delay, ovp, **more)


@contextmanager
def played(
    stand: Stand, folder: Path, faults: Sequence[TwinFault] = (), seed: int = 1
) -> Iterator[tuple[RunOutcome, VirtualNetwork]]:
    """The procedure played on the supplies as they are."""
    loop, true = VirtualLoop(), stand.truth
    with VirtualNetwork(loop, true.bench, true.device, true.procedure, faults=faults, seed=seed) as network:
        outcome = run(
            stand.program,
            stand.set_points,
            unit="U-7",
            operator="An operator",
            timeout=5.0,
            folder=folder,
            link=LocalLink(loop, network.connect),
            hands=SimulatedHands(network.set_by_hand),
        )
        yield outcome, network


def provoked(stand: Stand) -> Proved:
    """What a person proves of the changed dialect at each output in use, with `dialect try --provoke`; no
    more is tried once something that the run rests on did not come.
    """
    found, needs = Proved(), needed_proofs(stand.program.bench, stand.set_points)
    for feed in stand.set_points.values():
        (points,) = feed.outputs
        came = set[Provoked]()
        for connected in ("open", "overloaded"):
            _provoke(stand, feed.input, points.output, connected, came, found.wrong)
            lacking = [each for each in needs[points.output] if each not in came and _shows(each, connected)]
            found.missing += [f"{points.output}: {each}" for each in lacking]
            if lacking:
                return found
    return found


def _shows(each: Provoked, connected: Connected) -> bool:
    open_ones = ("on", "off", "CV", "OVP", "linked", "rising slew", "falling slew")
    return (each in open_ones) is (connected == "open")


# Many: where, with what connected, and what is told.
def _provoke(
    stand: Stand, name: str, output: OutputName, connected: Connected, came: set[Provoked], wrong: list[str]
) -> None:
    loop, true = VirtualLoop(), stand.truth
    bench = true.bench.model_copy(update={"supplies": {output.supply: true.bench.supplies[output.supply]}})
    if connected == "open":
        network = VirtualNetwork(loop, bench)
    else:
        own = {n: h for n, h in true.procedure.hook_up.items() if h.outputs[0].supply == output.supply}
        procedure = true.procedure.model_copy(update={"hook_up": own})
        network = VirtualNetwork(loop, bench, true.device, procedure, faults=[TwinFault("short", (name,))])
    with network:
        # Whoever provokes has switched the master on: nothing of it is known to `dialect try`.
        network.servers[output.supply].supply.switch_master(True)
        link = LocalLink(loop, network.connect)
        try:
            supply = _identified(stand.program.bench.supplies[output.supply].dialect, output, link, stand)
            volts, amperes = PROVOKED_AT
            beside = BESIDE if BESIDE in supply.outputs and connected == "open" else ""
            seen = provoke(link, supply, ITS_OUTPUT, connected, voltage=volts, current=amperes, beside=beside)
            came |= {each.provoked for each in seen.seen if each.proved}
            confirmed = not seen.not_confirmed
        except InstrumentError:
            confirmed = True
        except OffNotConfirmed:
            confirmed = False
        finally:
            link.close()
        for each in network.bench.supplies[output.supply].outputs if confirmed else ():
            if network.on(f"{output.supply}.{each}"):
                wrong.append(
                    f"{output.supply}.{each} is on after {connected} at {output}, and said to be off"
                )


def _identified(dialect: Dialect, output: OutputName, link: LocalLink, stand: Stand) -> SupplyDriver:
    address = stand.truth.bench.supplies[output.supply].address
    channels = stand.truth.bench.supplies[output.supply].channels
    other = next((number for own, number in channels.items() if own != output.output), None)
    document = bare_supply(dialect, address, channels[output.output], *PROVOKED_AT, other)
    supply = SupplyDriver(output.supply, document, open_guarded(link))
    supply.connect()
    supply.identify()
    return supply
