"""What the procedure plays on each input: levels, slopes, and how long a voltage is exceeded."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

from railwright.documents.bench import Bench
from railwright.documents.device import Device
from railwright.documents.output_name import OutputName
from railwright.documents.procedure import Procedure
from railwright.grouping import grouped
from railwright.plan.coupling import OutputAction, SetPoint, changes_of, followers
from railwright.plan.set_point import Piece, pieces
from railwright.plan.timeline import Action, Timeline, timeline_of
from railwright.quantities import Interval, Statement, joined, state
from railwright.settings.group import Group
from railwright.settings.rule import Path

FEW = 200
"""Moves of which each is looked at, without a look at which of them contain others."""


EDGE = 1e-9
"""Sums of times that are this close [s] are one instant."""


class Level(NamedTuple):
    """A voltage that is set [V], in which step, and where it is written."""

    voltage: float
    step: str
    path: Path


class Slope(NamedTuple):
    """A move from one voltage to another [V] at a rate asked for [V/s]; None: as fast as it goes."""

    start: float
    stop: float
    rate: float | None
    step: str
    path: Path

    @property
    def from_off(self) -> bool:
        """Whether it begins as the output is switched on: what stops at its beginning has stopped."""
        return "power_up" in self.path


class Charging(NamedTuple):
    """Time that a move upwards may spend at the current limit [s], the capacitance it charges [F], and what
    of that counts as behind a series resistance (capacitance [F], least of that resistance [Ω]).
    """

    time: float
    move: Slope
    capacitance: float
    behind: tuple[tuple[float, float], ...] = ()

    @property
    def words(self) -> Statement:
        """The move, for people."""
        behind = (
            state("{part} of it behind {ohms}", part=(farads, "F"), ohms=(ohms, "ohm"))
            for farads, ohms in self.behind
        )
        return state(
            "charging {capacitance}{behind} from {charged_from} to {charged_to} in '{step}'",
            capacitance=(self.capacitance, "F"),
            behind=state(" ({behind})", behind=joined(", ", behind)) if self.behind else "",
            charged_from=(self.move.start, "V"),
            charged_to=(self.move.stop, "V"),
            step=self.move.step,
        )


@dataclass(frozen=True)
class Played:
    """Everything that is played on one input: levels, moves between them, and the set point against time.

    actions: of the input, in order. end: of the procedure [s].
    """

    levels: tuple[Level, ...]
    moves: tuple[Slope, ...]
    actions: tuple[Action, ...] = ()
    end: float = 0.0

    def meant_within(self, operating: Interval, margin: float = 0.0) -> list[Level]:
        """Levels that are meant to lie in an operating range [V], in order: all that do, but of a step that
        goes below it on purpose only those that lie above its end by more than a margin [V].
        """
        low = operating.low + 1e-9
        below = {level.step for level in self.levels if level.voltage < operating.low - 1e-9}
        return [
            level
            for level in self.levels
            if level.voltage in operating and (level.step not in below or level.voltage > low + margin)
        ]

    @cached_property
    def pieces(self) -> tuple[Piece, ...]:
        """The set point against time, to the procedure's end."""
        return tuple(pieces(self.actions, self.end))

    def outside(self, interval: Interval) -> dict[int, list[tuple[float, float]]]:
        """Position of a step -> from when to when [s] the set point that it sets is outside an interval [V].
        Time counts while the output is on, and not while it rises in a power-up; a set point that stays
        belongs to the step that set it, also in the steps after it.
        """
        stretches = grouped(
            (step, each) for step, piece in self._standing() for each in _outside(piece, interval)
        )
        return {step: _unbroken(own) for step, own in stretches.items()}

    def _standing(self) -> Iterator[tuple[int, Piece]]:
        """Pieces of the set point while the output is on, each with the step that set it; without the rise
        of a power-up.
        """
        on, level = False, 0.0
        for position, action in enumerate(self.actions):
            following = self.actions[position + 1].time if position + 1 < len(self.actions) else self.end
            if action.kind == "line":
                arrived = action.time + action.over
                if on and (level or action.path):
                    yield action.step, Piece(action.time, arrived, level, action.voltage)
                level = action.voltage
            else:
                on, level, arrived = action.kind == "on", 0.0, action.time
            # Just switched on it stands at 0 V until it is told another voltage, which is not a level.
            if on and action.kind == "line" and following > arrived:
                yield action.step, Piece(arrived, following, level, level)

    @cached_property
    def reach(self) -> tuple[float, float]:
        """Lowest and highest set point, 0 V while off included [V]."""
        voltages = [level.voltage for level in self.levels]
        return min([0.0, *voltages]), max([0.0, *voltages])

    @cached_property
    def slopes(self) -> list[tuple[Slope, float]]:
        """Moves at a rate that is asked for, with that rate [V/s]."""
        return [(move, move.rate) for move in self.moves if move.rate is not None]

    @cached_property
    def widest_rises(self) -> tuple[Slope, ...]:
        """The moves upwards that no other one contains: from lower to higher, at least as fast.

        Whatever is the more, the wider and faster a move is, is greatest for one of these; those from off are
        told apart, as less is drawn in them.
        """
        rising = [move for move in self.moves if move.stop > max(move.start, 0.0)]
        if len(rising) <= FEW:
            return tuple(rising)
        kinds = ([move for move in rising if move.from_off is kind] for kind in (True, False))
        return tuple(move for moves in kinds for move in _undominated(moves))

    @cached_property
    def highest(self) -> Level | None:
        return max(self.levels, key=lambda level: level.voltage, default=None)

    def longest_above(self, voltage: float) -> float:
        """Longest time on end in which the set point is above a voltage [s]."""
        below = Interval(-math.inf, voltage)
        above = _unbroken(each for piece in self.pieces for each in _outside(piece, below))
        return max((end - start for start, end in above), default=0.0)


