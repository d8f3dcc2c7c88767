"""What a requirement looks at in a record: the windows of its step, with what the documents say of them."""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise

from railwright.circuit.inside import NOTHING, at_connector, lost_inside
from railwright.documents.device import Device
from railwright.documents.loader import Documents
from railwright.documents.procedure import Requirement
from railwright.evaluation.ending import Ending
from railwright.evaluation.observability import SETTLING
from railwright.evaluation.open_leads import Spans, open_spans
from railwright.evaluation.outcome import Widenings
from railwright.evaluation.supply_status import supply_status
from railwright.frozen import kept
from railwright.measures.level_change import LevelChange
from railwright.measures.outcome import CannotMeasure
from railwright.measures.reading_model import ReadingModel
from railwright.measures.signal import View
from railwright.measures.status import SupplyStatus
from railwright.plan.contacts import contact_moves, contacts_of, subjects_of
from railwright.plan.off_order import held_voltage
from railwright.plan.set_points import SetPoints
from railwright.plan.stairs import AT_ONCE, highest_stair
from railwright.plan.timeline import Action, Timeline
from railwright.quantities import Uncertain, show
from railwright.traces import EventKind, Record, Span, span_named

THRESHOLDS = ("starts_at", "stops_at")
VOLTAGES = 64
"""At how many voltages the least current of running loads is worked out."""

EXACT = ("rehearsal", "truth", "twin truth")
"""Origins of records that have no reading errors."""


@dataclass(frozen=True, slots=True, eq=False)
class RecordSource:
    """A record on the run's time base, and how each input's values came about. every: time between two of
    its readings [s]; None: as the procedure has it. lacks: which of them the record does not have, and why.
    """

    name: str
    record: Record
    models: Mapping[str, ReadingModel]
    feeds: SetPoints
    every: float | None = None
    lacks: str = ""


@dataclass(frozen=True, eq=False)
class Case:
    """One run to be judged: the documents and their nominal timeline, the run's own record, how it ended, by
    how much readings are known to mislead.
    """

    documents: Documents
    timeline: Timeline
    own: RecordSource
    ending: Ending
    widened: Widenings = field(default_factory=dict)

    def planned(self, step: str) -> Span | None:
        """The step in the nominal timeline."""
        return span_named(self.timeline.spans, step)

    @kept
    def told(self, name: str, *, jumps: bool = False) -> list[float]:
        """When this input, or another that its supplies may take along, is told a set point or a limit, as
        asked, when a line of its set point ends, and when a contact moves, in order [s]; jumps: of the set
        points only those that jump.
        """
        along = _along(self, name)
        own = [each for each in self.timeline.actions if each.input in along]
        times = [each.time for each in own if not jumps or each.over == 0.0]
        times += [each.time + each.over for each in own if not jumps]
        times += [each.time for each in self.timeline.limits if each.input in along]
        return sorted([*times, *_contact_times(self, name)])


