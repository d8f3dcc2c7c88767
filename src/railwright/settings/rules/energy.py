"""Rules about stored energy: what stays in the capacitors, and for how long after switching off."""

from __future__ import annotations

import math
from typing import NamedTuple

from railwright.documents.figures import off_sink
from railwright.guard.off_level import DECAY
from railwright.physics import halving
from railwright.plan.off_order import held_voltage, off_threshold
from railwright.quantities import Statement, joined, named, state
from railwright.settings.context import Context, FedInput
from railwright.settings.findings import Ranking, Severity
from railwright.settings.rule import Hit, Outcome, Unknown, of_every, rule, with_seen
from railwright.settings.rules.judge import inputs

HAZARDOUS_ENERGY = 20.0
"""Stored energy that is a hazard at 2 V or more [J] (IEC 60950-1, energy hazards, from memory)."""

FALLEN = 1.0
"""Voltage below which an input counts as discharged [V]; a choice of this program."""

LITTLE = 1e-3
"""Part of a voltage that may drop in a capacitor's series resistance and does not count."""

HALVINGS = 60
"""Halvings by which the connector's voltage is sought."""

PATIENCE = 1.0
"""Time after switching off within which an input should be discharged [s]; a choice of this program."""


@rule("stored-energy", Severity.CAUTION, worst=Ranking("energy"))
@of_every(inputs)
def stored_energy(source: FedInput) -> Outcome:
    """The capacitors of an input hold, at the highest voltage played, an energy that can do harm (½CV²)."""
    highest, most = source.played.highest, source.load.capacitance.high
    if highest is None:
        return
    energy = 0.5 * most * highest.voltage**2
    if energy >= HAZARDOUS_ENERGY:
        yield Hit(
            source.name,
            (*source.at_input, "load"),
            state(
                "{capacitance} at {highest} hold {energy}; {hazardous_energy:g} J count as hazardous "
                "(IEC 60950-1, from memory)",
                capacitance=(most, "F"),
                highest=(highest.voltage, "V"),
                energy=(energy, "J"),
                hazardous_energy=(HAZARDOUS_ENERGY, "J"),
            ),
            "let it discharge through a resistor before touching or unplugging anything",
        )


@rule("slow-discharge", Severity.NOTE, worst=Ranking("discharge_time"))
@of_every(inputs)
def slow_discharge(source: FedInput) -> Outcome:
    """After switching off, only a bleeder, or what the output takes in then, discharges the input, and that
    takes long.
    """
    highest, found = source.played.highest, discharge_of(source)
    if highest is not None and found is not None:
        if found.through is None:
            yield Unknown(
                source.name,
                (*source.at_output, "bleeder"),
                "bleeder of the output",
                "how long it stays charged after switching off",
            )
        elif found.time is not None and found.time > PATIENCE:
            yield Hit(
                source.name,
                source.at_output,
                state(
                    "{capacitance} discharge from {highest} to {discharged} in {emptied}",
                    capacitance=(found.farads, "F"),
                    highest=(highest.voltage, "V"),
                    discharged=(FALLEN, "V"),
                    emptied=found.emptied,
                ),
                "after switching off, wait that long before touching or unplugging anything",
            )


