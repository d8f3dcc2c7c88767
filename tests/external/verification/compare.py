"""Largest errors of one result against another, and whether they are within the bars."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from tests.external.verification.case import Case, Figure
from tests.external.verification.result import Array, Result

TRACE = 1e-3
"""Bar of a trace, of full scale."""
SECONDS, PART = 10e-6, 1e-3
"""Bars of an event's time: seconds, or part of the time; one of them is enough."""
ENERGY = 1e-3
"""Bar of an energy, of that energy."""


@dataclass(frozen=True)
class Errors:
    """Largest errors. voltage, current: of full scale; None: not compared. event: of the bar (1: at it), and
    event_time [s] with what it belongs to. energy: relative. events: how many were compared. missing: events
    that only one of the two has. plain: where the traces were aligned at the events, the largest errors of
    voltage and current without that.
    """

    voltage: float | None = None
    current: float | None = None
    events: int = 0
    event: float = 0.0
    event_time: float = 0.0
    event_name: str = ""
    energy: float | None = None
    missing: str = ""
    worst: str = ""
    plain: tuple[float, float] | None = None

    @property
    def met(self) -> bool:
        """Whether every bar is met."""
        return not self.failures()

    def failures(self) -> list[str]:
        """Each bar that is not met, in words."""
        found = []
        if self.voltage is not None and not self.voltage <= TRACE:
            found.append(f"voltage {self.voltage:.3%} of full scale ({self.worst})")
        if self.current is not None and not self.current <= TRACE:
            found.append(f"current {self.current:.3%} of full scale ({self.worst})")
        if self.missing:
            found.append(f"events {self.missing}")
        if not self.event <= 1.0:
            found.append(f"'{self.event_name}' {self.event_time * 1e6:.3g} µs away")
        if self.energy is not None and not self.energy <= ENERGY:
            found.append(f"energy {self.energy:.3%}")
        return found


def largest(
    a_time: Array, a: Mapping[str, Array], b_time: Array, b: Mapping[str, Array], scale: float
) -> tuple[float, str]:
    """Largest difference of the traces that b has, of full scale, on every instant of both; and where."""
    base = np.unique(np.concatenate([a_time, b_time]))
    worst, where = 0.0, ""
    for name, values in b.items():
        error = np.abs(np.interp(base, a_time, a[name]) - np.interp(base, b_time, values)) / scale
        k = int(np.argmax(error))
        if not error[k] <= worst:
            worst, where = float(error[k]), f"{name} at {base[k]:.7g} s"
    return worst, where


def by_name(events: Sequence[tuple[str, float]]) -> dict[str, list[float]]:
    """Times of each event."""
    found: dict[str, list[float]] = {}
    for what, when in events:
        found.setdefault(what, []).append(when)
    return found


def over_bar(error: float, when: float) -> float:
    """An error of time in units of its bar."""
    return error / max(SECONDS, PART * when)


def aligned(time: Array, pairs: Sequence[tuple[float, float]], end: float) -> Array:
    """A judge's instants moved so that its events fall on ours; pairs: (judge's time, our time), with
    the same instant twice for what was scheduled."""
    theirs, mine = [0.0], [0.0]
    for a, b in sorted(pairs):
        if a > theirs[-1] and b > mine[-1] and a < end and b < end:
            theirs.append(a)
            mine.append(b)
    shift = np.array([*mine, end]) - np.array([*theirs, end])
    moved: Array = time + np.interp(time, [*theirs, end], shift)
    return moved


def against(case: Case, mine: Result, judge: Result) -> Errors:
    """Largest errors of one result against a judge. Traces whose bar is not met as they are, are compared
    once more with the judge's events moved onto ours: how far they were apart is judged by itself.
    """
    own, theirs = by_name(mine.events), by_name(judge.events)
    missing, pairs = [], []
    event, event_time, event_name = 0.0, 0.0, ""
    for what in sorted({*own, *theirs}):
        a, b = own.get(what, []), theirs.get(what, [])
        if len(a) != len(b):
            missing.append(f"'{what}' {len(a)} times, the judge has {len(b)}")
            continue
        for x, y in zip(a, b, strict=True):
            pairs.append((y, x))
            if over_bar(abs(x - y), y) >= event:
                event, event_time, event_name = over_bar(abs(x - y), y), abs(x - y), what
    energy = max(abs(mine.energies[name] / value - 1.0) for name, value in judge.energies.items())

    def traces(base: Array) -> tuple[float, float, str]:
        voltage, v_where = largest(mine.time, mine.voltages, base, judge.voltages, case.volts)
        current, i_where = largest(mine.time, mine.currents, base, judge.currents, case.amperes)
        return voltage, current, f"{v_where}; {i_where}"

    voltage, current, worst = traces(judge.time)
    plain = None
    if max(voltage, current) > TRACE and not missing:
        plain = (voltage, current)
        voltage, current, worst = traces(
            aligned(judge.time, [*pairs, *((t, t) for t in mine.scheduled)], float(judge.time[-1]))
        )
    return Errors(
        voltage, current, len(pairs), event, event_time, event_name, energy, "; ".join(missing), worst, plain
    )


def against_closed_forms(figures: Sequence[Figure]) -> Errors:
    """Largest errors of single figures."""

    def of(kind: str) -> list[Figure]:
        return [figure for figure in figures if figure.kind == kind]

    def traces(kind: str) -> float | None:
        return max((abs(f.ours - f.exact) / f.scale for f in of(kind)), default=None)

    times = [(over_bar(abs(f.ours - f.exact), f.exact), abs(f.ours - f.exact)) for f in of("time")]
    event, event_time = max(times, default=(0.0, 0.0))
    assert all(math.isfinite(f.ours) for f in figures)
    return Errors(
        traces("voltage"), traces("current"), len(times), event, event_time, "closed form",
        max((abs(f.ours / f.exact - 1.0) for f in of("energy")), default=None), "", "closed form",
    )  # fmt: skip