# One piece: all that a measure may know of its window, gathered in one place.
def views(case: Case, requirement: Requirement, source: RecordSource) -> Iterator[View]:
    """The windows that a requirement looks at, on the run's time base: the step, or the settled part of each
    point. Of a sweep that was cut short the last point is left out.
    """
    documents, own, name, run = case.documents, case.own, requirement.of, case.own.record
    try:
        span = run.span(requirement.during)
    except KeyError:
        raise CannotMeasure(
            f"the record holds no step '{requirement.during}'", "a run that reaches it"
        ) from None
    traces = source.record.traces.get(name)
    model = source.models.get(name)
    if traces is None or model is None or traces.time.size == 0:
        raise CannotMeasure(f"the record holds nothing of '{name}'", f"a recording of '{name}'")
    switched_on = _switched_on(case, name, span)
    time_error = _time_error(span, run)
    view = View(
        traces,
        replace(model, clock=model.clock + time_error),
        span.start,
        span.end,
        at=requirement.at,
        switched_on=switched_on,
        interrupted=span.kind != "power_up",
        goal=_goal(case, name, span.name),
        restart=_least(documents.device, name, "soft_start") or None,
        capacitance=_capacitance(documents, name),
        stops_at=_stops_at(documents.device, name),
        starts_at=_least(documents.device, name, "starts_at"),
        never_stops=_never_stops(documents.device, name),
        follows=_follows(documents.device, name),
        least_running=_least_running(documents.device, name),
        away=_away(name, source.record) if source.record.origin in EXACT else None,
        supplied=_supplied(case, name, span),
        stair=_stair(case, span, source, name),
        stands=_stands(case, span, name),
        moves_off=_moves_off(case, span, name),
        told_before=_told_before(case, span, name),
        stood=_told_before(case, span, name, but_now=True),
        lags=_lags(case, span, name),
        changes=_changes(case, span, name),
        course=_course(case, name),
        limits_moved=_limits_moved(case, name),
        quiet=_quiet(case, span, name),
        told_last=_told_last(case, span, name),
        holds=(held_voltage(documents.device, name) or (0.0, 0.0))[1],
        every=source.every or documents.procedure.record.every,
        supply=_supply_status(case, requirement, span),
        last=span is run.spans[-1],
        opened=any(start < span.end and end > span.start for start, end in open_leads(case, name)),
    )
    if requirement.within is not None:
        view = _of_inrush(case, view, requirement.within, span, name)
    if source is not own and name in run.traces and name in own.models:
        beside = replace(own.models[name], clock=own.models[name].clock + time_error)
        every = documents.procedure.record.every
        view = replace(view, beside=replace(view, traces=run.traces[name], model=beside, every=every))
    if requirement.each_point is None:
        yield view
        return
    for voltage, start, end in span.points if span.whole else span.points[:-1]:
        settled = start + SETTLING * (end - start)
        point = replace(
            view,
            start=settled,
            end=end,
            switched_on=None,
            goal=voltage,
            told_before=math.inf,
            changes=(),
            quiet=0.0,
            told_last=math.inf,
            called=f"the point of the sweep at {show(voltage, 'V')}",
        )
        if view.beside is not None:
            traces, model = view.beside.traces, view.beside.model
            point = replace(point, beside=replace(point, traces=traces, model=model, beside=None))
        yield point


def _of_inrush(case: Case, view: View, within: float, span: Span, name: str) -> View:
    """The same for so long [s] from the switching-on in a step, or from its beginning where that does not
    switch the input on. CannotMeasure where the step was played to its end and is over before.
    """
    begin = span.start if view.switched_on is None else max(span.start, view.switched_on)
    end = begin + within
    if end > span.end + AT_ONCE:
        if not span.whole:
            return view
        raise CannotMeasure(
            f"the inrush is to be looked at for {show(within, 's')}, and the step '{span.name}' ends "
            f"{show(span.end - begin, 's')} after it begins",
            "a longer step",
        )
    end, planned = min(end, span.end), case.planned(span.name)
    called = f"the {show(within, 's')} of the inrush"
    # Readings and recordings go on behind it: what they show there is of the step, not of the next one.
    view = replace(view, end=end, last=False, called=called)
    if planned is None:
        return replace(view, quiet=0.0)
    until = planned.start + end - span.start
    inside = [each for each in case.told(name) if until - AT_ONCE <= each < planned.end - AT_ONCE]
    jumps = [each for each in case.told(name, jumps=True) if planned.start + AT_ONCE < each < until - AT_ONCE]
    tripped = [
        each.time
        for each in case.own.record.events
        if each.subject in _subjects(case, name)
        and end <= each.time <= span.end
        and (each.kind is EventKind.OFF or each.kind.trip)
    ]
    quiet = [
        span.end - end + view.quiet,
        *(each - until for each in inside),
        *(each - end for each in tripped),
    ]
    stairs = _stair(case, span, case.own, name) > 0.0
    return replace(
        view,
        quiet=0.0 if stairs else max(0.0, min(quiet)),
        told_last=until - jumps[-1] if jumps else math.inf,
        changes=tuple(each for each in view.changes if each.time <= end),
    )


