"""What a multimeter read, as a record that an evaluation can look at."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from railwright.documents.loader import Documents
from railwright.evaluation.contradiction import largest_error
from railwright.evaluation.outcome import LeadDrop
from railwright.evaluation.reading import multimeter_model
from railwright.evaluation.views import Case, RecordSource
from railwright.measures.outcome import CannotMeasure
from railwright.measures.signal import Array, Place, Signal, View
from railwright.quantities import show
from railwright.records.readings import MultimeterReadings
from railwright.traces import VOLTAGES, Record, Traces

MULTIMETER = "multimeter"
"""Origin of such a record."""

FEWEST = 3
"""Readings of the supply that must lie around one of a multimeter."""

STEADY = 0.02
"""Part of the current by which it may change around a reading from which a drop is taken."""

LARGEST = 0.9
"""Part of the largest current from which on readings count: the drop is known best there."""

SLOW = 3.0
"""An exchange that took so many times the usual is left out: it would make all of them count as that late."""


def multimeter_source(
    documents: Documents, name: str, readings: MultimeterReadings, own: RecordSource
) -> tuple[RecordSource | None, list[str]]:
    """A multimeter's readings on the run's own time base, None where there are none; and what of them is not
    used, in words. own: the run's own record.
    """
    probe, meter = documents.procedure.multimeters[name], documents.bench.multimeters[name]
    notes, lacks = [], ""
    inside = np.isfinite(readings.value)
    if beyond := int(np.count_nonzero(~inside)):
        held = show(meter.measures.range, "V" if meter.quantity == "voltage" else "A")
        lacks = f"{beyond} of its {inside.size} readings lie beyond its range of {held}"
        notes.append(f"{name}: {lacks}, and are not used")
    usual = float(np.median(readings.took)) if inside.size else 0.0
    prompt = readings.took <= SLOW * usual
    if slow := int(np.count_nonzero(inside & ~prompt)):
        notes.append(f"{name}: {slow} of {inside.size} readings came late, and are not used")
    used = inside & prompt
    if not used.any() or probe.of not in own.models:
        return None, notes
    traces = _traces(documents, name, readings, used)
    model = multimeter_model(name, meter, float(np.max(readings.took[used])), own.models[probe.of])
    record = Record(MULTIMETER, {probe.of: traces}, (), ())
    return RecordSource(name, record, {probe.of: model}, own.feeds, meter.interval, lacks), notes


def _traces(documents: Documents, name: str, readings: MultimeterReadings, used: NDArray[np.bool_]) -> Traces:
    """Those of a multimeter's readings that are used, in the column of what it measures, and where."""
    probe = documents.procedure.multimeters[name]
    column = "terminal_voltage" if probe.at == "terminals" else "voltage"
    if documents.bench.multimeters[name].quantity == "current":
        column = "current"
    return Traces(readings.time[used], {column: readings.value[used]})


def multimeter_records(
    documents: Documents, multimeters: Mapping[str, MultimeterReadings]
) -> tuple[Record, ...]:
    """What each multimeter read within its range, as a record under its name, to be drawn."""
    found = ((name, readings, np.isfinite(readings.value)) for name, readings in multimeters.items())
    return tuple(
        Record(
            name,
            {documents.procedure.multimeters[name].of: _traces(documents, name, readings, inside)},
            (),
            (),
        )
        for name, readings, inside in found
        if inside.any() and name in documents.procedure.multimeters
    )


def lead_drops(case: Case, sources: Sequence[RecordSource]) -> Iterator[LeadDrop]:
    """What each lead drops whose ends a multimeter and the supply measure, one an end."""
    for source in sources:
        if source.record.origin != MULTIMETER:
            continue
        for name, traces in source.record.traces.items():
            own = case.own.record.traces.get(name)
            ends = set(VOLTAGES) & {*traces.columns, *(own.columns if own is not None else ())}
            if own is None or "current" in traces.columns or len(ends) < len(VOLTAGES):
                continue
            found = _drop(case, source, name)
            if found is not None:
                yield found


def _drop(case: Case, source: RecordSource, name: str) -> LeadDrop | None:
    """By one multimeter; None where nothing was steady, or the accuracy of one of them is unknown."""
    try:
        meter, voltage, current = _signals(case, source, name)
    except CannotMeasure:
        return None
    model = source.models[name]
    around = (model.aperture or 0.0) + (model.update or 0.0) + 2.0 * voltage.interval
    first = np.searchsorted(voltage.time, meter.time - around, "left")
    last = np.searchsorted(voltage.time, meter.time + voltage.interval, "right")
    rows = []
    for place, (begin, end) in enumerate(zip(first, last, strict=True)):
        amperes, volts = current.values[begin:end], voltage.values[begin:end]
        if end - begin < FEWEST or np.min(amperes) <= 0.0:
            continue
        steady = np.ptp(amperes) <= STEADY * np.max(amperes) + 2.0 * np.max(current.error[begin:end])
        if steady and np.ptp(volts) <= 2.0 * np.max(voltage.error[begin:end]):
            rows.append((place, float(np.mean(volts)), float(np.mean(amperes)), begin))
    largest = max((amperes for _, _, amperes, _ in rows), default=0.0)
    used = [row for row in rows if row[2] >= LARGEST * largest]
    if not used:
        return None
    places, starts = [row[0] for row in used], [row[3] for row in used]
    drops = np.array([row[1] for row in used]) - meter.values[places]
    at_terminals = VOLTAGES[1] in source.record.traces[name].columns
    drop, through = float(np.mean(-drops if at_terminals else drops)), float(np.mean([r[2] for r in used]))
    error = float(np.max(meter.error[places]) + np.max(voltage.error[starts]))
    off = float(np.max(current.error[starts]))
    low, high = drop - error - model.drop[1], drop + error - model.drop[0]
    least, most = model.lead or (None, None)
    return LeadDrop(
        name,
        source.name,
        drop,
        through,
        max(0.0, low) / (through + off),
        high / (through - off) if through > off else math.inf,
        least,
        most,
    )


class _Bounded(NamedTuple):
    """A quantity against time [s], shapes (n,), with bounds of its errors; interval: the usual one [s]."""

    time: Array
    values: Array
    error: Array
    interval: float


def _signals(case: Case, source: RecordSource, name: str) -> tuple[_Bounded, _Bounded, _Bounded]:
    """The multimeter's voltage, and the supply's voltage and current, each where it is measured."""
    place: Place = "terminals" if VOLTAGES[1] in source.record.traces[name].columns else "connector"
    other: Place = "connector" if place == "terminals" else "terminals"
    own = View(case.own.record.traces[name], case.own.models[name], -math.inf, math.inf, at=other)
    read = View(source.record.traces[name], source.models[name], -math.inf, math.inf, at=place)

    def bounded(signal: Signal) -> _Bounded:
        if signal.time.size < FEWEST:
            raise CannotMeasure(f"the record holds {signal.time.size} values")
        interval = float(np.median(np.diff(signal.time)))
        return _Bounded(signal.time, signal.values, largest_error(signal), interval)

    return bounded(read.voltage()), bounded(own.voltage()), bounded(own.current())
