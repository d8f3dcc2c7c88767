"""Rules about stored energy: what stays in the capacitors, and for how long after switching off."""

from __future__ import annotations

import math
from collections.abc import Iterator

from railwright.documents.figures import off_sink
from railwright.guard.off_level import DECAY
from railwright.physics import halving
from railwright.plan.off_order import held_voltage, off_threshold
from railwright.quantities import Statement, joined, named, state
from railwright.settings.context import Context, FedInput
from railwright.settings.findings import Ranking, Severity
from railwright.settings.rule import Hit, Outcome, Unknown, of_every, rule, with_seen

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


def _charged(context: Context) -> Iterator[tuple[FedInput, float]]:
    """Inputs with a capacitor, and the highest voltage that is played on each [V]."""
    return (
        (source, highest.voltage)
        for source in context.sources.values()
        if (highest := source.played.highest) is not None and source.load.capacitance.high > 0.0
    )


@rule("stored-energy", Severity.CAUTION, worst=Ranking("energy"))
@of_every(_charged)
def stored_energy(source: FedInput, highest: float) -> Outcome:
    """The capacitors of an input hold, at the highest voltage played, an energy that can do harm (½CV²)."""
    most = source.load.capacitance.high
    energy = 0.5 * most * highest**2
    if energy >= HAZARDOUS_ENERGY:
        yield Hit(
            source.name,
            (*source.at_input, "load"),
            state(
                "{capacitance} at {highest} hold {energy}; {hazardous_energy:g} J count as hazardous "
                "(IEC 60950-1, from memory)",
                capacitance=(most, "F"),
                highest=(highest, "V"),
                energy=(energy, "J"),
                hazardous_energy=(HAZARDOUS_ENERGY, "J"),
            ),
            "let it discharge through a resistor before touching or unplugging anything",
        )


@rule("slow-discharge", Severity.NOTE, worst=Ranking("discharge_time"))
@of_every(_charged)
def slow_discharge(source: FedInput, highest: float) -> Outcome:
    """After switching off, only a bleeder, or what the output takes in then, discharges the input, and that
    takes long.
    """
    if highest <= FALLEN:
        return
    discharge = Discharge(source, highest)
    if discharge.bleeder is None:
        yield Unknown(
            source.name,
            (*source.at_output, "bleeder"),
            "bleeder of the output",
            "how long it stays charged after switching off",
        )
    elif (time := discharge.time()) is not None and time > PATIENCE:
        yield Hit(
            source.name,
            source.at_output,
            state(
                "{capacitance} discharge from {highest} to {discharged} in {emptied}",
                capacitance=(discharge.farads, "F"),
                highest=(highest, "V"),
                discharged=(FALLEN, "V"),
                emptied=discharge.emptied(time),
            ),
            "after switching off, wait that long before touching or unplugging anything",
        )


