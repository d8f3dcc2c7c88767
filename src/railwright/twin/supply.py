"""One simulated supply without its socket: panels, status and plant. `railwright.twin.commands` has the
commands that change and ask them.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from secrets import token_hex
from typing import Literal

from railwright.documents.bench import Supply as SupplyDocument
from railwright.scpi.errors import ScpiError
from railwright.traces import Event, Mode
from railwright.twin import registers
from railwright.twin.channels import channel_numbers
from railwright.twin.families import family_of
from railwright.twin.panel import Panel
from railwright.twin.plant import LONGEST_TICK, Plant
from railwright.twin.points import ListRun
from railwright.twin.readings import ReadingWindow
from railwright.twin.registers import Status


@dataclass
class TwinWatchdog:
    """The communication watchdog: while it is on, `time` [s] without a message switch all outputs off."""

    time: float
    on: bool = False
    heard: float = 0.0
    """When the last message came [s]."""

    @property
    def due(self) -> float:
        """When it acts, if no message comes before [s]."""
        return self.heard + self.time if self.on else math.inf


class TwinSupply:
    """State of one supply. `advance` moves its time.

    channels: the number by which the instrument language knows each output, in the order of the document.
    token: tells this instance from any other of the same document. Raises WiringError where an output has no
    channel.
    """

    def __init__(self, name: str, document: SupplyDocument, plant: Plant, token: str | None = None) -> None:
        self.name = name
        self.document = document
        self.plant = plant
        self.token = token_hex(4) if token is None else token
        self.selects = document.dialect.addressing == "selected-output"
        self.numbered = document.dialect.addressing in ("numbered-header", "prefixed")
        self.by_parameter = document.dialect.addressing == "parameter"
        self.channels = tuple(channel_numbers(document).values())
        self.selected = self.lowest
        self.family = family_of(document.dialect)
        self.panels = [
            Panel(
                full := f"{name}.{output}",
                figures,
                plant.truth.output(full, figures).set_voltage,
                plant.truth.output(full, figures).set_current,
                self.family.ranges,
                self.family.lists,
            )
            for output, figures in document.outputs.items()
        ]
        self._index = {panel.name: index for index, panel in enumerate(self.panels)}
        self.status = Status(len(self.panels), self.family.error_form)
        self.latched: list[ReadingWindow | None] = [None] * len(self.panels)
        self.armed: set[int] = set()
        self.runs: dict[int, ListRun] = {}
        self.completion_asked = False
        self.watchdog = TwinWatchdog(document.watchdog.times.high if document.watchdog else math.inf)
        self.files: dict[str, bytes] = {}
        """What was written into it, by name (MMEMory)."""
        self.refuses_conflicts = False
        """Whether settings that contradict each other are refused: see `twin.conflicts`."""
        self.master = not self.family.master
        """The switch over all outputs: an output delivers only while both are on."""
        self.remote = not self.family.remote
        """Whether it takes commands; questions it always does."""
        self.sticking: dict[int, bool] = {}
        """Outputs whose switch sticks when they are told to go off, and whether they say that they did."""
        self.on_off: Callable[[int, bool], None] = lambda channel, was_on: None
        """Called when an output has been told to go off, with whether it was on."""
        plant.on_event = self._heard
        self.status.preset()
        self.apply_all()
        self.refresh()

    @property
    def lowest(self) -> int:
        """Place of the output with the lowest channel; it is selected after power-on and *RST."""
        return self.channels.index(min(self.channels))

    def outputs_of(self, channels: tuple[int, ...]) -> tuple[int, ...]:
        """Places of the outputs with these channels, which must be known."""
        return tuple(self.channels.index(channel) for channel in channels)

    @property
    def busy(self) -> bool:
        """Whether a point list runs or waits for its trigger (what *OPC? and *WAI wait for)."""
        return bool(self.armed or self.runs)

    def advance(self, to: float) -> None:
        """Let time pass up to `to` [s]: points of running lists at their instants, protections, readings,
        status.

        If the physics cannot be solved, the supply is like one that lost power: off, discharged, -240 in its
        queue.
        """
        from railwright.physics.solver import SolverError

        try:
            self._advance(to)
        except SolverError as error:
            for channel, panel in enumerate(self.panels):
                self.stop_list(channel)
                panel.on = False
            self.plant.restart(to)
            self.apply_all()
            self.status.report(ScpiError(-240, str(error)))
        self._settle()

    def _advance(self, to: float) -> None:
        while self.plant.time < to:
            end, due = min(self.plant.time + LONGEST_TICK, to), self.watchdog.due
            if self.plant.time < due < end:
                end = due
            self._play_points(end)
            self.plant.advance(end)
            if self.plant.time >= due:
                self._bark()

    def _bark(self) -> None:
        """The watchdog acts: every output that is on goes off."""
        for channel, panel in enumerate(self.panels):
            if panel.on or self.plant.is_on(panel.name):
                self.switch(channel, False)

    def _play_points(self, end: float) -> None:
        for channel, run in list(self.runs.items()):
            panel = self.panels[channel]
            for due in run.due_before(end):
                at = max(due.time, self.plant.time)
                self.plant.ramp(panel.name, due.voltage, due.duration, at=at)
                panel.voltage = due.voltage
            if run.end <= end:
                del self.runs[channel]

    def _settle(self) -> None:
        """Switch state and status after time has passed."""
        for channel, panel in enumerate(self.panels):
            if panel.on and self.plant.tripped(panel.name):
                panel.on = False
                self.stop_list(channel)
        self.refresh()
        if self.completion_asked and not self.busy:
            self.completion_asked = False
            self.status.standard_event |= 1

    def _heard(self, event: Event) -> None:
        """A physical event within a tick: its condition reaches the event registers even if it is over by the
        end.
        """
        channel = self._index.get(event.subject)
        if channel is not None and event.kind.mode is not None:
            self._set_conditions(channel, event.kind.mode, self.plant.tripped(self.panels[channel].name))

    def refresh(self) -> None:
        """Bring the condition registers up to date."""
        for channel, panel in enumerate(self.panels):
            self._set_conditions(channel, self.plant.mode(panel.name), self.plant.tripped(panel.name))

    def _set_conditions(self, channel: int, mode: Mode, tripped: str) -> None:
        questionable = {
            "": 0,
            "OVP": registers.TRIPPED_BY_OVP | registers.QUESTIONABLE_VOLTAGE,
            "current limit": registers.TRIPPED_BY_LIMIT | registers.QUESTIONABLE_CURRENT,
            "linked": registers.TRIPPED_BY_LINK,
            "OPP": registers.QUESTIONABLE_POWER,
            "OCP": registers.TRIPPED_BY_OCP | registers.QUESTIONABLE_CURRENT,
            "OTP": registers.QUESTIONABLE_TEMPERATURE,
        }[tripped]
        if self.plant.is_hot(self.panels[channel].name):
            questionable |= registers.QUESTIONABLE_TEMPERATURE
        operation = {Mode.CV: registers.IN_CV, Mode.CC: registers.IN_CC, Mode.CP: registers.IN_CP}.get(
            mode, 0
        )
        if mode in (Mode.CC, Mode.CP):
            questionable |= registers.QUESTIONABLE_VOLTAGE
        operation |= registers.SWEEPING if channel in self.runs else 0
        operation |= registers.WAITING_FOR_TRIGGER if channel in self.armed else 0
        self.status.update(channel, questionable, operation)

    @property
    def has_read(self) -> bool:
        """Whether every output has a reading that can be had."""
        return all(self.plant.reading(panel.name) is not None for panel in self.panels)

    def apply_all(self) -> None:
        """Give the plant every setting of every panel."""
        for channel in range(len(self.panels)):
            self.apply(channel)

    def apply(self, channel: int) -> None:
        """Give the plant the settings of one panel; the output's switch is not touched."""
        panel, plant = self.panels[channel], self.plant
        plant.set_sense(panel.name, panel.external_sense)
        plant.set_slew(panel.name, panel.rise, panel.fall)
        plant.set_limit_action(panel.name, panel.trips_at_limit, panel.trip_delay)
        plant.set_ovp(panel.name, panel.ovp if panel.ovp_enabled else float("inf"))
        plant.set_opp(panel.name, panel.opp if panel.opp_enabled else float("inf"))
        plant.set_ocp(panel.name, panel.ocp if panel.ocp_enabled else float("inf"), panel.ocp_delay)
        plant.set_current(panel.name, panel.current)
        plant.set_voltage(panel.name, panel.voltage)
        plant.follow(panel.name, frozenset(self.panels[source].name for source in panel.follows))

    def switch(self, channel: int, on: bool) -> None:
        """Output on or off, as it is told to; off ends its list. A switch that sticks stays on."""
        panel = self.panels[channel]
        if not on:
            self.stop_list(channel)
        if not on and channel in self.sticking:
            panel.on = panel.on and not self.sticking[channel]
            return
        was_on, panel.on = panel.on, on
        self.plant.switch(panel.name, on and self.master)
        if not on:
            self.on_off(channel, was_on)

    def switch_master(self, on: bool) -> None:
        """The switch over all outputs, on or off: what is switched on itself delivers with it."""
        self.master = on
        for channel, panel in enumerate(self.panels):
            if not on:
                self.stop_list(channel)
            # Whoever's own switch sticks has still its contacts in series with this one.
            self.plant.switch(panel.name, panel.on and on)

    def take_along(self, channel: int, of: Literal["voltage", "current_limit"], before: float) -> None:
        """Coupled set points: what goes with an output that stood at `before` [V] or [A] moves."""
        names = list(self.document.outputs)
        limits = of == "current_limit"
        key, put = ("current", self.plant.set_current) if limits else ("voltage", self.plant.set_voltage)
        now = getattr(self.panels[channel], key)
        for group in self.document.coupled:
            if group.of != of or names[channel] not in group.outputs:
                continue
            for name in group.outputs:
                panel = self.panels[names.index(name)]
                if panel is self.panels[channel]:
                    continue
                there = getattr(panel, key)
                goal = there + now - before
                if group.by == "ratio":
                    goal = there * (now / before if before else 1.0)
                low, high, _ = getattr(panel, f"{key}_bounds")
                setattr(panel, key, getattr(panel, f"grid_{key}").on_grid(min(max(goal, low), high)))
                put(panel.name, getattr(panel, key))

    def fire(self, channel: int) -> None:
        """The trigger of one armed output: its list starts, or its triggered level takes effect."""
        self.armed.discard(channel)
        panel = self.panels[channel]
        if panel.voltage_mode == "FIX":
            panel.voltage = panel.voltage_triggered
            self.plant.set_voltage(panel.name, panel.voltage)
            return
        points = panel.points
        dwells = points.dwells * len(points.voltages) if len(points.dwells) == 1 else points.dwells
        self.runs[channel] = ListRun(
            tuple(points.voltages), tuple(dwells), points.count, points.lines, self.plant.time
        )

    def stop_list(self, channel: int) -> None:
        """End a running or armed list; the output stays at the voltage where it is being held or led
        through.
        """
        self.armed.discard(channel)
        if self.runs.pop(channel, None) is not None:
            panel = self.panels[channel]
            panel.voltage = self.plant.hold(panel.name)

    def reset(self) -> None:
        """*RST: outputs off, lists stopped, settings to their defaults, trips cleared. Status stays as it
        is.
        """
        for channel, panel in enumerate(self.panels):
            self.switch(channel, False)
            on = panel.on
            panel.reset()
            panel.on = on  # one that sticks is on still
            self.plant.clear_trip(panel.name)
            self.latched[channel] = None
        self.selected = self.lowest
        self.master = not self.family.master
        self.watchdog.on = False
        self.completion_asked = False
        self.apply_all()
        self.refresh()

    def power_fails(self) -> None:
        """The mains are gone: nothing is on any more."""
        for channel, panel in enumerate(self.panels):
            self.stop_list(channel)
            self.plant.switch(panel.name, False)  # without power none sticks
        self.refresh()

    def power_on(self, comes_on: bool | None = None) -> None:
        """As after a power failure: status and error queue new. Outputs off and settings at their defaults;
        or, where it comes on by itself, all as before. comes_on: None: as the bench says of it.
        """
        self.power_fails()
        self.remote = not self.family.remote
        if comes_on if comes_on is not None else self.document.after_mains == "comes on":
            for panel in self.panels:
                self.plant.switch(panel.name, panel.on and self.master)
        else:
            for panel in self.panels:
                panel.on = False
            self.reset()
        self.status = Status(len(self.panels), self.family.error_form)
        self.status.preset()
        self.refresh()
