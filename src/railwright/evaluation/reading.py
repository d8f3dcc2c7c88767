"""How the readings of a bench's outputs and recorders come about, from what its documents say of them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

from railwright.circuit.leads import lead_resistance
from railwright.documents.bench import Bench, CurrentAccuracy, Multimeter, Output, Recorder, VoltageAccuracy
from railwright.evaluation.alignment import Alignment
from railwright.evaluation.hiding_bounds import current_bound, limits_of, voltage_bound
from railwright.evaluation.observability import all_known, surge_path
from railwright.evaluation.sampling import Sampling, differences
from railwright.measures.reading_model import Part, ReadingModel
from railwright.measures.uncertainty import degrees_of_doubt
from railwright.plan.set_points import Feed


def known_resistance(bench: Bench, feed: Feed) -> tuple[float, float] | None:
    """Least and most loop resistance of a feed's lead and fixture [Ω]; None: its contacts are unknown."""
    found = lead_resistance(bench.leads[feed.lead], bench, bench.fixture(feed.fixture))
    return (found.low, found.high) if found.contacts else None


def lead_name(feed: Feed) -> str:
    """What lies between terminals and connector, for people."""
    return feed.lead if feed.fixture is None else f"{feed.lead} with {feed.fixture}"


SUMMED = {"series": "voltage", "parallel": "current"}
"""Arrangement of outputs -> the channel in which their readings add up."""


def series_drop(bench: Bench, feed: Feed) -> tuple[float, float]:
    """Least and most of what a diode in a fixture drops before any current flows [V]."""
    between = bench.fixture(feed.fixture)
    return (between.drop.low, between.drop.high) if between else (0.0, 0.0)


def supply_model(bench: Bench, feed: Feed) -> ReadingModel:
    """Of the readings that the supply's own outputs take for one input."""
    outputs = [bench.output(setting.output) for setting in feed.outputs]
    names = [setting.output for setting in feed.outputs]
    shares = [setting.share for setting in feed.outputs]
    assumptions: list[str] = []
    voltage: tuple[Part, ...] = ()
    current: tuple[Part, ...] = ()
    if all(output.reading is not None for output in outputs):
        # In series the voltages add and the current is the mean; in parallel it is the other way round.
        voltage = _parts(names, outputs, "voltage", shares, mean=feed.arrangement != "series")
        current = _parts(names, outputs, "current", shares, mean=feed.arrangement != "parallel")
        if feed.arrangement == "parallel":
            largest = [limit + tolerance for limit, tolerance in limits_of(feed, outputs)]
            current = tuple(replace(part, most=own) for part, own in zip(current, largest, strict=True))
            assumptions.append(
                f"how {' and '.join(names)} divide the current is unknown: the worst division counted"
            )
    update = _largest([output.reading.update if output.reading else None for output in outputs])
    aperture = _largest([output.reading.aperture if output.reading else None for output in outputs])
    if voltage and any(output.reading is not None and output.reading.latency is None for output in outputs):
        assumptions.append(f"latency of the readings of {' and '.join(names)} is unknown: none assumed")
    return ReadingModel(
        source="supply readings",
        voltage=voltage,
        current=current,
        update=update,
        aperture=aperture,
        lead=known_resistance(bench, feed),
        lead_name=lead_name(feed),
        drop=series_drop(bench, feed),
        current_bound=current_bound(feed, outputs),
        voltage_bound=voltage_bound(bench, feed),
        surge=surge_path(bench, feed),
        summed=SUMMED.get(feed.arrangement, ""),
        circulating=_circulating(feed, outputs) if feed.arrangement == "parallel" else 0.0,
        assumptions=tuple(assumptions),
    )


def _circulating(feed: Feed, outputs: Sequence[Output]) -> float:
    """The most that outputs in parallel drive into each other [A]: some of them sink what the others, up to
    their limits, give, where their set points differ by no more than their errors.
    """
    limits = [limit + tolerance for limit, tolerance in limits_of(feed, outputs)]
    sinks = [output.sink or 0.0 for output in outputs]
    places = range(len(outputs))
    sinking = (own for count in places for own in combinations(places, count))
    return max(
        min(sum(sinks[k] for k in own), sum(limits[k] for k in places if k not in own)) for own in sinking
    )


def declared_model(name: str, recorder: Recorder, own: ReadingModel) -> ReadingModel:
    """Of an external recorder's samples, as the bench declares them; own: of the same input's readings."""
    return ReadingModel(
        source=name,
        voltage=(_part(name, recorder.voltage),) if recorder.voltage else (),
        current=(_part(name, recorder.current),) if recorder.current else (),
        update=0.0,
        aperture=0.0,
        interval=recorder.interval,
        time_base=recorder.time_base or 0.0,
        lead=own.lead,
        lead_name=own.lead_name,
        drop=own.drop,
    )


def recorder_model(
    name: str, recorder: Recorder, alignment: Alignment, sampling: Sampling, own: ReadingModel
) -> ReadingModel:
    """The same as they were aligned. What the bench declares of their instants counts, or what the recording
    itself shows, whichever is larger.
    """
    declared = declared_model(name, recorder, own)
    jitter = max(recorder.jitter or 0.0, sampling.jitter)
    # What drifts is right where it was aligned, and off by the whole of it at the other end at most.
    drifted = abs(alignment.drift) * sampling.length
    return replace(
        declared,
        clock=alignment.uncertainty + drifted + math.sqrt(3.0) * jitter,
        time_base=max(declared.time_base, abs(alignment.drift)),
        assumptions=tuple(differences(recorder, sampling, alignment.drift)),
    )


def multimeter_model(name: str, meter: Multimeter, took: float, own: ReadingModel) -> ReadingModel:
    """Of a multimeter's readings; own: of the supply's readings of the same input. took: the longest exchange
    [s]: the aperture lies somewhere in it, so that it ended so much before the answer had come, at most, as
    the exchange was longer than it.
    """
    part = (_part(name, meter.measures),)
    return replace(
        own,
        source=name,
        voltage=part if meter.quantity == "voltage" else (),
        current=part if meter.quantity == "current" else (),
        update=max(0.0, took - meter.aperture),
        aperture=meter.aperture,
        summed="",
        circulating=0.0,
        assumptions=(),
    )


def _parts(
    names: Sequence[str], outputs: Sequence[Output], channel: str, shares: Sequence[float], *, mean: bool
) -> tuple[Part, ...]:
    """Each output's part in a sum, with its share of the value, or in a mean."""
    count = len(names)
    return tuple(
        _part(name, getattr(output.reading, channel), 1.0 / count if mean else share, count if mean else 1)
        for name, output, share in zip(names, outputs, shares, strict=True)
    )


def _part(
    name: str, accuracy: VoltageAccuracy | CurrentAccuracy, share: float = 1.0, mean_of: int = 1
) -> Part:
    step, noise = accuracy.resolution, accuracy.noise
    return Part(
        name,
        accuracy.of_value,
        accuracy.offset / mean_of,
        None if step is None else step / mean_of,
        None if noise is None else noise / mean_of,
        share,
        degrees=_degrees(accuracy),
        is_given=accuracy.is_given,
    )


def _degrees(accuracy: VoltageAccuracy | CurrentAccuracy) -> float:
    """Degrees of freedom of the bounds: as given, or by the doubt in them; infinite where neither is."""
    if accuracy.degrees_of_freedom is not None:
        return accuracy.degrees_of_freedom
    return math.inf if accuracy.doubt is None else degrees_of_doubt(accuracy.doubt)


def _largest(values: Sequence[float | None]) -> float | None:
    known = all_known(values)
    return max(known) if known else None
