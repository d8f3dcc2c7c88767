"""Rules about multimeters: their range, and what one in series adds."""

from __future__ import annotations

from collections.abc import Iterator

from railwright.documents.bench import Multimeter
from railwright.quantities import state
from railwright.settings.context import Context, FedInput
from railwright.settings.findings import Ranking, Severity
from railwright.settings.rule import Hit, Outcome, of_every, rule, with_seen


def _connected(context: Context) -> Iterator[tuple[str, Multimeter, FedInput]]:
    """Those that the procedure connects to an input that is fed."""
    return (
        (name, context.bench.multimeters[name], context.sources[probe.of])
        for name, probe in context.procedure.multimeters.items()
        if probe.of in context.sources
    )


@rule("multimeter-range", Severity.CAUTION, worst=Ranking("highest", over="range"))
@of_every(with_seen(_connected))
def multimeter_range(context: Context, name: str, meter: Multimeter, source: FedInput) -> Outcome:
    """A multimeter's range ends below what is played, or below what a fault brings before it is stopped."""
    held, feed = meter.measures.range, context.drafts[source.name].feed
    if meter.quantity == "voltage":
        played = source.played.highest
        highest, unit, what = (played.voltage if played else 0.0), "V", "the highest voltage played"
        stops, acts = feed.ovp, "the level at which the OVP acts"
    else:
        need = source.needs
        highest, unit, what = (need[0] if need else 0.0), "A", "what the input needs"
        stops, acts = feed.limit, "the current limit"
    if highest <= held < stops:  # nan where none could be settled
        highest, what = stops, acts
    if highest > held:
        yield Hit(
            source.name,
            ("bench", "multimeters", name),
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
@of_every(_connected)
def multimeter_in_series(name: str, meter: Multimeter, source: FedInput) -> Outcome:
    """A multimeter measures a current: it adds a resistance to the lead that no fixture states."""
    if meter.quantity == "current" and source.fixture is None:
        yield Hit(
            source.name,
            ("bench", "multimeters", name),
            state(
                "{multimeter} is in series with {input}, and no fixture says what resistance it adds: "
                "settings and rehearsal leave it out",
                multimeter=name,
                input=source.name,
            ),
            "describe it as a fixture of the hook-up, with the resistance of its shunt and its fuse",
        )
