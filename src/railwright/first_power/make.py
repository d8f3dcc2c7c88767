"""A first power-up made from a device and a bench: two procedures, to be run one after the other.

The limits of a run hold from its beginning to its end and are verified before anything is energised. Little
energy for the leads and all that the device needs for the rise are therefore two runs: between them somebody
looks.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, takewhile
from types import MappingProxyType

from railwright.documents.bench import Bench
from railwright.documents.device import Device
from railwright.documents.hook_up import AUTO, HookUp
from railwright.documents.loader import Documents
from railwright.documents.nodes import compose
from railwright.documents.procedure import DrivenPin, Limits, Procedure
from railwright.documents.translate import validated
from railwright.first_power import conditions as stop
from railwright.first_power import expected
from railwright.first_power.figures import (
    InputFigures,
    NotPossible,
    assumed_of,
    energy_words,
    input_figures,
    reading_error,
    refuse_below_zero,
    rounded_time,
    update_of,
)
from railwright.first_power.steps import PlainStep, leads_steps, order_of, rise_steps
from railwright.first_power.text import Draft, LimitsOf, as_text, listed, names_listed
from railwright.plan.contacts import closed_after, contacts_of
from railwright.plan.off_order import off_order
from railwright.plan.set_points import SetPoints
from railwright.quantities import round_up, show
from railwright.settings.constraints import current_limit, ovp, trip_delay
from railwright.settings.context import FedInput, sources_of
from railwright.settings.hookup import hooked_up
from railwright.settings.settle import settle

HEADROOM = 1.5
"""Current limit at little energy, in parts of the most that is expected."""
NO_LIMIT: Mapping[str, float] = MappingProxyType({})
OVP_ROOM, LEAST_OVP_ROOM = 0.1, 0.3
"""OVP level above a harmless voltage: parts of it, and at least so many volts."""
SLOWEST_RECORD, FASTEST_RECORD = 0.1, 0.01
"""Time between two readings [s]."""


@dataclass(frozen=True, slots=True)
class FirstPower:
    """The two documents: wiring at little energy, then the rise to nominal voltage."""

    leads: str
    rise: str


@dataclass(frozen=True)
class _Scene:
    """What both procedures share."""

    device: Device
    bench: Bench
    paths: tuple[str, str]
    hook_up: Mapping[str, HookUp]
    order: tuple[str, ...]
    gap: float
    every: float
    today: dt.date
    down: tuple[str, ...]
    beside: Mapping[str, tuple[str, ...]]
    pins: Mapping[str, DrivenPin]
    contacts: Mapping[str, bool]
    moving: float
    up_to: Mapping[str, float]

    @property
    def reduced(self) -> tuple[str, ...]:
        """Inputs that stay below their nominal voltage."""
        return tuple(
            name
            for name in self.order
            if name in self.up_to and self.up_to[name] < self.device.inputs[name].nominal
        )

    def documents(self, text: str) -> Documents:
        root, problems = compose(text, "first power")
        if root is None or problems:
            raise NotPossible(f"the procedure cannot be written: {problems[0] if problems else 'no text'}")
        return Documents(self.device, self.bench, validated(Procedure, root.plain()))

    def settled(self, draft: Draft) -> tuple[Documents, SetPoints]:
        """The documents of a draft, and their set points."""
        documents = self.documents(as_text(draft))
        settings = settle(documents, self.today)
        for name in documents.procedure.hook_up:
            if name not in settings.set_points:
                raise NotPossible(f"{name}: its limits cannot be settled; write the procedure by hand")
        return documents, settings.set_points

    def draft(self, title: str, limits: Mapping[str, LimitsOf], steps: tuple[PlainStep, ...]) -> Draft:
        device, bench = self.paths
        return Draft(
            title,
            device,
            bench,
            self.hook_up,
            limits,
            self.order,
            self.down,
            self.gap,
            steps,
            self.every,
            beside=self.beside,
            pins=self.pins,
            contacts=self.contacts,
            moving=self.moving,
        )


def first_power(
    device: Device,
    bench: Bench,
    paths: tuple[str, str],
    given: Procedure | None,
    today: dt.date,
    only: Collection[str] = (),
    up_to: Mapping[str, float] = NO_LIMIT,
) -> FirstPower:
    """The two procedures.

    paths: of the device and the bench document, as the procedures are to name them. given: a procedure whose
    hook-up, orders (of switching on and off), limits, and contacts as they stand at its first power-up are
    taken; None: they are chosen. only: the inputs that are powered; none named: all of them (of `given`).
    up_to: input -> the voltage to which it rises at most [V]; others rise to nominal. Raises NotPossible
    where none can be made, and `railwright.physics.solver.SolverError` where the circuit cannot be solved.
    """
    powered = _powered(device, only, up_to)
    for name, wanted in device.inputs.items():
        if given is None or name in given.hook_up:
            refuse_below_zero(name, wanted)
    written = _written_out(device, bench, given, powered)
    hook_up = written.hook_up
    order, gap = order_of(device, None if given is None else written, powered)
    down = order[::-1] if given is None else off_order(written, device, order)
    outputs = [bench.output(name) for each in hook_up.values() for name in each.outputs]
    every = min(max([FASTEST_RECORD, *map(update_of, outputs)]), SLOWEST_RECORD)
    down = tuple(name for name in down if name in powered)
    beside = {name: tuple(_tied(each, powered)) for name, each in written.limits.items()}
    contacts, moving = _contacts(Documents(device, bench, written))
    scene = _Scene(
        device, bench, paths, hook_up, order, gap, every, today, down, beside, written.pins, contacts, moving,
        up_to,
    )  # fmt: skip
    provisional = scene.draft("x", {name: LimitsOf(1.0, None, 1.0) for name in hook_up}, ())
    documents = scene.documents(as_text(provisional))
    sources, _ = sources_of(documents)
    figures = {name: input_figures(documents, sources, name, up_to.get(name)) for name in order}
    leads = _leads(scene, sources, figures, given)
    return FirstPower(as_text(leads), as_text(_rise(scene, figures, given, leads)))


def _powered(device: Device, only: Collection[str], up_to: Mapping[str, float]) -> tuple[str, ...]:
    """The inputs that are powered, in the device's order. NotPossible where one of these is none."""
    powered = tuple(name for name in device.inputs if name in (only or device.inputs))
    for name in (*only, *up_to):
        if name not in device.inputs:
            raise NotPossible(f"expected an input of the device ({', '.join(device.inputs)}), got '{name}'")
        if name not in powered:
            raise NotPossible(f"{name}: expected an input that is powered, got a voltage for another")
    return powered


