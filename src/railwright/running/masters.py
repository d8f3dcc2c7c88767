"""Master switches: a supply whose outputs deliver only while a switch over all of them is on, too.

What hangs on the other outputs of such a supply is switched with it, whoever uses them. So each of them has
to say that it is off before the run switches anything, and again right before the master goes on.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from railwright.instruments.errors import InstrumentError
from railwright.instruments.supply import OutputReading, SupplyDriver
from railwright.quantities import show
from railwright.running.recorder import RunRecorder
from railwright.running.rig import Rig
from railwright.traces import EventKind

LOOKED = 0.3
"""How long outputs are watched for coming up with the master switch [s] (chosen)."""

INTERVAL = 0.05
"""Of those looks [s]."""

RISES = 0.05
"""Part of full scale by which a voltage that comes up with the master switch differs from what stood there.
"""


def go_along(supply: SupplyDriver, used: tuple[str, ...]) -> list[str]:
    """Outputs that this run does not use, are switched on, and would go on and off with the master switch."""
    if not supply.has_master:
        return []
    return [own for own in supply.outputs if own not in used and supply.state(own)]


def masters_off(rig: Rig, look: Callable[[], None]) -> None:
    """Switch them off before anything is set. Their outputs say off by then, also those that nobody uses."""
    for supply in rig.supplies.values():
        if supply.has_master:
            look()
            supply.switch_master(False)


def masters_on(
    rig: Rig, recorder: RunRecorder, look: Callable[[], None], wait: Callable[[float], None]
) -> None:
    """Switch on those that the run uses, each as `master_on` does."""
    for name, supply in rig.supplies.items():
        if supply.has_master:
            recorder.progress.preparing("master switches on")
            look()
            master_on(supply, look, wait, partial(recorder.event, EventKind.MASTER_ON, name))


def master_on(
    supply: SupplyDriver,
    look: Callable[[], None],
    wait: Callable[[float], None],
    told: Callable[[], None] = lambda: None,
) -> None:
    """Switch it on while every output of the supply says that it is off, and see that none comes up with it,
    used or not. InstrumentError where one does, or is on. told: called as soon as it is on.
    """
    outputs = tuple(supply.outputs)
    if on := [own for own in outputs if supply.state(own)]:
        why = f"output {', '.join(on)} is on and would deliver with it; switch it off"
        raise InstrumentError(supply.name, "", f"its master switch was not switched on: {why}")
    before = supply.read(outputs)
    supply.switch_master(True)
    told()
    for _ in range(round(LOOKED / INTERVAL)):
        wait(INTERVAL)
        look()
        _see(supply, before, supply.read(outputs))


def _see(supply: SupplyDriver, before: dict[str, OutputReading], now: dict[str, OutputReading]) -> None:
    """InstrumentError where an output came up with the master switch."""
    for own, reading in now.items():
        rose = abs(reading.voltage) - abs(before[own].voltage)
        if reading.on or rose > RISES * supply.document.outputs[own].voltage.high:
            says = "says that it is on" if reading.on else "says off"
            told = f"output {own} came up with the master switch: {show(reading.voltage, 'V')}, and it {says}"
            raise InstrumentError(supply.name, "", told)
