"""Faults rehearsed: what a wrong lead, a mistyped figure or a lost supply does, and whether it is contained.

Each fault of `fault_entries.FAULTS` is played on the circuit of the documents, most of them from the steady
state after the power-up, long enough for every trip delay. What then reaches device and lead is compared with
what the documents say they bear.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from railwright.assumptions import Assumption
from railwright.circuit.case import NOMINAL, Case
from railwright.circuit.errors import SetErrors
from railwright.documents.device import Input
from railwright.documents.loader import Documents
from railwright.plan.contacts import closed_after, contacts_of
from railwright.plan.set_points import SetPoints
from railwright.plan.timeline import Timeline, timeline_of
from railwright.quantities import show
from railwright.rehearsal.circuit import build_circuit, output_errors
from railwright.rehearsal.crossed_sense import play_crossed
from railwright.rehearsal.fault_entries import FAULTS
from railwright.rehearsal.fault_scene import Scene, Trial
from railwright.rehearsal.harm import (
    ADIABATIC,
    EXACT,
    Borne,
    LeadStress,
    Stress,
    all_borne,
    assumed_clamp,
    lead_stress,
    reasons,
    stresses,
)
from railwright.rehearsal.rehearse import program_outputs
from railwright.traces import Event, EventKind, integral_of_product

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from railwright.documents.procedure import Step
    from railwright.physics.player import PlayedSamples
    from railwright.physics.simulation import Advance

SETTLE = 0.2
"""Time after the power-up before a fault [s]."""
LEAST = 0.5
"""Least time that a fault is followed [s]."""
SENSE_LEAD_BEARS = 0.5
"""Current that any sense lead bears [A]: the thinnest that is usual, AWG 28 (common practice, no source)."""
LAST = 50e-3
"""Last part of a trial, which tells what goes on [s]."""
LEAK = 1e-3
"""Current out of a device's own source that counts as none [A] (chosen: far below what any fault makes)."""
LONGER = 1.5
"""By how much longer than the longest trip delay."""
_VERDICTS = {True: "contained", False: "not", None: "unknown"}


@dataclass(frozen=True, slots=True)
class FaultResult:
    """What one fault does to one input, SI units; times count from the fault.

    fault: its key. input: the input that is judged, fed by `outputs`. at_power_up: it is there before
    anything is switched on, and times count from the switching on. trips: every trip and blown fuse of any
    output. energy [J] into `energy_in`, from the fault on: 'the short' and 'the sense lead' take all of
    theirs; 'the device': what it takes beyond a run without fault at the same time, where it takes more (all
    that it takes where the lead is reversed). peak_voltage, lowest_voltage: at the device's pins, as they are
    marked. peak_current: largest current that is driven into the device (either way where the lead is
    reversed); fed_back: largest that it drives out of itself, without what only moves the charge of the
    connector's own capacitance. stresses: time above each voltage that the document names. contained: whether
    the settings keep everything within what the documents say is borne; None: they do not say. why: what
    decides that. remedy: a setting or a fixture.
    """

    fault: str
    title: str
    input: str
    outputs: tuple[str, ...]
    at_power_up: bool
    trips: tuple[Event, ...]
    energy: float
    energy_in: str
    peak_voltage: float
    lowest_voltage: float
    peak_current: float
    fed_back: float
    stresses: tuple[Stress, ...]
    lead: LeadStress
    contained: bool | None
    why: str
    remedy: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class FaultStudy:
    """Every fault of a procedure, and what the study rests on.

    sound: empty, or why it says little: the power-up itself trips.
    """

    results: tuple[FaultResult, ...]
    assumptions: tuple[Assumption, ...]
    sound: str = ""

    @property
    def tally(self) -> str:
        """How many are contained: '8 contained, 1 not, 2 unknown'."""
        verdicts = [result.contained for result in self.results]
        counts = (f"{verdicts.count(each)} {word}" for each, word in _VERDICTS.items())
        return ", ".join(counts)

    def __repr__(self) -> str:
        return f"<FaultStudy of {len(self.results)} faults: {self.tally}>"