def _written_out(
    device: Device, bench: Bench, given: Procedure | None, powered: Collection[str]
) -> Procedure:
    """The given procedure, or one that powers these inputs, with what feeds each input written out.
    NotPossible where something cannot be worked out.
    """
    procedure = given if given is not None else _anything(device, powered)
    hooked = hooked_up(Documents(device, bench, procedure.for_inputs(device.inputs)))
    if hooked.findings:
        raise NotPossible("\n".join(f"{each.why}; {each.remedy}" for each in hooked.findings))
    return hooked.documents.procedure


def _tied(limits: Limits, powered: Collection[str]) -> Iterator[str]:
    """What ties an input to others that are powered in its limits, as a document writes it."""
    for key, names in (("trips_when", limits.trips_when), ("off_after", limits.off_after)):
        if tied := [name for name in names if name in powered]:
            yield f"{key}: {listed(tied)}"


def _protected(limits: Limits) -> Iterator[str]:
    """What else its limits say of normal operation."""
    if limits.feeds_current:
        yield "purpose: current"
    if limits.charge_at_most is not None:
        yield f"charge_at_most: {show(limits.charge_at_most, 'C')}"
    if limits.opp is not None:
        yield f"opp: {'auto' if limits.opp == 'auto' else show(limits.opp, 'W')}"
    if limits.ocp is not None:
        yield f"ocp: {show(limits.ocp, 'A')}"
    if limits.ocp_delay is not None:
        yield f"ocp_delay: {show(limits.ocp_delay, 's')}"