def open_leads(case: Case, name: str) -> Spans:
    """When the lead of an input stood open, as far as the run's own record shows [s]."""
    bench, procedure = case.documents.bench, case.documents.procedure
    return open_spans(bench, procedure, case.own.record, name, case.own.models.get(name))


def _supply_status(case: Case, requirement: Requirement, span: Span) -> SupplyStatus | None:
    """What the run's own record tells of the outputs; None where nothing that is required hangs on it."""
    known, feeds, name = requirement.known, case.own.feeds, requirement.of
    if name not in feeds or not (known.trip or known.of_supply):
        return None
    run, exact = case.own.record, case.own.record.origin in EXACT
    status = supply_status(case.documents, case.timeline, feeds, name, span, run, exact=exact)
    return replace(status, by=requirement.by)


def _time_error(span: Span, run: Record) -> float:
    """Bound of the error of the times at which a step is recorded to begin and to end [s].

    It begins with a set point of its own, and ends with one of the step after it.
    """
    after = [each.time_error for each in run.spans if each.start == span.end and each is not span]
    return max([span.time_error, *after])


def _changes(case: Case, span: Span, name: str) -> tuple[LevelChange, ...]:
    """The changes of this input's set point in a step, as asked, on the run's time base."""
    if (planned := case.planned(span.name)) is None:
        return ()
    level, actions = _actions(case, planned, name)
    found, later = [], span.start - planned.start
    for action in actions:
        if action.voltage != level:
            found.append(LevelChange(action.time + action.over / 2.0 + later, level, action.voltage))
        level = action.voltage
    return tuple(found)


def _later(case: Case) -> dict[int, float]:
    """By how much each step of the procedure that the record holds began later than planned [s]."""
    begins = {each.name: each.start for each in case.own.record.spans}
    planned = enumerate(case.timeline.spans)
    return {number: begins[each.name] - each.start for number, each in planned if each.name in begins}


def _course(case: Case, name: str) -> tuple[LevelChange, ...]:
    """The changes of this input's set point in all steps of the record, as asked, on the run's time base."""
    later, level, found = _later(case), 0.0, []
    for action in case.timeline.actions:
        if action.input != name:
            continue
        goal = 0.0 if action.kind == "off" else action.voltage
        if action.step in later:
            found.append(LevelChange(action.time + action.over / 2.0 + later[action.step], level, goal))
        level = goal
    return tuple(found)


def settled_levels(case: Case, name: str) -> Iterator[tuple[float, float, float, float]]:
    """Each set point at which an input stood in a step of the record, as asked: from when, when its line was
    over, to when anything of it was told next [s], on the run's time base, at which voltage, and by how much
    that differs from the one before [V]. None of an input that others may take along.
    """
    later, level = _later(case), 0.0
    # What ends a shape, and after how many of its turns, the timeline does not know.
    open_ended = {each.step for each in case.timeline.repeated}
    own = [each for each in case.timeline.actions if each.input == name]
    if len(_along(case, name)) > 1:
        return
    for number, action in enumerate(own):
        after = own[number + 1] if number + 1 < len(own) else None
        change, level = abs(action.voltage - level), 0.0 if action.kind == "off" else action.voltage
        if action.kind != "line" or action.step not in later or action.step in open_ended:
            continue
        ends = math.inf
        if after is not None:
            ends = after.time + later.get(after.step, -math.inf)
        yield action.time + action.over + later[action.step], ends, level, change


def _limits_moved(case: Case, name: str) -> tuple[float, ...]:
    """When this input's current limit is moved in all steps of the record, as asked, on the run's time."""
    later = _later(case)
    own = (each for each in case.timeline.limits if each.input == name and each.step in later)
    return tuple(each.time + later[each.step] for each in own)


def _actions(case: Case, planned: Span, name: str) -> tuple[float, list[Action]]:
    """The set point at which an input stands before a step [V], and what is done to it in the step; switching
    off is a set point of 0 V.
    """
    level, found = 0.0, []
    for action in case.timeline.actions:
        if action.input != name:
            continue
        own = replace(action, voltage=0.0) if action.kind == "off" else action
        if planned.start - AT_ONCE <= own.time <= planned.end + AT_ONCE:
            found.append(own)
        elif own.time < planned.start:
            level = own.voltage
    return level, found