def rehearse_faults(documents: Documents, set_points: SetPoints, case: Case = NOMINAL) -> FaultStudy:
    """Play every fault that can happen with this hook-up, one at a time.

    Inputs that the procedure never powers up are left out. Raises
    `railwright.physics.solver.SolverError` where the circuit cannot be solved.
    """
    study = _Study(documents, set_points, case)
    if not study.scene.set_points:
        return FaultStudy((), (), "the procedure powers nothing up")
    results: list[FaultResult] = []
    assumptions = list(study.assumptions)
    for fault in FAULTS:
        for trial in fault(study.scene):
            played = study.play(trial)
            results += [study.result(trial, played, name) for name in trial.inputs]
            assumptions += [*trial.assumed, *played.assumed]
    trips = next((event for event in study.healthy.events if event.kind.trip), None)
    sound = "" if trips is None else f"without any fault, {trips.subject} {trips.what} during the power-up"
    return FaultStudy(tuple(results), tuple(dict.fromkeys(assumptions)), sound)


def power_up_alone(documents: Documents, set_points: SetPoints) -> Timeline:
    """The first power-up of each input, what contacts do before the last of them, and after it until each
    input is connected; nothing else of the procedure.
    """
    seen: set[str] = set()
    steps, moved = [], []
    for step in documents.procedure.steps:
        if step.relays is not None:
            moved.append(step)
        if step.power_up is None:
            continue
        order = tuple(name for name in step.power_up.order if name in set_points and name not in seen)
        if order:
            seen.update(order)
            steps += moved
            moved = []
            part = step.power_up.model_copy(update={"order": order})
            steps.append(step.model_copy(update={"power_up": part}))
    steps += _until_connected(documents, set_points, steps, moved)
    return timeline_of(documents.procedure.model_copy(update={"steps": tuple(steps)}), documents.device)


def _until_connected(
    documents: Documents, set_points: SetPoints, before: Sequence[Step], after: Sequence[Step]
) -> Sequence[Step]:
    """Those of the steps after it, in which contacts move, that it takes until the lead of every input is
    closed and every pin that is driven active; where they never all are, every lead; where not even those
    are, none.
    """
    lies = contacts_of(documents, set_points)
    for wanted in (lies, [name for name, each in lies.items() if not each.pin]):
        for count in range(len(after) + 1):
            closed = closed_after(lies.values(), [*before, *after[:count]])
            if all(closed[name] == (lies[name].active_closed or not lies[name].pin) for name in wanted):
                return after[:count]
    return ()


@dataclass(frozen=True, eq=False)
class _Pins:
    """One input as its device sees it: voltage and current at its pins, as they are marked, and the lead.

    polarity: -1 where the lead is reversed. shorted: conductance of a short across the pins [S].
    """

    time: NDArray[np.float64]
    voltage: NDArray[np.float64]
    current: NDArray[np.float64]
    lead: NDArray[np.float64]
    polarity: float = 1.0
    shorted: float = 0.0

    @property
    def passing(self) -> NDArray[np.float64]:
        """What flows through the pins and past the connector itself, into the device [A]: neither what only
        moves the charge of the connector's own capacitance, nor what does not get to the device.
        """
        past = self.polarity * self.lead - self.shorted * self.voltage
        least = np.minimum(np.abs(self.current), np.abs(past))
        return np.where(self.current * past > 0.0, np.copysign(least, past), 0.0)

    @property
    def given(self) -> NDArray[np.float64]:
        """Current that the device drives out of itself, past the connector [A]."""
        passing = self.passing
        gives = passing < 0.0 if self.polarity > 0.0 else passing * self.voltage < 0.0
        return np.where(gives, np.abs(passing), 0.0)

    @property
    def taken(self) -> NDArray[np.float64]:
        """Current that is driven into the device [A], whichever way where the lead is reversed."""
        if self.polarity > 0.0:
            return np.maximum(0.0, self.current)
        return np.abs(self.passing) - self.given

    def at(self, time: NDArray[np.float64]) -> tuple[NDArray[np.float64], ...]:
        """Power at the start, in the middle and at the end of each gap between instants [W]."""
        ends = []
        for each in (self.voltage, self.current):
            start = np.interp(time[:-1], self.time, each)
            # Of two rows at one instant, a jump, the first counts for the gap before it.
            end = np.interp(-time[1:], -self.time[::-1], each[::-1])
            ends.append((start, 0.5 * (start + end), end))
        return tuple(volts * amperes for volts, amperes in zip(*ends, strict=True))