def _contacts(documents: Documents) -> tuple[dict[str, bool], float]:
    """Contacts to be moved before anything is on -> whether they close; and how long that takes [s].

    What lies in a lead closes; what drives a pin stands as at the first power-up. NotPossible where a lead
    stays open: nothing that is played would reach the input, and a dead one would pass.
    """
    lies = contacts_of(documents, documents.procedure.hook_up).values()
    for name, hook_up in documents.procedure.hook_up.items():
        fixture = documents.bench.fixture(hook_up.fixture)
        if fixture is not None and fixture.opened and name not in {each.input for each in lies}:
            raise NotPossible(
                f"{name}: the switch in '{hook_up.fixture}' stands open, and no relay of the bench closes "
                "it; close it and write 'starts: closed' in the bench document"
            )
    stands = closed_after(lies, takewhile(lambda step: step.power_up is None, documents.procedure.steps))
    wanted = {each: stands[each.name] if each.pin else True for each in lies}
    moved = {each: closed for each, closed in wanted.items() if closed != each.starts_closed}
    takes = sum(each.contact.takes(closed) for each, closed in moved.items())
    return {each.name: closed for each, closed in moved.items()}, rounded_time(takes)


def _anything(device: Device, powered: Collection[str]) -> Procedure:
    """A procedure that powers these inputs to their nominal voltage, and asks for no more."""
    limits = {"current_limit": AUTO, "at_limit": "regulate", "ovp": AUTO}
    return validated(
        Procedure,
        {
            "procedure": "first power",
            "device": "device",
            "bench": "bench",
            "hook_up": AUTO,
            "limits": dict.fromkeys(device.inputs, limits),
            "steps": [{"power_up": {"order": list(powered)}}],
            "record": {"every": "10 ms"},
        },
    )


def _leads(
    scene: _Scene,
    sources: Mapping[str, FedInput],
    figures: Mapping[str, InputFigures],
    given: Procedure | None,
) -> Draft:
    """Part 1: limits as low as a healthy device allows, voltages at which nothing starts; those of inputs
    that are not powered as in normal operation.
    """
    steps = leads_steps(figures, scene.order, dict.fromkeys(scene.order, 0.0))
    title = f"First power of {scene.device.device}, 1 of 2: leads, at little energy"
    wide = {
        name: LimitsOf(source.full_current, None, _ovp(source, figures[name], 0.0))
        for name, source in sources.items()
        if name in figures
    }
    off = {name: _wanted_limits(scene, given, name) for name in scene.hook_up if name not in figures}
    provisional = scene.draft(title, {**wide, **dict.fromkeys(off, LimitsOf(1.0, None, 1.0))}, steps)
    resting = _settled_limits(scene, provisional, off) if off else {}
    wide.update(resting)
    draft = scene.draft(title, wide, steps)
    bands = expected.healthy(*scene.settled(draft), _keys(steps))
    low = {name: _low_limits(sources[name], figures[name], bands, steps) for name in scene.order}
    limits = {name: low.get(name) or resting[name] for name in scene.hook_up}
    rises = {name: _blind_rise(sources[name], limits[name]) for name in scene.order}
    steps = leads_steps(figures, scene.order, rises)
    energies = [
        f"{name}: {energy_words(sources[name], limits[name].ovp, limits[name].current)}; "
        f"{show(figures[name].harmless, 'V')} is {figures[name].why}"
        for name in scene.order
    ]
    remarks = (
        f"First power of {scene.device.device}, part 1 of 2: are the leads right, and is the device "
        "what its document says? Made by railwright first-power; read it, and change what you know better.",
        "Each input by itself: a short and a wrong polarity show at 1 V or less, exchanged leads, an open "
        "lead and a wrong capacitance by the current that charges it on the way to a voltage at which "
        "nothing starts. Sense leads that lie wrong let the output rise: its OVP, set low, ends that.",
        *energies,
        *_in_part(scene),
        *_unseen_sense(scene),
        *_by_themselves(scene),
        *(said for name in scene.order for said in assumed_of(sources[name])),
        "Run part 2 only after this one has been played to its end.",
    )
    return _watched(scene, replace(draft, limits=limits, steps=steps, remarks=remarks))