@rule("off-late", Severity.CAUTION, worst=Ranking("discharge_time"))
@of_every(with_seen(_charged))
def off_late(context: Context, source: FedInput, highest: float) -> Outcome:
    """Switched off, an input takes longer to fall than a run waits for that: it ends as *off not confirmed*,
    exit code 6, though its outputs are off.
    """
    at_end, discharge = source.limits.at_end, Discharge(source, highest)
    time, threshold = confirmed_off_in(context, source), off_threshold(context.device, source.name)
    if at_end.stays_on is not None or not discharge.known or time <= DECAY:
        return
    ramp = at_end.ramp_down
    unless = ""
    remedy = (
        "give it a resistor that empties it in time, or an output that sinks and a 'ramp_down' as long as "
        "that takes (which a 'power_down' leaves out: it switches off at once)"
    )
    if ramp is not None and source.name in context.on[-1]:  # it is led down before it goes off
        empties = Discharge(source, highest, sinks=True).time(threshold)
        if empties is not None and empties <= ramp:
            unless = state(
                "; so it is where a trip or a fault ends the run, else the ramp of {ramp_down} empties it "
                "first",
                ramp_down=(ramp, "s"),
            )
            remedy = "give it a resistor that empties it in time"
    yield Hit(
        source.name,
        (*source.at_input, "load"),
        state(
            "switched off at {highest}, {capacitance} fall below {threshold} in {emptied}; a run waits "
            "{waits} for that, and then ends with exit code 6, off not confirmed{unless}",
            highest=(highest, "V"),
            capacitance=(discharge.farads, "F"),
            threshold=(threshold, "V"),
            emptied=discharge.emptied(time),
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
    highest, threshold = source.played.highest, off_threshold(context.device, source.name)
    held = held_voltage(context.device, source.name) is not None
    if highest is None or highest.voltage <= threshold or held:
        return 0.0
    discharge = Discharge(source, highest.voltage)
    time = 0.0 if discharge.blocked else discharge.time(threshold)
    return math.inf if time is None else time


class Discharge:
    """How an input's capacitors empty from a voltage of its connector on down, at the least draw of the load.

    blocked: a fixture's diode keeps the output's bleeder and capacitor out of it. farads: of all that empty
    together [F]. bleeder: [Ω]; inf: none has a part; None: unknown. taken: by the outputs, besides [A].
    known: whether both are, the bleeder and what the load draws.
    behind: series resistance through which the capacitors empty, the largest of them, as what is held lies
    behind that at most [Ω]; 0: at most `LITTLE` of the voltage drops there.
    """

    def __init__(self, source: FedInput, highest: float, *, sinks: bool = False) -> None:
        """highest [V]: where it begins. sinks: its outputs are on, and take in what they can; else they are
        off, and take in what they take then; nothing where that is unknown.
        """
        self.source, self.highest = source, highest
        self.blocked = source.fixture is not None and source.fixture.diode is not None
        self.farads = source.load.capacitance.high if self.blocked else source.holding
        self.bleeder = math.inf if self.blocked else source.bleeder
        self.sunk = [(each.sink if sinks else off_sink(each)) or 0.0 for each in source.rows]
        self.taken = 0.0 if self.blocked else (sum if source.parallel else min)(self.sunk)
        self.known = self.bleeder is not None and source.load.known
        ohms = source.load.series_resistance
        drops = ohms * self._flows(highest) if self.known else 0.0
        self.behind = ohms if drops > LITTLE * highest else 0.0

    def _flows(self, level: float) -> float:
        """The least that empties it at a voltage of its connector [A]."""
        return level / (self.bleeder or math.inf) + self.source.load.least(level) + self.taken

    def _at(self, held: float) -> float:
        """The connector's voltage while the capacitors hold so much [V]."""
        if not self.behind:
            return held
        return halving.least(
            lambda level: level + self.behind * self._flows(level) >= held, 0.0, held, HALVINGS
        )

    def time(self, until: float | None = None) -> float | None:
        """Longest time down to a voltage of the connector, or, without one, until the capacitors themselves
        have fallen to `FALLEN` [s]; None: unknown.
        """
        if not self.known:
            return None
        apart = self._apart(FALLEN if until is None else until)
        if apart is None:
            return self._together(until)
        return max(self._together(until), apart) if self.behind else apart

    def _together(self, until: float | None) -> float:
        """As if all capacitors were one [s]: ∫ C du / (v/R + I_load(v) + I_taken), with u = v + R_s i behind
        the series resistance.
        """
        begin, end = self._at(self.highest), self._at(FALLEN) if until is None else until
        time, previous = 0.0, begin
        if begin <= end:
            return time
        for index in range(1, 201):
            current = begin * (end / begin) ** (index / 200)
            drawn = self._flows(math.sqrt(previous * current))
            if drawn == 0.0:
                return math.inf
            fallen = previous - current
            if self.behind:
                # A load that draws less at a lower voltage lets go of it at once.
                fallen += self.behind * (self._flows(previous) - self._flows(current))
            time += self.farads * max(0.0, fallen) / drawn
            previous = current
        return time

    def _apart(self, until: float) -> float | None:
        """Outputs in series, each with its own capacitor and bleeder, and the load's capacitor together [s];
        None: they are not in series, or their capacitors are unknown.
        """
        source = self.source
        if self.blocked or not source.series or source.output_capacitance is None:
            return None
        from railwright.physics import series_discharge

        begin = [self.highest * share for share in source.shares]
        farads = [each.output_capacitance or 0.0 for each in source.rows]
        bleeders = [each.bleeder or 0.0 for each in source.rows]
        most, drawn = max(source.load.capacitance.high, series_discharge.LEAST), source.load.least
        return series_discharge.discharging_time(begin, farads, bleeders, self.sunk, most, drawn, until)

    def emptied(self, time: float) -> Statement:
        """In how long, where that is known, and through what: 'up to 3 s (bleeder 1 kΩ, ...)'."""
        known = time < math.inf
        return state(
            "{takes} ({through}, least draw of the load{gives})",
            takes=state("up to {takes}", takes=named("discharge_time", time, "s"))
            if known
            else "an unknown time",
            through=self.through,
            gives="" if known or self.blocked else "; the data sheet gives no current that empties them",
        )

    @property
    def through(self) -> str:
        """Through what it empties, for people."""
        source = self.source
        if self.blocked:
            return f"the diode in '{source.fixture_name}' blocks"
        own = source.output_capacitance
        each = [
            state(
                "{capacitance} with {bleeder} in {output}",
                capacitance=(output.output_capacitance or 0.0, "F"),
                bleeder=(output.bleeder or 0.0, "ohm"),
                output=name,
            )
            for name, output in source.outputs.items()
        ]
        return state(
            "bleeder {bleeder}{sunk}{each}{behind}{own}",
            bleeder=(self.bleeder or 0.0, "ohm"),
            sunk=state(", {sunk} into the output", sunk=(self.taken, "A")) if self.taken else "",
            each=state(": {each}", each=joined(", ", each)) if source.series and own is not None else "",
            behind=state(", behind {ohms}", ohms=(self.behind, "ohm")) if self.behind else "",
            own=state(", the output's own capacitor not counted, as it is not given") if own is None else "",
        )