def energy_beyond(pins: _Pins, healthy: _Pins) -> float:
    """Energy that a device takes beyond what it takes at the same time while all is well [J], where it takes
    more; from the fault on.

    At the rows of both, as either has few where it does not move; exact where voltages and currents run in
    straight lines between them.
    """
    time = np.union1d(pins.time, healthy.time)
    time = time[(time >= pins.time[0]) & (time <= pins.time[-1])]
    first, middle, last = _excess(pins, healthy, time)
    # Each excess is a parabola: where it passes through zero another instant is put in.
    bend, slope = 2.0 * (first - 2.0 * middle + last), 4.0 * middle - 3.0 * first - last
    with np.errstate(divide="ignore", invalid="ignore"):
        q = -0.5 * (slope + np.copysign(np.sqrt(slope**2 - 4.0 * bend * first), slope))
        roots = np.concatenate([time[:-1] + np.diff(time) * root for root in (q / bend, first / q)])
        starts = np.tile(time[:-1], 2)
        inside = (roots > starts) & (roots < np.tile(time[1:], 2))
    time = np.union1d(time, roots[inside])
    first, middle, last = _excess(pins, healthy, time)
    return float(np.diff(time) @ np.where(middle > 0.0, first + 4.0 * middle + last, 0.0)) / 6.0


def _excess(pins: _Pins, healthy: _Pins, time: NDArray[np.float64]) -> list[NDArray[np.float64]]:
    return [one - other for one, other in zip(pins.at(time), healthy.at(time), strict=True)]


@dataclass(frozen=True, eq=False)
class _Played:
    """What a trial gave: each input's pins from the fault on, all events since then, and what was assumed."""

    begins: float
    pins: Mapping[str, _Pins]
    events: tuple[Event, ...]
    assumed: tuple[Assumption, ...]


