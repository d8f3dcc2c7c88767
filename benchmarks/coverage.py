"""Do the stated 95 % intervals hold the truth, however seldom readings are polled? By an independent model.

The model here has nothing of the project's simulation: a source whose voltage follows straight lines, a
converter with an input capacitor in closed form, a meter that takes a mean over an aperture at every update,
and a poller that asks every so often with a jitter. Every case draws device, meter, errors, slopes and phases
anew, and hands the readings to the project's `evaluate`; the truth is what was drawn, or the integral of the
true lines. Prints for each quantity and polling interval how often the interval holds the truth, with the
exact (Clopper-Pearson) 99.9 % interval of that, and the median half-width. A cell whose interval excludes
95 % is named: too narrow is a fault, too wide has its reason in `WIDE`.

    python -m benchmarks.coverage [--cases 1000] [--first 1] [--every 7 10 12 15 20] [--twins 100]

--twins: so many runs in virtual time on simulated supplies instead, judged against their true parameters and
traces. Cases are numbered by their seeds, from --first on; take fresh ones to judge a change that was made on
these.
"""

from __future__ import annotations

import argparse
import datetime
import sys
import tempfile
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from benchmarks.same_outcomes.loads import converter_load
from numpy.typing import NDArray

Array = NDArray[np.float64]

EVERY = (7, 10, 12, 15, 20)
"""Polling intervals that are asked for [ms]."""
UPDATE, LATENCY = 10e-3, 3e-3
CONFIDENCE = 0.999
STATED = 0.95
SEEDS_OF_TWINS = 10_000

DEVICE = f"""device: lantern
inputs:
  main:
    nominal: 12 V
    operating: 9 V .. 16 V
    withstands: [{{voltage: 20 V}}]
    current: {{steady: 180 mA .. 600 mA, at_most: 2.5 A}}
    return: common
    load: {converter_load("1000 uF", "3.6 W")}
"""

BENCH = """bench: coverage
location: dry
ambient: 23 °C ± 3 °C
supplies:
  left:
    address: TCPIP::127.0.0.1::5025::SOCKET
    dialect: channel-list
    outputs:
      1:
        voltage: 0 V .. 36 V
        current: 0 A .. 2.5 A
        power: 60 W
        programming:
          voltage: {of_value: 0.05 %, offset: 8 mV, resolution: 1 mV}
          current: {of_value: 0.1 %, offset: 4 mA, resolution: 0.1 mA}
        reading:
          voltage: {of_value: 0.05 %, offset: 6 mV, resolution: 1 mV, noise: 1 mV}
          current: {of_value: 0.1 %, offset: 3 mA, resolution: 0.1 mA, noise: 0.5 mA}
          update: 10 ms
          aperture: 8 ms
          latency: 3 ms
        rise: 12 ms
        fall: {loaded: 30 ms, unloaded: 480 ms}
        slew: 1 V/s .. 2.4 V/ms
        recovery: {time: 80 us, band: 20 mV, step: 25 % .. 75 %}
        limit_response: 1 ms
        output_capacitance: 220 uF
        bleeder: 1 kohm
        ovp: {level: 1 V .. 38 V, accuracy: 100 mV, response: 200 us, at: terminals}
        trip_delay: 2 ms .. 5 s
        sense: {compensates: 1 V}
leads:
  pair: {conductor: AWG 18, one_way_length: 1.5 m, contact_resistance_loop: 8 mohm, inductance: 0.7 uH/m,
         permitted_current: 8 A}
"""

PROCEDURE = """procedure: Coverage
device: device.yaml
bench: bench.yaml
hook_up: {main: {from: left.1, lead: pair, sense: at load}}
limits: {main: {current_limit: 2 A, at_limit: regulate, ovp: 18 V}}
steps:
  - power_up: {order: [main], rise: 0.4 V/ms, settle: 570 ms}
    name: up
  - shape: {input: main, segments: [{hold: 300 ms}, {line_to: 6 V, over: 1.5 s}, {hold: 500 ms},
            {line_to: 12 V, over: 1.5 s}, {hold: 300 ms}]}
    name: brown
  - shape: {input: main, repeat: 10,
            segments: [{step_to: 9 V}, {hold: WIDTH}, {step_to: 14 V}, {hold: WIDTH}]}
    name: pulses
record: {every: EVERY}
decision: {rule: guarded, guard_band: 1 × U}
requires:
  - {name: turn-off, measure: turn_off_voltage, of: main, during: brown, at_most: 20 V}
  - {name: turn-on, measure: turn_on_voltage, of: main, during: brown, at_most: 20 V}
  - {name: charge, measure: charge, of: main, during: up, at_most: 100 C}
  - {name: energy, measure: energy, of: main, during: pulses, at_most: 1000 J}
"""

