"""What came of a changed entry, judged by what is true behind the supplies."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from benchmarks.changed_entries.changes import Change
from benchmarks.changed_entries.play import Stand, lay_out, played, provoked

from railwright.dialects.operation import Setting
from railwright.documents.sources import DocumentErrors
from railwright.evaluation.evaluate import evaluate
from railwright.instruments.comparison import allowed_difference
from railwright.job import Job
from railwright.plan.set_points import Feed
from railwright.running.outcome import RunOutcome, RunRefused
from railwright.twin.faults import TwinFault
from railwright.twin.virtual_network import VirtualNetwork

STOPPED, NOT_PROVED, TRUE, UNTRUE = "stopped before anything was on", "not proved", "true", "untrue"

BEFORE_DOWN = 0.1
"""How long before the hold ends the true level is looked at [s]: it stands for the whole of it."""

RISE, RISE_WITHIN = 2000.0, 0.5
"""Slew of the power-up by the procedure [V/s]; part by which the time from 20 to 80 % may differ: without a
slew of its own the output goes in stairs.
"""


@dataclass(frozen=True)
class Came:
    """What came of one change; untrue: what was said, or set, and is not so."""

    change: Change
    verdict: str
    why: str = ""
    untrue: tuple[str, ...] = ()


def judged(shipped: str, change: Change, folder: Path) -> Came:
    """One change played and judged in a folder of its own. What a run says counts where all that it rests on
    is proved: at a real supply there is none else. What is said while it is provoked counts in any case.
    """
    try:
        stand = lay_out(folder, shipped, change.text)
        with played(stand, folder / "clean") as (outcome, network):
            if not any(network.energised(output) for output in _outputs(network)):
                return Came(change, STOPPED, outcome.cause)
            said = _said_off(outcome, network) + _untrue(stand, outcome, network)
    except DocumentErrors as error:
        return Came(change, STOPPED, f"refused as it is read: {error}".splitlines()[0])
    except RunRefused as error:
        return Came(change, STOPPED, str(error).splitlines()[0])
    proofs = provoked(stand)
    if proofs.missing:
        return _came(change, NOT_PROVED, ", ".join(proofs.missing), proofs.wrong)
    check = Job.open(folder / "program.procedure.yaml").check(static=True)
    if blocks := [each for each in check.findings if each.blocks]:
        return _came(change, STOPPED, f"{blocks[0].rule}: {blocks[0].why}", proofs.wrong)
    with played(stand, folder / "short", [TwinFault("short", ("main",))]) as (tripped, network):
        told = _trips(stand, tripped, network) + _said_off(tripped, network)
        said += [f"with a short at main: {each}" for each in told]
    return _came(change, TRUE, outcome.cause, [*proofs.wrong, *said])


def _came(change: Change, verdict: str, why: str, untrue: list[str]) -> Came:
    return Came(change, UNTRUE if untrue else verdict, why, tuple(untrue))


def _outputs(network: VirtualNetwork) -> list[str]:
    return [f"{name}.{own}" for name, supply in network.bench.supplies.items() for own in supply.outputs]


def _said_off(outcome: RunOutcome, network: VirtualNetwork) -> list[str]:
    """Outputs that are on though all are said to be confirmed off, and one that was on and is not told."""
    on = [each for each in _outputs(network) if network.on(each)]
    found = [f"{each} is on and said to be off" for each in on if outcome.off_confirmed]
    if not outcome.energised and any(network.energised(each) for each in _outputs(network)):
        found.append("an output was on, and the record says that none was")
    return found


def _untrue(stand: Stand, outcome: RunOutcome, network: VirtualNetwork) -> list[str]:
    """What the run set, told and reports that is not so."""
    found = _trips(stand, outcome, network)
    for feed in stand.set_points.values():
        found += _set(stand, feed, network)
    if outcome.completed:
        found += _values(stand, outcome, network)
    return found


def _trips(stand: Stand, outcome: RunOutcome, network: VirtualNetwork) -> list[str]:
    """Trips that are told and did not happen, by what the supplies' physics tell."""
    at = {name: str(feed.outputs[0].output) for name, feed in stand.set_points.items()}
    told = {(at[e.subject], e.kind.trip) for e in outcome.record.events if e.kind.trip}
    happened = {(e.subject, e.kind.trip) for e in network.truth().events if e.kind.trip}
    if any(subject == at["main"] for subject, _ in happened) and not network.on(at["aux"]):
        happened.add((at["aux"], "linked"))  # the run does it itself where it is first
    return [f"{trip} told of {output}" for output, trip in sorted(told - happened)]


