"""The procedure's steps as actions against time: what is switched and set, on which input, when."""

from __future__ import annotations

from bisect import bisect_left
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, NamedTuple, TypeVar

from railwright.documents.device import Device
from railwright.documents.holding import HeldUntil, HoldStep
from railwright.documents.procedure import PowerDown, PowerUp, Procedure, Sweep
from railwright.documents.relays import MoveContacts
from railwright.documents.repeating import Until
from railwright.documents.shape import ShapeStep
from railwright.documents.standard_tests import pieces_of, turns_of
from railwright.frozen import freeze
from railwright.plan.sources import fed_sources
from railwright.traces import Span
from railwright.waveforms.shapes import GLIDING, Hold, Jump, Path, Piece, Positions, Wait, moves

SETTLE = 1.0
"""Time that an input stays at a standard's own level, U_T, where it came from another one, before the test
leaves it [s] (chosen; whether it is there by then is rehearsed).
"""

TAIL = 1.0
"""Time that a standard's test is watched after its last edge, where no pause between two is given [s]."""


@dataclass(frozen=True, slots=True)
class Action:
    """One thing done to one input at `time` [s].

    on: switch on with the set point at `voltage`. line: move the set point from where it is to `voltage` in
    `over` seconds (0: a step). off: switch off. path: where a shape's action is written in the procedure;
    empty for other steps. chord: one of the many lines in which a ripple or an exponential is played. step:
    position of the step that it belongs to. turn: of a shape's turns the one that it belongs to, from 0;
    None: to none. listed: a point of the outputs' own list, which takes its time wherever the set point
    stands before. behind: how long the jump before it takes, that it begins behind [s].
    """

    time: float
    kind: Literal["on", "line", "off"]
    input: str
    voltage: float = 0.0
    over: float = 0.0
    path: Path = field(default=(), compare=False)
    chord: bool = field(default=False, compare=False)
    step: int = field(default=0, compare=False)
    turn: int | None = field(default=None, compare=False)
    listed: bool = field(default=False, compare=False)
    behind: float = field(default=0.0, compare=False)


class LimitChange(NamedTuple):
    """The current limit [A] that an input has from `time` [s] on; None: again the one settled for it.

    path: where it is written in the procedure. before: position of the first action that comes after it.
    step: position of the step that it belongs to. turn: as of an `Action`.
    """

    time: float
    input: str
    current: float | None
    path: Path
    before: int = 0
    step: int = 0
    turn: int | None = None


class Waiting(NamedTuple):
    """At `time` [s] everything stays until a trigger or a key comes, at most for `time_out` [s].

    The timeline's own clock stands still meanwhile: it takes the trigger to come at once. before: position of
    the first action that comes after it. turn: as of an `Action`.
    """

    time: float
    source: Literal["trigger", "key"]
    time_out: float
    step: int
    path: Path
    before: int = 0
    turn: int | None = None


class ContactChange(NamedTuple):
    """At `time` [s] a contact of the bench is told to close or to open. before, step: as of `LimitChange`."""

    time: float
    contact: str
    closed: bool
    path: Path
    before: int = 0
    step: int = 0

    @property
    def at(self) -> Path:
        """Where it is written: the document first."""
        return ("procedure", *self.path)

    @property
    def moves(self) -> str:
        """What it does, for people."""
        return "closes" if self.closed else "opens"


class Repeated(NamedTuple):
    """A shape whose turns something may end: the timeline has as many as it is played at most.

    until: what ends it; of: the input whose reading that is about, where it is about one. begin: of the first
    turn, ends: of every turn, pause: from each to the beginning of the next [s].
    """

    step: int
    until: Until
    of: str
    begin: float
    ends: tuple[float, ...]
    pause: float
    path: Path


class Held(NamedTuple):
    """A hold that something ends: the timeline has it for as long as it lasts at most.

    until: what ends it; of: the input whose reading that is about. begin, end: of its step, at most [s].
    """

    step: int
    until: HeldUntil
    of: str
    begin: float
    end: float
    path: Path


class StandardTurn(NamedTuple):
    """One time that a standard's test is played on an input: it stands at its own level, U_T, and leaves it.

    level: that [V], which the set point has from `arrived` [s] on. start, end: when the test leaves it, and
    when its set point is back from its last change [s].
    """

    step: int
    input: str
    level: float
    arrived: float
    start: float
    end: float