def _unbroken(stretches: Iterable[tuple[float, float]]) -> list[tuple[float, float]]:
    """Stretches of time, in their order, as one where one begins as the other ends."""
    found: list[tuple[float, float]] = []
    for start, end in stretches:
        if found and start <= found[-1][1] + EDGE:
            found[-1] = found[-1][0], end
        else:
            found.append((start, end))
    return found


def _outside(piece: Piece, interval: Interval) -> Iterator[tuple[float, float]]:
    """When a straight line lies outside an interval, in order of time: at most once below and once above."""
    start, stop, before, after = piece
    if stop <= start:
        return
    if before == after:
        if before not in interval:
            yield start, stop
        return

    def crossing(level: float) -> float:
        return min(max(start + (stop - start) * (level - before) / (after - before), start), stop)

    ends = (interval.low, interval.high) if after > before else (interval.high, interval.low)
    enters, leaves = crossing(ends[0]), crossing(ends[1])
    if enters > start:
        yield start, enters
    if leaves < stop:
        yield leaves, stop


def _undominated(moves: list[Slope]) -> tuple[Slope, ...]:
    """The moves that no other one contains (their Pareto front), in their order; of equals the first."""

    rates = [math.inf if move.rate is None else move.rate for move in moves]
    kept: list[int] = []
    front: list[tuple[float, float]] = []  # how far moves reach, and their rates
    for index in sorted(
        range(len(moves)), key=lambda each: (max(moves[each].start, 0.0), -moves[each].stop, -rates[each])
    ):
        stop, rate = moves[index].stop, rates[index]
        if not any(other >= stop and faster >= rate for other, faster in front):
            front = [*(each for each in front if each[0] > stop or each[1] > rate), (stop, rate)]
            kept.append(index)
    return tuple(moves[index] for index in sorted(kept))


def _shape(actions: Iterable[Action], step: str, at: dict[str, float]) -> Iterator[tuple[str, Level | Slope]]:
    """Every level and slope of a shape, each once however often it is repeated."""
    said: set[tuple[Path, float, float]] = set()
    for action in actions:
        name, goal = action.input, action.voltage if action.kind == "line" else 0.0
        if action.kind == "on":
            continue
        before, at[name] = at.get(name, 0.0), goal
        key = (action.path, before, goal)
        if action.kind == "line" and key not in said:
            said.add(key)
            path: Path = ("procedure", *action.path)
            rate = abs(goal - before) / action.over if action.over else None
            yield name, Level(goal, step, path)
            yield name, Slope(before, goal, rate, step, path)


def _walk(procedure: Procedure, device: Device, timeline: Timeline) -> Iterator[tuple[str, Level | Slope]]:
    """Every level and slope, input by input, in the order of the steps."""
    at: dict[str, float] = {}
    by_step = grouped((action.step, action) for action in timeline.actions)
    for index, step in enumerate(procedure.steps):
        name, here = step.called(index), ("procedure", "steps", index)
        if step.power_up is not None:
            for each in step.power_up.order:
                goal = step.power_up.voltages.get(each, device.inputs[each].nominal)
                place = ("voltages", each) if each in step.power_up.voltages else ("order",)
                yield each, Level(goal, name, (*here, "power_up", *place))
                path: Path = (*here, "power_up", "rise" if step.power_up.rate is not None else "order")
                yield each, Slope(0.0, goal, step.power_up.rate, name, path)
                at[each] = goal
        elif step.sweep is not None:
            each, start, stop = step.sweep.input, step.sweep.start, step.sweep.stop
            first, last = (*here, "sweep", "from"), (*here, "sweep", "to")
            one = (stop - start) / (step.sweep.points - 1)
            yield each, Level(start, name, first)
            yield each, Level(stop, name, last)
            yield each, Slope(at.get(each, 0.0), start, None, name, first)
            yield each, Slope(stop - one, stop, None, name, last)
            at[each] = stop
        elif step.shape is not None:
            yield from _shape(by_step.get(index, ()), name, at)
        elif step.power_down is not None:
            at.update(dict.fromkeys(step.power_down.order, 0.0))


