"""One draw in every place that says something of it: settled, rehearsed, shown, run, evaluated, reported."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any
from unittest.mock import patch

from benchmarks.disagreement_hunt.drawing import Draw

from railwright.archive.stored import evaluate_run, evaluations_of, open_stored
from railwright.circuit.case import fixed
from railwright.circuit.errors import QUANTITIES
from railwright.documents.loader import Documents
from railwright.documents.sources import DocumentErrors
from railwright.evaluation.evaluate import evaluate
from railwright.evaluation.outcome import NONE_KNOWN, Evaluation
from railwright.guard.local_link import LocalLink
from railwright.job import _KEPT, Check, Job, NotSettled
from railwright.physics.simulation import Advance
from railwright.physics.solver import SolverError
from railwright.rehearsal.playback import PlayedShape, played_shapes
from railwright.rehearsal.rehearse import Prediction, rehearse
from railwright.report.machine import report_data
from railwright.report.of_run import run_facts_of
from railwright.report.subject import ReportInput
from railwright.running.outcome import RunOutcome, RunRefused
from railwright.running.runner import run
from railwright.settings.data import as_data
from railwright.traces import Event, EventKind, Record, Traces
from railwright.twin.plant import Plant
from railwright.twin.truth import Truth
from railwright.twin.virtual_network import VirtualNetwork
from railwright.twin.wiring import WiringError
from railwright.virtual_time import VirtualLoop

ERRORS = dict(
    zip(
        (
            "programming.voltage.gain",
            "programming.voltage.offset",
            "programming.current.gain",
            "programming.current.offset",
            "ovp",
        ),
        QUANTITIES,
        strict=True,
    )
)
"""Name of an output's true error in the twin -> in a case."""


MOST_STEPS = 400_000
"""Steps of the solver after which the world behind a supply is given up: a load without a capacitor that
starts and stops within a microsecond plays for ever, and a rehearsal of it is refused for the same reason.
"""


class NotPlayed(Exception):
    """A draw that is refused somewhere, with where and why."""


@dataclass
class Played:
    """What each place says of one draw. truth, readings: on the timeline's clock, as the rehearsal is.

    rehearsed: at exactly what is true behind the supplies; case: those values. judged: its requirements.
    energised: output -> (from, to) [s]. ended: when the run ended [s]. overloads: what is true beyond the
    documents.
    """

    check: Check
    documents: Documents
    case: dict[str, float]
    rehearsed: Prediction
    judged: Evaluation
    truth: Record
    energised: dict[str, tuple[tuple[float, float | None], ...]]
    outcome: RunOutcome
    evaluated: Evaluation
    reported: dict[str, Any]
    ended: float
    overloads: Mapping[str, str]

    def again(
        self, factors: Mapping[str, float], skew: Mapping[str, float], limits_earlier: float = 0.0
    ) -> Prediction:
        """Rehearsed once more with the case's values multiplied, the outputs' offsets moved [V], and changes
        of current limits earlier [s].
        """
        values = {name: value * factors.get(name, 1.0) for name, value in self.case.items()}
        for name, volts in skew.items():
            values[name] += volts
        played = self.check.plan.played
        limits = tuple(each._replace(time=each.time - limits_earlier) for each in played.limits)
        timeline = replace(played, limits=limits)
        return rehearse(self.documents, self.check.settings.set_points, fixed(values), timeline)

    def shapes(self, record: Record) -> tuple[PlayedShape, ...]:
        """What `waveform` makes of a record."""
        return played_shapes(self.check.plan, record)


