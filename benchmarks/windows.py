"""The recommended settings of the demo and of twelve more devices, in many cases and under every fault.

Each device's limits are all worked out (`auto`; what the demo's procedure writes is replaced by it). Then,
with a seed that had no part in it:

- so many sampled cases of the whole procedure, programming and OVP errors and everything else that is
  uncertain included, each trip delay shorter than what is dialled in by its error: how many trip;
- every rehearsed fault that settings can contain in as many cases, each delay longer by its error: in how
  many the device gets more than it withstands, for longer than it does, or the lead more I²t than k²S². A
  fault can be contained where the tightest settings within the windows do it, nominally and in cases of
  another seed.

    python -m benchmarks.windows [cases] [device ...]
"""

from __future__ import annotations

import datetime as dt
import sys
import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from benchmarks.windows_faults import FaultCases, FaultPlayer
from numpy.typing import NDArray

from railwright.circuit.case import fixed
from railwright.documents.loader import Documents, load_documents
from railwright.examples import example
from railwright.physics import conductors
from railwright.plan.set_points import Feed, OutputSetPoints
from railwright.rehearsal.design import CHUNK
from railwright.rehearsal.ensemble import merged, plan_ensemble
from railwright.rehearsal.faults import rehearse_faults
from railwright.rehearsal.harm import EXACT
from railwright.settings.check import settled
from railwright.settings.hookup import hooked_up
from railwright.settings.settle import Settings
from railwright.spread import over_threads

ROOT = Path(__file__).parents[1]
DEMO = example() / "power-input.procedure.yaml"
DEVICES = ROOT / "tests" / "settings" / "windows" / "devices"

SEED = 20_261_125
"""Of the cases; the windows are settled in corners, which have none."""

DELAY_ERROR = 0.05
"""Error of a trip delay, in parts of it, which a bench does not give: taken for this benchmark."""

TRIED = 512
"""So many cases of a fault at the tightest settings tell whether settings can contain it."""

ROUNDED = 1e-4
"""Part of a figure by which a computed voltage or current may lie above it: the solver's error, tenfold."""

REPLAYED = 20
"""So many cases in which the voltage goes beyond what is withstood for any time are played whole, to see for
how long.
"""


def all_procedures() -> dict[str, Path]:
    """Name -> procedure of every device."""
    found = {
        path.name.removesuffix(".procedure.yaml"): path for path in sorted(DEVICES.glob("*.procedure.yaml"))
    }
    return {"tide-gauge": DEMO, **found}


def all_auto(documents: Documents) -> Documents:
    """The documents with every limit that has a window worked out."""
    limits = {
        name: given.model_copy(
            update={
                "current_limit": "auto",
                "ovp": "auto",
                "trip_delay": "auto" if given.at_limit == "trip" else None,
                "opp": "auto" if given.opp is not None else None,
            }
        )
        for name, given in documents.procedure.limits.items()
    }
    return replace(documents, procedure=documents.procedure.model_copy(update={"limits": limits}))


def changed(feeds: dict[str, Feed], delay: float) -> dict[str, Feed]:
    """Set points with each trip delay that many times as long."""

    def told(points: OutputSetPoints) -> OutputSetPoints:
        return replace(points, trip_delay=points.trip_delay * delay)

    return {name: replace(feed, outputs=tuple(map(told, feed.outputs))) for name, feed in feeds.items()}


def tightest(settings: Settings) -> dict[str, Feed]:
    """Set points at the lower end of every window."""
    low = {(w.about, w.setting): w.low.value for w in settings.windows if w.low is not None}
    parts = {(w.about, w.setting): w.parts for w in settings.windows}

    def told(name: str, points: OutputSetPoints) -> OutputSetPoints:
        def of(setting: str, otherwise: float) -> float:
            key = (name, setting)
            return low[key] * parts[key][points.output] if key in low else otherwise

        return replace(
            points,
            current_limit=of("current_limit", points.current_limit),
            trip_delay=of("trip_delay", points.trip_delay),
            ovp=of("ovp", points.ovp),
        )

    return {
        name: replace(feed, outputs=tuple(told(name, points) for points in feed.outputs))
        for name, feed in settings.set_points.items()
    }


@dataclass
class Result:
    """One device. trips: cases that tripped with nothing wrong. faults: containable ones, (input, fault);
    beyond: those that are not; excess: cases of the former in which something got more than it bears.
    """

    name: str
    cases: int
    trips: int
    failures: int
    faults: tuple[tuple[str, str], ...]
    beyond: tuple[tuple[str, str], ...]
    fault_cases: int
    excess: int
    seconds: float


def nuisance(documents: Documents, settings: Settings, cases: int, seed: int = SEED) -> tuple[int, int]:
    """Cases of the whole procedure that trip, and cases that could not be solved."""
    feeds = changed(dict(settings.set_points), 1.0 - DELAY_ERROR)
    ensemble = merged(over_threads(plan_ensemble(documents, feeds, cases, seed)))
    trips = max(seen.tripped + seen.tripped_corners for seen in ensemble.inputs.values())
    return trips, ensemble.failures


