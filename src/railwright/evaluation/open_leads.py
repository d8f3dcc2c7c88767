"""When the lead of an input stood open: what is read at one end of it then tells nothing of the other."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from railwright.documents.bench import Bench
from railwright.documents.procedure import Procedure
from railwright.measures.reading_model import ReadingModel
from railwright.plan.contacts import contacts_in
from railwright.traces import EventKind, Record

if TYPE_CHECKING:
    from railwright.traces import Array, Flags

NOISE = 4.0
"""How many times the r.m.s. noise a reading of no current may be off by (chosen)."""

STANDS = 3.0
"""For so many updates of its outputs does a sum of their readings stand that shows a current (chosen)."""

Spans = list[tuple[float, float]]
"""From when to when [s]; infinite at an end that the record does not tell."""


def open_spans(
    bench: Bench, procedure: Procedure, record: Record, name: str, model: ReadingModel | None
) -> Spans:
    """When a switch in the lead of an input was open, or nothing shows that it conducted: a relay answers
    what its coil was told, so that a contact that is closed by its word counts as open, until it is opened
    next, unless a current was read to flow meanwhile. A fuse may have opened once none flows any more. model:
    of the record's readings; None: unknown.
    """
    hook_up = procedure.hook_up.get(name)
    between = bench.fixture(hook_up.fixture) if hook_up is not None else None
    if hook_up is None or between is None:
        return []
    melted = [(_last_flow(record, name, model), math.inf)] if between.fuse is not None else []
    if between.switch is None:
        return melted
    lies = next(iter(contacts_in(bench, {name: hook_up}).values()), None)
    if lies is None:
        return [(-math.inf, math.inf)] if between.opened else melted
    opened = list(_spans(record, name, between.opened, lies.contact.takes(True)))
    unseen = (each for each in _between(opened) if not _flows(record, name, model, *each))
    return sorted([*opened, *unseen, *melted])


def _spans(record: Record, name: str, opened: bool, takes: float) -> Iterator[tuple[float, float]]:
    """When the contact was told to be open. takes: how long it takes to close [s]."""
    since = -math.inf if opened else None
    for event in record.events:
        if event.subject != name:
            continue
        if event.kind is EventKind.LEAD_OPENS and since is None:
            since = event.time
        elif event.kind is EventKind.LEAD_CLOSES and since is not None:
            yield since, event.time + takes
            since = None
    if since is not None:
        yield since, math.inf


def _between(spans: Spans) -> Iterator[tuple[float, float]]:
    """The time between these spans, before and after them."""
    now = -math.inf
    for start, end in spans:
        if start > now:
            yield now, start
        now = end
    if now < math.inf:
        yield now, math.inf


def _flows(record: Record, name: str, model: ReadingModel | None, start: float, end: float) -> bool:
    """Whether a current was read to flow at any time between two instants [s]."""
    time, flows = _flowing(record, name, model)
    return bool(flows[(time >= start) & (time <= end)].any())


def _last_flow(record: Record, name: str, model: ReadingModel | None) -> float:
    """When a current was last read to flow [s]; -inf: never. Sums of several outputs' readings, each of a
    time of its own, show one that is none while these hand over: there it has to stand for STANDS updates.
    """
    time, flows = _flowing(record, name, model)
    if model is not None and model.summed == "current" and flows.size:
        gone = np.where(flows, -np.inf, time)
        last_gone = np.maximum.accumulate(gone)
        flows = time - last_gone > STANDS * (model.update or 0.0)
    return float(time[flows][-1]) if flows.any() else -math.inf


def _flowing(record: Record, name: str, model: ReadingModel | None) -> tuple[Array, Flags]:
    """Times of an input's readings [s], and where they show a current beyond their errors; shapes (n,)."""
    traces = record.traces.get(name)
    if traces is None or model is None or "current" not in traces.columns:
        return np.zeros(0), np.zeros(0, dtype=np.bool_)
    least = sum(
        each.offset + (each.resolution or 0.0) + NOISE * (each.noise or 0.0) for each in model.current
    )
    return traces.time, np.abs(traces.columns["current"]) > least