def _stands(case: Case, span: Span, name: str) -> float:
    """Shortest time for which a level of this input is set between two changes in a step, as asked [s];
    infinite: there are not two. Of one that a line leads to and that is left at once, the time of that line.
    """
    if (planned := case.planned(span.name)) is None:
        return math.inf
    level, actions = _actions(case, planned, name)
    shortest = math.inf
    for action, after in pairwise(actions):
        stands = after.time - action.time - action.over
        turns = (action.voltage - level) * (after.voltage - action.voltage) < 0.0
        if stands <= AT_ONCE and action.over > 0.0 and not action.chord and turns:
            stands = action.over
        if stands > AT_ONCE:
            shortest = min(shortest, stands)
        level = action.voltage
    return shortest


def _moves_off(case: Case, span: Span, name: str) -> bool:
    """Whether a step begins with a line of this input's set point."""
    if (planned := case.planned(span.name)) is None:
        return False
    own = [
        action
        for action in case.timeline.actions
        if action.input == name
        and action.kind == "line"
        and abs(action.time - planned.start) <= AT_ONCE
        and case.timeline.spans[action.step].name == span.name
    ]
    return bool(own) and own[0].over > 0.0


def _along(case: Case, name: str) -> set[str]:
    """The inputs with which something may be told to this one: itself, and all where its supplies couple."""
    feeds, inputs = case.own.feeds, set(case.documents.device.inputs)
    own = feeds[name].names if name in feeds else ()
    return inputs if any(case.documents.bench.supply_of(each).coupled for each in own) else {name}


def _contact_times(case: Case, name: str) -> list[float]:
    """When a contact in the lead of an input, or one whose pin enables a part of it, is told to move, and
    when it has, as asked [s].
    """
    if not case.timeline.contacts:
        return []
    lies = contacts_of(case.documents, case.documents.procedure.hook_up)
    moves = [
        moved
        for moved in contact_moves(lies, case.timeline)
        if name in subjects_of(moved.lies, case.documents.device)
    ]
    return [at for moved in moves for at in (moved.change.time, moved.time)]


def _lags(case: Case, span: Span, name: str) -> bool:
    """Whether a step begins with a contact of this input, which takes its time to move."""
    planned = case.planned(span.name)
    return planned is not None and any(
        abs(each - planned.start) <= AT_ONCE for each in _contact_times(case, name)
    )


def _told_before(case: Case, span: Span, name: str, *, but_now: bool = False) -> float:
    """How long before a step begins this input is last told a set point or a limit, as asked, or by coupling,
    or a line of its set point ends, or a contact moves [s]; 0: as it begins; infinite: never. but_now: what
    comes as it begins is left out.
    """
    if (planned := case.planned(span.name)) is None:
        return math.inf
    times, until = case.told(name), planned.start - AT_ONCE if but_now else planned.start + AT_ONCE
    after = bisect_right(times, until)
    return max(0.0, planned.start - times[after - 1]) if after else math.inf


def _told_last(case: Case, span: Span, name: str) -> float:
    """How long before a step's end this input jumps, has its limit moved, or a contact moves, for the last
    time after its beginning, as asked, or by coupling [s]; infinite: nothing does.
    """
    if (planned := case.planned(span.name)) is None or not span.whole:
        return math.inf
    times = case.told(name, jumps=True)
    before = bisect_left(times, planned.end - AT_ONCE)
    last = times[before - 1] if before else -math.inf
    return planned.end - last if last > planned.start + AT_ONCE else math.inf


def _quiet(case: Case, span: Span, name: str) -> float:
    """How long after a step's end nothing is told to this input, nor to another that its supplies may take
    along, and no output of it goes on or off [s]; 0: something is at the end, or nobody knows.
    """
    run, planned = case.own.record, case.planned(span.name)
    if planned is None or not span.whole or _stair(case, span, case.own, name) > 0.0:
        return 0.0
    times = case.told(name)
    after = bisect_left(times, planned.end - AT_ONCE)
    until = times[after] if after < len(times) else case.timeline.duration
    switched = [
        each.time - span.end
        for each in run.events
        if each.subject in _subjects(case, name)
        and each.time >= span.end
        and (each.kind in (EventKind.ON, EventKind.OFF) or each.kind.trip)
    ]
    return max(0.0, min([until - planned.end, run.spans[-1].end - span.end, *switched]))


