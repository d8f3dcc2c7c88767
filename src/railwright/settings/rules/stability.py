"""Rules about stability: a load whose current falls with voltage, against the inductance of its lead.

Such a load is a negative resistance for small changes, -V²/P of a constant power P. Behind a lead of L and R,
with a capacitor C of series resistance ESR beside it, a disturbance dies away where the lead's damping is
more than what the load feeds in,

    P / (C V²)  <  (R + ESR) / L,

and grows otherwise [1]_: the characteristic polynomial of the loop, to first order in ESR · P / V². The
rehearsal need not show it: from rest, implicit steps longer than a period damp what would grow.

References
----------
.. [1] R. D. Middlebrook, Input filter considerations in design and application of switching regulators, 1976
   (from memory): the impedance of the source stays below the negative resistance of the load.
"""

from __future__ import annotations

from railwright.circuit.leads import lead_inductance
from railwright.physics.conductors import NODE_CAPACITANCE
from railwright.quantities import Statement, show, state
from railwright.settings.context import FedInput
from railwright.settings.findings import Ranking, Severity
from railwright.settings.rule import Hit, Outcome, of_every, rule
from railwright.settings.rules.judge import inputs


def least_capacitance(slope: float, inductance: float, resistance: float) -> float:
    """Capacitance beside a load whose current falls by `slope` [S] from which on a disturbance dies away [F].

    inductance [H]: of the lead. resistance [Ω], above zero: of the lead, and the ESR of the capacitor.
    """
    return slope * inductance / resistance


def _beside(source: FedInput) -> tuple[float, float]:
    """Least capacitance beside the load [F], and its least series resistance [Ω].

    Of several capacitors the resistance is that of all together at low frequency, sum(C² ESR) / (sum C)²; an
    ESR that is not given is not counted.
    """
    banks = [(bank.capacitance.low, bank.esr.low if bank.esr else 0.0) for bank in source.load.banks]
    total = sum(farads for farads, _ in banks)
    if total <= 0.0:
        return 0.0, 0.0
    return total, sum(farads**2 * esr for farads, esr in banks) / total**2


def _stands_beside(capacitance: float, esr: float) -> Statement:
    """The capacitance [F] beside the load with its series resistance [Ω], in words; 0: none."""
    if not capacitance:
        return state(
            "no capacitor stands beside it, only the {capacitance} of the connector",
            capacitance=(NODE_CAPACITANCE, "F"),
        )
    return state(
        "as little as {capacitance} with {with_esr} stands beside it",
        capacitance=(capacitance, "F"),
        with_esr=state("an ESR of {esr}", esr=(esr, "ohm"))
        if esr
        else "an ESR that is not given, and not counted,",
    )


@rule("input-oscillates", Severity.CAUTION, worst=Ranking("growth", over="damping"))
@of_every(inputs)
def input_oscillates(source: FedInput) -> Outcome:
    """A load whose current falls as the voltage rises has no capacitor beside it, or too small a one, to be
    stable against the inductance of its lead.
    """
    played = [level.voltage for level in source.played.levels if level.voltage > 0.0]
    stops = [converter.stops_at.low for converter in source.load.converters]
    operating = source.input.operating
    falls = source.load.falls(min([operating.low, *played, *stops]), max([operating.high, *played]))
    inside = source.input.inside
    inductance = lead_inductance(source.lead) + (inside.inductance.high if inside else 0.0)
    ohms = source.resistance.low + (inside.resistance.low if inside else 0.0)
    if falls is None or falls[0] <= 0.0 or inductance <= 0.0:
        return
    slope, volts = falls
    capacitance, esr = _beside(source)
    damping, there = ohms + esr, capacitance or NODE_CAPACITANCE
    needed = least_capacitance(slope, inductance, damping)
    if there < needed:
        yield Hit(
            source.name,
            (*source.at_input, "load"),
            state(
                "the current of the load falls as the voltage rises: at {voltage} it acts as "
                "-{negative_resistance} (dV/dI; of a constant power -V²/P), and {beside}; behind a lead of "
                "{inductance} and {resistance}{inside} it may oscillate, as 1/(C·{negative_resistance}), "
                "{growth:.3g}/s, exceeds (R + ESR)/L, {damping:.3g}/s (R. D. Middlebrook, 1976, from memory)",
                voltage=(volts, "V"),
                negative_resistance=(1.0 / slope, "ohm"),
                beside=_stands_beside(capacitance, esr),
                inductance=(inductance, "H"),
                resistance=(ohms, "ohm"),
                inside=", with what lies inside," if inside else "",
                growth=(slope / there, "1/s"),
                damping=(damping / inductance, "1/s"),
            ),
            f"give the input capacitor with its ESR in the device document: {show(needed, 'F')} or more damp "
            "it",
        )