def containable(documents: Documents, settings: Settings) -> dict[tuple[str, str], bool]:
    """(input, fault) -> whether the tightest settings contain it: nominally, and in cases of another seed."""
    feeds = changed(tightest(settings), 1.0 + DELAY_ERROR)
    found = {(r.input, r.fault): r.contained is True for r in rehearse_faults(documents, feeds).results}
    player = FaultPlayer(documents, feeds, plan_ensemble(documents, feeds, TRIED, SEED + 1).design)
    usual = {name: player.play(None, name) for name in feeds}
    for trial in player.trials():
        for name in trial.inputs:
            if found[name, trial.fault]:
                seen = player.play(trial, name)
                found[name, trial.fault] = not excess(documents, name, seen, usual[name], player)
    return found


def kinds_of_excess(
    documents: Documents, name: str, seen: FaultCases, usual: FaultCases, player: FaultPlayer
) -> dict[str, NDArray[np.bool_]]:
    """Kind -> the cases in which device or lead get more than they bear: 'voltage', 'current' of the device
    (beyond what it draws with nothing wrong), 'heat' of the lead.
    """
    wanted = documents.device.inputs[name]
    feed = player.set_points[name]
    lead = documents.bench.leads[feed.lead]
    heat = seen.heat > conductors.adiabatic_limit(lead.conductor.section)
    current = np.zeros_like(heat)
    if seen.fault not in ("short", "reversed") and wanted.current.at_most is not None:
        current = seen.current > np.maximum(usual.current, wanted.current.at_most) * (1.0 + ROUNDED)
    always = wanted.withstands_always
    assert always is not None
    longest = max(float(each.voltage or 0.0) for each in wanted.withstands)
    voltage = seen.voltage > longest * (1.0 + ROUNDED)
    above = np.flatnonzero((seen.voltage > always * (1.0 + EXACT)) & ~voltage)
    worst = above[np.argsort(seen.voltage[above])[::-1]][:REPLAYED]
    for case in worst.tolist():
        values = player.design.values(case // CHUNK)[case % CHUNK].tolist()
        chosen = fixed(dict(zip(player.design.names, values, strict=True)))
        study = rehearse_faults(documents, player.set_points, chosen)
        (result,) = [r for r in study.results if (r.input, r.fault) == (name, seen.fault)]
        voltage[case] = any(stress.borne is False for stress in result.stresses)
    return {"voltage": voltage, "current": current, "heat": heat}


def excess(documents: Documents, name: str, seen: FaultCases, usual: FaultCases, player: FaultPlayer) -> int:
    """Cases in which a fault brings device or lead more than they bear."""
    kinds = kinds_of_excess(documents, name, seen, usual, player)
    return int(np.logical_or.reduce(list(kinds.values())).sum())


def study(name: str, procedure: Path, cases: int, seed: int = SEED) -> Result:
    """Everything of one device."""
    begin = time.perf_counter()
    documents = all_auto(load_documents(procedure))
    settings = settled(hooked_up(documents), dt.date.today())
    assert not settings.blocked, [finding.why for finding in settings.findings if finding.blocks]
    trips, failures = nuisance(documents, settings, cases, seed)
    contained = containable(documents, settings)
    longer = changed(dict(settings.set_points), 1.0 + DELAY_ERROR)
    player = FaultPlayer(documents, longer, plan_ensemble(documents, longer, cases, seed).design)
    usual = {each: player.play(None, each) for each in longer}
    beyond, played, faults = 0, 0, []
    for trial in player.trials():
        for each in trial.inputs:
            if not contained[each, trial.fault]:
                continue
            seen = player.play(trial, each)
            more = excess(documents, each, seen, usual[each], player)
            beyond, played = beyond + more, played + cases
            faults.append((each, trial.fault))
            if more:
                print(f"  {name}: {trial.fault} of {each} brings too much in {more} of {cases} cases")
    seconds = time.perf_counter() - begin
    others = tuple(key for key, holds in contained.items() if not holds)
    return Result(name, cases, trips, failures, tuple(faults), others, played, beyond, seconds)


def bound(trips: int, cases: int) -> float:
    """Upper 95 % bound of the probability of a trip (Clopper and Pearson, one-sided)."""
    from scipy.stats import binomtest

    test = binomtest(trips, cases, alternative="less")
    return float(test.proportion_ci(0.95, method="exact").high)


def studies(cases: int, names: Iterable[str]) -> Iterator[Result]:
    """One device after the other."""
    for name, procedure in all_procedures().items():
        if not names or name in names:
            yield study(name, procedure, cases)


def main(arguments: list[str]) -> None:
    """Measure and print."""
    cases = int(arguments[0]) if arguments else 10_000
    print(f"{dt.date.today()}: {cases} cases a device, seed {SEED}, delays off by {DELAY_ERROR:.0%}")
    worst, beyond, fault_cases = 0, 0, 0
    for result in studies(cases, arguments[1:]):
        held = ", ".join(f"{fault} of {each}" for each, fault in result.faults) or "none"
        others = ", ".join(f"{fault} of {each}" for each, fault in result.beyond) or "none"
        print(
            f"{result.name:18} {result.trips} of {result.cases} trip, {result.failures} not solved; "
            f"too much in {result.excess} of {result.fault_cases} cases of containable faults; "
            f"{result.seconds:.0f} s\n    containable: {held}\n    not: {others}",
            flush=True,
        )
        worst, beyond = max(worst, result.trips), beyond + result.excess
        fault_cases += result.fault_cases
    print(f"too much reaches a device or a lead in {beyond} of {fault_cases} cases of containable faults")
    print(f"probability of a nuisance trip, each device, at most (95 %): {bound(worst, cases):.3e}")


if __name__ == "__main__":
    main(sys.argv[1:])