class _Study:
    """One set of documents: its scene, and the run without fault that everything is compared with."""

    def __init__(self, documents: Documents, set_points: SetPoints, case: Case) -> None:
        timeline = power_up_alone(documents, set_points)
        levels = {action.input: action.voltage for action in timeline.actions if action.kind == "line"}
        powered = {name: feed for name, feed in set_points.items() if levels.get(name, 0.0) > 0.0}
        circuit, made = build_circuit(documents, powered, case)
        self.errors: Mapping[str, SetErrors]
        self.errors, more = output_errors(documents, powered, case)
        self.assumptions = (*made, *more)
        self.scene = Scene(documents, powered, circuit, timeline, timeline.duration + SETTLE, levels)
        delays = [
            points.trip_delay if points.at_limit == "trip" else 0.0
            for feed in powered.values()
            for points in feed.outputs
        ]
        self.window = max(LEAST, LONGER * max(delays, default=0.0))
        if powered:
            self.healthy = self.play(Trial("", "", (), "", at_power_up=True))
            self.given = self._usually_given()

    def play(self, trial: Trial) -> _Played:
        """Play a trial."""
        from railwright.physics.simulation import Simulation

        scene = self.scene
        timeline = trial.timeline or scene.timeline
        # The device has hung on its outputs, but on no lead that is wrong from the start.
        rested = trial.act is None or not trial.at_power_up
        simulation = Simulation(scene.circuit, everything=True, rested=rested)
        program_outputs(
            simulation, scene.documents, trial.set_points or scene.set_points, timeline, self.errors
        )
        begins, voltages = 0.0, {}
        if not trial.at_power_up:
            begins = scene.steady
            before = simulation.advance(begins)
            voltages = {name: float(samples.voltage[-1]) for name, samples in before.samples.items()}
        if trial.act is not None:
            trial.act(simulation)
        until = max(scene.steady, timeline.duration) + self.window
        if trial.crossed is None:
            found = [simulation.advance(until)]
        else:
            outputs = {name: scene.outputs(scene.set_points[name]) for name in trial.crossed}
            found = play_crossed(simulation, outputs, voltages, until)
        events = tuple(event for advance in found for event in advance.events)
        pins = {name: self._pins(name, trial, found) for name in scene.set_points}
        return _Played(begins, pins, events, self._reverse_diodes(found))

    def _usually_given(self) -> dict[str, float]:
        """What each input that has a source of its own gives for ever while all is well [A]: while its
        outputs are on, or off.
        """
        from railwright.physics.simulation import Simulation

        scene = self.scene
        simulation = Simulation(scene.circuit)
        players = {name: simulation.player(name)[0] for name in scene.set_points}
        own = [name for name, each in players.items() if each.feeds_back()]
        if not own:
            return {}

        def act(simulation: Simulation) -> None:
            for feed in scene.set_points.values():
                for points in feed.outputs:
                    simulation.set(points.output, on=False)

        off = self.play(Trial("", "", (), "", act))
        return {name: max(_goes_on(each.pins[name]) for each in (self.healthy, off)) for name in own}

    def _reverse_diodes(self, found: list[Advance]) -> tuple[Assumption, ...]:
        """What was assumed of the outputs whose reverse diodes conduct."""
        made: dict[Assumption, None] = {}
        for branch in self.scene.circuit.branches:
            for name, stage in zip(branch.outputs, branch.stages, strict=True):
                lowest = min(float(each.samples[branch.name].output(name)[0].min()) for each in found)
                if lowest < -stage.diode_drop:
                    figures = f"{show(stage.diode_drop, 'V')} and {show(stage.diode_resistance, 'ohm')}"
                    made[
                        Assumption(name, f"the diode across it, which reverse current takes, has {figures}")
                    ] = None
        return tuple(made)

    def _pins(self, name: str, trial: Trial, found: list[Advance]) -> _Pins:
        samples: list[PlayedSamples] = [advance.samples[name] for advance in found]
        sign = -1.0 if trial.reverses and name in trial.inputs else 1.0
        shorted = 1.0 / trial.part if trial.energy_in == "the short" and name in trial.inputs else 0.0
        branch = next(each for each in self.scene.circuit.branches if each.name == name)
        # What lies behind something else draws from it, and not from the connector.
        at_connector = [not load.behind for load in branch.loads]
        drawn = []
        for each in samples:
            assert each.load_currents is not None, "the simulation was asked for everything"
            drawn.append(each.load_currents[:, at_connector].sum(axis=1))
        return _Pins(
            np.concatenate([each.time for each in samples]),
            sign * np.concatenate([each.voltage for each in samples]),
            np.concatenate(drawn),
            np.concatenate([each.current for each in samples]),
            sign,
            shorted,
        )

    def result(self, trial: Trial, played: _Played, name: str) -> FaultResult:
        """What a trial did to one of its inputs."""
        scene, pins, healthy = self.scene, played.pins[name], self.healthy.pins[name]
        wanted = scene.documents.device.inputs[name]
        zero = scene.switched_on(name) if trial.at_power_up else played.begins
        trips = tuple(
            replace(event, time=event.time - zero)
            for event in played.events
            if event.kind.trip or event.kind is EventKind.FUSE_OPENS
        )
        spent = stresses(wanted, pins.time, pins.voltage)
        bench = scene.documents.bench
        quick = pins.time <= pins.time[0] + ADIABATIC
        lead = lead_stress(
            bench.leads[scene.set_points[name].lead],
            bench.ambient.nominal,
            float(np.abs(pins.lead).max()),
            integral_of_product(pins.time[quick], pins.lead[quick], pins.lead[quick]),
            _lasting(pins),
            _lasting(healthy),
        )
        peak = float(pins.taken.max())
        parts: list[Borne] = [(stress.borne, stress.words) for stress in spent]
        parts.append(_current(wanted, peak, float(healthy.current.max())))
        endless = self._endless(name, pins)
        parts += [] if endless is None else [endless]
        parts.append((lead.borne, lead.words))
        parts += self._differences(played, name)
        clamped = assumed_clamp(wanted, float(pins.voltage.min()))
        parts += [] if clamped is None else [clamped]
        if trial.energy_in == "the sense lead":
            parts.append(_sense_lead(trial, pins))
        return FaultResult(
            fault=trial.fault,
            title=trial.title,
            input=name,
            outputs=tuple(points.output for points in scene.set_points[name].outputs),
            at_power_up=trial.at_power_up,
            trips=trips,
            energy=self._energy(trial, pins, healthy),
            energy_in=trial.energy_in,
            peak_voltage=float(pins.voltage.max()),
            lowest_voltage=float(pins.voltage.min()),
            peak_current=peak,
            fed_back=float(pins.given.max()),
            stresses=spent,
            lead=lead,
            contained=all_borne(parts),
            why=reasons(parts),
            remedy=trial.remedy if endless is None else trial.own_source + trial.remedy,
            note=trial.note,
        )

    def _endless(self, name: str, pins: _Pins) -> Borne | None:
        """No, where a source of the device's own goes on giving what it does not give while all is well."""
        usual, last = self.given.get(name), _goes_on(pins)
        if usual is None or last <= usual * (1.0 + EXACT) + LEAK:
            return None
        return False, (
            f"the device's own source keeps driving {show(last, 'A')}; switching the supply off does not "
            "stop it"
        )

    def _energy(self, trial: Trial, pins: _Pins, healthy: _Pins) -> float:
        """Energy into the fault [J]."""
        if trial.energy_in == "the short":
            return integral_of_product(pins.time, pins.voltage, pins.voltage) / trial.part
        if trial.energy_in == "the sense lead":
            return trial.part * integral_of_product(pins.time, pins.lead, pins.lead)
        if trial.reverses:
            return integral_of_product(pins.time, pins.voltage, pins.current)
        return energy_beyond(pins, healthy)

    def _differences(self, played: _Played, name: str) -> list[Borne]:
        """Differences of two inputs' voltages that leave the range which the device document gives."""
        found: list[Borne] = []
        for rule in self.scene.documents.device.never:
            pair = (rule.voltage_of, rule.minus)
            if name not in pair or any(each not in played.pins for each in pair):
                continue
            inputs = self.scene.documents.device.inputs
            signs = (inputs[pair[0]].sign, inputs[pair[1]].sign)
            low, high = _extremes(played.pins, pair, signs)
            usual = _extremes(self.healthy.pins, pair, signs)
            words = f"{pair[0]} minus {pair[1]}"
            margin = EXACT * max(abs(rule.outside.low), abs(rule.outside.high))
            if high > max(rule.outside.high, usual[1]) + margin:
                found.append((False, f"{words} gets up to {show(high, 'V')}, outside {rule.outside.text}"))
            if low < min(rule.outside.low, usual[0]) - margin:
                found.append((False, f"{words} gets down to {show(low, 'V')}, outside {rule.outside.text}"))
        return found