def with_coupling(
    played: Mapping[str, Played], groups: Mapping[str, Group], bench: Bench, timeline: Timeline
) -> dict[str, Played]:
    """What is played on each input, with what the coupling of set points adds: the levels to which a change
    of another input takes it while it is on, and where it then starts from.

    groups: what feeds each input.
    """
    names = [output for group in groups.values() for output in group.names]
    if not any(other in names for output in names for other, _ in followers(bench, output)):
        return dict(played)
    added: dict[str, list[tuple[int, Action, Slope, bool]]] = {name: [] for name in played}
    for name, change, taken, before, after in moves_while_on(groups, bench, timeline):
        if after != before and (taken or added[name]):
            cause = timeline.actions[change.cause]
            path = coupling_path(bench, change.output) if taken else ("procedure", *cause.path)
            rate = abs(after - before) / change.over if change.over else None
            action = Action(change.time, "line", name, after, change.over, step=cause.step)
            slope = Slope(before, after, rate, timeline.spans[cause.step].name, path)
            added[name].append((change.cause, action, slope, taken))
    return {name: _added_to(each, added[name], timeline) for name, each in played.items()}


def moves_while_on(
    groups: Mapping[str, Group], bench: Bench, timeline: Timeline
) -> Iterator[tuple[str, OutputAction, bool, float, float]]:
    """Every change of an output's voltage while its input is on: the input, the change, whether it comes with
    that of another input by coupling, and the set point of the input before and after it [V].
    """
    fed = {output: name for name, group in groups.items() for output in group.names}
    shares = {name: dict(zip(group.names, group.shares, strict=True)) for name, group in groups.items()}
    stands, on = dict.fromkeys(fed, 0.0), set[str]()
    for change in changes_of(bench, shares, timeline):
        name = fed[change.output]
        if change.kind == "off":
            on.discard(name)
            continue
        if change.kind == "on":
            on.add(name)
        before, stands[change.output] = groups[name].together(stands), change.voltage
        if name in on:
            taken = change.moved_by is not None and fed[change.moved_by] != name
            yield name, change, taken, before, groups[name].together(stands)


def coupling_path(bench: Bench, output: OutputName, of: SetPoint = "voltage") -> Path:
    """Where it is written with what the voltage, or the current limit, of an output moves."""
    own = (
        number
        for number, group in enumerate(bench.supplies[output.supply].coupled)
        if group.of == of and output.output in group.outputs
    )
    return ("bench", "supplies", output.supply, "coupled", next(own))


def _added_to(played: Played, added: Sequence[tuple[int, Action, Slope, bool]], timeline: Timeline) -> Played:
    """What is played, with levels and moves that come by coupling; each in its place among the actions."""
    if not added:
        return played
    levels = [Level(slope.stop, slope.step, slope.path) for _, _, slope, taken in added if taken]
    own = [(number, each) for number, each in enumerate(timeline.actions) if each.input == added[0][1].input]
    taken_along = [(cause, action) for cause, action, _, taken in added if taken]
    return replace(
        played,
        levels=tuple(dict.fromkeys([*played.levels, *levels])),
        moves=tuple(dict.fromkeys([*played.moves, *(slope for _, _, slope, _ in added)])),
        actions=tuple(each for _, each in sorted([*own, *taken_along], key=lambda entry: entry[0])),
    )


def what_is_played(procedure: Procedure, device: Device) -> tuple[dict[str, Played], Timeline]:
    """Input name -> what is played on it, for every input that is hooked up; and the procedure's timeline."""
    timeline = timeline_of(procedure, device)
    walked = grouped(_walk(procedure, device, timeline))
    actions = grouped((action.input, action) for action in timeline.actions)
    return {
        name: Played(
            tuple(each for each in walked.get(name, []) if isinstance(each, Level)),
            tuple(each for each in walked.get(name, []) if isinstance(each, Slope)),
            tuple(actions.get(name, [])),
            timeline.duration,
        )
        for name in procedure.hook_up
    }, timeline
