"""Faults to rehearse, one function each: where it can happen, how it is brought about, and its remedy.

A function yields a trial for every place at which its fault can happen. `faults` plays and judges them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import combinations
from typing import TYPE_CHECKING

from railwright.assumptions import Assumption
from railwright.physics import output_stage
from railwright.physics.output_stage import blind_weight
from railwright.plan.set_points import Feed
from railwright.plan.timeline import Action, Timeline
from railwright.quantities import show
from railwright.rehearsal.fault_scene import Scene, Trial

if TYPE_CHECKING:
    from railwright.physics.simulation import Simulation

SHORT = 10e-3
"""Resistance of a short [Ω] (declared)."""
SENSE_LEAD = 0.5
"""Resistance of a sense lead where the bench does not give it [Ω] (common practice, no source)."""
SLIP = 10.0
"""Factor by which a figure is mistyped."""

CEILING = Assumption(
    "", f"an output that no longer sees its voltage stops at {output_stage.CEILING:g} times its rated voltage"
)
Fault = Callable[[Scene], Iterator[Trial]]


def short(scene: Scene) -> Iterator[Trial]:
    """A short across the connector, in steady operation."""
    for name in scene.set_points:

        def act(simulation: Simulation, name: str = name) -> None:
            simulation.change_lead(name, short=SHORT)

        yield Trial(
            "short",
            "short at the load",
            (name,),
            "let the output trip at its limit, with a shorter delay or a lower limit; or a fuse in the lead",
            act,
            energy_in="the short",
            part=SHORT,
            own_source="a fuse at the device's own source stops that current; for what the supply feeds: ",
            assumed=(Assumption("", f"a short has {show(SHORT, 'ohm')}"),),
        )


def sense_open(scene: Scene) -> Iterator[Trial]:
    """A sense lead comes off: the output falls back on its terminals, or rises."""
    for name, feed in _sensed(scene):
        told = [output.sense.open if output.sense else None for _, output in scene.outputs(feed)]
        rises = any(each != "falls back" for each in told)
        assumed: tuple[Assumption, ...] = (CEILING,) if rises else ()
        if None in told:
            assumed = (
                *assumed,
                Assumption(
                    name,
                    "what its output does with an open sense lead is not given: that it rises assumed, which "
                    "is worse",
                ),
            )
        act = _blind(scene, feed) if rises else _at_terminals(feed)
        yield Trial("sense_open", "sense lead open", (name,), _REMEDY_RISES, act, assumed=assumed)


def sense_reversed(scene: Scene) -> Iterator[Trial]:
    """Both sense leads exchanged: the output sees its voltage with the wrong sign, and rises."""
    return _sense_blind(scene, "reversed")


def sense_shorted(scene: Scene) -> Iterator[Trial]:
    """Both sense leads joined: the output sees 0 V, and rises."""
    return _sense_blind(scene, "shorted")


def _sense_blind(scene: Scene, how: str) -> Iterator[Trial]:
    """With its sense leads like this the output does not see its voltage."""
    for name, feed in _sensed(scene):
        act = _blind(scene, feed)
        yield Trial(f"sense_{how}", f"sense leads {how}", (name,), _REMEDY_RISES, act, assumed=(CEILING,))


def sense_crossed(scene: Scene) -> Iterator[Trial]:
    """The sense leads of two inputs exchanged: each output regulates the other's voltage."""
    for (one, _), (other, _) in combinations(_sensed(scene), 2):
        yield Trial(
            "sense_crossed",
            f"sense leads of {one} and {other} crossed",
            (one, other),
            "power and sense of each input together in one plug; an OVP that the device withstands",
            crossed=(one, other),
            assumed=(CEILING, Assumption("", "crossed sense leads are computed in steps of 20 µs and more")),
        )


