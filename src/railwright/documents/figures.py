"""Figures that follow from what the bench document gives: errors, and those of an output's stage."""

from __future__ import annotations

import math

from railwright.documents.bench import CurrentAccuracy, Output, VoltageAccuracy
from railwright.physics.output_stage import OPP_RESPONSE, OutputFigures, assumed_capacitance, reference_rise

CROWBAR = 50e-3
"""Resistance of a crowbar of which a document says only that it is there [Ω] (declared)."""


def error_bound(accuracy: VoltageAccuracy | CurrentAccuracy, value: float) -> float:
    """Bound of the error at a value, in the value's unit: of_value · |value| + offset."""
    return accuracy.of_value * abs(value) + accuracy.offset


def figure_assumptions(output: Output) -> tuple[str, ...]:
    """What `output_figures` put in where the document says that something is there and not how much."""
    made = []
    if output.ovp is not None and output.ovp.crowbar == "true":
        made.append(f"resistance of its crowbar is not given: {CROWBAR * 1e3:g} mΩ assumed")
    if output.opp is not None and output.opp.response is None:
        response = f"{OPP_RESPONSE * 1e3:g} ms"
        made.append(f"response time of the over-power protection is not given: {response} assumed")
    if output.takes_in_off and output.sink is None:
        made.append("what it takes in while it is off is not given: nothing beside its bleeder assumed")
    return tuple(made)


def _crowbar(output: Output) -> float | None:
    crowbar = output.ovp.crowbar if output.ovp else None
    return CROWBAR if crowbar == "true" else crowbar


def output_figures(output: Output) -> OutputFigures:
    """The figures in SI units; what the document leaves out stays None (unknown)."""
    recovery, ovp = output.recovery, output.ovp
    return OutputFigures(
        voltage_max=output.voltage.high,
        current_max=output.current.high,
        power=output.power,
        rise=output.rise,
        fall_loaded=output.fall.loaded,
        fall_unloaded=output.fall.unloaded,
        recovery_time=recovery.time if recovery else None,
        recovery_band=recovery.band if recovery else None,
        recovery_step=recovery.step.high - recovery.step.low if recovery else None,
        limit_response=output.limit_response,
        output_capacitance=output.output_capacitance,
        bleeder=output.bleeder,
        sink_current=output.sink,
        off_sink=off_sink(output) or 0.0,
        ovp_response=ovp.response if ovp else None,
        ovp_at=ovp.at if ovp else "terminals",
        opp_response=output.opp.response if output.opp else None,
        crowbar=_crowbar(output),
    )


def off_sink(output: Output) -> float | None:
    """Current that an output takes in while it is off, beside its bleeder [A]; None: it takes in some, or
    may, and nothing says how much.
    """
    if output.when_off is None:
        return None
    return output.sink if output.takes_in_off else 0.0


def own_capacitance(output: Output) -> float:
    """The output's own capacitance [F]: as given, or as its model assumes it."""
    given = output.output_capacitance
    return assumed_capacitance(output.current.high) if given is None else given


def rated_slew(output: Output, time: float | None) -> float | None:
    """Rate at which an output's voltage moves [V/s] whose data sheet gives this time for it [s], such as its
    rise: from 10 to 90 % of full scale. None: the time is unknown.
    """
    return None if time is None else 0.8 * output.voltage.high / time


def fastest_reference(output: Output) -> float | None:
    """The fastest that the output's reference moves upwards [V/s], whatever slope is set: more than its rated
    rise where the current rating holds that back; None: unknown.
    """
    if output.rise is None:
        return None
    power = math.inf if output.power is None else output.power
    volts, amperes = output.voltage.high, output.current.high
    return reference_rise(volts, amperes, power, own_capacitance(output), output.rise)