@rule("off-late", Severity.CAUTION, worst=Ranking("discharge_time"))
@of_every(with_seen(inputs))
def off_late(context: Context, source: FedInput) -> Outcome:
    """Switched off, an input takes longer to fall than a run waits for that: it ends as *off not confirmed*,
    exit code 6, though its outputs are off.
    """
    device, highest = context.device, source.played.highest
    stays = source.limits.at_end.stays_on is not None or held_voltage(device, source.name) is not None
    blocks = source.fixture is not None and source.fixture.diode is not None
    if highest is None or stays or blocks:
        return  # it is not to fall; or what is read is the output's own side of a diode
    threshold, ramp = off_threshold(device, source.name), source.limits.at_end.ramp_down
    found = discharge_of(source, until=threshold)
    sunk = discharge_of(source, sinks=True, until=threshold) if ramp and _led_down(context, source) else None
    in_time = ramp is not None and sunk is not None and sunk.time is not None and sunk.time <= ramp
    unless = ""
    remedy = (
        "give it a resistor that empties it in time, or an output that sinks and a 'ramp_down' as long as "
        "that takes (which a 'power_down' leaves out: it switches off at once)"
    )
    if in_time:
        unless = state(
            "; so it is where a trip or a fault ends the run, else the ramp of {ramp_down} empties it first",
            ramp_down=(ramp or 0.0, "s"),
        )
        remedy = "give it a resistor that empties it in time"
    if found is not None and found.time is not None and found.time > DECAY:
        yield Hit(
            source.name,
            (*source.at_input, "load"),
            state(
                "switched off at {highest}, {capacitance} fall below {threshold} in {emptied}; a run waits "
                "{waits} for that, and then ends with exit code 6, off not confirmed{unless}",
                highest=(highest.voltage, "V"),
                capacitance=(found.farads, "F"),
                threshold=(threshold, "V"),
                emptied=found.emptied,
                waits=(DECAY, "s"),
                unless=unless,
            ),
            remedy,
        )


def confirmed_off_in(context: Context, source: FedInput) -> float:
    """Longest time from an input's switching-off until it is read below what counts as off [s], from the
    highest voltage played; infinite: no figure tells. 0: behind a diode, where the output's own side is read,
    which its own capacitor alone holds up; and where the device holds a voltage.
    """
    blocks = source.fixture is not None and source.fixture.diode is not None
    if blocks or held_voltage(context.device, source.name) is not None:
        return 0.0
    found = discharge_of(source, until=off_threshold(context.device, source.name))
    if found is None:
        return 0.0
    return math.inf if found.time is None else found.time


def _led_down(context: Context, source: FedInput) -> bool:
    """Whether an input is on where the procedure ends, so that it is led down before it goes off."""
    switched = [each.kind for each in context.timeline.actions if each.input == source.name]
    return [kind for kind in switched if kind != "line"][-1:] == ["on"]


class Discharge(NamedTuple):
    """How an input's capacitors empty.

    farads: of all that empty together [F]. time: longest, from the highest voltage played to `until`, or to
    `FALLEN` [s]; None: unknown. through: by what, for people; None: the bleeder is unknown.
    """

    farads: float
    time: float | None
    through: str | None

    @property
    def emptied(self) -> Statement:
        """In how long, where that is known, and through what: 'up to 3 s (bleeder 1 kΩ, ...)'."""
        takes = (
            named("discharge_time", self.time, "s")
            if self.time is not None and self.time < math.inf
            else "a time that no figure gives"
        )
        return state(
            "up to {takes} ({through}, least draw of the load)", takes=takes, through=self.through or ""
        )


def discharge_of(source: FedInput, *, sinks: bool = False, until: float | None = None) -> Discharge | None:
    """How an input empties; None: nothing is there to empty.

    sinks: its outputs are on, and take in what they can; else they are off, and take in what they take then.
    until: down to which voltage at the connector [V]; None: until its capacitors themselves have fallen to
    `FALLEN`.
    """
    highest, most = source.played.highest, source.load.capacitance.high
    if highest is None or highest.voltage <= (until or FALLEN) or most == 0.0:
        return None
    # Through a diode neither the output's bleeder nor its capacitor has a part in it.
    if source.fixture is not None and source.fixture.diode is not None:
        time = discharging_time(source, most, math.inf, highest.voltage, until=until)
        return Discharge(most, time, f"the diode in '{source.fixture_name}' blocks")
    bleeder = source.bleeder
    if bleeder is None:
        return Discharge(most, None, None)
    own, farads = source.output_capacitance, source.holding
    through, sunk = state("bleeder {bleeder}", bleeder=(bleeder, "ohm")), _own(source, sinks)
    if taken := (sum if source.parallel else min)(each for _, _, each in sunk):
        through = state("{bleeder}, {sunk} into the output", bleeder=through, sunk=(taken, "A"))
    time = discharging_time(source, farads, bleeder, highest.voltage, taken, until=until)
    if source.series and own is not None:
        apart = _in_series(source, highest.voltage, sunk, until or FALLEN)
        slow = behind(source, highest.voltage, bleeder, taken) > 0.0
        time = apart if not slow or time is None or apart is None else max(time, apart)
        each = [
            state(
                "{capacitance} with {bleeder} in {output}",
                capacitance=(f, "F"),
                bleeder=(r, "ohm"),
                output=name,
            )
            for name, (f, r, _) in zip(source.names, sunk, strict=True)
        ]
        through = state("{bleeder}: {each}", bleeder=through, each=joined(", ", each))
    if ohms := behind(source, highest.voltage, bleeder, taken):
        through = state("{bleeder}, behind {ohms}", bleeder=through, ohms=(ohms, "ohm"))
    if own is None:
        through = state(
            "{bleeder}, the output's own capacitor not counted, as it is not given", bleeder=through
        )
    return Discharge(farads, time, through)