def _stair(case: Case, span: Span, source: RecordSource, name: str) -> float:
    """Height of the highest stair in which the run played this input's lines [V]; 0 without a run."""
    if case.own.record.origin in EXACT or name not in source.feeds:
        return 0.0
    planned = case.planned(span.name)
    if planned is None:
        return 0.0
    return highest_stair(case.timeline, planned, source.feeds[name], case.documents.bench)


def _subjects(case: Case, name: str) -> set[str]:
    """What events of an input are about: itself, and the outputs that feed it."""
    hook_up = case.documents.procedure.hook_up.get(name)
    return {name, *(hook_up.outputs if hook_up else ())}


def _switched_on(case: Case, name: str, span: Span) -> float | None:
    """When the input was switched on within a step [s]: the record's own event, else the procedure's plan."""
    run, subjects = case.own.record, _subjects(case, name)
    slack = 1e-3
    times = [
        event.time
        for event in run.events
        if event.kind is EventKind.ON
        and event.subject in subjects
        and span.start - slack <= event.time <= span.end
    ]
    if times:
        return min(times)
    planned = case.planned(span.name)
    if planned is None:
        return None
    for action in case.timeline.actions:
        inside = planned.start - 1e-9 <= action.time <= planned.end
        if action.kind == "on" and action.input == name and inside:
            return span.start + (action.time - planned.start)
    return None


def _supplied(case: Case, name: str, span: Span) -> tuple[float, float]:
    """When an input was last switched on up to the end of a step, and when it was then taken down on purpose
    [s]; infinite where the record says neither. It is taken down from the beginning of the power-down on.
    """
    on, down = -math.inf, math.inf
    for each in case.own.record.spans:
        if name not in each.inputs:
            continue
        if each.kind == "power_up" and each.start < span.end:
            at = _switched_on(case, name, each)
            on, down = each.start if at is None else at, math.inf
        if each.kind == "power_down" and down == math.inf:
            down = each.start
    return on, down


def energised(case: Case, name: str) -> Iterator[tuple[float, float]]:
    """From when to when an input was on [s]: from each switching-on to what took it down, a trip included."""
    run, subjects = case.own.record, _subjects(case, name)
    own = [each for each in run.events if each.subject in subjects]
    ends = [each.time for each in own if each.kind is EventKind.OFF or each.kind.trip]
    ends += [each.start for each in run.spans if each.kind == "power_down" and name in each.inputs]
    for each in run.spans:
        if each.kind == "power_up" and name in each.inputs:
            at = _switched_on(case, name, each)
            on = each.start if at is None else at
            yield on, min((end for end in ends if end > on), default=math.inf)


def _goal(case: Case, name: str, step: str) -> float | None:
    """Voltage that the procedure last gives an input up to the end of a step [V]; None: none, or it is fed
    with a constant current and need not get there.
    """
    limits = case.documents.procedure.limits.get(name)
    if limits is not None and limits.feeds_current:
        return None
    planned = case.planned(step)
    if planned is None:
        return None
    levels = [
        action.voltage
        for action in case.timeline.actions
        if action.kind == "line" and action.input == name and action.time < planned.end
    ]
    return levels[-1] if levels else None


def given(device: Device, name: str, figure: str) -> list[Uncertain]:
    """What an input's loads give of a figure, those of them that have it; thresholds as at the connector."""
    wanted = device.inputs[name]
    parts = [part.parameters.uncertain() for part in wanted.load]
    lost = lost_inside(wanted) if figure in THRESHOLDS else NOTHING
    return [at_connector(values[figure], lost) for values in parts if figure in values]


def _least(device: Device, name: str, figure: str) -> float:
    """The least that an input's loads give of a figure; 0: none of them gives it."""
    return min((each.low for each in given(device, name, figure)), default=0.0)


