"""The world behind one supply: its output stages, leads and loads in motion, and what its meters read.

Time [s] starts at 0 with everything off and discharged, and goes on only by `advance`. What a set point
really is (programming errors, grid, OVP accuracy) is decided here; the command tree knows only what was
asked.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from railwright.documents.bench import Bench
from railwright.documents.device import Device
from railwright.documents.procedure import Procedure
from railwright.plan.contacts import undriven_pins
from railwright.traces import Event, EventKind, Mode
from railwright.twin.faults import SHORT, TwinFault, has
from railwright.twin.history import History
from railwright.twin.readings import Meter, ReadingWindow, timing_of
from railwright.twin.sensing import Sensing
from railwright.twin.truth import OutputTruth, Truth
from railwright.twin.wiring import wire

if TYPE_CHECKING:
    from railwright.physics.simulation import Advance, Simulation

KEEP = 600.0
"""How long true traces are kept for a recorder [s]."""

LONGEST_TICK = 5e-3
"""Longest stretch that is computed at once [s]; a linked trip acts within it."""

LONGEST_EVENTS = 10_000
"""How many of the last events are kept."""


@dataclass
class _OutputPlant:
    """What the plant keeps for one output."""

    truth: OutputTruth
    meter: Meter
    history: History
    readings: deque[ReadingWindow]
    follows: frozenset[str] = frozenset()
    stopped: str = ""
    """'linked' or 'OTP' where that, and not the simulation itself, has switched the output off."""
    hot: bool = False
    cleared: bool = False
    switched: list[tuple[float, bool]] = field(default_factory=list)
    """When its switch moved [s], and whether it has been on since; protections move it too."""


class Plant:
    """All outputs of one supply and what hangs on them. `on_event` is told of every physical event as it is
    found.
    """

    # Many: what a plant is made of.
    def __init__(
        self,
        supply: str,
        bench: Bench,
        device: Device | None,
        procedure: Procedure | None,
        truth: Truth,
        keep: float = KEEP,
        tick: float = LONGEST_TICK,
        faults: Sequence[TwinFault] = (),
    ) -> None:
        self.truth = truth
        self.wiring = wire(supply, bench, device, procedure, truth, faults)
        figures = {f"{supply}.{name}": output for name, output in bench.supplies[supply].outputs.items()}
        self._sensing = Sensing(self.wiring, figures, faults)
        self._tick = min(tick, self._sensing.tick)
        self._opened: dict[str, bool] = {}
        """Input -> whether a contact in its lead is open, or about to be."""
        self._broken = {name for name in self.wiring.inputs if has(faults, "open", name)}
        """Inputs whose lead stays open, whatever a contact in it does."""
        self._pins = undriven_pins(device, procedure)
        """Pin of the device -> whether it is active, or about to be."""
        self._simulation = self._new_simulation()
        self.on_event: Callable[[Event], None] = lambda event: None
        self.events: list[Event] = []
        self.input_history = {
            name: History(("voltage", "terminal_voltage", "current", "mode"), keep)
            for name in self.wiring.inputs
        }
        self._at_input: dict[str, tuple[float, float]] = {}
        self._outputs: dict[str, _OutputPlant] = {}
        for full, output in figures.items():
            errors = truth.output(full, output)
            meter = Meter(full, timing_of(full, output, truth, errors.phase), errors, truth.seed)
            held = 2.0 + 2 * (meter.timing.update + meter.timing.aperture + meter.timing.latency)
            self._outputs[full] = _OutputPlant(
                errors,
                meter,
                History(("voltage", "current"), held),
                deque(maxlen=64 if math.isfinite(keep) else None),
            )

    def restart(self, time: float) -> None:
        """Start the physics afresh at a time [s]: everything off and discharged; settings are lost."""
        self._simulation = self._new_simulation(time)
        for output in self._outputs.values():
            output.stopped, output.hot = "", False
            if output.switched and output.switched[-1][1]:
                output.switched.append((time, False))

    def _new_simulation(self, start: float = 0.0) -> Simulation:
        from railwright.physics.simulation import Simulation

        simulation = Simulation(self.wiring.circuit, start=start, rested=True)
        for name in self.wiring.shorted:
            simulation.change_lead(name, short=SHORT)
        for name, opened in self._opened.items():
            simulation.change_lead(name, opened=opened)
        for pin, active in self._pins.items():
            simulation.drive_pin(pin, active)
        return simulation

    @property
    def time(self) -> float:
        """Simulated time [s]."""
        return float(self._simulation.time)

    @property
    def outputs(self) -> tuple[str, ...]:
        """Names of the outputs, 'supply.output', in the order of the bench document."""
        return tuple(self._outputs)

    def set_voltage(self, output: str, asked: float, at: float | None = None) -> None:
        """Program a voltage [V]; what comes out is off by the output's programming error, and never
        negative.
        """
        self._set_reference(output, asked, 0.0, at)

    def ramp(self, output: str, asked: float, duration: float, at: float | None = None) -> None:
        """Move the programmed voltage [V] in a straight line, from where it is, in `duration` seconds."""
        self._set_reference(output, asked, max(duration, 0.0), at)

    def _set_reference(self, output: str, asked: float, duration: float, at: float | None) -> None:
        true = self._true_voltage(output, asked)
        self._sensing.moves(self._simulation, output, true, at)
        if duration > 0:
            self._simulation.set(output, at=at, line=(true, duration))
        else:
            self._simulation.set(output, at=at, voltage=true)

    def hold(self, output: str) -> float:
        """Stop a straight line where it is; gives the set point [V] that this corresponds to."""
        error = self._outputs[output].truth.set_voltage
        reference = float(self._simulation.output(output).reference)
        asked = max(error.on_grid((reference - error.offset) / (1 + error.gain)), 0.0)
        self.set_voltage(output, asked)
        return asked

    def set_current(self, output: str, asked: float, at: float | None = None) -> None:
        """Program a current limit [A]."""
        error = self._outputs[output].truth.set_current
        self._simulation.set(output, at=at, current_limit=max(error.apply(error.on_grid(asked)), 0.0))

    def set_slew(self, output: str, rise: float, fall: float) -> None:
        """Program the slew [V/s]; inf leaves it to the output."""
        self._simulation.set(output, rise=rise, fall=fall)

    def set_limit_action(self, output: str, trips: bool, delay: float) -> None:
        """Trip at the current limit after `delay` [s], or regulate."""
        waits = delay * self._outputs[output].truth.slow
        self._simulation.set(output, at_limit="trip" if trips else "regulate", trip_delay=waits)

    def set_ovp(self, output: str, level: float) -> None:
        """OVP level [V] as programmed, inf for none; the true one differs within its accuracy."""
        self._simulation.set(output, ovp=max(level + self._outputs[output].truth.ovp_offset, 0.0))

    def set_opp(self, output: str, level: float) -> None:
        """Level of the over-power protection [W], inf for none."""
        self._simulation.set(output, opp=level)

    def set_ocp(self, output: str, level: float, delay: float) -> None:
        """Level of the over-current protection [A], inf for none, and how long it is exceeded first [s]."""
        self._simulation.set(output, ocp=level, ocp_delay=delay)

    def set_sense(self, output: str, external: bool) -> None:
        """Regulate at the load where sense leads go there; without sense leads the output falls back to its
        terminals.
        """
        self._sensing.switch(self._simulation, output, external)

    def switch(self, output: str, on: bool, at: float | None = None) -> None:
        """Output on or off."""
        self._simulation.set(output, at=at, on=on)

    def follow(self, output: str, sources: frozenset[str]) -> None:
        """Linked trip: the output goes off when one of `sources` trips, within one tick."""
        self._outputs[output].follows = sources

    def draw(self, name: str, current: float) -> None:
        """Have the first load of an input, a constant current, draw another current [A]."""
        self._simulation.change_load(name, 0, current=current)

    def open_lead(self, name: str, opened: bool, at: float) -> None:
        """Open or close the lead of an input at a time [s], as a relay's contact does."""
        self._opened[name] = opened or name in self._broken
        self._simulation.change_lead(name, at=at, opened=self._opened[name])

    def drive_pin(self, pin: str, active: bool, at: float) -> None:
        """Have a pin of the device be active or inactive from a time on [s], as what drives it does."""
        self._pins[pin] = active
        self._simulation.drive_pin(pin, active, at=at)

    def at_input(self, name: str) -> tuple[float, float]:
        """True voltage at an input's connector [V] and current into it [A] now; 0 before time went on."""
        return self._at_input.get(name, (0.0, 0.0))

    def heat(self, output: str) -> None:
        """Over-temperature: the output trips now, and its trip cannot be cleared before `cool`."""
        plant, was_on = self._outputs[output], self.is_on(output)
        plant.hot = True
        if not plant.stopped:
            plant.stopped = "OTP"
        self._simulation.set(output, on=False)
        if was_on:
            event = Event(self.time, output, EventKind.TRIPS_OTP)
            self._tell(event)
            self._link_trips((event,))

    def cool(self, output: str) -> None:
        """The over-temperature is over; its trip stays until it is cleared."""
        self._outputs[output].hot = False

    def is_hot(self, output: str) -> bool:
        """Whether the output is too hot now."""
        return self._outputs[output].hot

    def clear_trip(self, output: str) -> None:
        """Clear a trip; the output stays off. That of an output which is still too hot stays."""
        if self._outputs[output].hot:
            return
        self._outputs[output].stopped = ""
        self._outputs[output].cleared = True
        self._simulation.set(output, clear=True)

    def is_on(self, output: str) -> bool:
        """Whether the output is on."""
        return bool(self._simulation.output(output).on)

    def tripped(self, output: str) -> str:
        """Which protection has switched the output off; empty: none."""
        if self._outputs[output].stopped:
            return self._outputs[output].stopped
        if self._outputs[output].cleared:
            return ""  # the simulation itself hears of it when time goes on
        return self._simulation.output(output).tripped

    def mode(self, output: str) -> Mode:
        """What regulates the output now."""
        if self._outputs[output].stopped:
            return Mode.TRIPPED
        return Mode.OFF if self._outputs[output].cleared else Mode(self._simulation.output(output).mode)

    def reading(self, output: str) -> ReadingWindow | None:
        """The newest reading that can be had by now; None before the first."""
        now = self.time
        for reading in reversed(self._outputs[output].readings):
            if reading.available <= now:
                return reading
        return None

    def readings(self, output: str) -> tuple[ReadingWindow, ...]:
        """The last readings, oldest first, those that cannot be had yet included."""
        return tuple(self._outputs[output].readings)

    def advance(self, to: float) -> None:
        """Go on to a time [s], in stretches of at most one tick. Raises physics' SolverError."""
        while self.time < to:
            before = self.time
            self._sensing.before_tick(self._simulation)
            step = self._simulation.advance(min(before + self._tick, to))
            self._sensing.after_tick(dict(step.samples), self.time - before)
            for output in self._outputs.values():
                output.cleared = False
            self._keep_traces(step)
            for event in step.events:
                self._tell(event)
            self._link_trips(step.events)
            self._take_readings()

    def state(self, output: str) -> tuple[float, float]:
        """True voltage [V] and current [A] at the output's own terminals now."""
        now = self._simulation.output(output)
        return now.voltage, now.current

    def energised(self, output: str) -> tuple[tuple[float, float | None], ...]:
        """When the output's switch was on and no protection had opened it: (from, to) [s]; None: it still
        is.
        """
        spans: list[tuple[float, float | None]] = []
        for time, on in self._outputs[output].switched:
            if on and (not spans or spans[-1][1] is not None):
                spans.append((time, None))
            elif not on and spans and spans[-1][1] is None:
                spans[-1] = (spans[-1][0], time)
        return tuple(spans)

    def _tell(self, event: Event) -> None:
        if event.subject in self._outputs:
            switched = self._outputs[event.subject].switched
            if event.kind in (EventKind.ON, EventKind.OFF) or event.kind.trip:
                switched.append((event.time, event.kind is EventKind.ON))
                del switched[:-LONGEST_EVENTS]
        self.events.append(event)
        del self.events[:-LONGEST_EVENTS]
        self.on_event(event)

    def _keep_traces(self, step: Advance) -> None:
        for name, history in self.input_history.items():
            rows = step.samples[name]
            self._at_input[name] = float(rows.voltage[-1]), float(rows.current[-1])
            history.append(
                rows.time, rows.voltage, rows.terminal_voltage, rows.current, rows.mode.astype(float)
            )
        for name, output in self._outputs.items():
            rows = step.samples[self.wiring.branch_of[name].name]
            voltage, current, _ = rows.output(name)
            output.history.append(rows.time, self._sensing.shown(name, voltage, rows), current)

    def _link_trips(self, events: tuple[Event, ...]) -> None:
        tripped = {event.subject for event in events if event.kind.trip}
        while tripped:
            followers = {
                name
                for name, output in self._outputs.items()
                if output.follows & tripped and not self.tripped(name) and self.is_on(name)
            }
            for name in followers:
                self._outputs[name].stopped = "linked"
                self._simulation.set(name, on=False)
                self._tell(Event(self.time, name, EventKind.TRIPS_LINKED))
            tripped = followers

    def _take_readings(self) -> None:
        now = self.time
        for output in self._outputs.values():
            while output.meter.next_due <= now:
                start = max(output.meter.next_due - output.meter.timing.aperture, 0.0)
                output.readings.append(
                    output.meter.take(*output.history.between(start, output.meter.next_due))
                )

    def _true_voltage(self, output: str, asked: float) -> float:
        error = self._outputs[output].truth.set_voltage
        return max(error.apply(error.on_grid(asked)), 0.0)