QUANTITIES = ("turn-off", "turn-on", "charge", "energy", "energy, odd period")
"""What is judged. The period of the pulses is a multiple of the update, so that all edges meet the meter
alike; or it is not.
"""

WIDE = {
    "turn-on": "the course of a soft start is not known, by a sixth of its time; twins rise in a line",
    "charge": "the capacitor may charge between two apertures, unseen, as it is switched on",
}
"""Why a cell may be wide: quantity -> reason."""


@dataclass(frozen=True)
class Case:
    """One interval, and the truth that it should hold."""

    quantity: str
    every: int
    truth: float
    low: float
    high: float

    @property
    def holds(self) -> bool:
        return self.low <= self.truth <= self.high


# ---------------------------------------------------------------------------------------- the model


@dataclass(frozen=True)
class Lines:
    """A true waveform: straight lines between corners; a jump is two corners at one time."""

    time: Array
    volts: Array
    amps: Array

    def mean(self, begin: Array, end: Array, values: Array) -> Array:
        """Exact means between two instants each."""
        area = np.concatenate(([0.0], np.cumsum(np.diff(self.time) * (values[1:] + values[:-1]) / 2.0)))

        def upto(at: Array) -> Array:
            left = np.clip(np.searchsorted(self.time, at, side="right") - 1, 0, self.time.size - 2)
            within = at - self.time[left]
            width = self.time[left + 1] - self.time[left]
            slope = np.where(
                width > 0.0, (values[left + 1] - values[left]) / np.where(width > 0.0, width, 1.0), 0.0
            )
            return area[left] + values[left] * within + slope * within**2 / 2.0

        return (upto(end) - upto(begin)) / (end - begin)

    def within(self, begin: float, end: float) -> tuple[float, float]:
        """As `between`, of any two instants."""
        inside = (self.time > begin) & (self.time < end)
        time, volts, amps = (
            np.concatenate(
                ([np.interp(begin, self.time, each)], each[inside], [np.interp(end, self.time, each)])
            )
            for each in (self.time, self.volts, self.amps)
        )
        return Lines(time, volts, amps).between(begin, end)

    def between(self, begin: float, end: float) -> tuple[float, float]:
        """Charge [C] and energy [J] between two instants that are corners: ∫ i dt and ∫ v i dt, exactly."""
        inside = (self.time >= begin) & (self.time <= end)
        t, v, i = self.time[inside], self.volts[inside], self.amps[inside]
        width = np.diff(t)
        ends = v[1:] * i[1:] + v[:-1] * i[:-1]
        crossed = v[1:] * i[:-1] + v[:-1] * i[1:]
        return float(np.sum(width * (i[1:] + i[:-1]) / 2)), float(np.sum(width * (2 * ends + crossed) / 6))


@dataclass(frozen=True)
class Load:
    """A converter of constant power with a threshold to start and one to stop, behind a capacitor."""

    power: float
    starts: float
    stops: float
    soft: float
    course: float
    capacitance: float

    @classmethod
    def drawn(cls, rng: np.random.Generator) -> Load:
        """Inside what the device document allows."""
        power = 3.6 * rng.uniform(0.9, 1.1) / rng.uniform(0.83, 0.89)
        starts, stops = rng.uniform(8.2, 8.6), rng.uniform(7.4, 7.8)
        # A document gives how long a soft start takes, not its course: x ** p, whose middle lies anywhere in
        # the middle third (p = 0.5 .. 2).
        middle = rng.uniform(1 / 3, 2 / 3)
        return cls(power, starts, stops, 8e-3, middle / (1 - middle), 1e-3 * rng.uniform(0.8, 1.2))

    def behind(self, corners: Sequence[tuple[float, float]]) -> Lines:
        """What it draws from a voltage of straight lines, given by its corners (time, volts), from off."""
        time, volts, amps = [], [], []
        running, began = False, -1.0
        for (t0, v0), (t1, v1) in pairwise(corners):
            if t1 <= t0:
                continue
            slope = (v1 - v0) / (t1 - t0)
            at = t0
            while at < t1:
                level = v0 + slope * (at - t0)
                if not running and level >= self.starts:
                    running, began = True, at
                elif running and level <= self.stops:
                    running = False
                wanted = self.stops if running else self.starts
                ahead = (wanted - level) / slope if slope * (-1.0 if running else 1.0) > 0.0 else np.inf
                until = t1 if ahead <= 0.0 else min(t1, at + ahead)
                if running and at < began + self.soft:
                    until = min(until, began + self.soft)
                piece = np.linspace(at, until, 2 if not running else max(9, int((until - at) / 1e-3) + 2))
                v = v0 + slope * (piece - t0)
                part = (
                    np.clip((piece - began) / self.soft, 0.0, 1.0) ** self.course
                    if running
                    else np.zeros(piece.size)
                )
                time.append(piece)
                volts.append(v)
                amps.append(part * self.power / np.maximum(v, 1.0) + self.capacitance * slope)
                at = until
                if at < t1 and ahead < np.inf and at >= t1 - 1e-12:
                    break
                if at < t1 and np.isclose(v[-1], wanted, atol=1e-9, rtol=0.0):
                    running, began = not running, at
        return Lines(np.concatenate(time), np.concatenate(volts), np.concatenate(amps))


