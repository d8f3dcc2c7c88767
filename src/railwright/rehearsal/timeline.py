"""The procedure's steps as actions against time: what is switched and set, on which input, when."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from railwright.documents.device import Device
from railwright.documents.procedure import Procedure, Step
from railwright.traces import Span


@dataclass(frozen=True, slots=True)
class Action:
    """One thing done to one input at `time` [s].

    on: switch on with the set point at `voltage`. line: move the set point from where it is to `voltage` in
    `over` seconds (0: a step). off: switch off.
    """

    time: float
    kind: Literal["on", "line", "off"]
    input: str
    voltage: float = 0.0
    over: float = 0.0


@dataclass(frozen=True, slots=True)
class Timeline:
    """All actions in order of time, and the named steps they belong to."""

    actions: tuple[Action, ...]
    spans: tuple[Span, ...]
    duration: float


class _Clock:
    """Builds actions step by step, keeping each input's set point."""

    def __init__(self, device: Device) -> None:
        self.device = device
        self.now = 0.0
        self.level: dict[str, float] = {}
        self.actions: list[Action] = []

    def power_up(self, step: Step) -> tuple[str, ...]:
        power_up = step.power_up
        assert power_up is not None
        end = self.now
        for position, name in enumerate(power_up.order):
            start = self.now + position * power_up.gap
            goal = power_up.voltages.get(name, self.device.inputs[name].nominal)
            over = abs(goal) / power_up.rise if power_up.rise else 0.0
            self.actions.append(Action(start, "on", name, 0.0))
            self.actions.append(Action(start, "line", name, goal, over))
            self.level[name] = goal
            end = max(end, start + over)
        self.now = end + power_up.settle
        return power_up.order

    def power_down(self, step: Step) -> tuple[str, ...]:
        power_down = step.power_down
        assert power_down is not None
        for position, name in enumerate(power_down.order):
            self.actions.append(Action(self.now + position * power_down.gap, "off", name))
            self.level[name] = 0.0
        self.now += (len(power_down.order) - 1) * power_down.gap
        return power_down.order

    def hold(self, step: Step) -> tuple[str, ...]:
        assert step.hold is not None
        self.now += step.hold
        return tuple(name for name, level in self.level.items() if level)

    def sweep(self, step: Step) -> tuple[tuple[str, ...], tuple[tuple[float, float, float], ...]]:
        sweep = step.sweep
        assert sweep is not None
        points = []
        for index in range(sweep.points):
            voltage = sweep.start + (sweep.stop - sweep.start) * index / (sweep.points - 1)
            self.actions.append(Action(self.now, "line", sweep.input, voltage, 0.0))
            points.append((voltage, self.now, self.now + sweep.dwell))
            self.now += sweep.dwell
        self.level[sweep.input] = sweep.stop
        return (sweep.input,), tuple(points)

    def shape(self, step: Step) -> tuple[str, ...]:
        shape = step.shape
        assert shape is not None
        for turn in range(shape.repeat):
            if turn:
                self.now += shape.pause_between
            for segment in shape.segments:
                if segment.hold is not None:
                    self.now += segment.hold
                    continue
                goal = segment.step_to if segment.step_to is not None else segment.line_to
                assert goal is not None
                over = segment.over or 0.0
                self.actions.append(Action(self.now, "line", shape.input, goal, over))
                self.level[shape.input] = goal
                self.now += over
        return (shape.input,)


def build_timeline(procedure: Procedure, device: Device) -> Timeline:
    """The nominal timeline of a procedure; steps follow each other without a gap."""
    clock = _Clock(device)
    spans = []
    for number, step in enumerate(procedure.steps, start=1):
        start = clock.now
        points: tuple[tuple[float, float, float], ...] = ()
        match step.kind:
            case "power_up":
                inputs = clock.power_up(step)
            case "power_down":
                inputs = clock.power_down(step)
            case "hold":
                inputs = clock.hold(step)
            case "sweep":
                inputs, points = clock.sweep(step)
            case _:
                inputs = clock.shape(step)
        spans.append(Span(step.name or f"step {number}", step.kind, start, clock.now, inputs, points))
    actions = tuple(sorted(clock.actions, key=lambda action: action.time))
    return Timeline(actions, tuple(spans), clock.now)
