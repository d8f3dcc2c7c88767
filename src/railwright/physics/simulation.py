"""Playing a circuit step by step: set points at any moment, fine samples and events out.

Importing this module loads numpy and numba. The first advance compiles for some seconds, later processes
take the compiled code from the cache.
"""

from __future__ import annotations

from bisect import insort
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import count
from typing import Literal

from railwright.physics import layout
from railwright.physics.circuit import Branch, Circuit, LeadCircuit, Load
from railwright.physics.loads import kind_of
from railwright.physics.output_stage import OutputFigures, derive_output_stage
from railwright.physics.player import PlayedSamples, Player, settled_reference
from railwright.traces import Event, Mode

RELATIVE = 1e-5
"""Relative tolerance of the solver; the absolute one is a tenth of it, of full scale."""

RESOLUTION = 0.1 * RELATIVE
"""What is rehearsed below this part of full scale is the solver's own."""

FINE = 1e-4
"""Error of straight lines between two samples, of full scale."""


@dataclass(frozen=True, eq=False)
class Advance:
    """What happened since the last call: samples by input, and events in order of time."""

    samples: Mapping[str, PlayedSamples]
    events: tuple[Event, ...]


@dataclass(frozen=True)
class OutputState:
    """One output at this instant, SI units.

    tripped: '', 'OVP', 'OPP', 'OCP', 'current limit' or 'linked'.
    """

    on: bool
    tripped: str
    mode: Mode
    voltage: float
    current: float
    reference: float