def _rise(scene: _Scene, figures: Mapping[str, InputFigures], given: Procedure | None, leads: Draft) -> Draft:
    """Part 2: to the nominal voltages by stages, with the limits of normal operation."""
    steps = rise_steps(figures, scene.order, reduced=bool(scene.reduced))
    title = f"First power of {scene.device.device}, 2 of 2: rise by stages"
    # Where nothing is played that part 1 has not played, its limits are those to keep.
    higher = [name for name in scene.order if figures[name].levels[-1] > figures[name].harmless]
    wanted = {name: _wanted_limits(scene, given, name) for name in higher}
    beside = {**scene.beside}
    beside.update({name: (*beside.get(name, ()), *_protected(each)) for name, each in wanted.items()})
    draft = scene.draft(title, leads.limits, steps)
    limits = {**leads.limits, **_settled_limits(scene, draft, wanted)}
    goal = "reduced or nominal" if scene.reduced else "nominal"
    remarks = (
        f"First power of {scene.device.device}, part 2 of 2: to the {goal} voltages by stages, each input "
        "in turn, with the current that each stage should draw. Made by railwright first-power; read it, and "
        "change what you know better.",
        "Only after part 1 has been played to its end: it tells whether the leads are right.",
        *_in_part(scene),
        *_late(scene),
        *_by_themselves(scene),
    )
    return _watched(scene, replace(draft, limits=limits, beside=beside, remarks=remarks))


def _settled_limits(scene: _Scene, draft: Draft, wanted: Mapping[str, Limits]) -> dict[str, LimitsOf]:
    """Limits that are wanted of some inputs, in numbers, with their reasons. NotPossible where one cannot be
    worked out.
    """
    documents = scene.documents(as_text(draft))
    limits = {**documents.procedure.limits, **wanted}
    settings = settle(documents.with_procedure(limits=limits), scene.today)
    missing = [name for name in wanted if name not in settings.set_points]
    if missing:
        lines = [f"{f.why}; {f.remedy}" for f in settings.findings if f.blocks and f.about in missing]
        raise NotPossible("\n".join(lines or [f"no set points for {names_listed(missing)}"]))
    why = {(each.about, each.setting): each.why for each in settings.reasons}
    return {
        name: LimitsOf(
            feed.limit,
            feed.outputs[0].trip_delay if feed.outputs[0].at_limit == "trip" else None,
            feed.ovp,
            why.get((name, "current_limit"), ""),
            why.get((name, "trip_delay"), ""),
            why.get((name, "ovp"), ""),
        )
        for name, feed in settings.set_points.items()
        if name in wanted
    }


def _in_part(scene: _Scene) -> list[str]:
    """Which inputs are not powered, and which stay below nominal; and what that means."""
    said = []
    if left := [name for name in scene.hook_up if name not in scene.order]:
        said.append(f"Not powered, and not looked at: {names_listed(left)}.")
    for name in scene.reduced:
        wanted, volts = scene.device.inputs[name], scene.up_to[name]
        below = volts < wanted.operating.low
        said.append(
            f"{name} rises to {show(volts, 'V')} at most, not to its nominal {show(wanted.nominal, 'V')}"
            + (f": below its operating range of {wanted.operating.text} it need not run." if below else ".")
        )
    return said


