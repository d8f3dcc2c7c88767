"""Rules about multimeters: their range, and what one in series adds."""

from __future__ import annotations

from collections.abc import Iterator

from railwright.documents.bench import Multimeter
from railwright.quantities import state
from railwright.settings.context import Context, FedInput
from railwright.settings.findings import Severity, most
from railwright.settings.rule import Hit, Outcome, Path, rule


def _connected(context: Context) -> Iterator[tuple[str, Multimeter, FedInput]]:
    """Those that the procedure connects to an input that is fed."""
    for name, probe in context.procedure.multimeters.items():
        if probe.of in context.sources:
            yield name, context.bench.multimeters[name], context.sources[probe.of]


def _range(name: str) -> Path:
    return ("bench", "multimeters", name)


@rule("multimeter-range", Severity.CAUTION, worst=most("highest", over="range"))
def multimeter_range(context: Context) -> Outcome:
    """A multimeter's range ends below what is played, or below what a fault brings before it is stopped."""
    limits = {source.name: feed.limit for source, feed in context.having("current_limit")}
    levels = {source.name: feed.ovp for source, feed in context.having("ovp")}
    for name, meter, source in _connected(context):
        held = meter.measures.range
        if meter.quantity == "voltage":
            played = source.played.highest
            highest, unit, what = (played.voltage if played else 0.0), "V", "the highest voltage played"
            stops, acts = levels.get(source.name), "the level at which the OVP acts"
        else:
            need = source.needs
            highest, unit, what = (need[0] if need else 0.0), "A", "what the input needs"
            stops, acts = limits.get(source.name), "the current limit"
        if highest <= held and stops is not None and stops > held:
            highest, what = stops, acts
        if highest > held:
            yield Hit(
                source.name,
                _range(name),
                state(
                    "{what} is {highest}, the range of {multimeter} ends at {range}",
                    what=what,
                    highest=(highest, unit),
                    multimeter=name,
                    range=(held, unit),
                ),
                "use a larger range, and look up what the multimeter's input withstands",
            )


@rule("multimeter-in-series", Severity.CAUTION)
def multimeter_in_series(context: Context) -> Outcome:
    """A multimeter measures a current: it adds a resistance to the lead that no fixture states."""
    for name, meter, source in _connected(context):
        if meter.quantity == "current" and source.fixture is None:
            yield Hit(
                source.name,
                _range(name),
                state(
                    "{multimeter} is in series with {input}, and no fixture says what resistance it adds: "
                    "settings and rehearsal leave it out",
                    multimeter=name,
                    input=source.name,
                ),
                "describe it as a fixture of the hook-up, with the resistance of its shunt and its fuse",
            )
