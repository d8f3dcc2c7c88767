"""Before anything is energised: who is there, all off, everything set, and every setting asked back."""

from __future__ import annotations

import math
from collections.abc import Callable

from railwright.documents.bench import Output
from railwright.documents.device import Device
from railwright.instruments.errors import NotReached
from railwright.instruments.supply import Change, Supply
from railwright.quantities import show
from railwright.rehearsal.lines import slew_range
from railwright.rehearsal.setpoints import Feed, OutputSetPoints
from railwright.running.recorder import Recorder
from railwright.running.rig import Rig
from railwright.running.shutdown import off_threshold


def prepare(rig: Rig, recorder: Recorder, device: Device, look: Callable[[], None]) -> list[str]:
    """Bring every supply to the state from which the procedure begins. Gives cautions.

    Raises InstrumentError at the first thing that is not as it should be; no output has been on by then.
    look: called between the stages, may raise to end it.
    """
    tell = recorder.progress.preparing
    tell("identify the supplies")
    _identify(rig, recorder, look)
    tell("outputs off, set points to minimum")
    for supply in rig.supplies.values():
        look()
        # What stood in the queue before is none of this run's; the first command would be blamed for it.
        supply.clear()
        for own, document in supply.document.outputs.items():
            supply.put(minimum(own, document))
    tell("clear trips and errors")
    for supply in rig.supplies.values():
        look()
        for own in supply.outputs:
            supply.clear_trips(own)
        supply.clear()
        supply.check("after clearing")
    tell("protections")
    _put(rig, look, protections)
    tell("set points")
    _put(rig, look, limits)
    tell("query every setting back")
    for name, feed, output in rig.feeds():
        look()
        supply_name, own = output.output.split(".", 1)
        document = rig.bench.output(output.output)
        lowest = [change for change in minimum(own, document) if change.setting != "current_limit"]
        everything = lowest + protections(rig, feed, output) + limits(rig, feed, output)
        rig.supplies[supply_name].verify(everything)
        recorder.write("settings", input=name, output=output.output, settings=_as_data(everything))
    tell("read every output")
    return _standing(rig, recorder, device)


def _identify(rig: Rig, recorder: Recorder, look: Callable[[], None]) -> None:
    """Ask every supply who it is. NotReached names all that cannot be reached, not only the first."""
    missing: list[NotReached] = []
    for name, supply in rig.supplies.items():
        look()
        try:
            supply.connect()
            identity = supply.identify()
        except NotReached as error:
            missing.append(error)
            continue
        told = f"{identity.model}, serial number {identity.serial}, version {identity.version}"
        recorder.event("identified", name, told)
    if missing:
        first, *others = missing
        raise NotReached(first.instrument, "; ".join([first.what, *map(str, others)]))


def minimum(own: str, document: Output) -> list[Change]:
    """Off, and the lowest set points there are."""
    return [
        Change(own, "output", False),
        Change(own, "voltage", document.voltage.low),
        Change(own, "current_limit", document.current.low),
    ]


def protections(rig: Rig, feed: Feed, output: OutputSetPoints) -> list[Change]:
    """OVP, what is done at the limit and after which delay, OPP and OCP, where the voltage is sensed."""
    supply_name, own = output.output.split(".", 1)
    supply, document = rig.supplies[supply_name], rig.bench.output(output.output)
    changes = []
    if math.isfinite(output.ovp):
        changes.append(Change(own, "ovp", output.ovp))
        if supply.supports("ovp_on"):
            changes.append(Change(own, "ovp_on", True))
    trips = output.at_limit == "trip"
    # An output that cannot trip need not be told to regulate, one that cannot sense not to sense at its
    # terminals.
    if trips or document.trip_delay is not None:
        changes.append(Change(own, "trip_at_limit", trips))
    if trips:
        changes.append(Change(own, "trip_delay", output.trip_delay))
    changes += _own_levels(supply, own, document, output)
    if feed.sense == "at load" or document.sense is not None:
        changes.append(Change(own, "sense", feed.sense))
    return changes


def _own_levels(supply: Supply, own: str, document: Output, output: OutputSetPoints) -> list[Change]:
    """Over-power and over-current protection: their levels, or off where they are there and not asked for."""
    changes: list[Change] = []
    if math.isfinite(output.opp):
        changes.append(Change(own, "opp", output.opp))
    if math.isfinite(output.ocp):
        changes.append(Change(own, "ocp", output.ocp))
        if document.ocp is not None and document.ocp.delay is not None:
            changes.append(Change(own, "ocp_delay", output.ocp_delay))
    if document.opp is not None and supply.supports("opp_on"):
        changes.append(Change(own, "opp_on", math.isfinite(output.opp)))
    if document.ocp is not None and supply.supports("ocp_on"):
        changes.append(Change(own, "ocp_on", math.isfinite(output.ocp)))
    return changes


def limits(rig: Rig, feed: Feed, output: OutputSetPoints) -> list[Change]:
    """Current limit, and the slew at its fastest; the voltage stays at its minimum until switched on."""
    own = output.output.split(".", 1)[1]
    changes = [Change(own, "current_limit", output.current_limit)]
    slews = slew_range(feed, rig.bench)
    if slews is not None:
        changes += rig.slew_changes(output, slews[1])
    return changes


def _put(
    rig: Rig, look: Callable[[], None], changes: Callable[[Rig, Feed, OutputSetPoints], list[Change]]
) -> None:
    for _, feed, output in rig.feeds():
        look()
        rig.supplies[output.output.split(".", 1)[0]].put(changes(rig, feed, output))


def _standing(rig: Rig, recorder: Recorder, device: Device) -> list[str]:
    """Every output read once, so that a reading that does not work is found now; and what stands there
    already.
    """
    cautions = []
    for reading in rig.read(tuple(rig.set_points), explain=True):
        if abs(reading.voltage) >= off_threshold(device, reading.input):
            detail = f"{show(reading.voltage, 'V')} stands there before it is switched on"
            recorder.event("voltage before switching on", reading.input, detail, recorder.at(reading.time))
            cautions.append(f"{reading.input}: {detail}.")
    return cautions


def _as_data(changes: list[Change]) -> dict[str, float | bool | str]:
    return {change.setting: change.value for change in changes}