def _by_themselves(scene: _Scene) -> list[str]:
    """What the supplies and their outputs do by themselves: when the mains return, and while they are off."""
    used = [output for hook_up in scene.hook_up.values() for output in hook_up.outputs]
    comes = [
        name
        for name in dict.fromkeys(output.supply for output in used)
        if scene.bench.supplies[name].after_mains != "stays off"
    ]
    said = []
    if comes:
        said.append(
            f"Should the mains fail, switch off the mains of {names_listed(comes)} before they return: "
            "outputs may come back on by themselves and power the untested device."
        )
    takes = [output for output in used if scene.bench.output(output).takes_in_off]
    if takes:
        said.append(f"While off, {names_listed(takes)} take in current from whatever source the device has.")
    return said


def _wanted_limits(scene: _Scene, given: Procedure | None, name: str) -> Limits:
    """Limits of normal operation: those of the given procedure, or `auto`; tripping where the outputs can.

    Of outputs in parallel the one that is set a little higher carries up to its limit, and would trip there.
    """
    if given is not None and name in given.limits:
        return given.limits[name]
    outputs = [scene.bench.output(output) for output in scene.hook_up[name].outputs]
    action = {"at_limit": "regulate"}
    joined = scene.hook_up[name].arrangement == "parallel"
    if not joined and all(output.trip_delay is not None for output in outputs):
        action = {"at_limit": "trip", "trip_delay": "auto"}
    return Limits.model_validate({"current_limit": "auto", "ovp": "auto", **action})


def _watched(scene: _Scene, draft: Draft) -> Draft:
    """The draft with its stop conditions, by what each step draws when all is well and when it is not."""
    documents, set_points = scene.settled(draft)
    sources, _ = sources_of(documents)
    keys = _keys(draft.steps)
    bands = expected.healthy(documents, set_points, keys)
    less = expected.less_capacitance(documents, set_points, keys)
    exchanged: dict[str, dict[str, Mapping[tuple[str, str], float]]] = {name: {} for name in scene.order}
    for one, other in combinations(scene.order, 2):
        drawn = expected.exchanged(documents, set_points, keys, (one, other))
        exchanged[one][other] = exchanged[other][one] = drawn
    watched = []
    for step in draft.steps:
        for name in step.watched:
            source, limit = sources[name], draft.limits[name].current
            suspects = stop.suspects_of(source, keys, less, exchanged[name])
            band = bands[step.name, name]
            watched.append(stop.watch(step, source, band, limit, suspects, stop.raises(source)))
    trips = [
        (name, trip, likely)
        for name in scene.order
        for trip, likely in stop.trip_conditions(
            sources[name], [other for other in scene.hook_up if other != name]
        )
        if trip == "OVP" or draft.limits[name].delay is not None
    ]
    remarks = (*draft.remarks, *_not_told(watched, scene.order, sources))
    return replace(draft, watched=tuple(watched), trips=tuple(trips), remarks=remarks)


def _not_told(
    watched: Sequence[stop.Watched], order: Sequence[str], sources: Mapping[str, FedInput]
) -> list[str]:
    """What no step of a procedure can tell from a healthy device, input by input."""
    said = []
    for name in order:
        own = [each for each in watched if each.input == name]
        seen = {words for each in own for words in each.seen}
        missed = dict.fromkeys(words for each in own for words in each.unseen if words not in seen)
        told = list(missed)
        if own and stop.hides_polarity(sources[name]):
            told.insert(0, "a reversed polarity, as resistors and capacitors draw the same either way")
        if told:
            said.append(f"{name}: no current in this procedure tells {', or '.join(told)}")
    return said


def _keys(steps: Sequence[PlainStep]) -> list[tuple[str, str]]:
    return [(step.name, name) for step in steps for name in step.watched]


