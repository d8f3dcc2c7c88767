"""Every output off, in order, whatever happened before: commanded, verified, and watched until the
voltage has fallen.
"""

from __future__ import annotations

import time
from collections.abc import Sequence

from railwright.documents.device import Device
from railwright.documents.procedure import Procedure
from railwright.instruments.errors import InstrumentError
from railwright.instruments.supply import Supply
from railwright.quantities import show
from railwright.running.interruption import StopRequest
from railwright.running.outcome import SwitchedOff
from railwright.running.recorder import Recorder
from railwright.running.rig import Rig
from railwright.running.watch import Watch

OFF_BELOW = 1.0
"""Voltage below which an output that was switched off counts as off [V], or `OFF_PART` of nominal, if
that is more.
"""

OFF_PART = 0.05

DECAY_LIMIT = 10.0
"""How long the voltage may take to fall that far before it counts as a residual [s]."""


def off_threshold(device: Device, name: str) -> float:
    """Voltage below which the input counts as off [V]."""
    return max(OFF_BELOW, OFF_PART * abs(device.inputs[name].nominal))


def off_order(procedure: Procedure, names: Sequence[str]) -> tuple[str, ...]:
    """Inputs in the order in which they go off: as the last power_down has it, the others before, last on
    first off.
    """
    ups = [step.power_up.order for step in procedure.steps if step.power_up is not None]
    downs = [step.power_down.order for step in procedure.steps if step.power_down is not None]
    named = [name for name in (downs[-1] if downs else ()) if name in names]
    came_up = list(dict.fromkeys(name for order in ups for name in order if name in names))
    unordered = [name for name in names if name not in came_up]
    rest = [name for name in [*unordered, *reversed(came_up)] if name not in named]
    return (*rest, *named)


class ShutDown:
    """Switches everything off once. Nothing in it raises: what goes wrong becomes an event and a caution."""

    def __init__(self, rig: Rig, recorder: Recorder, watch: Watch, device: Device, stop: StopRequest) -> None:
        self.rig = rig
        self.recorder = recorder
        self.watch = watch
        self.device = device
        self.stop = stop
        self.cautions: list[str] = []
        self._unverified: set[str] = set()

    def go(self, order: Sequence[str], every: float, limit: float) -> dict[str, SwitchedOff]:
        """Off in this order, without the procedure's gaps. Gives what became of every input that was on."""
        reached = [name for name in order if self._identified(name)]
        energised = [name for name in reached if name in self.rig.on or name in self.rig.off_at]
        for name in reached:
            was_on = name in self.rig.on
            done = self.recorder.at(self.rig.off(name, self._failed))
            if was_on:
                self.recorder.add_all(self.watch.switched(name, False, done))
                self.recorder.event("off", name, time=done)
        for supply in self.rig.supplies.values():
            if supply.identity is not None and supply.lost:
                self._retry(supply, reached)
        self._wait(energised, every, limit)
        return {name: self._became(name, limit) for name in energised}

    def _identified(self, name: str) -> bool:
        """An instrument that is not known to be the one of the bench is never told anything."""
        return all(
            self.rig.supplies[supply].identity is not None for supply in self.rig.outputs_by_supply(name)
        )

    def _failed(self, error: InstrumentError) -> None:
        supply = self.rig.supplies[error.instrument]
        names = [name for name in self.rig.set_points if error.instrument in self.rig.outputs_by_supply(name)]
        self._unverified.update(names)
        self.recorder.event("instrument fails", error.instrument, error.told)
        # One that answers nonsense is as little to be trusted as one that answers nothing.
        supply.lost = True

    def _retry(self, supply: Supply, names: Sequence[str]) -> None:
        """Once more over a new session: the outputs may well be on still."""
        outputs = {o: name for name in names for o in self.rig.outputs_by_supply(name).get(supply.name, ())}
        try:
            supply.connect()
            supply.identify()
            supply.clear()
            if outputs:
                supply.switch_off(tuple(outputs))
        except InstrumentError as error:
            supply.lost = True
            supply.close()
            self._unverified.update(outputs.values())
            self.recorder.event("not switched off", supply.name, str(error))
            self.cautions.append(
                f"{supply.name} could not be switched off ({error.what}): "
                f"{', '.join(sorted(set(outputs.values())))} may still be energised. Switch it off by hand."
            )
            return
        self._unverified.difference_update(outputs.values())
        self.recorder.event("switched off after reconnecting", supply.name, f"outputs {', '.join(outputs)}")

    def _wait(self, names: Sequence[str], every: float, limit: float) -> None:
        """Read until every voltage has fallen, or the limit is over, or a second request says not to wait."""
        start = time.monotonic()
        turn = 0
        while names and not self.stop.urgent:
            for raw in self.rig.read(names, failed=self._failed):
                events, _ = self.watch.see(self.recorder.reading(raw))
                self.recorder.add_all(events)
            waiting = [name for name in names if not self._is_down(name)]
            # An input whose supply is lost is no longer read; waiting for it would be waiting for nothing.
            waiting = [name for name in waiting if self._read(name)]
            if not waiting or time.monotonic() - start > limit:
                return
            turn = max(turn + 1, int((time.monotonic() - start) / every) + 1)
            time.sleep(max(0.0, start + turn * every - time.monotonic()))

    def _is_down(self, name: str) -> bool:
        return name in self.watch.fell_after and self._residual(name) < off_threshold(self.device, name)

    def _read(self, name: str) -> bool:
        return not any(self.rig.supplies[supply].lost for supply in self.rig.outputs_by_supply(name))

    def _residual(self, name: str) -> float:
        newest = self.recorder.newest.get(name)
        return abs(newest.voltage) if newest else 0.0

    def _became(self, name: str, limit: float) -> SwitchedOff:
        threshold, residual = off_threshold(self.device, name), self._residual(name)
        fell_after = self.watch.fell_after.get(name) if self._is_down(name) and self._read(name) else None
        if fell_after is None and self._read(name):
            newest = self.recorder.newest.get(name)
            detail = f"{show(residual, 'V')} stands there, {show(threshold, 'V')} counts as off"
            self.recorder.event("residual voltage", name, detail, newest.time if newest else None)
            waited = (
                "it was not waited for"
                if self.stop.urgent
                else f"{show(limit, 's')} after it was switched off"
            )
            self.cautions.append(f"{name}: {show(residual, 'V')} still stands at the output, {waited}.")
        return SwitchedOff(name, name not in self._unverified, threshold, fell_after, residual)
