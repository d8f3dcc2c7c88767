"""The second judge: the equations written once more, in plain floats, solved by scipy at 1e-10.

Nothing of `railwright.physics` is called here; an output's coefficients come in as the fields of its
`OutputStage`. Whatever a condition of the circuit changes (a trip, a start, a diode) is an event of
`solve_ivp`, located on its dense output; where only the slope of a continuous right-hand side changes, the
solver's own error control does the rest.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.integrate import solve_ivp
from tests.external.verification.result import Array, Result

from railwright.physics.output_stage import OutputStage

RELATIVE, ABSOLUTE = 1e-10, 1e-12
STEP = 1e-7
"""Step of a difference, of a state or of 1."""
DIODE_AND_SWITCH = 1e-6
"""Time constant with which the current of an interrupted lead ends [s]."""
LINKED = 1e-3
"""Delay of linked trips [s]."""
NEVER = math.inf
NOTHING = 1e-9
"""Amperes, volts or watts by which a condition must be passed, so that it does not trigger twice."""
MODES = ("CV", "CC", "CP")

Guard = tuple[Callable[[float, float, Sequence[float]], float], Callable[[float], str | None]]
"""A number that triggers when it rises through zero, and what happens then."""


class Part:
    """A load: so many states, a current, rates, instants at which it changes, and guards."""

    name = ""

    def start(self) -> list[float]:
        """States at the beginning."""
        return []

    def current(self, t: float, v: float, y: Sequence[float]) -> float:
        """Current at a voltage [A]."""
        raise NotImplementedError

    def rates(self, t: float, v: float, y: Sequence[float]) -> list[float]:
        """Time derivatives of the states."""
        return []

    def stops(self, t: float) -> float:
        """The next instant at which the solver has to stop [s]."""
        return NEVER

    def at_stop(self, t: float, v: float) -> str | None:
        """What happens there."""
        return None

    def guards(self) -> list[Guard]:
        """What ends its present condition."""
        return []


@dataclass
class Output:
    """One output and what is set on it. reference: corners (time [s], volts), straight lines between."""

    name: str
    stage: OutputStage
    reference: Sequence[tuple[float, float]]
    limit: float
    at_terminals: float = 1.0
    at_load: float = 0.0
    power: float = math.inf
    trips: dict[str, tuple[float, float]] = field(default_factory=dict)
    """Cause (OVP, OPP, OCP, current limit) -> its level and its delay [s]."""
    on: bool = True
    tripped: bool = False
    shorted: bool = False
    mode: str = "CV"
    since: dict[str, float] = field(default_factory=dict)

    def volts(self, t: float) -> float:
        """Reference voltage [V]."""
        points = self.reference
        if t <= points[0][0]:
            return points[0][1]
        k = bisect_right(points, t, key=lambda point: point[0])
        if k == len(points):
            return points[-1][1]
        (a, u), (b, w) = points[k - 1], points[k]
        return u + (w - u) * (t - a) / (b - a)

    def asked(self, t: float, own: float, x: float, z: float) -> tuple[float, float, float]:
        """What the voltage loop, the current loop and the power limit ask for [A]."""
        seen = (self.at_terminals + self.at_load) * own
        power = min(self.power, self.stage.power)
        cp = power / own if own > 0.0 else math.inf
        return self.stage.k_p * (self.volts(t) - seen) + x, self.limit + z, cp

    def switch_off(self) -> None:
        """Open the pass element."""
        self.on, self.since = False, {}


Event = tuple[str, float]
Number = Callable[[float, Sequence[float]], float]
Trigger = tuple[Number, Callable[[float, Array], None]]
"""A number of time and states that ends the present piece when it rises through zero; what happens then."""


class Bench:
    """Outputs, one lead, one connector, its loads."""

    def __init__(
        self,
        name: str,
        outputs: list[Output],
        resistance: float,
        inductance: float,
        loads: Sequence[Part] = (),
        *,
        parallel: bool = False,
        node: float = 10e-9,
        diode: float | None = None,
        fuse: Sequence[tuple[float, float]] = (),
        opened: bool = False,
    ) -> None:
        self.name, self.outputs, self.loads = name, outputs, list(loads)
        self.resistance, self.inductance, self.node = resistance, inductance, node
        self.parallel, self.diode, self.opened = parallel, diode, opened
        self.fuse = [(math.log(a), math.log(s)) for a, s in fuse]
        self.blocked, self.blown, self.short = diode is not None, False, 0.0
        n = len(outputs)
        self.at_own = 3 * n
        self.at_lead = 3 * n + (1 if parallel else n)
        self.events: list[Event] = []
        self.actions: list[tuple[float, Callable[[], None]]] = []

    # -- the right-hand side ------------------------------------------------------------------------------

    def own(self, j: int, y: Sequence[float]) -> float:
        """Terminal voltage of one output [V]."""
        return y[self.at_own + (0 if self.parallel else j)]

    def source(self, y: Sequence[float]) -> float:
        """Voltage of the whole source [V]."""
        return y[self.at_own] if self.parallel else sum(y[self.at_own : self.at_lead])

    def nets(self, y: Sequence[float]) -> list[float]:
        """Current of each output's pass element and reverse diode less bleeder and crowbar [A]."""
        nets = []
        for j, o in enumerate(self.outputs):
            s, v = o.stage, self.own(j, y)
            leak = v / s.bleeder + (v * s.crowbar if o.shorted else 0.0)
            nets.append(y[3 * j] - leak + max(0.0, (-v - s.diode_drop) / s.diode_resistance))
        return nets

    def delivered(self, j: int, y: Sequence[float]) -> float:
        """Current out of the terminals of one output [A]."""
        if not self.parallel:
            return y[self.at_lead]
        nets, caps = self.nets(y), [o.stage.capacitance for o in self.outputs]
        slope = (sum(nets) - y[self.at_lead]) / sum(caps)
        return nets[j] - caps[j] * slope

    def melting(self, amperes: float, h: float) -> float:
        """dh/dt of the fuse."""
        if abs(amperes) <= math.exp(self.fuse[0][0]):
            return -h / math.exp(self.fuse[0][1])
        log, k = math.log(abs(amperes)), 1
        while k < len(self.fuse) - 1 and log > self.fuse[k][0]:
            k += 1
        (a, s), (b, w) = self.fuse[k - 1], self.fuse[k]
        return math.exp(-(s + (w - s) * (log - a) / (b - a)))

    def drive(self, y: Sequence[float]) -> float:
        """Voltage that is left for the lead's resistance and inductance [V]."""
        return self.source(y) - y[self.at_lead + 1] - (self.diode or 0.0)

    def rates(self, t: float, y: Sequence[float]) -> list[float]:
        """Time derivatives of all states, and of the two energies."""
        source, i_l, v_c = self.source(y), y[self.at_lead], y[self.at_lead + 1]
        parts = 1 if self.parallel else len(self.outputs)
        out: list[float] = []
        for j, o in enumerate(self.outputs):
            s, own = o.stage, self.own(j, y)
            i, x, z = y[3 * j : 3 * j + 3]
            command = max(min(o.asked(t, own, x, z)), -s.sink) if o.on else 0.0
            leak = own / s.bleeder + (own * s.crowbar if o.shorted else 0.0)
            beyond = o.at_load * (v_c - source) / parts
            if o.on:  # not even its integral takes it beyond 1.05 times its rated voltage
                error = o.volts(t) - (o.at_terminals + o.at_load) * own
                beyond = max(beyond, error - (1.05 * s.voltage_max - own))
            out += [
                (command - i) / s.lag,
                s.k_i / s.k_p * (command - x) - s.k_i * beyond,
                s.k_c * (o.limit - (i - leak) - 100.0 * max(0.0, z - leak - s.overshoot)),
            ]
        nets = self.nets(y)
        if self.parallel:
            out.append((sum(nets) - i_l) / sum(o.stage.capacitance for o in self.outputs))
        else:
            out += [(net - i_l) / o.stage.capacitance for net, o in zip(nets, self.outputs, strict=True)]
        if self.opened or self.blocked or self.blown:
            out.append(-i_l / DIODE_AND_SWITCH)
        else:
            out.append((self.drive(y) - self.resistance * i_l) / self.inductance)
        drawn, tail, at = self.short * v_c, [], self.at_lead + 2
        if self.fuse:
            tail.append(self.melting(i_l, y[at]))
            at += 1
        for load in self.loads:
            size = len(load.start())
            own_states = y[at : at + size]
            drawn += load.current(t, v_c, own_states)
            tail += load.rates(t, v_c, own_states)
            at += size
        return [*out, (i_l - drawn) / self.node, *tail, source * i_l, v_c * i_l]

    def slopes(self, t: float, y: Array) -> Array:
        """How the rates change with each state: Newton's iterations need it, what they come to does not.

        scipy would take differences whose steps it lets grow where a rate does not change, as no rate does
        with an energy; they overflow, and CC start needs five times as many steps.
        """
        here, each = np.array(self.rates(t, y.tolist())), np.empty((y.size, y.size))
        for k, step in enumerate(STEP * np.maximum(1.0, np.abs(y))):
            beside = y.copy()
            beside[k] += step
            each[:, k] = (np.array(self.rates(t, beside.tolist())) - here) / step
        return each

    # -- what happens -------------------------------------------------------------------------------------

    def margin(self, cause: str, j: int, t: float, y: Sequence[float]) -> float:
        """By how much the condition of a trip is exceeded."""
        o = self.outputs[j]
        level, own = o.trips[cause][0], self.own(j, y)
        if cause == "OVP":
            parts = 1 if self.parallel else len(self.outputs)
            beyond = o.at_load * (y[self.at_lead + 1] - self.source(y)) / parts
            watched = (o.at_terminals + o.at_load) * own + beyond if o.stage.ovp_at_sense else own
            return watched - level
        if cause == "OPP":
            return own * self.delivered(j, y) - level
        if cause == "OCP":
            return self.delivered(j, y) - level
        cv, cc, cp = o.asked(t, own, *y[3 * j + 1 : 3 * j + 3])
        return min(cv, cp) - cc

    def trip(self, t: float, j: int, cause: str) -> None:
        """Switch one output off; those that feed the input beside it follow."""
        o = self.outputs[j]
        o.switch_off()
        o.tripped = True
        o.shorted = cause == "OVP" and o.stage.crowbar > 0.0
        self.events.append((f"{o.name}: trips {cause}", t))
        if cause != "linked" and len(self.outputs) > 1:
            self.later(t + LINKED, self.follow)

    def follow(self) -> None:
        """Linked trip of every output that has not tripped yet."""
        for j, o in enumerate(self.outputs):
            if not o.tripped:
                self.trip(self.now, j, "linked")

    def later(self, t: float, action: Callable[[], None]) -> None:
        """Put an action on the list."""
        self.actions.append((t, action))
        self.actions.sort(key=lambda each: each[0])

    def timers(self) -> list[tuple[float, int, str]]:
        """When each running timer runs out."""
        return [
            (begun + o.trips[cause][1], j, cause)
            for j, o in enumerate(self.outputs)
            for cause, begun in o.since.items()
        ]

    def mode(self, j: int, t: float, y: Sequence[float]) -> str:
        """Who asks for least."""
        asked = self.outputs[j].asked(t, self.own(j, y), *y[3 * j + 1 : 3 * j + 3])
        return MODES[asked.index(min(asked))]

    def hand_over(self, j: int, o: Output) -> Trigger:
        """Another loop asks for less than the one that is in charge."""

        def less(t: float, y: Sequence[float]) -> float:
            asked = o.asked(t, self.own(j, y), *y[3 * j + 1 : 3 * j + 3])
            here = MODES.index(o.mode)
            other = min(a for k, a in enumerate(asked) if k != here)
            return asked[here] - min(other, 1e6) - NOTHING

        def changes(t: float, y: Array) -> None:
            o.mode = self.mode(j, t, y.tolist())
            self.events.append((f"{o.name}: enters {o.mode}", t))

        return less, changes

    def triggers(self) -> list[Trigger]:
        """Every number that ends the present piece when it rises through zero, and what happens then."""
        found: list[Trigger] = []
        for j, o in enumerate(self.outputs):
            for cause in o.trips if o.on else ():
                running = cause in o.since
                sign = -1.0 if running else 1.0

                def exceeded(t, y, cause=cause, j=j, sign=sign):  # type: ignore[no-untyped-def]
                    return sign * self.margin(cause, j, t, y) - NOTHING

                def start(t, y, cause=cause, o=o, running=running):  # type: ignore[no-untyped-def]
                    if running:
                        del o.since[cause]
                    else:
                        o.since[cause] = t

                found.append((exceeded, start))
        lead, connector = self.at_lead, self.at_lead + 1
        if self.diode is not None and not self.opened and not self.blown:
            if self.blocked:
                found.append((lambda t, y: self.drive(y), self.conduct))
            else:
                found.append((lambda t, y: -y[lead], self.block))
        if self.fuse and not self.blown:
            found.append((lambda t, y: y[connector + 1] - 1.0, self.blow))
        at = connector + 1 + bool(self.fuse)
        for load in self.loads:
            size = len(load.start())
            for number, effect in load.guards():

                def reached(t, y, number=number, at=at, size=size):  # type: ignore[no-untyped-def]
                    return number(t, y[connector], y[at : at + size])

                def happens(t, y, load=load, effect=effect):  # type: ignore[no-untyped-def]
                    what = effect(t)
                    if what:
                        self.events.append((f"{self.name}: {what}", t))

                found.append((reached, happens))
            at += size
        return found

    def conduct(self, t: float, y: Array) -> None:
        """The lead's diode begins to conduct."""
        self.blocked, y[self.at_lead] = False, 0.0
        self.events.append((f"{self.name}: diode conducts", t))

    def block(self, t: float, y: Array) -> None:
        """It ends."""
        self.blocked, y[self.at_lead] = True, 0.0
        self.events.append((f"{self.name}: diode blocks", t))

    def blow(self, t: float, y: Array) -> None:
        """The fuse opens."""
        self.blown = True
        self.events.append((f"{self.name}: fuse opens", t))

    # -- solving ------------------------------------------------------------------------------------------

    def solve(
        self,
        until: float,
        times: Array,
        *,
        actions: Sequence[tuple[float, Callable[[], None]]] = (),
    ) -> Result:
        """Solve from rest; the traces come at `times`, and at and between the solver's own steps."""
        for when, action in actions:
            self.later(when, action)
        start: list[float] = []
        for o in self.outputs:
            start += [0.0, 0.0, o.stage.overshoot]
        start += [0.0] * (self.at_lead + 2 - len(start) + bool(self.fuse))
        for load in self.loads:
            start += load.start()
        y = np.array([*start, 0.0, 0.0])
        corners = sorted({t for o in self.outputs for t, _ in o.reference})
        grid: list[Array] = []
        states: list[Array] = []
        self.now = 0.0
        while self.now < until:
            while self.actions and self.actions[0][0] <= self.now:
                self.actions.pop(0)[1]()
            stop = min(
                [
                    until,
                    *(t for t in corners if t > self.now),
                    *(t for t, _ in self.actions[:1]),
                    *(t for t, _, _ in self.timers()),
                    *(t for t in (load.stops(self.now) for load in self.loads) if t > self.now),
                ]
            )
            if stop > self.now:
                y = self.piece(stop, y, times, grid, states)
            for when, j, cause in sorted(self.timers()):
                if when <= self.now and self.outputs[j].on:
                    self.trip(self.now, j, cause)
            for load in self.loads:
                what = load.at_stop(self.now, float(y[self.at_lead + 1]))
                if what:
                    self.events.append((f"{self.name}: {what}", self.now))
        time, values = np.concatenate(grid), np.concatenate(states, axis=1)
        return self.result(time, values)

    def piece(self, stop: float, y: Array, times: Array, grid: list[Array], states: list[Array]) -> Array:
        """Solve up to `stop` or the first trigger, log changes of mode, carry out what happens."""
        watched = [(j, o) for j, o in enumerate(self.outputs) if o.on]
        for j, o in watched:  # what an action has changed at this instant
            mode = self.mode(j, self.now, y.tolist())
            if mode != o.mode:
                o.mode = mode
                if self.now > 0.0:
                    self.events.append((f"{o.name}: enters {mode}", self.now))

        def wrap(function: Number) -> Callable[[float, Array], float]:
            def event(t: float, state: Array) -> float:
                return function(t, state.tolist())

            event.terminal, event.direction = True, 1.0  # type: ignore[attr-defined]
            return event

        triggers = [*self.triggers(), *(self.hand_over(j, o) for j, o in watched)]
        events = [wrap(number) for number, _ in triggers]
        solution = solve_ivp(
            lambda t, state: self.rates(t, state.tolist()),
            (self.now, stop),
            y,
            method="Radau",
            jac=self.slopes,
            rtol=RELATIVE,
            atol=ABSOLUTE,
            dense_output=True,
            events=events or None,
        )
        if not solution.success:
            raise RuntimeError(f"{self.name}: {solution.message} at {solution.t[-1]} s")
        end = float(solution.t[-1])
        inside = times[(times >= self.now) & (times <= end)]
        middles = 0.5 * (solution.t[1:] + solution.t[:-1])
        points = np.unique(np.concatenate([solution.t, middles, inside]))
        grid.append(points)
        states.append(solution.sol(points))
        y = solution.y[:, -1].copy()
        self.now = end
        for (_, happens), found in zip(triggers, solution.t_events or (), strict=True):
            if found.size:
                happens(end, y)
        return y

    def result(self, time: Array, y: Array) -> Result:
        """Traces, events and energies of the whole run."""
        source = y[self.at_own] if self.parallel else y[self.at_own : self.at_lead].sum(axis=0)
        name = self.name
        voltages = {f"{name}: terminals": source, f"{name}: connector": y[self.at_lead + 1]}
        currents = {f"{name}: lead": y[self.at_lead]}
        if len(self.outputs) > 1:
            for j, o in enumerate(self.outputs):
                if self.parallel:
                    currents[o.name] = np.array([self.delivered(j, column) for column in y.T.tolist()])
                else:
                    voltages[o.name] = y[self.at_own + j]
        ends = {
            f"{name}: out of the terminals": float(y[-2, -1]),
            f"{name}: into the connector": float(y[-1, -1]),
        }
        events = tuple(sorted(self.events, key=lambda event: event[1]))
        return Result(time, voltages, currents, events, ends)


def together(*results: Result) -> Result:
    """Results of inputs that share nothing, on one time base."""
    time = np.unique(np.concatenate([result.time for result in results]))
    voltages, currents, energies, events = {}, {}, {}, []
    for result in results:
        voltages |= {name: np.interp(time, result.time, v) for name, v in result.voltages.items()}
        currents |= {name: np.interp(time, result.time, v) for name, v in result.currents.items()}
        energies |= result.energies
        events += result.events
    return Result(time, voltages, currents, tuple(sorted(events, key=lambda event: event[1])), energies)