def power_open(scene: Scene) -> Iterator[Trial]:
    """One power conductor comes off, and its sense lead carries the current."""
    branches = {branch.name: branch for branch in scene.circuit.branches}
    for name, feed in _sensed(scene):
        own = [output.sense.lead_resistance if output.sense else None for _, output in scene.outputs(feed)]
        known = [each for each in own if each is not None]
        thin = max(known) if known else SENSE_LEAD
        loop = 0.5 * branches[name].lead.resistance + thin
        ceiling = min(
            output_stage.CEILING * output.voltage.high / points.share
            for points, output in scene.outputs(feed)
        )

        def act(
            simulation: Simulation,
            name: str = name,
            feed: Feed = feed,
            loop: float = loop,
            most: float = ceiling,
        ) -> None:
            current = simulation.output(feed.outputs[0].output).current
            simulation.change_lead(name, resistance=loop)
            if scene.levels[name] + loop * current > most:
                _blind(scene, feed)(simulation)

        assumed = (
            ()
            if known
            else (
                Assumption(
                    name, f"resistance of a sense lead is not given: {show(SENSE_LEAD, 'ohm')} assumed"
                ),
            )
        )
        yield Trial(
            "power_open",
            "power lead open",
            (name,),
            "a plug that opens power and sense together, a small fuse in each sense lead, or sense leads "
            "that bear the current limit",
            act,
            energy_in="the sense lead",
            part=thin,
            assumed=assumed,
            note="its sense lead carries the current",
        )


def reversed_lead(scene: Scene) -> Iterator[Trial]:
    """The lead's conductors exchanged before the power-up."""
    for name, feed in scene.set_points.items():
        fixture = scene.documents.bench.fixture(feed.fixture)
        blocks = fixture is not None and fixture.diode is not None

        def act(simulation: Simulation, name: str = name, blocks: bool = blocks) -> None:
            # A fixture stands at the input: its diode sees the reversed lead, and blocks.
            simulation.change_lead(name, reversed_lead=not blocks, opened=True if blocks else None)

        yield Trial(
            "reversed",
            "lead reversed",
            (name,),
            "no setting prevents it; take a plug that fits one way only, or a diode in the lead, and measure "
            "the polarity at the plug before the first power-up",
            act,
            at_power_up=True,
            reverses=not blocks,
            note=_tied(scene, feed)
            or (f"the diode in '{feed.fixture}' blocks" if blocks else "")
            or ("the diode inside blocks" if scene.documents.device.inputs[name].diode_inside else "")
            or "the load model alone is computed: what protects the input, or breaks, is in no document",
        )


def limit_mistyped(scene: Scene) -> Iterator[Trial]:
    """The current limit ten times too high, as far as the output can."""
    for feed in scene.set_points.values():
        points = tuple(
            replace(each, current_limit=_typed(each.current_limit, output.current.high))
            for each, output in scene.outputs(feed)
        )
        wrong = replace(feed, outputs=points)
        typed = show(wrong.limit, "A")
        note = f"with it, a second fault lets up to {typed} flow"
        yield from _mistyped(scene, "limit_mistyped", f"current limit typed as {typed}", wrong, note)


def ovp_mistyped(scene: Scene) -> Iterator[Trial]:
    """The level of the OVP ten times too high, as far as the output can."""
    for name, feed in scene.set_points.items():
        points = tuple(
            replace(each, ovp=_typed(each.ovp, output.ovp.level.high)) if output.ovp else each
            for each, output in scene.outputs(feed)
        )
        wrong = replace(feed, outputs=points)
        typed = show(wrong.ovp, "V")
        note = f"with it, a second fault raises {name} up to {typed} before it trips"
        yield from _mistyped(scene, "ovp_mistyped", f"OVP typed as {typed}", wrong, note)


def voltage_mistyped(scene: Scene) -> Iterator[Trial]:
    """The voltage ten times too high, as far as the output can."""
    for name, feed in scene.set_points.items():
        most = min(output.voltage.high / points.share for points, output in scene.outputs(feed))
        goal = _typed(scene.levels[name], most)
        if goal <= scene.levels[name]:
            continue
        yield Trial(
            "voltage_mistyped",
            f"voltage typed as {show(goal, 'V')}",
            (name,),
            "a lower OVP; the output's voltage range limited, where it can be",
            at_power_up=True,
            timeline=_with_voltage(scene.timeline, name, goal / scene.levels[name]),
        )


