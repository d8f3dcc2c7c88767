"""Rules about stored energy: what stays in the capacitors, and for how long after switching off."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

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

JUST_BELOW = 1.0 - 1e-9
"""Part of a voltage at which a load starts that it stands at without having started."""

LONGER = 1.01
"""Ratio from which on a time counts as longer than another one, for a sentence about it."""

LITTLE = 1e-3
"""Part of a voltage that may drop in a capacitor's series resistance and does not count."""

HALVINGS = 60
"""Halvings by which the connector's voltage is sought."""

PATIENCE = 1.0
"""Time after switching off within which an input should be discharged [s]; a choice of this program."""


def _played(context: Context) -> Iterator[tuple[FedInput, float]]:
    """Inputs, and the highest voltage that is played on each [V]."""
    return (
        (source, highest.voltage)
        for source in context.sources.values()
        if (highest := source.played.highest) is not None
    )


def _charged(context: Context) -> Iterator[tuple[FedInput, float]]:
    """Of these those with a capacitor."""
    return (each for each in _played(context) if each[0].load.capacitance.high > 0.0)


def _lasting(context: Context) -> Iterator[tuple[FedInput, float]]:
    """Those with a capacitor, or a rotor, which hold the voltage up."""
    loads = ((each, each[0].load) for each in _played(context))
    return (each for each, load in loads if load.capacitance.high + load.turning > 0.0)


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
@of_every(_lasting)
def slow_discharge(source: FedInput, highest: float) -> Outcome:
    """After switching off, only a bleeder, or what the output takes in then, discharges the input, and that
    takes long.
    """
    if highest <= FALLEN:
        return
    discharge, time = slowest(source, highest)
    if discharge.bleeder is None:
        yield Unknown(
            source.name,
            (*source.at_output, "bleeder"),
            "bleeder of the output",
            "how long it stays charged after switching off",
        )
    elif time is not None and time > PATIENCE:
        alone = Discharge(source, highest, draws=False).time()
        yield Hit(
            source.name,
            source.at_output,
            state(
                "{capacitance} discharge from {begins} to {discharged} in {emptied}{alone}",
                capacitance=(discharge.farads, "F"),
                begins=discharge.begins,
                discharged=(FALLEN, "V"),
                emptied=discharge.emptied(time),
                alone=_if_defective(highest, alone) if alone and alone > LONGER * time else "",
            ),
            "after switching off, wait that long before touching or unplugging anything",
        )


def _if_defective(highest: float, alone: float) -> Statement:
    """How long it takes at a load that draws nothing [s], as it is defective or does not run."""
    return state(
        "; a defective load may draw nothing: then it takes {alone} from {highest}",
        alone=state("up to {alone}", alone=(alone, "s")) if alone < math.inf else "for ever",
        highest=(highest, "V"),
    )


@rule("off-late", Severity.CAUTION, worst=Ranking("discharge_time"))
@of_every(with_seen(_lasting))
def off_late(context: Context, source: FedInput, highest: float) -> Outcome:
    """Switched off, an input takes longer to fall than a run waits for that: it ends as *off not confirmed*,
    exit code 6, though its outputs are off.
    """
    at_end, threshold = source.limits.at_end, off_threshold(context.device, source.name)
    found = _confirmed_off(context, source) if at_end.stays_on is None else None
    discharge, time = found or Slowest(Discharge(source, highest), None)
    if time is None or time <= DECAY:
        return
    ramp = at_end.ramp_down
    unless = ""
    remedy = (
        "give it a resistor that empties it in time, or an output that sinks and a 'ramp_down' as long as "
        "that takes (which a 'power_down' leaves out: it switches off at once)"
    )
    if ramp is not None and source.name in context.on[-1]:  # it is led down before it goes off
        empties = slowest(source, highest, threshold, sinks=True).time
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
            "switched off at {begins}, {capacitance} fall below {threshold} in {emptied}; a run waits "
            "{waits} for that, and then ends with exit code 6, off not confirmed{unless}",
            begins=discharge.begins,
            capacitance=(discharge.farads, "F"),
            threshold=(threshold, "V"),
            emptied=discharge.emptied(time),
            waits=(DECAY, "s"),
            unless=unless,
        ),
        remedy,
    )


def confirmed_off_in(context: Context, source: FedInput, planned: float) -> float:
    """Longest time from an input's switching-off until it is read below what counts as off [s], from the
    highest played, or from a lower one at which its load has not started; infinite: no figure tells. 0:
    behind a diode, where the output's own side is read, which its own capacitor alone holds up; and where the
    device holds a voltage. planned: voltage at which it is switched off [V]: what starts below has started.
    """
    found = _confirmed_off(context, source, planned)
    if found is None:
        return 0.0
    return math.inf if found.time is None else found.time