@dataclass(frozen=True, slots=True)
class Timeline:
    """All actions in order of time, and the named steps they belong to.

    turns: position of a step -> how often its shape comes, one turn right after the other. tests: every turn
    of a standard's test, in the order of the steps. repeated: shapes that something may end before that.
    held: holds that something ends. contacts: those of the bench's relays that are moved.
    """

    actions: tuple[Action, ...]
    spans: tuple[Span, ...]
    duration: float
    limits: tuple[LimitChange, ...] = ()
    waits: tuple[Waiting, ...] = ()
    turns: Mapping[int, int] = field(default_factory=dict)
    tests: tuple[StandardTurn, ...] = ()
    repeated: tuple[Repeated, ...] = ()
    contacts: tuple[ContactChange, ...] = ()
    held: tuple[Held, ...] = ()

    def __post_init__(self) -> None:
        freeze(self, "turns")


M = TypeVar("M", LimitChange, Waiting, ContactChange)


class _Clock:
    """Builds actions step by step, keeping each input's set point. number: of the step that is built."""

    def __init__(
        self, procedure: Procedure, device: Device, turns: Mapping[int, int], lasts: Mapping[int, float]
    ) -> None:
        self.procedure, self.device = procedure, device
        self.ended, self.lasts = turns, lasts
        self.held: list[Held] = []
        self.now, self.number = 0.0, 0
        self.turn: int | None = None
        self.sources = fed_sources(procedure, device)
        self.repeated: list[Repeated] = []
        self.level: dict[str, float] = {}
        self.arrived: dict[str, float] = {}
        self.tests: list[StandardTurn] = []
        self.led_in: set[int] = set()
        self.actions: list[Action] = []
        self.limits: list[LimitChange] = []
        self.waits: list[Waiting] = []
        self.contacts: list[ContactChange] = []

    def power_up(self, power_up: PowerUp) -> tuple[str, ...]:
        end = self.now
        for position, name in enumerate(power_up.order):
            start = self.now + position * power_up.gap
            goal = power_up.voltages.get(name, self.device.inputs[name].nominal)
            # One that starts from what stands there has no way up from 0 V: its current is what is limited.
            over = abs(goal) / power_up.rate if power_up.rate and name not in self.sources else 0.0
            self.actions.append(Action(start, "on", name, step=self.number))
            self.actions.append(Action(start, "line", name, goal, over, step=self.number))
            self.level[name], self.arrived[name] = goal, start + over
            end = max(end, start + over)
        self.now = end + power_up.settle
        return power_up.order

    def power_down(self, power_down: PowerDown) -> tuple[str, ...]:
        for position, name in enumerate(power_down.order):
            time = self.now + position * power_down.gap
            self.actions.append(Action(time, "off", name, step=self.number))
            self.level[name] = 0.0
        self.now += (len(power_down.order) - 1) * power_down.gap
        return power_down.order

    def relays(self, moved: MoveContacts) -> tuple[str, ...]:
        for name, closed in moved.moves:
            path = ("steps", self.number, "relays", "close" if closed else "open")
            count = len(self.actions)
            self.contacts.append(ContactChange(self.now, name, closed, path, count, self.number))
        return self.stay(moved.settle)

    def hold(self, hold: HoldStep) -> tuple[str, ...]:
        lasts = self.lasts.get(self.number, hold.longest)
        if hold.until is not None:
            of = hold.until.input or next((name for name, level in self.level.items() if level), "")
            path = ("steps", self.number, "hold", "until")
            self.held.append(Held(self.number, hold.until, of, self.now, self.now + lasts, path))
        return self.stay(lasts)

    def stay(self, duration: float) -> tuple[str, ...]:
        self.now += duration
        return tuple(name for name, level in self.level.items() if level)

    def sweep(self, sweep: Sweep) -> tuple[tuple[float, float, float], ...]:
        """When each point is held: its voltage [V], from when to when [s]."""
        points = []
        for index in range(sweep.points):
            voltage = sweep.start + (sweep.stop - sweep.start) * index / (sweep.points - 1)
            self.actions.append(Action(self.now, "line", sweep.input, voltage, step=self.number))
            points.append((voltage, self.now, self.now + sweep.dwell))
            self.now += sweep.dwell
        self.level[sweep.input], self.arrived[sweep.input] = sweep.stop, points[-1][1]
        return tuple(points)

    def shape(self, shape: ShapeStep) -> tuple[str, ...]:
        names = tuple(shape.waveforms)
        pieces = {name: pieces_of(self.procedure, self.device, shape, name) for name in names}
        here: Path = ("steps", self.number, "shape")
        if shape.wait_for is not None:
            self._wait(self.now, shape.wait_for, shape, (*here, "wait_for"))
        self._lead_in(shape, pieces)
        ends: dict[str, float] = {}
        begin, over = self.now, []
        most = turns_of(self.procedure, self.device, shape)
        for turn in range(min(most, self.ended.get(self.number, most))):
            self.turn = turn
            start = self.now + (shape.pause_between if turn else 0.0)
            ends = {name: self._turn(shape, name, pieces[name], start) for name in names}
            self.now = max(start, *ends.values())
            over.append(self.now)
        self.turn = None
        if shape.repeat_until is not None and shape.repeat_until.time is None:
            of = shape.repeat_until.input or names[0]
            path = (*here, "repeat_until")
            self.repeated.append(
                Repeated(self.number, shape.repeat_until, of, begin, tuple(over), shape.pause_between, path)
            )
        self.now = max([self.now, *(end + _tail(shape, name, pieces[name]) for name, end in ends.items())])
        for name in names:
            if shape.at_end != "stay":
                kind: Literal["off", "line"] = "off" if shape.at_end == "off" else "line"
                self.actions.append(Action(self.now, kind, name, path=(*here, "at_end"), step=self.number))
                self.level[name], self.arrived[name] = 0.0, self.now
        limited = dict.fromkeys(each.input for each in self.limits if each.step == self.number)
        count = len(self.actions)
        self.limits += [LimitChange(self.now, name, None, here, count, self.number) for name in limited]
        return names

    def _wait(self, time: float, source: Literal["trigger", "key"], shape: ShapeStep, path: Path) -> None:
        """Everything stays from a time on [s] until a trigger or a key comes."""
        self.waits.append(
            Waiting(time, source, shape.time_out, self.number, path, len(self.actions), self.turn)
        )

    def _lead_in(self, shape: ShapeStep, pieces: Mapping[str, tuple[Piece, ...]]) -> None:
        """To the level at which each standard's test begins, and there until all of them have settled."""
        led = False
        for name, own in pieces.items():
            base = _base(shape, name, own)
            if base is None or self.level.get(name, 0.0) == base:
                continue
            path: Path = ("steps", self.number, "shape", *shape.place(name, (0,), own[0]))
            self.actions.append(Action(self.now, "line", name, base, path=path, step=self.number))
            self.level[name], self.arrived[name] = base, self.now
            # A test that begins with a time of its own at that level settles in it.
            led = led or not isinstance(own[1], Hold)
        if led:
            self.led_in.add(self.number)
            self.now += SETTLE

    def _turn(self, shape: ShapeStep, name: str, pieces: tuple[Piece, ...], start: float) -> float:
        """One turn of a shape on one input, from `start` on; when it ends [s]."""
        here: Path = ("steps", self.number, "shape")
        level = self.level.get(name, 0.0)
        before: tuple[Positions, type] | None = None
        path, end, add = here, start, self.actions.append
        base, first = _base(shape, name, pieces), len(self.actions)
        stood = level == base
        for move in moves(pieces, level, start):
            kind = move.kind
            if kind == "end":
                end = move.time
                break
            if (move.path, type(move.piece)) != before:  # not the next chord of the same piece
                before = (move.path, type(move.piece))
                path = here + shape.place(name, move.path, move.piece)
            if kind == "line":
                level = move.value
                chord = isinstance(move.piece, GLIDING)
                add(Action(move.time, "line", name, level, move.over, path, chord, self.number, self.turn))
            elif kind == "limit":
                count = len(self.actions)
                self.limits.append(
                    LimitChange(move.time, name, move.value, path, count, self.number, self.turn)
                )
            elif kind == "wait":
                assert isinstance(move.piece, Wait)
                self._wait(move.time, move.piece.source, shape, path)
            else:
                add(Action(move.time, kind, name, path=path, step=self.number, turn=self.turn))
        own = self.actions[first:]
        if base is not None and len(own) > 1:
            arrived = self.arrived.get(name, start) if stood else own[0].time
            over = own[-1].time + own[-1].over
            self.tests.append(StandardTurn(self.number, name, base, arrived, own[1].time, over))
        if own:
            self.arrived[name] = own[-1].time + own[-1].over
        self.level[name] = level
        return end