def play(draw: Draw, folder: Path) -> Played:
    """Play one draw in a folder of its own. NotPlayed where a document, the check or the run refuses it."""
    _KEPT.clear()  # of another play of the same draw: without a fault, or in a folder that is gone
    for name, content in draw.files.items():
        (folder / name).write_bytes(content)
    try:
        check = Job.open(folder / "procedure.yaml").settle()
    except (DocumentErrors, NotSettled) as error:
        raise NotPlayed(f"refused: {error}") from None
    except SolverError as error:
        raise NotPlayed(f"solver: {error}") from None
    documents, settings = check.checked.documents, check.settings
    loop = VirtualLoop()
    try:
        given = documents.bench, documents.device, documents.procedure
        network = VirtualNetwork(loop, *given, seed=draw.seed, overrides=draw.true)
    except (WiringError, ValueError) as error:
        raise NotPlayed(f"twins: {error}") from None
    lost = [_watched(server.supply.plant) for server in network.servers.values()]
    with network:
        case = case_of(network.parameters)
        try:
            rehearsed = rehearse(documents, settings.set_points, fixed(case), check.plan.played)
        except SolverError as error:
            raise NotPlayed(f"solver: {error}") from None
        try:
            outcome = run(
                documents, settings.set_points, unit="U", operator="O", folder=folder / "run",
                settings=as_data(settings), link=LocalLink(loop, network.connect),
            )  # fmt: skip
        except RunRefused as error:
            raise NotPlayed(f"run: {error}") from None
        if any(lost):
            raise NotPlayed("solver: behind a supply")
        if outcome.ended.value == "instrument":
            raise NotPlayed(f"run: {outcome.cause}")
        truth = network.truth()
        zero = zero_of(truth, rehearsed.record)
        energised = {
            str(output): tuple(
                (start - zero, None if end is None else end - zero)
                for start, end in network.energised(output)
            )
            for feed in settings.set_points.values()
            for output in (points.output for points in feed.outputs)
        }
    stored = open_stored(folder / "run")
    evaluated = evaluate_run(stored, [])
    return Played(
        check,
        documents,
        case,
        rehearsed,
        evaluate(documents, settings.set_points, rehearsed.record),
        moved(truth, zero),
        energised,
        outcome,
        evaluated,
        _reported(folder / "run", rehearsed),
        end_of(outcome),
        draw.true,
    )


def _watched(plant: Plant) -> list[float]:
    """When the physics behind a supply were given up [s]: it is then like one that lost its power, and what
    it does from there on is no part of a draw. That is also so once they have taken too many steps.
    """
    simulation, lost = plant._simulation, []
    play, restart = simulation.advance, plant.restart

    def advance(to_time: float) -> Advance:
        if simulation.steps > MOST_STEPS:
            raise SolverError(to_time, "current", "load", "something oscillates in")
        return play(to_time)

    def begin_again(time: float) -> None:
        lost.append(time)
        restart(time)

    simulation.advance, plant.restart = advance, begin_again  # type: ignore[method-assign]
    return lost


@contextmanager
def by_readings_alone() -> Iterator[None]:
    """The program without what a rehearsal tells of readings: what a measure gets wrong shows as it is."""
    with patch("railwright.archive.stored.widenings", lambda *_: (NONE_KNOWN, ())):
        yield


def case_of(truth: Truth) -> dict[str, float]:
    """What is true behind the twins, as values of a case."""
    values = {name: true.value for name, true in truth.parameters.items()}
    for name, true in truth.errors.items():
        for ending, quantity in ERRORS.items():
            if name.endswith(f".{ending}"):
                values[name.removesuffix(ending) + quantity] = true.value
    return values


def zero_of(truth: Record, rehearsed: Record) -> float:
    """Where the timeline's zero lies on the clock of the truth [s]: at the first output that goes on."""
    first = next((event.time for event in truth.events if event.kind is EventKind.ON), None)
    asked = next((event.time for event in rehearsed.events if event.kind is EventKind.ON), None)
    if first is None or asked is None:
        raise NotPlayed("run: nothing was switched on")
    return first - asked


def moved(record: Record, zero: float) -> Record:
    """A record with its times counted from `zero` [s]."""
    traces = {name: Traces(each.time - zero, each.columns) for name, each in record.traces.items()}
    events = tuple(replace(event, time=event.time - zero) for event in record.events)
    return replace(record, traces=traces, events=events)


def end_of(outcome: RunOutcome) -> float:
    """When the run began to end [s]: what comes after it is no part of the procedure."""
    kinds = (EventKind.RUN_ENDS, EventKind.OFF_SENT)
    return min((event.time for event in outcome.record.events if event.kind in kinds), default=0.0)


def first_trip(events: tuple[Event, ...]) -> Event | None:
    """The first trip of any output."""
    return next((event for event in events if event.kind.trip), None)


def _reported(folder: Path, rehearsed: Prediction) -> dict[str, Any]:
    """The report for machines."""
    stored = open_stored(folder)
    evaluations, external = evaluations_of(stored)
    given = ReportInput(
        documents=stored.documents,
        set_points=stored.settings.set_points,
        reasons=stored.settings.reasons,
        findings=stored.settings.findings,
        rehearsal=rehearsed.record,
        measured=stored.data.record,
        evaluations=evaluations,
        run=run_facts_of(stored) | {"customer": None, "authorised_by": None, "function": None},
        reported=dt.datetime.now().astimezone().replace(microsecond=0),
        external=external,
        assumptions=rehearsed.assumptions,
    )
    return report_data(given)
