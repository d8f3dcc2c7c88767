"""A source behind an input that current is fed into, such as a cell: what stands there before the output goes
on, and from which voltage it then starts. Pure.
"""

from __future__ import annotations

from railwright.documents.bench import Bench
from railwright.documents.device import Device
from railwright.documents.figures import error_bound
from railwright.documents.procedure import Procedure
from railwright.plan.off_order import LOWEST_OFF, off_threshold
from railwright.plan.set_points import Feed
from railwright.plan.stairs import set_error
from railwright.quantities import show


class NotFedNow(Exception):
    """Why nothing may be fed into what stands at an input; one line for people."""


def voltmeter_of(procedure: Procedure, bench: Bench, name: str) -> str | None:
    """The multimeter that reads the voltage of an input, at its connector before that at its terminals; None:
    there is none, and the supply reads it.
    """
    found = [
        (probe.at != "connector", meter)
        for meter, probe in procedure.multimeters.items()
        if probe.of == name and bench.multimeters[meter].quantity == "voltage"
    ]
    return min(found)[1] if found else None


def reading_error(procedure: Procedure, bench: Bench, feed: Feed, volts: float) -> float:
    """Bound of the error with which a voltage that stands at an input is read [V]; 0: not known."""
    if (meter := voltmeter_of(procedure, bench, feed.input)) is not None:
        return error_bound(bench.multimeters[meter].measures, volts)
    readings = [bench.output(points.output).reading for points in feed.outputs]
    errors = [
        error_bound(each.voltage, volts * points.share)
        for each, points in zip(readings, feed.outputs, strict=True)
        if each is not None
    ]
    return sum(errors) if feed.arrangement == "series" else max(errors, default=0.0)


def start_from(device: Device, bench: Bench, feed: Feed, goal: float, stands: float, error: float) -> float:
    """Set point [V] with which the outputs of an input go on that a source stands behind, by the voltage that
    was read there, ± error [V]: not below it, so that nothing flows out of it, whatever reading and setting
    are off by. goal: the voltage that it is then set to [V]. Raises NotFedNow where it is not to go on.
    """
    name, lowest = feed.input, device.inputs[feed.input].never_under
    read = f"{name}: {show(stands, 'V')} stand there"
    if stands <= -LOWEST_OFF:
        raise NotFedNow(f"{read}: the source is connected the wrong way round; exchange its conductors")
    if stands < off_threshold(device, name):
        raise NotFedNow(f"{read}: no source is connected, or it is empty, or a lead is open")
    if lowest is not None and stands - error < lowest:
        raise NotFedNow(
            f"{read}, less than the {show(lowest, 'V')} that it must never be under: do not charge it"
        )
    within = set_error(feed, bench, goal)
    if stands + error >= goal - within:
        raise NotFedNow(
            f"{read}, {show(goal, 'V')} is to be set: it is full already, and nothing would flow into it"
        )
    return stands + error + within