def _set(stand: Stand, feed: Feed, network: VirtualNetwork) -> list[str]:
    """Settings that the record has otherwise than the supply's own panel."""
    (points,) = feed.outputs
    output, document = points.output, stand.truth.bench.output(points.output)
    panels = network.servers[output.supply].supply.panels
    panel = next(each for each in panels if each.name == str(output))
    dialect = stand.program.bench.supplies[output.supply].dialect
    numbers: list[tuple[Setting, float, float]] = [
        ("current_limit", points.current_limit, panel.current),
        ("ovp", points.ovp, panel.ovp),
        ("trip_delay", points.trip_delay, panel.trip_delay),
        ("opp", points.opp, panel.opp),
        ("ocp", points.ocp, panel.ocp),
        ("ocp_delay", points.ocp_delay, panel.ocp_delay),
    ]
    found = [
        f"{name} of {output} is {true:g}, and said to be set to {said:g}"
        for name, said, true in numbers
        if math.isfinite(said) and abs(true - said) > allowed_difference(document, name, said)
    ]
    switches = [
        ("ovp_on", True, panel.ovp_enabled),
        ("trip_at_limit", points.at_limit == "trip", panel.trips_at_limit),
        ("opp_on", math.isfinite(points.opp), panel.opp_enabled),
        ("ocp_on", math.isfinite(points.ocp), panel.ocp_enabled),
        ("sense at load", feed.sense == "at load", panel.external_sense),
    ]
    found += [f"{name} of {output} is {true}, said {said}" for name, said, true in switches if said != true]
    if feed.trips_when and dialect.link is not None and not panel.follows:
        found.append(f"{output} is linked to nothing, and said to be")
    return found


def _values(stand: Stand, outcome: RunOutcome, network: VirtualNetwork) -> list[str]:
    """Requirements whose interval does not hold the true value, and a rise that is not the procedure's."""
    truth, found = network.truth().traces, []
    (last,) = stand.set_points["aux"].outputs
    end = network.energised(str(last.output))[-1][1]
    if end is None:
        return [f"{last.output} is on after the run completed"]
    evaluation = evaluate(stand.program, stand.set_points, outcome.record, [])
    for each in evaluation.results:
        requirement = next(r for r in stand.program.procedure.requires if r.name == each.requirement)
        traces = truth[requirement.of]
        column = "voltage" if requirement.measure == "mean_voltage" else "current"
        true = float(np.interp(end - BEFORE_DOWN, traces.time, traces.columns[column]))
        if each.measured is None:
            found.append(f"{each.requirement} has no value")
        elif not each.measured.low <= true <= each.measured.high:
            said = f"{each.measured.low:.6g} .. {each.measured.high:.6g}"
            found.append(f"{each.requirement} is {true:.6g}, said {said}")
    for name, traces in truth.items():
        voltage = traces.columns["voltage"][traces.time < end - BEFORE_DOWN]
        level = float(voltage[-1])
        low, high = (int(np.argmax(voltage > part * level)) for part in (0.2, 0.8))
        took = float(traces.time[high] - traces.time[low])
        if abs(took * RISE - 0.6 * level) > RISE_WITHIN * 0.6 * level:
            found.append(f"{name} rises from 20 to 80 % in {took:.3g} s, said {0.6 * level / RISE:.3g} s")
    return found
