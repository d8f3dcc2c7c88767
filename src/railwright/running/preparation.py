"""Before anything is energised: who is there, all off, everything set, and every setting asked back."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field

from railwright.dialects.dialect import Value
from railwright.dialects.operation import Setting
from railwright.dialects.proofs import Proofs
from railwright.documents.bench import Output
from railwright.documents.device import Device
from railwright.instruments.errors import InstrumentError, NotReached
from railwright.instruments.supply import OutputSetting
from railwright.plan.current_limits import limits_in_order
from railwright.plan.linking import own_links
from railwright.plan.off_order import held_voltage, off_threshold
from railwright.plan.set_points import Feed, OutputSetPoints
from railwright.plan.stairs import slew_range
from railwright.records import lines
from railwright.running import masters
from railwright.running.by_hand import Hands, settings_by_hand, waited_for
from railwright.running.proved import expect_proved, proof_needs
from railwright.running.recorder import RunRecorder
from railwright.running.rig import Rig
from railwright.traces import Event, EventKind, Facts

FALL_WAIT = 5.0
"""How long a voltage that stood at an output is given to fall [s]: an earlier run may have left it."""

LOOK_AGAIN = 0.1
"""Interval at which it is read meanwhile [s]."""


@dataclass(frozen=True)
class Ways:
    """How a preparation looks, waits and hands over.

    look: called between the stages, may raise to end it. arm: called when it is known who is there and that
    nothing is on: from then on somebody else can switch off. consent: the person at the bench agrees to what
    was found on. wait: lets time pass [s]. hands: asks a person to make what no command sets; None: nobody
    can. proofs: what was proved of dialects. unproved: supply -> why it may be run although its dialect is
    not.
    """

    look: Callable[[], None]
    arm: Callable[[], None]
    wait: Callable[[float], None]
    consent: bool = False
    hands: Hands | None = None
    proofs: Proofs = field(default_factory=Proofs)
    unproved: Mapping[str, str] = field(default_factory=dict)


class FoundOn(Exception):
    """An output was on, or a voltage stood there, that nobody has agreed to; the text is for people."""


def prepare(rig: Rig, recorder: RunRecorder, device: Device, ways: Ways) -> list[str]:
    """Bring every output that is used to the state from which the procedure begins. Gives cautions.

    Raises InstrumentError at the first thing that is not as it should be, NotProved where a dialect was not
    seen to work on the instrument that answers, FoundOn where somebody has to decide; no output has been on
    by then, but where its own word for off switched it on, at the lowest voltage. Outputs that feed no input
    are asked whether they are on, and told nothing.
    """
    tell = recorder.progress.preparing
    tell("identify the supplies")
    _identify(rig, recorder, ways.look)
    cautions = _proved(rig, recorder, ways)
    tell("ask what is on")
    cautions += _found(rig, recorder, ways)
    ways.arm()
    tell("set points to minimum, outputs off")
    _minimum(rig, ways.look)
    masters.masters_off(rig, ways.look)
    tell("clear trips and errors")
    for name, supply in rig.supplies.items():
        ways.look()
        for own in rig.used(name):
            supply.clear_trips(own)
        supply.clear()
        supply.check("after clearing")
        # All of them first: one that went off with another says so until that one is cleared.
        for own in rig.used(name):
            ways.look()
            supply.cleared(own, ways.wait)
    tell("what is set by hand")
    cautions += _by_hand(rig, recorder, ways)
    tell("protections")
    _ranges(rig, ways.look)
    _put(rig, ways.look, protections)
    tell("set points")
    _limit(rig, ways.look)
    tell("linked trips")
    _link(rig, ways.look)
    tell("query every setting back")
    for name, feed, output in rig.feeds():
        ways.look()
        own = output.output.output
        document = rig.bench.output(output.output)
        lowest = [change for change in minimum(own, document) if change.setting != "current_limit"]
        everything = [
            *rig.supplies[output.output.supply].ranges(own),
            *lowest,
            OutputSetting(own, "output", False),
            *protections(rig, feed, output),
            *limits(rig, feed, output),
        ]
        rig.supplies[output.output.supply].verify(everything)
        recorder.write("settings", input=name, output=output.output, settings=_as_data(everything))
    tell("read every output")
    return cautions + _standing(rig, recorder, device, ways)


def _proved(rig: Rig, recorder: RunRecorder, ways: Ways) -> list[str]:
    """Note what the run rests on of what was proved, and refuse what was not; cautions where it is
    accepted.
    """
    rig.proof_needs = proof_needs(rig, ways.proofs)
    for need in rig.proof_needs:
        recorder.write(lines.PROVED, **need.as_data())
    return expect_proved(rig.proof_needs, ways.unproved)


def _by_hand(rig: Rig, recorder: RunRecorder, ways: Ways) -> list[str]:
    """Have a person make what no command sets, and note what was entered."""

    def pause() -> None:
        ways.look()
        ways.wait(LOOK_AGAIN)  # with signs of life: the guard kills a run that gives none

    cautions, hands = [], waited_for(ways.hands, pause)
    for _, feed, output in rig.feeds():
        ways.look()
        supply = rig.supplies[output.output.supply]
        wanted = [*protections(rig, feed, output), *limits(rig, feed, output)]
        for entered in settings_by_hand(supply, wanted, hands):
            recorder.write("by hand", output=entered.output, setting=entered.setting, entered=entered.value)
            cautions.append(f"{entered}, as it was entered by the operator: the supply cannot be asked.")
    return cautions


def _found(rig: Rig, recorder: RunRecorder, ways: Ways) -> list[str]:
    """Ask every output of the supplies whether it is on; FoundOn where one is, without consent."""
    found, along = list[str](), list[str]()
    for name, supply in rig.supplies.items():
        ways.look()
        # What stood in the queue before is none of this run's; the first command would be blamed for it.
        supply.clear()
        used = rig.used(name)
        along += [f"{name}.{own}" for own in masters.go_along(supply, used)]
        for own in supply.outputs:
            if not supply.state(own):
                continue
            told = "feeds an input of this run" if own in used else "is not used by this run"
            if own not in used and (movers := _movers(rig, name, own)):
                told += f", which will move its set points with those of {' and '.join(movers)}"
            recorder.event(EventKind.FOUND_ON, f"{name}.{own}", told)
            delivers = not supply.has_master or supply.master()
            state = "on" if delivers else "switched on, its master switch off"
            found.append(f"{name}.{own} is {state}, and {told}")
    if along:
        raise FoundOn(
            f"{' and '.join(along)}: on, and not used by this run, which would switch it together with the "
            "master switch of its supply. Switch it off first"
        )
    if found and not ways.consent:
        raise FoundOn("; ".join(found) + ". Switch off what should not be on, or agree with --consent")
    return [f"before the run {each}: agreed to by the operator." for each in found]


def _movers(rig: Rig, supply: str, own: str) -> list[str]:
    """The outputs in use with whose set points one that is not in use moves."""
    groups = [group.outputs for group in rig.bench.supplies[supply].coupled if own in group.outputs]
    return [f"{supply}.{each}" for each in rig.used(supply) if any(each in group for group in groups)]


def _minimum(rig: Rig, look: Callable[[], None]) -> None:
    """Lowest set points first, then the word for off: one that switches on instead does so at the lowest
    voltage, and is taken back. The limit of one that is on waits until it is off: a supply may refuse one
    below the current that flows.
    """
    for name, supply in rig.supplies.items():
        for own in rig.used(name):
            look()
            lowest, limit = minimum(own, supply.document.outputs[own])
            was_on = supply.state(own)
            rig.put(name, [lowest] if was_on else [lowest, limit])
            if supply.document.outputs[own].points is not None and supply.supports("voltage_mode"):
                rig.put(name, [OutputSetting(own, "voltage_mode", "fixed")])
            try:
                rig.put(name, [OutputSetting(own, "output", False)])
            except InstrumentError as error:
                if error.lost or not supply.state(own):
                    raise
                words = supply.dialect.words
                # It compares with the wrong word, too: what counts is the state.
                with suppress(InstrumentError):
                    supply.put([OutputSetting(own, "output", True)])
                now = "and it is off again" if not supply.state(own) else "AND IT IS STILL ON"
                raise InstrumentError(
                    name,
                    error.command,
                    f"output {own}: the word for off, '{words['off']}', switched it on, at its lowest "
                    f"voltage; '{words['on']}' was sent, {now}. Mend the words of its dialect",
                ) from None
            if was_on:
                rig.put(name, [limit])


def _ranges(rig: Rig, look: Callable[[], None]) -> None:
    """Ranges before levels, where outputs have them."""
    for _, feed, output in rig.feeds():
        look()
        supply, own = rig.supplies[output.output.supply], output.output.output
        supply.put_ranges(own, protections(rig, feed, output))
        rig.settings.told(supply.name, supply.ranges(own), rig.now())


def _link(rig: Rig, look: Callable[[], None]) -> None:
    """Linked trips within one supply are set in the supply, where its dialect can, and asked back; also that
    there are none: a link of an earlier session would switch off what is to stay on.
    """
    links = own_links(rig.set_points, rig.bench)
    for _, _, points in rig.feeds():
        target, causes = points.output, links.get(points.output, ())
        if rig.bench.supply_of(target).dialect.link is not None:
            look()
            rig.supplies[target.supply].link(target.output, [each.output for each in causes])


def _identify(rig: Rig, recorder: RunRecorder, look: Callable[[], None]) -> None:
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
        recorder.identified(name, identity)
    if missing:
        first, *others = missing
        raise NotReached(first.instrument, "; ".join([first.what, *map(str, others)]))


def minimum(own: str, document: Output) -> list[OutputSetting]:
    """The lowest set points there are."""
    return [
        OutputSetting(own, "voltage", document.voltage.low),
        OutputSetting(own, "current_limit", document.current.low),
    ]


def protections(rig: Rig, feed: Feed, output: OutputSetPoints) -> list[OutputSetting]:
    """OVP, what is done at the limit and after which delay, OPP and OCP, where the voltage is sensed."""
    supply, document = rig.supplies[output.output.supply], rig.bench.output(output.output)
    trips = output.at_limit == "trip"
    ovp, opp, ocp = (math.isfinite(level) for level in (output.ovp, output.opp, output.ocp))
    # It has no other, and the supply does not tell it either.
    fixed = document.fixed_trip_delay and not supply.supports("trip_delay")
    own_delay = document.ocp is not None and document.ocp.delay is not None
    # An output that cannot trip need not be told to regulate, one that cannot sense not to sense at its
    # terminals. Over-power and over-current protection go off where they are there and not asked for.
    wanted: tuple[tuple[bool, Setting, Value], ...] = (
        (ovp, "ovp", output.ovp),
        (ovp and supply.supports("ovp_on"), "ovp_on", True),
        (trips or document.trip_delay is not None, "trip_at_limit", trips),
        (trips and not fixed, "trip_delay", output.trip_delay),
        (opp, "opp", output.opp),
        (ocp, "ocp", output.ocp),
        (ocp and own_delay, "ocp_delay", output.ocp_delay),
        (document.opp is not None and supply.supports("opp_on"), "opp_on", opp),
        (document.ocp is not None and supply.supports("ocp_on"), "ocp_on", ocp),
        (feed.sense == "at load" or document.sense is not None, "sense", feed.sense),
    )
    own = output.output.output
    return [OutputSetting(own, setting, value) for tell, setting, value in wanted if tell]


def limits(rig: Rig, feed: Feed, output: OutputSetPoints) -> list[OutputSetting]:
    """Current limit, and the slew at its fastest; the voltage stays at its minimum until switched on."""
    own = output.output.output
    return [OutputSetting(own, "current_limit", output.current_limit), *_slews(rig, feed, output)]


def _slews(rig: Rig, feed: Feed, output: OutputSetPoints) -> list[OutputSetting]:
    slews = slew_range(feed, rig.bench)
    return [] if slews is None else rig.slew_changes(output, slews[1])


def _limit(rig: Rig, look: Callable[[], None]) -> None:
    """Limits and slews. Limits that the supply couples move each other: they are told in an order, and as
    often as needed, that takes all of a group from their lowest to what was settled; that they are there is
    asked back with every other setting, once all are told.
    """
    in_order = limits_in_order(rig.bench, rig.set_points)
    for _, feed, output in rig.feeds():
        look()
        for told, limit in in_order[output.output]:
            rig.put(told.supply, [OutputSetting(told.output, "current_limit", limit)])
        rig.put(output.output.supply, _slews(rig, feed, output))


def _put(
    rig: Rig, look: Callable[[], None], changes: Callable[[Rig, Feed, OutputSetPoints], list[OutputSetting]]
) -> None:
    for _, feed, output in rig.feeds():
        look()
        rig.put(output.output.supply, changes(rig, feed, output))


def _standing(rig: Rig, recorder: RunRecorder, device: Device, ways: Ways) -> list[str]:
    """Read every output, so that a reading that does not work is found now, and a voltage that stands there.

    One that falls is waited for. One that the device itself holds is expected. Any other is FoundOn without
    consent.
    """
    waited = 0.0
    while True:
        cautions, strange = [], []
        for reading in rig.read(tuple(rig.set_points)):
            name, standing = reading.input, abs(reading.voltage)
            if standing < off_threshold(device, name):
                continue
            held = held_voltage(device, name)
            known = held is not None and standing <= held[1] + off_threshold(device, name)
            facts = Facts(voltage=reading.voltage, held=known)
            found = Event(recorder.at(reading.time), name, EventKind.VOLTAGE_FOUND, facts)
            if not known:
                strange.append(f"{name}: {found.detail}")
            cautions.append(found)
        if not strange or waited >= FALL_WAIT:
            break
        ways.look()
        ways.wait(LOOK_AGAIN)
        waited += LOOK_AGAIN
    recorder.add_all(cautions)
    if strange and not ways.consent:
        told = "; ".join(strange)
        raise FoundOn(
            f"{told}, and nothing in the device's document explains it. Find its source, or agree to it "
            "with --consent"
        )
    return [f"{each.subject}: {each.detail}." for each in cautions]


def _as_data(changes: list[OutputSetting]) -> dict[str, float | bool | str]:
    return {change.setting: change.value for change in changes}