def _own(source: FedInput, on: bool) -> list[tuple[float, float, float]]:
    """Of each output its capacitor [F], its bleeder [Ω] and what it takes in, while it is on or off [A]; 0
    where that is unknown, and not counted on.
    """
    return [
        (o.output_capacitance or 0.0, o.bleeder or 0.0, (o.sink if on else off_sink(o)) or 0.0)
        for o in source.rows
    ]


def _in_series(
    source: FedInput, voltage: float, own: list[tuple[float, float, float]], until: float
) -> float | None:
    """Longest time in which outputs in series, each with its own capacitor and bleeder, and the load's
    capacitor fall from a voltage to another together [s], at the load's least draw. None: that is unknown.
    """
    from railwright.physics import series_discharge

    load = source.load
    if load.current(voltage) is None:
        return None

    def drawn(level: float) -> float:
        return max(bounds.low, 0.0) if (bounds := load.current(level)) is not None else 0.0

    farads, ohms, sunk = zip(*own, strict=True)
    begin = [voltage * share for share in source.shares]
    return series_discharge.discharging_time(begin, farads, ohms, sunk, load.capacitance.high, drawn, until)


def behind(source: FedInput, voltage: float, bleeder: float, taken: float) -> float:
    """The series resistance through which an input's capacitors empty [Ω]: the largest of them, as what is
    held lies behind that at most; 0: at most `LITTLE` of the voltage drops there, or it is unknown.
    """
    flows, ohms = _flows(source, voltage, bleeder, taken), source.load.series_resistance
    return ohms if flows is not None and ohms * flows > LITTLE * voltage else 0.0


def _flows(source: FedInput, voltage: float, bleeder: float, taken: float) -> float | None:
    """The least that empties an input at a voltage of its connector [A]; None: unknown."""
    drawn = source.load.current(voltage)
    return None if drawn is None else voltage / bleeder + max(drawn.low, 0.0) + taken


def discharging_time(
    source: FedInput,
    most: float,
    bleeder: float,
    voltage: float,
    taken: float = 0.0,
    *,
    until: float | None = None,
) -> float | None:
    """Longest time from `voltage` on down [s]: ∫ C du / (v/R + I_load(v) + I_taken), least draw, with u = v +
    R_s i behind the capacitors' series resistance. until: the connector's voltage v at the end [V]; None: the
    capacitors' own u is `FALLEN`.
    """
    ohms = behind(source, voltage, bleeder, taken)
    if source.load.current(voltage) is None:
        return None

    def flows(level: float) -> float:
        return _flows(source, level, bleeder, taken) or 0.0

    def at(held: float) -> float:
        """The connector's voltage while the capacitors hold so much."""
        if not ohms:
            return held
        return halving.least(lambda level: level + ohms * flows(level) >= held, 0.0, held, HALVINGS)

    begin, end = at(voltage), at(FALLEN) if until is None else until
    time, previous = 0.0, begin
    if begin <= end:
        return time
    for index in range(1, 201):
        current = begin * (end / begin) ** (index / 200)
        middle = math.sqrt(previous * current)
        drawn = flows(middle)
        if drawn == 0.0:
            return math.inf
        # A load that draws less at a lower voltage lets go of it at once.
        fallen = previous - current + ohms * (flows(previous) - flows(current))
        time += most * max(0.0, fallen) / drawn
        previous = current
    return time