def read(lines: Lines, every: float, rng: np.random.Generator) -> tuple[Array, Array, Array]:
    """(time stamps, volts, amperes) that a host logs: at each poll the newest mean that can be had."""
    first = lines.time[0] + 0.1
    polls = np.arange(first + rng.uniform(0.0, every), lines.time[-1] - 0.05, every)
    # A host is late now and then, never early; half of the hosts keep time well.
    polls = polls + (rng.exponential(3e-4, polls.size).clip(max=0.8 * every) if rng.random() < 0.5 else 0.0)
    # The meter's clock is a crystal's: up to 100 ppm off.
    phase, update = rng.uniform(0.0, UPDATE), UPDATE * (1.0 + rng.uniform(-1e-4, 1e-4))
    newest = np.floor((polls - LATENCY - phase) / update).astype(int)
    numbers = np.arange(newest[0], newest[-1] + 1)
    ends = numbers * update + phase
    columns = []
    for values, gain, offset, grid, noise in (
        (lines.volts, 0.05e-2, 6e-3, 1e-3, 1e-3),
        (lines.amps, 0.1e-2, 3e-3, 0.1e-3, 0.5e-3),
    ):
        true = lines.mean(ends - 8e-3, ends, values)
        wrong = true * (1.0 + rng.uniform(-gain, gain)) + rng.uniform(-offset, offset)
        noisy = wrong + noise * rng.standard_normal(true.size)
        columns.append((np.round(noisy / grid) * grid)[newest - newest[0]])
    return polls - LATENCY, columns[0], columns[1]


def ramps(rng: np.random.Generator) -> tuple[list[tuple[float, float]], list[tuple[str, float, float]]]:
    """Corners of a brown-out with slow ramps, and its steps."""
    fall, rise = (float(np.exp(rng.uniform(np.log(1.5), np.log(8.0)))) for _ in range(2))
    down, up = 6.0 / fall, 6.0 / rise
    start = 0.5
    times = np.cumsum([start, 0.3, down, 0.5, up, 0.3])
    corners = [(-0.3, 0.0), (0.0, 0.0), (0.03, 12.0), (times[1], 12.0), (times[2], 6.0), (times[3], 6.0)]
    corners += [(times[4], 12.0), (times[5], 12.0), (times[5] + 0.3, 12.0)]
    return corners, [("brown", start, float(times[5]))]


def power_up(rng: np.random.Generator) -> tuple[list[tuple[float, float]], list[tuple[str, float, float]]]:
    """Corners of a power-up from 0 V, and its step."""
    rise = 12.0 / rng.uniform(200.0, 800.0)
    return [(-0.4, 0.0), (0.0, 0.0), (rise, 12.0), (0.6, 12.0), (0.9, 12.0)], [("up", 0.0, 0.6)]


def pulses(
    rng: np.random.Generator, *, odd: bool
) -> tuple[list[tuple[float, float]], list[tuple[str, float, float]]]:
    """Corners of ten pulses from 14 V to 9 V and back, with edges as an output makes them, and their step."""
    width = UPDATE * int(rng.integers(10, 30)) + (rng.uniform(0.0, UPDATE) if odd else 0.0)
    edge = rng.uniform(3e-3, 6e-3)
    corners, at = [(-0.5, 0.0), (-0.47, 12.0)], 0.0
    level = 12.0
    for _ in range(10):
        for volts in (9.0, 14.0):
            corners += [(at, level), (at + edge, volts)]
            at, level = at + width, volts
    return [*corners, (at, 14.0), (at + 0.3, 14.0)], [("pulses", 0.0, at)]