def _low_limits(
    source: FedInput, figures: InputFigures, bands: expected.Bands, steps: Sequence[PlainStep]
) -> LimitsOf:
    """Limits at little energy: what a healthy device and the output's own capacitor ask for, and more."""
    own = [step for step in steps if step.input == source.name]
    steepest = max((s.stop - s.start) / s.duration for s in own if s.kind == "ramp")
    charging = (source.charged or 0.0) * steepest
    most = max(bands[step.name, source.name][1] for step in own)
    wanted = HEADROOM * (most + charging) + 2 * reading_error(source, "current", most)
    if source.parallel:
        wanted *= source.count  # the one that is set a little higher carries it all
    wanted += 2 * (source.limit_error(wanted) or 0.0)
    limit = min(round_up(max(wanted, current_limit.range_of(source).low, 1e-3)), source.full_current)
    reach = trip_delay.range_of(source)
    level = _ovp(source, figures, limit)
    why = (
        f"up to {show(most, 'A', 3)} into the device in the cases rehearsed and {show(charging, 'A', 3)} "
        f"into the output's own capacitor, times {HEADROOM:g}, and the errors of limit and reading"
    )
    made = LimitsOf(limit, None, level, why)
    # Where one of outputs in parallel cannot carry it all, it regulates at its limit while the others help.
    alone = source.surely(limit) / source.count if source.parallel else math.inf
    if len(reach.reaches) < source.count or alone < most + charging:
        return made
    rise = _blind_rise(source, made)
    delay = min(max(reach.low, rounded_time(max(2 * figures.blind, rise))), reach.high)
    told = f"longer than the {show(rise, 's', 2)} in which an output with wrong sense leads gets to its OVP"
    return replace(made, delay=delay, why_delay=told if rise > 0.0 else "")


def _blind_rise(source: FedInput, limits: LimitsOf) -> float:
    """In what time an output that does not see its voltage gets to its OVP at the current limit, with room
    [s]; 0 without sense leads.
    """
    if not source.senses:
        return 0.0
    return HEADROOM * source.capacitance * limits.ovp / limits.current


def _ovp(source: FedInput, figures: InputFigures, limit: float) -> float:
    """OVP level a little above the harmless voltage [V], within what the outputs can be set to."""
    volts = figures.harmless
    room = max(OVP_ROOM * volts, LEAST_OVP_ROOM) + (source.voltage_error(volts) or 0.0)
    room += 2 * (source.ovp_error or 0.0) + (source.drop(limit) if source.senses else 0.0)
    return max(round_up(volts + room), round_up(ovp.range_of(source).low))


def _unseen_sense(scene: _Scene) -> list[str]:
    """What the readings cannot tell of sense leads."""
    said = []
    for name, hook_up in scene.hook_up.items():
        outputs = [scene.bench.output(output) for output in hook_up.outputs]
        if hook_up.sense != "at load":
            continue
        if any(output.sense is not None and output.sense.open == "falls back" for output in outputs):
            said.append(
                f"{name}: its output falls back on its terminals when a sense lead is open, and no reading "
                "shows that: with a meter, compare the voltage at the connector with the set point under load"
            )
        if any(output.ovp is None or output.ovp.at == "sense" for output in outputs):
            said.append(
                f"{name}: nothing watches the voltage at its output's terminals: with sense leads reversed "
                "or shorted it rises as far as it can. Check them with a meter before this procedure is run"
            )
    return said


def _late(scene: _Scene) -> list[str]:
    """What the device asks for and a slow rise cannot give."""
    return [
        f"The device document wants {rule.then} {show(rule.delay.low, 's')} to "
        f"{show(rule.delay.high, 's')} after {rule.after}: the outputs are switched on so, at 0 V; their "
        "voltages rise one after the other."
        for rule in scene.device.order
        if {rule.after, rule.then} <= set(scene.order)
    ]