def supply_out(scene: Scene) -> Iterator[Trial]:
    """A supply drops out: all of its outputs go off together."""
    for supply in scene.documents.bench.supplies:
        lost = tuple(
            points.output
            for feed in scene.set_points.values()
            for points in feed.outputs
            if points.output.supply == supply
        )
        names = tuple(
            name
            for name, feed in scene.set_points.items()
            if any(points.output in lost for points in feed.outputs)
        )

        def act(simulation: Simulation, lost: tuple[str, ...] = lost) -> None:
            for output in lost:
                simulation.set(output, on=False)

        if lost:
            yield Trial(
                "supply_out",
                f"supply '{supply}' drops out",
                names,
                "feed inputs that must not be alone from one supply, or watch them in 'stop_when'",
                act,
            )


FAULTS: tuple[Fault, ...] = (
    short,
    sense_open,
    sense_reversed,
    sense_shorted,
    sense_crossed,
    power_open,
    reversed_lead,
    limit_mistyped,
    ovp_mistyped,
    voltage_mistyped,
    supply_out,
)
"""Every fault that is rehearsed."""

_REMEDY_RISES = (
    "an OVP at the terminals that the device withstands; resistors from sense to power at the supply, so "
    "that it falls back; or sense at the terminals"
)


def _typed(meant: float, most: float) -> float:
    """What stands there after the slip: as far as the output takes it."""
    return max(meant, min(SLIP * meant, most))


def _sensed(scene: Scene) -> list[tuple[str, Feed]]:
    return [(name, feed) for name, feed in scene.set_points.items() if feed.sense == "at load"]


def _tied(scene: Scene, feed: Feed) -> str:
    """What a reversed lead does where both the input's 0 V and the output's negative are tied somewhere."""
    bench, returns = scene.documents.bench, scene.documents.device.inputs[feed.input].returns
    earthed = any(output.negative == "earth" for _, output in scene.outputs(feed))
    joined = any(
        points.output.output in bench.supply_of(points.output).common_negative for points in feed.outputs
    )
    if returns == "isolated" or not (earthed or joined):
        return ""
    return "beyond this it shorts the output through the tied returns, which is not computed"


def _blind(scene: Scene, feed: Feed) -> Callable[[Simulation], None]:
    def act(simulation: Simulation) -> None:
        for points, output in scene.outputs(feed):
            told = simulation.output(points.output).reference
            simulation.set(points.output, sense=(blind_weight(told, output.voltage.high), 0.0))

    return act


def _at_terminals(feed: Feed) -> Callable[[Simulation], None]:
    def act(simulation: Simulation) -> None:
        for points in feed.outputs:
            simulation.set(points.output, sense="terminals")

    return act


def _mistyped(scene: Scene, fault: str, title: str, wrong: Feed, note: str) -> Iterator[Trial]:
    if wrong == scene.set_points[wrong.input]:
        return
    remedy = "set points queried back after setting, and read by a second person"
    changed = {**scene.set_points, wrong.input: wrong}
    yield Trial(fault, title, (wrong.input,), remedy, at_power_up=True, set_points=changed, note=note)


def _with_voltage(timeline: Timeline, name: str, factor: float) -> Timeline:
    """The timeline with one input's voltages multiplied; it rises as steeply as before."""

    def changed(action: Action) -> Action:
        if action.input != name:
            return action
        return replace(action, voltage=action.voltage * factor, over=action.over * factor)

    actions = tuple(changed(action) for action in timeline.actions)
    end = max((action.time + action.over for action in actions), default=0.0)
    return Timeline(actions, timeline.spans, max(timeline.duration, end), contacts=timeline.contacts)