def _capacitance(documents: Documents, name: str) -> tuple[float, float]:
    """Least and most input capacitance that the documents give [F], that of a fixture with it; zero where
    they give none.
    """
    hook_up = documents.procedure.hook_up.get(name)
    fixture = documents.bench.fixture(hook_up.fixture) if hook_up else None
    found = given(documents.device, name, "capacitance")
    inside = documents.device.inputs[name].inside
    if inside is not None and inside.capacitor is not None:
        found.append(inside.capacitor.capacitance)
    if fixture is not None and fixture.capacitor is not None:
        found.append(fixture.capacitor.capacitance)
    return sum(each.low for each in found), sum(each.high for each in found)


def _follows(device: Device, name: str) -> bool:
    """Whether an input has loads, and the current of all of them follows its voltage at once, whatever a pin
    does, beside what capacitors take: no diode keeps that from coming back, and no choke delays it.
    """
    from railwright.physics.loads import KINDS

    inside = device.inputs[name].inside
    if inside is not None and (inside.diode is not None or inside.choke is not None):
        return False
    given = [(KINDS[part.kind], part.enabled_by) for part in device.inputs[name].load]
    return bool(given) and all(kind.follows and pin is None for kind, pin in given)


def _least_running(device: Device, name: str) -> tuple[tuple[float, float], ...]:
    """Least current of an input's loads while they run, at some voltages up to the highest that it is for
    (V, A); empty where none of them stops by itself, or none draws now more and now less.
    """
    from railwright.physics.loads import KINDS
    from railwright.physics.loads.law import high, low

    own = device.inputs[name]
    highest = own.operating.high
    volts = [highest * number / VOLTAGES for number in range(1, VOLTAGES + 1)]
    least, varies, stops = [0.0] * VOLTAGES, False, False
    lost = lost_inside(own)
    sides = sorted({lost.low, lost.high})
    for part in own.load:
        kind = KINDS[part.kind]
        varies = varies or kind.varies
        draws = getattr(kind.equations, "draws", None)
        if "stops_at" not in part.parameters.uncertain() or draws is None or part.enabled_by is not None:
            continue
        stops, ends = True, []
        for choose in (low, high):
            values, _ = part.parameters.floats(choose)
            p = [*(values[field] for field in kind.parameters), *part.parameters.table()]
            ends += [[draws(each - lost, p) for each in volts] for lost in sides]
            varies = varies or ends[-1][-1][0] < ends[-1][-1][1]
        least = [more + min(each[0] for each in at) for more, *at in zip(least, *ends, strict=True)]
    return tuple(zip(volts, least, strict=True)) if varies and stops else ()


def _stops_at(device: Device, name: str) -> tuple[float, float] | None:
    """Lowest and highest voltage at which the first of an input's loads stops [V]; None: none does."""
    found = given(device, name, "stops_at")
    return (max(each.low for each in found), max(each.high for each in found)) if found else None


def _never_stops(device: Device, name: str) -> bool:
    """Whether an input has loads, and none that stops and starts again, by itself or by a pin."""
    given = device.inputs[name].load
    return bool(given) and not any(
        "stops_at" in part.parameters.uncertain() or part.enabled_by for part in given
    )


def _away(name: str, record: Record) -> tuple[tuple[float, float], ...]:
    """When an input's loads stopped and started again, by the record's own events [s].

    Loads that are away at the same time are away once. What never starts again is away for ever.
    """
    found: list[tuple[float, float]] = []
    stopped: dict[str, float] = {}
    for event in sorted(record.events, key=lambda each: each.time):
        if event.subject != name:
            continue
        if event.kind is EventKind.STOPS:
            stopped.setdefault(event.facts.load, event.time)
        elif event.kind is EventKind.STARTS and event.facts.load in stopped:
            found.append((stopped.pop(event.facts.load), event.time))
    away: list[tuple[float, float]] = []
    for start, end in sorted([*found, *((start, math.inf) for start in stopped.values())]):
        if away and start <= away[-1][1]:
            away[-1] = away[-1][0], max(away[-1][1], end)
        else:
            away.append((start, end))
    return tuple(away)
