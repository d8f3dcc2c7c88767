"""An output's data-sheet figures as the bench document gives them, for the physics of its output stage."""

from __future__ import annotations

from railwright.documents.bench import Output
from railwright.physics.output_stage import OutputFigures


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
        ovp_response=ovp.response if ovp else None,
        ovp_at=ovp.at if ovp else "terminals",
    )