def _lasting(pins: _Pins) -> float:
    """Current that goes on in the lead: r.m.s. over the last part [A]."""
    last, length = _last_part(pins)
    square = integral_of_product(pins.time[last], pins.lead[last], pins.lead[last])
    return math.sqrt(square / length) if length > 0.0 else float(abs(pins.lead[-1]))


def _goes_on(pins: _Pins) -> float:
    """Current that the device goes on giving: mean over the last part [A]."""
    (last, length), given = _last_part(pins), pins.given
    return float(np.trapezoid(given[last], pins.time[last])) / length if length > 0.0 else float(given[-1])


def _last_part(pins: _Pins) -> tuple[NDArray[np.bool_], float]:
    """Rows of the last part, and how long that is [s]."""
    last = pins.time >= pins.time[-1] - LAST
    return last, float(pins.time[-1] - pins.time[last][0])


def _extremes(
    pins: Mapping[str, _Pins], pair: tuple[str, str], signs: tuple[float, float]
) -> tuple[float, float]:
    """Least and greatest difference of two inputs' voltages, each with the sign of its rail [V]."""
    one, other = pins[pair[0]], pins[pair[1]]
    time = np.union1d(one.time, other.time)
    first = signs[0] * np.interp(time, one.time, one.voltage)
    gap = first - signs[1] * np.interp(time, other.time, other.voltage)
    return float(gap.min()), float(gap.max())


def _current(wanted: Input, peak: float, healthy: float) -> Borne:
    """Whether the device bears the largest current into it, though as much may flow without the fault."""
    most, usual = wanted.current.at_most, peak <= healthy * (1.0 + EXACT)
    borne = usual if most is None else peak <= most * (1.0 + EXACT)
    if borne:
        return (
            True,
            "no more flows than without the fault" if most is None else "the device bears the current",
        )
    words = f"up to {show(peak, 'A')} flow into the device" + (", as without the fault" if usual else "")
    if most is None:
        return None, f"{words}, and the device document does not say what does no harm"
    return False, f"{words}; {show(most, 'A')} does no harm"


def _sense_lead(trial: Trial, pins: _Pins) -> Borne:
    most = float(abs(pins.lead).max())
    watts = trial.part * most**2
    if most <= SENSE_LEAD_BEARS:
        return True, f"the sense lead bears {show(most, 'A')}"
    return None, (
        f"the sense lead carries up to {show(most, 'A')} ({show(watts, 'W')} of heat), and no document says "
        "what it bears"
    )