def studied(seed: int, every: int) -> list[Case]:
    """All quantities of one case."""
    found: list[Case] = []
    for number, (scene, wanted) in enumerate(SCENES):
        rng = np.random.default_rng([seed, every, number])
        load = Load.drawn(rng)
        corners, steps = scene(rng)
        lines = load.behind(corners)
        time, volts, amps = read(lines, every * 1e-3, rng)
        name, begin, end = steps[0]
        truth = {"turn-off": load.stops, "turn-on": load.starts}
        truth["charge"], truth["energy"] = lines.between(begin, end)
        intervals = _judged(every, (time, volts, amps), (name, begin, end))
        for quantity, label in wanted:
            if quantity not in intervals:
                found.append(Case(label, every, truth[quantity], np.nan, np.nan))
                continue
            found.append(Case(label, every, truth[quantity], *intervals[quantity]))
    return found


SCENES: tuple[tuple[Callable[[np.random.Generator], Any], tuple[tuple[str, str], ...]], ...] = (
    (ramps, (("turn-off", "turn-off"), ("turn-on", "turn-on"))),
    (power_up, (("charge", "charge"),)),
    (lambda rng: pulses(rng, odd=False), (("energy", "energy"),)),
    (lambda rng: pulses(rng, odd=True), (("energy", "energy, odd period"),)),
)


# ------------------------------------------------------------------------- what the project makes of it


def write_documents(folder: Path, every: int, width: str = "150 ms") -> Path:
    """The three documents in a folder; returns the procedure's path."""
    (folder / "device.yaml").write_text(DEVICE, "utf-8")
    (folder / "bench.yaml").write_text(BENCH, "utf-8")
    path = folder / "procedure.yaml"
    path.write_text(PROCEDURE.replace("EVERY", f"{every} ms").replace("WIDTH", width), "utf-8")
    return path


@cache
def _documents(every: int) -> tuple[Any, Any]:
    """Documents and set points for a polling interval."""
    from railwright.documents.loader import load_documents
    from railwright.settings.settle import settle

    with tempfile.TemporaryDirectory() as folder:
        documents = load_documents(write_documents(Path(folder), every))
    return documents, settle(documents, datetime.date(2026, 11, 29)).set_points


def _judged(
    every: int, readings: tuple[Array, Array, Array], step: tuple[str, float, float]
) -> dict[str, tuple[float, float]]:
    """Requirement -> (low, high) as `evaluate` states it, of those of this step that were measured."""
    from railwright.evaluation.evaluate import evaluate
    from railwright.traces import Event, EventKind, Record, Span, Traces

    documents, set_points = _documents(every)
    time, volts, amps = readings
    name, begin, end = step
    kind = "power_up" if name == "up" else "shape"
    events = (Event(begin, "main", EventKind.ON),) if name == "up" else ()
    record = Record(
        "supply readings",
        {"main": Traces(time, {"voltage": volts, "current": amps})},
        events,
        (Span(name, kind, begin, end, ("main",)),),
    )
    results = evaluate(documents, set_points, record).results
    return {each.requirement: (each.measured.low, each.measured.high) for each in results if each.measured}