class Simulation:
    """A circuit that is played step by step. All outputs are off and everything is discharged at the start.

    circuit: what is connected to what. start: simulated time [s] of the first instant. relative: tolerance
    of the solver. fine: error of straight lines between samples, of full scale. everything: record every
    state and every load's current too. rested: the devices were connected before the start, and a load that
    feeds back has charged the outputs' capacitors by then; else it is connected at the start.
    """

    def __init__(
        self,
        circuit: Circuit,
        start: float = 0.0,
        relative: float = RELATIVE,
        fine: float = FINE,
        everything: bool = False,
        rested: bool = False,
    ) -> None:
        self.circuit = circuit
        self._players = {
            branch.name: Player(branch, start, relative, fine, everything) for branch in circuit.branches
        }
        self._place = {
            output: (self._players[branch.name], number)
            for branch in circuit.branches
            for number, output in enumerate(branch.outputs)
        }
        if rested:
            for player in self._players.values():
                player.rest()
        self._time = start
        self._order = count()
        switches: dict[str, list[str]] = {name: [] for name in self._players}
        for target, causes in circuit.linked_trips.items():
            for cause in causes:
                switches[cause].append(target)
        self._switches = {cause: tuple(targets) for cause, targets in switches.items() if targets}
        linked = {*self._switches, *(t for targets in self._switches.values() for t in targets)}
        self._linked = [player for name, player in self._players.items() if name in linked]
        self._free = [player for name, player in self._players.items() if name not in linked]

    def player(self, name: str) -> tuple[Player, bool]:
        """The player of an input, and whether its trips switch others off or follow those of others."""
        return self._players[name], self._players[name] in self._linked

    @property
    def time(self) -> float:
        """Simulated time reached so far [s]."""
        return self._time

    # One piece: every setting of an output, each at the same instant.
    # Many: a setting each; those that are left out stay.
    def set(
        self,
        output: str,
        *,
        at: float | None = None,
        voltage: float | None = None,
        line: tuple[float, float] | None = None,
        rise: float | None = None,
        fall: float | None = None,
        current_limit: float | None = None,
        at_limit: Literal["regulate", "trip"] | None = None,
        trip_delay: float | None = None,
        ovp: float | None = None,
        power: float | None = None,
        opp: float | None = None,
        ocp: float | None = None,
        ocp_delay: float | None = None,
        sense: Literal["terminals", "load"] | tuple[float, float] | None = None,
        sense_error: tuple[float, float] | None = None,
        on: bool | None = None,
        at_standing: bool = False,
        clear: bool = False,
    ) -> None:
        """Set anything on one output, at a time [s] that has not been passed yet (left out: now).

        voltage [V]: the reference moves there with `rise` or `fall` [V/s] (inf: the output's own). line:
        (target [V], duration [s]), a straight line, no faster than the output itself. ovp, opp [W], ocp [A],
        power [W]: inf switches them off. sense: where the voltage loop measures, or the two weights with
        which it sees the output's own voltage and the load's (a sense lead that lies wrong). sense_error:
        a voltage that is added to what it senses [V], and the rate at which that moves [V/s]. at_standing:
        it is switched on set to the voltage that stands at its terminals. clear: forget a trip; the output
        stays off. Raises KeyError for an unknown output, ValueError for a time in the
        past.
        """
        player, number = self._place[output]
        when = self._when(at)
        things: list[tuple[int, float, float]] = []
        for code, value in (
            (layout.SLEW_UP, rise),
            (layout.SLEW_DOWN, fall),
            (layout.LIMIT, current_limit),
            (layout.SET_TRIPS, None if at_limit is None else float(at_limit == "trip")),
            (layout.TRIP_DELAY, trip_delay),
            (layout.OVP, ovp),
            (layout.POWER, power),
            (layout.OPP, opp),
            (layout.OCP, ocp),
            (layout.OCP_DELAY, ocp_delay),
        ):
            if value is not None:
                things.append((code, float(value), 0.0))
        if sense is not None:
            own, load = sense if isinstance(sense, tuple) else (sense == "terminals", sense == "load")
            things.append((layout.SET_SENSE, float(own), float(load)))
        if sense_error is not None:
            things.append((layout.SET_SENSE_ERROR, *sense_error))
        if clear:
            things.append((layout.CLEAR, 0.0, 0.0))
        if on is False:
            things.append((layout.SWITCH_OFF, 0.0, 0.0))
        if on:
            things.append((layout.SWITCH_ON, float(at_standing), 0.0))
        if voltage is not None:
            things.append((layout.SET_VOLTAGE, float(voltage), 0.0))
        if line is not None:
            things.append((layout.SET_LINE, float(line[0]), float(line[1])))
        for code, a, b in things:
            insort(player.pending, (when, next(self._order), number, code, a, b))

    def sense_elsewhere(self, output: str, weight: float, seen: float, rate: float) -> None:
        """Have an output sense from now on what is not its own voltage: `seen` [V], moving by `rate` [V/s].

        weight: as `blind_weight` gives it, with which it stays at its ceiling while it is there.
        """
        if weight * self.output(output).voltage > seen:  # it is at its ceiling, whatever it sees
            self.set(output, sense=(weight, 0.0), sense_error=(0.0, 0.0))
        else:
            self.set(output, sense=(0.0, 0.0), sense_error=(seen, rate))

    def _when(self, at: float | None) -> float:
        when = self._time if at is None else at
        if when < self._time:
            raise ValueError(f"a set point at {when} s is in the past, the simulation is at {self._time} s")
        return when

    def change_lead(
        self,
        name: str,
        *,
        at: float | None = None,
        opened: bool | None = None,
        resistance: float | None = None,
        short: float | None = None,
        reversed_lead: bool | None = None,
    ) -> None:
        """Change the lead of an input at a time [s] that has not been passed yet (left out: now).

        opened: interrupt it (True) or close it. resistance: of the whole loop [Ω]. short: a resistance across
        the connector [Ω], inf: none. reversed_lead: swap its conductors. Raises KeyError for an unknown
        input, ValueError for a time in the past.
        """
        player, when = self._players[name], self._when(at)
        for place, value in (
            (layout.OPENED, opened),
            (layout.RESISTANCE, resistance),
            (layout.SHORT, None if short is None else 1.0 / short),
            (layout.POLARITY, None if reversed_lead is None else -1.0 if reversed_lead else 1.0),
        ):
            if value is not None:
                insort(player.pending, (when, next(self._order), place, layout.SET_BRANCH, float(value), 0.0))

    def change_load(self, name: str, number: int, *, at: float | None = None, **values: float) -> None:
        """Change parameters of one load of an input: a load step, at a time [s] that has not been passed yet
        (left out: now). KeyError for an unknown input or parameter, ValueError for a time in the past.
        """
        player, when = self._players[name], self._when(at)
        kind = kind_of(player.branch.loads[number].kind)
        for parameter, value in values.items():
            if parameter not in kind.parameters:
                raise KeyError(parameter)
            place = int(player.system.loads[number, layout.PARAMETER_AT]) + kind.parameters.index(parameter)
            insort(player.pending, (when, next(self._order), place, layout.SET_LOAD, value, 0.0))

    def drive_pin(self, pin: str, active: bool, *, at: float | None = None) -> None:
        """Have a pin of the device be active or inactive, from a time [s] that has not been passed yet (left
        out: now): what it enables draws nothing while it is inactive, and starts anew as it becomes active.
        """
        when = self._when(at)
        for player in self._players.values():
            for number, load in enumerate(player.branch.loads):
                kind = kind_of(load.kind)
                begins = int(player.system.loads[number, layout.PARAMETER_AT])
                for parameter, value in kind.disabled.items() if load.pin == pin else ():
                    place = begins + kind.parameters.index(parameter)
                    told = (load.values[parameter], layout.OWN) if active else (value, 0.0)
                    insort(player.pending, (when, next(self._order), place, layout.SET_LOAD, *told))

    def advance(self, to_time: float) -> Advance:
        """Play to a time [s], exactly; returns the samples and events since the last call.

        Raises SolverError, which names time, state and element, and ValueError for a time in the past.
        """
        if to_time < self._time:
            raise ValueError(f"cannot go back to {to_time} s, the simulation is at {self._time} s")
        for player in self._free:
            player.play(to_time, stop_at_trip=False)
        if self._linked:
            self._play_linked(to_time)
        self._time = to_time
        samples = {name: player.samples() for name, player in self._players.items()}
        events = [event for player in self._players.values() for event in player.drain_events()]
        return Advance(samples, tuple(sorted(events, key=lambda event: event.time)))

    def _play_linked(self, to_time: float) -> None:
        """Play inputs whose trips switch each other off: all to the first trip, then on from there."""
        while True:
            saved = [player.save() for player in self._linked]
            stopped = [player.play(to_time, player.branch.name in self._switches) for player in self._linked]
            trips = [player.time for player, stop in zip(self._linked, stopped, strict=True) if stop]
            if not trips:
                return
            first = min(trips)
            causes = []
            for player, stop, state in zip(self._linked, stopped, saved, strict=True):
                if player.time > first:
                    player.restore(state)
                    player.play(first, stop_at_trip=False)
                elif stop:
                    causes.append(player.branch.name)
            delays: dict[str, float] = {}
            for cause in causes:
                for target in self._switches[cause]:
                    delay = self.circuit.later_by.get((target, cause), self.circuit.linked_delay)
                    delays[target] = min(delay, delays.get(target, delay))
            for target, delay in delays.items():
                action = (first + delay, next(self._order), -1, layout.TRIP_LINKED, 0.0, 0.0)
                insort(self._players[target].pending, action)

    def output(self, name: str) -> OutputState:
        """One output at this instant. KeyError where there is none of this name."""
        player, j = self._place[name]
        settings, row = player.system.settings[j], player.last
        tripped = int(settings[layout.TRIPPED])
        at = layout.ROW_OUTPUTS + 3 * j
        return OutputState(
            on=bool(settings[layout.ON]),
            tripped=layout.TRIP_CAUSES.get(tripped, ""),
            mode=Mode(int(row[at + 2])),
            voltage=float(row[at]),
            current=float(row[at + 1]),
            reference=settled_reference(self._time, settings),
        )

    @property
    def steps(self) -> int:
        """Steps that the solver has taken so far, all inputs together."""
        return sum(int(player.clock[layout.STEPS]) for player in self._players.values())


def small_simulation() -> Simulation:
    """A branch called 'small' that is told to switch on: to compile by playing it."""
    stage, _ = derive_output_stage(OutputFigures(10.0, 1.0))
    load = Load("resistor", {"resistance": 10.0})
    sim = Simulation(Circuit((Branch("small", ("output",), (stage,), LeadCircuit(0.1, 1e-6), (load,)),)))
    sim.set("output", voltage=1.0, on=True)
    return sim


def warm_up() -> None:
    """Compile the solver, or load it from the cache, by playing a small circuit."""
    sim = small_simulation()
    sim.advance(1e-3)
    sim.output("output")