def _confirmed_off(context: Context, source: FedInput, planned: float = 0.0) -> Slowest | None:
    """The slowest way to there, from where the procedure switches it off or, 0 V, from wherever a run may
    end; None: it takes no time.
    """
    highest, threshold = source.played.highest, off_threshold(context.device, source.name)
    held = held_voltage(context.device, source.name) is not None
    if highest is None or highest.voltage <= threshold or held or blocks(source):
        return None
    return slowest(source, highest.voltage, threshold, planned=planned)


def blocks(source: FedInput) -> bool:
    """Whether a fixture's diode lies between outputs and input: nothing flows back through it."""
    return source.fixture is not None and source.fixture.diode is not None


class Slowest(NamedTuple):
    """The slowest way in which an input empties, and the time that it takes [s]; None: unknown."""

    discharge: Discharge
    time: float | None


def slowest(
    source: FedInput,
    highest: float,
    until: float | None = None,
    *,
    sinks: bool = False,
    planned: float = 0.0,
) -> Slowest:
    """Of the ways in which an input may empty the slowest: from the highest voltage that is played [V], and
    from just below every voltage at which a part of its load starts, which then draws nothing: so it stands
    where a power-up is interrupted, or after a dip. until: as `Discharge.time` has it. planned: voltage from
    which it goes off in any case [V]: what starts at that or below has started.
    """
    lowest = FALLEN if until is None else until
    below = (JUST_BELOW * starts for starts in source.rising_load.starts_by if planned < starts <= highest)
    ways = [Discharge(source, begins, sinks=sinks) for begins in (highest, *below) if begins > lowest]
    each = [Slowest(way, way.time(until)) for way in ways or [Discharge(source, highest, sinks=sinks)]]
    return max(each, key=lambda found: found.time or 0.0)


class Discharge:
    """How an input's capacitors empty from a voltage of its connector on down, at the least draw of the load;
    what starts at a higher voltage only draws nothing.

    highest: that voltage [V]. blocked: a fixture's diode keeps the output's bleeder and capacitor out of it.
    held: at the input, what turns in its load counted too [F]. farads: of all that empty together [F].
    bleeder: [Ω]; inf: none has a part; None: unknown. taken: by the outputs, besides [A]. known: whether both
    are, the bleeder and what the load draws.
    behind: series resistance through which the capacitors empty, the largest of them, as what is held lies
    behind that at most [Ω]; 0: at most `LITTLE` of the voltage drops there.
    """

    def __init__(self, source: FedInput, highest: float, *, sinks: bool = False, draws: bool = True) -> None:
        """sinks: its outputs are on, and take in what they can; else they are off, and take in what they take
        then; nothing where that is unknown. draws: its load does; else it is defective, and draws nothing.
        """
        self.source, self.highest, self.draws = source, highest, draws
        self.load = source.rising_load  # a part that is enabled later may not be enabled yet
        self.blocked = blocks(source)
        self.held = self.load.capacitance.high + self.load.turning
        self.farads = self.held + (0.0 if self.blocked else source.output_capacitance or 0.0)
        self.bleeder = math.inf if self.blocked else source.bleeder
        self.sunk = [(each.sink if sinks else off_sink(each)) or 0.0 for each in source.rows]
        self.taken = 0.0 if self.blocked else (sum if source.parallel else min)(self.sunk)
        self.known = self.bleeder is not None and (self.load.known or not draws)
        ohms = self.load.series_resistance
        drops = ohms * self._flows(highest) if self.known else 0.0
        self.behind = ohms if drops > LITTLE * highest else 0.0

    def _flows(self, level: float) -> float:
        """The least that empties it at a voltage of its connector [A]."""
        return level / (self.bleeder or math.inf) + self._drawn(level) + self.taken

    def _drawn(self, level: float) -> float:
        """The least that the load draws [A]."""
        return self.load.least_from(self.highest, level) if self.draws else 0.0

    @property
    def begins(self) -> Statement:
        """Where it begins, for people."""
        waiting = [starts for starts in self.load.starts_by if starts > self.highest]
        return state(
            "{highest}{unstarted}",
            highest=(self.highest, "V"),
            unstarted=state(
                " (a load that starts at up to {starts} not running, as in a power-up that is interrupted)",
                starts=(min(waiting), "V"),
            )
            if waiting
            else "",
        )

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
        most = max(self.held, series_discharge.LEAST)
        return series_discharge.discharging_time(begin, farads, bleeders, self.sunk, most, self._drawn, until)

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