def played(seed: int, every: int, width: str = "150 ms") -> list[Case]:
    """All quantities of one run in virtual time on simulated supplies with known truth."""
    from railwright.archive.stored import evaluate_run, open_stored
    from railwright.guard.local_link import LocalLink
    from railwright.job import Job
    from railwright.running.runner import run
    from railwright.settings.data import as_data
    from railwright.twin.virtual_network import VirtualNetwork
    from railwright.virtual_time import VirtualLoop

    with tempfile.TemporaryDirectory() as place:
        job = Job.open(write_documents(Path(place), every, width))
        documents, settings = job.documents, job.check(static=True).settings
        loop, folder = VirtualLoop(), Path(place) / "run"
        given = (documents.bench, documents.device, documents.procedure)
        with VirtualNetwork(loop, *given, seed=seed, keep=60.0) as network:
            run(
                documents, settings.set_points, unit="T-1", operator="O", folder=folder,
                settings=as_data(settings), link=LocalLink(loop, network.connect),
            )  # fmt: skip
            truly, parameters = network.truth(), network.parameters.parameters
        stored = open_stored(folder)
        results = evaluate_run(stored, []).results
        spans = {span.name: span for span in stored.data.record.spans}
    # The run's clock and the loop's: both know when the output was switched on.
    offset = _switched_on(truly.events) - _switched_on(stored.data.record.events)
    truth = {
        "turn-off": parameters["main.converter.stops_at"].value,
        "turn-on": parameters["main.converter.starts_at"].value,
    }
    true = truly.traces["main"]
    lines = Lines(true.time - offset, true.columns["voltage"], true.columns["current"])
    truth["charge"], _ = lines.within(spans["up"].start, spans["up"].end)
    _, truth["energy"] = lines.within(spans["pulses"].start, spans["pulses"].end)
    found = []
    for each in results:
        low, high = (each.measured.low, each.measured.high) if each.measured else (np.nan, np.nan)
        found.append(Case(each.requirement, every, truth[each.requirement], low, high))
    return found


def _switched_on(events: Iterable[Any]) -> float:
    """When the first output was switched on [s]."""
    return float(next(event.time for event in events if event.kind.value == "on"))


# ----------------------------------------------------------------------------------------- the table


def exact_interval(held: int, count: int, confidence: float = CONFIDENCE) -> tuple[float, float]:
    """Clopper-Pearson interval of a fraction [C. J. Clopper, E. S. Pearson, Biometrika 26 (1934) 404]."""
    from scipy.stats import binomtest

    found = binomtest(held, count).proportion_ci(confidence_level=confidence, method="exact")
    return float(found.low), float(found.high)


def tabulate(cases: Iterable[Case]) -> list[str]:
    """Print one line a cell; returns the cells that are too narrow, or wide without a reason."""
    cells: dict[tuple[str, int], list[Case]] = {}
    for case in cases:
        cells.setdefault((case.quantity, case.every), []).append(case)
    wrong = []
    print(
        f"{'quantity':20} {'every':>6} {'cases':>6} {'holds':>7} {'99.9 % interval':>17} {'half-width':>11}"
    )
    for (quantity, every), rows in sorted(
        cells.items(), key=lambda cell: (QUANTITIES.index(cell[0][0]), cell[0][1])
    ):
        held = sum(case.holds for case in rows)
        low, high = exact_interval(held, len(rows))
        width = float(np.median([(case.high - case.low) / 2.0 for case in rows]))
        narrow, wide = high < STATED, low > STATED
        remark = "  NARROW" if narrow else f"  wide: {WIDE.get(quantity, 'NO REASON GIVEN')}" if wide else ""
        place, share = f"{quantity:20} {every:3d} ms {len(rows):6d}", f"{low:7.1%} .. {high:6.1%}"
        print(f"{place} {held / len(rows):7.1%} {share:>17} {width:11.4g}{remark}")
        if narrow or (wide and quantity not in WIDE):
            wrong.append(f"{quantity} at {every} ms: {held / len(rows):.1%}")
    return wrong


def main() -> int:
    """Print the table; exit 1 where a cell is too narrow, or wide without a reason."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cases", type=int, default=1000)
    parser.add_argument("--first", type=int, default=1, help="seed of the first case")
    parser.add_argument("--every", type=int, nargs="+", default=EVERY, help="polling intervals [ms]")
    parser.add_argument("--twins", type=int, default=0, help="so many runs on twins instead")
    chosen = parser.parse_args()
    make = played if chosen.twins else studied
    count = chosen.twins or chosen.cases
    cases: list[Case] = []
    for every in chosen.every:
        # Twins of one seed have the same errors at every polling interval: cells would not be independent.
        first = chosen.first + (SEEDS_OF_TWINS * every if chosen.twins else 0)
        for done, seed in enumerate(range(first, first + count), start=1):
            cases += make(seed, every)
            if done % 20 == 0:
                print(f"\revery {every} ms: {done} of {count}", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    wrong = tabulate(cases)
    cells = len({(case.quantity, case.every) for case in cases})
    verdict = "; ".join(wrong) if wrong else "none excludes 95 %, but on the wide side with its reason"
    print(f"coverage of 95 % intervals, {cells} cells of {count}: {verdict}")
    return 1 if wrong else 0


if __name__ == "__main__":
    raise SystemExit(main())