def _base(shape: ShapeStep, name: str, pieces: tuple[Piece, ...]) -> float | None:
    """The level that a standard's test leaves and comes back to [V]; None: it is none."""
    if shape.waveforms[name].standard is None or not pieces or not isinstance(pieces[0], Jump):
        return None
    return pieces[0].voltage


def _tail(shape: ShapeStep, name: str, pieces: tuple[Piece, ...]) -> float:
    """How long an input stays at its last level after a standard's test [s], so that its last edge, and what
    the device makes of it, lies within the step; 0 for one that ends with a time of its own, and for others.
    """
    if shape.waveforms[name].standard is None or not pieces or isinstance(pieces[-1], Hold):
        return 0.0
    return shape.pause_between or TAIL


def timeline_of(procedure: Procedure, device: Device) -> Timeline:
    """The nominal timeline of a procedure; steps follow each other without a gap. Built once for the same two
    objects, of the last few.
    """
    for known_procedure, known_device, timeline in tuple(_RECENT):
        if known_procedure is procedure and known_device is device:
            return timeline
    timeline = build_timeline(procedure, device)
    _RECENT.append((procedure, device, timeline))
    return timeline


_RECENT: deque[tuple[Procedure, Device, Timeline]] = deque(maxlen=8)


def build_timeline(
    procedure: Procedure,
    device: Device,
    turns: Mapping[int, int] | None = None,
    lasts: Mapping[int, float] | None = None,
) -> Timeline:
    """As `timeline_of`, worked out anew. turns: position of a step -> how often its shape is played, where
    something ends it before it has been played as often as it may be. lasts: of a hold how long it lasts [s],
    where something ends it.
    """
    clock = _Clock(procedure, device, turns or {}, lasts or {})
    spans = []
    for number, step in enumerate(procedure.steps):
        start, clock.number = clock.now, number
        inputs: tuple[str, ...] = ()
        points: tuple[tuple[float, float, float], ...] = ()
        if step.power_up is not None:
            inputs = clock.power_up(step.power_up)
        elif step.power_down is not None:
            inputs = clock.power_down(step.power_down)
        elif step.hold is not None:
            inputs = clock.hold(step.hold)
        elif step.relays is not None:
            inputs = clock.relays(step.relays)
        elif step.sweep is not None:
            inputs, points = (step.sweep.input,), clock.sweep(step.sweep)
        elif step.shape is not None:
            inputs = clock.shape(step.shape)
        spans.append(Span(step.called(number), step.kind, start, clock.now, inputs, points))
    order = sorted(range(len(clock.actions)), key=lambda number: clock.actions[number].time)
    actions = tuple([clock.actions[number] for number in order])

    between = clock.limits or clock.waits or clock.contacts
    keys = [(clock.actions[number].time, number) for number in order] if between else []

    def placed(each: M) -> M:
        """With its place among the sorted actions instead of that among those as they were made."""
        return each._replace(before=bisect_left(keys, (each.time, each.before)))

    limits, waits = map(placed, clock.limits), map(placed, clock.waits)
    contacts = tuple(map(placed, clock.contacts))
    together = {
        number: turns_of(procedure, device, step.shape)
        for number, step in enumerate(procedure.steps)
        if step.shape is not None and step.shape.pause_between == 0.0 and number not in clock.led_in
    }
    return Timeline(
        actions,
        tuple(spans),
        clock.now,
        tuple(limits),
        tuple(waits),
        together,
        tuple(clock.tests),
        tuple(clock.repeated),
        contacts,
        tuple(clock.held),
    )
